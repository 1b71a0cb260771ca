"""What truly happened in a rehearsal, line by line: shown once it is over."""

from __future__ import annotations

from dataclasses import dataclass

from bittern.engines.pairing.sheet import RunSheet
from bittern.engines.pairing.vehicle_state import Happening, Vehicle

MOST_CHARACTERS = 90
WAY_WORDS = {
    "worked": "It worked.",
    "failed": "It failed.",
    "late": "Too late: its time had run out.",
    "out-of-order": "Nothing: the vehicle waited for another step.",
    "nothing": "Nothing happened.",
}
CAUSE_WORDS = {
    "supply": "The supply was too low.",
    "wrong-article": "The new key is the wrong article.",
    "key": "The vehicle cannot take that key.",
    "doors": "A door was open.",
    "cable-pulled": "The supply's cable had been pulled out.",
}
DEED_WORDS = {
    "look": "You looked again.",
    "connect-supply": "You connected the steady supply.",
    "remove-supply": "You took the steady supply off.",
    "fetch-key": "You had a key fetched.",
    "open-door": "You opened a door.",
    "close-doors": "You closed every door.",
    "cable-pulled": "The supply's cable was pulled out.",
}
TOLD_WORDS = {
    "begun": "You began.",
    "census": "You counted the keys.",
    "supply": "You gave the supply as {to} V.",
    "confirmed": "You went past the point of no return.",
    "done": "You said that it worked.",
    "failed": "You said that it did not work.",
    "chosen": "You chose “{to}”.",
    "abandoned": "You gave up.",
}


@dataclass(frozen=True, slots=True)
class TrueLine:
    """One line: when (minutes and seconds), what was done or said, what came of it, whether it was true."""

    at: str
    did: str
    came: str
    true: bool


def list_truth(sheet: RunSheet, vehicle: Vehicle) -> list[TrueLine]:
    """Return everything that was done and said, beside what was so."""
    return [_say_line(sheet, line) for line in vehicle.log]


def shorten_say(sheet: RunSheet, step_id: str) -> str:
    """Return what a step says, short enough for a line on a telephone."""
    step = sheet.steps.get(step_id)
    say = step.say if step else step_id
    return say if len(say) <= MOST_CHARACTERS else f"{say[: MOST_CHARACTERS - 1]}…"


def _say_line(sheet: RunSheet, line: Happening) -> TrueLine:
    minutes, seconds = divmod(int(line.at_s), 60)
    at = f"{minutes}:{seconds:02d}"
    if line.kind == "said":
        did = TOLD_WORDS.get(line.told, line.told).format(to=line.told_to)
        return TrueLine(at, did, "" if line.true else "That was not so.", line.true)
    if line.kind != "do":
        return TrueLine(at, DEED_WORDS.get(line.kind, line.kind), "", True)
    came = [WAY_WORDS.get(line.way, line.way), CAUSE_WORDS.get(line.cause, "")]
    came += ["Its signal came while you looked elsewhere."] if line.unseen else []
    return TrueLine(at, shorten_say(sheet, line.step), " ".join(filter(None, came)), True)
