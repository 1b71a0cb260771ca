"""A supplier's list from its file to the pack in use and back."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client

from bittern.bench.desk import load_pack_in_use
from bittern.bench.packs import runs, store
from bittern.bench.packs.models import ACTIVE, DRAFT, FAILED, RUNNING, ListPart, SuppliersList
from bittern.formats.packs import write_pack
from tests.architecture.places import ROOT
from tests.bench.pages.journey import read_words
from tests.conftest import Cast

LogIn = Callable[[Any], Client]
LISTS = ROOT / "tests" / "files" / "lists"
MOORLAND = (LISTS / "moorland.csv").read_bytes()
pytestmark = [pytest.mark.store, pytest.mark.django_db, pytest.mark.usefixtures("at_once")]


def send(client: Client, content: bytes = MOORLAND, name: str = "moorland.csv") -> Any:
    return client.post("/packs/lists/", {"file": SimpleUploadedFile(name, content)}, follow=True)


def find_fields(answer: Any, **changes: str) -> dict[str, str]:
    """Return what the page's form would send."""
    fields = {
        name: str(value) for name, value in answer.context["initial"]["list-choices"].items() if value != ""
    }
    fields |= changes
    return {name: value for name, value in fields.items() if value != ""}


def bring_in(client: Client, content: bytes = MOORLAND, **changes: str) -> SuppliersList:
    """Upload, check and import a list."""
    page = send(client, content)
    row = SuppliersList.objects.latest("pk")
    client.post(f"/packs/lists/{row.pk}/run/", {**find_fields(page, **changes), "what": "check"})
    client.post(f"/packs/lists/{row.pk}/run/", {"what": "import"})
    row.refresh_from_db()
    assert row.state == ACTIVE, row.run_problem
    return row


def export(folder: Path) -> dict[str, bytes]:
    """Return the files of the pack in use."""
    write_pack(load_pack_in_use(), folder)
    return {path.relative_to(folder).as_posix(): path.read_bytes() for path in folder.rglob("*.*")}


def test_a_list_is_shown_before_it_counts(cast: Cast, log_in: LogIn) -> None:
    before = load_pack_in_use()
    page = send(log_in(cast.owner))
    words = read_words(page)
    for wanted in ("Klappschlüssel 3T", "lock|unlock|boot", "433920000", "2014-2018", "12.50", "Fault."):
        assert wanted in words, wanted
    assert load_pack_in_use() == before


def test_checked_imported_undone_and_laid_on_again(cast: Cast, log_in: LogIn, tmp_path: Path) -> None:
    client = log_in(cast.owner)
    before = export(tmp_path / "before")
    page = send(client)
    row = SuppliersList.objects.get()
    answer = client.post(f"/packs/lists/{row.pk}/run/", {**find_fields(page), "what": "check"}, follow=True)
    words = read_words(answer)
    assert "2 faults" in words
    assert "Row 6, column FCC ID : found 'K0Z-11'" in words
    assert "Row 7, column Baujahr" in words
    assert export(tmp_path / "checked") == before
    client.post(f"/packs/lists/{row.pk}/run/", {"what": "import"})
    pack = load_pack_in_use()
    assert {"ML-00123", "ML-00124"} <= set(pack.articles)
    assert "ML-00125" not in pack.articles
    imported = export(tmp_path / "imported")
    client.post(f"/packs/lists/{row.pk}/undo/")
    assert export(tmp_path / "undone") == before
    client.post(f"/packs/lists/{row.pk}/redo/")
    assert export(tmp_path / "redone") == imported


def test_undone_after_later_imports_only_its_own_goes(cast: Cast, log_in: LogIn, tmp_path: Path) -> None:
    client = log_in(cast.owner)
    other = b"article,title,make,model,years,start\nZZ-1,Key,Moorhen,Plover,2011-2013,turn\n"
    later = bring_in(client, other)
    alone = export(tmp_path / "alone")
    client.post(f"/packs/lists/{later.pk}/undo/")
    first = bring_in(client)
    client.post(f"/packs/lists/{later.pk}/redo/")
    assert {"ML-00123", "ZZ-1"} <= set(load_pack_in_use().articles)
    client.post(f"/packs/lists/{first.pk}/undo/")
    assert export(tmp_path / "again") == alone


def test_the_same_list_again_changes_nothing(cast: Cast, log_in: LogIn, tmp_path: Path) -> None:
    client = log_in(cast.owner)
    bring_in(client)
    before = export(tmp_path / "once")
    bring_in(client, rule="take")
    assert export(tmp_path / "twice") == before


def test_a_column_can_be_given_another_meaning_and_a_wrong_form_keeps_what_was_typed(
    cast: Cast, log_in: LogIn
) -> None:
    client = log_in(cast.owner)
    page = send(client)
    address = f"/packs/lists/{SuppliersList.objects.get().pk}/choices/"
    answer = client.post(address, find_fields(page, **{"field-8": "price"}), follow=True)
    assert answer.context["initial"]["list-choices"]["field-8"] == "price"
    twice = client.post(address, find_fields(page, **{"field-1": "article"}), follow=True)
    assert "Article number a second time" in read_words(twice)
    wrong = client.post(address, find_fields(page, header="two", supplier="Moorland"))
    assert wrong.status_code == 422
    text = wrong.content.decode()
    assert 'value="two"' in text
    assert 'value="Moorland"' in text


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"", "Found no file"),
        (b"\x00\x01\x02", "control character"),
        (b"PK\x03\x04nonsense", "a damaged file"),
        (b"%PDF-1.7", "a PDF document"),
        (b'a,b\n"c,d\n', "near line"),
    ],
)
def test_a_file_that_is_no_list_gets_one_sentence(
    content: bytes, words: str, cast: Cast, log_in: LogIn
) -> None:
    answer = send(log_in(cast.owner), content)
    assert answer.status_code == 422
    assert words in read_words(answer)
    assert not SuppliersList.objects.exists()


def test_a_file_beyond_the_limit_is_refused(
    cast: Cast, log_in: LogIn, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("bittern.bench.packs.receiving.WEB_LIMIT_BYTES", 100)
    answer = send(log_in(cast.owner))
    assert answer.status_code == 422
    assert "expected at most that" in read_words(answer)


def test_a_technician_looks_and_changes_nothing(cast: Cast, log_in: LogIn) -> None:
    row = bring_in(log_in(cast.owner))
    client = log_in(cast.technician)
    assert client.get(f"/packs/lists/{row.pk}/").status_code == 200
    for address in ("undo/", "run/", "choices/", "cancel/"):
        assert client.post(f"/packs/lists/{row.pk}/{address}").status_code == 403
    assert client.post("/packs/lists/", {"file": SimpleUploadedFile("a.csv", MOORLAND)}).status_code == 403
    assert SuppliersList.objects.count() == 1
    assert log_in(cast.counter).get(f"/packs/lists/{row.pk}/").status_code == 403


def test_nothing_comes_in_without_the_token(cast: Cast) -> None:
    client = Client(enforce_csrf_checks=True)
    client.force_login(cast.owner)
    answer = client.post("/packs/lists/", {"file": SimpleUploadedFile("a.csv", MOORLAND)})
    assert answer.status_code == 403
    assert not SuppliersList.objects.exists()


def test_an_import_killed_before_its_last_write_leaves_nothing(
    cast: Cast, log_in: LogIn, monkeypatch: pytest.MonkeyPatch
) -> None:
    client = log_in(cast.owner)
    send(client)
    row, before = SuppliersList.objects.get(), load_pack_in_use()
    mark = start_run(row)
    monkeypatch.setattr(store, "_keep_pieces", stop)
    with pytest.raises(MemoryError):
        runs.run(row.pk, mark)
    row.refresh_from_db()
    assert (row.state, row.run_state) == (DRAFT, FAILED)
    assert load_pack_in_use() is before
    assert not ListPart.objects.filter(role="layer").exists()
    assert ListPart.objects.filter(role="file").exists(), "the file is there to try again"


def test_a_cancelled_import_writes_nothing(cast: Cast, log_in: LogIn) -> None:
    client = log_in(cast.owner)
    send(client)
    row, before = SuppliersList.objects.get(), load_pack_in_use()
    mark = start_run(row)
    client.post(f"/packs/lists/{row.pk}/cancel/")
    runs.run(row.pk, mark)
    row.refresh_from_db()
    assert row.state == DRAFT
    assert load_pack_in_use() is before


def test_a_run_ends_at_its_next_step_once_it_is_cancelled(
    cast: Cast, log_in: LogIn, monkeypatch: pytest.MonkeyPatch
) -> None:
    send(log_in(cast.owner))
    row = SuppliersList.objects.get()
    step = runs._make_step(row.pk, start_run(row))
    monkeypatch.setattr(runs, "BEAT_S", 0)
    step("reading the cells")
    row.refresh_from_db()
    assert row.run_word == "reading the cells"
    runs.cancel(row)
    with pytest.raises(runs.CancelledError):
        step("comparing the articles")


def test_a_run_whose_process_died_is_swept(cast: Cast, log_in: LogIn) -> None:
    client = log_in(cast.owner)
    send(client)
    row = SuppliersList.objects.get()
    start_run(row)
    assert "Cancel" in read_words(client.get(f"/packs/lists/{row.pk}/"))
    SuppliersList.objects.update(beat_at=row.uploaded_at - store.STILL)
    assert "stopped while it worked" in read_words(client.get(f"/packs/lists/{row.pk}/"))


def start_run(row: SuppliersList) -> str:
    """Put the list under way without doing the work."""
    from django.utils import timezone

    SuppliersList.objects.filter(pk=row.pk).update(
        run_kind="import", run_state=RUNNING, run_mark="m", run_person="odile", beat_at=timezone.now()
    )
    return "m"


def stop(*args: object, **kwargs: object) -> None:
    raise MemoryError
