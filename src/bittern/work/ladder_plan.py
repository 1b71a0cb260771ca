"""Planning ladders within a job: from known cuts, readings and a code table; sealed when there is hope."""

from __future__ import annotations

import json
from collections.abc import Mapping

from bittern.engines.blade.bitting import (
    UNKNOWN,
    Bitting,
    count_edges,
    find_violations,
    format_bitting,
    read_bitting,
)
from bittern.engines.blade.code_table import CodeTable
from bittern.engines.blade.ladder import MOST_BLANKS, LadderPlan, plan_ladders
from bittern.engines.blade.measurement import Measurement
from bittern.engines.blade.standard import BladeStandard
from bittern.engines.blade.weighing import weigh_remaining
from bittern.work.blade import get_standard
from bittern.work.blade_reading import look_at_reading
from bittern.work.change import SEAL_LADDER, Change, changing
from bittern.work.code_tables import use_table
from bittern.work.entry import Entry
from bittern.work.errors import ConflictError, NotYetError, WorkError
from bittern.work.facts import Ladder
from bittern.work.ladder import OPEN, count_wasted, find_ladder, get_standing
from bittern.work.people import Person, require
from bittern.work.ports import Desk
from bittern.work.readings import list_reading_fields, read_measurement

CALIPER, PICTURE = "caliper", "picture"
WEIGH_BY = (CALIPER, PICTURE)


class HopelessError(WorkError):
    """The ladders would take too many blanks; ``plan`` says how many, and which further cut helps."""

    code = "work.ladder-hopeless"
    meaning = "Too many bittings agree with what is known: ladders would waste too many blanks."

    def __init__(self, plan: LadderPlan) -> None:
        self.plan = plan
        found = f"{plan.blanks:,} blanks" if plan.blanks is not None else f"{plan.remaining:,} bittings left"
        helps = f"find out cut {plan.helps[0].cut} first" if plan.helps else ""
        super().__init__(found, f"at most {MOST_BLANKS} blanks", where="known", hint=helps)


def list_known_fields(standard: BladeStandard) -> tuple[tuple[str, str], ...]:
    """Return the field and the cut's name for every cut, in the order a bitting is written."""
    return tuple((name.replace("reading", "known"), label) for name, label in list_reading_fields(standard))


def plan_job_ladder(desk: Desk, number: int, person: Person, data: Mapping[str, object]) -> None:
    """Plan ladders and seal them: fields known (or known-1 …), use_table, weigh_by, reading-1 …, sure.

    ``known`` is a bitting with ? for unknown cuts. ``weigh_by`` is ``caliper`` (the readings in the entry) or
    ``picture`` (the reading that is kept with the job), each however doubtful. An earlier plan on which work
    has begun is replaced only with the tick sure.
    """
    require(person, "bench")
    entry = Entry(data)
    job = desk.store.load(number)
    if job.authority is None:
        raise NotYetError("no authority on record", "it recorded before a blade is touched", where="blade")
    standard = get_standard(desk, job)
    if standard.kind != "edge":
        raise NotYetError(
            f"{standard.title}, a track blade", "an edge blade, which can be cut deeper", where="ladder"
        )
    known = _read_known(entry, standard)
    weigh_by = entry.choice("weigh_by", WEIGH_BY, required=False)
    with_table = entry.flag("use_table")
    _require_replaceable(entry, find_ladder(job))
    if known is not None and not weigh_by and not with_table and not _knows_any(known):
        entry.fault("known", "no known cut", "one at least, or a reading, or a code table")
    entry.finish()
    assert known is not None
    reading = _find_reading(desk, number, person, standard, weigh_by, data)
    table = use_table(desk, number, person, standard) if with_table else None
    plan = _work_out(entry, standard, known, table, reading)
    with changing(desk, number, person, "bench") as change:
        if get_standard(desk, change.job).id != standard.id:
            raise ConflictError("another article by now", "the one this was planned for", where="ladder")
        _require_replaceable(entry, find_ladder(change.job))
        entry.finish()
        _seal_plan(desk, change, standard, plan, known, table=with_table, reading=reading is not None)


def _find_reading(
    desk: Desk,
    number: int,
    person: Person,
    standard: BladeStandard,
    weigh_by: str,
    data: Mapping[str, object],
) -> Measurement | None:
    if weigh_by == CALIPER:
        return read_measurement(standard, data)
    if weigh_by == PICTURE:
        return look_at_reading(desk, number, person, "ladders")[0].measurement
    return None


def _work_out(
    entry: Entry,
    standard: BladeStandard,
    known: Bitting,
    table: CodeTable | None,
    reading: Measurement | None,
) -> LadderPlan:
    """Return a plan that is worth its blanks; no transaction may be open, as the engine takes its time."""
    weighing = weigh_remaining(standard, known, table=table, reading=reading)
    if weighing is None:
        plan = plan_ladders(standard, known)
    else:
        plan = plan_ladders(standard, known, weighing.weights, covered=weighing.covered)
    if not plan.remaining:
        expected = "cuts that the standard's rules allow" + (" and the code table holds" if table else "")
        entry.fault("known", "no bitting that agrees with all of this", expected)
        entry.finish()
    if plan.hopeless:
        raise HopelessError(plan)
    return plan


def _read_known(entry: Entry, standard: BladeStandard) -> Bitting | None:
    """Return the known cuts from field known, else from the fields of single cuts."""
    text = entry.text("known", limit=400)
    if not text:
        labels = (*standard.labels, UNKNOWN)
        fields = list_known_fields(standard)
        chosen = [entry.choice(name, labels, required=False) or UNKNOWN for name, _ in fields]
        # What is no label is noted beside its field, and unknown for the rest.
        chosen = [label if label in labels else UNKNOWN for label in chosen]
        count = len(standard.positions_mm)
        text = " / ".join(" ".join(chosen[e * count : (e + 1) * count]) for e in range(count_edges(standard)))
    known, violations = read_bitting(standard, text)
    violations = violations or (find_violations(standard, known) if known else [])
    for violation in violations:
        entry.fault("known", violation.found, violation.expected)
    return known


def _knows_any(known: Bitting) -> bool:
    return any(cut is not None for cuts in known.edges for cut in cuts)


def _require_replaceable(entry: Entry, ladder: Ladder | None) -> None:
    """Note a fault where work on an earlier plan would be lost without its second, deliberate act."""
    if ladder is None or ladder.state != OPEN or not ladder.events or entry.flag("sure"):
        return
    tried = get_standing(ladder).tried
    entry.fault("sure", "not ticked", f"a tick: the plan on record, {tried} cuttings tried, would be lost")


def _seal_plan(
    desk: Desk,
    change: Change,
    standard: BladeStandard,
    plan: LadderPlan,
    known: Bitting,
    *,
    table: bool,
    reading: bool,
) -> None:
    before = change.job.ladder
    secret = {
        "standard": standard.id,
        "known": format_bitting(standard, known),
        "ladders": plan.ladders,
        "proof": plan.proof,
    }
    desk.store.seal(change.job.number, SEAL_LADDER, json.dumps(secret, separators=(",", ":")))
    best = plan.helps[0] if plan.helps else None
    ladder = Ladder(
        standard=standard.id,
        planned_by=change.person.login,
        planned_at=change.now,
        remaining=plan.remaining,
        rungs=tuple(len(rungs) for rungs in plan.ladders),
        expected_cuttings=plan.expected_cuttings or 0.0,
        covered=plan.covered,
        table=table,
        reading=reading,
        help_cut=best.cut if best else "",
        help_blanks=best.expected_blanks if best else None,
        wasted_before=count_wasted(before) if before else 0,
    )
    change.put(ladder=ladder)
    change.log(
        "ladder.planned",
        standard=standard.id,
        remaining=plan.remaining,
        blanks=plan.blanks,
        table=table,
        reading=reading,
    )
