"""Where the command line hands over to the web application; the one module that knows of it."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

from bittern.core.errors import InputError

if TYPE_CHECKING:
    from datetime import tzinfo

    from bittern.bench.entry import LogReport
    from bittern.work.people import Person
    from bittern.work.ports import Desk


def open_desk(data: Path | None) -> Desk:
    """Return the desk on the shop's data folder."""
    from bittern.bench import entry

    return entry.open_desk(data)


def find_person(login: str) -> Person:
    """Return who has this login name; after :func:`open_desk`."""
    from bittern.bench import entry

    _check_text(login)
    return entry.find_person(login)


def find_zone() -> tzinfo:
    """Return the shop's time zone; after :func:`open_desk`."""
    from bittern.bench import entry

    return entry.find_zone()


def verify_log(data: Path | None) -> LogReport:
    """Verify every job's log."""
    from bittern.bench import entry

    return entry.verify_log(data)


def setup(data: Path | None) -> bool:
    """Make the data folder ready and tell whether it has an owner."""
    from bittern.bench import entry

    return entry.setup(data)


def add_owner(login: str, name: str, password: str) -> None:
    """Add an owner; after :func:`setup`."""
    from bittern.bench import entry

    _check_text(login, name, password)
    entry.add_owner(login, name, password)


def reset_owner(login: str, password: str) -> None:
    """Give an owner a new password; after :func:`setup`."""
    from bittern.bench import entry

    _check_text(login, password)
    entry.reset_owner(login, password)


def serve(port: int, data: Path | None, tell: Callable[[str], None]) -> None:
    """Serve the shop's own data until stopped."""
    from bittern.bench import entry

    entry.serve(port, data, tell)


def demo(port: int, data: Path | None, tell: Callable[[str], None]) -> None:
    """Serve the demo shop until stopped."""
    from bittern.bench import entry

    entry.demo(port, data, tell)


def _check_text(*texts: str) -> None:
    """Raise InputError for words typed in bytes that are no UTF-8: no database takes them."""
    for text in texts:
        try:
            text.encode()
        except UnicodeEncodeError as error:
            raise InputError("bytes that are not UTF-8", "text", where="an option") from error
