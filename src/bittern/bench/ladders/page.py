"""What the pages of a job's ladders show: closed, the rung at hand, the list to print."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from django.utils.safestring import mark_safe

from bittern.bench.jobs.models import Sealed
from bittern.bench.pages.legs.blade import EDGE_WORDS, build_cutters
from bittern.bench.pages.traveller import load_drafts
from bittern.core.phrases import join_words
from bittern.engines.blade.bitting import UNKNOWN, Bitting, format_bitting, name_cut, parse_bitting
from bittern.engines.blade.climbing import name_deeper
from bittern.engines.blade.ladder import MOST_BLANKS
from bittern.engines.blade.standard import BladeStandard
from bittern.engines.blade.worklist import cutting_list
from bittern.formats.chart import format_length
from bittern.formats.ladder_drawing import draw_rung
from bittern.work.blade import get_standard
from bittern.work.change import SEAL_READING
from bittern.work.code_tables import find_table
from bittern.work.facts import JobFile, Ladder
from bittern.work.ladder import DROPPED, FOUND, OPEN, PLANNED, OpenedLadder, Rung, find_ladder, get_standing
from bittern.work.ladder_plan import list_known_fields
from bittern.work.legs import TITLES
from bittern.work.people import Person
from bittern.work.ports import Desk
from bittern.work.settled import is_settled

PLAN, BEGIN, RUNG, TURNED, DROP = "plan-ladder", "begin-ladder", "ladder-rung", "ladder-turned", "drop-ladder"
LOOK = "look-ladder"
READINGS = "enter-readings"
NOTHING_ELSE = {"": "Nothing: each is as likely as any other"}
WEIGH_WORDS = {
    "caliper": "The caliper readings that I typed on the Blade leg",
    "picture": "What was read from the picture of the old key",
}


@dataclass(frozen=True, slots=True)
class CutLine:
    """One cut of the rung at hand: what it is cut to, and whether it goes deeper now."""

    name: str
    label: str
    height: str
    place: str
    edge: str
    deeper: bool


def build_closed(desk: Desk, job: JobFile, person: Person) -> dict[str, Any]:
    """Return what is shown while the seal is closed: counts, never a bitting."""
    standard, ladder = get_standard(desk, job), find_ladder(job)
    if ladder is not None and ladder.state == DROPPED:
        ladder = None
    may_work = person.may("bench") and job.state == "open"
    standing = get_standing(ladder) if ladder else None
    waiting = [TITLES[leg][0] for leg in ("request", "promise") if not is_settled(job, leg)]
    return {
        "job": job,
        "standard": standard,
        "is_edge": standard.kind == "edge",
        "ladder": ladder,
        "standing": standing,
        "planned": ladder is not None and ladder.state == PLANNED,
        "going": ladder is not None and ladder.state == OPEN,
        "found": ladder is not None and ladder.state == FOUND,
        "tried_all": standing is not None and ladder is not None and standing.ladder >= len(ladder.rungs),
        "place_words": say_place(ladder) if ladder else "",
        "may_work": may_work,
        "may_plan": may_work and job.authority is not None and standard.kind == "edge",
        "waiting": waiting,
        "table": find_table(desk, standard),
        "known_fields": list_known_fields(standard),
        "labels": {UNKNOWN: "not known", **{label: label for label in standard.labels}},
        "weigh_options": list_weighings(desk, job, person),
        "most_blanks": MOST_BLANKS,
        "initial": {
            LOOK: {"reason": f"Ladders of job {job.number}"},
            BEGIN: {"reason": f"Ladders of job {job.number}"},
        },
        **(build_cutters(desk, job, standard) if ladder else {}),
    }


def list_weighings(desk: Desk, job: JobFile, person: Person) -> dict[str, str]:
    """Return what the bittings that are left may be weighed by, as far as there is any."""
    there = dict(NOTHING_ELSE)
    if list_typed_readings(desk, job.number, person):
        there["caliper"] = WEIGH_WORDS["caliper"]
    if Sealed.objects.filter(job_id=job.number, name=SEAL_READING).exists():
        there["picture"] = WEIGH_WORDS["picture"]
    return there


def list_typed_readings(desk: Desk, number: int, person: Person) -> dict[str, object]:
    """Return the caliper readings that this person has typed on the Blade leg and not sent."""
    typed = load_drafts(number, person.login).get(READINGS, {})
    kept = {name: value for name, value in typed.items() if name == "sd_mm" or name.startswith("reading-")}
    return kept if any(value for name, value in kept.items() if name != "sd_mm") else {}


def say_place(ladder: Ladder) -> str:
    """Return which cutting is at hand, in words."""
    standing = get_standing(ladder)
    if standing.ladder >= len(ladder.rungs):
        return "every cutting was tried"
    return f"blank {standing.blank}, cutting {standing.rung + 1} of {ladder.rungs[standing.ladder]}"


def build_rung(desk: Desk, job: JobFile, person: Person, opened: OpenedLadder, reason: str) -> dict[str, Any]:
    """Return the screen of the rung at hand; for a page that no cache keeps."""
    ladder, rung, standard = find_ladder(job), opened.rung, opened.standard
    assert ladder is not None
    context: dict[str, Any] = {
        "job": job,
        "ladder": ladder,
        "standard": standard,
        "standing": opened.standing,
        "rung": rung,
        "reason": reason,
        "place": len(ladder.events),
        "can_step_back": opened.standing.tried > 0 or opened.standing.blank > 1,
        "may_work": person.may("bench") and job.state == "open" and ladder.state == OPEN,
        "blanks": len(ladder.rungs),
        "unit": desk.terms.unit,
        "left": ladder.remaining - opened.standing.tried - 1,
    }
    if rung is None:
        return context
    lines = list_cuts(standard, rung, desk.terms.unit)
    # The drawing holds numbers and the standard's labels, which it escapes.
    drawing = mark_safe(draw_rung(standard, rung.bitting, rung.before, rung.deeper))  # noqa: S308
    return context | {
        "say": say_rung(rung, lines),
        "lines": lines,
        "deeper": [line for line in lines if line.deeper],
        "edges": any(line.edge for line in lines),
        "drawing": drawing,
        "bitting": format_bitting(standard, rung.bitting),
    }


def list_cuts(standard: BladeStandard, rung: Rung, unit: str) -> list[CutLine]:
    """Return every cut of the rung with its height, in the order it is written."""
    count = len(standard.positions_mm)
    return [
        CutLine(
            name=name_cut(standard, *divmod(index, count)),
            label=row.label,
            height=format_length(row.height_mm, unit),
            place=format_length(row.position_mm, unit),
            edge=EDGE_WORDS[row.edge],
            deeper=name_cut(standard, *divmod(index, count)) in rung.deeper,
        )
        for index, row in enumerate(cutting_list(standard, rung.bitting))
    ]


def say_rung(rung: Rung, lines: list[CutLine]) -> str:
    """Return what to do at this rung, as a sentence."""
    if rung.before is None:
        return "Take a new blank and cut every cut."
    cuts = [f"cut {one.name} to depth {one.label}" for one in lines if one.deeper]
    return f"Make deeper: {join_words(cuts)}."


def build_list(desk: Desk, job: JobFile, opened: OpenedLadder, reason: str) -> dict[str, Any]:
    """Return all ladders as a list to work by and to print."""
    standard, done = opened.standard, opened.standing
    ladders = []
    for number, rungs in enumerate(opened.ladders):
        before: Bitting | None = None
        rows = []
        for place, text in enumerate(rungs):
            bitting = parse_bitting(standard, text)
            deeper = name_deeper(standard, before, bitting)
            said = "every cut" if before is None else f"cut {join_words(list(deeper))}"
            state = (number, place) < (done.ladder, done.rung)
            here = (number, place) == (done.ladder, done.rung)
            rows.append({"bitting": text, "deeper": said, "tried": state, "here": here})
            before = bitting
        ladders.append({"number": number + 1, "rows": rows})
    return {
        "job": job,
        "ladder": find_ladder(job),
        "standard": standard,
        "ladders": ladders,
        "proof": opened.proof,
        "known": opened.known,
        "reason": reason,
        "depths": [
            (label, format_length(depth, desk.terms.unit))
            for label, depth in zip(standard.labels, standard.depths_mm, strict=True)
        ],
        "unit": desk.terms.unit,
    }
