"""The Handover leg: what the sheet says, the signature, the end of the job."""

from __future__ import annotations

import json
from collections.abc import Mapping
from datetime import UTC, tzinfo
from typing import Any

from bittern.core.phrases import join_words
from bittern.formats.handover_pdf import SIGN_SIDE, HandoverSheet, SheetKey, Strokes
from bittern.formats.runsheets import parse_runsheet
from bittern.work.change import changing
from bittern.work.entry import Entry
from bittern.work.errors import NotYetError
from bittern.work.facts import Handover, JobFile
from bittern.work.learning import record_lessons
from bittern.work.people import Person
from bittern.work.ports import Desk, ShopTerms
from bittern.work.prooflist import list_tests, say_inspection
from bittern.work.settled import LEGS, is_settled, needs_pairing

MAX_POINTS = 4000
MAX_TEXT = 100_000

CELL = "Keep new and used coin cells away from children; if one is swallowed, get medical help at once."
APART = "Keep the spare apart from the key that is used daily."
ABSENT = "A key that was not present at pairing may no longer start the vehicle; bring it to be paired."


def sign_handover(desk: Desk, number: int, person: Person, data: Mapping[str, object]) -> None:
    """Hand over and close: fields keys_handed, payment_reference, signed_by, strokes (JSON) or on_paper."""
    entry = Entry(data)
    keys = entry.whole("keys_handed", 1, 20, required=True)
    reference = entry.text("payment_reference", limit=60)
    signed_by = entry.text("signed_by", required=True, expected="the name of the person who signs", limit=80)
    # Who cannot draw on the screen signs the printed sheet; the record says which it was.
    on_paper = entry.flag("on_paper")
    strokes = () if on_paper else _read_strokes(entry, data.get("strokes", ""))
    entry.finish()
    with changing(desk, number, person, "counter") as change:
        for leg in LEGS[:-1]:
            if not is_settled(change.job, leg):
                raise NotYetError(f"the {leg} leg open", "every leg before settled", where="handover")
        handover = Handover(
            payment_reference=reference,
            keys_handed=keys or 1,
            signed_by=signed_by,
            strokes=strokes,
            handed_by=person.login,
            at=change.now,
        )
        change.put(handover=handover, state="closed", closed_at=change.now)
        # Every leg is settled, so the proof has passed: it is known now which article such a vehicle takes.
        record_lessons(desk, change.job)
        change.log("handover.signed", keys_handed=keys, payment_reference=reference, on_paper=on_paper)


def compose_sheet(job: JobFile, terms: ShopTerms, zone: tzinfo = UTC) -> HandoverSheet:
    """Return what the handover paper says, its day in ``zone``.

    Raises
    ------
    NotYetError
        No article is chosen, or nothing promised.
    """
    if job.key is None or job.promise is None:
        raise NotYetError(
            "no article or no promise", "both, before a handover sheet can be drawn", where="handover"
        )
    v, answers = job.vehicle, {answer.test: answer for answer in job.proof}
    tests = tuple(
        (
            test.say,
            ("passed" if answers[test.id].passed else "FAILED") if test.id in answers else "not yet tested",
        )
        for test in list_tests(job)
    )
    inspected = say_inspection(job)
    if inspected:
        tests = ((inspected, "passed"), *tests)
    at = job.handover.at if job.handover else None
    return HandoverSheet(
        shop=terms.name,
        town=terms.town,
        number=job.number,
        customer=job.request.customer,
        vehicle=" ".join(str(part) for part in (v.make, v.model, v.year or "") if part) if v else "",
        vin=v.vin if v else "",
        plate=job.request.plate,
        made=f"{job.key.title} ({job.key.article})",
        lines=tuple((line.text, str(line.amount)) for line in job.promise.lines),
        currency=job.promise.currency,
        tax=str(job.promise.tax),
        total=str(job.promise.total),
        keys=_list_keys(job),
        tests=tests,
        cautions=_list_cautions(job),
        payment_reference=job.handover.payment_reference if job.handover else "",
        keys_handed=job.handover.keys_handed if job.handover else None,
        signed_by=job.handover.signed_by if job.handover else "",
        strokes=job.handover.strokes if job.handover else (),
        day=at.astimezone(zone).date() if at else None,
    )


def _list_cautions(job: JobFile) -> tuple[str, ...]:
    """Return what concerns this key: no cell where there is none, no pairing where nothing was paired."""
    cell = (CELL,) if job.key is not None and job.key.battery else ()
    return (*cell, APART, *_list_key_cautions(job))


def _list_key_cautions(job: JobFile) -> tuple[str, ...]:
    """Return what became of the other keys, by the job's census and the run sheet's."""
    pairing = job.pairing
    if not needs_pairing(job) or pairing is None:
        return (ABSENT,) if needs_pairing(job) else ()
    lost = [key.name for key in pairing.census_after if key.works_after is False and not key.new]
    lines = []
    if lost:
        one, start, it = ("This key", "starts", "it") if len(lost) == 1 else ("These keys", "start", "them")
        lines.append(f"{one} no longer {start} the vehicle: {join_words(lost)}. Bring {it} to be paired.")
    sheet = parse_runsheet(pairing.sheet_text, pairing.sheet) if pairing.sheet_text else None
    # Where no key was lost a key that nobody counted works as it did.
    if sheet is None or sheet.census != "all":
        lines.append(ABSENT)
    return tuple(lines)


def _list_keys(job: JobFile) -> tuple[SheetKey, ...]:
    if job.pairing is None:
        return ()
    return tuple(
        SheetKey(key.name, key.present, key.new, key.worked_before, key.works_after)
        for key in job.pairing.census_after or job.pairing.census
    )


def _read_strokes(entry: Entry, raw: object) -> Strokes:
    expected = "a signature drawn in the field, or a tick that the printed sheet was signed"
    if isinstance(raw, str) and len(raw) > MAX_TEXT:
        entry.fault("strokes", f"{len(raw)} characters", f"at most {MAX_TEXT}")
        return ()
    try:
        strokes: Any = json.loads(raw) if isinstance(raw, str) else raw
        read = tuple(tuple((int(x), int(y)) for x, y in stroke) for stroke in strokes)
    except (ValueError, TypeError, OverflowError, RecursionError):
        entry.fault("strokes", "no readable drawing", expected)
        return ()
    points = [point for stroke in read for point in stroke]
    if not 2 <= len(points) <= MAX_POINTS:
        entry.fault("strokes", f"{len(points)} points", f"{expected}, 2 to {MAX_POINTS} points")
        return ()
    if any(not 0 <= value <= SIGN_SIDE for point in points for value in point):
        entry.fault("strokes", "a point outside the field", f"coordinates from 0 to {SIGN_SIDE}")
        return ()
    return read
