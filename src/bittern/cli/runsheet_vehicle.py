"""``bittern runsheet rehearse --vehicle``: the same walk with a simulated vehicle behind it, and a score."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING

from bittern.cli.output import NoAnswer, emit, tell
from bittern.cli.runsheet import Walk, describe_walk, print_walk
from bittern.core.errors import InputError, shorten

if TYPE_CHECKING:
    from bittern.engines.pairing.scoring import Score
    from bittern.engines.pairing.sheet import RunSheet, Step
    from bittern.engines.pairing.vehicle_state import Sign

PACE = timedelta(seconds=2)
"""What reading and writing an answer takes where a script gives it."""
_DEEDS = {
    "look": "look",
    "connect supply": "connect-supply",
    "remove supply": "remove-supply",
    "open door": "open-door",
    "close doors": "close-doors",
}
_SAYINGS = {"lamp": "the lamp blinks", "beep": "it beeps", "lock-cycle": "the locks run"}


def rehearse_with_vehicle(
    sheet: RunSheet,
    answers: Iterator[tuple[str, str]],
    *,
    scripted: bool,
    seed: int,
    faults: list[str],
    as_json: bool,
) -> None:
    """Rehearse, print the score, and answer "no" where it is no success."""
    walk = VehicleWalk(sheet, answers, tell, scripted=scripted, seed=seed, faults=faults)
    state = walk.run()
    score = walk.score()
    data = describe_walk(walk, state) | _describe(walk, score)
    emit(data, as_json=as_json, text=lambda: print_walk(walk, state) + "\n" + _print(walk, score))
    if not score.success:
        raise NoAnswer


class VehicleWalk(Walk):
    """A walk at whose every step something is done to a simulated vehicle before it is spoken of.

    Parameters
    ----------
    seed, faults
        What the vehicle is made from.
    """

    headline = "a rehearsal at a simulated vehicle. Do it, look, and say what you saw."

    def __init__(
        self,
        sheet: RunSheet,
        answers: Iterator[tuple[str, str]],
        say: Callable[[str], None],
        *,
        scripted: bool,
        seed: int,
        faults: list[str],
    ) -> None:
        from bittern.engines.pairing.course import KEYS
        from bittern.engines.pairing.vehicle import make_vehicle

        super().__init__(sheet, answers, say, scripted=scripted)
        self.vehicle = make_vehicle(sheet, KEYS, faults, seed)
        self.shown = 0
        self.begun = self.at if scripted else datetime.now(UTC)

    def score(self) -> Score:
        """Return what the rehearsal was worth."""
        from bittern.engines.pairing.scoring import score_rehearsal

        return score_rehearsal(self.sheet, self.events, self.vehicle)

    @property
    def _at_s(self) -> float:
        return (self.at - self.begun).total_seconds()

    def _tick(self, kind: str) -> None:
        # A script's pace is kept answer by answer, and what a step takes the vehicle knows.
        if not self.scripted:
            super()._tick(kind)

    def _ask(self) -> None:
        super()._ask()
        if self._counting and not self.keys:
            here = ", ".join(key.name for key in self.vehicle.keys if key.here)
            away = [key.name for key in self.vehicle.keys if not key.here]
            self.say(f"  On the seat: {here}. Write count to write down what lies there.")
            if away:
                self.say(f"  The customer has more keys: {', '.join(away)}. Write fetch and its name.")
        elif self.state.phase in ("supply", "confirm"):
            self.say("  At the vehicle: meter, connect supply.")

    def _show_step(self, step: Step) -> None:
        if self.shown == self.state.visit:
            self.say(f"[{step.id}]")
            return
        self.shown = self.state.visit
        super()._show_step(step)
        self.say("  at the vehicle: do, look, meter, connect supply, fetch NAME")

    def _take(self, answer: str) -> None:
        self.at = self.at + PACE if self.scripted else datetime.now(UTC)
        word, _, rest = answer.partition(" ")
        if answer == "count" and self.state.phase != "needs":
            from bittern.engines.pairing.vehicle import count_keys

            self.keys = list(count_keys(self.vehicle))
            self._take_key("enough")
        elif answer == "meter":
            from bittern.engines.pairing.vehicle import tell_supply

            self.say(f"  {tell_supply(self.vehicle, self._at_s):.1f} V")
        elif word == "fetch":
            self._do("fetch-key", key=rest.strip())
        elif word == "do" and self.state.phase == "step" and not self._counting:
            self._do("do", step=self.state.step_id, key=rest.strip())
        elif answer in _DEEDS:
            self._do(_DEEDS[answer])
        else:
            super()._take(answer)

    def _do(self, kind: str, **details: str) -> None:
        from bittern.engines.pairing.vehicle import respond, tell_lamps
        from bittern.engines.pairing.vehicle_state import Deed

        key = details.get("key", "")
        if kind == "do" and key and key not in [one.name for one in self.vehicle.keys if one.here]:
            raise InputError(shorten(key), "do, or do and the name of a key that is here")
        self.vehicle, signs = respond(self.sheet, self.vehicle, Deed(kind, **details), self._at_s)
        for sign in signs:
            self.say(f"  > {_word_sign(sign)}")
        lamps = tell_lamps(self.sheet, self.vehicle)
        self.say(f"  lamps lit: {', '.join(lamps) or 'none'}")

    def _add(self, kind: str, **details: object) -> None:
        from bittern.engines.pairing.vehicle import respond

        super()._add(kind, **details)
        self.vehicle, _ = respond(self.sheet, self.vehicle, self.events[-1], self._at_s)


def _word_sign(sign: Sign) -> str:
    if sign.kind == "finding":
        return sign.text
    if sign.kind == "message":
        return f"it shows “{sign.text}”" if sign.text else "it shows a message"
    times = "once" if sign.count == 1 else f"{sign.count} times"
    return f"{_SAYINGS[sign.kind]} {times}" + (f" ({sign.text})" if sign.text else "")


def _describe(walk: VehicleWalk, score: Score) -> dict[str, object]:
    from bittern.engines.pairing.vehicle import find_true_census

    return {
        "points": score.points,
        "success": score.success,
        "reasons": [
            {
                "kind": reason.kind,
                "points": reason.points,
                "step": reason.step or None,
                "found": reason.found,
                "right": reason.right,
            }
            for reason in score.reasons
        ],
        "lost_keys": list(score.lost_keys),
        "vehicle": {
            "seed": walk.vehicle.seed,
            "faults": list(walk.vehicle.faults),
            "outcome": walk.vehicle.outcome or None,
            "step": walk.vehicle.place,
            "keys": [{"name": key.name, "works": key.works} for key in find_true_census(walk.vehicle)],
        },
    }


def _print(walk: VehicleWalk, score: Score) -> str:
    from bittern.engines.pairing.vehicle import find_true_census
    from bittern.engines.pairing.vehicle_faults import FAULTS

    words = {True: "works", False: "does not work"}
    keys = ", ".join(f"{key.name} {words[key.works]}" for key in find_true_census(walk.vehicle))
    lines = [f"the vehicle: {walk.vehicle.outcome or 'not at an end'}; {keys}"]
    lines += [f"  {name}: {FAULTS[name]}" for name in walk.vehicle.faults]
    lines.append(f"{score.points} points of 100" + (": a success" if score.success else ": no success"))
    return "\n".join(lines + [f"  {reason}" for reason in score.reasons])
