"""Questions to the customer: what is sent names nobody, what waits is seen to wait, an answer ends it."""

from __future__ import annotations

from dataclasses import replace
from urllib.parse import quote

import pytest

from bittern.engines.key.evidence import HOWS, KINDS
from bittern.work.asking import CUSTOMER_QUESTIONS, compose_message
from bittern.work.errors import ClosedError, FieldsError
from bittern.work.key import weigh
from bittern.work.nextstep import find_next, name_wait
from bittern.work.ports import ShopTerms
from tests.work.conftest import DESK, REQUEST, Bench

NAMED = ShopTerms(name="Fenside Keys")


def test_each_question_is_of_a_kind_that_the_weighing_knows() -> None:
    assert set(CUSTOMER_QUESTIONS) <= set(KINDS)
    assert {one.how for one in CUSTOMER_QUESTIONS.values()} <= set(HOWS)


@pytest.mark.parametrize("kind", CUSTOMER_QUESTIONS)
def test_a_message_names_the_job_and_nothing_of_the_customer_or_the_vehicle(kind: str, bench: Bench) -> None:
    bench.carry_to_key()
    job, vehicle = bench.job, bench.job.vehicle
    assert vehicle is not None
    sent = compose_message(NAMED, job, kind)
    assert sent.text.startswith(f"Fenside Keys, job {job.number}: a question")
    assert CUSTOMER_QUESTIONS[kind].ask in sent.text
    private = [*REQUEST["customer"].split(), REQUEST["phone"], REQUEST["plate"]]
    private += [vehicle.vin, vehicle.make, vehicle.model, str(vehicle.year)]
    for word in private:
        assert word.lower() not in f"{sent.subject} {sent.text}".lower()


@pytest.mark.parametrize("kind", CUSTOMER_QUESTIONS)
def test_a_message_fits_into_a_link_that_a_telephone_takes(kind: str, bench: Bench) -> None:
    text = compose_message(replace(NAMED, name="W" * 80), bench.job, kind).text
    # Common practice: addresses of up to 2000 characters are taken everywhere.
    assert len(quote(text)) < 1500


def test_a_shop_without_a_name_is_not_called_unnamed(bench: Bench) -> None:
    text = compose_message(ShopTerms(), bench.job, "start").text
    assert text.startswith(f"Job {bench.number}: a question about your key.")


def test_a_question_sent_is_no_evidence_and_the_job_waits_for_the_answer(bench: Bench) -> None:
    bench.carry_to_key()
    before, waited = weigh(bench.desk, bench.job), name_wait(bench.job)
    bench.do("question-sent", {"question": "fcc_id"}, DESK)
    assert weigh(bench.desk, bench.job) == before
    assert bench.job.observations == ()
    assert [(one.kind, one.by) for one in bench.job.asked] == [("fcc_id", "cora")]
    assert bench.kinds()[-1] == "key.question-sent"
    assert (waited, name_wait(bench.job)) == ("article", "answer")
    step = find_next(bench.job)
    assert step is not None
    assert step.leg == "key"


def test_the_same_question_sent_again_waits_from_then_on(bench: Bench) -> None:
    bench.carry_to_key()
    bench.do("question-sent", {"question": "start"})
    first = bench.job.asked[0].at
    bench.do("question-sent", {"question": "start"})
    assert len(bench.job.asked) == 1
    assert bench.job.asked[0].at > first


def test_an_answer_ends_the_waiting_for_it_alone(bench: Bench) -> None:
    bench.carry_to_key()
    for kind in ("start", "button_count", "fcc_id"):
        bench.do("question-sent", {"question": kind})
    bench.do("observe", {"kind": "start", "value": "push", "how": "told"})
    assert [one.kind for one in bench.job.asked] == ["button_count", "fcc_id"]
    bench.do("observe", {"kind": "buttons", "value": ["lock", "unlock"], "how": "photographed"})
    # The buttons tell their number too.
    assert [one.kind for one in bench.job.asked] == ["fcc_id"]
    bench.do("observe", {"kind": "fcc_id", "cannot": "yes", "how": "told"})
    assert bench.job.asked == ()
    assert name_wait(bench.job) == "article"


def test_the_same_answer_once_more_ends_the_waiting_too(bench: Bench) -> None:
    bench.carry_to_key()
    bench.do("observe", {"kind": "start", "value": "push", "how": "told"})
    bench.do("question-sent", {"question": "start"})
    bench.do("observe", {"kind": "start", "value": "push", "how": "told"})
    assert bench.job.asked == ()
    assert len(bench.job.observations) == 1


def test_with_the_article_taken_nothing_waits_for_an_answer(bench: Bench) -> None:
    article = bench.carry_to_key()
    bench.do("question-sent", {"question": "start"})
    bench.do("choose-article", {"article": article, "because": "The same as the working key."})
    assert bench.job.asked == ()
    assert name_wait(bench.job) == "offer"


@pytest.mark.parametrize("kind", ["", "chip", "frequency_hz", "name"])
def test_what_no_customer_can_answer_is_not_sent(kind: str, bench: Bench) -> None:
    bench.carry_to_key()
    with pytest.raises(FieldsError, match="one of: fcc_id"):
        bench.do("question-sent", {"question": kind})
    assert bench.job.asked == ()


def test_on_a_job_that_ended_nothing_is_asked(bench: Bench) -> None:
    bench.do("withdraw", {"because": "found it"})
    with pytest.raises(ClosedError):
        bench.do("question-sent", {"question": "start"})
