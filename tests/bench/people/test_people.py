"""The owner's page of people: adding, roles, passwords, ending access; there is always an owner left."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from bittern.bench.errors import PersonError
from bittern.bench.people import roster
from bittern.bench.people.models import User, as_person
from bittern.work.people import Person
from tests.conftest import Cast

pytestmark = pytest.mark.django_db

LogIn = Callable[[Any], Client]
PASSWORD = "windy sedge and reed"
NEW = {
    "login": "Merle",
    "name": "Merle Quaking",
    "role": "technician",
    "password1": PASSWORD,
    "password2": PASSWORD,
}


def test_an_account_becomes_a_person_of_the_use_cases(cast: Cast) -> None:
    assert as_person(cast.technician) == Person("tamsin", "Tamsin Reedmace", "technician")


def test_nobody_is_no_person() -> None:
    from django.contrib.auth.models import AnonymousUser

    with pytest.raises(TypeError):
        as_person(AnonymousUser())


@pytest.mark.parametrize("role", ["technician", "colleague", "counter"])
def test_only_owners_see_and_change_people(cast: Cast, log_in: LogIn, role: str) -> None:
    client = log_in(getattr(cast, role))
    for name, arguments in (
        ("people", []),
        ("person", ["odile"]),
        ("person-access", ["odile"]),
        ("person-password", ["odile"]),
    ):
        address = reverse(name, args=arguments)
        assert client.post(address, NEW).status_code == 403
        assert client.get(address).status_code == 403
    assert User.objects.count() == 4
    assert User.objects.get(login="odile").is_active


def test_the_owner_adds_somebody_who_can_then_log_in(cast: Cast, log_in: LogIn) -> None:
    client = log_in(cast.owner)
    assert client.post(reverse("people"), NEW).status_code == 302
    page = client.get(reverse("people")).content.decode()
    assert "Merle Quaking" in page
    assert Client().login(request=_request(), username="merle", password=PASSWORD)


@pytest.mark.parametrize(
    ("field", "value"),
    [
        ("login", "Tamsin"), ("login", "with space"), ("login", "x" * 41), ("login", "1st"), ("login", ""),
        ("login", "ünder"), ("role", "captain"), ("name", ""), ("password1", "short"),
        ("password2", "another one entirely"),
    ],
)  # fmt: skip
def test_a_wrong_field_is_named_and_nobody_is_added(
    cast: Cast, log_in: LogIn, field: str, value: str
) -> None:
    answer = log_in(cast.owner).post(reverse("people"), {**NEW, field: value})
    assert answer.status_code == 422
    wrong = set(answer.context["form"].errors)
    assert wrong <= {field, "password2"}
    assert wrong
    assert User.objects.count() == 4
    # What was typed stays, but for passwords.
    page = answer.content.decode()
    assert PASSWORD not in page
    if field != "name":
        assert "Merle Quaking" in page


@pytest.mark.parametrize("password", ["password12", "0123456789012", "merle quaking", "MerleQuaking1"])
def test_a_password_that_is_easily_guessed_is_refused(cast: Cast, log_in: LogIn, password: str) -> None:
    sent = {**NEW, "password1": password, "password2": password}
    assert log_in(cast.owner).post(reverse("people"), sent).status_code == 422
    assert User.objects.count() == 4


def test_the_owner_changes_a_role(cast: Cast, log_in: LogIn) -> None:
    client = log_in(cast.owner)
    assert client.post(reverse("person", args=["calla"]), {"role": "technician"}).status_code == 302
    assert User.objects.get(login="calla").role == "technician"
    assert client.post(reverse("person", args=["calla"]), {"role": "captain"}).status_code == 422
    assert User.objects.get(login="calla").role == "technician"


def test_ended_access_ends_open_logins_and_can_be_given_again(cast: Cast, log_in: LogIn) -> None:
    theirs, client = log_in(cast.technician), log_in(cast.owner)
    assert theirs.get(reverse("own-password")).status_code == 200
    address = reverse("person-access", args=["tamsin"])
    assert client.post(address, {"access": "closed", "sure": "yes"}).status_code == 302
    assert theirs.get(reverse("own-password")).status_code == 302
    assert client.post(address, {"access": "open"}).status_code == 302
    assert User.objects.get(login="tamsin").is_active


def test_the_only_owner_stays_owner_and_stays_in(cast: Cast, log_in: LogIn) -> None:
    client = log_in(cast.owner)
    for address, sent in (
        (reverse("person", args=["odile"]), {"role": "counter"}),
        (reverse("person-access", args=["odile"]), {"access": "closed", "sure": "yes"}),
    ):
        answer = client.post(address, sent)
        assert answer.status_code == 409
        assert "the only owner" in answer.content.decode()
    owner = User.objects.get(login="odile")
    assert (owner.role, owner.is_active) == ("owner", True)
    roster.change_role(cast.colleague, "owner")
    roster.deactivate(owner)
    with pytest.raises(PersonError):
        roster.change_role(User.objects.get(login="corin"), "counter")


def test_a_new_password_unlocks_the_name_and_ends_open_logins(cast: Cast, log_in: LogIn) -> None:
    theirs = log_in(cast.technician)
    for i in range(5):
        Client().post(reverse("login"), {"username": "tamsin", "password": f"wrong {i}"})
    sent = {"new_password1": PASSWORD, "new_password2": PASSWORD, "sure": "yes"}
    answer = log_in(cast.owner).post(reverse("person-password", args=["tamsin"]), sent)
    assert answer.status_code == 302
    assert theirs.get(reverse("own-password")).status_code == 302
    assert Client().post(reverse("login"), {"username": "tamsin", "password": PASSWORD}).status_code == 302


def test_a_new_password_typed_differently_changes_nothing(cast: Cast, log_in: LogIn) -> None:
    before = User.objects.get(login="tamsin").password
    sent = {"new_password1": PASSWORD, "new_password2": PASSWORD + "x", "sure": "yes"}
    answer = log_in(cast.owner).post(reverse("person-password", args=["tamsin"]), sent)
    assert answer.status_code == 422
    # The page shows the person on record, the mistake beside its field, and no password.
    page = answer.content.decode()
    assert 'id="f-set-password-new_password2-error"' in page
    assert PASSWORD not in page
    assert User.objects.get(login="tamsin").password == before


@pytest.mark.parametrize(
    ("name", "sent"),
    [
        ("person-access", {"access": "closed"}),
        ("person-password", {"new_password1": PASSWORD, "new_password2": PASSWORD}),
    ],
)
def test_access_and_password_change_only_with_a_second_deliberate_act(
    cast: Cast, log_in: LogIn, name: str, sent: dict[str, str]
) -> None:
    theirs, before = log_in(cast.technician), User.objects.get(login="tamsin")
    answer = log_in(cast.owner).post(reverse(name, args=["tamsin"]), sent)
    assert answer.status_code == 422
    assert "-sure-error" in answer.content.decode()
    after = User.objects.get(login="tamsin")
    assert (after.is_active, after.password) == (before.is_active, before.password)
    assert theirs.get(reverse("own-password")).status_code == 200


def test_a_mistake_stands_beside_its_field_and_what_was_typed_is_kept(cast: Cast, log_in: LogIn) -> None:
    sent = {**NEW, "login": "with space", "role": "counter"}
    page = log_in(cast.owner).post(reverse("people"), sent).content.decode()
    assert 'aria-describedby="f-add-person-login-help f-add-person-login-error" aria-invalid="true"' in page
    assert 'value="with space"' in page
    assert 'value="counter" checked' in page
    assert 'value="technician" checked' not in page


def test_an_empty_field_says_what_was_expected(cast: Cast, log_in: LogIn) -> None:
    page = log_in(cast.owner).post(reverse("people"), {}).content.decode()
    assert "Found nothing; expected a login name." in page
    assert "Found nothing; expected the name that stands on papers." in page
    assert "This field is required" not in page


def test_everybody_changes_their_own_password_with_the_old_one(db: None) -> None:
    User.objects.create_user("wren", role="counter", password=PASSWORD)
    client = Client()
    client.post(reverse("login"), {"username": "wren", "password": PASSWORD})
    new = "early plover at dawn"
    wrong = {"old_password": "guess", "new_password1": new, "new_password2": new}
    assert client.post(reverse("own-password"), wrong).status_code == 200
    assert client.post(reverse("own-password"), {**wrong, "old_password": PASSWORD}).status_code == 302
    assert User.objects.get(login="wren").check_password(new)
    assert client.get(reverse("own-password")).status_code == 200


@pytest.mark.parametrize("login", ["nobody", "x" * 500, "%00"])
def test_somebody_who_is_not_there_is_not_found(cast: Cast, log_in: LogIn, login: str) -> None:
    assert log_in(cast.owner).get(f"/people/{login}/").status_code == 404


def _request() -> Any:
    from django.http import HttpRequest

    request = HttpRequest()
    request.META = {"REMOTE_ADDR": "127.0.0.1", "SERVER_NAME": "testserver", "SERVER_PORT": "80"}
    return request
