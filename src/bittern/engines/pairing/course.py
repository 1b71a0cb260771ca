"""A course of eight rehearsals, from easy to hard, out of whatever run sheets a pack has."""

from __future__ import annotations

import zlib
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

from bittern.engines.pairing.census import KeyInHand
from bittern.engines.pairing.check import find_sheet_faults
from bittern.engines.pairing.sheet import RunSheet
from bittern.engines.pairing.skill import find_family
from bittern.engines.pairing.vehicle_faults import find_repeat, list_fitting_faults

KEYS = (
    KeyInHand("The daily key", present=True, works_before=True),
    KeyInHand("The spare key", present=True, works_before=True),
    KeyInHand("The new key", present=True, works_before=False, new=True),
)
"""What the customer of a rehearsal says that there is."""


@dataclass(frozen=True, slots=True)
class Shape:
    """What makes a run sheet easy or hard.

    Attributes
    ----------
    steps, branches, windows, points
        How many steps, ways to fail or to choose, windows, and points of no return there are.
    signals
        How many steps have a signal to look for.
    stranding
        Whether it can end stranded.
    repeats
        Whether it asks once for every key.
    """

    steps: int
    branches: int
    windows: int
    points: int
    signals: int
    stranding: bool
    repeats: bool

    @property
    def load(self) -> float:
        """How much there is to mind: a rough order, no measure."""
        heavy = 6.0 * self.points + 4.0 * self.stranding + 3.0 * self.repeats
        return 0.5 * self.steps + self.branches + 2.0 * self.windows + self.signals + heavy


@dataclass(frozen=True, slots=True)
class Lesson:
    """One rehearsal of the course.

    Attributes
    ----------
    place
        1 to 8.
    title, about
        In words for the person; ``about`` does not give the fault away.
    sheet_id, family
        The run sheet and its family.
    faults, seed
        What :func:`bittern.engines.pairing.vehicle.make_vehicle` takes.
    keys
        As the customer names them.
    """

    place: int
    title: str
    about: str
    sheet_id: str
    family: str
    faults: tuple[str, ...]
    seed: int
    keys: tuple[KeyInHand, ...] = KEYS


@dataclass(frozen=True, slots=True)
class _Plan:
    """What a lesson wants; ``share`` says how far up the suitable sheets by load it picks, 0 to 1."""

    title: str
    about: str
    faults: tuple[str, ...]
    suits: Callable[[RunSheet, Shape], bool]
    share: float


_PLANS = (
    _Plan(
        "Step by step",
        "Nothing is lost for good here. Do each step, look, and say what you saw.",
        (),
        lambda sheet, shape: not shape.points,
        0.0,
    ),
    _Plan(
        "Look twice",
        "Nothing is lost for good. A signal comes once; be sure of it before you speak.",
        ("signal-missed",),
        lambda sheet, shape: not shape.points and shape.signals > 0,
        0.3,
    ),
    _Plan(
        "Know when to stop",
        "Some steps wait only so long, and not every try is worth another.",
        ("wrong-article",),
        lambda sheet, shape: not shape.points and shape.windows > 0,
        1.0,
    ),
    _Plan(
        "The line you cannot step back over",
        "A point of no return: count, measure, confirm.",
        (),
        lambda sheet, shape: shape.points > 0 and sheet.census == "present-only",
        0.0,
    ),
    _Plan(
        "Every key on the seat",
        "What is not shown to the vehicle stops working. The customer says that all keys are here.",
        ("key-at-home",),
        lambda sheet, shape: shape.points > 0 and sheet.census == "present-only",
        0.4,
    ),
    _Plan(
        "A cold morning",
        "The vehicle has stood for a week. Measure before you trust it, and go on measuring.",
        ("low-supply", "signal-missed"),
        lambda sheet, shape: shape.points > 0 and sheet.census == "present-only",
        0.7,
    ),
    _Plan(
        "A narrow workshop",
        "People walk past, things get moved, and several keys want to be shown one by one.",
        ("cable-pulled", "key-at-home"),
        lambda sheet, shape: shape.points > 0 and sheet.census != "new-only",
        1.0,
    ),
    _Plan(
        "Nothing of the old remains",
        "Every old key ends here, and more than one thing goes on beside you. Trust nothing but the meter.",
        ("low-supply", "cable-pulled", "signal-missed"),
        lambda sheet, shape: shape.points > 0,
        1.0,
    ),
)
_HARDEST_FAMILY = "new-only"


def measure_shape(sheet: RunSheet) -> Shape:
    """Return what makes ``sheet`` easy or hard."""
    steps = sheet.steps.values()
    return Shape(
        steps=len(sheet.steps),
        branches=sum(len(step.fails) + max(0, len(step.options) - 1) for step in steps),
        windows=sum(step.window_s is not None for step in steps),
        points=sum(step.no_return for step in steps),
        signals=sum(step.signal is not None for step in steps),
        stranding=any(step.outcome == "stranded" for step in steps),
        repeats=find_repeat(sheet) is not None,
    )


def make_course(sheets: Iterable[RunSheet], keys: Sequence[KeyInHand] = KEYS) -> tuple[Lesson, ...]:
    """Return eight rehearsals out of ``sheets``, from easy to hard; empty where no sheet is without faults.

    Parameters
    ----------
    sheets
        The pack's run sheets, in any order.
    keys
        As the customer names them.

    Notes
    -----
    A lesson takes a sheet of the kind it wants, by load, and one that was not used yet before one that was.
    In a pack without that kind it takes what comes nearest; a fault that cannot happen there is left out. The
    same pack makes the same course.
    """
    sound = sorted((sheet for sheet in sheets if not find_sheet_faults(sheet)), key=lambda sheet: sheet.id)
    shapes = {sheet.id: measure_shape(sheet) for sheet in sound}
    used: list[str] = []
    lessons: list[Lesson] = []
    for place, plan in enumerate(_PLANS, start=1):
        if not sound:
            break
        sheet = _pick_sheet(sound, shapes, plan, used, last=place == len(_PLANS))
        used.append(sheet.id)
        fitting = list_fitting_faults(sheet, keys)
        lessons.append(
            Lesson(
                place=place,
                title=plan.title,
                about=plan.about,
                sheet_id=sheet.id,
                family=find_family(sheet),
                faults=tuple(name for name in plan.faults if name in fitting),
                seed=zlib.crc32(f"{place} {sheet.id}".encode()) % 2**31,
                keys=tuple(keys),
            )
        )
    return tuple(lessons)


def _pick_sheet(
    sound: Sequence[RunSheet], shapes: dict[str, Shape], plan: _Plan, used: Sequence[str], *, last: bool
) -> RunSheet:
    suitable = [sheet for sheet in sound if plan.suits(sheet, shapes[sheet.id])] or list(sound)
    if last:
        # The last one is a sheet that ends every old key, if the pack has one.
        suitable = [sheet for sheet in suitable if sheet.census == _HARDEST_FAMILY] or suitable
    fresh = [sheet for sheet in suitable if sheet.id not in used] or suitable
    by_load = sorted(fresh, key=lambda sheet: (shapes[sheet.id].load, sheet.id))
    return by_load[round(plan.share * (len(by_load) - 1))]
