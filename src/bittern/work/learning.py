"""What the shop has learnt: recorded at handover, weighed with, taken back and restored."""

from __future__ import annotations

import threading
from collections.abc import Hashable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import TYPE_CHECKING

from bittern.engines.key.evidence import Vehicle
from bittern.engines.key.identification import Candidate, Identification
from bittern.engines.key.index import KeyIndex, plain_name
from bittern.engines.key.learning import LearntCell
from bittern.work.entry import Entry
from bittern.work.facts import JobFile
from bittern.work.lessons import WHY_REFUSED, KeptLesson, LessonNote, lessons_of
from bittern.work.people import Person, require

if TYPE_CHECKING:
    from bittern.engines.key.learnt import Learnt
    from bittern.work.ports import Desk

# A share that moved by less is not worth a sentence.
_WORTH_SAYING = 0.005
WHATS = ("job", "vehicle", "all")


@dataclass(frozen=True, slots=True)
class _Kept:
    index: KeyIndex
    state: Hashable
    day: date
    learnt: Learnt


_lock = threading.Lock()
# What was learnt last: pages ask again and again, and lessons come a few times a day.
_kept: list[_Kept] = []


def load_learnt(desk: Desk) -> Learnt | None:
    """Return what the shop has learnt as of today, or None where nothing was; one look at the store."""
    if desk.lessons is None:
        return None
    state, day, index = desk.lessons.state(), desk.clock.now().date(), desk.pack.key_index
    with _lock:
        for kept in _kept:
            if kept.index is index and (kept.state, kept.day) == (state, day):
                return kept.learnt if kept.learnt.lessons else None
    from bittern.engines.key.learnt import learn

    learnt = learn(index, [one.lesson for one in desk.lessons.all() if not one.taken], day)
    with _lock:
        _kept[:] = [_Kept(index, state, day, learnt)]
    return learnt if learnt.lessons else None


def record_lessons(desk: Desk, job: JobFile) -> None:
    """Keep what a job that is just closed teaches; inside the transaction that closes it."""
    if desk.lessons is not None:
        desk.lessons.add(lessons_of(job))


def say_learnt(
    learnt: Learnt | None, vehicle: Vehicle, found: Identification, job: JobFile
) -> Identification:
    """Return ``found`` with a sentence wherever finished jobs or a refusal moved something."""
    cells = learnt.cells_of(vehicle) if learnt else []
    candidates = tuple(_add_reasons(one, cells, job) for one in found.candidates)
    assumed = found.assumed
    if learnt is not None and learnt.moved_rates:
        jobs = max(one.cases for one in learnt.moved_rates)
        word = "one finished job" if jobs == 1 else f"{jobs} finished jobs"
        assumed = (*assumed, f"how often each way of observing is wrong, as learnt from {word} of this shop")
    return replace(found, candidates=candidates, assumed=assumed)


def _add_reasons(one: Candidate, cells: Sequence[LearntCell], job: JobFile) -> Candidate:
    because = list(one.because)
    because[1:1] = [
        *(say for say in [say_share(cells, one.article)] if say),
        *(
            f"taken for this vehicle before and refused: {WHY_REFUSED[r.why][0].rstrip('.').lower()}"
            for r in job.refused
            if r.article == one.article and r.why in WHY_REFUSED
        ),
    ]
    return replace(one, because=tuple(because))


def say_share(cells: Sequence[LearntCell], article: str) -> str:
    """Return in words how finished jobs moved an article's share, or "" where they hardly did."""
    jobs = sum(cell.jobs for cell in cells)
    shares = [share for cell in cells for share in cell.shares if share.article == article]
    if not jobs or not any(abs(one.learnt - one.listed) >= _WORTH_SAYING for one in shares):
        return ""
    fitted = sum(one.fitted for one in shares)
    count = f"{fitted} of {jobs} finished jobs" if jobs > 1 else f"{fitted} of 1 finished job"
    listed = "" if any(one.listed > 0.0 for one in shares) else "; the pack does not list it"
    if len(shares) > 1:
        return f"in {count} of this shop such a vehicle took it{listed}"
    only = shares[0]
    moved = f"its share was {100 * only.listed:.0f} in 100 and is {100 * only.learnt:.0f} in 100 since"
    return f"in {count} of this shop such a vehicle took it{listed or f': {moved}'}"


def take_back(desk: Desk, person: Person, data: Mapping[str, object]) -> int:
    """Take lessons back: fields what (job, vehicle, all), job, or make and model; sure. Returns how many."""
    return _set_taken(desk, person, data, taken=True)


def restore(desk: Desk, person: Person, data: Mapping[str, object]) -> int:
    """Restore lessons that were taken back; fields as in :func:`take_back`."""
    return _set_taken(desk, person, data, taken=False)


def _set_taken(desk: Desk, person: Person, data: Mapping[str, object], *, taken: bool) -> int:
    require(person, "owner")
    entry = Entry(data)
    what = entry.choice("what", WHATS)
    number = entry.whole("job", 1, 2**31 - 1, required=what == "job")
    make, model = entry.text("make", limit=100), entry.text("model", limit=100)
    if what == "vehicle" and not (make and model):
        entry.fault("make", "no make or no model", "both")
    if not entry.flag("sure"):
        entry.fault("sure", "not ticked", "a tick: what is answered from now on changes with it")
    entry.finish()
    if desk.lessons is None:
        return 0

    def is_meant(one: KeptLesson) -> bool:
        named = (plain_name(one.lesson.make), plain_name(one.lesson.model))
        return {
            "job": one.job == number,
            "vehicle": named == (plain_name(make), plain_name(model)),
            "all": True,
        }[what]

    with desk.store.transaction():
        ids = [one.id for one in desk.lessons.all() if one.taken != taken and is_meant(one)]
        said = {"job": f"job {number}", "vehicle": f"{make} {model}", "all": "all lessons"}[what]
        note = LessonNote(desk.clock.now(), person.login, "taken back" if taken else "restored", said)
        return desk.lessons.set_taken(ids, note, taken=taken)
