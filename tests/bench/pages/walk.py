"""Jobs carried on from the accepted promise: blade, pairing and proof, for tests of the pages there."""

from __future__ import annotations

import uuid
from collections.abc import Callable

from bittern.work import actions
from bittern.work.pairing import Run, load_run
from bittern.work.people import TECHNICIAN, Person
from bittern.work.ports import Desk
from bittern.work.prooflist import list_tests
from tests.bench.pages.journey import carry

TAMSIN = Person("tamsin", "Tamsin Reedmace", TECHNICIAN)
# Keeps the rules of the journey's blade standard, heron-8.
BITTING = "2 1 3 4 2 2 1 3"
CENSUS = {
    "key-1-name": "The daily one", "key-1-present": "yes", "key-1-worked": "yes",
    "key-2-name": "The one at home", "key-2-worked": "yes", "customer_knows": "yes",
}  # fmt: skip


def carry_to_blade(desk: Desk, *, cut: bool = False, inspected: bool = False) -> int:
    """Return a job whose bitting is sealed, then cut, then inspected."""
    number = carry(desk, "promise")
    act(desk, number, "enter-bitting", bitting=BITTING)
    if cut or inspected:
        act(desk, number, "record-cut", cutter="wheel-90", eyes="yes", guard="yes")
    if inspected:
        act(desk, number, "record-inspection", result="fits")
    return number


def carry_to_run(desk: Desk, until: Callable[[Run], bool] = lambda run: True, **census: str) -> int:
    """Return a job whose run has begun and gone well until ``until`` holds."""
    number = carry_to_blade(desk, inspected=True)
    begin(desk, number, **(census or CENSUS))
    walk(desk, number, until)
    return number


def carry_to_handover(desk: Desk) -> int:
    """Return a job that only needs a signature."""
    number = carry_to_run(desk, lambda run: run.state.ended)
    for test in list_tests(desk.store.load(number)):
        act(desk, number, "answer-test", test=test.id, result="passed")
    return number


def begin(desk: Desk, number: int, **census: str) -> None:
    """Begin the run of the job's article with every need ticked."""
    key = desk.store.load(number).key
    assert key is not None
    act(desk, number, "begin-pairing", needs=list(desk.pack.runsheets[key.runsheet].needs), **census)


def walk(desk: Desk, number: int, until: Callable[[Run], bool]) -> None:
    """Go on with every step working, by the last option: the first ones ask for one more key for ever."""
    while not (run := find_run(desk, number)).state.ended and not until(run):
        step = run.sheet.steps[run.state.step_id]
        more: dict[str, object]
        if run.state.phase == "supply":
            more = {"kind": "supply", "volts": "12.6"}
        elif run.state.phase == "confirm":
            more = {"kind": "confirmed", "sure": "yes"}
        elif step.kind == "choose":
            more = {"kind": "chosen", "choice": step.options[-1].label}
        else:
            more = {"kind": "done"}
        act(desk, number, "pairing-event", **make_event(run), **more)


def find_run(desk: Desk, number: int) -> Run:
    """Return the run as it stands."""
    run = load_run(desk, desk.store.load(number))
    assert run is not None
    return run


def make_event(run: Run) -> dict[str, object]:
    """Return the fields that every event of the step at hand has."""
    return {"event_id": str(uuid.uuid4()), "step": run.state.step_id, "visit": str(run.state.visit)}


def act(desk: Desk, number: int, name: str, **data: object) -> None:
    """Do one act as the technician."""
    actions.act(desk, number, TAMSIN, name, data)
