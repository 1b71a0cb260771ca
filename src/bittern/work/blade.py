"""The Blade leg: bitting given or measured, sealed; looked at only with a reason; cut; inspected."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from bittern.engines.blade.bitting import (
    UNKNOWN,
    Bitting,
    Violation,
    find_violations,
    format_bitting,
    read_bitting,
)
from bittern.engines.blade.measurement import Measurement
from bittern.engines.blade.standard import BladeStandard
from bittern.engines.cutting.cutter import Cutter
from bittern.engines.cutting.fitting import fits_standard
from bittern.work.change import SEAL_READING, Change, changing
from bittern.work.cutter_use import count_cut
from bittern.work.entry import Entry
from bittern.work.errors import NotYetError
from bittern.work.facts import UNCUT, Blade, JobFile
from bittern.work.people import Person, require
from bittern.work.ports import Desk
from bittern.work.readings import read_measurement

SEAL = "bitting"
RESULTS = ("fits", "wasted")
MOST_MINUTES = 600.0


@dataclass(frozen=True, slots=True)
class CutterChoice:
    """A cutter of the pack and the reasons why it cannot make this blade; none when it can."""

    cutter: Cutter
    reasons: tuple[str, ...]


def get_standard(desk: Desk, job: JobFile) -> BladeStandard:
    """Return the blade standard of the chosen article; raises NotYetError without one."""
    if job.key is None or not job.key.blade:
        raise NotYetError("no article with a blade", "the Key leg settled on one", where="blade")
    standard = desk.pack.blades.get(job.key.blade)
    if standard is None:
        raise NotYetError(
            f"blade standard {job.key.blade}",
            "a standard of the pack in use",
            where="blade",
            hint="check the pack",
        )
    return standard


def list_cutters(desk: Desk, job: JobFile) -> tuple[CutterChoice, ...]:
    """Return the pack's cutters, those that can make this blade first."""
    standard = get_standard(desk, job)
    choices = [
        CutterChoice(cutter, tuple(fits_standard(cutter, standard))) for cutter in desk.pack.tools.values()
    ]
    return tuple(sorted(choices, key=lambda choice: (len(choice.reasons), choice.cutter.id)))


def enter_bitting(desk: Desk, number: int, person: Person, data: Mapping[str, object]) -> None:
    """Keep a bitting that was given (from a code card, the maker, a colleague): field bitting.

    A wrong label, a wrong number of cuts and every broken rule are named with their cuts; nothing is kept.
    """
    entry = Entry(data)
    text = entry.text("bitting", required=True, expected="the labels of all cuts in order")
    entry.finish()
    with changing(desk, number, person, "bench") as change:
        standard = require_ready(desk, change)
        bitting, violations = judge_bitting(standard, text)
        for violation in violations:
            entry.fault("bitting", violation.found, violation.expected)
        if bitting is not None and not bitting.complete:
            entry.fault("bitting", "an unknown cut", "every cut; measure the blade for the missing ones")
        entry.finish()
        if bitting is not None:
            keep_bitting(desk, change, standard, format_bitting(standard, bitting), "given")


def judge_bitting(standard: BladeStandard, text: str) -> tuple[Bitting | None, list[Violation]]:
    """Return what ``text`` writes and all that is wrong with it: its writing, else broken rules."""
    bitting, violations = read_bitting(standard, text)
    return bitting, violations or (find_violations(standard, bitting) if bitting else [])


def study_readings(desk: Desk, job: JobFile, data: Mapping[str, object]) -> Measurement:
    """Return what caliper readings say about the bitting, without keeping anything."""
    return read_measurement(get_standard(desk, job), data)


def enter_readings(desk: Desk, number: int, person: Person, data: Mapping[str, object]) -> None:
    """Keep the bitting that caliper readings give: fields of :func:`read_measurement`, and accept_because.

    A reading that falls between two depths, or a broken rule, is a problem; with problems the bitting is kept
    only when ``accept_because`` says why. An unmeasured cut or a broken rule is never accepted.
    """
    entry = Entry(data)
    because = entry.text("accept_because", limit=500)
    with changing(desk, number, person, "bench") as change:
        standard = require_ready(desk, change)
        measured = read_measurement(standard, data)
        unknown = [cut.name for cut in measured.cuts if cut.label == UNKNOWN]
        if unknown:
            entry.fault("readings", f"no usable reading at cut {', '.join(unknown)}", "one at every cut")
        elif not measured.allowed:
            entry.fault("readings", measured.problems[-1], "a bitting that the standard's rules allow")
        elif measured.problems and not because:
            entry.fault(
                "accept_because",
                f"nothing, and {measured.problems[0]}",
                "a second measurement, or the reason why this reading is believed",
            )
        entry.finish()
        keep_bitting(desk, change, standard, measured.bitting, "measured", measured.problems, because)


def look_at_bitting(desk: Desk, number: int, person: Person, reason: str) -> str:
    """Return the sealed bitting; the look is logged with person and reason before the seal opens."""
    require(person, "look")
    entry = Entry({"reason": reason})
    reason = entry.text("reason", required=True, expected="why you look at the bitting")
    entry.finish()
    with desk.store.transaction():
        job = desk.store.load_for_change(number)
        if job.blade is None:
            raise NotYetError("no bitting", "one entered or measured first", where="blade")
        desk.store.append(
            number,
            at=desk.clock.now(),
            person=person.login,
            kind="seal.looked",
            payload={"name": SEAL, "reason": reason},
        )
        secret = desk.store.unseal(number, SEAL)
    if secret is None:
        raise NotYetError("no bitting", "one entered or measured first", where="blade")
    return secret


def take_cutter(entry: Entry, desk: Desk) -> str:
    """Take the fields before metal is cut: cutter, eyes and guard (both ticked)."""
    cutter = entry.choice("cutter", tuple(desk.pack.tools))
    if not entry.flag("eyes"):
        entry.fault("eyes", "not ticked", "eye protection on")
    if not entry.flag("guard"):
        entry.fault("guard", "not ticked", "the guard closed")
    entry.finish()
    return cutter


def require_cuttable(desk: Desk, job: JobFile, entry: Entry, cutter: str, *, where: str) -> None:
    """Refuse metal before the customer's word, and a cutter that cannot make the blade."""
    if job.promise is None or job.promise.accepted_at is None:
        raise NotYetError("no accepted promise", "the customer's word before metal is cut", where=where)
    reasons = fits_standard(desk.pack.tools[cutter], get_standard(desk, job))
    if reasons:
        entry.fault("cutter", f"{cutter}: {reasons[0]}", "a cutter that can make this blade")
        entry.finish()


def record_cut(desk: Desk, number: int, person: Person, data: Mapping[str, object]) -> None:
    """Record that the blank was cut: fields cutter, eyes and guard (both ticked), minutes if known."""
    entry = Entry(data)
    minutes = entry.measure("minutes", 0.0, MOST_MINUTES)
    cutter = take_cutter(entry, desk)
    with changing(desk, number, person, "bench") as change:
        standard = require_ready(desk, change)
        if change.job.blade is None:
            raise NotYetError("no bitting", "one entered or measured first", where="blade")
        require_cuttable(desk, change.job, entry, cutter, where="blade")
        blade = change.job.blade.model_copy(
            update=UNCUT | {"cutter": cutter, "cut_by": person.login, "cut_at": change.now}
        )
        # What was tried before was tried with other metal.
        change.put(blade=blade, proof=())
        count_cut(desk, cutter, minutes or 0.0)
        change.log("blade.cut", cutter=cutter, standard=standard.id)


def record_inspection(desk: Desk, number: int, person: Person, data: Mapping[str, object]) -> None:
    """Record what measuring the cut key gave: fields result (fits or wasted) and note.

    The note is required for a wasted blank, and where a picture left the verdict open or was against the key.
    """
    entry = Entry(data)
    result = entry.choice("result", RESULTS)
    note = entry.text("note", limit=500)
    if result == "wasted" and not note:
        entry.fault("note", "nothing", "what went wrong, so that it is not repeated")
    entry.finish()
    with changing(desk, number, person, "bench") as change:
        blade = change.job.blade
        if blade is None or blade.cut_at is None:
            raise NotYetError("no cut key", "the cut recorded first", where="blade")
        measured = blade.inspection
        if result == "fits" and measured is not None and measured.verdict != "pass" and not note:
            entry.fault("note", "nothing", "what the caliper says instead, and why it is believed")
            entry.finish()
        if result == "wasted":
            # A wasted blank goes back to the chart: the bitting stands, the metal does not.
            update = UNCUT | {"blanks_wasted": blade.blanks_wasted + 1}
        else:
            update = {"inspected": "fits"}
        change.put(blade=blade.model_copy(update=update))
        change.log("blade.inspected", result=result, note=note)


def require_ready(desk: Desk, change: Change) -> BladeStandard:
    """Return the job's blade standard; raises NotYetError before authority is on record."""
    if change.job.authority is None:
        raise NotYetError("no authority on record", "it recorded before a blade is touched", where="blade")
    return get_standard(desk, change.job)


def keep_bitting(
    desk: Desk,
    change: Change,
    standard: BladeStandard,
    text: str,
    source: str,
    doubts: tuple[str, ...] = (),
    because: str = "",
    *,
    wasted: int = 0,
) -> None:
    """Seal a bitting as the job's; ``wasted`` blanks it took to find it are counted with those before."""
    desk.store.seal(change.job.number, SEAL, text)
    # A reading that waited to be taken is taken now, or nobody comes back for it.
    desk.store.drop_seal(change.job.number, SEAL_READING)
    wasted += change.job.blade.blanks_wasted if change.job.blade else 0
    change.put(
        blade=Blade(
            standard=standard.id,
            source=source,
            entered_by=change.person.login,
            entered_at=change.now,
            # Which cuts are in doubt may be known; what they read is sealed with the bitting.
            doubts=len(doubts),
            accepted_because=because,
            blanks_wasted=wasted,
        )
    )
    change.log("blade.entered", standard=standard.id, source=source, doubts=len(doubts), because=because)
