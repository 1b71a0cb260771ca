"""The Pairing leg: is the vehicle ready, which keys are there, and how the run stands or ended."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

from bittern.bench.adapter.page import build_adapter
from bittern.engines.pairing.event import Passage, RunState
from bittern.engines.pairing.sheet import RunSheet
from bittern.work.facts import CensusKey, JobFile
from bittern.work.figures import get_figures
from bittern.work.legs import TITLES
from bittern.work.pairing import MOST_KEYS, Run, load_run, may_begin, prepare
from bittern.work.people import Person
from bittern.work.ports import Desk
from bittern.work.settled import is_settled

WORKED_WORDS = {"unknown": "Nobody could try", "yes": "Yes", "no": "No"}
KEYS_SHOWN = 3
CENSUS_WORDS = {
    "present-only": "A key that is not here will stop working.",
    "new-only": "Every old key stops working. Only new keys will work.",
    "all": "Keys that work now keep working, here or not.",
}
OUTCOME_WORDS = {
    "good": ("It is paired.", "Count the keys with the customer, then try each of them."),
    "unchanged": (
        "Nothing has changed.",
        "Every key works as before. Mend the cause, then begin again.",
    ),
    "stranded": (
        "The vehicle is stranded.",
        "It may not start with any key. Do not try on: follow the recovery.",
    ),
}
# Given up counts as stranded after a point of no return; what the vehicle really knows is not seen.
GIVEN_UP = "The run was given up."
GIVEN_UP_LATE = (
    "The vehicle may be stranded.",
    "A point of no return was passed. Try each key once; if none starts the vehicle, follow the recovery.",
)
HOW_WORDS = {"done": "it did that", "failed": "it did not do that", "chosen": "chosen"}


@dataclass(frozen=True, slots=True)
class Row:
    """One line of the key census: the names of its fields."""

    number: int

    @property
    def word(self) -> str:
        """The number in words for a label."""
        return str(self.number)

    @property
    def name(self) -> str:
        """Field of the key's name."""
        return f"key-{self.number}-name"

    @property
    def present(self) -> str:
        """Field of the tick that it is here."""
        return f"key-{self.number}-present"

    @property
    def worked(self) -> str:
        """Field of whether it works now."""
        return f"key-{self.number}-worked"


def build_context(desk: Desk, job: JobFile, person: Person) -> dict[str, Any]:
    """Return the preparation, the run under way, or how it ended."""
    run = load_run(desk, job)
    waiting = [
        TITLES[leg][0]
        for leg in ("request", "vehicle", "key", "promise", "blade")
        if not is_settled(job, leg)
    ]
    begins = not waiting and job.state == "open" and may_begin(job)
    ready = prepare(desk, job) if job.pairing is None or begins else None
    going = run.sheet if run and not run.state.ended else None
    return {
        "run": run,
        "end": describe_end(run) if run and run.state.ended else None,
        "going": describe_place(run) if run and not run.state.ended else None,
        "passages": list_passages(run.sheet, run.state) if run else [],
        "ready": ready,
        "census_words": CENSUS_WORDS.get(ready.sheet.census, "") if ready else "",
        "points": [ready.sheet.steps[step].say for step in ready.figures.points_of_no_return]
        if ready
        else [],
        "waiting": waiting,
        "begins": begins and person.may("bench"),
        "may_work": person.may("bench"),
        **build_census(job, "begin-pairing"),
        **build_adapter(desk, job, person, sheet=going or (ready.sheet if ready else None)),
    }


def build_census(job: JobFile, act: str) -> dict[str, Any]:
    """Return the fields of the key census, filled with the last count."""
    fields: dict[str, object] = {}
    known = [key for key in _list_counted(job) if not key.new]
    for number, key in enumerate(known, 1):
        worked = {True: "yes", False: "no", None: "unknown"}[key.worked_before]
        fields[f"key-{number}-name"] = key.name
        fields[f"key-{number}-present"] = "yes" if key.present else ""
        fields[f"key-{number}-worked"] = worked
    rows = [Row(number) for number in range(1, MOST_KEYS + 1)]
    shown = max(KEYS_SHOWN, len(known))
    return {
        "census_act": act,
        "rows_shown": rows[:shown],
        "rows_more": rows[shown:],
        "worked_words": WORKED_WORDS,
        "initial": {act: fields},
    }


def _list_counted(job: JobFile) -> tuple[CensusKey, ...]:
    """Return the keys of the last count, with whether they work as far as that is known now."""
    if job.pairing is None or not job.pairing.census_after:
        return job.pairing.census if job.pairing else ()
    # What works once a stranded vehicle has been recovered nobody knows before trying.
    known = job.pairing.outcome != "stranded"
    return tuple(
        key.model_copy(update={"worked_before": key.works_after if known else None})
        for key in job.pairing.census_after
    )


def describe_place(run: Run) -> dict[str, Any]:
    """Return where a run stands, with its chance and time from here on."""
    step = run.sheet.steps[run.state.step_id]
    figures = get_figures(run.sheet, step.id)
    return {
        "number": run.state.visit,
        "step": step,
        "p_good": figures.p_good,
        "left": say_left(figures.time_p50_s, figures.time_p90_s),
    }


def say_left(typical_s: float, slow_s: float) -> str:
    """Return how long it will take from here, as a sentence.

    >>> say_left(190, 290), say_left(20, 40)
    ('About 3 min left; nine in ten runs need less than 5 min.', 'Less than 1 min left.')
    """
    # Rounded up: a promise of time is kept more easily when it is not cut short.
    typical, slow = max(1, round(typical_s / 60)), max(1, math.ceil(slow_s / 60))
    if slow == 1:
        return "Less than 1 min left."
    return f"About {typical} min left; nine in ten runs need less than {slow} min."


def describe_end(run: Run) -> dict[str, Any]:
    """Return what the end of a run means, in words."""
    state, step = run.state, run.sheet.steps[run.state.step_id]
    given_up = not state.outcome
    # Given up before anything changed is no harm; after a point of no return it may be.
    outcome = state.outcome or ("stranded" if state.passed_no_return else "unchanged")
    late = given_up and outcome == "stranded"
    title, advice = GIVEN_UP_LATE if late else OUTCOME_WORDS[outcome]
    # A run that was given up has come to no end, so that every recovery of the sheet may be the one.
    recoveries = dict.fromkeys(one.recovery for one in run.sheet.steps.values() if one.recovery)
    return {
        "outcome": outcome,
        "title": f"{GIVEN_UP} {title}" if given_up else title,
        "say": "" if given_up else step.say,
        "advice": advice,
        "recoveries": list(recoveries) if late else [step.recovery] if step.recovery else [],
        "forecast": run.forecast,
    }


def list_passages(sheet: RunSheet, state: RunState) -> list[tuple[Passage, str, str]]:
    """Return each visit that was left, with what the step said and how it went."""
    return [
        (passed, sheet.steps[passed.step_id].say, passed.choice or HOW_WORDS[passed.how])
        for passed in state.history
    ]
