"""Decoding: by invented rows of a pack, by the public data, and by neither."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime
from functools import partial

import pytest
import ultravin
from hypothesis import given, settings
from hypothesis import strategies as st

from bittern.data.vpic import VpicAnswer, look_up
from bittern.engines.vehicle.decode import Decoding, decode_vin, find_rows, gather_spans, is_light
from bittern.engines.vehicle.errors import NotANumberError
from bittern.engines.vehicle.number import check_vin
from bittern.engines.vehicle.pattern import NumberPattern
from tests.engines.vehicle.numbers import CLASSIC, ONES, with_check_digit

CLOCK = datetime(2026, 6, 1)
VPIC = partial(look_up, now=CLOCK)

ROWS = (
    NumberPattern("2Z7", "AB***", "Heron", "Marsh", start="turn"),
    NumberPattern("2Z7", "ABC**", "Heron", "Marsh", trim="reed", start="push"),
    NumberPattern("2Z7", "D****", "Heron", "Fen", start="turn"),
    NumberPattern("2Z7", "**K**", "Heron", "Sedge"),
    NumberPattern("2Z7", "*****", "Heron", "Marsh"),
    NumberPattern("2Z8", "*****", "Heron", "Marsh"),
    NumberPattern("2Z8", "*****", "Egret", "Shore"),
    NumberPattern("2Z9123", "*****", "Egret", "Dune"),
)
SPANS = {("Heron", "Marsh"): (2008, 2020), ("Heron", "Sedge"): (1985, 2020)}


def number(vds: str, *, wmi: str = "2Z7", year: str = "F", serial: str = "000123") -> str:
    return with_check_digit(f"{wmi}{vds}0{year}H{serial}")


def decode(vin: str) -> Decoding:
    return decode_vin(vin, ROWS, None, spans=SPANS)


def refuse(vin: str, *, year: int | None = None) -> VpicAnswer:
    raise AssertionError("the public data were asked")


def test_the_most_specific_row_wins() -> None:
    assert decode(number("ABA11")).attributes == {"start": "turn"}
    found = decode(number("ABC11"))
    assert (found.make, found.model, found.source) == ("Heron", "Marsh", "pack")
    assert found.attributes == {"trim": "reed", "start": "push"}


def test_a_tie_between_models_leaves_the_model_open_and_says_so() -> None:
    rows = (*ROWS, NumberPattern("2Z7", "D****", "Heron", "Tarn"))
    found = decode_vin(number("D1111"), rows)
    assert (found.make, found.model) == ("Heron", None)
    assert "the number fits several models: Fen or Tarn" in found.notes


def test_a_tie_between_makes_leaves_the_make_open() -> None:
    found = decode(number("11111", wmi="2Z8"))
    assert (found.make, found.model, found.model_year) == (None, None, None)
    assert any("Heron or Egret" in note for note in found.notes)


def test_a_tie_in_start_alone_leaves_only_the_start_open() -> None:
    rows = (NumberPattern("2Z7", "D****", "Heron", "Fen", start=s) for s in ("turn", "push"))
    found = decode_vin(number("D1111"), rows)
    assert found.model == "Fen"
    assert "start" not in found.attributes
    assert "the pack's rows disagree on the start: turn or push" in found.notes


def test_low_volume_makers_are_told_by_six_characters() -> None:
    assert decode(number("11111", wmi="2Z9", serial="123001")).model == "Dune"
    assert decode(number("11111", wmi="2Z9", serial="124001")).make is None


def test_years_of_the_fitments_choose_the_cycle() -> None:
    found = decode(number("ABC11", year="F"))
    assert (found.model_year, found.model_years) == (2015, (2015,))


def test_without_fitments_both_years_stay_and_it_is_said() -> None:
    found = decode(number("D1111", year="F"))
    assert (found.model_year, found.model_years) == (None, (1985, 2015))
    assert any("1985 or 2015" in note for note in found.notes)


def test_fitments_that_allow_both_years_choose_neither() -> None:
    found = decode(number("11K11", year="F"))
    assert (found.model, found.model_year) == ("Sedge", None)


def test_a_year_outside_the_fitments_is_said_and_not_bent() -> None:
    found = decode(number("ABC11", year="P"))
    assert (found.model_year, found.model_years) == (None, (1993, 2023))
    assert any("2008 to 2020" in note for note in found.notes)


def test_the_public_data_are_asked_for_what_the_pack_does_not_know_only() -> None:
    assert decode_vin(number("ABC11"), ROWS, VPIC).source == "pack"
    assert decode_vin(number("D1111", wmi="2Z8"), ROWS, refuse).make is None
    with pytest.raises(AssertionError, match="were asked"):
        decode_vin(CLASSIC, ROWS, refuse)


def _answer(**changes: object) -> Callable[..., VpicAnswer]:
    fields: dict[str, object] = {"maker": "HERON WORKS", "make": "HERON", "model": "X", "model_year": 2015}
    answer = VpicAnswer(**{"light": True, "attributes": {"Doors": "5"}, **fields, **changes})  # type: ignore[arg-type]
    return lambda vin, *, year=None: answer


def test_the_same_make_adds_its_attributes_and_another_make_is_said() -> None:
    same = decode_vin(number("ABC11"), ROWS, _answer())
    assert same.attributes == {"Doors": "5", "trim": "reed", "start": "push"}
    other = decode_vin(number("ABC11"), ROWS, _answer(make="EGRET"))
    assert other.attributes == {"trim": "reed", "start": "push"}
    assert "the public data name another make: EGRET" in other.notes


def test_models_that_depend_on_the_year_stay_open() -> None:
    def by_year(vin: str, *, year: int | None = None) -> VpicAnswer:
        return VpicAnswer("HERON", "HERON", "OLD" if year == 1985 else "NEW", year, None, {"Doors": "5"})

    found = decode_vin(number("D1111"), (), by_year)
    assert (found.make, found.model, found.model_year) == ("HERON", None, None)
    assert found.attributes == {"Doors": "5"}
    assert "the model depends on the model year: OLD or NEW" in found.notes


def _obliging(vin: str, *, year: int | None = None) -> VpicAnswer:
    """Data that hold a light vehicle for any year they are asked for."""
    return VpicAnswer("HERON", "HERON", "X", year, True)


def test_position_7_is_believed_only_where_the_rule_binds() -> None:
    american = number("ABC1A", year="F")
    assert decode_vin(american, (), _obliging).model_years == (1985,)
    wrong = "1" if american[8] != "1" else "2"
    assert decode_vin(american[:8] + wrong + american[9:], (), _obliging).model_years == (1985, 2015)
    assert decode_vin("WP0ZZZ99ZFS392124", (), _obliging).model_years == (1985, 2015)


def test_a_year_that_the_number_cannot_mean_is_not_taken_from_the_data() -> None:
    found = decode_vin(number("ABC11", year="F"), (), _answer(model_year=2001))
    assert (found.make, found.model_year, found.model_years) == ("HERON", None, ())
    assert "the number does not tell the model year" in found.notes


def test_generated_cars_decode_to_what_the_data_were_asked_to_generate() -> None:
    numbers = ultravin.generate(60, seed=7, year=2015, vehicle_type=2, invalid_rate=0.0, now=CLOCK)
    assert len(numbers) == 60
    for vin in numbers:
        found = decode_vin(vin, (), VPIC)
        raw = ultravin.decode(vin, now=CLOCK)["attributes"]
        assert (found.make, found.source) == (raw["Make"], "vpic")
        assert found.model_year in (2015, None)
        assert 2015 in found.model_years
        if found.model_year == 2015 and not found.notes:
            assert found.model == raw.get("Model")
        assert "" not in found.attributes.values()
        assert not {"Make", "Model", "Error Code", "Suggested VIN"} & set(found.attributes)


def test_both_years_stay_where_the_data_fit_both() -> None:
    # A generated motorcycle: position 7 says nothing of its cycle.
    numbers = ultravin.generate(200, seed=11, vehicle_type=1, invalid_rate=0.0, now=CLOCK)
    found = [decode_vin(vin, (), VPIC) for vin in numbers]
    opened = [decoding for decoding in found if len(decoding.model_years) == 2]
    assert opened
    for decoding in opened:
        assert decoding.model_year is None
        assert any("the number alone does not tell which" in note for note in decoding.notes)
        early, late = decoding.model_years
        assert late - early == 30
        assert {ultravin.decode(decoding.vin, year=y, now=CLOCK)["model_year"] for y in (early, late)} == {
            early,
            late,
        }


def test_light_is_claimed_only_for_numbers_that_follow_the_rule() -> None:
    light = VpicAnswer("M", "M", "M", 2015, True, {}, codes=(0,))
    misfit = VpicAnswer("M", "M", "M", 2015, True, {}, codes=(14,))
    american = check_vin(number("ABC11"))
    elsewhere = check_vin(with_check_digit("W" + american.vin[1:]))
    assert is_light(american, light) is True
    assert is_light(american, misfit) is True
    assert is_light(elsewhere, light) is True
    assert is_light(elsewhere, misfit) is None
    assert is_light(check_vin("WP0ZZZ99ZTS392124"), light) is None


def test_a_wrong_check_digit_is_said_beside_what_was_decoded() -> None:
    good = number("ABC11")
    bad = good[:8] + ("1" if good[8] != "1" else "2") + good[9:]
    found = decode(bad)
    assert found.model == "Marsh"
    assert found.report.valid is False
    assert any("a character may be wrong" in note for note in found.notes)


def test_unknown_makers_are_said_to_be_unknown() -> None:
    found = decode_vin(ONES, ROWS, VPIC)
    assert (found.make, found.source, found.model_year) == (None, None, None)
    assert any("111" in note for note in found.notes)


@pytest.mark.parametrize("text", ["ABC", "1M8GDM9AXKPO42788", "1" * 18])
def test_malformed_numbers_are_not_decoded(text: str) -> None:
    found = decode_vin(text, ROWS, refuse)
    assert (found.make, found.source) == (None, None)
    assert found.notes == found.report.problems


def test_nothing_at_all_is_refused() -> None:
    with pytest.raises(NotANumberError):
        decode_vin("")


def test_the_shape_is_fixed() -> None:
    shape = decode(number("ABC11")).as_dict()
    assert {"vin", "make", "model", "model_year", "attributes", "source"} <= set(shape)


@settings(deadline=None)
@given(vds=st.text("ABCDK123", min_size=5, max_size=5))
def test_no_matching_row_is_more_specific_than_those_found(vds: str) -> None:
    vin = number(vds)
    found = find_rows(vin, ROWS)
    matching = [row for row in ROWS if row.matches(vin)]
    assert found
    assert {row.fixed for row in found} == {max(row.fixed for row in matching)}


def test_spans_cover_all_rows_of_a_model() -> None:
    rows = [("Heron", "Fen", 2010, 2012), ("Heron", "Fen", 2008, 2009), ("Egret", "Dune", 2001, 2002)]
    assert gather_spans(rows) == {("Heron", "Fen"): (2008, 2012), ("Egret", "Dune"): (2001, 2002)}
