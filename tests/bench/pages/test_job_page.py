"""The traveller: what to do next, eight legs, acts that keep what was typed when they are not taken."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from bittern.bench.jobs.drafts import find_drafts
from bittern.bench.jobs.models import Job
from bittern.work import actions
from bittern.work.errors import ConflictError
from bittern.work.legs import TITLES
from bittern.work.ports import Desk
from tests.bench.pages.journey import AUTHORITY, ODILE, REQUEST, carry, find_inputs, read_words
from tests.conftest import Cast

LogIn = Callable[[Any], Client]


def act_url(number: int, name: str) -> str:
    return reverse("act", args=[number, name])


def test_a_new_job_is_opened_and_shown(cast: Cast, log_in: LogIn, desk: Desk) -> None:
    response = log_in(cast.counter).post("/jobs/new/", REQUEST, follow=True)
    assert response.redirect_chain == [("/jobs/1/", 302)]
    assert "Look at the papers of Ansel Quaking" in read_words(response)
    assert desk.store.load(1).opened_by == "calla"


def test_a_new_job_without_a_name_keeps_what_was_typed(cast: Cast, log_in: LogIn) -> None:
    response = log_in(cast.counter).post("/jobs/new/", {**REQUEST, "customer": " ", "note": "at the <quay>"})
    assert response.status_code == 422
    assert "Found nothing; expected the customer's name." in read_words(response)
    assert "at the <quay>" in read_words(response)
    (plate,) = find_inputs(response, name="plate")
    assert plate["value"] == "KL-07 XQ"
    (want,) = [one for one in find_inputs(response, name="want") if "checked" in one]
    assert want["value"] == "spare"
    (customer,) = find_inputs(response, name="customer")
    assert customer["aria-invalid"] == "true"
    assert f'id="{customer["aria-describedby"]}"' in response.content.decode()
    assert Job.objects.count() == 0


def test_every_leg_is_on_the_page_and_the_open_one_has_its_form(
    cast: Cast, log_in: LogIn, desk: Desk
) -> None:
    number = carry(desk, "request")
    response = log_in(cast.technician).get(f"/jobs/{number}/")
    words = read_words(response)
    places = [words.index(f" {title} ") for title, _ in TITLES.values()]
    assert places == sorted(places)
    assert find_inputs(response, name="vin")
    assert not find_inputs(response, name="documents")


def test_a_settled_leg_can_be_opened_again(cast: Cast, log_in: LogIn, desk: Desk) -> None:
    number = carry(desk, "request")
    response = log_in(cast.technician).get(f"/jobs/{number}/?leg=request")
    assert find_inputs(response, name="documents")
    assert not find_inputs(response, name="vin")
    assert log_in(cast.technician).get(f"/jobs/{number}/?leg=nonsense").status_code == 200


def test_an_act_that_is_taken_leads_back_to_its_leg(cast: Cast, log_in: LogIn, desk: Desk) -> None:
    number = carry(desk)
    response = log_in(cast.counter).post(act_url(number, "record-authority"), AUTHORITY)
    assert (response.status_code, response["Location"]) == (302, f"/jobs/{number}/#leg-request")
    authority = desk.store.load(number).authority
    assert authority is not None
    assert (authority.documents, authority.seen_by) == (("photo-identity", "registration"), "calla")


def test_an_act_on_a_leg_that_stays_unsettled_leads_back_into_it(
    cast: Cast, log_in: LogIn, desk: Desk
) -> None:
    number = carry(desk)
    actions.act(
        desk,
        number,
        ODILE,
        "record-vehicle",
        {"make": "Quillmoor", "model": "Whimbrel", "accepted_because": "plate gone"},
    )
    answer = {"kind": "button_count", "value": "3", "how": "seen"}
    response = log_in(cast.counter).post(act_url(number, "observe"), answer)
    assert response["Location"] == f"/jobs/{number}/?leg=key#leg-key"


def test_wrong_fields_are_named_and_what_was_typed_is_kept(cast: Cast, log_in: LogIn, desk: Desk) -> None:
    number = carry(desk)
    typed = {"documents": ["registration", "loss-report"], "holder": "", "caution": "yes"}
    response = log_in(cast.counter).post(act_url(number, "record-authority"), typed)
    assert response.status_code == 422
    words = read_words(response)
    assert "2 entries need another look" in words
    assert "photo identity and at least one paper" in words
    ticked = {one["value"] for one in find_inputs(response, name="documents") if "checked" in one}
    assert ticked == {"registration", "loss-report"}
    assert "checked" in find_inputs(response, name="caution")[0]
    # The holder was emptied on purpose: the name on record does not come back by itself.
    assert find_inputs(response, name="holder")[0]["value"] == ""
    assert desk.store.load(number).authority is None


def test_each_link_of_the_summary_leads_to_its_field(cast: Cast, log_in: LogIn, desk: Desk) -> None:
    number = carry(desk)
    page = log_in(cast.counter).post(act_url(number, "record-authority"), {}).content.decode()
    for name in ("documents", "holder", "caution"):
        assert f'href="#f-record-authority-{name}"' in page
        assert f'id="f-record-authority-{name}"' in page


def test_an_act_that_is_not_yet_due_says_what_is_missing(cast: Cast, log_in: LogIn, desk: Desk) -> None:
    number = carry(desk)
    response = log_in(cast.counter).post(act_url(number, "offer"))
    assert response.status_code == 409
    assert "expected the Key leg settled" in read_words(response)


def test_the_counter_may_not_do_what_is_the_benchs(cast: Cast, log_in: LogIn, desk: Desk) -> None:
    number = carry(desk, "promise")
    response = log_in(cast.counter).post(act_url(number, "enter-bitting"), {"bitting": "1 2 3 4 1 2 3 4"})
    assert response.status_code == 403
    assert "Not for this role" in read_words(response)
    assert desk.store.load(number).blade is None


@pytest.mark.parametrize("address", ["/jobs/77/", "/jobs/77/log/", "/jobs/99999999999999999999/"])
def test_a_job_that_is_not_there_is_a_page_with_a_way_on(address: str, cast: Cast, log_in: LogIn) -> None:
    response = log_in(cast.owner).get(address)
    assert response.status_code == 404
    assert "To Today" in read_words(response)


def test_an_act_that_is_not_there_is_not_found(cast: Cast, log_in: LogIn, desk: Desk) -> None:
    number = carry(desk)
    assert log_in(cast.owner).post(act_url(number, "melt-down")).status_code == 404
    assert log_in(cast.owner).post(act_url(number + 1, "offer")).status_code == 404


@pytest.mark.parametrize("name", ["act", "study-number"])
def test_a_link_does_no_act_but_leads_to_the_job(name: str, cast: Cast, log_in: LogIn, desk: Desk) -> None:
    number = carry(desk, "key")
    before = desk.store.load(number)
    address = reverse(name, args=[number, "offer"] if name == "act" else [number])
    response = log_in(cast.owner).get(address)
    assert (response.status_code, response["Location"]) == (302, f"/jobs/{number}/")
    assert desk.store.load(number) == before


def test_an_act_without_the_forms_token_is_refused_with_a_sentence(cast: Cast, desk: Desk) -> None:
    number = carry(desk)
    client = Client(enforce_csrf_checks=True)
    client.force_login(cast.owner)
    response = client.post(act_url(number, "record-authority"), AUTHORITY)
    assert response.status_code == 403
    assert "The form was too old" in read_words(response)
    assert desk.store.load(number).authority is None


def test_a_change_made_by_somebody_else_meanwhile_is_said(
    cast: Cast, log_in: LogIn, desk: Desk, monkeypatch: pytest.MonkeyPatch
) -> None:
    number = carry(desk)

    def lose(*args: object, **kwargs: object) -> str:
        raise ConflictError("version 3", "version 2", hint="read it again")

    monkeypatch.setattr(actions, "act", lose)
    response = log_in(cast.counter).post(act_url(number, "record-authority"), {**AUTHORITY, "holder": "Kept"})
    assert response.status_code == 409
    assert "Somebody else was quicker" in read_words(response)
    assert find_inputs(response, name="holder")[0]["value"] == "Kept"


def test_withdrawing_needs_a_reason_and_a_second_act(cast: Cast, log_in: LogIn, desk: Desk) -> None:
    number = carry(desk)
    client = log_in(cast.counter)
    response = client.post(act_url(number, "withdraw"), {"because": "bought another car"})
    assert response.status_code == 422
    assert "there is no way back" in read_words(response)
    assert "bought another car" in read_words(response)
    assert desk.store.load(number).state == "open"
    assert client.post(act_url(number, "withdraw"), {"sure": "yes"}).status_code == 422
    client.post(act_url(number, "withdraw"), {"because": "bought another car", "sure": "yes"})
    assert desk.store.load(number).state == "withdrawn"


def test_a_withdrawn_job_says_so_and_offers_no_form(cast: Cast, log_in: LogIn, desk: Desk) -> None:
    number = carry(desk, "promise")
    actions.act(desk, number, ODILE, "withdraw", {"because": "bought another car"})
    client = log_in(cast.counter)
    for leg in TITLES:
        response = client.get(f"/jobs/{number}/?leg={leg}")
        assert "This job ended early. bought another car" in read_words(response)
        forms = response.content.decode().count("/do/")
        assert forms == 0, leg
    # Nothing comes later on a job that has ended.
    assert "stamp-later" not in response.content.decode()
    response = client.post(act_url(number, "record-authority"), AUTHORITY)
    assert response.status_code == 409
    assert "This job is closed" in read_words(response)


def test_the_log_is_read_as_sentences(cast: Cast, log_in: LogIn, desk: Desk) -> None:
    number = carry(desk, "promise")
    words = read_words(log_in(cast.counter).get(f"/jobs/{number}/log/"))
    assert "Opened the job: one more key." in words
    assert "Papers seen: Photo identity of the person; Registration paper of the vehicle." in words
    assert "because: the customer showed its twin." in words
    assert "The customer agreed in person to" in words


def test_a_page_takes_a_fixed_number_of_queries(
    cast: Cast, log_in: LogIn, desk: Desk, django_assert_num_queries: Any
) -> None:
    client = log_in(cast.technician)
    numbers = {upto: carry(desk, upto) for upto in ("", "request", "vehicle", "key")}
    # Lessons are read and folded once, and again when there are others.
    client.get(f"/jobs/{numbers['vehicle']}/")
    for upto, number in numbers.items():
        # Session, account, the lists in use, the shop's terms, the job, drafts; where articles are weighed
        # a look whether there are new lessons; where the promise is drawn up the run sheets in use.
        with django_assert_num_queries(7 if upto in ("vehicle", "key") else 6):
            assert client.get(f"/jobs/{number}/").status_code == 200
    # And readings of the supply, by hand before a run and in it.
    with django_assert_num_queries(9):
        assert client.get(f"/jobs/{numbers['key']}/?leg=pairing").status_code == 200


def test_a_draft_fills_the_form_again_and_is_gone_once_taken(cast: Cast, log_in: LogIn, desk: Desk) -> None:
    number = carry(desk)
    client = log_in(cast.counter)
    draft = reverse("draft", args=[number, "record-authority"])
    assert client.post(draft, {"holder": "Half a na", "documents": "registration"}).status_code == 204
    response = client.get(f"/jobs/{number}/")
    assert find_inputs(response, name="holder")[0]["value"] == "Half a na"
    assert [one["value"] for one in find_inputs(response, name="documents") if "checked" in one] == [
        "registration"
    ]
    # Another person's page is not touched by it.
    other = log_in(cast.technician).get(f"/jobs/{number}/")
    assert find_inputs(other, name="holder")[0]["value"] == "Ansel Quaking"
    client.post(act_url(number, "record-authority"), AUTHORITY)
    assert find_drafts(number, "calla") == {}


def test_a_draft_of_a_new_job_is_kept(cast: Cast, log_in: LogIn) -> None:
    client = log_in(cast.counter)
    assert client.post("/jobs/new/draft/", {"customer": "Half a na"}).status_code == 204
    assert find_inputs(client.get("/jobs/new/"), name="customer")[0]["value"] == "Half a na"
    client.post("/jobs/new/", REQUEST)
    assert find_inputs(client.get("/jobs/new/"), name="customer")[0]["value"] == ""


def test_a_draft_that_belongs_nowhere_is_refused(cast: Cast, log_in: LogIn, desk: Desk) -> None:
    number = carry(desk)
    client = log_in(cast.counter)
    assert client.post(reverse("draft", args=[number, "melt-down"]), {"a": "b"}).status_code == 404
    assert client.post(reverse("draft", args=[number + 1, "observe"]), {"a": "b"}).status_code == 404
    huge = {"because": "x" * 100_000}
    assert client.post(reverse("draft", args=[number, "withdraw"]), huge).status_code == 413
    actions.act(desk, number, ODILE, "withdraw", {"because": "bought another car"})
    assert client.post(reverse("draft", args=[number, "observe"]), {"a": "b"}).status_code == 409
    assert find_drafts(number, "calla") == {}


def test_a_stranger_sees_nothing_of_a_job(cast: Cast, log_in: LogIn, desk: Desk) -> None:
    number = carry(desk)
    client = log_in(None)
    for address in (f"/jobs/{number}/", f"/jobs/{number}/log/"):
        assert client.get(address).status_code == 302
    for address in (act_url(number, "record-authority"), reverse("draft", args=[number, "observe"])):
        assert client.post(address, AUTHORITY).status_code == 302
    assert desk.store.load(number).authority is None
