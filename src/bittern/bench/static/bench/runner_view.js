// Draws where a run stands: a view that the server has written, its places filled from the state on the device.

import { findLostKeys, forecastKeys } from "./runner_census.js";
import { findSupplyGap } from "./runner_fold.js";

const WORKS = new Map([[true, "yes"], [false, "no"], [null, "try it"]]);
const WORKED = new Map([[true, "yes"], [false, "no"], [null, "unknown"]]);

const make = (name, ...inside) => {
  const made = document.createElement(name);
  made.append(...inside);
  return made;
};

export class RunView {
  constructor(box, aids) {
    this.box = box;
    this.aids = aids;
    this.shown = "";
    const find = (name) => box.querySelector(`[data-${name}]`);
    Object.assign(this, {
      stage: find("stage"), more: find("more"), history: find("history"), giveUp: find("give-up"),
      trouble: find("trouble"), aside: find("aside"), kept: find("kept"), map: box.querySelector(".map .scroll"),
    });
  }

  // run: a CarriedRun. Draws the view anew only when it has changed, so that nothing typed is lost.
  draw(run) {
    const { pack, state, sheet } = run;
    const name = nameView(sheet, state, run.clock.now());
    const mark = JSON.stringify([name, state.visit, state.keys, state.census_gaps, state.supply_v]);
    if (mark !== this.shown) {
      const first = this.shown === "";
      this.shown = mark;
      this.box.dataset.at = `${state.visit} ${state.phase}`;
      this.stage.hidden = false;
      this.stage.innerHTML = getView(pack.views, name);
      this.fill(run);
      this.box.querySelectorAll("[data-more], [data-give-up]").forEach((one) => { one.hidden = state.ended; });
      this.more.innerHTML = state.ended ? "" : pack.views.more[state.step_id];
      put(this.more, "visit", `Step ${state.visit}.`);
      this.drawHistory(pack, state);
      this.drawMap(pack, state);
      this.drawGiveUp(pack, state);
      this.nameWindow(run);
      this.aids.show(this.stage, state.deadline === null ? null : () => state.deadline / 1000 - run.clock.now_ms());
      if (!first) this.attend();
      window.htmx?.process(this.stage);
      this.box.dispatchEvent(new CustomEvent("runner:shown", { detail: state, bubbles: true }));
    }
    this.drawKept(run);
    this.drawAside(run);
  }

  fill(run) {
    const { pack, state, sheet } = run;
    const { stage } = this;
    const keys = state.keys ?? [];
    const lost = findLostKeys(sheet, keys);
    when(stage, "lost", lost.length > 0);
    when(stage, "none-lost", lost.length === 0);
    when(stage, "gaps", state.census_gaps.length > 0);
    when(stage, "low", findSupplyGap(sheet, state, run.clock.now()) === "low");
    put(stage, "lost", ...lost.map((name) => make("li", name)));
    put(stage, "gaps", ...state.census_gaps.map((gap) => make("li", gap)));
    put(stage, "volts", state.supply_v === null ? "" : String(state.supply_v));
    put(stage, "forecast", ...forecastKeys(sheet, state).map((key) => {
      const row = make("tr", make("th", key.name), make("td", make("strong", WORKS.get(key.works))), make("td", key.because));
      row.firstChild.scope = "row";
      return row;
    }));
    for (const table of stage.querySelectorAll("table.forecast")) table.hidden = keys.length === 0;
    fillCount(stage, keys);
    const present = stage.querySelector('input[name="present"]');
    if (present) present.value = state.present.join(", ") || pack.person.name;
  }

  drawHistory(pack, state) {
    const { sheet, words, zone } = pack;
    const rows = state.history.map((passed) => {
      const late = passed.late_s ? `, ${passed.late_s.toFixed(0)} s after its window` : "";
      const at = new Date(passed.left_at / 1000).toLocaleTimeString("en-GB", { timeZone: zone });
      const when = make("span", `${at}${late}`);
      when.className = "soft small";
      return make("li", `${sheet.steps[passed.step_id].say} `, make("strong", passed.choice || words.how[passed.how]), " ", when);
    });
    put(this.history, "history", ...rows);
    this.history.hidden = rows.length === 0;
  }

  drawMap(pack, state) {
    if (!this.map) return;
    this.map.innerHTML = pack.views.map;
    for (const node of this.map.querySelectorAll("[data-step]")) {
      const here = node.dataset.step === state.step_id;
      node.classList.toggle("map-done", state.history.some((passed) => passed.step_id === node.dataset.step));
      node.classList.toggle("map-at", here);
      if (here) node.id = "map-here";
    }
  }

  drawGiveUp(pack, state) {
    const word = state.passed_no_return || state.confirmed ? "late" : "early";
    if (this.giveUp.dataset.word === word && !state.ended) return;
    this.giveUp.dataset.word = word;
    this.giveUp.innerHTML = state.ended ? "" : pack.views[`give-up-${word}`];
  }

  nameWindow(run) {
    const title = run.state.ended ? this.stage.querySelector("h1")?.textContent : `Step ${run.state.visit}`;
    document.title = document.title.replace(/^.*? – |^/, `${title} – `);
    const head = document.querySelector("[data-title]");
    if (head) head.textContent = run.pack.title;
  }

  // The new step is what matters now: in view, and where a screen reader goes on.
  attend() {
    const head = this.stage.querySelector("h1");
    if (!head) return;
    head.tabIndex = -1;
    head.focus({ preventScroll: true });
    scrollTo({ top: 0, behavior: "instant" });
  }

  drawKept(run) {
    if (!this.kept) return;
    const count = run.unsent.length;
    if (run.reached === null && !count) return;
    const others = count - run.own.length;
    let words = run.reached !== false ? "All sent." : "No connection. What you do is kept here and sent later.";
    if (count) words = `Kept here: ${count} not sent yet.${run.reached !== false ? "" : " No connection; it is tried again by itself."}`;
    if (others) words = `Kept here: ${others} of ${run.unsent.find((event) => !run.own.includes(event)).person}, sent once they log in here.`;
    if (run.problem?.login) words = `Kept here: ${count} not sent. `;
    if (run.store.barred && !count) words = "What this device kept before cannot be read: it may not have been sent.";
    if (!run.store.lasting && count) words += " This browser keeps nothing for later: leave the page open.";
    if (run.clock.changed_ms) words += " This device's clock was changed; the window goes on as before.";
    if (this.kept.textContent !== words || run.problem?.login) {
      this.kept.textContent = words;
      if (run.problem?.login) {
        const link = make("a", "Log in again to send it");
        link.href = `${this.box.dataset.login}?next=${encodeURIComponent(location.pathname)}`;
        this.kept.append(link);
      }
    }
    this.kept.classList.toggle("kept-waiting", count > 0 || run.reached === false || Boolean(run.store.barred));
    this.kept.hidden = false;
  }

  drawAside(run) {
    const other = run.carrier && !run.carrier.is_own ? run.carrier : null;
    this.box.classList.toggle("stands-aside", Boolean(other));
    this.aside.hidden = !other;
    if (!other) return this.aside.replaceChildren();
    const ago = other.ago_s < 90 ? `${other.ago_s} s ago` : `${Math.round(other.ago_s / 60)} min ago`;
    const says = `This run is being carried on the ${other.word} of ${other.name} (heard ${ago}).`;
    const panel = make("div");
    panel.className = "problem";
    panel.append(make("h2", run.carried ? "Taken over" : "Two devices"), make("p", says));
    if (run.carried) panel.append(make("p", "It was carried here before. What was done here counts as far as it fits."));
    const [over, away] = [make("button", "Take it over here"), make("a", "Stand aside")];
    over.type = "button";
    over.dataset.takeOver = "yes";
    away.href = this.box.dataset.back;
    away.className = "button main";
    const row = make("div", away, over);
    row.className = "row";
    panel.append(row);
    const before = this.aside.querySelector("p")?.textContent;
    if (before !== says) this.aside.replaceChildren(panel);
  }

  // What went wrong, as a sentence where it is seen first.
  tellTrouble(title, ...sentences) {
    const panel = make("div", make("h2", title), ...sentences.filter(Boolean).map((words) => make("p", words)));
    panel.className = "problem";
    panel.tabIndex = -1;
    this.trouble.replaceChildren(panel);
    panel.focus();
  }

  // The same again and again is said once: a screen reader would never come to an end.
  tellOnce(title, ...sentences) {
    const mark = JSON.stringify([title, ...sentences]);
    if (mark !== this.told) this.tellTrouble(title, ...sentences);
    this.told = mark;
  }

  clearTrouble() {
    this.told = "";
    this.trouble.replaceChildren();
  }
}

const nameView = (sheet, state, now) => {
  if (state.phase === "abandoned") return ["given-up", state.passed_no_return ? "late" : "early"];
  if (state.ended) return ["ends", state.step_id];
  if (state.phase === "confirm") return findSupplyGap(sheet, state, now) ? ["supply"] : ["points", state.step_id];
  if (state.phase === "census" || state.phase === "supply") return [state.phase];
  return ["steps", state.step_id];
};

const getView = (views, [kind, id]) => {
  if (kind === "given-up") return views[`given-up-${id}`];
  return id === undefined ? views[kind] : views[kind][id];
};

const put = (view, name, ...inside) => {
  for (const place of view.querySelectorAll(`[data-slot="${name}"]`)) place.replaceChildren(...inside.map((one) => one.cloneNode?.(true) ?? one));
};

const when = (view, name, shown) => {
  for (const place of view.querySelectorAll(`[data-when="${name}"]`)) place.hidden = !shown;
};

const fillCount = (view, keys) => {
  const known = keys.filter((key) => !key.new);
  known.forEach((key, place) => {
    const [name, present, worked] = ["name", "present", "worked"].map((word) => view.querySelector(`[name="key-${place + 1}-${word}"]`));
    if (!name) return;
    name.value = key.name;
    present.checked = key.present;
    worked.value = WORKED.get(key.works_before ?? null);
  });
};
