"""The Request leg: a job is opened, authority is recorded, a job can be withdrawn."""

from __future__ import annotations

from collections.abc import Mapping

from bittern.work.change import changing
from bittern.work.documents import DOCUMENTS, IDENTITY
from bittern.work.entry import Entry
from bittern.work.facts import Authority, JobFile, Request
from bittern.work.nextstep import name_wait
from bittern.work.people import Person, require
from bittern.work.ports import Desk

WANTS = {
    "spare": "One more key",
    "replacement": "A key in place of a broken one",
    "all-lost": "Every key is lost",
}
CAUTION = (
    "Local law decides who may have a key made and what must be kept on record; a licence may be required. "
    "Look at the papers, do not copy them."
)


def open_job(desk: Desk, person: Person, data: Mapping[str, object]) -> JobFile:
    """Open a job from fields want, customer, phone, plate, note."""
    require(person, "counter")
    request = _read_request(data)
    now = desk.clock.now()
    with desk.store.transaction():
        job = desk.store.new_job(request, person.login, now)
        desk.store.append(
            job.number, at=now, person=person.login, kind="request.opened", payload={"want": request.want}
        )
        return desk.store.save(job, waits_for=name_wait(job))


def change_request(desk: Desk, number: int, person: Person, data: Mapping[str, object]) -> None:
    """Change what was asked for: the same fields as :func:`open_job`."""
    request = _read_request(data)
    with changing(desk, number, person, "counter") as change:
        changed = sorted(
            name
            for name in Request.model_fields
            if getattr(request, name) != getattr(change.job.request, name)
        )
        if changed:
            change.put(request=request)
            # Names of fields only: the log outlives the customer's personal data.
            change.log("request.changed", fields=changed)


def record_authority(desk: Desk, number: int, person: Person, data: Mapping[str, object]) -> None:
    """Record which kinds of documents were seen: fields documents (list), holder, caution (ticked)."""
    entry = Entry(data)
    documents = entry.words("documents", tuple(DOCUMENTS))
    if IDENTITY not in documents or len(set(documents)) < 2:
        entry.fault(
            "documents",
            ", ".join(documents) or "nothing",
            "photo identity and at least one paper that ties the person to the vehicle",
        )
    holder = entry.text("holder", required=True, expected="the name that the papers show")
    if not entry.flag("caution"):
        entry.fault("caution", "not ticked", "a tick: local rules were considered")
    entry.finish()
    with changing(desk, number, person, "counter") as change:
        authority = Authority(
            documents=tuple(dict.fromkeys(documents)), holder=holder, seen_by=person.login, at=change.now
        )
        change.put(authority=authority)
        change.log("authority.recorded", documents=list(authority.documents))


def withdraw(desk: Desk, number: int, person: Person, data: Mapping[str, object]) -> None:
    """Close a job that will not be finished: field because."""
    entry = Entry(data)
    because = entry.text("because", required=True, expected="why the job ends here")
    entry.finish()
    with changing(desk, number, person, "counter") as change:
        change.put(state="withdrawn", withdrawn_because=because, closed_at=change.now)
        change.log("job.withdrawn", because=because)


def _read_request(data: Mapping[str, object]) -> Request:
    entry = Entry(data)
    want = entry.choice("want", tuple(WANTS))
    customer = entry.text("customer", required=True, expected="the customer's name", limit=80)
    phone = entry.text("phone", limit=40)
    plate = entry.text("plate", limit=16)
    note = entry.text("note", limit=1000)
    entry.finish()
    return Request.model_validate(
        {"want": want, "customer": customer, "phone": phone, "plate": plate, "note": note}
    )
