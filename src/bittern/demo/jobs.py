"""The demo shop's jobs: acts written down as data and replayed through the real use cases."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping, Sequence
from datetime import datetime, timedelta
from decimal import Decimal
from pathlib import Path

from bittern.formats.packs import Pack
from bittern.work.actions import act
from bittern.work.lessons import lessons_of
from bittern.work.people import Person
from bittern.work.ports import Desk, JobStore, LessonStore, ShopTerms
from bittern.work.request import open_job

JOBS_FILE = Path(__file__).parent / "jobs.json"
TERMS = ShopTerms(
    name="Reedgate Keys", town="Saltmere", labour_per_hour=Decimal("72.00"), tax_percent=Decimal("20")
)


ROLES = ("owner", "technician", "colleague", "counter")
"""Who the acts name; whoever loads the demo says which persons these are."""


class _Clock:
    """Tells the moment of the act that is being replayed."""

    def __init__(self, moment: datetime) -> None:
        self.moment = moment

    def now(self) -> datetime:
        """Return that moment."""
        return self.moment


def read_demo_jobs() -> Sequence[Mapping[str, object]]:
    """Return every demo job as ``{"acts": [{"at_min", "person", "act", "data"}, ..]}``, oldest first.

    ``at_min`` is in minutes from the moment the demo is loaded; the past is below 0.
    """
    jobs: Sequence[Mapping[str, object]] = json.loads(JOBS_FILE.read_text(encoding="utf-8"))
    return jobs


def replay_jobs(
    store: JobStore,
    pack: Pack,
    people: Mapping[str, Person],
    loaded_at: datetime,
    *,
    lessons: LessonStore | None = None,
    progress: Callable[[int, int], None] | None = None,
) -> int:
    """Replay every demo job into ``store`` and return how many there are.

    Parameters
    ----------
    people
        From :data:`ROLES` to persons.
    loaded_at
        The moment that minute 0 stands for, aware.
    lessons
        Where what the finished jobs taught is kept, if anywhere.
    progress
        Called with jobs done and jobs in all.
    """
    jobs = read_demo_jobs()
    clock = _Clock(loaded_at)
    desk = Desk(store, clock, pack, TERMS)
    for done, job in enumerate(jobs, start=1):
        number = 0
        acts = job["acts"]
        for one in acts if isinstance(acts, list) else []:
            clock.moment = loaded_at + timedelta(minutes=one["at_min"])
            person = people[one["person"]]
            if one["act"] == "open":
                number = open_job(desk, person, one["data"]).number
            else:
                act(desk, number, person, one["act"], one["data"])
        if lessons is not None and number:
            # The acts were written down as the pack alone answers: what they taught is for the jobs to come.
            lessons.add(lessons_of(store.load(number)))
        if progress is not None:
            progress(done, len(jobs))
    return len(jobs)
