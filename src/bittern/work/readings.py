"""Caliper readings typed at the bench: studied first, taken only with their doubts on record."""

from __future__ import annotations

import math
from collections.abc import Mapping

from bittern.engines.blade.bitting import count_edges, name_cut
from bittern.engines.blade.caliper import USUAL_SD_MM, Reading, decode_readings
from bittern.engines.blade.measurement import Measurement
from bittern.engines.blade.standard import BladeStandard
from bittern.work.entry import Entry


def list_reading_fields(standard: BladeStandard) -> tuple[tuple[str, str], ...]:
    """Return the field and the cut's name for every cut, in the order a bitting is written."""
    count = len(standard.positions_mm)
    return tuple(
        (f"reading-{edge * count + index + 1}", name_cut(standard, edge, index))
        for edge in range(count_edges(standard))
        for index in range(count)
    )


def read_measurement(standard: BladeStandard, data: Mapping[str, object]) -> Measurement:
    """Return what the readings say: fields reading-1, reading-2 … and sd_mm, all in millimetres."""
    return decode_readings(standard, parse_readings(standard, data))


def parse_readings(standard: BladeStandard, data: Mapping[str, object]) -> tuple[Reading, ...]:
    """Return the readings typed: fields reading-1, reading-2 … and sd_mm, all in millimetres.

    Raises
    ------
    FieldsError
        A field is no length; every wrong one is named.
    """
    entry = Entry(data)
    sd_mm = _read_mm(entry, "sd_mm", "a caliper's plus-minus above 0") or USUAL_SD_MM
    if not 0 < sd_mm < standard.width_mm:
        entry.fault("sd_mm", f"{sd_mm:g} mm", "a caliper's plus-minus above 0, far below the blade's width")
    readings = []
    for cut, (name, label) in enumerate(list_reading_fields(standard)):
        height_mm = _read_mm(entry, name, f"the height at cut {label}, such as 7.42")
        if height_mm is not None:
            readings.append(Reading(cut=cut, height_mm=height_mm, sd_mm=sd_mm))
    entry.finish()
    return tuple(readings)


def _read_mm(entry: Entry, name: str, expected: str) -> float | None:
    text = entry.text(name, limit=12)
    if not text:
        return None
    try:
        # Half of the world writes the decimal mark as a comma.
        value = float(text.replace(",", "."))
    except ValueError:
        value = math.nan
    if not math.isfinite(value):
        entry.fault(name, text, expected)
        return None
    return value
