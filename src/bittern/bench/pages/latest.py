"""Two people at one job: an entry made on a page that is no longer true does not overwrite a newer one."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping

from bittern.work.errors import ConflictError
from bittern.work.facts import JobFile
from bittern.work.ports import Desk

SEEN = "seen"
# Acts that put something in the place of what is on record: act -> the fact of the job, in words.
REPLACES = {
    "change-request": ("request", "the request"),
    "record-authority": ("authority", "the authority"),
    "record-vehicle": ("vehicle", "the vehicle"),
    "strike-observation": ("observations", "the observations"),
    "choose-article": ("key", "the article"),
    "refuse-article": ("key", "the article"),
    "offer": ("promise", "the promise"),
    "accept": ("promise", "the promise"),
    "enter-bitting": ("blade", "the blade"),
    "enter-readings": ("blade", "the blade"),
    "take-reading": ("blade", "the blade"),
    "plan-ladder": ("ladder", "the ladders"),
    "begin-ladder": ("ladder", "the ladders"),
    "drop-ladder": ("ladder", "the ladders"),
    "record-cut": ("blade", "the blade"),
    "record-inspection": ("blade", "the blade"),
}


def mark_facts(job: JobFile, act: str) -> str:
    """Return a mark of what ``act`` would replace; another one as soon as anything of it changes."""
    return hashlib.sha256(repr(getattr(job, REPLACES[act][0])).encode()).hexdigest()[:16]


def require_latest(desk: Desk, number: int, act: str, typed: Mapping[str, object]) -> None:
    """Raise ConflictError when the form was drawn before what it replaces was changed.

    A form without the mark is not asked for it.
    """
    if act not in REPLACES or not typed.get(SEEN):
        return
    job = desk.store.load(number)
    if job.state == "open" and typed[SEEN] != mark_facts(job, act):
        raise ConflictError(
            f"{REPLACES[act][1]} recorded or changed since this page was read",
            "a look at what is on record now, and the entry once more if it still holds",
            where=f"job {number}",
            hint="what you typed is kept on this page",
        )
