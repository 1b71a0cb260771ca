"""The desk has the shop's terms and its pack, read again only when the pack's files have changed."""

from __future__ import annotations

import shutil
from datetime import UTC
from decimal import Decimal
from pathlib import Path

import pytest
from pytest_django import Settings

from bittern.bench.desk import load_pack, open_desk
from bittern.bench.jobs.clock import SystemClock
from bittern.bench.jobs.models import ShopRecord
from bittern.bench.jobs.shop import load_terms, save_terms
from bittern.core.errors import FaultsError, InputError
from bittern.demo import PACK_DIR
from bittern.work.ports import ShopTerms


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return Path(shutil.copytree(PACK_DIR, tmp_path / "pack"))


def test_a_pack_is_read_once_until_a_file_changes(folder: Path) -> None:
    first = load_pack(folder)
    assert load_pack(folder) is first
    text = (folder / "pack.toml").read_text()
    (folder / "pack.toml").write_text(text.replace(f'title = "{first.title}"', 'title = "Another"'))
    second = load_pack(folder)
    assert (second.title, second.articles) == ("Another", first.articles)
    assert load_pack(folder) is second


def test_a_pack_that_breaks_is_refused_until_it_is_mended(folder: Path) -> None:
    kept = (folder / "articles.csv").read_text()
    load_pack(folder)
    (folder / "articles.csv").write_text(kept + "half a row\n")
    with pytest.raises(FaultsError):
        load_pack(folder)
    (folder / "articles.csv").write_text(kept)
    assert load_pack(folder).articles


def test_a_folder_that_is_not_there_is_refused(tmp_path: Path) -> None:
    with pytest.raises(InputError):
        load_pack(tmp_path / "nowhere")


@pytest.mark.django_db
def test_the_desk_works_with_the_shops_pack_and_terms(folder: Path, settings: Settings) -> None:
    settings.BITTERN_PACK = folder
    save_terms(ShopTerms(name="Kestrel Keys", bar=0.85))
    desk = open_desk()
    assert desk.pack is load_pack(folder)
    assert desk.terms == ShopTerms(name="Kestrel Keys", bar=0.85)
    assert desk.clock.now().tzinfo is UTC


@pytest.mark.store
@pytest.mark.django_db
def test_terms_stand_in_a_single_row_and_come_back_as_they_were() -> None:
    assert load_terms() == ShopTerms()
    terms = ShopTerms("Kestrel Keys", "Sedgeby", Decimal("81.50"), Decimal("7.7"), 25, 10, 0.1 + 0.2, "inch")
    for kept in (ShopTerms(name="First"), terms):
        save_terms(kept)
        assert load_terms() == kept
    assert ShopRecord.objects.count() == 1


def test_the_clock_goes_forward_in_utc() -> None:
    clock = SystemClock()
    first, second = clock.now(), clock.now()
    assert first <= second
    assert first.tzinfo is UTC
