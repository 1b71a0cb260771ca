"""Jobs that leave the usual way: another kind of key, nothing known, a run that failed, metal cut twice."""

from __future__ import annotations

import pytest

from bittern.formats.packs import Pack
from bittern.work.errors import NotYetError
from bittern.work.facts import JobFile
from bittern.work.handover import ABSENT, APART, CELL, compose_sheet
from bittern.work.legs import SETTLED, draw_traveller
from bittern.work.nextstep import find_next
from bittern.work.pairing import NEW_KEY
from bittern.work.people import Person
from bittern.work.prooflist import list_tests

from .conftest import AUTHORITY, DESK, TECH, Bench, flat_bitting

ONE_HERE = {"key-1-name": "Daily", "key-1-present": "yes", "key-1-worked": "yes"}


def carry(bench: Bench, article: str, **changed: str) -> None:
    """Settle every leg up to the promise on a vehicle that takes ``article``, without its number."""
    row = next(one for one in bench.desk.pack.fitments if one.article == article)
    vehicle = {"make": row.make, "model": row.model, "year": str(row.year_from), "start": row.start}
    bench.do("record-authority", AUTHORITY, DESK)
    bench.do("record-vehicle", {**vehicle, "accepted_because": "the plate was torn off", **changed}, DESK)
    bench.do("choose-article", {"article": article, "because": "its twin was shown"}, DESK)
    bench.do("offer", {}, DESK)
    bench.do("accept", {"accepted_by": "Ilse Peatridge", "accepted_how": "in-person"}, DESK)


def cut(bench: Bench) -> None:
    from bittern.work.blade import list_cutters

    bench.do("enter-bitting", {"bitting": flat_bitting(bench.desk, bench.job)})
    cutter = list_cutters(bench.desk, bench.job)[0].cutter.id
    bench.do("record-cut", {"cutter": cutter, "eyes": "yes", "guard": "yes"})
    bench.do("record-inspection", {"result": "fits"})


def name_tests(job: JobFile) -> set[str]:
    return {test.id for test in list_tests(job)}


def answer(bench: Bench, **results: str) -> None:
    for test in list_tests(bench.job):
        result = results.get(test.id.replace("-", "_"), "passed")
        bench.do(
            "answer-test", {"test": test.id, "result": result, "note": "" if result == "passed" else "no"}
        )


def find_state(bench: Bench, leg: str) -> str:
    return next(one.state for one in draw_traveller(bench.job).legs if one.name == leg)


def test_a_key_without_a_chip_is_tried_in_the_locks_so_the_vehicle_and_the_time_are_promised(
    bench: Bench,
) -> None:
    carry(bench, "QUI-M1")
    promise, terms = bench.job.promise, bench.desk.terms
    assert promise is not None
    assert "The vehicle itself." in promise.bring
    assert promise.minutes_typical == terms.cutting_minutes + terms.proof_minutes
    assert any(line.text.startswith("Trying the key") for line in promise.lines)
    assert name_tests(bench.job) == {"lock-door", "lock-ignition"}


@pytest.mark.parametrize("article", ["QUI-M1", "QUI-C1", "QUI-H3"])
def test_a_turned_key_is_tried_in_the_ignition_lock_where_nobody_said_how_it_starts(
    bench: Bench, article: str
) -> None:
    carry(bench, article, start="")
    assert "lock-ignition" in name_tests(bench.job)


@pytest.mark.parametrize(("article", "start"), [("QUI-P3", ""), ("QUI-M1", "push")])
def test_where_nothing_is_turned_no_ignition_lock_is_tried(bench: Bench, article: str, start: str) -> None:
    carry(bench, article, start=start)
    assert "lock-ignition" not in name_tests(bench.job)


def test_a_mere_remote_starts_nothing_in_its_proof(bench: Bench) -> None:
    carry(bench, "QUI-R2")
    bench.begin(**ONE_HERE)
    bench.walk(until=lambda run: False)
    assert name_tests(bench.job) == {"button-lock", "button-unlock", "cell", "other-1"}
    assert not any("start" in test.say for test in list_tests(bench.job))


def test_make_and_model_are_kept_as_the_pack_writes_them(bench: Bench) -> None:
    carry(bench, "QUI-H3", make=" quillmoor ", model="WHIMBREL", year="2010")
    job = bench.job
    assert job.vehicle is not None
    assert (job.vehicle.make, job.vehicle.model) == ("Quillmoor", "Whimbrel")
    bench.do(
        "record-vehicle", {"make": "QUILLMOOR", "model": "whimbrel", "accepted_because": "torn off"}, DESK
    )
    assert bench.job.key == job.key
    bench.do("record-vehicle", {"make": "Sedgemark", "model": "Two", "accepted_because": "torn off"}, DESK)
    assert bench.job.vehicle is not None
    assert (bench.job.vehicle.make, bench.job.vehicle.model) == ("Sedgemark", "Two")


def test_the_same_reading_twice_is_no_further_evidence(bench: Bench) -> None:
    bench.carry_to_key()
    seen = {"kind": "button_count", "value": "3", "how": "seen"}
    for data in (seen, seen, {**seen, "how": "told"}, seen):
        bench.do("observe", data, DESK)
    assert [one.how for one in bench.job.observations] == ["seen", "told"]
    assert bench.kinds().count("key.observed") == 2


def test_another_article_with_the_same_blade_keeps_the_bitting_and_not_the_metal(bench: Bench) -> None:
    carry(bench, "QUI-H3")
    cut(bench)
    bench.do("choose-article", {"article": "QUI-H4", "because": "it has four buttons"}, DESK)
    blade = bench.job.blade
    assert blade is not None
    assert (blade.cut_at, blade.cutter, blade.inspected) == (None, "", "")
    assert blade.entered_by == TECH.login
    assert find_state(bench, "blade") != SETTLED


def test_a_key_that_is_cut_anew_is_proven_anew(bench: Bench) -> None:
    carry(bench, "QUI-M1")
    cut(bench)
    answer(bench)
    assert find_state(bench, "proof") == SETTLED
    cut(bench)
    assert bench.job.proof == ()
    with pytest.raises(NotYetError, match="proof"):
        bench.do("sign", {"keys_handed": "1", "signed_by": "Ilse", "on_paper": "yes"}, DESK)


def test_after_a_failed_test_a_run_that_ended_well_can_be_done_again(bench: Bench) -> None:
    bench.carry_to_pairing()
    bench.begin(**ONE_HERE)
    bench.walk(until=lambda run: False)
    with pytest.raises(NotYetError):
        bench.begin(**ONE_HERE)
    answer(bench, start="failed")
    bench.begin(**ONE_HERE)
    assert bench.job.pairing is not None
    assert (bench.job.pairing.attempt, bench.job.pairing.outcome, bench.job.proof) == (2, "", ())
    bench.walk(until=lambda run: False)
    answer(bench)
    bench.do("sign", {"keys_handed": "2", "signed_by": "Ilse", "on_paper": "yes"}, DESK)
    assert bench.job.state == "closed"


def test_a_stranded_job_paired_by_another_way_still_names_the_keys_that_were_counted(bench: Bench) -> None:
    bench.carry_to_pairing()
    bench.begin(**ONE_HERE)
    bench.walk(until=lambda run: run.state.passed_no_return)
    bench.do("pairing-event", bench.event("abandoned", give_up="yes"))
    bench.do("pair-otherwise", {"because": "the maker's own workshop entered the keys"})
    keys = compose_sheet(bench.job, bench.desk.terms).keys
    assert [(key.name, key.works_after) for key in keys] == [("Daily", None), (NEW_KEY, True)]
    answer(bench)
    bench.do("sign", {"keys_handed": "2", "signed_by": "Ilse", "on_paper": "yes"}, DESK)
    assert bench.job.state == "closed"


def test_two_people_at_one_job_leave_both_entries(bench: Bench) -> None:
    bench.carry_to_key()
    other = Person("rush", "Rush Ottery", "counter")
    bench.do("observe", {"kind": "button_count", "value": "3", "how": "seen"}, DESK)
    bench.do("observe", {"kind": "button_count", "value": "4", "how": "told"}, other)
    assert [one.by for one in bench.job.observations] == [DESK.login, other.login]


def test_who_has_lost_every_key_is_not_asked_for_one(pack: Pack) -> None:
    from bittern.work.pairing import prepare

    for article in ("TAR-H3", "QUI-H3", "FEN-P3"):
        bench = Bench(pack)
        bench.do("change-request", {"want": "all-lost", "customer": "Ilse Peatridge"}, DESK)
        carry(bench, article)
        promise = bench.job.promise
        assert promise is not None
        assert not any(line.startswith(("One key", "Two keys", "Every key")) for line in promise.bring)
        ready = prepare(bench.desk, bench.job)
        # The first family's procedure begins with a key that works: it is not offered, nor its time.
        assert (ready is None) is (promise.minutes_typical is None) is (article == "TAR-H3")
        bench.do("change-request", {"want": "spare", "customer": "Ilse Peatridge"}, DESK)
        assert prepare(bench.desk, bench.job) is not None


@pytest.mark.parametrize(
    ("article", "cautions", "say"),
    [
        ("QUI-M1", {APART}, "Try the key in every lock."),
        ("QUI-C1", {APART, ABSENT}, "Try the key in every lock and at start."),
        ("QUI-R2", {CELL, APART, ABSENT}, "Try every button of the remote."),
    ],
)
def test_words_at_the_end_are_about_this_kind_of_key(
    bench: Bench, article: str, cautions: set[str], say: str
) -> None:
    carry(bench, article)
    assert set(compose_sheet(bench.job, bench.desk.terms).cautions) == cautions
    if bench.job.key and bench.job.key.blade:
        cut(bench)
    if article != "QUI-M1":
        bench.do("pair-otherwise", {"because": "by the maker's own workshop"})
    step = find_next(bench.job)
    assert step is not None
    assert step.say == say
