"""The number on board against the job's: another vehicle stops with a plain sentence."""

from __future__ import annotations

import pytest

from bittern.demo.numbers import make_number
from bittern.work.errors import OtherVehicleError
from bittern.work.number_on_board import compare_number, require_same_vehicle

from .conftest import DESK, Bench

CLASSIC = "1M8GDM9AXKP042788"


@pytest.fixture
def ready(bench: Bench) -> Bench:
    bench.carry_to_key()
    return bench


def number_of(bench: Bench) -> str:
    assert bench.job.vehicle is not None
    return bench.job.vehicle.vin


def test_the_jobs_own_number_is_the_same_vehicle(ready: Bench) -> None:
    number = number_of(ready)
    found = require_same_vehicle(ready.desk, ready.job, [number, number])
    assert (found.verdict, found.stops, found.read) == ("same", False, (number,))


@pytest.mark.parametrize("place", [1, 9, 12, 17])
def test_one_other_character_stops_and_is_named(ready: Bench, place: int) -> None:
    number = number_of(ready)
    other = number[: place - 1] + ("7" if number[place - 1] != "7" else "6") + number[place:]
    found = compare_number(ready.desk, ready.job, [other])
    assert (found.verdict, found.stops, found.places) == ("other", True, (place,))
    assert found.say.startswith("Stop. ")
    assert other in found.say
    assert number in found.say
    assert f"another character at position {place}" in found.say
    with pytest.raises(OtherVehicleError) as caught:
        require_same_vehicle(ready.desk, ready.job, [other])
    assert caught.value.hint == found.say
    assert caught.value.code == "work.other-vehicle"


def test_the_other_vehicle_is_named_where_the_pack_knows_it(ready: Bench) -> None:
    pack = ready.desk.pack
    assert ready.job.vehicle is not None
    row = next(row for row in pack.fitments if row.make != ready.job.vehicle.make)
    other = make_number(pack, row.make, row.model, row.year_from, 4711, row.start)
    found = compare_number(ready.desk, ready.job, [other])
    assert found.stops
    assert f"({row.make} {row.model}" in found.say


def test_units_that_disagree_stop_even_where_one_is_right(ready: Bench) -> None:
    found = compare_number(ready.desk, ready.job, [number_of(ready), CLASSIC])
    assert (found.verdict, found.stops) == ("disagree", True)
    with pytest.raises(OtherVehicleError):
        require_same_vehicle(ready.desk, ready.job, [number_of(ready), CLASSIC])


@pytest.mark.parametrize("read", [[], ["", "  "]])
def test_nothing_read_is_said_and_does_not_stop(ready: Bench, read: list[str]) -> None:
    found = compare_number(ready.desk, ready.job, read)
    assert (found.verdict, found.stops) == ("not-read", False)


def test_a_job_without_a_number_asks_for_it(bench: Bench) -> None:
    found = compare_number(bench.desk, bench.job, [CLASSIC])
    assert (found.verdict, found.stops) == ("none-on-job", False)
    assert "Vehicle leg" in found.say


def test_a_number_accepted_although_wrong_is_compared_as_it_is_on_record(bench: Bench) -> None:
    """1D4GP00R55B123456: its check digit does not agree; what the vehicle says is what counts."""
    wrong = "1D4GP00R55B123456"
    entry = {"vin": wrong, "make": "Quillmoor", "model": "Oxbow", "year": "2021", "accepted_because": "Seen."}
    bench.do("record-vehicle", entry, DESK)
    assert compare_number(bench.desk, bench.job, [wrong]).verdict == "same"
    assert compare_number(bench.desk, bench.job, [wrong.lower()]).verdict == "same"
    assert compare_number(bench.desk, bench.job, [CLASSIC]).stops
