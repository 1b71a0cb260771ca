"""The public data: reached through one module, and what it says is passed on unchanged."""

from __future__ import annotations

import builtins
import re
from datetime import datetime

import pytest
import ultravin

from bittern.data import vpic
from bittern.data.errors import VpicMissingError
from bittern.data.vpic import data_month, fitting, known_wmis, knows_wmi, look_up

CLOCK = datetime(2026, 6, 1)


def test_generated_numbers_are_answered_as_the_library_answers() -> None:
    for vin in ultravin.generate(100, seed=3, invalid_rate=0.0, now=CLOCK):
        answer, raw = look_up(vin, now=CLOCK), ultravin.decode(vin, now=CLOCK)
        assert (answer.make, answer.model) == (raw["attributes"].get("Make"), raw["attributes"].get("Model"))
        assert answer.model_year == raw["model_year"]
        assert answer.maker == raw["attributes"]["Manufacturer Name"]
        for name, value in answer.attributes.items():
            told = raw["attributes"][name]
            assert value == (tuple(told) if isinstance(told, list) else told)
        assert not {"", "Not Applicable"} & {v for v in answer.attributes.values() if isinstance(v, str)}


def test_a_maker_nobody_registered_is_none() -> None:
    assert look_up("11111111111111111", now=CLOCK).maker is None


def test_makers_of_generated_numbers_are_known() -> None:
    for vin in ultravin.generate(200, seed=5, invalid_rate=0.0, now=CLOCK):
        assert knows_wmi(ultravin.decode(vin, now=CLOCK)["wmi"])
    assert knows_wmi("1m8")
    assert not knows_wmi("00X")


def test_known_identifiers_have_three_or_six_characters() -> None:
    assert {len(wmi) for wmi in known_wmis()} == {3, 6}
    assert all(wmi[2] == "9" for wmi in known_wmis() if len(wmi) == 6)


def test_numbers_that_fit_are_told_from_those_that_do_not() -> None:
    good = ultravin.generate(50, seed=8, vehicle_type=2, min_year=2012, invalid_rate=0.0, now=CLOCK)
    assert fitting(good, now=CLOCK) == set(good)
    # Positions 4 to 8 filled with what no maker reports.
    bad = [vin[:3] + "ZZZZZ" + vin[8:] for vin in good]
    assert len(fitting(bad, now=CLOCK)) < len(bad) / 2
    assert all(look_up(vin, now=CLOCK).fits for vin in fitting(good + bad, now=CLOCK))


@pytest.mark.parametrize(
    ("vehicle_type", "weight", "light"),
    [
        # 49 CFR 565.15(b): passenger cars, and multipurpose vehicles and trucks of at most 10,000 lb.
        ("PASSENGER CAR", "", True),
        ("TRUCK", "Class 2H: 9,001 - 10,000 lb (4,082 - 4,536 kg)", True),
        ("TRUCK", "Class 3: 10,001 - 14,000 lb (4,536 - 6,350 kg)", False),
        ("MULTIPURPOSE PASSENGER VEHICLE (MPV)", "Class 1D: 5,001 - 6,000 lb (2,268 - 2,722 kg)", True),
        ("MULTIPURPOSE PASSENGER VEHICLE (MPV)", "", None),
        ("BUS", "Class 1: 6,000 lb or less (2,722 kg or less)", False),
        ("MOTORCYCLE", "", False),
        ("", "", None),
    ],
)
def test_what_is_light(vehicle_type: str, weight: str, light: bool | None) -> None:
    assert vpic._is_light(vehicle_type, weight) is light


def test_the_names_that_light_depends_on_are_those_of_the_data() -> None:
    answers = [
        ultravin.decode(vin, now=CLOCK)["attributes"]
        for kind in (2, 3, 7)
        for vin in ultravin.generate(100, seed=kind, vehicle_type=kind, invalid_rate=0.0, now=CLOCK)
    ]
    assert {a["Vehicle Type"] for a in answers} == {
        "PASSENGER CAR",
        "TRUCK",
        "MULTIPURPOSE PASSENGER VEHICLE (MPV)",
    }
    weights = {w for a in answers if (w := a.get("Gross Vehicle Weight Rating From"))}
    assert all(re.match(r"Class [1-8][A-H]?: ", weight) for weight in weights)


def test_the_month_of_the_data_is_told() -> None:
    assert re.fullmatch(r"20\d\d-\d\d", data_month())


def test_a_missing_library_is_one_clear_error(monkeypatch: pytest.MonkeyPatch) -> None:
    real = builtins.__import__

    def refuse(name: str, *rest: object) -> object:
        if name == "ultravin":
            raise ImportError("not there")
        return real(name, *rest)  # type: ignore[arg-type]

    monkeypatch.setattr(builtins, "__import__", refuse)
    with pytest.raises(VpicMissingError, match="make setup"):
        vpic._library.__wrapped__()
