"""What is written of a run sheet, read: the sheet that it makes, and every fault with its step and field."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

from bittern.engines.pairing.check import find_sheet_faults
from bittern.engines.pairing.event import MOST_VOLTS
from bittern.engines.pairing.sheet import (
    CENSUSES,
    OUTCOMES,
    SIGNAL_KINDS,
    STEP_KINDS,
    Failure,
    Option,
    RunSheet,
    Signal,
    Step,
    SupplyNeed,
)
from bittern.formats.runsheets import MAX_SIGNALS, MAX_TIME_S
from bittern.work.sheet_draft import LOST, DraftSheet, DraftStep, DraftWay

# The part of the page that is not a step.
HEAD = "head"
MOST_TITLE = 120
MOST_ID = 64
MOST_SAY = 2000
MOST_WORDS = 200
MOST_NEEDS = 40
_NUMBER = re.compile(r"[0-9]{1,9}([.,][0-9]{0,30})?|[.,][0-9]{1,30}")


@dataclass(frozen=True, slots=True)
class DraftFault:
    """One fault: in which part (a step's key or "head"), at which field ("" for the whole part)."""

    part: str
    field: str
    found: str
    expected: str

    @property
    def sentence(self) -> str:
        """What is wrong, for a person."""
        return f"Found {self.found}; expected {self.expected}."


@dataclass(frozen=True, slots=True)
class Reading:
    """What a draft makes.

    Attributes
    ----------
    sheet
        The sheet, with something sound in the place of what cannot be read.
    unread
        Fields that cannot be read: with one of them nothing can be saved.
    unsound
        What is wrong with the procedure: it can be saved, not approved.
    ids
        The id that each step has in ``sheet``, by key.
    """

    sheet: RunSheet
    unread: tuple[DraftFault, ...]
    unsound: tuple[DraftFault, ...]
    ids: dict[str, str]

    @property
    def faults(self) -> tuple[DraftFault, ...]:
        """All faults, those that keep it from being saved first."""
        return self.unread + self.unsound


class _Reader:
    """Reads the fields of one part and takes note of what is wrong."""

    def __init__(self, part: str, ids: dict[str, str], faults: list[DraftFault]) -> None:
        self.part, self.ids, self.faults = part, ids, faults

    def blame(self, field: str, found: str, expected: str) -> None:
        self.faults.append(DraftFault(self.part, field, found, expected))

    def text(self, field: str, typed: str, limit: int) -> str:
        text = " ".join(typed.split()) if limit < MOST_SAY else typed.strip().replace("\r\n", "\n")
        if len(text) > limit:
            self.blame(field, f"{len(text)} characters", f"at most {limit}")
        return text[:limit]

    def number(self, field: str, typed: str, high: float, *, percent: bool = False) -> float | None:
        """Return a number from 0 to ``high``; None where nothing was typed or it cannot be read."""
        text = typed.strip()
        if not text:
            return None
        sound = _NUMBER.fullmatch(text) is not None
        number = float(text.replace(",", ".") + ("e-2" if percent else "")) if sound else -1.0
        if not 0 <= number <= high:
            top = 100 * high if percent else high
            self.blame(field, f"“{text[:40]}”", f"a number from 0 to {top:g}")
            return None
        return number

    def word(self, field: str, typed: str, words: Sequence[str], *, otherwise: str) -> str:
        if typed and typed not in words:
            self.blame(field, f"“{typed[:40]}”", "one of those offered")
        return typed if typed in words else otherwise

    def way(self, typed: str) -> str:
        """Return the id of the step that a way leads to; what is lost keeps the name it had."""
        return self.ids.get(typed) or typed.removeprefix(LOST)


def read_draft(draft: DraftSheet, sheet_id: str) -> Reading:
    """Return the sheet that ``draft`` makes, with every fault."""
    unread: list[DraftFault] = []
    ids = _name_steps(draft, unread)
    steps = [_read_step(step, ids, unread) for step in draft.steps]
    head = _Reader(HEAD, ids, unread)
    title = head.text("title", draft.title, MOST_TITLE)
    if not title:
        head.blame("title", "nothing", "what the sheet is called")
    if not draft.steps:
        head.blame("", "no step", "at least one")
    if not draft.census:
        head.blame("census", "nothing", "which keys work after a good end")
    sheet = RunSheet(
        id=sheet_id,
        title=title,
        start=head.way(draft.start),
        census=head.word("census", draft.census, CENSUSES, otherwise="all"),
        needs=_read_needs(head, draft),
        steps={step.id: step for step in steps},
        supply=_read_supply(head, draft),
    )
    return Reading(sheet, tuple(unread), tuple(_find_unsound(sheet, ids)), ids)


def _name_steps(draft: DraftSheet, faults: list[DraftFault]) -> dict[str, str]:
    """Return an id for every step: as typed, or one of the program's where that cannot be."""
    ids: dict[str, str] = {}
    typed = {step.key: " ".join(step.id.split()) for step in draft.steps}
    times = Counter(typed.values())
    for key, name in typed.items():
        reader = _Reader(key, ids, faults)
        if not name:
            reader.blame("id", "nothing", "a short name for this step")
        elif len(name) > MOST_ID:
            reader.blame("id", f"{len(name)} characters", f"at most {MOST_ID}")
        elif times[name] > 1:
            reader.blame("id", f"“{name}” {times[name]} times", "a name that no other step has")
        else:
            ids[key] = name
    for key in typed:
        if key not in ids:
            ids[key] = _stand_in(typed[key], key, set(ids.values()) | set(typed.values()))
    return ids


def _stand_in(name: str, key: str, taken: set[str]) -> str:
    """Return a name for a step whose own cannot be used, like it and taken by no other."""
    found = f"{name[:40] or 'step'} ({key})"
    while found in taken:
        found += "'"
    return found


def _read_step(step: DraftStep, ids: dict[str, str], faults: list[DraftFault]) -> Step:
    reader = _Reader(step.key, ids, faults)
    kind = reader.word("kind", step.kind, STEP_KINDS, otherwise="act")
    say, name = reader.text("say", step.say, MOST_SAY), ids[step.key]
    recovery = reader.text("recovery", step.recovery, MOST_SAY)
    if kind == "end":
        outcome = reader.word("outcome", step.outcome, OUTCOMES, otherwise="")
        return Step(name, kind, say, outcome=outcome, recovery=recovery)
    typical = reader.number("typical_s", step.typical_s, MAX_TIME_S)
    slowest = reader.number("slowest_s", step.slowest_s, MAX_TIME_S)
    options = _read_options(reader, step.options) if kind == "choose" else ()
    return Step(
        name,
        kind,
        say,
        typical_s=typical or 0.0,
        slowest_s=(typical or 0.0) if slowest is None else slowest,
        then="" if kind == "choose" else reader.way(step.then),
        options=options,
        fails=_read_fails(reader, step.fails),
        signal=_read_signal(reader, step),
        window_s=reader.number("window_s", step.window_s, MAX_TIME_S),
        no_return=step.no_return == "yes",
        recovery=recovery,
    )


def _read_options(reader: _Reader, rows: Sequence[DraftWay]) -> tuple[Option, ...]:
    found = []
    for place, row in enumerate(rows):
        if row.is_empty:
            continue
        label = reader.text(f"option-{place}-words", row.words, MOST_WORDS)
        if not label:
            reader.blame(f"option-{place}-words", "nothing", "what the person sees then")
        chance = reader.number(f"option-{place}-chance", row.chance, 1.0, percent=True)
        found.append(Option(label or "–", reader.way(row.to), chance))
    return tuple(found)


def _read_fails(reader: _Reader, rows: Sequence[DraftWay]) -> tuple[Failure, ...]:
    found = []
    for place, row in enumerate(rows):
        if row.is_empty:
            continue
        because = reader.text(f"fail-{place}-words", row.words, MOST_WORDS)
        chance = reader.number(f"fail-{place}-chance", row.chance, 1.0, percent=True)
        if not row.chance.strip():
            reader.blame(f"fail-{place}-chance", "nothing", "how often it happens, in percent")
        found.append(Failure(reader.way(row.to), chance or 0.0, because))
    return tuple(found)


def _read_signal(reader: _Reader, step: DraftStep) -> Signal | None:
    kind = reader.word("signal_kind", step.signal_kind, SIGNAL_KINDS, otherwise="")
    if not kind:
        return None
    typed = step.signal_count.strip()
    count = int(typed) if typed.isascii() and typed.isdigit() and len(typed) < 9 else 0
    if typed and not 1 <= count <= MAX_SIGNALS:
        expected = f"a whole number from 1 to {MAX_SIGNALS}"
        reader.blame("signal_count", f"“{typed[:40]}”", expected)
        count = 1
    return Signal(kind, count or 1, reader.text("signal_text", step.signal_text, MOST_WORDS))


def _read_needs(head: _Reader, draft: DraftSheet) -> tuple[str, ...]:
    other = [" ".join(line.split()) for line in draft.other_needs.splitlines()]
    needs = tuple(dict.fromkeys(need for need in (*draft.needs, *other) if need))
    if len(needs) > MOST_NEEDS:
        head.blame("other_needs", f"{len(needs)} needs", f"at most {MOST_NEEDS}")
    if any(len(need) > MOST_WORDS for need in needs):
        head.blame("other_needs", "a need of many characters", f"at most {MOST_WORDS}")
    return needs


def _read_supply(head: _Reader, draft: DraftSheet) -> SupplyNeed | None:
    least = head.number("least_v", draft.least_v, MOST_VOLTS)
    comfort = head.number("comfort_v", draft.comfort_v, MOST_VOLTS)
    if least is None and comfort is None:
        return None
    for field, volts in (("least_v", least), ("comfort_v", comfort)):
        if volts is not None and volts < 1:
            head.blame(field, f"{volts:g} V", f"1 to {MOST_VOLTS:g} V")
    usual = SupplyNeed()
    least = min(usual.least_v, comfort or usual.least_v) if least is None else least
    comfort = max(usual.comfort_v, least) if comfort is None else comfort
    if comfort < least:
        head.blame("comfort_v", f"{comfort:g} V", f"at least {least:g} V, below which nothing begins")
        comfort = least
    return SupplyNeed(least, comfort)


def _find_unsound(sheet: RunSheet, ids: dict[str, str]) -> list[DraftFault]:
    """Return the faults of the procedure, each at its step."""
    if not sheet.steps:
        return []
    keys = {name: key for key, name in ids.items()}
    return [
        DraftFault(keys.get(one.where, HEAD), "", one.found, one.expected) for one in find_sheet_faults(sheet)
    ]
