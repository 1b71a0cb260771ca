"""Carries a job through the use cases in memory and writes down every act, so that it can be replayed."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import UTC, datetime, timedelta

from bittern.formats.packs import Pack
from bittern.work.actions import act
from bittern.work.facts import JobFile
from bittern.work.memory import MemoryStore
from bittern.work.people import COUNTER, OWNER, TECHNICIAN, Person
from bittern.work.ports import Desk
from bittern.work.request import open_job

PEOPLE = {
    "counter": Person("counter", "Counter", COUNTER),
    "technician": Person("technician", "Technician", TECHNICIAN),
    "colleague": Person("colleague", "Colleague", TECHNICIAN),
    "owner": Person("owner", "Owner", OWNER),
}
# Minutes count from the moment the demo is loaded, so that open jobs are always of today.
ORIGIN = datetime(2026, 1, 1, 12, 0, tzinfo=UTC)


class SetClock:
    """Tells the time it was set to, in minutes from the origin."""

    def __init__(self) -> None:
        self.minute = 0.0

    def now(self) -> datetime:
        """Return the moment it was set to."""
        return ORIGIN + timedelta(minutes=self.minute)


class Recorder:
    """One job: acts are done for real in memory and kept as plain data."""

    def __init__(self, pack: Pack, start_minute: float) -> None:
        self.clock = SetClock()
        self.clock.minute = start_minute
        self.desk = Desk(MemoryStore(), self.clock, pack)
        self.acts: list[dict[str, object]] = []
        self.number = 0

    @property
    def job(self) -> JobFile:
        """The job as it stands."""
        return self.desk.store.load(self.number)

    def open(self, role: str, data: Mapping[str, object]) -> None:
        """Open the job."""
        self.number = open_job(self.desk, PEOPLE[role], data).number
        self._note(role, "open", data)

    def do(self, role: str, name: str, data: Mapping[str, object], *, after_min: float) -> None:
        """Do an act, ``after_min`` minutes after the last one."""
        self.clock.minute = round(self.clock.minute + after_min, 2)
        act(self.desk, self.number, PEOPLE[role], name, data)
        self._note(role, name, data)

    def _note(self, role: str, name: str, data: Mapping[str, object]) -> None:
        self.acts.append({"at_min": self.clock.minute, "person": role, "act": name, "data": dict(data)})
