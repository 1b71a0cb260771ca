"""The traveller: eight legs, which of them are settled, and the one thing to do next."""

from __future__ import annotations

from dataclasses import dataclass

from bittern.work.facts import JobFile
from bittern.work.lines import describe_leg
from bittern.work.nextstep import NextStep, find_next
from bittern.work.settled import LEGS, is_settled, needs_blade, needs_pairing

SETTLED, OPEN, LATER, NOT_NEEDED = "settled", "open", "later", "not needed"

TITLES = {
    "request": ("Request", "Who wants what, and may they have it?"),
    "vehicle": ("Vehicle", "Which vehicle is it, surely?"),
    "key": ("Key", "Which article does it take?"),
    "promise": ("Promise", "What will it cost, how long, what must the customer bring?"),
    "blade": ("Blade", "Which cuts?"),
    "pairing": ("Pairing", "Is the vehicle ready, and where in the run sheet are we?"),
    "proof": ("Proof", "Does everything work?"),
    "handover": ("Handover", "Papers, payment reference, keys counted."),
}


@dataclass(frozen=True, slots=True)
class Leg:
    """One stretch of the traveller as it stands: ``line`` is what one reads when it is closed."""

    name: str
    title: str
    question: str
    state: str
    line: str


@dataclass(frozen=True, slots=True)
class Traveller:
    """A job's page: the legs in order and the next step (None when the job is closed)."""

    legs: tuple[Leg, ...]
    next: NextStep | None


def draw_traveller(job: JobFile) -> Traveller:
    """Return the legs of ``job`` and what to do next."""
    step = find_next(job) if job.state == "open" else None
    legs = tuple(
        Leg(name, TITLES[name][0], TITLES[name][1], _find_state(job, name, step), describe_leg(job, name))
        for name in LEGS
    )
    return Traveller(legs, step)


def _find_state(job: JobFile, leg: str, step: NextStep | None) -> str:
    if job.key is not None and (
        (leg == "blade" and not needs_blade(job)) or (leg == "pairing" and not needs_pairing(job))
    ):
        return NOT_NEEDED
    if is_settled(job, leg):
        return SETTLED
    return OPEN if step is not None and step.leg == leg else LATER
