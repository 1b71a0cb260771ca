"""Pictures that are kept with a job because somebody said so: sealed, and looked at with a reason."""

from __future__ import annotations

import base64
import binascii
import re
from collections.abc import Mapping

from bittern.work.change import changing
from bittern.work.entry import Entry
from bittern.work.errors import NotYetError, SealBrokenError
from bittern.work.people import Person, require
from bittern.work.ports import Desk

KEPT, REMOVED = "picture.kept", "picture.removed"
MOST_KEPT = 6
LARGEST_BYTES = 2_000_000
_NAME = re.compile(r"picture-\d{1,2}")


def keep_picture(desk: Desk, number: int, person: Person, jpeg: bytes, leg: str) -> str:
    """Seal a picture, already shrunk and without metadata, and return the name it is kept under.

    Raises
    ------
    FieldsError
        The job has as many as it may, or the picture is too large.
    """
    entry = Entry({})
    with changing(desk, number, person, "counter") as change:
        kept = list_pictures(desk, number)
        if len(kept) >= MOST_KEPT:
            entry.fault("keep", f"{len(kept)} pictures kept with this job", f"at most {MOST_KEPT}")
        if len(jpeg) > LARGEST_BYTES:
            entry.fault("keep", f"{len(jpeg):,} bytes", f"at most {LARGEST_BYTES:,} bytes")
        entry.finish()
        # A name is never given twice: the log speaks of the picture that had it.
        name = f"picture-{len(desk.store.entries(number, KEPT)) + 1}"
        desk.store.seal(number, name, base64.b64encode(jpeg).decode())
        change.log(KEPT, name=name, leg=leg)
    return name


def list_pictures(desk: Desk, number: int) -> tuple[str, ...]:
    """Return the names of the pictures kept with a job, oldest first, but for those that were removed."""
    removed = {str(entry.payload["name"]) for entry in desk.store.entries(number, REMOVED)}
    names = (str(entry.payload["name"]) for entry in desk.store.entries(number, KEPT))
    return tuple(name for name in names if name not in removed)


def remove_picture(desk: Desk, number: int, person: Person, data: Mapping[str, object]) -> None:
    """Destroy a kept picture, of a closed job too: fields name, reason, sure (ticked)."""
    require(person, "look")
    entry = Entry(data)
    name = entry.text("name")
    reason = entry.text("reason", required=True, expected="why it is no longer needed")
    if not entry.flag("sure"):
        entry.fault("sure", "not ticked", "a tick: the picture cannot be brought back")
    entry.finish()
    with desk.store.transaction():
        desk.store.load_for_change(number)
        if name not in list_pictures(desk, number):
            raise NotYetError("no such picture", "one kept with this job", where="picture")
        desk.store.drop_seal(number, name)
        desk.store.append(
            number,
            at=desk.clock.now(),
            person=person.login,
            kind=REMOVED,
            payload={"name": name, "reason": reason},
        )


def look_at_picture(desk: Desk, number: int, person: Person, name: str, reason: str) -> bytes:
    """Return a kept picture as JPEG; the look is logged with person and reason before the seal opens."""
    require(person, "look")
    entry = Entry({"reason": reason})
    reason = entry.text("reason", required=True, expected="why you look at the picture")
    entry.finish()
    with desk.store.transaction():
        desk.store.load_for_change(number)
        if not _NAME.fullmatch(name) or name not in list_pictures(desk, number):
            raise NotYetError("no such picture", "one kept with this job", where="picture")
        desk.store.append(
            number,
            at=desk.clock.now(),
            person=person.login,
            kind="seal.looked",
            payload={"name": name, "reason": reason},
        )
        secret = desk.store.unseal(number, name)
    if secret is None:
        raise NotYetError("no such picture", "one kept with this job", where="picture")
    try:
        return base64.b64decode(secret, validate=True)
    except binascii.Error as error:
        raise SealBrokenError("a seal with no picture in it", "a picture", where=name) from error
