"""What changed between two versions of a run sheet: in words, in lines, and what changes for the keys."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from difflib import SequenceMatcher

from bittern.engines.pairing.sheet import Failure, Option, RunSheet, Signal, Step, SupplyNeed
from bittern.formats.runsheets import write_runsheet

CENSUS_WORDS = {
    "all": "every key works as before",
    "present-only": "keys that are not here stop working",
    "new-only": "only new keys work",
}
# Unchanged lines shown around a change.
_AROUND = 2
# Characters of each change that a suggested line names: enough to know it again.
_MOST_SAID = 56


@dataclass(frozen=True, slots=True)
class Change:
    """One thing that changed: the step ("" for the sheet itself) and a sentence."""

    step: str
    sentence: str


@dataclass(frozen=True, slots=True)
class Line:
    """One line of a difference: ``kind`` is same, gone, new or gap (lines left out)."""

    kind: str
    text: str


def describe_changes(before: RunSheet, after: RunSheet) -> list[Change]:
    """Return what changed from ``before`` to ``after``, step by step; steps are told apart by their ids."""
    changes = [Change("", sentence) for sentence in _compare_heads(before, after)]
    for step_id, step in after.steps.items():
        if step_id not in before.steps:
            changes.append(Change(step_id, f"New step: {step.say or step.outcome or step.kind}"))
            continue
        changes += [Change(step_id, sentence) for sentence in _compare_steps(before.steps[step_id], step)]
    changes += [Change(gone, "Taken out.") for gone in before.steps if gone not in after.steps]
    kept = [step_id for step_id in before.steps if step_id in after.steps]
    if kept != [step_id for step_id in after.steps if step_id in before.steps]:
        changes.append(Change("", "The steps stand in another order on the page; the ways are not touched."))
    return changes


def list_lines(before: RunSheet, after: RunSheet) -> list[Line]:
    """Return the difference of the two texts line by line, with a little of what stays around it."""
    old, new = write_runsheet(before).splitlines(), write_runsheet(after).splitlines()
    lines: list[Line] = []
    for group in SequenceMatcher(None, old, new, autojunk=False).get_grouped_opcodes(_AROUND):
        if lines:
            lines.append(Line("gap", "…"))
        for tag, first, last, from_new, to_new in group:
            if tag == "equal":
                lines += [Line("same", text) for text in old[first:last]]
                continue
            lines += [Line("gone", text) for text in old[first:last]]
            lines += [Line("new", text) for text in new[from_new:to_new]]
    return lines


def find_grave_changes(before: RunSheet | None, after: RunSheet) -> list[str]:
    """Return what changes for the keys: the census, and points of no return that come or go.

    ``before`` None: there was no sheet, so that everything about it is new.
    """
    found: list[str] = []
    if before is None:
        if after.census != "all":
            found.append(f"After it {CENSUS_WORDS[after.census]}.")
    elif before.census != after.census:
        found.append(
            f"Until now {CENSUS_WORDS.get(before.census, before.census)} after it; "
            f"from now on {CENSUS_WORDS.get(after.census, after.census)}."
        )
    old = {one.id: one for one in before.steps.values() if one.no_return} if before else {}
    new = {one.id: one for one in after.steps.values() if one.no_return}
    found += [
        f"{name} becomes a point of no return: {step.say}" for name, step in new.items() if name not in old
    ]
    for name, step in old.items():
        if name not in after.steps:
            found.append(f"The point of no return {name} is taken out.")
        elif name not in new:
            found.append(f"{name} is no longer marked as a point of no return, so nobody is asked before it.")
        elif after.steps[name].say != step.say:
            found.append(f"What is done at the point of no return {name} changes: {after.steps[name].say}")
    return found


def suggest_line(changes: Sequence[Change], most: int = 3) -> str:
    """Return a line that says what changed, for whoever writes none."""
    said = [
        (f"{one.step}: " if one.step else "") + textwrap.shorten(one.sentence, _MOST_SAID, placeholder="…")
        for one in changes[:most]
    ]
    more = len(changes) - most
    return " ".join([*said, f"And {more} more."] if more > 0 else said)


def _compare_heads(before: RunSheet, after: RunSheet) -> Iterator[str]:
    for word, old, new in (
        ("Title", before.title, after.title),
        ("First step", before.start, after.start),
        ("Keys after a good end", CENSUS_WORDS.get(before.census), CENSUS_WORDS.get(after.census)),
        ("Supply", _word_supply(before.supply), _word_supply(after.supply)),
    ):
        if old != new:
            yield _word_change(word, str(old), str(new))
    for need in after.needs:
        if need not in before.needs:
            yield f"Needs {need} before the first step, which it did not."
    for need in before.needs:
        if need not in after.needs:
            yield f"No longer needs {need} before the first step."


def _compare_steps(before: Step, after: Step) -> Iterator[str]:
    for word, old, new in (
        ("Kind", before.kind, after.kind),
        ("Says", before.say, after.say),
        ("Typical time", _word_s(before.typical_s), _word_s(after.typical_s)),
        ("Slowest time", _word_s(before.slowest_s), _word_s(after.slowest_s)),
        ("Then", before.then, after.then),
        ("Outcome", before.outcome, after.outcome),
        ("Recovery", before.recovery, after.recovery),
        ("Signal", _word_signal(before.signal), _word_signal(after.signal)),
        ("Window", _word_s(before.window_s), _word_s(after.window_s)),
    ):
        if old != new:
            yield _word_change(word, old, new)
    if before.no_return != after.no_return:
        yield ("Becomes a point of no return." if after.no_return else "Is no longer a point of no return.")
    yield from _compare_lists("Failure", before.fails, after.fails)
    yield from _compare_lists("Option", before.options, after.options)


def _compare_lists(
    word: str, before: Sequence[Failure | Option], after: Sequence[Failure | Option]
) -> Iterator[str]:
    if before == after:
        return
    old, new = [_word_way(one) for one in before], [_word_way(one) for one in after]
    gone = [one for one in old if one not in new]
    come = [one for one in new if one not in old]
    if not gone and not come:
        yield f"{word}s stand in another order."
        return
    for place in range(max(len(gone), len(come))):
        yield _word_change(
            word, gone[place] if place < len(gone) else "", come[place] if place < len(come) else ""
        )


def _word_change(word: str, old: str, new: str) -> str:
    if not old:
        return f"{word}: {new} is new."
    return f"{word}: {old} is taken out." if not new else f"{word}: {old} → {new}"


def _word_way(one: Failure | Option) -> str:
    if isinstance(one, Failure):
        return f"“{one.because or 'it fails'}”, to {one.to or 'nowhere'}, {100 * one.chance:.3g} %"
    share = "an equal share" if one.chance is None else f"{100 * one.chance:.3g} %"
    return f"“{one.label}”, to {one.then or 'nowhere'}, {share}"


def _word_s(seconds: float | None) -> str:
    return "" if seconds is None else f"{seconds:g} s"


def _word_signal(signal: Signal | None) -> str:
    if signal is None:
        return ""
    return f"{signal.count} × {signal.kind}" + (f" “{signal.text}”" if signal.text else "")


def _word_supply(supply: SupplyNeed | None) -> str:
    if supply is None:
        return ""
    return f"at least {supply.least_v:g} V, comfortable from {supply.comfort_v:g} V"
