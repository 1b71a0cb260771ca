"""The shop's keys: random bytes in files that only their owner can read, made once, never in the database."""

from __future__ import annotations

import os
import secrets
import stat
from functools import lru_cache
from pathlib import Path

from django.conf import settings

from bittern.bench.errors import KeyFileError

BYTES = 32
SECRET, SEAL, LOG = "secret", "seal", "log"
NAMES = (SECRET, SEAL, LOG)


def find_folder() -> Path:
    """Return the folder of the key files."""
    folder: Path | None = settings.BITTERN_KEYS
    return folder or settings.BITTERN_DATA / "keys"


def make_keys(names: tuple[str, ...] = NAMES) -> None:
    """Make each key of ``names`` that is not there; several processes at once agree on one."""
    folder = find_folder()
    folder.mkdir(mode=0o700, parents=True, exist_ok=True)
    for name in names:
        if not _path(folder, name).exists():
            _make(folder, name)
        get_key(name)


def has_key(name: str) -> bool:
    """Tell whether the key's file is there."""
    return _path(find_folder(), name).exists()


def get_key(name: str) -> bytes:
    """Return the key; raises KeyFileError when its file is missing, damaged or open to others."""
    return _read(find_folder(), name)


def get_secret_text() -> str:
    """Return the web application's secret key as text."""
    return get_key(SECRET).hex()


def forget_keys() -> None:
    """Read the files again at the next use."""
    _read.cache_clear()


def _path(folder: Path, name: str) -> Path:
    return folder / f"{name}.key"


def _make(folder: Path, name: str) -> None:
    path = _path(folder, name)
    fresh = folder / f".{name}.{os.getpid()}.{secrets.token_hex(4)}"
    handle = os.open(fresh, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    try:
        with os.fdopen(handle, "w", encoding="ascii") as file:
            file.write(secrets.token_hex(BYTES) + "\n")
            file.flush()
            os.fsync(file.fileno())
        try:
            # A link appears whole or not at all: nobody reads half a key, and the first one made stays.
            path.hardlink_to(fresh)
        except FileExistsError:
            return
        _sync_folder(folder)
    finally:
        fresh.unlink()


def _sync_folder(folder: Path) -> None:
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


@lru_cache
def _read(folder: Path, name: str) -> bytes:
    path = _path(folder, name)
    try:
        with path.open(encoding="ascii") as file:
            mode = os.fstat(file.fileno()).st_mode
            text = file.read(4 * BYTES).strip()
    except FileNotFoundError as error:
        raise KeyFileError(
            "no file",
            "the shop's key",
            where=str(path),
            hint="put it back from its copy; only 'bittern setup' of a new shop makes one",
        ) from error
    except (OSError, UnicodeDecodeError) as error:
        raise KeyFileError("a file that cannot be read", "the shop's key", where=str(path)) from error
    _check_mode(path, mode, f"chmod 600 {path}")
    _check_mode(folder, folder.stat().st_mode, f"chmod 700 {folder}")
    try:
        key = bytes.fromhex(text)
    except ValueError:
        key = b""
    if len(key) != BYTES:
        raise KeyFileError("other content", f"{2 * BYTES} hexadecimal digits", where=str(path))
    return key


def _check_mode(path: Path, mode: int, mend: str) -> None:
    if mode & 0o077:
        raise KeyFileError(
            f"mode {stat.S_IMODE(mode):04o}", "nothing for group and others", where=str(path), hint=mend
        )
