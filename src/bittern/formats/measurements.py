"""What ``bittern blade measure`` and ``blade read`` print with ``--json``, read back as a measurement."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from pathlib import Path

from bittern.core.errors import Fault, FaultsError, InputError, shorten
from bittern.engines.blade.bitting import UNKNOWN, count_edges
from bittern.engines.blade.measurement import CutEstimate, Measurement
from bittern.engines.blade.standard import BladeStandard
from bittern.formats.texts import read_text


def read_measurement(path: Path, standard: BladeStandard) -> Measurement:
    """Return the measurement in the file at ``path``; errors as :func:`parse_measurement`.

    Raises
    ------
    InputError
        No such file, over 5 MB, binary, not UTF-8.
    """
    return parse_measurement(read_text(path), path.name, standard)


def parse_measurement(text: str, file: str, standard: BladeStandard) -> Measurement:
    """Return the measurement written in ``text``: chances of cuts and of whole bittings, nothing to draw.

    Raises
    ------
    InputError
        The text is no JSON object.
    FaultsError
        It is of another standard, lacks a key, or a chance is none; all faults are listed.
    """
    try:
        data = json.loads(text, parse_constant=_refuse)
    except (ValueError, RecursionError) as error:
        raise InputError("text that is not JSON", "what blade read prints with --json", where=file) from error
    if not isinstance(data, dict):
        raise InputError(shorten(data), "one JSON object, as blade read prints", where=file)
    faults: list[Fault] = []
    if data.get("standard") != standard.id:
        faults.append(Fault("standard", shorten(data.get("standard")), standard.id, file))
        raise FaultsError(faults, where=file)
    wanted = len(standard.positions_mm) * count_edges(standard)
    raw_cuts = data.get("cuts")
    cuts = raw_cuts if isinstance(raw_cuts, list) else []
    if len(cuts) != wanted:
        faults.append(Fault("cuts", f"{len(cuts)} cuts", f"{wanted} of {standard.id}", file))
    found = [_read_cut(standard, cut, f"cuts, {place}", file, faults) for place, cut in enumerate(cuts, 1)]
    bitting = data.get("bitting")
    if not isinstance(bitting, str):
        faults.append(Fault("bitting", shorten(bitting), "a bitting as text", file))
    probability = _read_chance(data.get("probability"), "probability", file, faults)
    p_none = _read_chance(data.get("p_none", 0.0), "p_none", file, faults)
    runners_up = _read_runners_up(data.get("runners_up", []), file, faults)
    if faults:
        raise FaultsError(faults, where=file)
    return Measurement(
        standard=standard.id,
        bitting=str(bitting),
        probability=probability,
        cuts=tuple(found),
        runners_up=runners_up,
        allowed=data.get("allowed") is not False,
        problems=(),
        p_none=p_none,
    )


def _read_cut(
    standard: BladeStandard, raw: object, where: str, file: str, faults: list[Fault]
) -> CutEstimate:
    cut: Mapping[str, object] = raw if isinstance(raw, Mapping) else {}
    label, chances = cut.get("label"), cut.get("by_label")
    labels = (*standard.labels, UNKNOWN)
    if label not in labels:
        faults.append(Fault(f"{where}, label", shorten(label), " ".join(labels), file))
    by_label: dict[str, float] = {}
    if not isinstance(chances, Mapping) or not set(chances) <= set(standard.labels):
        faults.append(Fault(f"{where}, by_label", shorten(chances), "a chance for each label", file))
    else:
        by_label = {
            str(name): _read_chance(chance, f"{where}, by_label, {name}", file, faults)
            for name, chance in chances.items()
        }
    if label != UNKNOWN and not sum(by_label.values()) > 0.0 and not faults:
        faults.append(Fault(f"{where}, by_label", shorten(chances), "a chance above 0", file))
    name, text = str(cut.get("cut", "")), str(label)
    return CutEstimate(name, text, by_label.get(text, 0.0), None, None, None, by_label)


def _read_runners_up(raw: object, file: str, faults: list[Fault]) -> tuple[tuple[str, float, bool], ...]:
    found = []
    for place, one in enumerate(raw if isinstance(raw, list) else [], 1):
        where = f"runners_up, {place}"
        if not isinstance(one, Mapping) or not isinstance(one.get("bitting"), str):
            faults.append(Fault(where, shorten(one), "bitting, probability and allowed", file))
            continue
        chance = _read_chance(one.get("probability"), f"{where}, probability", file, faults)
        found.append((str(one["bitting"]), chance, one.get("allowed") is True))
    return tuple(found)


def _read_chance(raw: object, where: str, file: str, faults: list[Fault]) -> float:
    number = isinstance(raw, int | float) and not isinstance(raw, bool)
    # A sum of chances may be above 1 by its last digit.
    if not number or not math.isfinite(float(str(raw))) or not -1e-9 <= float(str(raw)) <= 1.0 + 1e-9:
        faults.append(Fault(where, shorten(raw), "a chance from 0 to 1", file))
        return 0.0
    return min(1.0, max(0.0, float(str(raw))))


def _refuse(constant: str) -> object:
    raise ValueError(f"{constant} is not a JSON number")
