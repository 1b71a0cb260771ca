"""How long a path takes, with the time that speeding up and slowing down cost."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Final

from bittern.engines.cutting.feeds import Feeds
from bittern.engines.cutting.machine import Machine
from bittern.engines.cutting.steps import CUTTING, FINISH, PLUNGE, RAPID, ROUGH, Step

SMOOTH_RAD: Final = math.radians(2.0)
"""A bend of less is run through without slowing down; rounding makes such bends where an arc meets a line."""

Heading = tuple[float, float, float]


@dataclass(frozen=True, slots=True)
class Duration:
    """Length in mm and time in s of a path, and how much of either is at a cutting feed.

    ``cutting_s`` is what counts for the cutter's life.
    """

    length_mm: float
    time_s: float
    cutting_mm: float
    cutting_s: float


def get_move_time_s(length_mm: float, speed_mm_s: float, acceleration_mm_s2: float) -> float:
    """Return how long a move from rest to rest takes.

    Notes
    -----
    A trapezoid of speed over time, ``s / v + v / a``; where the way is too short to reach the speed
    (``s < v**2 / a``) a triangle, ``2 sqrt(s / a)``. Plane kinematics.

    Examples
    --------
    >>> get_move_time_s(10.0, 5.0, 10.0), get_move_time_s(2.5, 10.0, 10.0)
    (2.5, 1.0)
    """
    if length_mm <= 0:
        return 0.0
    if length_mm < speed_mm_s**2 / acceleration_mm_s2:
        return 2 * math.sqrt(length_mm / acceleration_mm_s2)
    return length_mm / speed_mm_s + speed_mm_s / acceleration_mm_s2


def get_duration(steps: Sequence[Step], feeds: Feeds, machine: Machine) -> Duration:
    """Return length and time of a path.

    Notes
    -----
    The machine runs through smooth joints and comes to rest at every other bend and wherever the feed
    changes: between the time of a machine that looks ahead with some rounding (less) and one that stops
    after every line (more). The way to the first position is not counted, because where it begins is not
    known.
    """
    length = time = cutting = cutting_time = 0.0
    for kind, length_mm in _list_runs(steps):
        speed = {
            RAPID: machine.rapid_mm_min,
            ROUGH: feeds.rough_mm_min,
            PLUNGE: feeds.plunge_mm_min,
            FINISH: feeds.finish_mm_min,
        }[kind]
        needed = get_move_time_s(length_mm, speed / 60, machine.acceleration_mm_s2)
        length, time = length + length_mm, time + needed
        if kind in CUTTING:
            cutting, cutting_time = cutting + length_mm, cutting_time + needed
    return Duration(length, time, cutting, cutting_time)


def _list_runs(steps: Sequence[Step]) -> Iterator[tuple[str, float]]:
    """Yield kind and length of what is run through without a stop."""
    kind, run, heading = "", 0.0, (0.0, 0.0, 0.0)
    for before, step in pairwise(steps):
        first, last = _get_heading(before, step, at_end=False), _get_heading(before, step, at_end=True)
        cosine = sum(one * other for one, other in zip(heading, first, strict=True))
        if kind and (step.kind != kind or cosine < math.cos(SMOOTH_RAD)):
            yield kind, run
            run = 0.0
        kind, run, heading = step.kind, run + step.get_length_mm(before), last
    if kind:
        yield kind, run


def _get_heading(before: Step, step: Step, *, at_end: bool) -> Heading:
    """Return the direction at the beginning or the end of a step, of length 1."""
    if step.centre is None:
        ends = zip((step.x_mm, step.h_mm, step.n_mm), (before.x_mm, before.h_mm, before.n_mm), strict=True)
        x, h, n = (to - start for to, start in ends)
        length = math.hypot(x, h, n)
        return (x / length, h / length, n / length) if length else (0.0, 0.0, 0.0)
    place = step if at_end else before
    x, h = place.x_mm - step.centre[0], place.h_mm - step.centre[1]
    sense = -1 if step.clockwise else 1
    radius = math.hypot(x, h)
    return (-sense * h / radius, sense * x / radius, 0.0)
