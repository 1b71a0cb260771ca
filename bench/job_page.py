"""Server time of a job's page with 10,000 jobs in the database, beside that with the demo shop's alone.

In one process, SQLite, from the request to the rendered answer, without the network. The target is 50 ms; the
ratio says what the other jobs cost, which should be nothing.
"""

from __future__ import annotations

import os
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from statistics import median
from typing import Any

JOBS = 10_000
REPEATS = 15
TARGET_MS = 50.0


def main() -> None:
    """Print the table."""
    with tempfile.TemporaryDirectory(prefix="bittern-bench-") as folder:
        _prepare(Path(folder))
        from django.test import Client

        from bittern.bench.people.models import User

        client = Client()
        client.force_login(User.objects.get(login="tobin"), backend=_first_backend())
        pages = _list_pages()
        few = {name: _measure(client, path) for name, path in pages.items()}
        _fill(JOBS)
        many = {name: _measure(client, path) for name, path in pages.items()}
        _print_table(few, many)


def _prepare(folder: Path) -> None:
    """Make a demo shop in ``folder``."""
    os.environ["BITTERN_DATA"] = str(folder)
    os.environ.pop("BITTERN_DATABASE", None)
    from bittern.bench import entry

    entry.configure(folder)
    from django.conf import settings

    from bittern.bench.preparation import prepare_data

    settings.ALLOWED_HOSTS = ["testserver", *settings.ALLOWED_HOSTS]
    prepare_data(static=True)
    entry.load_demo()


def _first_backend() -> str:
    from django.conf import settings

    return str(settings.AUTHENTICATION_BACKENDS[-1])


def _list_pages() -> dict[str, str]:
    """Return the pages measured: Today, a closed job, and a job in each state that the demo has."""
    from bittern.bench.jobs.models import Job

    pages = {"Today": "/", "a closed job": "/jobs/1/"}
    for job in Job.objects.filter(state="open").order_by("number"):
        pages[f"a job that waits for {job.waits_for}"] = f"/jobs/{job.number}/"
    return pages


def _measure(client: Any, path: str) -> tuple[float, int]:
    """Return median milliseconds and the number of queries of one page."""
    from django.db import connection
    from django.test.utils import CaptureQueriesContext

    answer = client.get(path)
    if answer.status_code != 200:
        raise RuntimeError(f"{path} answered {answer.status_code}")
    times = [_time(lambda: client.get(path)) for _ in range(REPEATS)]
    with CaptureQueriesContext(connection) as queries:
        client.get(path)
    return 1000 * median(times), len(queries)


def _time(act: Callable[[], object]) -> float:
    start = time.perf_counter()
    act()
    return time.perf_counter() - start


def _fill(count: int) -> None:
    """Open jobs by the real use cases until there are ``count``, most of them withdrawn like old ones."""
    from django.db import transaction

    from bittern.bench.desk import open_desk
    from bittern.bench.jobs.models import Job
    from bittern.work.people import Person
    from bittern.work.request import open_job, withdraw

    desk, person = open_desk(), Person("tobin", "Tobin Reedmace", "technician")
    # One transaction round all: this is about reading, not about how fast a disk can be flushed.
    with transaction.atomic():
        for place in range(Job.objects.count(), count):
            data = {
                "want": "spare",
                "customer": f"Customer {place}",
                "plate": f"KA {place} F",
                "phone": "000 1",
            }
            number = open_job(desk, person, data).number
            if place % 200:
                withdraw(desk, number, person, {"because": "An old job."})


def _print_table(few: dict[str, tuple[float, int]], many: dict[str, tuple[float, int]]) -> None:
    print(f"Server time of a page, median of {REPEATS}; demo shop alone, then {JOBS} jobs in the database")
    print(f"{'page':<38} {'ms, few':>8} {'ms, many':>9} {'ratio':>6} {'queries':>8}")
    for name, (before, _) in few.items():
        after, queries = many[name]
        print(f"{name:<38} {before:8.1f} {after:9.1f} {after / before:6.2f} {queries:8d}")
    slowest = max(ms for name, (ms, _) in many.items() if name != "Today")
    word = "held" if slowest < TARGET_MS else "MISSED"
    print(f"Slowest page of a job: {slowest:.1f} ms; target below {TARGET_MS:.0f} ms: {word}")


if __name__ == "__main__":
    main()
