"""A process that works on a list: run as ``python -m tests.bench.packs.worker COMMAND …``.

It says what it has done, a line of JSON each time.
"""

from __future__ import annotations

import json
import sys
import threading
from collections.abc import Callable
from datetime import timedelta
from pathlib import Path
from typing import Any

from bittern.bench.entry import configure

configure(None)

from django.utils import timezone  # noqa: E402

from bittern.bench.desk import load_pack_in_use  # noqa: E402
from bittern.bench.packs import list_page, runs, store  # noqa: E402
from bittern.bench.packs.models import ListPart, SuppliersList  # noqa: E402
from bittern.formats.spreadsheets import read_sheet  # noqa: E402


def say(**found: Any) -> None:
    """Print a line of JSON at once."""
    print(json.dumps(found), flush=True)


def prepare(file: str) -> None:
    """Make the shop ready and keep a list."""
    from bittern.bench.preparation import prepare_data

    prepare_data(static=False)
    path = Path(file)
    raw = path.read_bytes()
    row = store.keep_file(path.name, len(raw), "odile", [raw], read_sheet(path))
    store.save_choices(row, list_page.choose_first(row, load_pack_in_use()))
    say(pk=row.pk)


def bring_in() -> None:
    """Import the list in a thread, as the bench does."""
    runs.WAIT_S = 60
    runs.start(SuppliersList.objects.get(), runs.IMPORT, "odile")
    report()


def stop_inside() -> None:
    """Import, and stand still inside the transaction, the layer's parts written, until somebody kills us."""
    keep = store._keep_pieces

    def keep_and_stand(*args: Any, **kwargs: Any) -> None:
        keep(*args, **kwargs)
        say(inside=True)
        sys.stdin.readline()

    vars(store)["_keep_pieces"] = keep_and_stand
    runs.WAIT_S = 600
    runs.start(SuppliersList.objects.get(), runs.IMPORT, "odile")


def cancel_inside() -> None:
    """Import, cancel while the cells are read, and say what is left once the thread has ended."""
    reading, cancelled = threading.Event(), threading.Event()
    work = vars(runs)["look_at_list"]

    def look_and_wait(*args: Any, **kwargs: Any) -> Any:
        reading.set()
        cancelled.wait(60)
        return work(*args, **kwargs)

    vars(runs)["look_at_list"] = look_and_wait
    runs.WAIT_S = runs.BEAT_S = 0
    row = SuppliersList.objects.get()
    runs.start(row, runs.IMPORT, "odile")
    assert reading.wait(60)
    runs.cancel(row)
    cancelled.set()
    for thread in threading.enumerate():
        if thread.name == f"list-{row.pk}":
            thread.join(60)
    report()


def report(hours: str = "0") -> None:
    """Say how things stand after a sweep so many hours later."""
    store.sweep(timezone.now() + timedelta(hours=int(hours)))
    row = SuppliersList.objects.get()
    say(
        state=row.state,
        run=row.run_state,
        articles=len(load_pack_in_use().articles),
        parts=sorted(set(ListPart.objects.values_list("role", flat=True))),
        events=[event.kind for event in row.events.all()],
    )


if __name__ == "__main__":
    commands: dict[str, Callable[..., None]] = {
        "prepare": prepare,
        "import": bring_in,
        "stop-inside": stop_inside,
        "cancel-inside": cancel_inside,
        "report": report,
    }
    commands[sys.argv[1]](*sys.argv[2:])
