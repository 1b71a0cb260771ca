"""Every address with a decision about who may reach it: a stranger, the counter, a technician, an owner."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import Any

import pytest
from django.test import Client
from django.urls import URLPattern, URLResolver, get_resolver, reverse

from bittern.bench.jobs.models import LogRecord
from bittern.bench.people.models import User
from bittern.work import actions
from bittern.work.ports import Desk
from tests.bench.pages.walk import BITTING, carry_to_blade, carry_to_run, find_run, make_event
from tests.conftest import Cast

pytestmark = pytest.mark.django_db

LogIn = Callable[[Any], Client]
ROLES = ("counter", "technician", "owner")
EVERYBODY = dict.fromkeys(ROLES, "in")
BENCH = {"counter": "out", "technician": "in", "owner": "in"}
OWNER = {"counter": "out", "technician": "out", "owner": "in"}
# Only asked with POST, or only with GET.
NOT_THIS_WAY = dict.fromkeys(ROLES, "not this way")

# Name of the address → what GET and POST do for each role; a stranger is always sent to the login page, but
# from "login" and "logout". What an act lets through is decided by its own table below.
DECISIONS: dict[str, tuple[dict[str, str], dict[str, str]]] = {
    "today": (EVERYBODY, NOT_THIS_WAY),
    "search": (EVERYBODY, NOT_THIS_WAY),
    "shop": (OWNER, OWNER),
    "where-to-look": (EVERYBODY, NOT_THIS_WAY),
    "measuring-card": (EVERYBODY, NOT_THIS_WAY),
    "packs": (BENCH, NOT_THIS_WAY),
    "learnt": (BENCH, NOT_THIS_WAY),
    "learnt-change": (OWNER, OWNER),
    "own-fitments": (OWNER, NOT_THIS_WAY),
    "new-list": (NOT_THIS_WAY, OWNER),
    "list": (BENCH, NOT_THIS_WAY),
    "list-choices": (NOT_THIS_WAY, OWNER),
    "list-run": (NOT_THIS_WAY, OWNER),
    "list-progress": (BENCH, NOT_THIS_WAY),
    "list-cancel": (NOT_THIS_WAY, OWNER),
    "list-change": (NOT_THIS_WAY, OWNER),
    "new-job": (EVERYBODY, EVERYBODY),
    "new-draft": (NOT_THIS_WAY, EVERYBODY),
    "job": (EVERYBODY, NOT_THIS_WAY),
    "job-log": (EVERYBODY, NOT_THIS_WAY),
    "study-number": (EVERYBODY, EVERYBODY),
    "read-photo": (EVERYBODY, EVERYBODY),
    # Leads on to the list of kept pictures; a seal opens by POST alone.
    "kept-picture": (EVERYBODY, BENCH),
    # Leads on to the Blade leg; the seal opens by POST alone.
    "bitting": (EVERYBODY, BENCH),
    "study-readings": (NOT_THIS_WAY, BENCH),
    # A plain visit shows counts; the seal opens by POST alone.
    "ladder": (BENCH, BENCH),
    # A plain visit shows the choice; the seal opens by POST alone.
    "cutting": (BENCH, BENCH),
    "cutting-file": (NOT_THIS_WAY, BENCH),
    "cutter-looked-at": (NOT_THIS_WAY, BENCH),
    "code-tables": (BENCH, BENCH),
    "code-table-drop": (NOT_THIS_WAY, BENCH),
    # Leads on to the Blade leg; what was read opens by POST alone.
    "blade-picture": (EVERYBODY, BENCH),
    "blade-reading": (BENCH, BENCH),
    # Leads on to the Blade leg; the target opens by POST alone.
    "inspection": (EVERYBODY, BENCH),
    "runner": (EVERYBODY, BENCH),
    "runner-data": (EVERYBODY, NOT_THIS_WAY),
    "runner-events": (NOT_THIS_WAY, BENCH),
    # Nothing of the run stands in these two.
    "runner-shell": (EVERYBODY, NOT_THIS_WAY),
    "runner-worker": (EVERYBODY, NOT_THIS_WAY),
    "rehearsals": (BENCH, BENCH),
    # Somebody else's rehearsal is not there for a technician (rehearsals/test_pages.py): 404, not 403.
    "rehearsal": (BENCH, BENCH),
    "rehearsal-deed": (NOT_THIS_WAY, BENCH),
    "rehearsal-again": (NOT_THIS_WAY, BENCH),
    "run-sheets": (BENCH, NOT_THIS_WAY),
    "run-sheet": (BENCH, NOT_THIS_WAY),
    "new-run-sheet": (NOT_THIS_WAY, BENCH),
    "import-run-sheet": (NOT_THIS_WAY, BENCH),
    "run-sheet-approval": (NOT_THIS_WAY, OWNER),
    "run-sheet-difference": (BENCH, NOT_THIS_WAY),
    "run-sheet-edit": (BENCH, BENCH),
    "run-sheet-file": (BENCH, NOT_THIS_WAY),
    "run-sheet-runs": (BENCH, BENCH),
    "adapter-supply": (BENCH, NOT_THIS_WAY),
    "adapter-number": (BENCH, BENCH),
    "adapter-take": (NOT_THIS_WAY, BENCH),
    "handover-sheet": (EVERYBODY, NOT_THIS_WAY),
    "own-password": (EVERYBODY, EVERYBODY),
    "people": (OWNER, OWNER),
    "person": (OWNER, OWNER),
    # Whoever may not is not told how it would be done.
    "person-access": ({**OWNER, "owner": "not this way"}, OWNER),
    "person-password": ({**OWNER, "owner": "not this way"}, OWNER),
    "login": (EVERYBODY, EVERYBODY),
    "logout": (NOT_THIS_WAY, EVERYBODY),
    "act": (EVERYBODY, EVERYBODY),
    "draft": (NOT_THIS_WAY, EVERYBODY),
}
# Every act on a job: who may do it.
ACTS = {
    "change-request": EVERYBODY,
    "record-authority": EVERYBODY,
    "withdraw": EVERYBODY,
    "record-vehicle": EVERYBODY,
    "observe": EVERYBODY,
    "question-sent": EVERYBODY,
    "strike-observation": EVERYBODY,
    "choose-article": EVERYBODY,
    "refuse-article": BENCH,
    "offer": EVERYBODY,
    "accept": EVERYBODY,
    "enter-bitting": BENCH,
    "enter-readings": BENCH,
    "measure-again": BENCH,
    "swap-edges": BENCH,
    "take-reading": BENCH,
    "drop-reading": BENCH,
    "plan-ladder": BENCH,
    "begin-ladder": BENCH,
    "ladder-rung": BENCH,
    "ladder-turned": BENCH,
    "drop-ladder": BENCH,
    "record-cut": BENCH,
    "record-inspection": BENCH,
    "record-number": BENCH,
    "accept-number": OWNER,
    "record-supply": BENCH,
    "begin-pairing": BENCH,
    "pairing-event": BENCH,
    "pair-otherwise": BENCH,
    "answer-test": BENCH,
    "sign": EVERYBODY,
}
OPEN_TO_STRANGERS = {"login", "logout"}
ENTRIES = {"give_up": "yes", "sure": "yes", "kind": "abandoned"}


def list_names(resolver: URLResolver) -> Iterator[str]:
    for pattern in resolver.url_patterns:
        if isinstance(pattern, URLResolver):
            yield from list_names(pattern)
        else:
            assert isinstance(pattern, URLPattern)
            assert pattern.name, f"{pattern.pattern} has no name to decide about"
            yield pattern.name


def find_address(name: str, number: int, word: str = "offer") -> str:
    arguments: dict[str, list[object]] = {
        "act": [number, word],
        "where-to-look": ["start"],
        "measuring-card": ["a4"],
        "draft": [number, word],
        "learnt-change": ["take-back"],
        "person": ["corin"],
        "person-access": ["corin"],
        "person-password": ["corin"],
    }
    of_a_list = ("list", "list-choices", "list-run", "list-progress", "list-cancel")
    arguments |= {name: [number] for name in of_a_list} | {"list-change": [number, "undo"]}
    arguments |= {name: ["marsh-turn-pair"] for name in DECISIONS if name.startswith("run-sheet-")}
    arguments |= {"run-sheet": ["marsh-turn-pair"]}
    of_a_job = {"job", "job-log", "study-number", "bitting", "study-readings", "runner", "handover-sheet"}
    of_a_job |= {"runner-data", "runner-events", "runner-shell", "runner-worker"}
    of_a_job |= {"read-photo", "kept-picture", "blade-picture", "blade-reading", "ladder"}
    of_a_job |= {"adapter-supply", "adapter-number", "adapter-take"}
    of_a_job |= {"cutting", "cutting-file", "cutter-looked-at", "inspection"}
    of_a_job |= {"rehearsal", "rehearsal-deed", "rehearsal-again"}
    return reverse(name, args=arguments.get(name, [number] if name in of_a_job else []))


def judge(answer: Any) -> str:
    if answer.status_code == 405:
        return "not this way"
    sent_away = answer.status_code == 302 and answer["Location"].startswith(reverse("login"))
    return "out" if answer.status_code == 403 or sent_away else "in"


def test_every_address_and_every_act_has_a_decision() -> None:
    names = list(list_names(get_resolver()))
    assert sorted(names) == sorted(DECISIONS)
    assert set(ACTS) == set(actions.ACTS)


@pytest.mark.parametrize("name", DECISIONS)
@pytest.mark.parametrize("role", ROLES)
def test_a_role_gets_where_it_may_and_no_further(
    role: str, name: str, cast: Cast, log_in: LogIn, desk: Desk
) -> None:
    number = carry_to_run(desk) if name == "runner" else carry_to_blade(desk)
    address = find_address(name, number)
    get, post = DECISIONS[name]
    assert judge(log_in(getattr(cast, role)).get(address)) == get[role]
    client = log_in(getattr(cast, role))
    event = make_event(find_run(desk, number)) if name == "runner" else {}
    answer = client.post(address, {**ENTRIES, **event})
    if name != "logout":
        assert judge(answer) == post[role]


@pytest.mark.parametrize("name", DECISIONS)
def test_a_stranger_gets_to_the_login_page_and_changes_nothing(name: str, log_in: LogIn, desk: Desk) -> None:
    User.objects.create_user("corin", role="owner")
    address = find_address(name, carry_to_blade(desk))
    before, people = LogRecord.objects.count(), list(User.objects.values())
    for method in ("get", "head", "post", "put", "patch", "delete", "options"):
        answer = getattr(log_in(None), method)(address)
        if name not in OPEN_TO_STRANGERS:
            assert answer["Location"].startswith(reverse("login")), method
    assert LogRecord.objects.count() == before
    assert list(User.objects.values()) == people


@pytest.mark.parametrize("name", ACTS)
@pytest.mark.parametrize("role", ROLES)
def test_an_act_is_done_by_those_whose_role_carries_it(
    role: str, name: str, cast: Cast, log_in: LogIn, desk: Desk
) -> None:
    number = carry_to_blade(desk)
    before = desk.store.load(number)
    # As filled in as it takes to get past the checks of the fields alone.
    typed = {"bitting": BITTING, "cutter": "wheel-90", "eyes": "yes", "guard": "yes", "result": "fits"}
    typed |= {"number": "1M8GDM9AXKP042788", "volts": "12.6"}
    typed |= {"because": "x", "event_id": "1", "step": "x", "visit": "1", "kind": "done", "test": "x"}
    answer = log_in(getattr(cast, role)).post(find_address("act", number, name), typed)
    if ACTS[name][role] == "out":
        # Whatever else is wrong with the entry: nothing of it comes on record.
        assert answer.status_code in (403, 422)
        assert desk.store.load(number) == before
    else:
        assert answer.status_code != 403


@pytest.mark.parametrize("name", [name for name, (_, post) in DECISIONS.items() if post["owner"] == "in"])
def test_every_form_needs_the_token(name: str, cast: Cast, desk: Desk) -> None:
    client = Client(enforce_csrf_checks=True)
    client.force_login(cast.owner)
    answer = client.post(find_address(name, carry_to_blade(desk)), ENTRIES)
    assert answer.status_code == 403
    # Nor does one from another site with the cookie's token, when the browser says where it comes from.
    client.get(reverse("today"))
    token = client.cookies["bittern-csrf"].value
    answer = client.post(
        find_address(name, carry_to_blade(desk)),
        {**ENTRIES, "csrfmiddlewaretoken": token},
        headers={"Origin": "https://elsewhere.example"},
    )
    assert answer.status_code == 403
