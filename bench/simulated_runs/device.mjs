// A device that carries one run by the bench's own scripts, without a page: its store is a file, flushed to the disk
// at every change. Commands come a line of JSON each; every answer is a line. Killed like any process.

import { closeSync, existsSync, fsyncSync, openSync, readFileSync, renameSync, writeSync } from "node:fs";
import { createInterface } from "node:readline";
import { pathToFileURL } from "node:url";

const [scripts, address, cookie, file, path] = process.argv.slice(2);
const load = (name) => import(pathToFileURL(`${scripts}/${name}.js`));
const [{ RunClock }, { makeId }, { CarriedRun }] = await Promise.all(["runner_clock", "runner_store", "runner_sync"].map(load));

const say = (said) => process.stdout.write(`${JSON.stringify(said)}\n`);
const die = () => process.kill(process.pid, "SIGKILL");
const wait = (ms) => new Promise((done) => setTimeout(done, ms));

let fault = "";

class FileStore {
  lasting = true;
  #read() { return existsSync(file) ? JSON.parse(readFileSync(file, "utf8")) : { id: makeId(), runs: {} }; }
  #write(kept) {
    const handle = openSync(`${file}.new`, "w");
    writeSync(handle, JSON.stringify(kept));
    fsyncSync(handle);
    closeSync(handle);
    renameSync(`${file}.new`, file);
  }

  async device() {
    const kept = this.#read();
    if (!existsSync(file)) this.#write(kept);
    return kept.id;
  }

  async read(run) { return this.#read().runs[run] ?? null; }
  async change(run, make) {
    const kept = this.#read();
    const made = make(kept.runs[run] ?? null);
    if (fault === "killed before keeping") die();
    // An answer that was read and not yet taken into the store.
    if (fault === "killed before the answer is kept" && answered) die();
    this.#write({ ...kept, runs: { ...kept.runs, [run]: made } });
    if (fault === "killed after keeping") die();
    return made;
  }

  async forget(run) {
    const kept = this.#read();
    delete kept.runs[run];
    this.#write(kept);
  }
}

let csrf = "";
let token = "";
let answered = false;
const bodies = [];

const call = async (where, more = {}, kill = "") => {
  const headers = { ...more.headers, Cookie: `${cookie}; bittern-csrf=${csrf}` };
  if (kill) headers["X-Fault"] = kill;
  const answer = await fetch(`${address}${where}`, { ...more, headers, redirect: "manual", signal: AbortSignal.timeout(10_000) });
  for (const one of answer.headers.getSetCookie()) if (one.startsWith("bittern-csrf=")) csrf = one.split(";")[0].split("=")[1];
  if (!answer.ok) throw Object.assign(new Error(`${where}: ${answer.status}`), { problem: { sentence: await answer.text() } });
  return answer.json();
};

const post = (body, kill = "") => call(`${path}events/`, {
  method: "POST", body: JSON.stringify(body), headers: { "Content-Type": "application/json", "X-CSRFToken": token },
}, kill);

const SERVER_FAULTS = {
  "server killed before": "before", "server killed inside": "inside", "server killed after the commit": "after",
  "server killed in the answer": "half",
};

const ask = async (body) => {
  if (!token) token = (await call(`${path}run/?device=${run.device}`)).token;
  bodies.push(body);
  if (!body.events.length) return post(body);
  const now = fault;
  if (now === "request lost") { fault = ""; throw new TypeError("no connection"); }
  if (now === "answer lost") { fault = ""; await post(body); throw new TypeError("no connection"); }
  if (now === "sent twice") { fault = ""; await Promise.all([post(body), post(body)]); return post(body); }
  if (now === "later ones first" && body.events.length > 1) { fault = ""; await post({ ...body, events: body.events.slice(1) }); }
  if (now === "an old one again") { fault = ""; for (const old of bodies.slice(-5)) await post(old); }
  if (now === "killed while sending") { post(body).catch(() => {}); await wait(15); die(); }
  if (SERVER_FAULTS[now]) { fault = ""; return post(body, SERVER_FAULTS[now]); }
  const answer = await post(body);
  answered = true;
  return answer;
};

const store = new FileStore();
const run = new CarriedRun({ run: path, store, clock: new RunClock(), ask, later: () => 0 });
let pack = null;
for (let tries = 0; tries < 50 && !pack; tries += 1) {
  pack = await call(`${path}run/?device=${await store.device()}`).catch(() => null);
  if (!pack) await wait(40);
}
if (!(await run.open(pack))) throw new Error("nothing to carry");
token = pack?.token ?? "";
const told = () => ({ step: run.state.step_id, visit: run.state.visit, phase: run.state.phase, ended: run.state.ended, unsent: run.unsent.length });
say({ opened: told() });

for await (const line of createInterface({ input: process.stdin })) {
  const command = JSON.parse(line);
  fault = command.fault ?? "";
  answered = false;
  if (command.add) {
    // What waits is sent by a command of its own, so that the fault meets it.
    const send = run.send;
    run.send = () => {};
    await run.add(command.add, command.fields);
    run.send = send;
    say({ kept: run.events.at(-1).event_id, ...told() });
  }
  if (command.send) {
    for (let tries = 0; tries < 100; tries += 1) {
      await run.send();
      if (!run.unsent.length) break;
      await wait(30);
    }
    say({ sent: run.unsent.length === 0, refused: run.refused.splice(0), problem: run.problem, ...told() });
  }
}
