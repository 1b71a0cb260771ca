"""What the pages show of adapter and vehicle: the number on board, the supply voltage."""

from __future__ import annotations

from typing import Any

from bittern.bench.adapter.reader import OFF, SharedReader, find_reader
from bittern.bench.adapter.trace import draw_trace
from bittern.engines.link.heard import Heard
from bittern.engines.pairing.sheet import RunSheet
from bittern.work.facts import JobFile
from bittern.work.number_on_board import find_standing, is_accepted, is_stopped
from bittern.work.number_on_board_record import is_slip
from bittern.work.people import Person
from bittern.work.ports import Desk
from bittern.work.settled import needs_pairing
from bittern.work.supply_record import find_supply

NONE = "No adapter is set up here: measure at the battery and type the voltage in."


def build_adapter(
    desk: Desk, job: JobFile, person: Person, *, sheet: RunSheet | None = None
) -> dict[str, Any]:
    """Return what the Pairing leg shows of number and supply; nothing where nothing is to be read."""
    if job.state != "open" or not needs_pairing(job):
        return {}
    return {**build_number(desk, job, person), **build_supply(desk, job, person, sheet=sheet)}


def build_number(desk: Desk, job: JobFile, person: Person) -> dict[str, Any]:
    """Return how the number on board stands."""
    standing = find_standing(desk, job)
    read = job.on_board
    return {
        "number": standing,
        "number_read": read,
        "number_accepted": is_accepted(job),
        "number_stops": is_stopped(job),
        "number_slip": bool(read and read.how == "typed" and is_slip(read.read[0])),
        "has_adapter": find_reader() is not None,
        "may_read": person.may("bench"),
        "may_accept": person.may("owner"),
    }


def build_supply(
    desk: Desk, job: JobFile, person: Person, *, sheet: RunSheet | None = None, take: bool = False
) -> dict[str, Any]:
    """Return how the supply stands, drawn and in words; the adapter is kept at work for this job."""
    reader = find_reader()
    heard = listen(reader, job, person, take=take)
    supply = find_supply(desk, job, heard, sheet=sheet)
    return {
        "supply": supply,
        "supply_trace": draw_trace(supply.samples, supply.limits),
        "supply_typed": any(sample.source == "typed" for sample in supply.samples),
        "supply_last": supply.samples[-1] if supply.samples else None,
        "heard": heard,
        "has_adapter": reader is not None,
        "may_read": person.may("bench"),
    }


def listen(reader: SharedReader | None, job: JobFile, person: Person, *, take: bool = False) -> Heard:
    """Return what the adapter says for ``job``; only who works at the vehicle puts it to work."""
    if reader is None:
        return Heard("off", NONE)
    if job.state != "open" or not person.may("bench"):
        return Heard("off", OFF)
    return reader.ask(job.number, take=take)
