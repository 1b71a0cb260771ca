"""The key census followed along every path of a run sheet at once, without naming a single key."""

from __future__ import annotations

from collections import deque
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from bittern.engines.pairing.graph import Way, map_ways
from bittern.engines.pairing.sheet import RunSheet

# Whether a point of no return lies behind. After one that failed nobody can tell what the act has done.
NO, MAYBE, YES = "no", "maybe", "yes"
_STATES = (NO, MAYBE, YES)


@dataclass(frozen=True, slots=True)
class EndCensus:
    """What is true of the keys where a path has come to an end.

    Attributes
    ----------
    end, outcome
        The end's id and how it is marked.
    passed
        ``no``, ``maybe`` or ``yes``: whether a point of no return lies behind on this path.
    path
        Ids of the steps of a shortest path that ends so.
    here, away, new
        Whether old keys that were here, old keys that were not, and new keys that were here work then: True,
        False, or None where it is as it was before (old keys) or only a trial can tell.
    """

    end: str
    outcome: str
    passed: str
    path: tuple[str, ...]
    here: bool | None
    away: bool | None
    new: bool | None


def follow_census(sheet: RunSheet, ways: Mapping[str, Sequence[Way]] | None = None) -> tuple[EndCensus, ...]:
    """Return for every end, and every way in which the keys may stand there, a shortest path and the keys.

    Parameters
    ----------
    sheet
        Any run sheet; ways to steps that do not exist are left out.
    ways
        Its ways, where they are known already.

    Notes
    -----
    Breadth first over pairs of a step and whether a point of no return is behind: at most three times the
    sheet's steps, however many paths and loops there are. Ways are followed whatever their chance.

    Examples
    --------
    >>> from bittern.engines.pairing.sheet import RunSheet, Step
    >>> steps = [
    ...     Step("wipe", "act", "Hold it.", then="fine", no_return=True),
    ...     Step("fine", "end", "", outcome="good"),
    ... ]
    >>> sheet = RunSheet("a", "A", "wipe", "present-only", steps={step.id: step for step in steps})
    >>> [(one.end, one.passed, one.here, one.away) for one in follow_census(sheet)]
    [('fine', 'yes', True, False)]
    """
    if sheet.start not in sheet.steps:
        return ()
    ways = map_ways(sheet) if ways is None else ways
    begin = (sheet.start, NO)
    came_from: dict[tuple[str, str], tuple[str, str] | None] = {begin: None}
    waiting = deque([begin])
    while waiting:
        place = waiting.popleft()
        step_id, passed = place
        for way in ways[step_id]:
            if way.to not in sheet.steps:
                continue
            after = passed
            if sheet.steps[step_id].no_return:
                left = MAYBE if way.kind == "fail" else YES
                after = max(passed, left, key=_STATES.index)
            if (way.to, after) not in came_from:
                came_from[way.to, after] = place
                waiting.append((way.to, after))
    found = []
    for step in sheet.steps.values():
        for passed in _STATES:
            if step.kind == "end" and (step.id, passed) in came_from:
                path = _trace(came_from, (step.id, passed))
                keys = _judge(sheet.census, step.outcome, passed)
                found.append(EndCensus(step.id, step.outcome, passed, path, *keys))
    return tuple(found)


def _trace(
    came_from: dict[tuple[str, str], tuple[str, str] | None], place: tuple[str, str]
) -> tuple[str, ...]:
    path: list[str] = []
    at: tuple[str, str] | None = place
    while at is not None:
        path.append(at[0])
        at = came_from[at]
    return tuple(reversed(path))


def _judge(census: str, outcome: str, passed: str) -> tuple[bool | None, bool | None, bool | None]:
    """Return whether old keys here, old keys away and new keys here work; the rules of the census."""
    if outcome == "good":
        if census == "all":
            return None, None, True
        return census == "present-only", False, True
    if outcome == "unchanged":
        return None, None, False
    if outcome == "stranded" and passed != NO:
        return False, False, False
    return None, None, None if outcome == "" else False
