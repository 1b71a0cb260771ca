"""One reader of the adapter for all processes of the server, for one job at a time.

Several processes serve the pages and an adapter has one line, so one of them reads: whoever holds the lock.
What it hears stands in a file that the others look at. Whose pages ask is in another one: readings of one
vehicle never show on the job of another. Nobody who asks waits for the adapter.
"""

from __future__ import annotations

import atexit
import contextlib
import fcntl
import json
import os
import threading
import time
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path

from django.conf import settings

from bittern.engines.link.heard import Heard, read_heard
from bittern.link.watch import OPENING, STOPPED, Wish, watch_channel

IDLE_S = 15.0
"""Without a page that asks for so long, the adapter is let go."""
NUMBER_S = 15.0
"""So long a question for the number stands: its answer is waited for, and is the answer to a second press."""
STILL_S = 20.0
"""A reader that has told nothing for so long hangs with its adapter."""
OFF = "The adapter is at rest."

Run = Callable[[Callable[[], Wish | None], Callable[[Heard], None], threading.Event], None]


class SharedReader:
    """Reads an adapter for the pages of one job at a time.

    Parameters
    ----------
    folder
        Where claim, lock and what was heard stand; made when it is first needed.
    run
        Watches the adapter until nothing is wanted or it is told to stop; in a thread of this process.
    """

    def __init__(
        self, folder: Path, run: Run, *, idle_s: float = IDLE_S, clock: Callable[[], float] = time.monotonic
    ) -> None:
        self._folder = folder
        self._run = run
        self._idle_s = idle_s
        self._clock = clock
        self._mutex = threading.Lock()
        self._thread: threading.Thread | None = None
        self._stop = threading.Event()

    def ask(self, job: int, *, number: bool = False, take: bool = False) -> Heard:
        """Return what the adapter has said for ``job``, and keep it at work for it.

        Parameters
        ----------
        job
            The job whose page asks.
        number
            The number on board is wanted, read anew: a question stands that was asked a moment ago and whose
            answer nobody has taken (:meth:`close_question`).
        take
            Take the adapter over from another job.
        """
        now_s = self._clock()
        with self._open_claim() as claim:
            wish, asked_s = claim.read()
            # A clock that stands before the claim was started anew with the computer.
            busy = wish is not None and wish.job != job and 0 <= now_s - asked_s < self._idle_s
            if busy and not take and wish is not None:
                return Heard("elsewhere", f"The adapter is at work for job {wish.job}.", wish.job, now_s)
            number_s = wish.number_s if wish is not None and wish.job == job else None
            if number and (number_s is None or not 0 <= now_s - number_s < NUMBER_S):
                number_s = now_s
            claim.write(Wish(job, number_s), now_s)
        self._ensure_thread()
        heard = self._look()
        if heard is None or heard.job != job or heard.state == "off":
            return Heard("opening", OPENING, job, now_s, asked_s=number_s)
        answered = number_s is None or (heard.number is not None and heard.number.at_s >= number_s)
        return replace(heard, asked_s=None if answered else number_s)

    def close_question(self, job: int) -> None:
        """Take the question for the job's number back: its answer was taken, or is waited for no longer."""
        with self._open_claim() as claim:
            wish, asked_s = claim.read()
            if wish is not None and wish.job == job:
                claim.write(Wish(job), asked_s)

    def hear(self, job: int) -> Heard:
        """Return what the adapter has said for ``job``, and ask it for nothing."""
        heard = self._look()
        return heard if heard is not None and heard.job == job else Heard("off", OFF, 0, self._clock())

    def stop(self) -> None:
        """Let the adapter go, if this process has it."""
        self._stop.set()
        with self._mutex:
            thread = self._thread
        if thread is not None:
            thread.join(timeout=10)
        self._stop.clear()

    def _ensure_thread(self) -> None:
        with self._mutex:
            if self._thread is not None and self._thread.is_alive():
                return
            lock = os.open(self._folder / "reader.lock", os.O_RDWR | os.O_CREAT, 0o600)
            try:
                fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
            except OSError:
                # Another process reads.
                os.close(lock)
                return
            # What stands there was heard by a process that is gone.
            self._heard_path.unlink(missing_ok=True)
            self._thread = threading.Thread(
                target=self._work, args=(lock,), daemon=True, name="adapter-reader"
            )
            self._thread.start()

    def _work(self, lock: int) -> None:
        try:
            self._run(self._find_wish, self._tell, self._stop)
        finally:
            self._heard_path.unlink(missing_ok=True)
            os.close(lock)

    def _find_wish(self) -> Wish | None:
        with self._open_claim() as claim:
            wish, asked_s = claim.read()
        return wish if 0 <= self._clock() - asked_s < self._idle_s else None

    def _tell(self, heard: Heard) -> None:
        """Put ``heard`` in the place of what stood there: the whole of it or nothing is seen."""
        part = self._heard_path.with_suffix(".part")
        part.write_text(json.dumps(heard.as_dict()), encoding="ascii")
        part.replace(self._heard_path)

    def _look(self) -> Heard | None:
        try:
            heard = read_heard(json.loads(self._heard_path.read_text(encoding="ascii")))
        except (OSError, ValueError):
            return None
        # The clock is looked at after the file, which may be written anew at any moment.
        now_s = self._clock()
        # What comes from the future was heard before the computer was started anew.
        if heard is None or heard.now_s > now_s:
            return None
        if now_s - heard.now_s > STILL_S:
            heard = replace(heard, state="stopped", say=STOPPED)
        # Ages count until now.
        return replace(heard, now_s=now_s)

    @property
    def _heard_path(self) -> Path:
        return self._folder / "heard.json"

    @contextlib.contextmanager
    def _open_claim(self) -> Iterator[_Claim]:
        self._folder.mkdir(mode=0o700, parents=True, exist_ok=True)
        handle = os.open(self._folder / "claim.json", os.O_RDWR | os.O_CREAT, 0o600)
        try:
            fcntl.flock(handle, fcntl.LOCK_EX)
            yield _Claim(handle)
        finally:
            os.close(handle)


class _Claim:
    """The file that says whose pages ask, while it is locked."""

    def __init__(self, handle: int) -> None:
        self._handle = handle

    def read(self) -> tuple[Wish | None, float]:
        """Return the wish and when it was last repeated."""
        os.lseek(self._handle, 0, os.SEEK_SET)
        try:
            job, asked_s, number_s = json.loads(os.read(self._handle, 4096))
            return Wish(int(job), None if number_s is None else float(number_s)), float(asked_s)
        except (ValueError, TypeError):
            return None, 0.0

    def write(self, wish: Wish, asked_s: float) -> None:
        """Put a wish in the place of the one that stands there."""
        os.lseek(self._handle, 0, os.SEEK_SET)
        os.ftruncate(self._handle, 0)
        os.write(self._handle, json.dumps([wish.job, asked_s, wish.number_s]).encode("ascii"))


_readers: dict[tuple[str, int, Path], SharedReader] = {}
_lock = threading.Lock()


def find_reader() -> SharedReader | None:
    """Return the reader of the adapter that the settings name; None where they name none."""
    channel, speed = settings.BITTERN_ADAPTER, settings.BITTERN_ADAPTER_SPEED
    if not channel:
        return None
    key = (channel, speed, settings.BITTERN_DATA / "adapter")
    with _lock:
        if key not in _readers:
            _readers[key] = SharedReader(
                key[2],
                lambda find_wish, tell, stop: watch_channel(channel, find_wish, tell, stop=stop, speed=speed),
            )
            atexit.register(_readers[key].stop)
        return _readers[key]
