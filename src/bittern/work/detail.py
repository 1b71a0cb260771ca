"""What the next step of a job needs, as plain data: for the command line and for programs."""

from __future__ import annotations

from bittern.work.blade import get_standard, list_cutters
from bittern.work.documents import DOCUMENTS
from bittern.work.facts import JobFile
from bittern.work.key import weigh
from bittern.work.ladder import find_ladder, get_standing
from bittern.work.nextstep import find_next
from bittern.work.pairing import load_run, prepare
from bittern.work.ports import Desk
from bittern.work.promise import ANSWERS, draw_promise, find_sheet
from bittern.work.prooflist import list_tests
from bittern.work.readings import list_reading_fields


def describe_open_leg(desk: Desk, job: JobFile) -> dict[str, object]:
    """Return what a person must know to take the next step of ``job``; empty when there is none.

    Never a bitting: that is looked at with a reason.
    """
    step = find_next(job) if job.state == "open" else None
    return _DETAILS[step.leg](desk, job) if step else {}


def _request(desk: Desk, job: JobFile) -> dict[str, object]:
    return {"documents": dict(DOCUMENTS)}


def _vehicle(desk: Desk, job: JobFile) -> dict[str, object]:
    return {"vehicle": job.vehicle.model_dump(mode="json") if job.vehicle else None}


def _key(desk: Desk, job: JobFile) -> dict[str, object]:
    seen = [one.model_dump(mode="json") for one in job.observations]
    return {"observations": seen, **weigh(desk, job).as_dict()}


def _promise(desk: Desk, job: JobFile) -> dict[str, object]:
    promise = job.promise or draw_promise(job, find_sheet(desk, job), desk.terms, desk.pack.currency)
    return {"promise": promise.model_dump(mode="json"), "answers": list(ANSWERS)}


def _blade(desk: Desk, job: JobFile) -> dict[str, object]:
    standard = get_standard(desk, job)
    return {
        "standard": standard.id,
        "labels": list(standard.labels),
        "reading_fields": [name for name, _ in list_reading_fields(standard)],
        "cutters": [choice.cutter.id for choice in list_cutters(desk, job) if not choice.reasons],
        "cut": bool(job.blade and job.blade.cut_at),
        "ladder": _ladder(job),
    }


def _ladder(job: JobFile) -> dict[str, object] | None:
    ladder = find_ladder(job)
    if ladder is None:
        return None
    standing = get_standing(ladder)
    done = standing.ladder >= len(ladder.rungs)
    return {
        "state": ladder.state,
        "remaining": ladder.remaining,
        "blanks": len(ladder.rungs),
        "expected_cuttings": ladder.expected_cuttings,
        # What an answer to the cutting at hand must say; the bitting is looked at with a reason.
        "place": len(ladder.events),
        "blank": None if done else standing.blank,
        "cutting": None if done else standing.rung + 1,
        "tried": standing.tried,
    }


def _pairing(desk: Desk, job: JobFile) -> dict[str, object]:
    run = load_run(desk, job)
    if run is not None and not run.state.ended:
        step = run.sheet.steps[run.state.step_id]
        return {
            "sheet": run.sheet.id,
            "phase": run.state.phase,
            "step": step.id,
            "visit": run.state.visit,
            "say": step.say,
            "choices": [option.label for option in step.options],
            "failures": [{"to": failure.to, "because": failure.because} for failure in step.fails],
            "keys_at_stake": list(run.keys_at_stake),
        }
    ready = prepare(desk, job)
    if ready is None:
        return {"sheet": None}
    return {"sheet": ready.sheet.id, "needs": dict(ready.needs), "census": ready.sheet.census}


def _proof(desk: Desk, job: JobFile) -> dict[str, object]:
    answers = {answer.test: answer.passed for answer in job.proof}
    return {
        "tests": [
            {"test": test.id, "say": test.say, "passed": answers.get(test.id)} for test in list_tests(job)
        ]
    }


def _handover(desk: Desk, job: JobFile) -> dict[str, object]:
    census = job.pairing.census_after if job.pairing else ()
    return {"keys": [key.model_dump(mode="json") for key in census]}


_DETAILS = {
    "request": _request,
    "vehicle": _vehicle,
    "key": _key,
    "promise": _promise,
    "blade": _blade,
    "pairing": _pairing,
    "proof": _proof,
    "handover": _handover,
}
