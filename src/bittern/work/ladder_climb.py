"""Climbing the ladders of a job: one cutting after the other until one turns."""

from __future__ import annotations

from collections.abc import Mapping

from bittern.engines.blade.climbing import BACK, NO, SPOILT, TURNED
from bittern.work.blade import keep_bitting, require_cuttable, take_cutter
from bittern.work.change import SEAL_LADDER, changing
from bittern.work.entry import Entry
from bittern.work.errors import ConflictError, NotYetError
from bittern.work.facts import JobFile, Ladder, LadderEvent
from bittern.work.ladder import DROPPED, FOUND, OPEN, count_wasted, get_ladder, get_standing, open_seal
from bittern.work.people import Person
from bittern.work.ports import Desk

ANSWERS = (NO, SPOILT, BACK)


def begin_ladder(desk: Desk, number: int, person: Person, data: Mapping[str, object]) -> None:
    """Begin the cuttings: fields cutter, eyes and guard (both ticked)."""
    entry = Entry(data)
    cutter = take_cutter(entry, desk)
    with changing(desk, number, person, "bench") as change:
        ladder = get_ladder(change.job)
        if ladder.state == FOUND:
            raise NotYetError("a ladder that turned", "a new plan first", where="ladder")
        require_cuttable(desk, change.job, entry, cutter, where="ladder")
        change.put(ladder=ladder.model_copy(update={"state": OPEN, "cutter": cutter}))
        change.log("ladder.begun", cutter=cutter, standard=ladder.standard)


def record_rung(desk: Desk, number: int, person: Person, data: Mapping[str, object]) -> None:
    """Record what came of the cutting at hand: fields answer (no, spoilt or back) and place.

    ``place`` counts the entries so far, so that the same answer sent twice changes nothing and one for a rung
    that is past is refused.
    """
    entry = Entry(data)
    answer = entry.choice("answer", ANSWERS)
    place = entry.whole("place", 0, 100_000, required=True)
    entry.finish()
    with changing(desk, number, person, "bench") as change:
        ladder = _get_open(change.job)
        if _came_before(ladder, place, answer, person):
            return
        standing = get_standing(ladder)
        if standing.ladder >= len(ladder.rungs) and answer != BACK:
            raise NotYetError("no cutting left", "a step back, or a new plan", where="ladder")
        if answer == BACK and not _has_step(ladder):
            raise NotYetError("the first cutting", "an entry to take back", where="ladder")
        # The analyser cannot know that a choice is one of the three.
        event = LadderEvent.model_validate({"kind": answer, "by": person.login, "at": change.now})
        change.put(ladder=ladder.model_copy(update={"events": (*ladder.events, event)}))
        change.log("ladder.rung", answer=answer, blank=standing.blank, cutting=standing.rung + 1, place=place)


def finish_ladder(desk: Desk, number: int, person: Person, data: Mapping[str, object]) -> None:
    """Close the ladders with the cutting that turned: fields place, sure (ticked), keep_blank.

    Its bitting is sealed as the job's. With keep_blank the blank in hand counts as the cut key.
    """
    entry = Entry(data)
    place = entry.whole("place", 0, 100_000, required=True)
    if not entry.flag("sure"):
        entry.fault("sure", "not ticked", "a tick: it turned lightly, and the ladders end here")
    entry.finish()
    with changing(desk, number, person, "bench") as change:
        ladder = _get_open(change.job, or_found=True)
        if _came_before(ladder, place, TURNED, person):
            return
        opened = open_seal(desk, change.job, _get_open(change.job))
        rung, standing = opened.rung, opened.standing
        if rung is None:
            raise NotYetError("no cutting left", "a step back, or a new plan", where="ladder")
        text = opened.ladders[standing.ladder][standing.rung]
        wasted = ladder.wasted_before + standing.wasted
        # A blank that is not kept as the key is put aside too.
        wasted += 0 if entry.flag("keep_blank") else 1
        keep_bitting(desk, change, opened.standard, text, "ladder", wasted=wasted)
        event = LadderEvent(kind="turned", by=person.login, at=change.now)
        change.put(ladder=ladder.model_copy(update={"state": FOUND, "events": (*ladder.events, event)}))
        change.log("ladder.turned", blank=standing.blank, cutting=standing.rung + 1, wasted=wasted)
        if entry.flag("keep_blank") and change.job.blade is not None:
            update = {"cutter": ladder.cutter, "cut_by": person.login, "cut_at": change.now}
            change.put(blade=change.job.blade.model_copy(update=update), proof=())
            change.log("blade.cut", cutter=ladder.cutter, standard=ladder.standard)
        desk.store.drop_seal(number, SEAL_LADDER)


def drop_ladder(desk: Desk, number: int, person: Person, data: Mapping[str, object]) -> None:
    """Give the ladders up: field because. The plan is destroyed, the blanks it took stay counted."""
    entry = Entry(data)
    because = entry.text("because", required=True, expected="why the ladders end here")
    entry.finish()
    with changing(desk, number, person, "bench") as change:
        ladder = get_ladder(change.job)
        if ladder.state == FOUND:
            raise NotYetError("a ladder that turned", "one that is under way", where="ladder")
        change.put(ladder=ladder.model_copy(update={"state": DROPPED}))
        change.log("ladder.dropped", because=because, wasted=count_wasted(ladder))
        desk.store.drop_seal(number, SEAL_LADDER)


def _get_open(job: JobFile, *, or_found: bool = False) -> Ladder:
    ladder = get_ladder(job)
    if ladder.state == OPEN or (or_found and ladder.state == FOUND):
        return ladder
    raise NotYetError("no cutting begun", "the cutter chosen and the guard closed first", where="ladder")


def _came_before(ladder: Ladder, place: int | None, answer: str, person: Person) -> bool:
    """Tell whether this very answer is on record; raises ConflictError where another one is."""
    count = len(ladder.events)
    if place == count and ladder.state == OPEN:
        return False
    if place is not None and place < count:
        there = ladder.events[place]
        if there.kind == answer and there.by == person.login:
            return True
    raise ConflictError(
        f"{count} entries on these ladders",
        f"{place} as the page was drawn",
        where="ladder",
        hint="look at the rung at hand, then answer again",
    )


def _has_step(ladder: Ladder) -> bool:
    left = 0
    for event in ladder.events:
        left = max(0, left - 1) if event.kind == BACK else left + 1
    return left > 0
