"""Observations files: round trips, every fault listed, nothing half-read."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from bittern.core.errors import BitternError, InputError
from bittern.engines.key.evidence import HOWS, Observation, Vehicle
from bittern.formats.observations import (
    CaseFile,
    ObservationsError,
    format_observations,
    parse_observations,
    read_observations,
    write_observations,
)

# The example of the format's description, with the chip's value left open there filled in.
EXAMPLE = """
{"vehicle": {"vin": "11111111111111111", "make": "Heron", "model": "One", "year": 2018},
 "observations": [
  {"kind": "fcc_id", "value": "ABC-12X4", "how": "read-aloud"},
  {"kind": "frequency_hz", "value": 433.91e6, "sd": 2.0e4, "how": "measured"},
  {"kind": "buttons", "value": ["lock", "unlock", "boot"], "how": "seen"},
  {"kind": "button_count", "value": 4, "how": "told"},
  {"kind": "start", "value": "push", "how": "told"},
  {"kind": "blade", "value": "heron-8", "how": "seen"},
  {"kind": "chip", "value": null, "how": "measured"}]}
"""

WORDS = st.text(min_size=1, max_size=20).filter(lambda text: any(c.isalnum() for c in text))
VEHICLES = st.builds(
    Vehicle,
    vin=st.text(max_size=17),
    make=st.text(max_size=20),
    model=st.text(max_size=20),
    year=st.none() | st.integers(1900, 2100),
    year_sure=st.booleans(),
    start=st.sampled_from(["", "turn", "push"]),
)
OBSERVATIONS = st.one_of(
    st.builds(
        Observation, st.sampled_from(["fcc_id", "blade", "chip"]), st.none() | WORDS, st.sampled_from(HOWS)
    ),
    st.builds(Observation, st.just("button_count"), st.none() | st.integers(0, 20), st.sampled_from(HOWS)),
    st.builds(
        Observation,
        st.just("buttons"),
        st.none() | st.lists(WORDS, max_size=5).map(tuple),
        st.sampled_from(HOWS),
    ),
    st.builds(Observation, st.just("start"), st.sampled_from([None, "turn", "push"]), st.sampled_from(HOWS)),
    st.builds(
        Observation,
        st.just("frequency_hz"),
        st.none() | st.floats(1e3, 1e11),
        st.sampled_from(HOWS),
        st.none() | st.floats(1e-3, 1e9),
    ),
)
CASES = st.builds(CaseFile, VEHICLES, st.lists(OBSERVATIONS, max_size=6).map(tuple))


def test_the_example_of_the_format_is_read() -> None:
    case = parse_observations(EXAMPLE)
    assert case.vehicle == Vehicle(vin="11111111111111111", make="Heron", model="One", year=2018)
    assert case.observations == (
        Observation("fcc_id", "ABC-12X4", "read-aloud"),
        Observation("frequency_hz", 433.91e6, "measured", 2.0e4),
        Observation("buttons", ("lock", "unlock", "boot"), "seen"),
        Observation("button_count", 4, "told"),
        Observation("start", "push", "told"),
        Observation("blade", "heron-8", "seen"),
        Observation("chip", None, "measured"),
    )


@settings(deadline=None)
@given(CASES)
def test_what_is_written_is_read_back(case: CaseFile) -> None:
    assert parse_observations(format_observations(case)) == case


def test_a_file_is_written_and_read_back(tmp_path: Path) -> None:
    case = parse_observations(EXAMPLE)
    write_observations(case, tmp_path / "case.json")
    assert read_observations(tmp_path / "case.json") == case


@pytest.mark.parametrize("text", ["{}", '{"vehicle": {}}', '{"observations": []}'])
def test_every_part_may_be_missing(text: str) -> None:
    assert parse_observations(text) == CaseFile(Vehicle(), ())


def test_keys_that_came_later_are_left_alone() -> None:
    case = parse_observations(
        '{"job": 7, "observations": [{"kind": "chip", "value": "c", "how": "seen", "by": "R"}]}'
    )
    assert case.observations == (Observation("chip", "c", "seen"),)


def faults_of(data: object) -> dict[str, str]:
    with pytest.raises(ObservationsError) as error:
        parse_observations(json.dumps(data), file="case.json")
    assert {fault.file for fault in error.value.faults} == {"case.json"}
    assert isinstance(error.value, InputError)
    return {fault.where: fault.expected for fault in error.value.faults}


def test_every_fault_is_listed_not_just_the_first() -> None:
    data = {
        "vehicle": {"make": 3, "year": "2018"},
        "observations": [
            {"kind": "smell", "value": "rubber", "how": "seen"},
            {"kind": "button_count", "value": "4", "how": "seen"},
            {"kind": "chip", "how": "dreamt"},
            17,
        ],
    }
    assert set(faults_of(data)) == {
        "vehicle.make",
        "vehicle.year",
        "observations[0].kind",
        "observations[1].value",
        "observations[2].how",
        "observations[2].value",
        "observations[3]",
    }


@pytest.mark.parametrize(
    ("kind", "value"),
    [
        ("button_count", "4"),
        ("button_count", 4.5),
        ("button_count", True),
        ("button_count", -1),
        ("button_count", 10**30),
        ("frequency_hz", "433"),
        ("frequency_hz", 433.92),
        ("frequency_hz", 10**400),
        ("buttons", "lock"),
        ("buttons", ["lock", 3]),
        ("buttons", [""]),
        ("start", "kick"),
        ("blade", 8),
        ("chip", ["c1"]),
        ("fcc_id", ""),
        ("fcc_id", " - "),
        ("fcc_id", "K" * 5000),
        ("fcc_id", {"text": "KX4"}),
    ],
)
def test_a_value_of_the_wrong_type_or_range_is_a_fault(kind: str, value: object) -> None:
    data = {"observations": [{"kind": kind, "value": value, "how": "seen"}]}
    assert set(faults_of(data)) == {"observations[0].value"}


@pytest.mark.parametrize("sd", [0, -1.0, "wide", True])
def test_a_standard_deviation_is_a_number_above_zero(sd: object) -> None:
    data = {"observations": [{"kind": "frequency_hz", "value": 4.3392e8, "how": "measured", "sd": sd}]}
    assert set(faults_of(data)) == {"observations[0].sd"}


def test_a_standard_deviation_belongs_to_a_frequency_only() -> None:
    data = {"observations": [{"kind": "chip", "value": "c1", "how": "measured", "sd": 1.0}]}
    assert set(faults_of(data)) == {"observations[0].sd"}


@pytest.mark.parametrize("data", [[], 3, "text", None, {"observations": {}}, {"vehicle": []}])
def test_json_of_another_shape_is_a_fault(data: object) -> None:
    assert faults_of(data)


def test_the_same_key_twice_is_a_fault() -> None:
    with pytest.raises(ObservationsError, match="twice"):
        parse_observations('{"vehicle": {"make": "A", "make": "B"}}')


def test_more_observations_than_anyone_makes_are_refused() -> None:
    data = {"observations": [{"kind": "chip", "value": "c1", "how": "seen"}] * 201}
    assert set(faults_of(data)) == {"observations"}


@pytest.mark.parametrize(
    "text",
    [
        "",
        "kind: chip",
        "{",
        '{"vehicle": NaN}',
        '{"vehicle": {"year": Infinity}}',
        "[" * 100_000,
        "9" * 10_000,
    ],
)
def test_text_that_is_not_json_cannot_be_read(text: str) -> None:
    with pytest.raises(InputError) as error:
        parse_observations(text, file="case.json")
    assert not isinstance(error.value, ObservationsError)
    assert "case.json" in str(error.value)


def test_files_that_are_missing_binary_or_huge_cannot_be_read(tmp_path: Path) -> None:
    (tmp_path / "binary").write_bytes(b"{\0}")
    (tmp_path / "latin").write_bytes('{"vehicle": {"make": "\xe9"}}'.encode("latin-1"))
    (tmp_path / "huge").write_text("[" + " " * 5_000_001 + "]")
    for name in ("missing", "binary", "latin", "huge", "."):
        with pytest.raises(InputError):
            read_observations(tmp_path / name)


@settings(deadline=None)
@given(st.recursive(st.none() | st.booleans() | st.integers() | st.text(max_size=8), lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.sampled_from(["vehicle", "observations", "kind", "value", "how", "sd", "year"]), inner, max_size=4), max_leaves=12))  # fmt: skip  # noqa: E501
def test_any_json_is_read_or_refused_with_a_reason(data: object) -> None:
    try:
        parse_observations(json.dumps(data))
    except BitternError as error:
        assert str(error)
