// The time of an event as the server's clock would tell it, also while the server cannot be asked.
//
// At every answer the server's time is known; from there on the browser's own count of time goes on, which no
// change of the device's clock can move. That count may stand still while the device sleeps: then the clock on the
// wall tells how long it slept. A jump of that clock while the page was in view is no sleep but a changed clock.

const JUMP_MS = 2000;

export class RunClock {
  // wall, steady: milliseconds of the device's clock and of the browser's own count.
  constructor({ wall = () => Date.now(), steady = () => performance.now() } = {}) {
    this.wall = wall;
    this.steady = steady;
    this.offset_ms = 0;
    this.hidden = false;
    this.changed_ms = 0;
    this.#settle(wall());
  }

  // After a reload without the network: the device's clock, with what it was off at the last answer.
  restore(offset_ms) {
    this.offset_ms = offset_ms;
    this.#settle(this.wall() + offset_ms);
  }

  // The server said its time in an answer to what was sent at `sent_ms` of the steady count; half the way is its age.
  contact(server_ms, sent_ms) {
    const age_ms = (this.steady() - sent_ms) / 2;
    this.#settle(server_ms + age_ms);
    this.offset_ms = server_ms + age_ms - this.wall();
    this.changed_ms = 0;
  }

  // Called every second and when the page is shown or hidden: notices sleep and a changed clock; true for the latter.
  tick({ hidden = false } = {}) {
    let changed = false;
    const jump_ms = this.wall() - this.wall_ms - (this.steady() - this.steady_ms);
    if (Math.abs(jump_ms) > JUMP_MS) {
      const slept = jump_ms > 0 && (this.hidden || hidden);
      const now_ms = this.now_ms() + (slept ? jump_ms : 0);
      if (!slept) {
        this.offset_ms -= jump_ms;
        this.changed_ms += jump_ms;
        changed = true;
      }
      this.#settle(now_ms);
    }
    this.hidden = hidden;
    return changed;
  }

  now_ms() {
    return this.at_ms + this.steady() - this.steady_ms;
  }

  // Whole microseconds, as the fold counts.
  now() {
    return Math.round(this.now_ms()) * 1000;
  }

  #settle(now_ms) {
    this.at_ms = now_ms;
    this.wall_ms = this.wall();
    this.steady_ms = this.steady();
  }
}
