"""What would make a run sheet end better: each failure taken away, a steady supply, one more key."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace

import numpy as np

from bittern.engines.pairing.absorption import FloatArray, absorb
from bittern.engines.pairing.duration import mean_duration_s
from bittern.engines.pairing.errors import SheetUnsoundError
from bittern.engines.pairing.graph import Way, list_ways, share_options
from bittern.engines.pairing.sheet import OUTCOMES, Failure, Option, RunSheet, Step
from bittern.engines.pairing.walk import Walk, build_walk, look_ahead

KINDS = ("failure", "supply", "key")
# Run sheets say in words what a failure comes from.
_SUPPLY = re.compile(r"supply|battery|volt|charg|low power")
_NOT_SUPPLY = re.compile(r"remote|cell|fob")
_ONE_KEY = re.compile(
    r"\b(one|single|no second|no other|no spare)\b.*\bkey|\bno\b.*\bkey\b.*\b(works|starts)\b"
)
_HOW_MANY = re.compile(r"\bkeys?\b.*\b(start|starts|work|works|working)\b.*\?|\bworking keys?\b.*\?")
_COUNTS = (
    (re.compile(r"\b(none|no|zero|0)\b"), 0),
    (re.compile(r"\b(two|more|both|several|2|3)\b"), 2),
    (re.compile(r"\b(one|single|1|yes)\b"), 1),
)
# What moves by less than this is no gain.
_LEAST_CHANCE, _LEAST_S = 1e-9, 1e-6


@dataclass(frozen=True, slots=True)
class Gain:
    """How the figures would change if something were otherwise.

    Attributes
    ----------
    kind
        ``failure`` (one failure never happened), ``supply`` (a steady supply is at hand), ``key`` (one more
        key that works is at hand).
    step, to, because, chance
        Of the failure; empty and 0 for the others.
    p_good, p_unchanged, p_stranded
        Changes of the chances; they sum to 0.
    time_s
        Change of the mean time in seconds. It may rise where more runs come to their end.
    """

    kind: str
    p_good: float
    p_unchanged: float
    p_stranded: float
    time_s: float
    step: str = ""
    to: str = ""
    because: str = ""
    chance: float = 0.0

    @property
    def weight(self) -> float:
        """What it is worth, to put the greatest first: a stranded vehicle avoided counts twice."""
        return self.p_good - self.p_stranded


def find_gains(sheet: RunSheet) -> tuple[Gain, ...]:
    """Return what would change the figures of ``sheet``, the most worth first.

    Parameters
    ----------
    sheet
        A run sheet whose figures are defined, see :func:`bittern.engines.pairing.chain.analyse_sheet`.

    Raises
    ------
    SheetUnsoundError
        As :func:`~bittern.engines.pairing.chain.analyse_sheet`.

    Notes
    -----
    A failure that never happens changes one row of the chain, I - Q, by a vector d, so that what lies ahead
    of the start changes by ``N[start, i] (d B) / (1 - d N e_i)`` (Sherman & Morrison, Annals of Mathematical
    Statistics 21, 1950); all failures together cost one inverse. Failures are taken to be independent of
    each other. A failure without which a run would never end is left out.

    Which failures a steady supply prevents, and which a further key, is read out of the sheet's words in
    English: "battery tired", "there is one working key only", the answers to "How many keys that work are
    here?". Words it does not know prevent nothing.

    Examples
    --------
    >>> steps = [
    ...     Step("turn", "act", "Turn it.", 10, 10, then="fine", fails=(Failure("off", 0.1, "dark"),)),
    ...     Step("fine", "end", "", outcome="good"),
    ...     Step("off", "end", "", outcome="unchanged"),
    ... ]
    >>> sheet = RunSheet("a", "A", "turn", "all", steps={step.id: step for step in steps})
    >>> [(gain.kind, gain.step, round(gain.p_good, 3)) for gain in find_gains(sheet)]
    [('failure', 'turn', 0.1)]
    """
    walk = build_walk(sheet)
    if not walk.steps:
        return ()
    gains = list(_find_failure_gains(sheet, walk))
    for kind, change in (("supply", _with_supply), ("key", _with_key)):
        gains += _compare(sheet, walk, kind, change)
    worth = [gain for gain in gains if _matters(gain)]
    return tuple(sorted(worth, key=lambda gain: (-gain.weight, gain.time_s, gain.step, gain.to)))


def pick_gains(gains: Iterable[Gain], count: int) -> tuple[Gain, ...]:
    """Return the first ``count`` of ``gains`` that make more runs end well or fewer strand.

    A failure that a supply or a key alone takes away is not named a second time.
    """
    found = [gain for gain in gains if gain.weight > _LEAST_CHANCE]
    wider = [_round(gain) for gain in found if gain.kind != "failure"]
    return tuple(gain for gain in found if gain.kind != "failure" or _round(gain) not in wider)[:count]


def word_gain(gain: Gain) -> str:
    """Return ``gain`` as a sentence.

    >>> word_gain(Gain("supply", 0.029, -0.029, 0.0, 9.3))
    'With a steady supply: 2.9 more of 100 runs end well, 9 s longer in the mean.'
    """
    if gain.kind == "failure":
        what = f"Without “{gain.because or 'it fails, to ' + gain.to}” at {gain.step}"
    else:
        what = {"supply": "With a steady supply", "key": "With one more key that works"}[gain.kind]
    parts = [
        f"{abs(100 * change):.1f} {'more' if change > 0 else 'fewer'} of 100 runs {words}"
        for change, words in ((gain.p_good, "end well"), (gain.p_stranded, "end stranded"))
        if abs(change) >= 0.0005
    ]
    if abs(gain.time_s) >= 0.5:
        parts.append(f"{abs(gain.time_s):.0f} s {'longer' if gain.time_s > 0 else 'shorter'} in the mean")
    return f"{what}: {', '.join(parts) or 'hardly anything changes'}."


def without_failure(step: Step, place: int) -> Step:
    """Return ``step`` with the failure at ``place`` never happening; its visits work instead."""
    fails = [replace(one, chance=0.0) if number == place else one for number, one in enumerate(step.fails)]
    return replace(step, fails=tuple(fails))


def _find_failure_gains(sheet: RunSheet, walk: Walk) -> Iterable[Gain]:
    count = len(walk.steps)
    moves = np.zeros((count, count))
    for row, onward in enumerate(walk.moves):
        for column, chance in onward.items():
            moves[row, column] = chance
    means = np.array([mean_duration_s(step) for step in walk.steps])
    try:
        result = absorb(moves, walk.leaving, means)
    except np.linalg.LinAlgError:
        return
    # What lies ahead: chances of the outcomes and the mean time, of steps and of ends.
    ahead = np.column_stack([result.ends, result.time])
    for row, step in enumerate(walk.steps):
        for place, failure in enumerate(step.fails):
            if failure.chance <= 0:
                continue
            shift, value = _shift(sheet, walk, step, place, ahead)
            back = 1.0 - float(shift @ result.visits[:, row])
            if back <= 1e-12:
                continue
            change = result.visits[0, row] * value / back
            yield Gain("failure", *_list(change), step.id, failure.to, failure.because, failure.chance)


def _shift(
    sheet: RunSheet, walk: Walk, step: Step, place: int, ahead: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Return how the step's row of moves changes without the failure, and what that changes ahead of it."""
    shift = np.zeros(len(walk.steps))
    value = np.zeros(ahead.shape[1])
    for sign, ways in ((-1.0, list_ways(step)), (1.0, list_ways(without_failure(step, place)))):
        for way in ways:
            if way.to in walk.place:
                shift[walk.place[way.to]] += sign * way.chance
            value += sign * way.chance * _look_at(sheet, walk, way, ahead)
    return shift, value


def _look_at(sheet: RunSheet, walk: Walk, way: Way, ahead: FloatArray) -> FloatArray:
    if way.to in walk.place:
        row: FloatArray = ahead[walk.place[way.to]]
        return row
    end = np.zeros(ahead.shape[1])
    if way.to in sheet.steps and sheet.steps[way.to].outcome in OUTCOMES:
        end[OUTCOMES.index(sheet.steps[way.to].outcome)] = 1.0
    return end


def _compare(
    sheet: RunSheet, walk: Walk, kind: str, change: Callable[[Step, RunSheet], Step]
) -> Iterable[Gain]:
    steps = {step_id: change(step, sheet) for step_id, step in sheet.steps.items()}
    if steps == dict(sheet.steps):
        return
    try:
        after = build_walk(replace(sheet, steps=steps))
        figures = [look_ahead(one) for one in (walk, after)]
    except SheetUnsoundError:
        # A loop that was left by what is now prevented; there is nothing to compare with.
        return
    rows = [np.append(one.ends[0], one.mean_s[0]) for one in figures]
    yield Gain(kind, *_list(rows[1] - rows[0]))


def _list(change: FloatArray) -> tuple[float, float, float, float]:
    good, unchanged, stranded, time_s = (float(value) for value in change)
    return good, unchanged, stranded, time_s


def _matters(gain: Gain) -> bool:
    chances = (gain.p_good, gain.p_unchanged, gain.p_stranded)
    return max(map(abs, chances)) > _LEAST_CHANCE or abs(gain.time_s) > _LEAST_S


def _with_supply(step: Step, sheet: RunSheet) -> Step:
    """Return ``step`` without the failures that a steady supply prevents."""
    del sheet
    return _prevent(step, lambda one: bool(_SUPPLY.search(_said(one)) and not _NOT_SUPPLY.search(_said(one))))


def _with_key(step: Step, sheet: RunSheet) -> Step:
    """Return ``step`` as it goes with one more key that works: answers to "how many" move up by one."""
    del sheet
    step = _prevent(step, lambda one: bool(_ONE_KEY.search(one.because.casefold())))
    if step.kind != "choose" or not _HOW_MANY.search(step.say.casefold()):
        return step
    counts = [_count_keys(option) for option in step.options]
    shares = share_options(step)
    moved = [0.0] * len(shares)
    for place, (count, share) in enumerate(zip(counts, shares, strict=True)):
        higher = [other for other in counts if other is not None and count is not None and other > count]
        target = counts.index(min(higher)) if higher else place
        moved[target] += share
    options = [replace(one, chance=share) for one, share in zip(step.options, moved, strict=True)]
    return step if moved == shares else replace(step, options=tuple(options))


def _prevent(step: Step, is_prevented: Callable[[Failure], bool]) -> Step:
    for place, failure in enumerate(step.fails):
        if failure.chance > 0 and is_prevented(failure):
            step = without_failure(step, place)
    return step


def _said(failure: Failure) -> str:
    return f"{failure.because} {failure.to}".casefold()


def _count_keys(option: Option) -> int | None:
    label = option.label.casefold()
    return next((count for words, count in _COUNTS if words.search(label)), None)


def _round(gain: Gain) -> tuple[float, ...]:
    return tuple(round(value, 9) for value in (gain.p_good, gain.p_unchanged, gain.p_stranded, gain.time_s))
