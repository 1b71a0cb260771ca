"""Work on a list that takes its time: in a thread of this process, with its progress on record.

A run marks the list's row with a word of its own. Each step writes what it is at and that it is alive, and
only where the mark still stands: a run that was cancelled, or overtaken after its process seemed dead, finds
its mark gone and ends without a trace. What it made is written in one transaction, last.
"""

from __future__ import annotations

import logging
import secrets
import tempfile
import threading
import time
from pathlib import Path
from typing import Any

from django.db import connections
from django.utils import timezone

from bittern.bench.desk import load_pack_in_use
from bittern.bench.packs import store
from bittern.bench.packs.models import CANCELLED, DRAFT, FAILED, RUNNING, SuppliersList
from bittern.core.errors import BitternError
from bittern.formats.spreadsheets import WEB_LIMIT_BYTES
from bittern.work.errors import ConflictError
from bittern.work.supplier.lists import Outcome, look_at_list, work_out
from bittern.work.supplier.reading import Settings

CHECK, IMPORT = "check", "import"
WAIT_S = 2.5
"""So long the answer to a press waits for a run to end by itself; most lists are small."""
BEAT_S = 0.5

_log = logging.getLogger("bittern.packs")


class CancelledError(Exception):
    """The run's mark is gone: it ends here."""


def find_settings(row: SuppliersList, currency: str) -> Settings:
    """Return what the list is read with: an open end reaches to the year after it came in."""
    return Settings(currency, row.uploaded_at.year + 1)


def start(row: SuppliersList, kind: str, person: str) -> None:
    """Begin a run and wait for it a moment.

    Raises
    ------
    ConflictError
        One is under way already, or the list is imported by now.
    """
    mark = secrets.token_hex(16)
    free = SuppliersList.objects.filter(pk=row.pk, state=DRAFT).exclude(run_state=RUNNING)
    begun = free.update(
        run_kind=kind,
        run_state=RUNNING,
        run_mark=mark,
        run_word="starting",
        run_problem="",
        run_person=person,
        beat_at=timezone.now(),
    )
    if not begun:
        raise ConflictError("work on this list under way, or done", "a list that nobody works on")
    launch(row.pk, mark)


def launch(pk: int, mark: str) -> None:
    """Run in a thread with its own connection to the database."""
    thread = threading.Thread(target=_run_apart, args=(pk, mark), daemon=True, name=f"list-{pk}")
    thread.start()
    thread.join(WAIT_S)


def cancel(row: SuppliersList) -> None:
    """End the list's run, if one is under way; nothing of it is kept."""
    SuppliersList.objects.filter(pk=row.pk, run_state=RUNNING).update(run_state=CANCELLED, run_mark="")


def _run_apart(pk: int, mark: str) -> None:
    try:
        run(pk, mark)
    finally:
        connections.close_all()


def run(pk: int, mark: str) -> None:
    """Do the work and record how it ended."""
    try:
        _work(SuppliersList.objects.get(pk=pk), mark)
    except CancelledError:
        _log.info("list %s: cancelled", pk)
    except BitternError as error:
        _fail(pk, mark, str(error))
    except BaseException:
        _fail(pk, mark, "The program made a mistake; nothing was imported.")
        raise


def _fail(pk: int, mark: str, problem: str) -> None:
    SuppliersList.objects.filter(pk=pk, run_mark=mark).update(
        run_state=FAILED, run_mark="", run_problem=problem
    )


def _work(row: SuppliersList, mark: str) -> None:
    step = _make_step(row.pk, mark)
    pack = load_pack_in_use()
    choices, settings = store.load_choices(row), find_settings(row, pack.currency)
    with tempfile.TemporaryDirectory(prefix="bittern-list-") as folder:
        path = Path(folder) / "list"
        store.write_file(row, path)
        step("reading the file")
        look = look_at_list(path, choices, settings, name=row.name, limit_bytes=WEB_LIMIT_BYTES, step=step)
    outcome = work_out(look, choices, settings, pack, step=step)
    step("writing it down")
    report = write_report(row, outcome)
    if row.run_kind == IMPORT:
        try:
            store.activate(row, mark, outcome.layer, report, row.run_person)
        except ConflictError as error:
            raise CancelledError from error
    else:
        store.keep_report(row, mark, report)


def write_report(row: SuppliersList, outcome: Outcome) -> dict[str, Any]:
    """Return what was found, as it is kept."""
    return {
        "list": outcome.report.as_dict(),
        "merge": outcome.merged.as_dict(),
        "fault_count": outcome.fault_count,
        "changes": outcome.merged.changes,
        "of": row.choices,
        "over": list(store.find_active()),
    }


def _make_step(pk: int, mark: str) -> Any:
    last = [0.0]

    def step(word: str) -> None:
        now = time.monotonic()
        if now - last[0] < BEAT_S:
            return
        last[0] = now
        alive = SuppliersList.objects.filter(pk=pk, run_mark=mark, run_state=RUNNING)
        if not alive.update(run_word=word[:200], beat_at=timezone.now()):
            raise CancelledError

    return step
