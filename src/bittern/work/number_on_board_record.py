"""The number on board comes on record, read by adapter or person, and is cleared up where it is another."""

from __future__ import annotations

from collections.abc import Mapping

from bittern.engines.vehicle.errors import VehicleError
from bittern.engines.vehicle.number import LENGTH, check_vin, normalise_vin
from bittern.work.change import changing
from bittern.work.entry import Entry
from bittern.work.errors import NotYetError
from bittern.work.facts import OnBoard
from bittern.work.number_on_board import find_expected, find_verdict, is_stopped, normalise_numbers
from bittern.work.people import Person
from bittern.work.ports import Desk

ADAPTER, TYPED = "adapter", "typed"
HOWS = (ADAPTER, TYPED)
FRESH_S = 30.0
"""A number that the adapter gave longer ago is read again: the plug may be in another vehicle by now."""


def record_number(desk: Desk, number: int, person: Person, data: Mapping[str, object]) -> None:
    """Record the number on board: fields how (typed or adapter) and number, read at the vehicle.

    With ``adapter`` it is what the adapter has just read. It takes the place of an earlier one. One that is
    not the job's stops the pairing until the vehicle is corrected, the number read again, or an owner
    accepts it.
    """
    entry = Entry(data)
    how = entry.choice("how", HOWS, required=False) or TYPED
    text = entry.text("number", limit=40)
    with changing(desk, number, person, "bench") as change:
        expected = find_expected(change.job)
        if how == TYPED:
            read = normalise_numbers([text])
            _check_typed(entry, text, expected)
        else:
            read = _take_from_adapter(desk, number)
        entry.finish()
        change.put(
            on_board=OnBoard(
                read=read, how="adapter" if how == ADAPTER else "typed", by=person.login, at=change.now
            )
        )
        verdict = find_verdict(read, expected)
        change.log("number.read", read=list(read), how=how, verdict=verdict, expected=expected)


def accept_number(desk: Desk, number: int, person: Person, data: Mapping[str, object]) -> None:
    """Take a number on board that is not the job's: field because (for instance a control unit replaced)."""
    entry = Entry(data)
    because = entry.text(
        "because", required=True, expected="how it comes that the number is another", limit=300
    )
    entry.finish()
    with changing(desk, number, person, "owner") as change:
        read = change.job.on_board
        if read is None or not is_stopped(change.job):
            raise NotYetError(
                "no number on board that stops this job", "one that is not the job's", where="number"
            )
        expected = find_expected(change.job)
        accepted = {
            "accepted_because": because,
            "accepted_for": expected,
            "accepted_by": person.login,
            "accepted_at": change.now,
        }
        change.put(on_board=read.model_copy(update=accepted))
        change.log("number.accepted", read=list(read.read), expected=expected, because=because)


def _take_from_adapter(desk: Desk, number: int) -> tuple[str, ...]:
    heard = desk.adapter.hear(number) if desk.adapter else None
    given = heard.number if heard else None
    read = normalise_numbers(list(given.numbers.values())) if given else ()
    if heard is None or given is None or not read or heard.now_s - given.at_s > FRESH_S:
        raise NotYetError(
            "no number from the adapter",
            "one that it has just read",
            where="number",
            hint="read it through the adapter again, or at the windscreen and type it in",
        )
    return read


def _check_typed(entry: Entry, text: str, expected: str) -> None:
    """Ask again for a number with a slip in it, before it stops a job."""
    if not text:
        entry.fault("number", "nothing", "the number that stands on the vehicle")
        return
    typed = normalise_vin(text)[0]
    if typed == expected or len(expected) != LENGTH:
        return
    if len(typed) != LENGTH:
        entry.fault("number", f"{len(typed)} characters", f"{LENGTH}")


def is_slip(number: str) -> bool:
    """Tell whether a number that was typed does not agree with itself, so that a slip is likely."""
    try:
        return not check_vin(number).valid
    except VehicleError:
        return True
