"""Login: who gets in, who is locked out, and what the browser is told to keep to itself."""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta
from http.cookies import Morsel
from typing import Any

import pytest
from axes.models import AccessAttempt
from django.db.models import F
from django.http import HttpResponse
from django.test import Client
from django.urls import URLPattern, URLResolver, get_resolver, reverse

from bittern.bench.people.models import User
from tests.conftest import Cast

pytestmark = pytest.mark.django_db

PASSWORD = "a long brass word"


@pytest.fixture
def user(db: None) -> User:
    return User.objects.create_user("tamsin", name="Tamsin Reedmace", role="technician", password=PASSWORD)


def try_login(login: str, password: str, client: Client | None = None) -> Any:
    return (client or Client()).post(reverse("login"), {"username": login, "password": password})


def test_passwords_are_kept_as_argon2(user: User) -> None:
    assert user.password.startswith("argon2$argon2id$")
    assert PASSWORD not in user.password


@pytest.mark.parametrize("login", ["tamsin", "Tamsin", " TAMSIN "])
def test_the_right_password_lets_in_however_the_name_is_typed(user: User, login: str) -> None:
    client = Client()
    assert try_login(login, PASSWORD, client).status_code == 302
    assert client.session["_auth_user_id"] == str(user.pk)


def test_wrong_password_unknown_name_and_ended_access_look_the_same(user: User) -> None:
    User.objects.create_user("gone", password=PASSWORD)
    User.objects.filter(login="gone").update(is_active=False)
    pages = [try_login("tamsin", "wrong"), try_login("nobody", PASSWORD), try_login("gone", PASSWORD)]
    assert [page.status_code for page in pages] == [200, 200, 200]
    errors = [list(page.context["form"].non_field_errors()) for page in pages]
    assert errors[0] == errors[1] == errors[2] != []
    # The name is kept for the next attempt, the password is not.
    for page, login in zip(pages, ("tamsin", "nobody", "gone"), strict=True):
        text = page.content.decode()
        assert errors[0][0] in text
        assert f'value="{login}"' in text
        assert PASSWORD not in text


@pytest.mark.store
def test_five_wrong_passwords_lock_the_name_and_a_quarter_of_an_hour_opens_it(user: User) -> None:
    User.objects.create_user("corin", password=PASSWORD)
    spellings = ["tamsin", "TAMSIN", " tamsin", "Tamsin", "tamsin"]
    answers = [try_login(login, f"wrong {i}").status_code for i, login in enumerate(spellings)]
    assert answers == [200, 200, 200, 200, 429]
    locked = try_login("tamsin", PASSWORD)
    assert locked.status_code == 429
    assert "15 minutes" in locked.content.decode()
    # From another address and browser just the same; another name is not touched.
    other = Client(REMOTE_ADDR="192.0.2.7", HTTP_USER_AGENT="another")
    assert try_login("tamsin", PASSWORD, other).status_code == 429
    assert try_login("corin", PASSWORD).status_code == 302
    AccessAttempt.objects.update(attempt_time=F("attempt_time") - timedelta(minutes=14))
    assert try_login("tamsin", PASSWORD).status_code == 429
    AccessAttempt.objects.update(attempt_time=F("attempt_time") - timedelta(minutes=2))
    assert try_login("tamsin", PASSWORD).status_code == 302


def test_a_right_password_in_time_forgets_the_wrong_ones(user: User) -> None:
    for _ in range(2):
        for i in range(4):
            assert try_login("tamsin", f"wrong {i}").status_code == 200
        assert try_login("tamsin", PASSWORD).status_code == 302


def test_no_password_is_kept_of_a_failed_attempt(user: User) -> None:
    try_login("tamsin", "a-slip-of-the-finger")
    stored = str(list(AccessAttempt.objects.values()))
    assert "tamsin" in stored
    assert "slip" not in stored


@pytest.mark.store
@pytest.mark.parametrize("login", ["x" * 5000, "a\x00b", "", "\U0001f511" * 200])
def test_a_strange_login_name_is_refused_in_peace(user: User, login: str) -> None:
    assert try_login(login, "wrong").status_code == 200


def test_a_form_without_the_token_is_refused(cast: Cast) -> None:
    client = Client(enforce_csrf_checks=True)
    assert try_login("tamsin", PASSWORD, client).status_code == 403
    client.force_login(cast.owner)
    assert client.post(reverse("people"), {"login": "new"}).status_code == 403
    token = (
        client.get(reverse("login"), follow=True).cookies.get("bittern-csrf")
        or client.cookies["bittern-csrf"]
    )
    sent = client.post(reverse("logout"), {"csrfmiddlewaretoken": token.value})
    assert sent.status_code == 302


def read_policy(response: HttpResponse) -> dict[str, list[str]]:
    parts = (part.split() for part in response["Content-Security-Policy"].split(";"))
    return {name: values for name, *values in parts}


def test_the_login_page_allows_nothing_but_what_comes_from_here() -> None:
    response = Client().get(reverse("login"))
    policy = read_policy(response)
    assert (
        policy["default-src"]
        == policy["frame-ancestors"]
        == policy["base-uri"]
        == policy["object-src"]
        == ["'none'"]
    )
    assert {value for values in policy.values() for value in values} == {"'self'", "'none'"}
    assert {"script-src", "style-src", "img-src", "form-action", "connect-src"} <= set(policy)
    assert response["X-Content-Type-Options"] == "nosniff"
    assert response["Referrer-Policy"] == "same-origin"
    assert response["X-Frame-Options"] == "DENY"
    assert "camera=()" in response["Permissions-Policy"]
    # Not a feature that browsers know: Chromium would warn of it on every page.
    assert "bluetooth" not in response["Permissions-Policy"]
    assert "no-store" in response["Cache-Control"]


def test_every_answer_carries_the_policy(log_in: Callable[[Any], Client], cast: Cast) -> None:
    answers = [
        Client().get("/"),
        Client().get("/nowhere/"),
        log_in(cast.owner).get("/nowhere/"),
        log_in(cast.counter).get(reverse("people")),
        log_in(cast.owner).get(reverse("people")),
    ]
    assert [answer.status_code for answer in answers] == [302, 404, 404, 403, 200]
    for answer in answers:
        assert read_policy(answer)["default-src"] == ["'none'"]


def test_cookies_are_kept_from_scripts_and_other_sites(user: User) -> None:
    client = Client()
    client.get(reverse("login"))
    try_login("tamsin", PASSWORD, client)
    cookies: dict[str, Morsel[str]] = dict(client.cookies)
    assert set(cookies) == {"bittern-session", "bittern-csrf"}
    assert all(cookie["httponly"] for cookie in cookies.values())
    assert {name: cookie["samesite"] for name, cookie in cookies.items()} == {
        "bittern-session": "Lax",
        "bittern-csrf": "Strict",
    }
    assert cookies["bittern-session"]["max-age"] == 12 * 3600


def test_a_login_sends_nobody_to_another_site(user: User) -> None:
    address = reverse("login") + "?next=https://elsewhere.example/"
    answer = Client().post(
        address, {"username": "tamsin", "password": PASSWORD, "next": "https://elsewhere.example/"}
    )
    assert answer["Location"] == "/"


def list_addresses(resolver: URLResolver | None = None, start: str = "/") -> list[str]:
    """Return an address for every pattern there is."""
    found: list[str] = []
    for pattern in (resolver or get_resolver()).url_patterns:
        here = start + str(pattern.pattern)
        if isinstance(pattern, URLResolver):
            found += list_addresses(pattern, here)
        elif isinstance(pattern, URLPattern):
            words = [
                word.split("<")[0] + "1" + word.split(">")[1] if "<" in word else word
                for word in here.split("/")
            ]
            found.append("/".join(words))
    return found


def test_a_stranger_is_sent_to_the_login_page_from_everywhere() -> None:
    addresses = list_addresses()
    assert {"/", "/people/", "/people/1/", "/jobs/1/"} <= set(addresses)
    open_to_all = {reverse("login")}
    for address in addresses:
        if address in open_to_all:
            continue
        for answer in (Client().get(address), Client().post(address)):
            logged_out = address == reverse("logout")
            assert answer.status_code == (302 if not logged_out else answer.status_code), address
            if not logged_out:
                assert answer["Location"].startswith(reverse("login")), address


def test_a_fragment_asked_for_after_the_login_ended_takes_the_page_to_the_login() -> None:
    answer = Client().get("/people/", headers={"HX-Request": "true"})
    assert answer.status_code == 401
    assert answer["HX-Redirect"] == reverse("login")
    assert answer.content == b""
