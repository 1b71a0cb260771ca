// The runner at the vehicle. Each step is a page that works without any script; with it:
//
// On every page of a run (`.runner`): the countdown of a window, the screen kept lit, a beep to compare, reading
// aloud, a second tap held back.
//
// Where `.runner` has `data-run` and `data-events`, the script carries the run and goes on without the network:
//   data-run     GET, with ?device=…: the run, see pages/runner_pack.py (sheet, events so far, every view as HTML).
//   data-events  POST of {attempt, device, word, have, last, events, take_over}, events as RunEvent.as_dict() with
//                `device`, `sequence`, and `sure` or `give_up` where a second act is asked for. Answered by {now,
//                attempt, results: [{event_id, taken, code, sentence}], send_from, from, events, state, sequence,
//                carrier}: `events` are the server's from place `from` on, `state` is {step_id, visit, phase, ended},
//                `carrier` null or {is_own, name, word, ago_s, since}. See pages/runner_sync.py and
//                work/pairing_sync.py (judge_events serves a run of any kind).
//   data-worker  the service worker of this page, in the folder of the page; none if empty.
//   data-back    where the page leads back to.
// Inside `.runner`: [data-stage] holds the view at hand, [data-more], [data-history], [data-give-up], [data-trouble],
// [data-aside], [data-kept] the rest; forms with a field `kind` are acts. At every event the script fires
// "runner:event" on `.runner` (detail: the event) and at every new view "runner:shown" (detail: the state).

import { startAids } from "./runner_aids.js";
import { carryRun } from "./runner_carry.js";

const box = document.querySelector(".runner");
if (box) {
  const aids = startAids(box);
  if (box.dataset.run) carryRun(box, aids);
  else aids.show(box);
}
