"""Cutting programs in ISO 6983-1 / RS-274, written from a path for a machine."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from itertools import pairwise
from typing import Final

from bittern.engines.cutting.errors import TravelError
from bittern.engines.cutting.feeds import Feeds
from bittern.engines.cutting.machine import AXES, Machine
from bittern.engines.cutting.motion import Frame, Place
from bittern.engines.cutting.steps import FINISH, PLUNGE, RAPID, ROUGH, Step
from bittern.engines.cutting.toolpath import Toolpath

ARC_ERROR_MM: Final = 0.0005
"""An arc that a machine does not know becomes tangents, which leave at most this much metal."""


def write_program(
    path: Toolpath, machine: Machine, feeds: Feeds, *, job: str = "", remarks: Sequence[str] = ()
) -> str:
    """Return the program that moves the cutter along ``path``.

    Parameters
    ----------
    path
        In the blade's frame.
    machine
        Gives axes, origin, limits and words.
    feeds
        Spindle speed and feeds.
    job
        The job's number for the header; empty without one. The bitting is never written as such.
    remarks
        More lines of the header.

    Raises
    ------
    TravelError
        A place lies beyond the machine's travel, or the frame does not suit the cutter.
    """
    frame = Frame(machine.axes, machine.signs, machine.origin_mm, path.point)
    _check_frame(frame, machine, path)
    steps = list(path.steps) if machine.arcs else list(_straighten(path.steps))
    _check_travel(steps, frame, machine)
    head = [_say(f"JOB {job}")] if job else []
    body = [*head, *(_say(line) for line in remarks), *_list_frame(frame, machine)]
    body += ["G21 G90 G17", *_list_moves(steps, path.retract, frame, machine, feeds)]
    body += [*(["M9"] if machine.coolant else []), "M5", "M30"]
    if machine.line_numbers:
        body = [f"N{10 * number} {line}" for number, line in enumerate(body, 1)]
    if machine.percent:
        body = ["%", *body, "%"]
    return "\n".join(body) + "\n"


def _say(text: str) -> str:
    """Return a comment; brackets and line ends would end it, other alphabets some machines cannot read."""
    plain = "".join(letter if " " <= letter <= "~" and letter not in "()%;" else "_" for letter in text)
    return f"({plain})"


def _list_frame(frame: Frame, machine: Machine) -> list[str]:
    named = [
        f"{name}={'+' if sign > 0 else '-'}{AXES[axis]}"
        for name, axis, sign in zip("xhn", frame.axes, frame.signs, strict=True)
    ]
    origin = " ".join(
        f"{axis}{_write(value, machine)}" for axis, value in zip(AXES, frame.origin, strict=True)
    )
    return [f"(FRAME {' '.join(named)})", f"(ORIGIN {origin})", f"(POINT {frame.point})"]


def _write(value: float, machine: Machine) -> str:
    text = f"{value:.{machine.decimals}f}"
    return text.removeprefix("-") if not text.strip("-0.") else text


def _list_moves(
    steps: Sequence[Step], retract: str, frame: Frame, machine: Machine, feeds: Feeds
) -> Iterator[str]:
    """Yield the lines from the first retract to the last position."""
    speeds = {ROUGH: feeds.rough_mm_min, PLUNGE: feeds.plunge_mm_min, FINISH: feeds.finish_mm_min}
    first = _round(steps[0], frame, machine)
    away = frame.axes["xhn".index(retract)]
    yield f"G0 {AXES[away]}{_write(first[away], machine)}"
    yield "G0 " + " ".join(f"{AXES[a]}{_write(first[a], machine)}" for a in range(3) if a != away)
    yield f"M3 S{feeds.speed_rpm:.0f}"
    if machine.coolant:
        yield "M8"
    at, feed = first, 0.0
    for before, step in pairwise(steps):
        place = _round(step, frame, machine)
        moved = [axis for axis in range(3) if place[axis] != at[axis]]
        if not moved:
            continue
        word, aims = (
            "G0" if step.kind == RAPID else "G1",
            [f"{AXES[a]}{_write(place[a], machine)}" for a in moved],
        )
        if step.centre is not None and _is_round(before, step, machine):
            word, aims = _write_arc(step, at, place, frame, machine)
        if step.kind != RAPID and speeds[step.kind] != feed:
            feed = speeds[step.kind]
            aims.append(f"F{feed:.{1 if feed < 100 else 0}f}")
        yield " ".join([word, *aims])
        at = place


def _round(step: Step, frame: Frame, machine: Machine) -> Place:
    x, y, z = frame.to_machine(step.x_mm, step.h_mm, step.n_mm)
    return (round(x, machine.decimals), round(y, machine.decimals), round(z, machine.decimals))


def _is_round(before: Step, step: Step, machine: Machine) -> bool:
    """Return whether an arc is more than its chord once it is rounded."""
    if step.centre is None:
        return False
    radius = math.hypot(step.x_mm - step.centre[0], step.h_mm - step.centre[1])
    return radius * (1 - math.cos(step.get_turn_rad(before) / 2)) > 0.5 * 10.0**-machine.decimals


def _write_arc(step: Step, at: Place, place: Place, frame: Frame, machine: Machine) -> tuple[str, list[str]]:
    assert step.centre is not None
    middle = frame.to_machine(step.centre[0], step.centre[1], step.n_mm)
    # From where the rounded way stands: the machine counts the centre from there.
    aims = [f"{AXES[axis]}{_write(place[axis], machine)}" for axis in (0, 1)]
    aims += [f"{letter}{_write(middle[axis] - at[axis], machine)}" for axis, letter in ((0, "I"), (1, "J"))]
    return ("G2" if step.clockwise == _keeps_sense(frame) else "G3"), aims


def _keeps_sense(frame: Frame) -> bool:
    """Return whether clockwise on the blade's face is clockwise seen from +Z."""
    swapped = frame.axes[0] > frame.axes[1]
    return (frame.signs[0] * frame.signs[1] > 0) != swapped


def _check_frame(frame: Frame, machine: Machine, path: Toolpath) -> None:
    if path.point == "end-centre" and (frame.axes[2], frame.signs[2]) != (2, 1):
        raise TravelError(
            f"n along {'-' if frame.signs[2] < 0 else '+'}{AXES[frame.axes[2]]}",
            "n along +Z: an end mill stands on the blade's face",
            where=f"machine {machine.id}",
        )


def _check_travel(steps: Sequence[Step], frame: Frame, machine: Machine) -> None:
    for axis, limits in enumerate(machine.travel_mm):
        if limits is None:
            continue
        values = [place[axis] for place in _list_extremes(steps, frame)]
        if min(values) < limits[0] or max(values) > limits[1]:
            low, high = _write(min(values), machine), _write(max(values), machine)
            raise TravelError(
                f"{AXES[axis]} from {low} to {high} mm",
                f"{limits[0]:g} to {limits[1]:g} mm",
                where=f"machine {machine.id}",
                hint="set the key elsewhere and change the origin of the profile",
            )


def _list_extremes(steps: Sequence[Step], frame: Frame) -> Iterator[Place]:
    """Yield every place where some axis may be at its furthest."""
    yield frame.to_machine(steps[0].x_mm, steps[0].h_mm, steps[0].n_mm)
    for before, step in pairwise(steps):
        yield frame.to_machine(step.x_mm, step.h_mm, step.n_mm)
        if step.centre is None:
            continue
        radius = math.hypot(step.x_mm - step.centre[0], step.h_mm - step.centre[1])
        start = math.atan2(before.h_mm - step.centre[1], before.x_mm - step.centre[0])
        turn = step.get_turn_rad(before)
        low, high = sorted((start, start + turn))
        for quarter in range(math.ceil(low / (math.pi / 2)), math.floor(high / (math.pi / 2)) + 1):
            angle = quarter * math.pi / 2
            yield frame.to_machine(
                step.centre[0] + radius * math.cos(angle),
                step.centre[1] + radius * math.sin(angle),
                step.n_mm,
            )


def _straighten(steps: Iterable[Step]) -> Iterator[Step]:
    """Yield the steps with every arc as tangents of it, which lie outside: metal is left, none taken."""
    before: Step | None = None
    for step in steps:
        if before is not None and step.centre is not None:
            yield from _list_tangents(before, step)
        else:
            yield step
        before = step


def _list_tangents(before: Step, step: Step) -> Iterator[Step]:
    assert step.centre is not None
    x, h = step.centre
    radius = math.hypot(step.x_mm - x, step.h_mm - h)
    turn = step.get_turn_rad(before)
    start = math.atan2(before.h_mm - h, before.x_mm - x)
    widest = 2 * math.acos(1 / (1 + ARC_ERROR_MM / radius))
    count = max(1, math.ceil(abs(turn) / widest))
    outer = radius / math.cos(turn / count / 2)
    for number in range(count):
        angle = start + turn * (number + 0.5) / count
        yield Step(step.kind, x + outer * math.cos(angle), h + outer * math.sin(angle), step.n_mm)
    yield Step(step.kind, step.x_mm, step.h_mm, step.n_mm)
