"""Acts that lose something, and the tick they need: nothing is lost by one press."""

from __future__ import annotations

from collections.abc import Mapping

from bittern.core.phrases import join_words
from bittern.engines.key.index import plain_name
from bittern.work.errors import field_fault
from bittern.work.facts import JobFile
from bittern.work.ports import Desk

SURE = "sure"
# Acts that end the job: they belong to all of it, not to a leg.
OF_THE_JOB = ("withdraw",)
_FIRST_TICK = {"withdraw": "a tick: there is no way back"}
_MAY_LOSE = ("record-vehicle", "choose-article", "refuse-article")
# What goes with an article that turned out wrong; the bitting is the vehicle's and stays.
REFUSED = ("key", "promise", "pairing", "proof")
_RECORDS = {
    "key": "the article",
    "promise": "the promise",
    "blade": "the bitting",
    "pairing": "the pairing",
    "proof": "the proof",
}


def require_second_act(desk: Desk, number: int, name: str, typed: Mapping[str, object]) -> None:
    """Refuse an act that loses something on record unless its second, deliberate act came with it."""
    if typed.get(SURE) == "yes":
        return
    expected = _FIRST_TICK.get(name, "")
    if not expected and name in _MAY_LOSE:
        lost = find_loss(desk.store.load(number), name, typed)
        expected = f"a tick: {join_words(lost)} on record would be cleared" if lost else ""
    if expected:
        raise field_fault(SURE, "not ticked", expected)


def find_loss(job: JobFile, name: str, typed: Mapping[str, object]) -> list[str]:
    """Return what this entry would clear on the job, in words."""
    if job.state != "open" or job.key is None:
        return []
    if name == "refuse-article":
        return list_records(job, REFUSED)
    if name == "choose-article":
        other = str(typed.get("article") or "").strip() not in ("", job.key.article)
        return list_records(job, ("promise", "blade", "pairing", "proof")) if other else []
    return list_records(job, tuple(_RECORDS)) if _is_another_vehicle(job, typed) else []


def list_records(job: JobFile, names: tuple[str, ...]) -> list[str]:
    """Return those of ``names`` that are on record, in words."""
    return [_RECORDS[name] for name in names if getattr(job, name)]


def _is_another_vehicle(job: JobFile, typed: Mapping[str, object]) -> bool:
    before = job.vehicle
    if before is None:
        return False
    make, model, vin = (str(typed.get(name) or "").strip() for name in ("make", "model", "vin"))
    if make and model:
        pairs = ((make, before.make), (model, before.model))
        return any(plain_name(typed) != plain_name(kept) for typed, kept in pairs)
    # What was left empty is filled from the number: another number may be another vehicle.
    return "".join(vin.split()).upper() != before.vin or bool(
        (make and make != before.make) or (model and model != before.model)
    )
