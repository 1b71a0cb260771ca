"""The page Packs shows the pack in use, and what is wrong with one that cannot be used."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from django.conf import settings
from django.test import Client

from bittern.demo import PACK_DIR
from tests.bench.pages.journey import read_words
from tests.conftest import Cast

LogIn = Callable[[Any], Client]


def test_the_pack_in_use_is_shown_with_source_and_counts(cast: Cast, log_in: LogIn) -> None:
    words = read_words(log_in(cast.technician).get("/packs/"))
    for wanted in (
        "Demo pack: invented makes",
        "Source",
        "Licence",
        "Articles",
        "Run sheets",
        "No fault was found",
    ):
        assert wanted in words
    assert str(len((PACK_DIR / "fitments.csv").read_text().splitlines()) - 1) in words


def test_a_pack_with_faults_is_shown_with_them(
    cast: Cast, log_in: LogIn, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = tmp_path / "pack"
    shutil.copytree(PACK_DIR, folder)
    table = folder / "articles.csv"
    table.write_text(table.read_text().replace("QUI-M1,", "QUI M1,", 1))
    monkeypatch.setattr(settings, "BITTERN_PACK", folder)
    page = log_in(cast.owner).get("/packs/")
    assert page.status_code == 200
    words = read_words(page)
    assert "The pack cannot be used" in words
    assert "row 2, column article" in words


def test_the_masthead_leads_there_for_those_who_may_look(cast: Cast, log_in: LogIn) -> None:
    assert 'href="/packs/"' in log_in(cast.technician).get("/").content.decode()
    assert 'href="/packs/"' not in log_in(cast.counter).get("/").content.decode()
