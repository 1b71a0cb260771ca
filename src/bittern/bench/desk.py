"""The desk: everything a use case works with, as this process has it."""

from __future__ import annotations

import threading
from pathlib import Path

from django.conf import settings

from bittern.bench.adapter.reader import find_reader
from bittern.bench.cuttings.store import DjangoUses
from bittern.bench.jobs.clock import SystemClock
from bittern.bench.jobs.shop import load_terms
from bittern.bench.jobs.store import DjangoStore
from bittern.bench.ladders.store import DjangoTables
from bittern.bench.learning.store import DjangoLessons
from bittern.bench.packs.in_use import lay_lists
from bittern.bench.runsheets.store import DjangoSheets
from bittern.demo import PACK_DIR
from bittern.formats.packs import Pack, read_pack
from bittern.work.ports import Clock, Desk

_STATE = tuple[tuple[str, int, int], ...]
_lock = threading.Lock()
_packs: dict[Path, tuple[_STATE, Pack]] = {}


def open_desk(clock: Clock | None = None) -> Desk:
    """Return the desk: store, clock, pack in use and the shop's terms."""
    return Desk(
        DjangoStore(),
        clock or SystemClock(),
        load_pack_in_use(),
        load_terms(),
        lessons=DjangoLessons(),
        tables=DjangoTables(),
        uses=DjangoUses(),
        adapter=find_reader(),
        sheets=DjangoSheets(),
    )


def load_pack_in_use() -> Pack:
    """Return the shop's pack with the suppliers' lists that were imported laid over it."""
    return lay_lists(load_pack(find_pack_folder()))


def find_pack_folder() -> Path:
    """Return the folder of the shop's pack."""
    folder: Path | None = settings.BITTERN_PACK
    return folder or PACK_DIR


def load_pack(folder: Path) -> Pack:
    """Return the pack, read again only when a file of it has changed.

    Raises
    ------
    InputError, FaultsError
        It cannot be read, or breaks the rules of packs.
    """
    state = _look(folder)
    with _lock:
        kept = _packs.get(folder)
        if kept is None or kept[0] != state:
            kept = (state, read_pack(folder))
            _packs[folder] = kept
    return kept[1]


def _look(folder: Path) -> _STATE:
    """Return name, time and size of each file: what changes when somebody edits the pack."""
    found = []
    for path in sorted(folder.rglob("*")):
        status = path.stat()
        found.append((str(path), status.st_mtime_ns, status.st_size))
    return tuple(found)
