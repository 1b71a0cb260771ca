"""Reading a picture takes its time: in a thread of this process, with its state on record.

A run marks the job's row with a word of its own. It beats while it works and ends its row only where the mark
still stands: a run that was cancelled, or overtaken after its process seemed dead, leaves no trace. The
picture is in this process's memory alone, so a run that dies with it is said to be broken off and the picture
is asked for again.
"""

from __future__ import annotations

import logging
import secrets
import threading
from dataclasses import dataclass, field
from datetime import datetime, timedelta

from django.db import connections, transaction
from django.utils import timezone

from bittern.bench.desk import open_desk
from bittern.bench.jobs.models import Sealed
from bittern.bench.readings.models import CANCELLED, DONE, FAILED, RUNNING, ReadingRun
from bittern.core.errors import BitternError
from bittern.work.blade_reading import ReadingOrder, finish_reading, read_old_key
from bittern.work.blade_record import BladeReading
from bittern.work.change import SEAL_READING
from bittern.work.people import Person

WAIT_S = 2.5
"""So long the answer to a press waits for a run to end by itself: most end in that time."""
BEAT_S = 1.0
STILL = timedelta(seconds=30)
"""A run that has not beaten for so long has died with its process."""
KEPT_PX = 1200

_log = logging.getLogger("bittern.readings")
# A picture of 60 megapixels takes half a gigabyte while it is read: one at a time in a process.
TURN = threading.Semaphore(1)


@dataclass(slots=True)
class _Work:
    """What the working thread hands to the one that watches it."""

    reading: BladeReading | None = None
    kept: bytes | None = None
    error: BaseException | None = None
    begun: threading.Event = field(default_factory=threading.Event)
    wanted: bool = True


def start(number: int, order: ReadingOrder, dpi: str, raw: bytes, person: Person) -> None:
    """Begin a run in place of an earlier one, and wait for it a moment."""
    mark = secrets.token_hex(16)
    now = timezone.now()
    ReadingRun.objects.update_or_create(
        job_id=number,
        defaults={
            "person": person.login,
            "started_at": now,
            "how": order.how,
            "dpi": dpi[:12],
            "keep": order.keep,
            "state": RUNNING,
            "mark": mark,
            "word": "Starting",
            "beat_at": now,
            "found": "",
            "expected": "",
            "hint": "",
        },
    )
    launch(number, mark, order, raw, person)


def launch(number: int, mark: str, order: ReadingOrder, raw: bytes, person: Person) -> None:
    """Run in a thread with its own connection to the database."""
    thread = threading.Thread(
        target=_run_apart, args=(number, mark, order, raw, person), daemon=True, name=f"reading-{number}"
    )
    thread.start()
    thread.join(WAIT_S)


def cancel(number: int) -> None:
    """End the job's run, if one is under way; nothing of it is kept."""
    ReadingRun.objects.filter(job_id=number, state=RUNNING).update(state=CANCELLED, mark="")


def find(number: int) -> ReadingRun | None:
    """Return the job's run, with those that died swept first; None where there is nothing to go on with."""
    sweep()
    run = ReadingRun.objects.filter(job_id=number).first()
    if run is None or (run.state in (CANCELLED, DONE) and not is_read(number)):
        return None
    return run


def is_read(number: int) -> bool:
    """Tell whether a reading waits under seal, of the latest run or of one before it.

    It is gone once a bitting was sealed, the job ended or it was thrown away.
    """
    return Sealed.objects.filter(job_id=number, name=SEAL_READING).exists()


def sweep(now: datetime | None = None) -> None:
    """Note runs that died with their process."""
    now = now or timezone.now()
    ReadingRun.objects.filter(state=RUNNING, beat_at__lt=now - STILL).update(
        state=FAILED,
        mark="",
        found="a reading that was broken off: the program stopped while it worked",
        expected="one that ends",
        hint="send the picture again",
    )


def _run_apart(number: int, mark: str, order: ReadingOrder, raw: bytes, person: Person) -> None:
    try:
        run(number, mark, order, raw, person)
    finally:
        connections.close_all()


def run(number: int, mark: str, order: ReadingOrder, raw: bytes, person: Person) -> None:
    """Watch the work, and record how it ended."""
    work = _Work()
    thread = threading.Thread(target=_do, args=(work, order, raw, person), daemon=True)
    thread.start()
    while thread.is_alive():
        thread.join(BEAT_S)
        word = "Reading the picture" if work.begun.is_set() else "Waiting for another picture to be read"
        if thread.is_alive() and not _beat(number, mark, word):
            # What is being computed ends by itself in seconds, and is let go of.
            work.wanted = False
            _log.info("job %s: reading cancelled", number)
            return
    try:
        if work.error is not None:
            raise work.error
        assert work.reading is not None
        _keep(number, mark, person, work.reading, work.kept)
    except BitternError as error:
        _fail(number, mark, error.found, error.expected, error.hint)
    except BaseException:
        _fail(number, mark, "a mistake of the program", "a reading", "nothing was kept; use the caliper")
        raise


def _do(work: _Work, order: ReadingOrder, raw: bytes, person: Person) -> None:
    try:
        with TURN:
            work.begun.set()
            if not work.wanted:
                return
            work.reading = read_old_key(order, raw, person, open_desk())
            if order.keep:
                work.kept = _shrink(raw)
    # Carried to the thread that records it, whatever it is.
    except BaseException as error:  # noqa: BLE001
        work.error = error
    finally:
        connections.close_all()


def _shrink(raw: bytes) -> bytes:
    from bittern.formats.images import decode_picture, encode_picture, shrink_picture

    return encode_picture(shrink_picture(decode_picture(raw), KEPT_PX))


def _beat(number: int, mark: str, word: str) -> bool:
    alive = ReadingRun.objects.filter(job_id=number, mark=mark, state=RUNNING)
    return alive.update(word=word, beat_at=timezone.now()) > 0


def _keep(number: int, mark: str, person: Person, reading: BladeReading, kept: bytes | None) -> None:
    with transaction.atomic():
        mine = ReadingRun.objects.filter(job_id=number, mark=mark, state=RUNNING)
        if mine.update(state=DONE, mark="", read_by=person.login, beat_at=timezone.now()):
            finish_reading(open_desk(), number, person, reading, kept)


def _fail(number: int, mark: str, found: str, expected: str, hint: str) -> None:
    ReadingRun.objects.filter(job_id=number, mark=mark).update(
        state=FAILED, mark="", found=found[:400], expected=expected[:400], hint=hint[:400]
    )
