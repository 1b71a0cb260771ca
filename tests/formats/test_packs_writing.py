"""Writing packs: what is written reads back the same, and what cannot be written leaves no trace."""

from __future__ import annotations

import tempfile
from dataclasses import replace
from decimal import Decimal
from pathlib import Path

import pytest
from hypothesis import given, settings

from bittern.core.errors import FaultsError, InputError
from bittern.formats.packs import Pack, read_pack, write_pack
from tests.formats.test_packs import MINIMAL
from tests.strategies.packs import packs


@pytest.fixture
def minimal() -> Pack:
    """Return the minimal pack."""
    return read_pack(MINIMAL)


@settings(max_examples=60, deadline=None)
@given(pack=packs())
def test_any_pack_reads_back_as_it_was_written(pack: Pack) -> None:
    with tempfile.TemporaryDirectory() as place:
        write_pack(pack, Path(place) / "pack")
        assert read_pack(Path(place) / "pack") == pack


@settings(max_examples=20, deadline=None)
@given(pack=packs())
def test_writing_what_was_read_gives_the_same_bytes(pack: Pack) -> None:
    with tempfile.TemporaryDirectory() as place:
        first, second = Path(place) / "first", Path(place) / "second"
        write_pack(pack, first)
        write_pack(read_pack(first), second)
        assert read_files(first) == read_files(second)


def read_files(folder: Path) -> dict[str, bytes]:
    """Return every file's bytes by its place."""
    return {
        path.relative_to(folder).as_posix(): path.read_bytes()
        for path in sorted(folder.rglob("*"))
        if path.is_file()
    }


def test_written_into_an_empty_folder(minimal: Pack, tmp_path: Path) -> None:
    (tmp_path / "pack").mkdir()
    write_pack(minimal, tmp_path / "pack")
    assert read_pack(tmp_path / "pack") == minimal
    assert [path.name for path in tmp_path.iterdir()] == ["pack"]


def test_never_written_over_what_is_there(minimal: Pack, tmp_path: Path) -> None:
    (tmp_path / "notes.txt").write_text("mine")
    with pytest.raises(InputError, match="already there"):
        write_pack(minimal, tmp_path)
    assert read_files(tmp_path) == {"notes.txt": b"mine"}


def test_replacing_a_pack_takes_away_its_files_and_leaves_others(minimal: Pack, tmp_path: Path) -> None:
    folder = tmp_path / "pack"
    write_pack(minimal, folder)
    (folder / "README").write_text("mine")
    smaller = replace(minimal, tools={}, numbers=(), title="Smaller")
    write_pack(smaller, folder, replace=True)
    assert read_pack(folder) == smaller
    assert (folder / "README").read_text() == "mine"
    assert not (folder / "tools" / "wheel-90.toml").exists()
    assert [path.name for path in tmp_path.iterdir()] == ["pack"]


@pytest.mark.parametrize("part", ["blades", "tools", "runsheets"])
@pytest.mark.parametrize("name", ["../outside", "a/b", "..", "", "a\\b", "/tmp/outside", "a\0"])
def test_ids_that_lead_elsewhere_write_nothing(minimal: Pack, tmp_path: Path, part: str, name: str) -> None:
    (thing,) = getattr(minimal, part).values()
    with pytest.raises(FaultsError) as caught:
        write_pack(replace(minimal, **{part: {name: replace(thing, id=name)}}), tmp_path / "deep" / "pack")
    assert caught.value.faults[0].file == part
    assert list(tmp_path.iterdir()) == []


def test_pack_with_faults_leaves_no_trace(minimal: Pack, tmp_path: Path) -> None:
    wrong = replace(minimal, fitments=(replace(minimal.fitments[0], share=1.5),))
    with pytest.raises(FaultsError):
        write_pack(wrong, tmp_path / "pack")
    assert list(tmp_path.iterdir()) == []


def test_values_that_the_format_cannot_hold_are_refused(minimal: Pack, tmp_path: Path) -> None:
    article = replace(minimal.articles["A-1"], notes="  spaces around  ")
    with pytest.raises(FaultsError, match="read back"):
        write_pack(replace(minimal, articles=minimal.articles | {"A-1": article}), tmp_path / "pack")
    assert list(tmp_path.iterdir()) == []


def test_link_in_place_of_a_folder_is_not_followed(minimal: Pack, tmp_path: Path) -> None:
    folder, outside = tmp_path / "pack", tmp_path / "outside"
    write_pack(minimal, folder)
    (folder / "blades").rename(outside)
    (folder / "blades").symlink_to(outside)
    before = read_files(outside)
    with pytest.raises(InputError, match="a link"):
        write_pack(replace(minimal, blades={}, articles={}, fitments=()), folder, replace=True)
    assert read_files(outside) == before


def test_amounts_keep_their_cents(minimal: Pack, tmp_path: Path) -> None:
    article = replace(minimal.articles["A-2"], cost=Decimal("0.10"), price=Decimal("1E+2"))
    write_pack(replace(minimal, articles=minimal.articles | {"A-2": article}), tmp_path / "pack")
    assert "0.10,100," in (tmp_path / "pack" / "articles.csv").read_text()
