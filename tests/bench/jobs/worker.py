"""A process that works on the same shop as others do: run as ``python -m tests.bench.jobs.worker COMMAND …``.

It says what it has done, a line of JSON each time, and waits for a line where the test decides when to go on.
"""

from __future__ import annotations

import json
import os
import sys
from typing import Any

from bittern.bench.entry import configure

configure(None)

from bittern.bench.jobs.clock import SystemClock  # noqa: E402
from bittern.bench.jobs.store import DjangoStore  # noqa: E402
from bittern.work.errors import ConflictError  # noqa: E402
from bittern.work.facts import JobFile, Request  # noqa: E402

STORE, CLOCK = DjangoStore(), SystemClock()
REQUEST = Request(want="spare", customer="Ansel Quaking", note="0")


def say(**found: Any) -> None:
    """Print a line of JSON at once."""
    print(json.dumps(found), flush=True)


def wait() -> None:
    """Wait for the test's word."""
    say(ready=os.getpid())
    sys.stdin.readline()


def count_up(job: JobFile) -> JobFile:
    """Decide from what was read: the note holds a number, which becomes one more."""
    note = str(int(job.request.note) + 1)
    return job.model_copy(update={"request": job.request.model_copy(update={"note": note})})


def work_once(step: int) -> int:
    """Read, decide and write on job 1, open a job of one's own, and seal on both; return the new number."""
    me = f"worker-{os.getpid()}"
    with STORE.transaction():
        job = STORE.load_for_change(1)
        now = CLOCK.now()
        payload = {"value": int(job.request.note), "by": me, "step": step}
        STORE.append(1, at=now, person=me, kind="counted", payload=payload)
        STORE.save(count_up(job), waits_for="authority")
        STORE.seal(1, "bitting", f"{me} {step}")
        fresh = STORE.new_job(REQUEST, me, now)
        STORE.append(fresh.number, at=now, person=me, kind="opened", payload={})
        STORE.seal(fresh.number, "bitting", f"{me} {fresh.number}")
    return fresh.number


def prepare() -> None:
    """Make the shop ready and open job 1."""
    from bittern.bench import keys
    from bittern.bench.preparation import prepare_data

    wait()
    prepare_data(static=False)
    say(keys=[keys.get_key(name).hex() for name in keys.NAMES])


def open_first() -> None:
    """Open job 1."""
    with STORE.transaction():
        say(number=STORE.new_job(REQUEST, "tamsin", CLOCK.now()).number)


def race(rounds: str) -> None:
    """Work in competition, with the row locked while deciding."""
    wait()
    say(numbers=[work_once(step) for step in range(int(rounds))])


def race_unlocked(rounds: str) -> None:
    """Read without a lock, decide, and write only if nobody was quicker; try again until it is done."""
    wait()
    conflicts = 0
    for _ in range(int(rounds)):
        while True:
            job = STORE.load(1)
            try:
                with STORE.transaction():
                    STORE.save(count_up(job), waits_for="authority")
                break
            except ConflictError:
                conflicts += 1
    say(conflicts=conflicts)


def race_open(rounds: str) -> None:
    """Open jobs, and give every third up again: nothing but the counter is shared with the others."""
    wait()
    numbers = []
    for step in range(int(rounds)):
        try:
            with STORE.transaction():
                number = STORE.new_job(REQUEST, "tamsin", CLOCK.now()).number
                if step % 3 == 2:
                    raise InterruptedError
            numbers.append(number)
        except InterruptedError:
            continue
    say(numbers=numbers)


def endless() -> None:
    """Work until killed, saying so after each transaction."""
    step = 0
    while True:
        say(number=work_once(step))
        step += 1


def half() -> None:
    """Stop in the middle of a transaction and wait there."""
    with STORE.transaction():
        work_once(0)
        say(inside=True)
        sys.stdin.readline()


def report() -> None:
    """Say what is on record and whether it verifies."""
    from bittern.bench.jobs.models import Job

    numbers = list(Job.objects.order_by("number").values_list("number", flat=True))
    job = STORE.load(1)
    say(
        note=int(job.request.note),
        version=job.version,
        numbers=numbers,
        log=[dict(entry.payload) for entry in STORE.entries(1)],
        sealed={number: STORE.unseal(number, "bitting") for number in numbers},
        faults=[str(fault) for fault in STORE.verify_logs()],
    )


def keep_secret(secret: str) -> None:
    """Seal a secret and type it into a draft."""
    from bittern.bench.jobs.drafts import find_drafts, keep_draft

    with STORE.transaction():
        STORE.seal(1, "bitting", secret)
        keep_draft(1, "enter-bitting", "tamsin", {"bitting": secret}, CLOCK.now())
    say(sealed=STORE.unseal(1, "bitting"), draft=find_drafts(1, "tamsin")["enter-bitting"]["bitting"])


if __name__ == "__main__":
    commands = {
        "prepare": prepare, "open": open_first, "race": race, "race-unlocked": race_unlocked,
        "race-open": race_open, "endless": endless, "half": half, "report": report,
        "keep-secret": keep_secret,
    }  # fmt: skip
    commands[sys.argv[1]](*sys.argv[2:])
