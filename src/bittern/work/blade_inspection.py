"""Inspecting the finished key from a picture within a job: a look at the target, a verdict, a note of it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

import numpy as np

from bittern.engines.blade.bitting import Bitting, parse_bitting
from bittern.engines.blade.caliper import Reading
from bittern.engines.blade.measurement import CutEstimate, Fit, Measurement, Trace
from bittern.engines.blade.outline import sample_contour
from bittern.engines.blade.standard import BladeStandard
from bittern.work.blade import look_at_bitting, require_ready
from bittern.work.blade_outline import cut_out
from bittern.work.blade_reading import settle_dpi, take_dpi
from bittern.work.blade_record import PHOTO, SCAN, BladeReading
from bittern.work.change import changing
from bittern.work.entry import Entry
from bittern.work.errors import NotYetError
from bittern.work.facts import InspectionNote
from bittern.work.people import Person
from bittern.work.ports import Desk
from bittern.work.readings import parse_readings

if TYPE_CHECKING:
    from bittern.engines.cutting.inspection import InspectedCut, Inspection

TARGET_STEP_MM: Final = 0.02
NOT_PASSED = {"fail": "out of its limits", "undecided": "too near to a limit to tell"}


@dataclass(frozen=True, slots=True)
class InspectionOrder:
    """What the picture of a finished key is to be held against."""

    standard: BladeStandard
    bitting: Bitting
    how: str
    dpi: float | None
    risk: float
    heights: tuple[Reading, ...] = ()


@dataclass(frozen=True, slots=True, eq=False)
class InspectedKey:
    """A verdict, and the picture with its outline, drawn as a reading is."""

    inspection: Inspection
    reading: BladeReading


def begin_inspection(desk: Desk, number: int, person: Person, data: Mapping[str, object]) -> InspectionOrder:
    """Return the target of an inspection; the look at it is on record first.

    Fields: how (scan or photo), dpi (a scan's, the file's own without it), reason; reading-1 … and sd_mm,
    where single cuts were measured again by caliper.

    Raises
    ------
    NotYetError
        Nothing was cut yet, or the blade has its groove in the face.
    """
    entry = Entry(data)
    how = entry.choice("how", (SCAN, PHOTO))
    dpi = take_dpi(entry) if how == SCAN else None
    entry.finish()
    with changing(desk, number, person, "bench") as change:
        standard = require_ready(desk, change)
        if change.job.blade is None or change.job.blade.cut_at is None:
            raise NotYetError("no cut key", "the cut recorded first", where="blade")
        if standard.kind != "edge":
            raise NotYetError(
                "a track blade",
                "an edge blade: a groove is measured with a gauge",
                where="blade",
                hint="record what the gauge says",
            )
    heights = parse_readings(standard, data)
    secret = look_at_bitting(desk, number, person, str(data.get("reason") or ""))
    bitting, risk = parse_bitting(standard, secret), desk.terms.inspection_risk
    return InspectionOrder(standard, bitting, how, dpi, risk, heights)


def inspect_finished(order: InspectionOrder, raw: bytes, person: Person, desk: Desk) -> InspectedKey:
    """Return the verdict on the key in a picture; nothing is kept, and no transaction may be open.

    Raises
    ------
    InputError, PictureError, CardError
        It is no picture, or shows no key that can be measured.
    """
    # Late: cameras, pictures and models take a second to load, and most acts need none of them.
    from bittern.work.blade_picture import PictureReading, inspect_blade_picture

    dpi, dpi_from = settle_dpi(order.how, order.dpi, raw)
    found = inspect_blade_picture(
        raw, order.standard, order.bitting, dpi=dpi, risk=order.risk, heights=order.heights
    )
    flat, silhouette, inspection = found.flat, found.silhouette, found.inspection
    seen = PictureReading(_as_measurement(order, inspection), flat, silhouette)
    picture, size, frame = cut_out(seen)
    reading = BladeReading(
        how=order.how,
        read_by=person.login,
        read_at=desk.clock.now(),
        scale_from=f"{dpi:g} dpi {dpi_from}" if dpi is not None else flat.scale_from,
        residual_mm=flat.residual_mm,
        notes=(*flat.notes, *silhouette.notes),
        silhouette=silhouette,
        heights=order.heights,
        swapped=False,
        measurement=seen.measurement,
        picture=picture,
        picture_size=size,
        picture_frame=frame,
    )
    return InspectedKey(inspection, reading)


def note_inspection(
    desk: Desk, number: int, person: Person, order: InspectionOrder, found: Inspection
) -> None:
    """Keep what an inspection said, without a height: the person decides what follows from it.

    Raises
    ------
    NotYetError
        The cut was taken back meanwhile.
    """
    off = [abs(cut.measured_mm - cut.target_mm) for cut in found.cuts if cut.measured_mm is not None]
    with changing(desk, number, person, "bench") as change:
        blade = change.job.blade
        if blade is None or blade.cut_at is None:
            raise NotYetError("no cut key", "the cut recorded first", where="blade")
        note = InspectionNote(
            how=order.how,
            verdict=found.verdict,
            cuts=len(found.cuts),
            by_caliper=len(order.heights),
            p_conform=found.p_conform,
            worst_mm=max(off, default=0.0),
            limit_mm=found.limit_mm,
            risk=found.risk,
            by=person.login,
            at=change.now,
        )
        change.put(blade=blade.model_copy(update={"inspection": note}))
        change.log(
            "blade.inspection-measured",
            how=order.how,
            verdict=found.verdict,
            p_conform=round(found.p_conform, 4),
            worst_mm=round(note.worst_mm, 3),
            by_caliper=note.by_caliper,
            patterns=[pattern.kind for pattern in found.patterns],
        )


def _as_measurement(order: InspectionOrder, inspection: Inspection) -> Measurement:
    """Return an inspection in the shape of a reading, for the drawing of one."""
    labels = [order.standard.labels[cut] for edge in order.bitting.edges for cut in edge if cut is not None]
    cuts = tuple(_as_estimate(cut, label) for cut, label in zip(inspection.cuts, labels, strict=True))
    return Measurement(
        standard=order.standard.id,
        bitting="",
        probability=inspection.p_conform,
        cuts=cuts,
        runners_up=(),
        allowed=True,
        problems=(),
        fit=_place_target(order, inspection),
    )


def _place_target(order: InspectionOrder, inspection: Inspection) -> Fit:
    """Return how the key lies, with the target where the cuts should be.

    The engine lays the target over the cuts with what all of them are off by: drawn so, a key that was
    clamped wrongly would look right.
    """
    edges = len(order.bitting.edges)

    def place(trace: Trace) -> Trace:
        edge = min(trace.edge, edges - 1)
        x, height = np.array(sample_contour(order.standard, order.bitting, TARGET_STEP_MM, edge=edge)).T
        # The frame goes with the cuts, so the target lies the other way in it.
        meant = np.interp(trace.x_mm + inspection.shift_mm, x, height, left=np.nan, right=np.nan)
        return replace(trace, ideal_mm=meant)

    return replace(inspection.fit, traces=tuple(place(trace) for trace in inspection.fit.traces))


def _as_estimate(cut: InspectedCut, label: str) -> CutEstimate:
    return CutEstimate(
        name=cut.name,
        label=label,
        probability=cut.p_conform or 0.0,
        depth_mm=cut.measured_mm,
        sd_mm=cut.sd_mm,
        distance_mm=None if cut.measured_mm is None else abs(cut.measured_mm - cut.target_mm),
        by_label={},
        doubt=NOT_PASSED.get(cut.verdict, ""),
    )
