"""What is not wrong in a run sheet and yet deserves a second look."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from heapq import heappop, heappush

from bittern.engines.pairing.census_paths import NO, YES, follow_census
from bittern.engines.pairing.graph import (
    Way,
    find_reached,
    link_steps,
    link_ways,
    map_ways,
    reverse_links,
)
from bittern.engines.pairing.sheet import RunSheet, Step

# By each step, the steps that lead to it.
Back = Mapping[str, Sequence[str]]

# A window that one visit in ten misses will be missed in a week of work.
_OFTEN_LATE = 0.1
# What a step that has to do with a need is sure to speak of; for other needs, their own words.
_NEED_TRACES = {
    "every-key": ("key",),
    "old-key": ("key",),
    "two-keys": ("key",),
    "new-key": ("key",),
    "steady-supply": ("supply", "charger", "battery", "volt"),
    "code-from-maker": ("code",),
    "doors-closed": ("door",),
    "parking-brake": ("brake",),
    "engine-off": ("engine", "ignition"),
    "fresh-battery": ("battery", "cell", "remote"),
    "vehicle-inside": ("roof", "inside", "workshop", "vehicle"),
    "quiet-air": ("remote", "transmitter", "radio"),
    "network": ("network", "online", "session", "server", "service"),
    "maker-tool": ("equipment", "tool", "session"),
    "vehicle": ("vehicle",),
    "key-number": ("number",),
}
# These are about the work as a whole.
_ALWAYS_USED = ("authority", "time")


def find_sheet_cautions(sheet: RunSheet) -> list[str]:
    """Return what is not wrong in ``sheet`` but deserves a second look, as sentences.

    Looked for: a census and points of no return that do not go together, on the sheet as a whole and along
    every path; needs that no step speaks of; windows that are often missed, that something slow before them
    uses up, or that have nothing to count from; signals where none can be seen or compared; a supply rule
    that nothing asks for; ways without a chance.
    """
    ways = map_ways(sheet)
    back = reverse_links(link_ways(ways))
    cautions = [
        *_find_census_cautions(sheet),
        *_find_path_cautions(sheet, ways),
        *_find_need_cautions(sheet),
        *_find_supply_cautions(sheet),
    ]
    for step in sheet.steps.values():
        cautions += _find_window_cautions(sheet, step, back)
        cautions += _find_signal_cautions(step)
    cautions += [
        f"{way.source} never goes to {way.to}: the way is written with no chance at all."
        for found in ways.values()
        for way in found
        if way.chance == 0
    ]
    return cautions


def _find_census_cautions(sheet: RunSheet) -> Iterator[str]:
    points = [step.id for step in sheet.steps.values() if step.no_return]
    if sheet.census != "all" and not points:
        yield (
            f"The census is {sheet.census}, so keys stop working, "
            "and yet no step is marked as a point of no return."
        )
    if sheet.census == "all" and points:
        yield f"The census is all, so no key is lost, and yet {points[0]} is marked as a point of no return."
    if sheet.census == "present-only" and "every-key" not in sheet.needs:
        yield "The census is present-only and the needs do not ask for every key."
    if "authority" not in sheet.needs:
        yield "The needs do not ask for authority."
    for step in sheet.steps.values():
        if step.no_return and step.kind == "choose":
            yield f"{step.id} is a question, and yet it is marked as a point of no return."


def _find_path_cautions(sheet: RunSheet, ways: Mapping[str, Sequence[Way]]) -> Iterator[str]:
    """Find ends that say something else of the keys than the path to them."""
    points = any(step.no_return for step in sheet.steps.values())
    for one in follow_census(sheet, ways):
        path = " > ".join(one.path)
        if one.outcome == "unchanged" and one.passed == YES and sheet.census != "all":
            yield (
                f"{one.end} says that nothing has changed, and yet a point of no return lies behind it: "
                f"{path}."
            )
        if one.outcome == "good" and one.passed == NO and sheet.census != "all" and points:
            yield (
                f"{one.end} ends well without passing a point of no return, "
                f"and yet by the census keys have stopped working: {path}."
            )


def _find_need_cautions(sheet: RunSheet) -> Iterator[str]:
    """Find needs that no step speaks of; a sheet in another language than English is left alone."""
    said = " ".join(
        " ".join(
            [
                step.say,
                step.recovery,
                step.signal.text if step.signal else "",
                *(failure.because for failure in step.fails),
                *(option.label for option in step.options),
            ]
        )
        for step in sheet.steps.values()
    ).casefold()
    if "the" not in re.findall(r"\w+", said):
        return
    for need in sheet.needs:
        traces = _NEED_TRACES.get(need) or tuple(
            word.casefold() for word in re.findall(r"\w+", need) if len(word) > 2
        )
        if need not in _ALWAYS_USED and traces and not any(trace in said for trace in traces):
            yield f"The needs ask for {need}, and no step speaks of it."


def _find_supply_cautions(sheet: RunSheet) -> Iterator[str]:
    if sheet.supply is None:
        return
    if not any(step.no_return for step in sheet.steps.values()):
        yield "A supply is named, and there is no point of no return that would ask for its voltage."
    if "steady-supply" not in sheet.needs:
        yield "A supply is named, and the needs do not ask for a steady supply."


def _find_window_cautions(sheet: RunSheet, step: Step, back: Back) -> Iterator[str]:
    if step.window_s is None or step.kind == "end":
        if step.window_s is not None:
            yield f"{step.id} is an end: nothing is done there within its window."
        return
    if step.id == sheet.start:
        yield f"{step.id} is the first step: its window has no step before it to count from."
    if step.no_return:
        yield (
            f"{step.id} is a point of no return with a window of {step.window_s:g} s: "
            "the second act counts too."
        )
    if step.typical_s <= step.window_s < step.slowest_s:
        late = ((step.slowest_s - step.window_s) / (step.slowest_s - step.typical_s)) ** 2
        if late >= _OFTEN_LATE:
            yield f"{step.id} misses its window of {step.window_s:g} s in {late:.0%} of its visits."
    if step.typical_s <= step.window_s:
        yield from _find_used_up(sheet, step, step.window_s, back)


def _find_used_up(sheet: RunSheet, step: Step, window_s: float, back: Back) -> Iterator[str]:
    """Find what lies between the vehicle and the window of ``step``, if it counts from the last deed."""
    for name in back[step.id]:
        before = sheet.steps[name]
        spread_s = before.slowest_s - before.typical_s
        if before.kind == "wait" and before.signal is None and spread_s + step.typical_s > window_s:
            yield (
                f"{step.id} has a window of {window_s:g} s after {name}, which lasts {before.typical_s:g} to "
                f"{before.slowest_s:g} s and ends without a signal: nobody can tell when the window opens."
            )
        if before.kind == "choose" and name != step.id:
            spent_s, path = _find_quickest_talk(sheet, back, name)
            if spent_s + step.typical_s > window_s:
                takes = "takes" if len(path) == 1 else "take"
                yield (
                    f"{step.id} has a window of {window_s:g} s, and {', '.join(path)} before it typically "
                    f"{takes} {spent_s:g} s: it can only be met if the vehicle counts from there."
                )


def _find_quickest_talk(sheet: RunSheet, back: Back, last: str) -> tuple[float, tuple[str, ...]]:
    """Return the least typical time of questions that end with ``last``, and their ids."""
    waiting: list[tuple[float, tuple[str, ...]]] = [(sheet.steps[last].typical_s, (last,))]
    seen: set[str] = set()
    while waiting:
        spent_s, path = heappop(waiting)
        sources = back[path[0]]
        if path[0] == sheet.start or any(sheet.steps[name].kind != "choose" for name in sources):
            return spent_s, path
        if path[0] not in seen:
            seen.add(path[0])
            for name in sources:
                heappush(waiting, (spent_s + sheet.steps[name].typical_s, (name, *path)))
    # Nothing leads here from the start; that is a fault of its own.
    return 0.0, (last,)


def _find_signal_cautions(step: Step) -> Iterator[str]:
    if step.signal is None:
        return
    if step.kind == "end":
        yield f"{step.id} is an end: nobody looks for its signal any more."
    elif step.kind == "choose":
        yield f"{step.id} is a question, and a signal answers a deed."
    if step.signal.kind == "message" and not step.signal.text.strip():
        yield f"{step.id} waits for a message and does not say which."


def list_behind_no_return(sheet: RunSheet) -> tuple[str, ...]:
    """Return the ids of the steps that a run only comes to once a point of no return may have been passed.

    Steps that can be reached without one are left out; in the order of the sheet.
    """
    links = link_steps(sheet)
    points = [step.id for step in sheet.steps.values() if step.no_return]
    behind = find_reached(links, [target for point in points for target in links[point]])
    before = {name: [] if sheet.steps[name].no_return else targets for name, targets in links.items()}
    free = find_reached(before, [sheet.start])
    return tuple(step_id for step_id in sheet.steps if step_id in behind and step_id not in free)
