"""What must not come out: bittings, passwords, what others have typed; and what must not come in."""

from __future__ import annotations

import json
import logging
import re
from collections.abc import Callable
from typing import Any

import pytest
from axes.models import AccessAttempt
from django.contrib.sessions.models import Session
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import connection
from django.test import Client
from django.urls import reverse

from bittern.bench.people import roster
from bittern.bench.people.models import User
from bittern.work import actions
from bittern.work.detail import describe_open_leg
from bittern.work.ports import Desk
from tests.bench.pages.journey import carry, find_inputs, read_words
from tests.bench.pages.walk import BITTING, act, carry_to_blade
from tests.bench.test_gates import DECISIONS, find_address
from tests.conftest import Cast

pytestmark = pytest.mark.django_db

LogIn = Callable[[Any], Client]
PASSWORD = "windy sedge and reed"
LEGS = ("request", "vehicle", "key", "promise", "blade", "pairing", "proof", "handover")
# A bitting in whatever way it may be written: labels with anything but letters and digits between.
_SPELLED = re.compile(r"[^0-9A-Za-z]{0,40}".join(BITTING.split()))


def holds_bitting(text: str) -> bool:
    return bool(_SPELLED.search(re.sub(r"<[^>]*>", " ", text)))


def test_the_search_for_a_bitting_would_find_one(cast: Cast, log_in: LogIn, desk: Desk) -> None:
    number = carry_to_blade(desk)
    page = log_in(cast.technician).post(find_address("bitting", number), {"reason": "to cut"})
    assert holds_bitting(page.content.decode())


def test_no_page_of_the_counter_holds_a_bitting(cast: Cast, log_in: LogIn, desk: Desk) -> None:
    number = carry_to_blade(desk)
    technician = log_in(cast.technician)
    technician.post(find_address("draft", number, "enter-bitting"), {"bitting": BITTING})
    counter = log_in(cast.counter)
    pages = [counter.get(find_address(name, number)) for name in DECISIONS if name != "logout"]
    pages += [counter.get(find_address("job", number) + f"?leg={leg}") for leg in LEGS]
    pages += [counter.get(reverse("search"), {"q": q}) for q in ("Ansel", str(number), BITTING)]
    pages += [counter.post(find_address("bitting", number), {"reason": "to see"})]
    pages += [counter.post(find_address("act", number, name), {"sure": "yes"}) for name in actions.ACTS]
    for page in pages:
        text = page.content.decode("utf-8", "replace")
        query = page.request.get("QUERY_STRING", "")
        assert not holds_bitting(text) or BITTING.replace(" ", "+") in query, page.request["PATH_INFO"]


def test_what_a_technician_typed_is_not_judged_for_the_counter(cast: Cast, log_in: LogIn, desk: Desk) -> None:
    number = carry(desk, "promise")
    client = log_in(cast.technician)
    client.post(find_address("draft", number, "enter-bitting"), {"bitting": "2 1 3 9 2 2 1 3"})
    client.post(find_address("draft", number, "enter-readings"), {"reading-1": "7.41", "sd_mm": "0.02"})
    roster.change_role(cast.technician, "counter")
    page = client.get(find_address("job", number) + "?leg=blade")
    assert page.status_code == 200
    assert not page.context.get("study")
    assert not page.context.get("violations")
    assert "7.41" not in page.content.decode()


def test_readings_are_studied_for_those_who_measure(cast: Cast, log_in: LogIn, desk: Desk) -> None:
    number = carry(desk, "promise")
    for target in ("", "reading-study"):
        answer = log_in(cast.counter).post(
            find_address("study-readings", number),
            {"reading-1": "7.41", "sd_mm": "0.02"},
            headers={"HX-Target": target},
        )
        assert answer.status_code == 403
        assert "off by" not in read_words(answer)


@pytest.mark.parametrize("form", ["enter-bitting", "enter-readings"])
def test_no_browser_keeps_a_page_with_a_typed_bitting(
    form: str, cast: Cast, log_in: LogIn, desk: Desk
) -> None:
    number, client = carry(desk, "promise"), log_in(cast.technician)
    typed = {"bitting": "2 1 3 9 2 2 1 3", "reading-1": "7.41"}
    refused = client.post(find_address("act", number, form), typed)
    assert refused.status_code == 422
    assert refused["Cache-Control"] == "private, no-store"
    client.post(find_address("draft", number, form), typed)
    for address in ("", "?leg=blade", "?leg=proof"):
        page = client.get(find_address("job", number) + address)
        assert page["Cache-Control"] == "private, no-store"


def test_a_bitting_stands_nowhere_in_the_database_in_the_clear(cast: Cast, log_in: LogIn, desk: Desk) -> None:
    number, client = carry(desk, "promise"), log_in(cast.technician)
    client.post(find_address("draft", number, "enter-bitting"), {"bitting": BITTING})
    client.post(find_address("act", number, "enter-bitting"), {"bitting": "2 1 3 9 2 2 1 3"})
    client.post(find_address("act", number, "enter-bitting"), {"bitting": BITTING})
    client.post(find_address("bitting", number), {"reason": "to cut"})
    client.post(find_address("draft", number, "enter-bitting"), {"bitting": BITTING})
    spelled = (BITTING, BITTING.replace(" ", ""), "2 1 3 9 2 2 1 3")
    with connection.cursor() as cursor:
        for table in connection.introspection.table_names():
            cursor.execute(f'SELECT * FROM "{table}"')
            for row in cursor.fetchall():
                cells = [
                    bytes(c).decode("latin-1") if isinstance(c, bytes | memoryview) else str(c) for c in row
                ]
                assert not any(text in cell for cell in cells for text in spelled), table
    assert all("bitting" not in str(session.get_decoded()) for session in Session.objects.all())
    job = desk.store.load(number)
    assert not holds_bitting(json.dumps([job.model_dump(mode="json"), describe_open_leg(desk, job)]))


def test_a_refused_bitting_is_in_no_log_line(
    cast: Cast, log_in: LogIn, desk: Desk, caplog: pytest.LogCaptureFixture
) -> None:
    number, client = carry(desk, "promise"), log_in(cast.technician)
    with caplog.at_level(logging.DEBUG):
        client.post(find_address("act", number, "enter-bitting"), {"bitting": "2 1 3 9 2 2 1 3"})
        client.post(find_address("act", number, "enter-bitting"), {"bitting": BITTING})
        client.post(find_address("bitting", number), {"reason": ""})
    lines = [record.getMessage() for record in caplog.records if record.name != "django.db.backends"]
    assert not any("2 1 3" in line for line in lines)


def test_drafts_are_shown_to_who_typed_them_alone(cast: Cast, log_in: LogIn, desk: Desk) -> None:
    number = carry(desk, "promise")
    log_in(cast.technician).post(find_address("draft", number, "enter-bitting"), {"bitting": BITTING})
    assert [
        one["value"]
        for one in find_inputs(log_in(cast.technician).get(find_address("job", number)), name="bitting")
    ] == [BITTING]
    for other in (cast.colleague, cast.owner):
        (field,) = find_inputs(log_in(other).get(find_address("job", number)), name="bitting")
        assert field.get("value", "") == ""


# Logins


def log_in_by_password(client: Client, login: str = "merle") -> Any:
    return client.post(reverse("login"), {"username": login, "password": PASSWORD})


@pytest.fixture
def merle(cast: Cast) -> User:
    return User.objects.create_user("merle", name="Merle Quaking", role="technician", password=PASSWORD)


def test_a_login_takes_a_session_of_its_own(merle: User) -> None:
    client = Client()
    client.cookies["bittern-session"] = "planted" * 4
    log_in_by_password(client)
    first = client.cookies["bittern-session"].value
    assert first != "planted" * 4
    client.post(reverse("logout"))
    assert not Session.objects.filter(session_key=first).exists()
    log_in_by_password(client)
    assert client.cookies["bittern-session"].value != first


def test_access_given_again_brings_no_old_login_back(merle: User, cast: Cast, log_in: LogIn) -> None:
    theirs, others = Client(), log_in(cast.colleague)
    log_in_by_password(theirs)
    assert theirs.get("/").status_code == 200
    owner = log_in(cast.owner)
    owner.post(reverse("person-access", args=["merle"]), {"access": "closed", "sure": "yes"})
    assert theirs.get("/").status_code == 302
    owner.post(reverse("person-access", args=["merle"]), {"access": "open"})
    assert theirs.get("/").status_code == 302
    assert others.get("/").status_code == 200
    assert owner.get("/").status_code == 200


def test_another_role_counts_in_a_login_that_is_open(
    merle: User, cast: Cast, log_in: LogIn, desk: Desk
) -> None:
    number, theirs = carry_to_blade(desk), Client()
    log_in_by_password(theirs)
    assert theirs.post(find_address("bitting", number), {"reason": "to cut"}).status_code == 200
    log_in(cast.owner).post(reverse("person", args=["merle"]), {"role": "counter"})
    assert theirs.post(find_address("bitting", number), {"reason": "to cut"}).status_code == 403


def test_a_wrong_name_is_locked_as_a_wrong_password_is(merle: User) -> None:
    answers = {}
    for login in ("merle", "nobody"):
        sent = [Client().post(reverse("login"), {"username": login, "password": f"no {i}"}) for i in range(6)]
        answers[login] = [(one.status_code, read_words(one).replace(login, "NAME")) for one in sent]
    assert answers["merle"] == answers["nobody"]
    assert answers["merle"][-1][0] == 429


def test_the_present_password_cannot_be_guessed_from_an_open_login(merle: User) -> None:
    client, address = Client(), reverse("own-password")
    log_in_by_password(client)
    new = {"new_password1": "another sedge and reed", "new_password2": "another sedge and reed"}
    answers = [client.post(address, {"old_password": f"no {i}", **new}).status_code for i in range(5)]
    assert answers == [200, 200, 200, 200, 429]
    assert client.post(address, {"old_password": PASSWORD, **new}).status_code == 429
    assert log_in_by_password(Client()).status_code == 429
    merle.refresh_from_db()
    assert merle.check_password(PASSWORD)
    # What is kept of an attempt is its name and its time.
    kept = str(list(AccessAttempt.objects.values()))
    assert "merle" in kept
    assert not any(word in kept for word in ("no 0", "no 4", PASSWORD, "another sedge"))


def test_a_password_changed_in_time_forgets_the_wrong_ones(merle: User) -> None:
    client, address = Client(), reverse("own-password")
    log_in_by_password(client)
    new = {"new_password1": "another sedge and reed", "new_password2": "another sedge and reed"}
    for i in range(4):
        client.post(address, {"old_password": f"no {i}", **new})
    assert client.post(address, {"old_password": PASSWORD, **new}).status_code == 302
    assert client.get("/").status_code == 200
    assert log_in_by_password(Client()).status_code == 200


@pytest.mark.parametrize(
    "place",
    ["//elsewhere.example/", "/\\elsewhere.example", "https:elsewhere.example", "javascript:alert(1)",
     "http://testserver@elsewhere.example/", "\thttps://elsewhere.example"],
)  # fmt: skip
def test_a_login_leads_to_no_other_site(place: str, merle: User) -> None:
    sent = {"username": "merle", "password": PASSWORD, "next": place}
    assert Client().post(reverse("login"), sent)["Location"] == "/"


@pytest.mark.parametrize("host", ["elsewhere.example", "testserver.elsewhere.example", "testserver@x"])
def test_another_name_of_the_server_is_refused(host: str) -> None:
    answer = Client().get(reverse("login"), headers={"Host": host})
    assert answer.status_code == 400
    assert "elsewhere" not in answer.content.decode()


def test_a_name_from_a_proxy_is_not_believed() -> None:
    answer = Client().get("/", headers={"X-Forwarded-Host": "elsewhere.example"})
    assert answer["Location"] == "/login/?next=/"


# What comes in


def test_a_file_is_refused_before_it_is_kept(cast: Cast, log_in: LogIn, desk: Desk) -> None:
    # Files do not count among what a form may weigh: anybody could fill the disk.
    number = carry(desk, "promise")
    small = SimpleUploadedFile("note.txt", b"a")
    for client, address in (
        (Client(), reverse("login")),
        (log_in(cast.owner), find_address("draft", number, "offer")),
    ):
        assert client.post(address, {"field": "x", "file": small}).status_code == 400


@pytest.mark.parametrize("body", ["field=" + "x" * 2_100_000, "&".join(f"f{i}=1" for i in range(1100))])
def test_a_form_of_no_human_size_is_refused(body: str, cast: Cast, log_in: LogIn) -> None:
    kind = "application/x-www-form-urlencoded"
    for client, address in ((Client(), reverse("login")), (log_in(cast.owner), reverse("new-job"))):
        assert client.post(address, body, kind).status_code == 400


STRANGE = [
    "\x00", "[" * 50_000, "{" * 90_000, '[[["a"]]]', "[[[1e400,1]]]", "[[[NaN,1]]]", "9" * 5000, "-1",
    "1e308", "\u202e\ufffe", "٣", "{{ 7|add:7 }}", "<script>alert(1)</script>", "'\"><img src=x>",
    "a" * 100_000,
]  # fmt: skip
FIELDS = [
    "want", "customer", "phone", "plate", "note", "documents", "holder", "caution", "vin", "make",
    "model", "year", "start", "accepted_because", "kind", "value", "how", "sd", "index", "article",
    "because", "accepted_by", "accepted_how", "bitting", "reading-1", "sd_mm", "cutter", "result",
    "needs", "key-1-name", "key-1-present", "event_id", "step", "visit", "to", "choice", "test",
    "keys_handed", "payment_reference", "signed_by", "strokes", "reason", "take", "use_decode", "key",
    "number", "probability", "login", "name", "role", "tax_percent",
]  # fmt: skip


@pytest.mark.parametrize("name", [*actions.ACTS, *(n for n in DECISIONS if n not in ("act", "logout"))])
def test_strange_entries_are_refused_in_words(name: str, cast: Cast, log_in: LogIn, desk: Desk) -> None:
    number, client = carry_to_blade(desk), log_in(cast.owner)
    address = find_address("act", number, name) if name in actions.ACTS else find_address(name, number)
    for text in STRANGE:
        for typed in (dict.fromkeys(FIELDS, text), {key: [text[:2000], "2"] for key in FIELDS}):
            answer = client.post(address, {**typed, "sure": "no"})
            assert answer.status_code < 500
            assert b"<script>alert" not in answer.content
            assert b"<img src=x>" not in answer.content


@pytest.mark.parametrize(
    "address", ["/jobs/1/", "/search", "/people/corin/", "/jobs/1/handover.pdf", "/login/"]
)
def test_strange_questions_are_answered_in_peace(address: str, cast: Cast, log_in: LogIn, desk: Desk) -> None:
    carry(desk)
    for text in STRANGE:
        query = {"q": text[:3000], "leg": text[:3000], "next": text[:3000]}
        for client in (Client(), log_in(cast.owner)):
            answer = client.get(address, query)
            assert answer.status_code < 500
            assert b"<script>alert" not in answer.content


HOSTILE = '</title><script>alert(1)</script><img src=x onerror="a()">{{ 7 }}#eval("1")$x$'


def test_words_of_a_customer_are_words_on_every_page(cast: Cast, log_in: LogIn, desk: Desk) -> None:
    number = carry(desk, "promise", customer=HOSTILE, plate='"><script>alert', note=HOSTILE, phone='"onx="1')
    act(desk, number, "enter-bitting", bitting=BITTING)
    client = log_in(cast.owner)
    addresses = [find_address(name, number) for name in DECISIONS if name != "logout"]
    addresses += [find_address("job", number) + f"?leg={leg}" for leg in LEGS]
    addresses += [reverse("search") + "?q=script"]
    pages = [client.get(address) for address in addresses]
    pages += [client.post(find_address("bitting", number), {"reason": HOSTILE})]
    for page in pages:
        assert b"<script>alert" not in page.content
        assert b"<img src=x" not in page.content
        assert b'"onx=' not in page.content
