// The events of a run decide where it stands: the same rules as on the server (engines/pairing/runner.py), so
// that a run goes on without it. A test sends random sheets and events through both; the server stays the judge.

import { findCensusGaps, strip } from "./runner_census.js";
import { parseMoment } from "./runner_time.js";

export const EVENT_KINDS = ["begun", "census", "supply", "confirmed", "done", "failed", "chosen", "abandoned"];
const STEP_EVENTS = ["confirmed", "done", "failed", "chosen"];
const SUPPLY_SOURCES = ["typed", "measured"];
const MOST_VOLTS = 60;
const SUPPLY_FRESH_US = 600e6;

// An event that does not belong where the run stands; the code is the server's.
export class Refusal extends Error {
  constructor(code) {
    super(code);
    this.code = code;
  }
}

const refuse = (code) => { throw new Refusal(`pairing.${code}`); };
// A sheet may name a step "constructor": only its own steps count.
const getStep = (sheet, id) => (Object.hasOwn(sheet.steps, id) ? sheet.steps[id] : undefined);

// The state of a run in which nothing has happened yet.
export const startRun = (sheet) => {
  if (!getStep(sheet, sheet.start)) refuse("sheet-unsound");
  return {
    step_id: sheet.start, phase: "needs", visit: 0, ended: false, outcome: "", passed_no_return: false,
    confirmed: false, arrived_at: null, deadline: null, keys: null, census_gaps: [], supply_v: null,
    supply_at: null, affirmed: [], present: [], history: [], event_ids: [],
  };
};

// The state that events lead to, in their order.
export const foldEvents = (sheet, events) => events.reduce((state, event) => applyEvent(sheet, state, event), startRun(sheet));

// The state after the event; the same state when it was counted already.
export const applyEvent = (sheet, before, event) => {
  if (before.event_ids.includes(event.event_id)) return before;
  checkEvent(sheet, before, event);
  const at = parseMoment(event.at);
  const state = { ...before, event_ids: [...before.event_ids, event.event_id] };
  switch (event.kind) {
    case "begun": return arrive(sheet, { ...state, affirmed: event.needs ?? [] }, sheet.start, at, event);
    case "census": {
      const keys = event.keys ?? [];
      // Whoever confirmed had the old count before their eyes: with a new one they are asked again.
      const counted = { ...state, keys, census_gaps: findCensusGaps(sheet, keys), confirmed: false };
      return state.ended ? counted : awaitStep(sheet, counted, at, event);
    }
    case "supply": {
      const low = Boolean(sheet.supply) && (event.volts || 0) < sheet.supply.least_v;
      const read = { ...state, supply_v: event.volts, supply_at: at, confirmed: state.confirmed && !low };
      return awaitStep(sheet, read, at, event);
    }
    case "confirmed": return awaitStep(sheet, { ...state, confirmed: true, present: event.present ?? [] }, at, event);
    case "abandoned": return {
      // After the confirmation the act itself may have been done; the forecast must not promise otherwise.
      ...state, phase: "abandoned", ended: true, passed_no_return: state.passed_no_return || state.confirmed,
      confirmed: false, deadline: null,
    };
    default: return leave(sheet, state, at, event);
  }
};

// Nothing when the event belongs at this state, else a Refusal.
export const checkEvent = (sheet, state, event) => {
  if (state.event_ids.includes(event.event_id)) return;
  if (!EVENT_KINDS.includes(event.kind) || !event.event_id || !strip(event.person ?? "")) refuse("wrong-moment");
  if (Number.isNaN(parseMoment(event.at))) refuse("wrong-moment");
  if (state.ended) {
    // A run without a point of no return may have its keys counted at the end.
    if (event.kind === "census" && state.keys === null) return;
    refuse("run-over");
  }
  if (event.kind === "begun") checkNeeds(sheet, state, event);
  else if (event.kind === "supply") checkReading(state, event);
  else if (STEP_EVENTS.includes(event.kind)) {
    checkPlace(state, event);
    const step = sheet.steps[state.step_id];
    if (event.kind === "confirmed") {
      if (!step.no_return || state.phase === "step") refuse("wrong-moment");
      checkCensus(state);
      if (findSupplyGap(sheet, state, parseMoment(event.at))) refuse("supply-missing");
    } else checkLeaving(state, step, event);
  }
};

const checkNeeds = (sheet, state, event) => {
  if (state.phase !== "needs") refuse("wrong-moment");
  if (sheet.needs.some((need) => !(event.needs ?? []).includes(need))) refuse("needs-missing");
};

const checkPlace = (state, event) => {
  if (state.phase === "needs") refuse("wrong-moment");
  if ((event.step ?? "") !== state.step_id) refuse("wrong-step");
  if ((event.visit ?? null) !== null && event.visit !== state.visit) refuse("wrong-step");
};

const checkCensus = (state) => {
  if (state.keys === null || state.census_gaps.length) refuse("census-missing");
};

const checkReading = (state, event) => {
  if (state.phase === "needs") refuse("wrong-moment");
  const volts = event.volts ?? null;
  if (volts === null || !(volts >= 0 && volts <= MOST_VOLTS)) refuse("wrong-moment");
  if (!SUPPLY_SOURCES.includes(event.source ?? "")) refuse("wrong-moment");
};

// What the supply lacks for a point of no return at a moment: "none", "low", "old"; empty if nothing.
export const findSupplyGap = (sheet, state, at) => {
  if (!sheet.supply) return "";
  if (state.supply_v === null || state.supply_at === null) return "none";
  if (state.supply_v < sheet.supply.least_v) return "low";
  return at - state.supply_at > SUPPLY_FRESH_US ? "old" : "";
};

const checkLeaving = (state, step, event) => {
  if (step.no_return) {
    checkCensus(state);
    if (!state.confirmed) refuse("confirmation-missing");
  }
  if (event.kind === "failed") {
    if (!step.fails.some((failure) => failure.to === (event.to ?? ""))) refuse("unknown-failure");
  } else if ((step.kind === "choose") !== (event.kind === "chosen")) refuse("wrong-moment");
  else if (event.kind === "chosen" && !step.options.some((option) => option.label === (event.choice ?? ""))) {
    refuse("unknown-choice");
  }
};

const leave = (sheet, state, at, event) => {
  const step = sheet.steps[state.step_id];
  let to = event.kind === "failed" ? event.to : step.then;
  if (event.kind === "chosen") to = step.options.find((option) => option.label === event.choice).then;
  const late_s = state.deadline === null ? 0 : Math.max(0, (at - state.deadline) / 1e6);
  const passage = {
    step_id: state.step_id, visit: state.visit, how: event.kind, to, arrived_at: state.arrived_at ?? at,
    left_at: at, late_s, choice: event.choice ?? "",
  };
  const left = {
    ...state, history: [...state.history, passage], passed_no_return: state.passed_no_return || step.no_return,
  };
  return arrive(sheet, left, to, at, event);
};

const arrive = (sheet, state, step_id, at, event) => {
  const step = getStep(sheet, step_id);
  if (!step) refuse("sheet-unsound");
  const here = { ...state, step_id, visit: state.visit + 1, arrived_at: at, deadline: null, confirmed: false };
  if (step.kind === "end") return { ...here, phase: "ended", ended: true, outcome: step.outcome };
  if (step.window_s !== null) here.deadline = at + Math.round(step.window_s * 1e6);
  return awaitStep(sheet, here, at, event);
};

const awaitStep = (sheet, state, at, event) => {
  if (state.phase === "needs" && event.kind !== "begun") return state;
  let phase = "step";
  if (sheet.steps[state.step_id].no_return && !state.confirmed) {
    phase = "confirm";
    if (state.keys === null || state.census_gaps.length) phase = "census";
    else if (findSupplyGap(sheet, state, at)) phase = "supply";
  }
  return { ...state, phase };
};
