// Plays scenes with the runner's clock and sync against a server that is a table, and answers with what was seen.

import { pathToFileURL } from "node:url";

const load = (name) => import(pathToFileURL(`${process.argv[2]}/${name}.js`));
const [{ RunClock }, { PassingStore, openStore }, { CarriedRun, ElsewhereError }, { foldEvents }, { writeMoment }] = await Promise.all(
  ["runner_clock", "runner_store", "runner_sync", "runner_fold", "runner_time"].map(load),
);

const SHEET = {
  id: "s", title: "S", start: "a", census: "all", needs: [], supply: null,
  steps: Object.fromEntries(["a", "b", "c", "d", "e", "f"].map((id, place, all) => [id, {
    id, kind: place === 5 ? "end" : "act", say: id, then: all[place + 1] ?? "", options: [], fails: [], outcome: place === 5 ? "good" : "",
    window_s: 30, no_return: false, signal: null, recovery: "",
  }])),
};
const begun = { event_id: "begun", kind: "begun", person: "t", at: "2031-03-03T09:00:00+00:00", needs: [] };

// A server with a list of events: judges by the same fold, and can lose its memory.
class Table {
  constructor() {
    this.events = [begun];
    this.refused = new Map();
    this.bodies = [];
    this.attempt = 1;
  }

  count(device) {
    return Math.max(0, ...[...this.events, ...this.refused.values()].filter((one) => one.device === device).map((one) => one.sequence));
  }

  answer(body) {
    this.bodies.push(structuredClone(body));
    const results = [];
    let send_from = 0;
    for (const event of body.events) {
      const known = this.count(body.device);
      if (this.events.some((one) => one.event_id === event.event_id)) results.push({ event_id: event.event_id, taken: true });
      else if (this.refused.has(event.event_id)) results.push({ event_id: event.event_id, taken: false, sentence: "No." });
      else if (event.sequence > known + 1) { send_from = known + 1; break; } else {
        try {
          if (body.attempt !== this.attempt) throw new Error("over");
          foldEvents(SHEET, [...this.events, event]);
          this.events.push(event);
          results.push({ event_id: event.event_id, taken: true });
        } catch {
          this.refused.set(event.event_id, event);
          results.push({ event_id: event.event_id, taken: false, sentence: "No." });
        }
      }
    }
    const same = this.events[body.have - 1]?.event_id === body.last;
    const from = same ? body.have : 0;
    const state = foldEvents(SHEET, this.events);
    return {
      now: writeMoment(Date.now() * 1000), attempt: this.attempt, results, send_from, from,
      events: body.attempt === this.attempt ? this.events.slice(from) : [], state, sequence: this.count(body.device), carrier: null,
    };
  }
}

const begin = async (table, more = {}) => {
  const run = new CarriedRun({
    run: "job", store: new PassingStore(), clock: new RunClock(), later: () => 0,
    ask: async (body) => { if (table.gone) throw new TypeError("gone"); return table.answer(body); }, ...more,
  });
  await run.open({ attempt: 1, sequence: 0, person: { login: "t" }, sheet: SHEET, events: [begun] });
  return run;
};
const done = async (run) => { await run.add("done", { step: run.state.step_id, visit: run.state.visit }); await run.sending; };
const settle = async (run) => { for (let place = 0; place < 5; place += 1) await run.send(); };
const list = (table) => table.events.slice(1).map((event) => event.sequence);

const SCENES = {
  // The server's data are put back from an older copy, when nothing waits on the device any more.
  "older copy": async () => {
    const table = new Table();
    const run = await begin(table);
    for (let place = 0; place < 3; place += 1) await done(run);
    table.events = table.events.slice(0, 2);
    await settle(run);
    return { list: list(table), unsent: run.unsent.length, step: run.state.step_id };
  },
  // The same where one of the device's events had been refused: its count must not stay a gap.
  "older copy after a refusal": async () => {
    const table = new Table();
    const run = await begin(table);
    await done(run);
    table.gone = true;
    await done(run);
    // Somebody else went on in the meantime: what waits no longer fits.
    table.events.push({ event_id: "x", kind: "done", person: "o", at: "2031-03-03T09:01:00+00:00", step: "b", visit: 2 });
    table.gone = false;
    await settle(run);
    const seen = { refused: run.refused.length, step: run.state.step_id };
    table.events = table.events.slice(0, 2);
    table.refused.clear();
    await done(run);
    await settle(run);
    return { ...seen, unsent: run.unsent.length, sequences: [...table.events, ...table.refused.values()].map((one) => one.sequence ?? 0).sort() };
  },
  // A refused event is answered once, and not sent again.
  "refused once": async () => {
    const table = new Table();
    const run = await begin(table);
    table.gone = true;
    await done(run);
    table.events.push({ event_id: "x", kind: "done", person: "o", at: "2031-03-03T09:01:00+00:00", step: "a", visit: 1 });
    table.gone = false;
    await settle(run);
    return { refused: run.refused.length, unsent: run.unsent.length, step: run.state.step_id, sent: table.bodies.filter((body) => body.events.length).length };
  },
  // A new run was begun elsewhere: what waits is answered, and the device stops.
  "begun anew": async () => {
    const table = new Table();
    const run = await begin(table);
    await done(run);
    table.gone = true;
    await done(run);
    table.gone = false;
    table.attempt = 2;
    await settle(run);
    return { replaced: run.replaced, refused: run.refused.length, unsent: run.unsent.length, kept: (await run.store.read("job")) !== null };
  },
  // Two windows of one device: the second does not act on an old view.
  "two windows": async () => {
    const table = new Table();
    const store = new PassingStore();
    const [one, two] = [await begin(table, { store }), await begin(table, { store })];
    await done(one);
    let said = "";
    try { await two.add("done", { step: "a", visit: 1 }); } catch (error) { said = error instanceof ElsewhereError ? "elsewhere" : String(error); }
    return { said, step: two.state.step_id, list: list(table) };
  },
  // A double tap: the second finds the first.
  "double tap": async () => {
    const table = new Table();
    const run = await begin(table);
    const both = await Promise.allSettled([1, 2].map(() => run.add("done", { step: "a", visit: 1 })));
    await settle(run);
    return { list: list(table), kept: both.filter((one) => one.status === "fulfilled").length };
  },
  // Somebody else is logged in now: what the first has left is not sent in the other's name.
  "another person": async () => {
    const table = new Table();
    const store = new PassingStore();
    const run = await begin(table, { store });
    table.gone = true;
    await done(run);
    table.gone = false;
    const other = await begin(table, { store });
    await other.open({ attempt: 1, sequence: 0, person: { login: "u" }, sheet: SHEET, events: [begun] });
    await settle(other);
    return { list: list(table), unsent: other.unsent.length, own: other.own.length };
  },
  "hundred events": async () => {
    const table = new Table();
    const run = await begin(table);
    table.gone = true;
    const keys = [{ name: "k", present: true, works_before: true, new: false }];
    for (let place = 0; place < 100; place += 1) { await run.add("census", { keys }); await run.sending; }
    table.gone = false;
    await settle(run);
    return { list: list(table), unsent: run.unsent.length };
  },
  // A browser that was killed has not let go of the store yet; it does at the third time of asking.
  "store let go": async () => {
    let asked = 0;
    const store = { lasting: true };
    const open = async () => { asked += 1; if (asked < 3) throw new DOMException("held", "UnknownError"); return store; };
    return { same: await openStore(open, [1, 1, 1]) === store, asked };
  },
  "store held for good": async () => {
    let asked = 0;
    const open = async () => { asked += 1; throw new DOMException("held", "UnknownError"); };
    const { lasting, barred } = await openStore(open, [1, 1, 1]);
    return { lasting, barred, asked };
  },
  // A private window: asking again is no use, and nothing is kept from before.
  "no store": async () => {
    let asked = 0;
    const open = async () => { asked += 1; throw new DOMException("private", "InvalidStateError"); };
    const { lasting, barred } = await openStore(open, [1, 1, 1]);
    return { lasting, barred, asked };
  },
};

// A device of which both counts are ours to move.
const makeClock = () => {
  const time = { wall: 1e12, steady: 5000 };
  const clock = new RunClock({ wall: () => time.wall, steady: () => time.steady });
  const pass = (ms, { wall = ms, hidden = false } = {}) => { time.steady += ms; time.wall += wall; clock.tick({ hidden }); };
  clock.contact(2e12, time.steady);
  return { time, clock, pass, since: () => Math.round(clock.now_ms() - 2e12) };
};

const CLOCKS = {
  "an hour forward in view": ({ pass, since, clock }) => { pass(1000); pass(1000, { wall: 3_601_000 }); pass(1000); return [since(), clock.changed_ms]; },
  "an hour back in view": ({ pass, since, clock }) => { pass(1000, { wall: -3_599_000 }); return [since(), clock.changed_ms]; },
  "asleep while hidden": ({ pass, since, clock }) => { pass(1000, { hidden: true }); pass(10, { wall: 600_010 }); return [since(), clock.changed_ms]; },
  "back while hidden": ({ pass, since, clock }) => { pass(1000, { hidden: true }); pass(1000, { wall: -599_000, hidden: true }); return [since(), clock.changed_ms]; },
  "a small step": ({ pass, since, clock }) => { pass(1000, { wall: 2500 }); return [since(), clock.changed_ms]; },
  "reloaded without the network": ({ time, pass, clock }) => {
    pass(1000);
    const next = new RunClock({ wall: () => time.wall, steady: () => time.steady });
    next.restore(clock.offset_ms);
    time.wall += 9000; time.steady += 9000;
    return [Math.round(next.now_ms() - 2e12), next.changed_ms];
  },
  "changed and reloaded": ({ time, pass, clock }) => {
    pass(1000, { wall: 3_601_000 });
    const next = new RunClock({ wall: () => time.wall, steady: () => time.steady });
    next.restore(clock.offset_ms);
    return [Math.round(next.now_ms() - 2e12), next.changed_ms];
  },
  "an answer that took two seconds": ({ time, clock }) => {
    const sent = time.steady;
    time.steady += 2000; time.wall += 2000;
    clock.contact(3e12, sent);
    return [Math.round(clock.now_ms() - 3e12), clock.changed_ms];
  },
};

const seen = {};
for (const [name, play] of Object.entries(SCENES)) {
  try { seen[name] = await play(); } catch (error) { seen[name] = { failed: String(error.stack) }; }
}
for (const [name, play] of Object.entries(CLOCKS)) seen[name] = play(makeClock());
process.stdout.write(JSON.stringify(seen));
