"""A sealed value opens where it was put, whole, with the shop's key, and nowhere else."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime

import pytest

from bittern.bench.jobs import drafts, sealing
from bittern.bench.jobs.models import Draft, Job, Sealed
from bittern.bench.jobs.sealing import Box, close_box, open_box
from bittern.bench.jobs.store import DjangoStore
from bittern.work.errors import SealBrokenError
from bittern.work.facts import Request

AT = datetime(2031, 3, 3, 9, 0, tzinfo=UTC)
SECRET = "2 1 3 4 2 2 1 3"
PLACE = ("job", 7, "bitting")


def test_a_box_opens_at_its_place_and_never_looks_the_same_twice() -> None:
    first, second = (close_box(SECRET.encode(), *PLACE) for _ in range(2))
    assert open_box(first, *PLACE) == open_box(second, *PLACE) == SECRET.encode()
    assert first.nonce != second.nonce
    assert first.ciphertext != second.ciphertext


@pytest.mark.parametrize(
    "place", [("job", 8, "bitting"), ("job", 7, "code"), ("draft", 7, "bitting"), ("job", "7", "bitting")]
)
def test_a_box_does_not_open_at_another_place(place: tuple[str | int, ...]) -> None:
    with pytest.raises(SealBrokenError):
        open_box(close_box(SECRET.encode(), *PLACE), *place)


def test_a_box_with_any_byte_changed_does_not_open() -> None:
    box = close_box(SECRET.encode(), *PLACE)
    for at in range(len(box.ciphertext)):
        broken = bytearray(box.ciphertext)
        broken[at] ^= 1
        with pytest.raises(SealBrokenError):
            open_box(Box(box.nonce, bytes(broken)), *PLACE)
    for at in range(len(box.nonce)):
        broken = bytearray(box.nonce)
        broken[at] ^= 1
        with pytest.raises(SealBrokenError):
            open_box(Box(bytes(broken), box.ciphertext), *PLACE)


@pytest.mark.parametrize(
    "shorten",
    [lambda b: Box(b"", b.ciphertext), lambda b: Box(b.nonce, b""), lambda b: Box(b.nonce, b.ciphertext[:9])],
)
def test_a_box_that_lost_a_part_does_not_open(shorten: Callable[[Box], Box]) -> None:
    with pytest.raises(SealBrokenError):
        open_box(shorten(close_box(SECRET.encode(), *PLACE)), *PLACE)


def test_a_box_does_not_open_with_another_key(monkeypatch: pytest.MonkeyPatch) -> None:
    box = close_box(SECRET.encode(), *PLACE)
    monkeypatch.setattr(sealing.keys, "get_key", lambda name: b"another key of thirty-two bytes!")
    with pytest.raises(SealBrokenError) as caught:
        open_box(box, *PLACE)
    assert SECRET not in str(caught.value)


@pytest.fixture
def two_jobs(db: None) -> DjangoStore:
    store = DjangoStore()
    for _ in range(2):
        with store.transaction():
            store.new_job(Request(want="spare", customer="Ansel Quaking"), "tamsin", AT)
    return store


@pytest.mark.store
def test_a_new_value_takes_the_place_of_the_old(two_jobs: DjangoStore) -> None:
    assert two_jobs.unseal(1, "bitting") is None
    with two_jobs.transaction():
        for secret in ("1 1", SECRET, ""):
            two_jobs.seal(1, "bitting", secret)
            assert two_jobs.unseal(1, "bitting") == secret
    assert Sealed.objects.count() == 1
    assert two_jobs.unseal(2, "bitting") is None


@pytest.mark.store
def test_a_value_that_was_destroyed_is_gone_from_its_job_alone(two_jobs: DjangoStore) -> None:
    with two_jobs.transaction():
        for number in (1, 2):
            two_jobs.seal(number, "reading", SECRET)
        assert two_jobs.drop_seal(1, "reading")
        assert not two_jobs.drop_seal(1, "reading")
    assert two_jobs.unseal(1, "reading") is None
    assert two_jobs.unseal(2, "reading") == SECRET


@pytest.mark.store
def test_a_row_moved_to_another_job_does_not_open(two_jobs: DjangoStore) -> None:
    with two_jobs.transaction():
        two_jobs.seal(1, "bitting", SECRET)
    Sealed.objects.update(job_id=2)
    with pytest.raises(SealBrokenError):
        two_jobs.unseal(2, "bitting")


@pytest.mark.store
def test_a_draft_is_kept_for_its_person_job_and_form_and_is_not_readable(two_jobs: DjangoStore) -> None:
    for number in (None, 1, 2):
        for login in ("tamsin", "corin"):
            drafts.keep_draft(number, "form", login, {"old": "value"}, AT)
            drafts.keep_draft(
                number, "form", login, {"bitting": f"{login} {number}", "ticks": ["a", "b"]}, AT
            )
    drafts.keep_draft(1, "other", "tamsin", {}, AT)
    assert Draft.objects.count() == 7
    assert drafts.find_drafts(1, "tamsin") == {
        "form": {"bitting": "tamsin 1", "ticks": ["a", "b"]},
        "other": {},
    }
    assert drafts.find_drafts(None, "corin") == {"form": {"bitting": "corin None", "ticks": ["a", "b"]}}
    assert all(b"tamsin" not in bytes(draft.ciphertext) for draft in Draft.objects.all())
    drafts.drop_draft(1, "form", "tamsin")
    drafts.drop_draft(None, "form", "tamsin")
    assert list(drafts.find_drafts(1, "tamsin")) == ["other"]
    assert drafts.find_drafts(None, "tamsin") == {}
    assert list(drafts.find_drafts(1, "corin")) == ["form"]


@pytest.mark.store
def test_a_draft_of_somebody_else_put_under_ones_own_name_does_not_open(two_jobs: DjangoStore) -> None:
    drafts.keep_draft(1, "enter-bitting", "tamsin", {"bitting": SECRET}, AT)
    Draft.objects.update(person="corin")
    with pytest.raises(SealBrokenError):
        drafts.find_drafts(1, "corin")
    assert Job.objects.count() == 2
