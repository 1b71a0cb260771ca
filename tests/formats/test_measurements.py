"""Readings as the command line prints them, read back."""

from __future__ import annotations

import json

import pytest

from bittern.core.errors import FaultsError, InputError
from bittern.engines.blade.caliper import Reading, decode_readings
from bittern.formats.measurements import parse_measurement, read_measurement
from tests.strategies.blades import HERON, RAIL

READINGS = [Reading(cut, height, 0.1) for cut, height in enumerate((7.4, 8.0, 6.8, 6.2, 7.4, 7.1, 8.0))]
PRINTED = decode_readings(HERON, READINGS).as_dict()


def test_what_measure_prints_reads_back_with_its_chances():
    measured = decode_readings(HERON, READINGS)
    found = parse_measurement(json.dumps(PRINTED), "r.json", HERON)
    assert (found.bitting, found.probability) == (measured.bitting, measured.probability)
    assert found.runners_up == measured.runners_up
    assert [cut.by_label for cut in found.cuts] == [cut.by_label for cut in measured.cuts]
    assert found.cuts[7].label == "?"


def test_a_reading_of_another_standard_is_said(tmp_path):
    path = tmp_path / "r.json"
    path.write_text(json.dumps(PRINTED), encoding="utf-8")
    with pytest.raises(FaultsError, match="rail-10"):
        read_measurement(path, RAIL)


@pytest.mark.parametrize("text", ["", "[]", "3", "{", '{"probability": NaN}', "[" * 100_000])
def test_no_json_object(text):
    with pytest.raises(InputError):
        parse_measurement(text, "r.json", HERON)


def spoil(**change: object) -> list[object]:
    """Return the printed cuts with something else in the first."""
    return [{**PRINTED["cuts"][0], **change}, *PRINTED["cuts"][1:]]


@pytest.mark.parametrize(
    ("change", "where"),
    [
        ({"cuts": []}, "cuts"),
        ({"cuts": None}, "cuts"),
        ({"probability": 1.5}, "probability"),
        ({"probability": "much"}, "probability"),
        ({"p_none": -0.2}, "p_none"),
        ({"bitting": 7}, "bitting"),
        ({"runners_up": [3]}, "runners_up, 1"),
        ({"runners_up": [{"bitting": "1", "probability": None}]}, "runners_up, 1, probability"),
        ({"cuts": spoil(label="9")}, "cuts, 1, label"),
        ({"cuts": spoil(by_label={"9": 1})}, "cuts, 1, by_label"),
        (
            {"cuts": spoil(by_label={"2": 2})},
            "cuts, 1, by_label, 2",
        ),
        ({"cuts": spoil(by_label={})}, "cuts, 1, by_label"),
        ({"cuts": [3, *PRINTED["cuts"][1:]]}, "cuts, 1, label"),
    ],
)
def test_each_fault_is_named(change, where):
    with pytest.raises(FaultsError) as caught:
        parse_measurement(json.dumps({**PRINTED, **change}), "r.json", HERON)
    assert caught.value.faults[0].where == where
    assert caught.value.faults[0].file == "r.json"
