"""What must stand before what, who may do what, and what leaves a trace."""

from __future__ import annotations

import pytest

from bittern.engines.pairing.errors import PairingError
from bittern.work.blade import SEAL, look_at_bitting
from bittern.work.errors import ClosedError, FieldsError, NotAllowedError, NotYetError
from bittern.work.legs import NOT_NEEDED, SETTLED, draw_traveller
from bittern.work.pairing import NEW_KEY
from bittern.work.prooflist import list_tests

from .conftest import AUTHORITY, DESK, TECH, Bench, flat_bitting

ONE_AT_HOME = {
    "key-1-name": "Daily",
    "key-1-present": "yes",
    "key-1-worked": "yes",
    "key-2-name": "At home",
    "customer_knows": "yes",
}


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"documents": ["photo-identity"]}, "documents"),
        ({"documents": ["registration", "loss-report"]}, "documents"),
        ({"documents": ["photo-identity", "tax-disc"]}, "documents"),
        ({"holder": "  "}, "holder"),
        ({"caution": ""}, "caution"),
    ],
)
def test_authority_names_what_is_missing_and_records_nothing(bench: Bench, change: dict, field: str) -> None:
    with pytest.raises(FieldsError) as caught:
        bench.do("record-authority", {**AUTHORITY, **change}, DESK)
    assert field in caught.value.fields
    assert bench.job.authority is None
    assert bench.kinds() == ["request.opened"]


def test_a_wrong_number_needs_a_reason_and_is_kept_as_typed(bench: Bench) -> None:
    wrong = {"vin": "1M8GDM9A1KP042788", "make": "Quillmoor", "model": "Oxbow", "year": "2021"}
    with pytest.raises(FieldsError) as caught:
        bench.do("record-vehicle", wrong, DESK)
    assert "vin" in caught.value.fields
    bench.do("record-vehicle", {**wrong, "accepted_because": "Plate is worn; papers say the same."}, DESK)
    assert bench.job.vehicle is not None
    assert bench.job.vehicle.vin == wrong["vin"]
    assert not bench.job.vehicle.valid


def test_a_make_that_the_number_contradicts_is_refused(bench: Bench) -> None:
    bench.carry_to_key()
    v = bench.job.vehicle
    assert v is not None
    other = next(make for make in {f.make for f in bench.desk.pack.fitments} if make != v.make)
    with pytest.raises(FieldsError) as caught:
        bench.do("record-vehicle", {"vin": v.vin, "make": other, "model": "X", "year": str(v.year)}, DESK)
    assert v.make in caught.value.fields["make"]


def test_below_the_bar_an_article_needs_a_reason(bench: Bench) -> None:
    article = bench.carry_to_key()
    unlikely = next(a for a in bench.desk.pack.articles if a != article)
    with pytest.raises(FieldsError) as caught:
        bench.do("choose-article", {"article": unlikely}, DESK)
    assert "because" in caught.value.fields
    assert bench.job.key is None


def test_another_article_takes_back_what_was_promised_for_the_old_one(bench: Bench) -> None:
    bench.carry_to_blade()
    bench.do("enter-bitting", {"bitting": flat_bitting(bench.desk, bench.job)})
    before = bench.job.key
    other = next(a for a in bench.desk.pack.articles.values() if a.blade != (before.blade if before else ""))
    bench.do("choose-article", {"article": other.article, "because": "The customer wants another."}, DESK)
    assert bench.job.promise is None
    assert bench.job.blade is None


def test_price_adds_up_to_the_cent_and_tax_is_shown(bench: Bench) -> None:
    bench.carry_to_blade()
    promise = bench.job.promise
    assert promise is not None
    assert promise.net == sum(line.amount for line in promise.lines)
    assert promise.total == promise.net + promise.tax
    # 20 % of the net amount, rounded half up to the cent.
    assert abs(promise.tax * 5 - promise.net) <= 5 * promise.tax.__class__("0.005")
    assert promise.minutes_typical is not None
    assert promise.minutes_slow is not None
    assert promise.minutes_typical < promise.minutes_slow


def test_a_present_only_sheet_asks_the_customer_for_every_key(bench: Bench) -> None:
    bench.carry_to_blade()
    assert bench.job.promise is not None
    assert any("every key" in line.casefold() for line in bench.job.promise.bring)


def test_no_blade_without_authority(bench: Bench) -> None:
    with pytest.raises(NotYetError, match="authority"):
        bench.do("enter-bitting", {"bitting": "1 2"})


def test_a_bitting_against_the_rules_names_rule_and_cuts_and_is_not_kept(bench: Bench) -> None:
    bench.carry_to_blade()
    standard = bench.desk.pack.blades[bench.job.key.blade]  # type: ignore[union-attr]
    edges = 2 if standard.sides == "split" else 1
    steep = " ".join([standard.labels[0], standard.labels[-1]] * len(standard.positions_mm))
    steep = " ".join(steep.split()[: len(standard.positions_mm)])
    with pytest.raises(FieldsError) as caught:
        bench.do("enter-bitting", {"bitting": " / ".join([steep] * edges)})
    # Every step is named, not just the first.
    assert len(caught.value.faults) == (len(standard.positions_mm) - 1) * edges
    assert f"at cuts {'A' if edges == 2 else ''}1 and" in caught.value.fields["bitting"]
    assert bench.store.seals == {}


def test_a_reading_between_two_depths_is_not_taken_silently(bench: Bench) -> None:
    bench.carry_to_blade()
    standard = bench.desk.pack.blades[bench.job.key.blade]  # type: ignore[union-attr]
    between = (standard.depths_mm[0] + standard.depths_mm[1]) / 2
    cuts = len(standard.positions_mm) * (2 if standard.sides == "split" else 1)
    readings = {f"reading-{n}": f"{standard.depths_mm[n % 2]:.3f}" for n in range(1, cuts + 1)}
    readings["reading-2"] = f"{between:.3f}"
    with pytest.raises(FieldsError) as caught:
        bench.do("enter-readings", readings)
    assert "measure" in caught.value.fields["accept_because"]
    bench.do("enter-readings", {**readings, "accept_because": "Measured three times."})
    assert bench.job.blade is not None
    assert bench.job.blade.doubts >= 1


def test_no_metal_is_cut_before_the_customers_word(bench: Bench) -> None:
    article = bench.carry_to_key()
    bench.do("choose-article", {"article": article, "because": "The same as the working key."}, DESK)
    bench.do("enter-bitting", {"bitting": flat_bitting(bench.desk, bench.job)})
    with pytest.raises(NotYetError, match="promise"):
        bench.do("record-cut", {"cutter": next(iter(bench.desk.pack.tools)), "eyes": "yes", "guard": "yes"})


def test_cutting_needs_eye_protection_and_guard(bench: Bench) -> None:
    bench.carry_to_blade()
    bench.do("enter-bitting", {"bitting": flat_bitting(bench.desk, bench.job)})
    with pytest.raises(FieldsError) as caught:
        bench.do("record-cut", {"cutter": next(iter(bench.desk.pack.tools))})
    assert {"eyes", "guard"} <= set(caught.value.fields)


def test_a_look_at_the_bitting_is_logged_with_its_reason_and_not_for_the_counter(bench: Bench) -> None:
    bench.carry_to_blade()
    bitting = flat_bitting(bench.desk, bench.job)
    bench.do("enter-bitting", {"bitting": bitting})
    with pytest.raises(NotAllowedError):
        look_at_bitting(bench.desk, bench.number, DESK, "curious")
    with pytest.raises(FieldsError):
        look_at_bitting(bench.desk, bench.number, TECH, " ")
    assert "seal.looked" not in bench.kinds()
    assert look_at_bitting(bench.desk, bench.number, TECH, "cutting") == bitting
    looked = bench.store.entries(bench.number, "seal.looked")[-1]
    assert (looked.person, looked.payload) == (TECH.login, {"name": SEAL, "reason": "cutting"})


def test_a_wasted_blank_goes_back_to_the_chart(bench: Bench) -> None:
    bench.carry_to_pairing()
    with pytest.raises(FieldsError):
        bench.do("record-inspection", {"result": "wasted"})
    bench.do("record-inspection", {"result": "wasted", "note": "slipped"})
    blade = bench.job.blade
    assert blade is not None
    assert (blade.blanks_wasted, blade.cut_at, blade.inspected) == (1, None, "")
    assert draw_traveller(bench.job).next.leg == "blade"  # type: ignore[union-attr]


def test_pairing_begins_only_with_every_need_ticked(bench: Bench) -> None:
    bench.carry_to_pairing()
    with pytest.raises(FieldsError) as caught:
        bench.do("begin-pairing", {"needs": [], "key-1-name": "Daily", "key-1-present": "yes"})
    assert "needs" in caught.value.fields
    assert bench.job.pairing is None


def test_a_point_of_no_return_takes_a_second_deliberate_act(bench: Bench) -> None:
    bench.carry_to_pairing()
    bench.begin(**ONE_AT_HOME)
    bench.walk(until=lambda run: run.state.phase == "confirm")
    assert bench.run.state.phase == "confirm"
    assert bench.run.keys_at_stake == ("At home",)
    with pytest.raises(PairingError):
        bench.do("pairing-event", bench.event("done"))
    with pytest.raises(FieldsError):
        bench.do("pairing-event", bench.event("confirmed"))
    bench.do("pairing-event", bench.event("confirmed", sure="yes"))
    assert bench.run.state.phase == "step"


def test_a_key_that_will_be_lost_is_named_before_the_run_begins(bench: Bench) -> None:
    bench.carry_to_pairing()
    keys = {
        "key-1-name": "Daily",
        "key-1-present": "yes",
        "key-2-name": "At home",
        "key-3-name": "In the safe",
    }
    with pytest.raises(FieldsError) as caught:
        bench.begin(**keys)
    assert "At home and In the safe will stop working" in caught.value.fields["customer_knows"]
    assert bench.job.pairing is None
    bench.begin(**keys, customer_knows="yes")
    assert bench.job.pairing is not None


def test_an_event_that_arrives_twice_counts_once(bench: Bench) -> None:
    bench.carry_to_pairing()
    bench.begin()
    event = bench.event("done")
    bench.do("pairing-event", event)
    after, count = bench.run.state, len(bench.kinds())
    bench.do("pairing-event", event)
    assert bench.run.state == after
    assert len(bench.kinds()) == count


def test_a_good_end_settles_the_leg_and_says_which_keys_work(bench: Bench) -> None:
    bench.carry_to_pairing()
    bench.begin(**ONE_AT_HOME)
    bench.walk(until=lambda run: False)
    pairing = bench.job.pairing
    assert pairing is not None
    assert pairing.outcome == "good"
    works = {key.name: key.works_after for key in pairing.census_after}
    assert works == {"Daily": True, "At home": False, NEW_KEY: True}
    assert any(test.id.startswith("other-") for test in list_tests(bench.job))


def test_giving_up_after_the_point_of_no_return_counts_as_stranded(bench: Bench) -> None:
    bench.carry_to_pairing()
    bench.begin(**{"key-1-name": "Daily", "key-1-present": "yes", "key-1-worked": "yes"})
    bench.walk(until=lambda run: run.state.passed_no_return)
    with pytest.raises(FieldsError, match="give_up"):
        bench.do("pairing-event", bench.event("abandoned", note="cable pulled"))
    bench.do("pairing-event", bench.event("abandoned", note="cable pulled", give_up="yes"))
    assert bench.job.pairing is not None
    assert bench.job.pairing.outcome == "stranded"


def test_a_failed_test_keeps_the_key_here(bench: Bench) -> None:
    bench.carry_to_pairing()
    bench.begin()
    bench.walk(until=lambda run: False)
    tests = list_tests(bench.job)
    assert {"start", "lock-door"} <= {test.id for test in tests}
    for test in tests:
        bench.do("answer-test", {"test": test.id, "result": "passed"})
    bench.do("answer-test", {"test": "start", "result": "failed", "note": "does not turn"})
    sign = {"keys_handed": "1", "signed_by": "Ilse", "on_paper": "yes"}
    with pytest.raises(NotYetError, match="proof"):
        bench.do("sign", sign, DESK)
    bench.do("answer-test", {"test": "start", "result": "passed"})
    bench.do("sign", sign, DESK)
    assert bench.job.state == "closed"
    assert all(leg.state in (SETTLED, NOT_NEEDED) for leg in draw_traveller(bench.job).legs)
    with pytest.raises(ClosedError):
        bench.do("answer-test", {"test": "start", "result": "passed"})
    assert list(bench.store.verify_logs()) == []


UNREADABLE = (
    "",
    "[]",
    "[[[1,2]]]",
    "nonsense",
    "[[[1,2],[3]]]",
    "[[[1,2],[3,4000]]]",
    "[[[1e400,2],[3,4]]]",
    "[" * 9000,
)


@pytest.mark.parametrize("strokes", UNREADABLE)
def test_an_unreadable_signature_is_refused(bench: Bench, strokes: str) -> None:
    with pytest.raises(FieldsError) as caught:
        bench.do("sign", {"keys_handed": "1", "signed_by": "Ilse", "strokes": strokes}, DESK)
    assert "strokes" in caught.value.fields


def test_the_counter_may_not_do_bench_work(bench: Bench) -> None:
    bench.carry_to_blade()
    cutter = next(iter(bench.desk.pack.tools))
    acts = {
        "enter-bitting": {"bitting": "1"},
        "record-cut": {"cutter": cutter, "eyes": "yes", "guard": "yes"},
        "begin-pairing": {},
        "pairing-event": {"event_id": "e", "kind": "done"},
        "answer-test": {"test": "start", "result": "passed"},
    }
    for name, data in acts.items():
        with pytest.raises(NotAllowedError):
            bench.do(name, data, DESK)
    assert bench.job.blade is None
