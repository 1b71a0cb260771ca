"""A program as a film: where the cutter is and what it has left, moment by moment, to be scrubbed."""

from __future__ import annotations

import bisect
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from bittern.engines.blade.bitting import Bitting
from bittern.engines.blade.outline import Point
from bittern.engines.blade.standard import BladeStandard
from bittern.engines.cutting.cutter import Cutter
from bittern.engines.cutting.forms import DiscForm, Form, WheelForm, get_form, list_bites
from bittern.engines.cutting.motion import Motion, Place
from bittern.engines.cutting.slabs import cut_into_slabs
from bittern.engines.cutting.strokes import Floats, Stroke, list_strokes, tabulate
from bittern.engines.cutting.target import Target, get_target
from bittern.engines.cutting.walls import get_ideal_walls

RAPID_MM_MIN: Final = 3000.0
"""Speed of rapid moves in the film; the program does not say it."""
STEP_MM: Final = 0.05
MOMENTS: Final = 240
MOST_MOMENTS: Final = 2000


@dataclass(frozen=True, slots=True)
class Moment:
    """One moment of a film.

    Attributes
    ----------
    time_s
        Since the first position.
    line
        Of the program, from 1.
    rapid
        Whether the move is a rapid one.
    tool_mm
        x, h, n of the programmed point on the blade.
    low_mm, high_mm
        At each of the film's ``x_mm``: the heights between which metal is gone. On an edge blade
        ``low_mm`` is the outline left and ``high_mm`` does not count; on a track they are the groove's walls,
        or NaN where there is no groove yet.
    part_mm
        The same as ``low_mm`` for metal taken only part of the thickness deep (an edge blade and an end
        mill).
    """

    time_s: float
    line: int
    rapid: bool
    tool_mm: Place
    low_mm: Floats
    high_mm: Floats
    part_mm: Floats


@dataclass(frozen=True, slots=True)
class Replay:
    """A film of a program.

    Attributes
    ----------
    x_mm
        Columns along the blade, from 0 to its length.
    ideal_mm
        What should be left there: the outline of an edge blade; on a track the groove's lower wall, and
        ``ideal_high_mm`` its upper one.
    blank_mm
        Length, lowest and highest h of the blank.
    tool
        Corners of the cutter's picture about its point, x and h; empty for an end mill, which is a circle.
    radius_mm
        Of an end mill; 0 for a wheel.
    track
        Whether it is a track blade.
    moments
        In the order of time; the first is the first position, the last the end.
    """

    x_mm: Floats
    ideal_mm: Floats
    ideal_high_mm: Floats | None
    blank_mm: tuple[float, float, float]
    tool: tuple[Point, ...]
    radius_mm: float
    track: bool
    moments: tuple[Moment, ...]

    @property
    def duration_s(self) -> float:
        """Return how long the film is."""
        return self.moments[-1].time_s

    def get_moment(self, time_s: float) -> Moment:
        """Return the last moment that is not after ``time_s``."""
        at = bisect.bisect_right([moment.time_s for moment in self.moments], time_s) - 1
        return self.moments[max(0, at)]

    def as_dict(self, decimals: int = 3) -> dict[str, object]:
        """Return the film as JSON; lengths in mm, rounded.

        ``blank`` is ``length, bottom, top``; ``x`` and ``ideal`` are lists. Each of ``moments`` has ``t``,
        ``line``, ``rapid``, ``tool`` and ``changes``: a list of ``[key, first, [values]]`` that replaces the
        values of ``low``, ``high`` or ``part`` from index ``first`` on; null is no groove. To show moment k,
        start with ``low``, ``high`` and ``part`` of the whole (the uncut blank) and apply the changes of
        moments 0 to k.
        """
        first = self.moments[0]
        return {
            "track": self.track,
            "duration_s": round(self.duration_s, decimals),
            "blank": list(self.blank_mm),
            "radius": self.radius_mm,
            "tool_outline": [list(point) for point in self.tool],
            "x": _say(self.x_mm, decimals),
            "ideal": _say(self.ideal_mm, decimals),
            "ideal_high": None if self.ideal_high_mm is None else _say(self.ideal_high_mm, decimals),
            **{key: _say(values, decimals) for key, values in _name_states(first)},
            "moments": list(self._list_moments(decimals)),
        }

    def _list_moments(self, decimals: int) -> Iterator[dict[str, object]]:
        before = self.moments[0]
        for moment in self.moments:
            changes: list[list[object]] = []
            for (key, new), (_, old) in zip(_name_states(moment), _name_states(before), strict=True):
                moved = np.flatnonzero(~((new == old) | (np.isnan(new) & np.isnan(old))))
                if len(moved):
                    first, last = int(moved[0]), int(moved[-1])
                    changes.append([key, first, _say(new[first : last + 1], decimals)])
            yield {
                "t": round(moment.time_s, decimals),
                "line": moment.line,
                "rapid": moment.rapid,
                "tool": [round(value, decimals) for value in moment.tool_mm],
                "changes": changes,
            }
            before = moment


def record_replay(
    motion: Motion,
    standard: BladeStandard,
    bitting: Bitting,
    cutter: Cutter,
    *,
    edge: int = 0,
    moments: int = MOMENTS,
) -> Replay:
    """Return the film of a program.

    Parameters
    ----------
    motion, standard, bitting, cutter, edge
        As for :func:`bittern.engines.cutting.sweep.sweep`.
    moments
        How many moments at equal times, 2 to 2000, beside the first.

    Notes
    -----
    For looking at: columns every 0.05 mm, each of them exact. What the program leaves in the end is measured
    by the sweep itself. Time is way by feed without acceleration; rapid moves go 3 m a minute. How to use it
    on a page: send ``as_dict()`` as JSON, apply changes up to the slider's moment, draw ``x`` against
    ``low`` as a polyline and the tool at ``tool``.
    """
    moments = min(max(2, moments), MOST_MOMENTS)
    form, target = get_form(cutter), get_target(standard, bitting, edge)
    track = standard.kind == "track"
    slabs = cut_into_slabs(list_strokes(motion), cutter, target.depth_mm)
    parts = _cut_into_moments(motion, slabs.strokes, moments)
    length = standard.length_mm
    x = np.linspace(0.0, length, int(np.ceil(length / STEP_MM)) + 1)
    state = _State(x, target, track)
    scenes = [state.freeze(0.0, motion, parts[0].stroke if parts else None, first=True)]
    bites = list_bites(form, tabulate([part.stroke for part in parts]), x, target.top_mm)
    bite = next(bites, None)
    for number, part in enumerate(parts):
        if bite is not None and bite.stroke == number:
            deep = slabs.clears[part.source] >= slabs.count
            if slabs.hits[part.source]:
                state.take(bite.columns, bite.low_mm, bite.high_mm, through=bool(deep))
            bite = next(bites, None)
        if part.closes:
            scenes.append(state.freeze(part.end_s, motion, part.stroke, first=False))
    ideal, ideal_high = target.get_ideal_mm(x), None
    if track:
        ideal, ideal_high = get_ideal_walls(target, x)
    tool, radius = _outline_tool(form, target.top_mm - target.bottom_mm)
    blank = (length, target.bottom_mm, target.top_mm)
    return Replay(x, ideal, ideal_high, blank, tool, radius, track, tuple(scenes))


@dataclass(frozen=True, slots=True)
class _Part:
    """A piece of a stroke within one moment; ``source`` is the stroke's number."""

    stroke: Stroke
    source: int
    end_s: float
    closes: bool


class _State:
    """What is left at a moment."""

    def __init__(self, x_mm: Floats, target: Target, track: bool) -> None:
        self.track, self.bottom, self.top = track, target.bottom_mm, target.top_mm
        uncut = np.full(len(x_mm), np.inf)
        self.low, self.part, self.high = uncut, uncut.copy(), -uncut

    def take(self, at: slice, low: Floats, high: Floats, *, through: bool) -> None:
        self.part[at] = np.minimum(self.part[at], low)
        if through:
            self.low[at] = np.minimum(self.low[at], low)
            self.high[at] = np.maximum(self.high[at], high)

    def freeze(self, time_s: float, motion: Motion, stroke: Stroke | None, *, first: bool) -> Moment:
        """Return the moment at a stroke's end (or, the first, at its start)."""
        move = motion.moves[stroke.move if stroke else 0]
        place = motion.frame.to_blade(move.start)
        if stroke is not None:
            place = stroke.start if first else stroke.end
        low, high, part = self.low, self.high, self.part
        if self.track:
            cut = high > low
            low, high = np.where(cut, low, np.nan), np.where(cut, high, np.nan)
            part = np.full(len(low), np.nan)
        else:
            low, part = np.clip(low, self.bottom, self.top), np.clip(part, self.bottom, self.top)
            high = np.full(len(low), self.top)
        return Moment(time_s, move.line, move.rapid, place, low, high, part)


def _cut_into_moments(motion: Motion, strokes: Sequence[Stroke], moments: int) -> list[_Part]:
    """Return the strokes cut at equal times, with the time at which each part ends."""
    times = [stroke.length_mm / _get_speed_mm_s(motion, stroke) for stroke in strokes]
    step = max(sum(times) / moments, 1e-9)
    parts: list[_Part] = []
    at, shown = 0.0, 1
    for source, (stroke, time) in enumerate(zip(strokes, times, strict=True)):
        share = 0.0
        while shown < moments and time > 0 and at + time > shown * step:
            stop = max(0.0, (shown * step - at) / time)
            parts.append(_Part(stroke.part(share, stop), source, shown * step, closes=True))
            share, shown = stop, shown + 1
        parts.append(_Part(stroke.part(share, 1.0), source, at + time, closes=source == len(strokes) - 1))
        at += time
    return parts


def _get_speed_mm_s(motion: Motion, stroke: Stroke) -> float:
    move = motion.moves[stroke.move]
    return (RAPID_MM_MIN if move.rapid else move.feed_mm_min or RAPID_MM_MIN) / 60


def _outline_tool(form: Form, height_mm: float) -> tuple[tuple[Point, ...], float]:
    """Return the corners of a wheel's form as high as the blank, or an end mill's radius."""
    if isinstance(form, DiscForm):
        return (), form.radius_mm
    assert isinstance(form, WheelForm)
    half, wide = form.half_flat_mm, form.half_flat_mm + height_mm / form.slope
    return ((-half, 0.0), (half, 0.0), (wide, height_mm), (-wide, height_mm)), 0.0


def _name_states(moment: Moment) -> tuple[tuple[str, Floats], ...]:
    return ("low", moment.low_mm), ("high", moment.high_mm), ("part", moment.part_mm)


def _say(values: Floats, decimals: int) -> list[float | None]:
    return [None if value != value else round(value, decimals) for value in values.tolist()]
