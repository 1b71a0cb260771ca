"""One job carried by hand through the legs, in memory, on the demo pack."""

from __future__ import annotations

import uuid
from collections.abc import Callable, Mapping

import pytest

from bittern.demo import PACK_DIR
from bittern.demo.numbers import make_number
from bittern.formats.packs import Pack, read_pack
from bittern.work.actions import act
from bittern.work.facts import JobFile
from bittern.work.memory import MemoryStore, StepClock
from bittern.work.pairing import Run, load_run
from bittern.work.people import COUNTER, OWNER, TECHNICIAN, Person
from bittern.work.ports import Desk
from bittern.work.request import open_job

OWN = Person("olwen", "Olwen Fenner", OWNER)
TECH = Person("tarn", "Tarn Sedgeley", TECHNICIAN)
DESK = Person("cora", "Cora Millpond", COUNTER)

REQUEST = {"want": "spare", "customer": "Ilse Peatridge", "phone": "000 111 2222", "plate": "HA 123 B"}
AUTHORITY = {"documents": ["photo-identity", "registration"], "holder": "Ilse Peatridge", "caution": "yes"}


@pytest.fixture(scope="session")
def pack() -> Pack:
    return read_pack(PACK_DIR)


class Bench:
    """A desk in memory with one open job; ``do`` acts as the technician unless told otherwise."""

    def __init__(self, pack: Pack) -> None:
        self.store = MemoryStore()
        self.desk = Desk(self.store, StepClock(), pack)
        self.number = open_job(self.desk, DESK, REQUEST).number

    @property
    def job(self) -> JobFile:
        return self.desk.store.load(self.number)

    @property
    def run(self) -> Run:
        found = load_run(self.desk, self.job)
        assert found is not None
        return found

    def do(self, name: str, data: Mapping[str, object] | None = None, person: Person = TECH) -> None:
        act(self.desk, self.number, person, name, data or {})

    def kinds(self) -> list[str]:
        return [entry.kind for entry in self.store.entries(self.number)]

    def event(self, kind: str, **more: object) -> dict[str, object]:
        state = self.run.state
        plain = {
            "event_id": str(uuid.uuid4()),
            "kind": kind,
            "step": state.step_id,
            "visit": str(state.visit),
        }
        return {**plain, **more}

    def carry_to_key(self, article_kind: str = "proximity") -> str:
        """Record authority and a vehicle whose article has a blade and a present-only run sheet."""
        pack = self.desk.pack
        row = next(
            f
            for f in pack.fitments
            if pack.articles[f.article].kind == article_kind
            and pack.articles[f.article].blade
            and f.runsheet
            and pack.runsheets[f.runsheet].census == "present-only"
            and any(step.no_return for step in pack.runsheets[f.runsheet].steps.values())
        )
        self.do("record-authority", AUTHORITY, DESK)
        vin = make_number(pack, row.make, row.model, row.year_from, 4711, row.start)
        vehicle = {
            "vin": vin,
            "make": row.make,
            "model": row.model,
            "year": str(row.year_from),
            "start": row.start,
        }
        self.do("record-vehicle", vehicle, DESK)
        return row.article

    def carry_to_blade(self) -> None:
        article = self.carry_to_key()
        self.do("choose-article", {"article": article, "because": "The same as the working key."}, DESK)
        self.do("offer", {}, DESK)
        self.do("accept", {"accepted_by": "Ilse Peatridge", "accepted_how": "in-person"}, DESK)

    def carry_to_pairing(self) -> None:
        from bittern.work.blade import get_standard, list_cutters

        self.carry_to_blade()
        standard = get_standard(self.desk, self.job)
        self.do("enter-bitting", {"bitting": flat_bitting(self.desk, self.job)})
        cutter = list_cutters(self.desk, self.job)[0].cutter.id
        self.do("record-cut", {"cutter": cutter, "eyes": "yes", "guard": "yes"})
        self.do("record-inspection", {"result": "fits"})
        assert standard.id

    def begin(self, **keys: object) -> None:
        sheet = self.desk.pack.runsheets[self.job.key.runsheet]  # type: ignore[union-attr]
        self.do("begin-pairing", {"needs": list(sheet.needs), **keys})

    def walk(self, *, until: Callable[[Run], bool]) -> None:
        """Go on with every step working until ``until`` holds or the run has ended."""
        while not self.run.state.ended and not until(self.run):
            step = self.run.sheet.steps[self.run.state.step_id]
            if self.run.state.phase == "supply":
                self.do("pairing-event", self.event("supply", volts="12.6"))
            elif self.run.state.phase == "confirm":
                self.do("pairing-event", self.event("confirmed", sure="yes"))
            elif step.kind == "choose":
                self.do("pairing-event", self.event("chosen", choice=step.options[0].label))
            else:
                self.do("pairing-event", self.event("done"))


def flat_bitting(desk: Desk, job: JobFile) -> str:
    """Return a bitting that keeps the rules of the job's standard."""
    from itertools import product

    from bittern.engines.blade.bitting import Bitting, count_edges, find_violations, format_bitting
    from bittern.work.blade import get_standard

    standard = get_standard(desk, job)
    count = len(standard.positions_mm)
    for pattern in product(range(min(3, len(standard.labels))), repeat=4):
        cuts = tuple((pattern * count)[:count])
        bitting = Bitting((cuts,) * count_edges(standard))
        if not find_violations(standard, bitting):
            return format_bitting(standard, bitting)
    raise AssertionError("no bitting keeps the rules")


@pytest.fixture
def bench(pack: Pack) -> Bench:
    return Bench(pack)
