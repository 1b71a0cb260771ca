"""A run sheet as it is being written: every field as typed, right or wrong, and what one does with steps.

Ways lead to a step by its key, which never changes; its id is a name that may be written anew at any time.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass, fields, replace
from decimal import Decimal
from typing import Any, TypeVar

from bittern.core.errors import shorten
from bittern.engines.pairing.census import NEED_WORDS
from bittern.engines.pairing.sheet import RunSheet, Step
from bittern.formats.runsheets import MAX_STEPS
from bittern.work.errors import NoSuchSheetError, NotYetError

# A way to a step that is not there: the mark, and the id as written.
LOST = "?"
# More rows than any procedure has; a hostile form ends there.
MOST_WAYS = 30
_Record = TypeVar("_Record", "DraftWay", "DraftStep", "DraftSheet")


@dataclass(frozen=True, slots=True)
class DraftWay:
    """One way on, of a choice or a failure: key of the step, chance in percent, label or reason."""

    to: str = ""
    chance: str = ""
    words: str = ""

    @property
    def is_empty(self) -> bool:
        """Whether nothing was typed into this row."""
        return not (self.to or self.chance.strip() or self.words.strip())


@dataclass(frozen=True, slots=True)
class DraftStep:
    """One step as typed; ``key`` is the program's, and ``no_return`` is "yes" or empty."""

    key: str
    id: str = ""
    kind: str = "act"
    say: str = ""
    typical_s: str = ""
    slowest_s: str = ""
    then: str = ""
    outcome: str = ""
    recovery: str = ""
    window_s: str = ""
    no_return: str = ""
    signal_kind: str = ""
    signal_count: str = ""
    signal_text: str = ""
    options: tuple[DraftWay, ...] = ()
    fails: tuple[DraftWay, ...] = ()


@dataclass(frozen=True, slots=True)
class DraftSheet:
    """A run sheet as typed; ``start`` is a step's key, ``other_needs`` has a need a line.

    ``line`` says what changed, for whoever approves it.
    """

    title: str = ""
    start: str = ""
    census: str = ""
    needs: tuple[str, ...] = ()
    other_needs: str = ""
    line: str = ""
    least_v: str = ""
    comfort_v: str = ""
    steps: tuple[DraftStep, ...] = ()

    def find(self, key: str) -> DraftStep:
        """Return the step with this key; NoSuchSheetError where it was taken out."""
        return self.steps[self.place(key)]

    def place(self, key: str) -> int:
        """Return where the step stands, from 0; NoSuchSheetError where it was taken out."""
        for place, step in enumerate(self.steps):
            if step.key == key:
                return place
        raise NoSuchSheetError(f"step {key[:20]} of the draft", "a step that is still there")


def write_number(number: float | None, *, percent: bool = False) -> str:
    """Return a number as one types it; in percent it reads back to exactly the same.

    >>> write_number(30.0), write_number(0.03, percent=True), write_number(None)
    ('30', '3', '')
    """
    if number is None:
        return ""
    exact = Decimal(repr(number)) * (100 if percent else 1)
    text = format(exact, "f")
    return text.rstrip("0").rstrip(".") if "." in text else text


def draft_of(sheet: RunSheet) -> DraftSheet:
    """Return a run sheet as one would have typed it."""
    keys = {step_id: str(place) for place, step_id in enumerate(sheet.steps, start=1)}
    supply = sheet.supply
    return DraftSheet(
        title=sheet.title,
        start=_key_of(keys, sheet.start),
        census=sheet.census,
        needs=tuple(need for need in sheet.needs if need in NEED_WORDS),
        other_needs="\n".join(need for need in sheet.needs if need not in NEED_WORDS),
        least_v=write_number(supply.least_v) if supply else "",
        comfort_v=write_number(supply.comfort_v) if supply else "",
        steps=tuple(_draft_step(step, keys) for step in sheet.steps.values()),
    )


def _key_of(keys: Mapping[str, str], step_id: str) -> str:
    return keys.get(step_id, LOST + step_id) if step_id else ""


def _draft_step(step: Step, keys: Mapping[str, str]) -> DraftStep:
    signal, timed = step.signal, bool(step.typical_s or step.slowest_s)
    return DraftStep(
        key=keys[step.id],
        id=step.id,
        kind=step.kind,
        say=step.say,
        typical_s=write_number(step.typical_s) if timed else "",
        slowest_s=write_number(step.slowest_s) if timed else "",
        then=_key_of(keys, step.then),
        outcome=step.outcome,
        recovery=step.recovery,
        window_s=write_number(step.window_s),
        no_return="yes" if step.no_return else "",
        signal_kind=signal.kind if signal else "",
        signal_count=str(signal.count) if signal else "",
        signal_text=signal.text if signal else "",
        options=tuple(
            DraftWay(_key_of(keys, one.then), write_number(one.chance, percent=True), one.label)
            for one in step.options
        ),
        fails=tuple(
            DraftWay(_key_of(keys, one.to), write_number(one.chance, percent=True), one.because)
            for one in step.fails
        ),
    )


def to_document(draft: DraftSheet) -> Mapping[str, object]:
    """Return the draft as plain data, as it is stored."""
    return asdict(draft)


def from_document(document: Mapping[str, object]) -> DraftSheet:
    """Return the draft in plain data; what is not known is left out, what is missing is empty."""
    steps = tuple(
        replace(
            _read(DraftStep, one),
            options=_read_ways(one.get("options")),
            fails=_read_ways(one.get("fails")),
        )
        for one in _read_tables(document.get("steps"))
    )
    needs = document.get("needs")
    found = tuple(str(need) for need in needs) if isinstance(needs, list | tuple) else ()
    return replace(_read(DraftSheet, document), needs=found, steps=steps)


def _read_tables(value: object) -> list[Mapping[str, object]]:
    return [one for one in value if isinstance(one, Mapping)] if isinstance(value, list | tuple) else []


def _read_ways(value: object) -> tuple[DraftWay, ...]:
    return tuple(_read(DraftWay, one) for one in _read_tables(value))


def _read(kind: type[_Record], values: Mapping[str, object]) -> _Record:
    """Return the texts of ``values`` as a record."""
    names = {field.name for field in fields(kind)}
    texts: dict[str, Any] = {
        name: value for name, value in values.items() if name in names and isinstance(value, str)
    }
    return kind(**texts)


def add_step(draft: DraftSheet, after: str) -> tuple[DraftSheet, str]:
    """Return the draft with a new step behind step ``after`` ("": at the head), and the new one's key.

    It comes to stand in the way from the step before to the one where that led.
    """
    key = _require_room(draft)
    before = draft.find(after) if after else None
    linked = before is not None and before.kind not in ("end", "choose")
    then = (before.then if linked and before else "") or ("" if before else draft.start)
    new = DraftStep(key, _free_id(draft, "step"), then=then)
    place = draft.place(after) + 1 if before else 0
    steps = list(draft.steps)
    if linked and before:
        steps[place - 1] = replace(before, then=key)
    steps.insert(place, new)
    return replace(draft, start=draft.start if before else key, steps=tuple(steps)), key


def copy_step(draft: DraftSheet, key: str) -> tuple[DraftSheet, str]:
    """Return the draft with a copy behind step ``key``, to which nothing leads yet, and the copy's key."""
    new, step, place = _require_room(draft), draft.find(key), draft.place(key)
    copied = replace(step, key=new, id=_free_id(draft, step.id or "step"))
    return replace(draft, steps=(*draft.steps[: place + 1], copied, *draft.steps[place + 1 :])), new


def remove_step(draft: DraftSheet, key: str) -> tuple[DraftSheet, str]:
    """Return the draft without step ``key``, and the key of the step that stands in its place.

    What led to it leads to where it led; where it did not lead to one step, the ways to it are left open.
    """
    step, place = draft.find(key), draft.place(key)
    onward = step.then if step.kind not in ("end", "choose") else ""
    onward = "" if onward == key else onward
    target = onward or LOST + (step.id or "taken out")
    kept = [_redirect(one, key, target) for one in draft.steps if one.key != key]
    start = target if draft.start == key else draft.start
    beside = kept[min(place, len(kept) - 1)].key if kept else ""
    return replace(draft, start=start, steps=tuple(kept)), beside


def _redirect(step: DraftStep, key: str, target: str) -> DraftStep:
    def turn(ways: tuple[DraftWay, ...]) -> tuple[DraftWay, ...]:
        return tuple(replace(way, to=target) if way.to == key else way for way in ways)

    then = target if step.then == key else step.then
    return replace(step, then=then, options=turn(step.options), fails=turn(step.fails))


def drop_empty_rows(draft: DraftSheet) -> DraftSheet:
    """Return the draft without the rows of ways that nothing is typed into."""
    return replace(
        draft,
        steps=tuple(
            replace(
                step,
                options=tuple(way for way in step.options if not way.is_empty),
                fails=tuple(way for way in step.fails if not way.is_empty),
            )
            for step in draft.steps
        ),
    )


def move_step(draft: DraftSheet, key: str, by: int) -> DraftSheet:
    """Return the draft with the step moved up (-1) or down (1) on the page; ways are not touched."""
    place = draft.place(key)
    to = min(max(place + by, 0), len(draft.steps) - 1)
    steps = list(draft.steps)
    steps.insert(to, steps.pop(place))
    return replace(draft, steps=tuple(steps))


def _require_room(draft: DraftSheet) -> str:
    """Return the next key; NotYetError where the sheet is full."""
    if len(draft.steps) >= MAX_STEPS:
        raise NotYetError(f"{len(draft.steps)} steps", f"at most {MAX_STEPS}", where="steps")
    numbers = [int(step.key) for step in draft.steps if step.key.isascii() and step.key.isdigit()]
    return str(max(numbers, default=0) + 1)


def _free_id(draft: DraftSheet, stem: str) -> str:
    """Return an id that no step has: the stem and the first number that is free."""
    taken, bare = {step.id for step in draft.steps}, stem.rstrip("0123456789").rstrip("-") or "step"
    return next(name for number in range(2, len(taken) + 3) if (name := f"{bare}-{number}") not in taken)


def name_step(draft: DraftSheet, key: str) -> str:
    """Return the id of the step with this key, or what is said in its place.

    >>> name_step(DraftSheet(), "?wake")
    'wake'
    """
    if key.startswith(LOST):
        return key[len(LOST) :]
    found = next((step.id for step in draft.steps if step.key == key), "")
    return found or shorten(key)
