"""Packs that cannot be read: one clear error each, and never a part of a pack."""

from __future__ import annotations

import errno
import os
from pathlib import Path
from shutil import copytree
from typing import Any

import pytest

from bittern.core.errors import InputError
from bittern.formats import packs
from bittern.formats.packs import check_pack, read_pack
from bittern.formats.texts import LINE_LIMIT, TEXT_LIMIT_BYTES
from tests.formats.test_packs import MINIMAL

TOML_FILES = ("pack.toml", "blades/wren-3.toml", "tools/wheel-90.toml", "runsheets/wren-add.toml")
TABLES = ("articles.csv", "fitments.csv", "numbers.csv")


@pytest.fixture
def pack(tmp_path: Path) -> Path:
    """Return a copy of the minimal pack."""
    return copytree(MINIMAL, tmp_path / "pack")


def expect_one_line(folder: Path, *words: str) -> InputError:
    """Return the error that both reading and checking raise, after making sure that it is one line."""
    with pytest.raises(InputError) as checked:
        check_pack(folder)
    with pytest.raises(InputError) as read:
        read_pack(folder)
    assert str(read.value) == str(checked.value)
    assert "\n" not in str(read.value)
    assert len(str(read.value)) < 400
    for word in words:
        assert word in str(read.value)
    return read.value


def test_folder_that_does_not_exist(tmp_path: Path) -> None:
    expect_one_line(tmp_path / "nothing", "no such folder")


def test_file_in_place_of_a_folder(pack: Path) -> None:
    expect_one_line(pack / "pack.toml", "a file")


def test_folder_without_a_head(pack: Path) -> None:
    (pack / "pack.toml").unlink()
    expect_one_line(pack, "without pack.toml")


def test_name_with_a_nul(tmp_path: Path) -> None:
    expect_one_line(tmp_path / "a\0b")


@pytest.mark.parametrize("file", [*TOML_FILES, *TABLES])
class TestEveryFile:
    def test_with_nul_bytes(self, pack: Path, file: str) -> None:
        with (pack / file).open("ab") as stream:
            stream.write(b"\x00\x01\x02")
        expect_one_line(pack, Path(file).name, "NUL")

    def test_in_another_encoding(self, pack: Path, file: str) -> None:
        with (pack / file).open("ab") as stream:
            stream.write("# Höhe".encode("latin-1"))
        expect_one_line(pack, Path(file).name, "UTF-8")

    def test_in_utf_16(self, pack: Path, file: str) -> None:
        (pack / file).write_bytes((pack / file).read_text().encode("utf-16"))
        expect_one_line(pack, Path(file).name)

    def test_that_is_a_folder(self, pack: Path, file: str) -> None:
        (pack / file).unlink()
        (pack / file).mkdir()
        expect_one_line(pack, Path(file).name, "not a plain file")

    def test_that_is_a_pipe(self, pack: Path, file: str) -> None:
        (pack / file).unlink()
        os.mkfifo(pack / file)
        expect_one_line(pack, Path(file).name, "not a plain file")

    def test_that_is_a_link_out_of_the_pack(self, pack: Path, file: str) -> None:
        outside = (pack / file).rename(pack.parent / "outside")
        (pack / file).symlink_to(outside)
        expect_one_line(pack, Path(file).name, "leads out")

    def test_that_is_a_link_to_nothing(self, pack: Path, file: str) -> None:
        (pack / file).unlink()
        (pack / file).symlink_to(pack / "nowhere")
        expect_one_line(pack)

    def test_without_leave_to_read(self, pack: Path, file: str, monkeypatch: pytest.MonkeyPatch) -> None:
        opened = Path.open

        def refuse(path: Path, *more: Any, **others: Any) -> Any:
            if path == pack / file:
                raise PermissionError(errno.EACCES, "Permission denied")
            return opened(path, *more, **others)

        # Not by the file's mode: tests that run as root may read everything.
        monkeypatch.setattr(Path, "open", refuse)
        expect_one_line(pack, Path(file).name, "Permission denied")

    def test_that_is_a_link_within_the_pack(self, pack: Path, file: str) -> None:
        (pack / "kept").mkdir()
        (pack / file).rename(pack / "kept" / "real")
        (pack / file).symlink_to(pack / "kept" / "real")
        assert read_pack(pack) == read_pack(MINIMAL)


@pytest.mark.parametrize("file", TOML_FILES)
class TestToml:
    def test_larger_than_the_limit(self, pack: Path, file: str) -> None:
        with (pack / file).open("ab") as stream:
            stream.write(b"#" * TEXT_LIMIT_BYTES)
        expect_one_line(pack, Path(file).name, "5,000,000 bytes")

    @pytest.mark.parametrize(
        "text",
        [
            "id = ",
            "<html>",
            "a = " + "[" * 100_000,
            "a = " + "{b = " * 10_000,
            ".".join("a" * 100_000) + " = 1",
            ' . '.join(['"a"'] * 50_000) + " = 1",
            "[" + ".".join("a" * 100_000) + "]",
            "a = " + "9" * 50_000,
        ],
        ids=["cut short", "html", "arrays", "inline tables", "dotted key", "quoted key", "header", "number"],
    )  # fmt: skip
    def test_malformed_or_nested_beyond_reason(self, pack: Path, file: str, text: str) -> None:
        (pack / file).write_text(text)
        expect_one_line(pack, Path(file).name)


@pytest.mark.parametrize("file", TABLES)
class TestTables:
    def test_with_a_line_without_end(self, pack: Path, file: str) -> None:
        with (pack / file).open("a") as stream:
            stream.write("x" * (LINE_LIMIT + 1))
        expect_one_line(pack, Path(file).name, "65,536")

    def test_with_a_field_without_end(self, pack: Path, file: str) -> None:
        with (pack / file).open("a") as stream:
            stream.write('"' + "many lines\n" * 100_000)
        expect_one_line(pack, Path(file).name, "cannot be read")

    def test_with_a_quote_in_the_wrong_place(self, pack: Path, file: str) -> None:
        with (pack / file).open("a") as stream:
            stream.write('"a"b,c\n')
        expect_one_line(pack, Path(file).name, "cannot be read")

    def test_larger_than_the_limit(self, pack: Path, file: str) -> None:
        # A hole in the file: large by its size, next to nothing on the disk.
        with (pack / file).open("r+b") as stream:
            stream.truncate(200_000_001)
        expect_one_line(pack, Path(file).name, "200,000,000 bytes")


@pytest.mark.parametrize("name", ["blades", "tools", "runsheets"])
def test_folder_that_leads_out_of_the_pack(pack: Path, name: str) -> None:
    outside = (pack / name).rename(pack.parent / "outside")
    (pack / name).symlink_to(outside)
    expect_one_line(pack, name, "leads out")


@pytest.mark.parametrize("name", ["blades", "tools", "runsheets"])
def test_file_in_place_of_a_folder_of_the_pack(pack: Path, name: str) -> None:
    for path in (pack / name).iterdir():
        path.unlink()
    (pack / name).rmdir()
    (pack / name).write_text("")
    expect_one_line(pack, name, "not a folder")


def test_ring_of_links(pack: Path) -> None:
    (pack / "articles.csv").unlink()
    (pack / "articles.csv").symlink_to(pack / "articles.csv")
    expect_one_line(pack, "articles.csv")


def test_folder_of_too_many_files(pack: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(packs, "FILES_LIMIT", 0)
    expect_one_line(pack, "blades", "1 files")
