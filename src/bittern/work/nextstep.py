"""The one sentence above the legs: what to do next, and why."""

from __future__ import annotations

from dataclasses import dataclass

from bittern.engines.blade.climbing import follow_climb
from bittern.work.facts import JobFile, Ladder
from bittern.work.number_on_board import is_stopped
from bittern.work.settled import LEGS, is_settled

# What an open job can wait for, in the order of the traveller; Today groups by these.
WAITS = {
    "authority": "Authority to be recorded",
    "vehicle": "The vehicle to be made sure of",
    "article": "The right article",
    "answer": "The customer's answer",
    "offer": "A price to be offered",
    "acceptance": "The customer's word",
    "bitting": "The bitting",
    "cutting": "The cut",
    "pairing": "Pairing at the vehicle",
    "proof": "Proof of the finished key",
    "signature": "The handover signature",
}


@dataclass(frozen=True, slots=True)
class NextStep:
    """What to do, why, on which leg, the word on the button, and what the job waits for (a key of WAITS)."""

    leg: str
    say: str
    why: str
    button: str
    wait: str


def find_next(job: JobFile) -> NextStep | None:
    """Return the next step of an open job; None when everything is settled."""
    for leg in LEGS:
        if not is_settled(job, leg):
            return _STEPS[leg](job)
    return None


def _next_request(job: JobFile) -> NextStep:
    return NextStep(
        "request",
        f"Look at the papers of {job.request.customer} and record why they may have a key to this vehicle.",
        "Nothing is ordered, cut or paired before authority is on record.",
        "Record authority",
        "authority",
    )


def _next_vehicle(job: JobFile) -> NextStep:
    if job.vehicle is None:
        say, why = (
            "Read the vehicle's number from the vehicle itself, or take it by telephone for now.",
            "The number says which vehicle it is, and its check digit catches most misreadings.",
        )
    elif not (job.vehicle.make and job.vehicle.model):
        say, why = (
            "Say which make and model it is.",
            "The number alone does not tell, and articles are listed by make and model.",
        )
    else:
        say, why = (
            "The number does not agree with itself: read it again, or say why you accept it.",
            "One wrong character here can mean an article for another vehicle.",
        )
    return NextStep("vehicle", say, why, "Enter the vehicle", "vehicle")


def _next_key(job: JobFile) -> NextStep:
    if job.asked:
        return NextStep(
            "key",
            "Record the customer's answer when it comes.",
            "A question was sent. What can be read, counted or measured here need not wait for it.",
            "Record the answer",
            "answer",
        )
    return NextStep(
        "key",
        "Find the one article that this vehicle accepts."
        if not job.observations
        else "Take the article, or ask the next question.",
        "A wrong article is a lost sale; a question costs a minute.",
        "Find the article",
        "article",
    )


def _next_promise(job: JobFile) -> NextStep:
    if job.promise is None:
        return NextStep(
            "promise",
            "Draw up price and time, and tell the customer what to bring.",
            "The customer decides before money is spent.",
            "Draw up the promise",
            "offer",
        )
    return NextStep(
        "promise",
        f"Ask {job.request.customer} whether {job.promise.total} {job.promise.currency} is agreed.",
        "Work starts with the customer's word.",
        "Record the answer",
        "acceptance",
    )


def _next_ladder(ladder: Ladder) -> NextStep:
    if ladder.state == "planned":
        say, why = (
            "Begin the ladders: they are planned.",
            f"Blanks needed at most: {len(ladder.rungs)}. No plan needs fewer.",
        )
    else:
        standing = follow_climb(ladder.rungs, [event.kind for event in ladder.events])
        if standing.ladder < len(ladder.rungs):
            say = f"Go on with the ladders: blank {standing.blank}, cutting {standing.rung + 1}."
            why = "Every cutting is on record: it goes on at the exact one."
        else:
            say = "Every cutting of the ladders was tried: look again at what was taken as known."
            why = "One of the known cuts, or the blade standard, is not what it was taken for."
    return NextStep("blade", say, why, "Go to the ladders", "bitting")


def _next_blade(job: JobFile) -> NextStep:
    ladder = job.ladder
    if ladder and job.key and job.key.blade == ladder.standard and ladder.state in ("planned", "open"):
        return _next_ladder(ladder)
    if job.blade is None:
        return NextStep(
            "blade",
            "Read the old key, or enter the bitting that you were given.",
            "The blade is cut to the factory's bitting, not to the old key's wear.",
            "Go to the blade",
            "bitting",
        )
    if job.blade.cut_at is None:
        return NextStep(
            "blade",
            "Cut the blank by the chart and the cutting list."
            if not job.blade.blanks_wasted
            else "Cut a fresh blank by the chart and the cutting list.",
            "Eye protection on, guard closed: the chart shows every cut to scale.",
            "Show the chart",
            "cutting",
        )
    return NextStep(
        "blade",
        "Measure the cut key against the cutting list.",
        "A key that is off by half a step wears the lock or does not turn.",
        "Record the inspection",
        "cutting",
    )


def _next_pairing(job: JobFile) -> NextStep:
    pairing = job.pairing
    if is_stopped(job):
        say, why, button = (
            "Stop: find out which vehicle this is.",
            "The number on board is not the job's, so nothing more is done to this vehicle.",
            "Clear it up",
        )
    elif pairing is None:
        say, why, button = (
            "Take the key to the vehicle and get ready to pair.",
            "Needs and keys are checked before the first step.",
            "Get ready",
        )
    elif pairing.outcome == "unchanged":
        say, why, button = (
            "The vehicle is as it was before. Find out why, then begin again.",
            "Nothing was lost; the old keys still work.",
            "See what happened",
        )
    elif pairing.outcome == "stranded":
        say, why, button = (
            "The vehicle does not start. Follow the recovery that the run sheet names.",
            "Do not try again before it has been recovered.",
            "Read the recovery",
        )
    else:
        say, why, button = (
            "Go on with the run sheet where it stands.",
            "Every step is on record: it resumes at the exact step.",
            "Go to the run sheet",
        )
    return NextStep("pairing", say, why, button, "pairing")


# What has no radio, no blade or no part in the start is not asked for it.
_PROOF_WORDS = {
    "mechanical": "Try the key in every lock.",
    "chip": "Try the key in every lock and at start.",
    "remote": "Try every button of the remote.",
}


def _next_proof(job: JobFile) -> NextStep:
    failed = [answer.test for answer in job.proof if not answer.passed]
    if failed:
        return NextStep(
            "proof",
            "A test failed: mend the cause and test again.",
            "The key is not handed over before everything works.",
            "Test again",
            "proof",
        )
    return NextStep(
        "proof",
        _PROOF_WORDS.get(
            job.key.kind if job.key else "", "Try the key in every lock, by radio and at start."
        ),
        "What is not tried here fails at the customer's.",
        "Test the key",
        "proof",
    )


def _next_handover(job: JobFile) -> NextStep:
    return NextStep(
        "handover",
        f"Count the keys with {job.request.customer}, hand over the papers and have them signed.",
        "Both sides know what was made and which keys work.",
        "Hand over",
        "signature",
    )


_STEPS = {
    "request": _next_request,
    "vehicle": _next_vehicle,
    "key": _next_key,
    "promise": _next_promise,
    "blade": _next_blade,
    "pairing": _next_pairing,
    "proof": _next_proof,
    "handover": _next_handover,
}


def name_wait(job: JobFile) -> str:
    """Return what the job waits for, a key of WAITS, or "" when it is no longer open."""
    step = find_next(job) if job.state == "open" else None
    return step.wait if step else ""
