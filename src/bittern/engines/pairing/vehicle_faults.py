"""The faults of a rehearsal: which there are, and where in a run sheet they strike."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from bittern.engines.pairing.census import KeyInHand
from bittern.engines.pairing.graph import find_reached, link_steps
from bittern.engines.pairing.sheet import Failure, RunSheet, Step, SupplyNeed

FAULTS = {
    "low-supply": "The battery is tired, and the supply is not connected unless you connect it.",
    "key-at-home": "A key that the customer has was left at home.",
    "cable-pulled": "The supply's cable is pulled out along the way.",
    "signal-missed": "The vehicle gives its signal while you look elsewhere.",
    "wrong-article": "The new key is the wrong article: the vehicle never takes it.",
}
# Run sheets say in words what a failure comes from; these pick out the one that a fault causes.
_SUPPLY_WORDS = ("supply", "battery", "volt")
_KEY_WORDS = ("read", "key", "accept", "answer")


@dataclass(frozen=True, slots=True)
class Repeat:
    """A question asked once for every key: more to show, or all shown.

    Attributes
    ----------
    step_id
        The ``choose`` step.
    again
        Labels of the options that lead round, for a key that was not shown yet.
    enough
        Labels of the options that go on, apart from giving up.
    takers
        The steps that show a key and lead to the question.
    """

    step_id: str
    again: tuple[str, ...]
    enough: tuple[str, ...]
    takers: tuple[str, ...]


def find_repeat(sheet: RunSheet) -> Repeat | None:
    """Return the question that a sheet asks once for every key after a point of no return; None without one.

    Notes
    -----
    By structure alone: a ``choose`` that can follow a point of no return, with an option from which the steps
    lead back to it if they succeed, and another that goes on.
    """
    if sheet.census == "all":
        return None
    after = find_after_no_return(sheet)
    for step in sheet.steps.values():
        if step.kind != "choose" or step.id not in after or step.no_return:
            continue
        again = [option.label for option in step.options if _leads_back(sheet, option.then, step.id)]
        enough = [
            option.label
            for option in step.options
            if option.label not in again and not gives_up(sheet, option.then)
        ]
        takers = [
            other.id
            for other in sheet.steps.values()
            if other.then == step.id and other.kind in ("act", "check", "wait") and not other.no_return
        ]
        if again and enough and takers:
            return Repeat(step.id, tuple(again), tuple(enough), tuple(takers))
    return None


def find_after_no_return(sheet: RunSheet) -> set[str]:
    """Return the steps that can follow a point of no return that worked."""
    starts: list[str] = []
    for step in sheet.steps.values():
        if step.no_return:
            starts += [step.then, *(option.then for option in step.options)]
    return find_reached(link_steps(sheet), starts)


def gives_up(sheet: RunSheet, step_id: str) -> bool:
    """Return whether no good end can be reached from ``step_id``."""
    reached = find_reached(link_steps(sheet), [step_id])
    return not any(sheet.steps[one].outcome == "good" for one in reached)


def find_taking_step(sheet: RunSheet) -> str:
    """Return the step at which the vehicle takes the new key: no good end without its success; empty if none.

    Notes
    -----
    Of the steps that every good end needs, the one that speaks of reading a key is taken before others, one
    after a point of no return before one ahead of it, one that can fail before one that cannot, then the
    last.
    """
    after = find_after_no_return(sheet)
    found: list[tuple[tuple[bool, bool, bool, int], str]] = []
    for number, step in enumerate(sheet.steps.values()):
        if step.kind in ("choose", "end") or step.no_return or not _is_needed(sheet, step):
            continue
        speaks = any(_speaks_of(failure, _KEY_WORDS[:1]) for failure in step.fails)
        found.append(((speaks, step.id in after, bool(step.fails), number), step.id))
    return max(found)[1] if found else ""


def list_fitting_faults(sheet: RunSheet, keys: Sequence[KeyInHand]) -> list[str]:
    """Return the names of the faults that can happen with this sheet and these keys."""
    here_old = [key for key in keys if key.present and not key.new]
    here = [key for key in keys if key.present]
    fits = {
        "low-supply": True,
        # One key has to stay: a vehicle without any cannot be paired with most sheets.
        "key-at-home": bool(here_old) and len(here) > 1,
        "cable-pulled": True,
        "signal-missed": any(step.signal for step in sheet.steps.values()),
        "wrong-article": any(key.new and key.present and not key.works_before for key in keys)
        and bool(find_taking_step(sheet)),
    }
    return [name for name in FAULTS if fits[name]]


def find_need(sheet: RunSheet) -> SupplyNeed:
    """Return what the sheet asks of the supply; the usual need where it names none."""
    return sheet.supply or SupplyNeed()


def find_supply_failure(step: Step) -> Failure | None:
    """Return the failure of a ``check`` that speaks of the supply: there a tired battery is found out."""
    if step.kind != "check":
        return None
    return next((failure for failure in step.fails if _speaks_of(failure, _SUPPLY_WORDS)), None)


def connects_supply(step: Step) -> bool:
    """Return whether doing the step connects the steady supply, by its words."""
    words = step.say.casefold()
    return "connect the" in words and any(word in words for word in ("steady supply", "charger"))


def pick_failure(step: Step, cause: str, draw: float) -> Failure | None:
    """Return the failure that ``cause`` brings about; with ``draw`` from 0 to 1 by the chances of the sheet.

    Where the words of one name the cause it is that one; None where the step has no failure.
    """
    words = {"supply": _SUPPLY_WORDS, "wrong-article": _KEY_WORDS}.get(cause, ())
    for word in words:
        for failure in step.fails:
            if _speaks_of(failure, (word,)):
                return failure
    total = sum(failure.chance for failure in step.fails)
    edge = 0.0
    for failure in step.fails:
        edge += failure.chance
        if draw * total < edge:
            return failure
    return step.fails[-1] if step.fails else None


def _speaks_of(failure: Failure, words: Iterable[str]) -> bool:
    text = f"{failure.because} {failure.to}".casefold()
    return any(word in text for word in words)


def _leads_back(sheet: RunSheet, step_id: str, home: str) -> bool:
    """Return whether success after success leads from ``step_id`` to ``home`` and passes nothing final."""
    seen: set[str] = set()
    while step_id in sheet.steps and step_id not in seen:
        seen.add(step_id)
        step = sheet.steps[step_id]
        if step.kind in ("choose", "end") or step.no_return:
            return False
        if step.then == home:
            return True
        step_id = step.then
    return False


def _is_needed(sheet: RunSheet, step: Step) -> bool:
    """Return whether no good end can be reached once ``step`` never succeeds."""
    links = link_steps(sheet)
    links[step.id] = [failure.to for failure in step.fails if failure.to in sheet.steps]
    reached = find_reached(links, [sheet.start])
    return step.id in reached and not any(sheet.steps[one].outcome == "good" for one in reached)
