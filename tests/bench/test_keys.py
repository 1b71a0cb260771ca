"""Key files: for their owner alone, made once, refused when others can read them."""

from __future__ import annotations

import stat
from collections.abc import Iterator
from pathlib import Path

import pytest
from pytest_django import Settings

from bittern.bench import keys
from bittern.bench.errors import KeyFileError


@pytest.fixture(autouse=True)
def folder(tmp_path: Path, settings: Settings) -> Iterator[Path]:
    settings.BITTERN_KEYS = tmp_path / "keys"
    yield settings.BITTERN_KEYS
    keys.forget_keys()


def read_mode(path: Path) -> int:
    return stat.S_IMODE(path.stat().st_mode)


def test_keys_are_made_for_their_owner_alone(folder: Path) -> None:
    keys.make_keys()
    assert read_mode(folder) == 0o700
    assert sorted(path.name for path in folder.iterdir()) == ["log.key", "seal.key", "secret.key"]
    assert {read_mode(path) for path in folder.iterdir()} == {0o600}
    assert len({keys.get_key(name) for name in keys.NAMES}) == 3
    assert all(len(keys.get_key(name)) == 32 for name in keys.NAMES)


def test_keys_are_made_once(folder: Path) -> None:
    keys.make_keys()
    before = [keys.get_key(name) for name in keys.NAMES]
    keys.forget_keys()
    keys.make_keys()
    assert [keys.get_key(name) for name in keys.NAMES] == before


def test_looking_for_a_key_makes_none(folder: Path) -> None:
    with pytest.raises(KeyFileError):
        keys.get_key(keys.SEAL)
    assert not folder.exists()


@pytest.mark.parametrize("mode", [0o640, 0o604, 0o660, 0o644, 0o610, 0o601])
def test_a_key_that_others_can_reach_is_refused(folder: Path, mode: int) -> None:
    keys.make_keys()
    keys.forget_keys()
    (folder / "seal.key").chmod(mode)
    with pytest.raises(KeyFileError, match=f"mode {mode:04o}") as caught:
        keys.make_keys()
    assert "chmod 600" in caught.value.hint


def test_a_folder_that_others_can_reach_is_refused(folder: Path) -> None:
    keys.make_keys()
    keys.forget_keys()
    folder.chmod(0o755)
    with pytest.raises(KeyFileError, match="mode 0755"):
        keys.get_key(keys.LOG)


@pytest.mark.parametrize(
    "content", [b"", b"abc", b"zz" * 32, b"\xff" * 64, b"00" * 31, b"00" * 33, b"00" * 500]
)
def test_a_key_of_other_content_is_refused_without_being_shown(folder: Path, content: bytes) -> None:
    keys.make_keys()
    keys.forget_keys()
    (folder / "log.key").write_bytes(content)
    with pytest.raises(KeyFileError) as caught:
        keys.get_key(keys.LOG)
    assert "zz" not in str(caught.value)


def test_the_secret_key_of_the_web_application_is_the_file(folder: Path) -> None:
    keys.make_keys()
    assert (folder / "secret.key").read_text().strip() == keys.get_secret_text()
