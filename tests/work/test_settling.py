"""What settles a leg and what does not, down to the cent and the year."""

from __future__ import annotations

from datetime import UTC, datetime
from decimal import Decimal

import pytest

from bittern.work.errors import FieldsError
from bittern.work.facts import CensusKey, Pairing, Vehicle
from bittern.work.legs import draw_traveller
from bittern.work.prooflist import list_tests
from bittern.work.settled import is_settled

from .conftest import DESK, Bench, flat_bitting


def test_a_number_in_doubt_settles_nothing_without_a_reason(bench: Bench) -> None:
    doubtful = Vehicle(vin="X", valid=False, make="Quillmoor", model="Oxbow")
    assert not is_settled(bench.job.model_copy(update={"vehicle": doubtful}), "vehicle")
    accepted = doubtful.model_copy(update={"accepted_because": "The plate is worn."})
    assert is_settled(bench.job.model_copy(update={"vehicle": accepted}), "vehicle")


def test_an_offer_waits_for_the_customers_word(bench: Bench) -> None:
    article = bench.carry_to_key()
    bench.do("choose-article", {"article": article, "because": "The same as the working key."}, DESK)
    bench.do("offer", {}, DESK)
    step = draw_traveller(bench.job).next
    assert step is not None
    assert (step.leg, step.wait) == ("promise", "acceptance")
    assert bench.store.waits[bench.number] == "acceptance"


def test_labour_is_charged_by_the_hour(bench: Bench) -> None:
    bench.carry_to_blade()
    promise = bench.job.promise
    assert promise is not None
    # 20 minutes at 72.00 an hour.
    assert [line.amount for line in promise.lines if line.text.startswith("Cutting")] == [Decimal("24.00")]


def test_measured_cuts_that_break_a_rule_are_not_taken_for_any_reason(bench: Bench) -> None:
    bench.carry_to_blade()
    standard = bench.desk.pack.blades[bench.job.key.blade]  # type: ignore[union-attr]
    cuts = len(standard.positions_mm) * (2 if standard.sides == "split" else 1)
    steep = (standard.depths_mm[0], standard.depths_mm[-1])
    readings = {f"reading-{n}": f"{steep[n % 2]:.3f}" for n in range(1, cuts + 1)}
    with pytest.raises(FieldsError) as caught:
        bench.do("enter-readings", {**readings, "accept_because": "Measured three times."})
    assert "rules forbid" in caught.value.fields["readings"]
    assert bench.store.seals == {}


def test_a_year_may_be_off_by_one_from_the_numbers_but_not_by_two(bench: Bench) -> None:
    bench.carry_to_key()
    v = bench.job.vehicle
    assert v is not None
    assert v.year is not None
    entry = {"vin": v.vin, "make": v.make, "model": v.model, "start": v.start}
    with pytest.raises(FieldsError) as caught:
        bench.do("record-vehicle", {**entry, "year": str(v.year + 2)}, DESK)
    assert str(v.year) in caught.value.fields["year"]
    bench.do("record-vehicle", {**entry, "year": str(v.year + 1)}, DESK)
    assert bench.job.vehicle is not None
    assert bench.job.vehicle.source == "told"


def test_a_test_fails_only_with_a_word_about_it(bench: Bench) -> None:
    bench.carry_to_pairing()
    bench.begin()
    bench.walk(until=lambda run: False)
    with pytest.raises(FieldsError) as caught:
        bench.do("answer-test", {"test": "start", "result": "failed"})
    assert set(caught.value.fields) == {"note"}
    assert bench.job.proof == ()


def test_only_older_keys_that_should_work_are_tried(bench: Bench) -> None:
    bench.carry_to_blade()
    bench.do("enter-bitting", {"bitting": flat_bitting(bench.desk, bench.job)})
    after = (
        CensusKey(name="Daily", present=True, works_after=True),
        CensusKey(name="Dead", present=True, works_after=False),
        CensusKey(name="Unsure", present=True, works_after=None),
        CensusKey(name="At home", present=False, works_after=True),
        CensusKey(name="New", present=True, new=True, works_after=True),
    )
    at = datetime(2031, 3, 3, tzinfo=UTC)
    pairing = Pairing(
        sheet="s", sheet_text="", begun_by="tarn", begun_at=at, outcome="good", census_after=after
    )
    tests = list_tests(bench.job.model_copy(update={"pairing": pairing}))
    assert [test.say for test in tests if test.id.startswith("other-")] == ["Daily still starts the vehicle."]
