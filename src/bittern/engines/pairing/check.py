"""What is wrong with a run sheet, found before anybody stands at a vehicle."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence, Set

from bittern.core.errors import Fault, shorten
from bittern.engines.pairing.cautions import find_sheet_cautions
from bittern.engines.pairing.graph import (
    CHANCE_TOLERANCE,
    Way,
    find_components,
    find_reached,
    link_ways,
    map_ways,
    reverse_links,
)
from bittern.engines.pairing.sheet import RunSheet, Step

__all__ = ["find_sheet_cautions", "find_sheet_faults"]


def find_sheet_faults(sheet: RunSheet) -> list[Fault]:
    """Return every fault of ``sheet``; an empty list means that the procedure cannot surprise.

    Looked for: a start or a target that is not there, steps that nothing leads to, loops without a way out
    (or whose way out has no chance), ways that lead nowhere, ends without an outcome, choices without
    options, chances that cannot be, windows that cannot be met, a slowest time below the typical one, no good
    end, and a ``stranded`` end that can be reached from a point of no return and does not say how the vehicle
    gets going again.

    Parameters
    ----------
    sheet
        A run sheet of sound form, as the reader returns it.

    Returns
    -------
    list of Fault
        ``where`` is the step's id (``start`` or ``needs`` for the sheet's own keys), in the order of the
        steps for faults of one step, then those of the whole graph.

    Notes
    -----
    Ways are followed whatever their chance, even zero: what is written can happen. What this cannot see is
    whether the procedure is true to the vehicle.

    Examples
    --------
    >>> from bittern.engines.pairing.sheet import RunSheet, Step
    >>> steps = {"wake": Step("wake", "act", "Turn the key.", then="done")}
    >>> [str(fault) for fault in find_sheet_faults(RunSheet("a", "A", "wake", "all", steps=steps))]
    ["wake: found then = 'done', a step that does not exist, expected the id of a step"]
    """
    faults = [fault for step in sheet.steps.values() for fault in _find_step_faults(step)]
    ways = map_ways(sheet)
    broken = list(_find_broken_ways(sheet, ways))
    faults += broken
    if sheet.start not in sheet.steps:
        faults.append(
            Fault("start", f"{shorten(sheet.start)}, a step that does not exist", "the id of a step")
        )
        return faults
    links = link_ways(ways)
    reached = find_reached(links, [sheet.start])
    faults += _find_unreached(sheet, reached)
    faults += _find_traps(sheet, ways, reached)
    faults += _find_unrecovered(sheet, links)
    # One mistake, one fault: with a way torn off, the good end may well be where it should have led.
    if not broken:
        faults += _find_no_good_end(sheet, reached)
    return faults


def _find_step_faults(step: Step) -> Iterator[Fault]:
    where = step.id
    if step.kind == "end":
        if not step.outcome:
            yield Fault(where, "an end without an outcome", "outcome = good, unchanged or stranded")
        if step.then or step.options or step.fails:
            yield Fault(where, "an end that leads on", "an end without then, options and fails")
        if step.no_return:
            yield Fault(where, "an end that is a point of no return", "no_return at a step that is done")
        return
    if step.outcome:
        yield Fault(
            where, f"outcome {shorten(step.outcome)} at a step that goes on", "an outcome at ends only"
        )
    if step.kind == "choose":
        yield from _find_choice_faults(step)
    else:
        if step.options:
            yield Fault(where, f"options at a step of kind {step.kind}", "options at choose only")
        if not step.say:
            yield Fault(where, "nothing to say", "a sentence that tells the person what to do")
    failing = sum(failure.chance for failure in step.fails)
    if failing > 1 + CHANCE_TOLERANCE:
        yield Fault(where, f"fails with chances of {failing:g} together", "chances of at most 1 together")
    if step.slowest_s < step.typical_s:
        yield Fault(where, f"slowest_s = {step.slowest_s:g}", f"at least typical_s = {step.typical_s:g}")
    if step.window_s is not None and step.typical_s > step.window_s:
        found = f"a window of {step.window_s:g} s for a step that typically takes {step.typical_s:g} s"
        yield Fault(where, found, "a window that can be met: typical_s at most window_s")


def _find_choice_faults(step: Step) -> Iterator[Fault]:
    if not step.options:
        yield Fault(step.id, "a choice without options", "at least one option")
        return
    if step.then:
        yield Fault(step.id, f"then = {shorten(step.then)} beside options", "options alone at a choose")
    for label, times in Counter(option.label for option in step.options).items():
        if times > 1:
            yield Fault(
                step.id, f"{times} options labelled {shorten(label)}", "labels that tell options apart"
            )
    stated = [option.chance for option in step.options if option.chance is not None]
    total = sum(stated)
    if total > 1 + CHANCE_TOLERANCE:
        yield Fault(step.id, f"options with chances of {total:g} together", "chances of at most 1 together")
    elif len(stated) == len(step.options) and total < 1 - CHANCE_TOLERANCE:
        yield Fault(step.id, f"options with chances of {total:g} together", "chances of 1 together")


def _find_broken_ways(sheet: RunSheet, all_ways: Mapping[str, Sequence[Way]]) -> Iterator[Fault]:
    names = {"then": "then", "fail": "a failure", "option": "option"}
    for step_id, ways in all_ways.items():
        for way in ways:
            if way.to in sheet.steps:
                continue
            name = names[way.kind] + (f" {shorten(way.label)}" if way.label else "")
            if way.to:
                found = f"{name} = {shorten(way.to)}, a step that does not exist"
            else:
                found = (
                    f"{name} that leads nowhere" if way.kind != "then" else "no then: the step leads nowhere"
                )
            yield Fault(step_id, found, "the id of a step")


def _find_unreached(sheet: RunSheet, reached: Set[str]) -> Iterator[Fault]:
    for step_id in sheet.steps:
        if step_id not in reached:
            yield Fault(
                step_id,
                "a step that nothing reaches",
                f"a way to it from {shorten(sheet.start)}, or the step taken out",
            )


def _find_traps(sheet: RunSheet, ways: Mapping[str, Sequence[Way]], reached: Set[str]) -> Iterator[Fault]:
    """Find the loops that are never left: the closed sets of steps without an end among them."""
    never: set[str] = set()
    for only_likely, words in ((False, "no way out"), (True, "a way out that has no chance")):
        links = link_ways(ways, only_likely=only_likely)
        for component in find_components(links):
            members = set(component)
            if members & never or not members <= reached:
                continue
            # A way that is torn off or missing has its own fault already.
            torn = any(way.to not in sheet.steps for step_id in component for way in ways[step_id])
            left = any(target not in members for step_id in component for target in links[step_id])
            looping = any(links[step_id] for step_id in component)
            if torn or left or not looping:
                continue
            never |= members
            loop = [step_id for step_id in sheet.steps if step_id in members]
            found = f"a loop with {words}: " + ", ".join(loop)
            yield Fault(loop[0], found, "a path to an end from every step")


def _find_unrecovered(sheet: RunSheet, links: Mapping[str, Sequence[str]]) -> Iterator[Fault]:
    back = reverse_links(links)
    for step in sheet.steps.values():
        if step.kind != "end" or step.outcome != "stranded" or step.recovery.strip():
            continue
        before = find_reached(back, [step.id])
        points = [other.id for other in sheet.steps.values() if other.no_return and other.id in before]
        if points:
            found = "a stranded end after the point of no return " + ", ".join(points)
            yield Fault(step.id, found, "recovery: who gets the vehicle going again, and how")


def _find_no_good_end(sheet: RunSheet, reached: Set[str]) -> Iterator[Fault]:
    if not any(sheet.steps[step_id].outcome == "good" for step_id in reached):
        yield Fault(sheet.start, "no good end that can be reached", "a path to an end with outcome = good")
