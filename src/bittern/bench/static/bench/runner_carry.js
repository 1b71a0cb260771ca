// Carries a run on this page: loads it, takes the acts of its forms, shows where it stands, keeps it for a reload.

import { RunClock } from "./runner_clock.js";
import { Refusal } from "./runner_fold.js";
import { KEPT_MS, openStore } from "./runner_store.js";
import { CarriedRun, ElsewhereError } from "./runner_sync.js";
import { RunView } from "./runner_view.js";

const PATIENCE_MS = 8000, TICK_MS = 1000;
const NEW_KEY = "The new key";
const BARRED = "What this device keeps of its runs cannot be read now. Close every window of the browser and open it again.";
const ANEW = "bittern-runner-anew";

// A sentence of the server, or that somebody has to log in again.
class ProblemError extends Error {
  constructor(problem) {
    super(problem.sentence ?? "");
    this.problem = problem;
  }
}

export const carryRun = async (box, aids) => {
  const view = new RunView(box, aids);
  const clock = new RunClock();
  const store = await openStore();
  const server = new Server(box);
  await store.clear({ older_ms: KEPT_MS }).catch(() => {});
  const name = new URL(box.dataset.run, location.href).pathname;
  const run = new CarriedRun({ run: name, store, clock, ask: (body) => server.send(body), tell: () => show(run, view) });
  const pack = await server.load(await store.device(), clock).catch((error) => {
    run.problem = error.problem ?? null;
    run.reached = false;
    return null;
  });
  box.classList.add("carried");
  if (pack && !pack.may_work) return aids.show(box);
  if (!(await run.open(pack))) {
    if (!box.querySelector("[data-stage]").hidden) return aids.show(box);
    const none = store.barred ? `There is no connection. ${BARRED}` : "There is no connection, and nothing of this run is kept on this device.";
    const why = run.problem?.login ? "Log in again." : none;
    return view.tellTrouble("The run cannot be shown", run.problem?.sentence ?? why);
  }
  takeActs(box, run, view);
  watch(box, run, clock);
  show(run, view);
  if (store.barred) view.tellOnce("Kept entries cannot be read", BARRED);
  run.send();
  keepPage(box, run);
};

const show = (run, view) => {
  if (!run.state) return;
  view.draw(run);
  if (run.carrier?.is_own) run.carried = true;
  const refused = run.refused.splice(0);
  if (refused.length) {
    const said = refused.map((result) => result.sentence);
    view.tellTrouble("Refused by the server", ...new Set(said), "This is where the run stands. What was refused is in the job's log.");
  }
  if (run.replaced) view.tellOnce("A new run was begun", "This run is over: reload the page to see the one under way.");
  else if (run.problem && !run.problem.login) view.tellOnce(run.problem.title ?? "Not sent", run.problem.sentence, run.problem.hint);
  if (run.agrees === false) startAnew(view);
  if (run.state.ended && !run.unsent.length && run.reached) leavePage(run);
};

// The server is the judge: where the page reckons otherwise, the server's own page is shown.
const startAnew = (view) => {
  const last = Number(sessionStorage.getItem(ANEW) ?? 0);
  if (Date.now() - last < 60_000) view.tellOnce("This page does not agree with the server", "Go on from another device, or switch scripts off for this page; and tell whoever looks after this program.");
  else {
    sessionStorage.setItem(ANEW, String(Date.now()));
    location.reload();
  }
};

class Server {
  constructor(box) {
    this.data = box.dataset.run;
    this.events = box.dataset.events;
    this.token = "";
    this.word = nameDevice();
  }

  async load(device, clock) {
    const sent_ms = clock?.steady();
    const answer = await this.#fetch(`${this.data}?device=${device}`, {});
    const pack = await this.#read(answer);
    this.token = pack.token;
    delete pack.token;
    clock?.contact(Date.parse(pack.now), sent_ms);
    this.device = device;
    return pack;
  }

  async send(body) {
    const post = () => this.#fetch(this.events, {
      method: "POST", body: JSON.stringify({ ...body, word: this.word }),
      headers: { "Content-Type": "application/json", "X-CSRFToken": this.token },
    });
    if (!this.token) await this.load(body.device);
    let answer = await post();
    if (answer.status === 403) {
      // After a new login the old token is worth nothing.
      await this.load(body.device);
      answer = await post();
    }
    return this.#read(answer);
  }

  async #fetch(address, more) {
    const answer = await fetch(address, { ...more, redirect: "manual", cache: "no-store", signal: AbortSignal.timeout(PATIENCE_MS) });
    if (answer.type === "opaqueredirect" || answer.status === 401) throw new ProblemError({ login: true });
    if (answer.status >= 500) throw new Error(String(answer.status));
    return answer;
  }

  async #read(answer) {
    const said = await answer.json();
    if (!answer.ok) throw new ProblemError(said.problem);
    return said;
  }
}

const nameDevice = () => {
  if (!matchMedia("(pointer: coarse)").matches) return "computer";
  return Math.min(screen.width, screen.height) < 600 ? "phone" : "tablet";
};

const takeActs = (box, run, view) => {
  let busy = false;
  box.addEventListener("submit", async (event) => {
    const form = event.target;
    const data = new FormData(form, event.submitter);
    if (!data.has("kind")) return;
    event.preventDefault();
    event.stopPropagation();
    if (busy) return;
    busy = true;
    try {
      view.clearTrouble();
      const [kind, fields] = readAct(data, run.state);
      await run.add(kind, fields);
      box.dispatchEvent(new CustomEvent("runner:event", { detail: run.events.at(-1), bubbles: true }));
    } catch (error) {
      tell(error, run, view);
    } finally {
      busy = false;
    }
  }, true);
  box.addEventListener("click", (event) => {
    if (event.target.closest("[data-take-over]")) run.send({ take_over: true });
  });
};

const tell = (error, run, view) => {
  if (error instanceof Refusal) view.tellTrouble("Not recorded", run.pack.words.refused[error.code] ?? "It does not fit where the run stands.");
  else if (error instanceof ElsewhereError) view.tellTrouble("Not recorded", "The run went on in another window of this device. This is where it stands now.");
  else if (error instanceof WrongEntry) view.tellTrouble("Not recorded yet", error.message);
  else view.tellTrouble("It was not kept", "This device could not keep the entry. Write down what was done, and do not go on before this page can keep it.");
};

class WrongEntry extends Error {}

// What a form says, as an event's fields.
const readAct = (data, state) => {
  const kind = data.get("kind");
  const text = (name) => (data.get(name) ?? "").trim();
  const here = { step: state.step_id, visit: state.visit };
  switch (kind) {
    case "done": return [kind, here];
    case "failed": return [kind, { ...here, to: data.get("to") }];
    case "chosen": return [kind, { ...here, choice: data.get("choice") }];
    case "supply": return [kind, { volts: readVolts(text("volts")), source: text("source") || "typed" }];
    case "census": return [kind, { keys: readCount(data) }];
    case "confirmed": {
      if (!data.has("sure")) throw new WrongEntry("Tick that you have read which keys are lost, before you go on.");
      const present = text("present").split(",").map((name) => name.trim()).filter(Boolean);
      return [kind, { ...here, present, sure: true }];
    }
    case "abandoned": {
      if (!data.has("give_up")) throw new WrongEntry("Tick that the run ends here, if you mean it.");
      return [kind, { note: text("note"), give_up: true }];
    }
    default: throw new WrongEntry(`This page knows no ${kind}.`);
  }
};

const readVolts = (text) => {
  const typed = text.replace(",", ".");
  const volts = Number(typed);
  if (!/^\d{1,2}(\.\d{1,6})?$/.test(typed) || volts > 60) throw new WrongEntry(`Found ${text || "nothing"}; expected the voltage at the battery, such as 12.6.`);
  return volts;
};

const readCount = (data) => {
  const works = { yes: true, no: false };
  const keys = [];
  for (let place = 1; data.has(`key-${place}-name`); place += 1) {
    const name = data.get(`key-${place}-name`).trim();
    if (name) keys.push({ name, present: data.has(`key-${place}-present`), works_before: works[data.get(`key-${place}-worked`)] ?? null, new: false });
  }
  const names = [...keys.map((key) => key.name), NEW_KEY].map((name) => name.toLowerCase());
  const double = keys.find((key, place) => names.indexOf(key.name.toLowerCase()) !== place || key.name.toLowerCase() === NEW_KEY.toLowerCase());
  if (double) throw new WrongEntry(`Found ${double.name} twice; expected a name of its own for each key.`);
  return [...keys, { name: NEW_KEY, present: true, works_before: false, new: true }];
};

const watch = (box, run, clock) => {
  const look = () => {
    if (clock.tick({ hidden: document.visibilityState === "hidden" })) run.saveClock().catch(() => {});
  };
  setInterval(() => { look(); if (!run.state.ended) run.tell(); }, TICK_MS);
  document.addEventListener("visibilitychange", () => {
    look();
    if (document.visibilityState === "visible") run.send();
  });
  addEventListener("online", () => run.send());
};

// A reload without the network needs a service worker, and that a secure connection.
const keepPage = async (box, run) => {
  if (!box.dataset.worker || run.state.ended) return;
  const line = document.createElement("p");
  line.className = "soft small";
  if (!navigator.serviceWorker) line.textContent = "Without a secure connection (HTTPS) this page cannot be reloaded while the network is gone: leave it open.";
  else {
    try {
      run.worker = await navigator.serviceWorker.register(box.dataset.worker, { updateViaCache: "none" });
      navigator.storage?.persist?.();
      return;
    } catch {
      line.textContent = "This browser does not keep the page for a reload without the network: leave it open.";
    }
  }
  box.querySelector("[data-kept]").after(line);
};

// The run has ended and everything is sent: nothing of it stays on the device.
const leavePage = async (run) => {
  const worker = run.worker ?? (await navigator.serviceWorker?.getRegistration(location.pathname));
  if (worker?.scope === new URL(location.pathname, location.href).href) await worker.unregister();
  if (!window.caches) return;
  const names = (await caches.keys()).filter((name) => name.startsWith(`bittern-runner ${location.origin}${location.pathname} `));
  await Promise.all(names.map((name) => caches.delete(name)));
};
