// A run carried on the device: an event is kept first, then the page moves on, then it is sent until it is answered.
// Knows nothing of pages: a test drives it without one.

import { applyEvent, foldEvents, Refusal } from "./runner_fold.js";
import { makeId } from "./runner_store.js";
import { parseMoment, writeMoment } from "./runner_time.js";

const MOST_SENT = 40;
const FIRST_MS = 1000, LONGEST_MS = 30_000, HEARTBEAT_MS = 20_000;

// Another window of this device went on with the run in the meantime.
export class ElsewhereError extends Error {}

export class CarriedRun {
  // run: its name in the store; ask(body): sends to the server and returns its answer, or throws;
  // tell(): something has changed that the page shows.
  constructor({ run, store, clock, ask, tell = () => {}, later = (call, ms) => setTimeout(call, ms) }) {
    Object.assign(this, { run, store, clock, ask, tell, later });
    this.record = null;
    this.state = null;
    // Not known before the first answer.
    this.reached = null;
    this.problem = null;
    this.refused = [];
    this.carrier = null;
    this.wait_ms = FIRST_MS;
  }

  get unsent() { return this.record?.unsent ?? []; }
  // Events of somebody who was logged in here before are for that person to send.
  get own() { return this.unsent.filter((event) => event.person === this.pack.person.login); }
  get pack() { return this.record.pack; }
  get sheet() { return this.pack.sheet; }

  // Begins with what the server gave (pack) or, without it, with what was kept; false where there is neither.
  async open(pack = null) {
    this.device = await this.store.device();
    if (pack) {
      this.record = await this.store.change(this.run, (kept) => {
        // A run of the same name that was begun anew has nothing to do with what is kept.
        const same = kept?.pack.attempt === pack.attempt ? kept : null;
        return settleRecord({ ...pack, events: undefined }, pack.events, same);
      });
    } else {
      this.record = await this.store.read(this.run);
      if (!this.record) return false;
      this.clock.restore(this.record.offset_ms);
    }
    this.#refold();
    return true;
  }

  // Records what happened: kept on the device before the promise is fulfilled. Throws a Refusal where it does not fit.
  async add(kind, fields = {}) {
    const last = this.events.at(-1);
    const at = Math.max(this.clock.now(), last ? parseMoment(last.at) : 0);
    let state = null;
    const keep = (found) => {
      // Forgotten at a login page of another tab: what this page knows is as good.
      const kept = found ?? this.record;
      if (kept.sequence !== this.record.sequence) throw new ElsewhereError("went on in another window");
      const event = {
        event_id: makeId(), kind, person: this.pack.person.login, at: writeMoment(at), ...fields,
        device: this.device, sequence: kept.sequence + 1,
      };
      state = applyEvent(this.sheet, this.state, event);
      return { ...kept, unsent: [...kept.unsent, event], sequence: event.sequence, offset_ms: this.clock.offset_ms };
    };
    try {
      this.record = await this.store.change(this.run, keep);
    } catch (error) {
      if (error instanceof ElsewhereError) await this.reread();
      throw error;
    }
    this.state = state;
    this.events.push(this.record.unsent.at(-1));
    this.tell();
    this.wait_ms = FIRST_MS;
    this.send();
  }

  // Takes up what another window of this device has kept.
  async reread() {
    this.record = (await this.store.read(this.run)) ?? this.record;
    this.#refold();
    this.tell();
  }

  // Sends what waits, and asks how the run stands; one at a time.
  send(more = {}) {
    this.again ||= Boolean(this.sending);
    this.more = { ...this.more, ...more };
    this.sending ??= this.#send().finally(() => {
      this.sending = null;
      if (this.again) {
        this.again = false;
        this.send();
      }
    });
    return this.sending;
  }

  // Keeps sending until all is answered, then says now and then that the run is carried here.
  keepSending() {
    clearTimeout(this.timer);
    const ms = this.own.length || !this.reached ? this.wait_ms : HEARTBEAT_MS;
    this.timer = this.later(() => this.send(), ms);
  }

  async #send() {
    const body = {
      attempt: this.pack.attempt, device: this.device, have: this.record.events.length,
      last: this.record.events.at(-1)?.event_id ?? "", events: this.own.slice(0, MOST_SENT), ...this.more,
    };
    this.more = {};
    const sent_ms = this.clock.steady();
    try {
      const answer = await this.ask(body);
      this.clock.contact(parseMoment(answer.now) / 1000, sent_ms);
      await this.#take(answer);
      this.reached = true;
      this.problem = null;
      this.wait_ms = FIRST_MS;
      // The rest of many, or those before the ones that were sent.
      if (this.own.length && (answer.results.length || answer.send_from)) this.again = true;
    } catch (error) {
      this.reached = false;
      this.problem = error.problem ?? null;
      this.wait_ms = Math.min(this.wait_ms * 2, LONGEST_MS);
    }
    this.tell();
    this.keepSending();
  }

  async #take(answer) {
    this.replaced = answer.attempt !== this.pack.attempt;
    const results = new Map(answer.results.map((result) => [result.event_id, result]));
    this.record = await this.store.change(this.run, (kept) => {
      const base = kept ?? this.record;
      // Where a new run was begun this one is over: its events are answered, and none of them is news.
      const events = this.replaced ? base.events : [...base.events.slice(0, answer.from), ...answer.events];
      const known = new Set(events.map((event) => event.event_id));
      // What the server had and has lost, as after an older copy of its data was put back, it gets again.
      const lost = (event) => event.device === this.device && !known.has(event.event_id);
      const again = (event) => answer.send_from > 0 && event.sequence >= answer.send_from;
      const rescued = [...base.events.filter(lost), ...base.refused.filter(again)];
      const waiting = joinEvents(rescued, base.unsent);
      const refused = waiting.filter((event) => results.get(event.event_id)?.taken === false);
      const unsent = waiting
        .filter((event) => !results.has(event.event_id) && !known.has(event.event_id))
        .sort((one, other) => one.sequence - other.sequence);
      return {
        ...base, events, unsent, refused: joinEvents(base.refused, refused), offset_ms: this.clock.offset_ms,
        sequence: Math.max(base.sequence, answer.sequence),
      };
    });
    this.carrier = answer.carrier;
    this.refused.push(...answer.results.filter((result) => !result.taken));
    this.#refold();
    this.agrees = this.replaced || this.unsent.length > 0 || sameState(this.state, answer.state);
    if ((this.state.ended || this.replaced) && !this.unsent.length && this.agrees) await this.store.forget(this.run);
  }

  // What the device's clock is off is kept, so that a reload without the network knows it.
  async saveClock() {
    const offset_ms = this.clock.offset_ms;
    this.record = await this.store.change(this.run, (kept) => ({ ...(kept ?? this.record), offset_ms }));
  }

  #refold() {
    const { events, unsent } = this.record;
    let state = foldEvents(this.sheet, events);
    this.events = [...events];
    for (const event of unsent) {
      try {
        state = applyEvent(this.sheet, state, event);
        this.events.push(event);
      } catch (error) {
        // It no longer fits after what the server has; it is sent all the same, and the server says why not.
        if (!(error instanceof Refusal)) throw error;
      }
    }
    this.state = state;
  }
}

const settleRecord = (pack, events, kept) => {
  const known = new Set(events.map((event) => event.event_id));
  return {
    pack, events, unsent: (kept?.unsent ?? []).filter((event) => !known.has(event.event_id)),
    refused: kept?.refused ?? [], sequence: Math.max(kept?.sequence ?? 0, pack.sequence), offset_ms: kept?.offset_ms ?? 0,
  };
};

// Both lists, each event once.
const joinEvents = (first, second) => [...new Map([...first, ...second].map((event) => [event.event_id, event])).values()];

const sameState = (state, said) => ["step_id", "visit", "phase", "ended"].every((name) => state[name] === said[name]);
