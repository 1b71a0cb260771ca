"""Who carries a run: the first device that is heard, until another takes it over or it is silent for long."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta

from bittern.bench.carrying.models import Carrier
from bittern.work.people import Person

# Without a network a phone at the vehicle is silent for a while and carries the run all the same.
LET_GO = timedelta(minutes=30)
WORDS = ("phone", "tablet", "computer")


@dataclass(frozen=True, slots=True)
class Heard:
    """What a device is told about who carries the run."""

    is_own: bool
    name: str
    login: str
    word: str
    ago_s: int
    since: datetime

    def as_dict(self) -> dict[str, object]:
        """Return the JSON shape that the runner's script reads."""
        return {
            "is_own": self.is_own,
            "name": self.name,
            "word": self.word,
            "ago_s": self.ago_s,
            "since": self.since.isoformat(),
        }


def find_carrier(run: str) -> Carrier | None:
    """Return who carries the run, or None."""
    return Carrier.objects.filter(run=run).first()


def hear(run: str, device: str, word: str, person: Person, now: datetime, *, takes_over: bool) -> Heard:
    """Note that ``device`` was heard, let it carry the run where it may, and return who carries it."""
    fields = {"device": device, "word": word if word in WORDS else "device"}
    fields |= {"login": person.login, "name": person.name}
    carried = Carrier.objects.filter(run=run)
    # Each change names what it expects, so that of two devices at the same moment one wins.
    if not carried.filter(device=device).update(heard_at=now, login=person.login, name=person.name):
        Carrier.objects.get_or_create(run=run, defaults={**fields, "since": now, "heard_at": now})
        others = carried.exclude(device=device)
        free = others if takes_over else others.filter(heard_at__lt=now - LET_GO)
        free.update(**fields, since=now, heard_at=now)
    carrier = carried.get()
    return Heard(
        carrier.device == device,
        carrier.name,
        carrier.login,
        carrier.word,
        max(0, int((now - carrier.heard_at).total_seconds())),
        carrier.since,
    )


def let_go(run: str) -> None:
    """Forget who carried a run that has ended."""
    Carrier.objects.filter(run=run).delete()
