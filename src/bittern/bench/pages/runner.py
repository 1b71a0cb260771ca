"""The runner: the run sheet at the vehicle, one step a page."""

from __future__ import annotations

import uuid
from typing import Any

from django.utils import timezone
from django.utils.safestring import mark_safe

from bittern.bench.pages.legs.pairing import (
    CENSUS_WORDS,
    build_census,
    describe_end,
    describe_place,
    list_passages,
)
from bittern.engines.pairing.sheet import Signal
from bittern.formats.sheetmap import render_map
from bittern.work.facts import JobFile
from bittern.work.pairing import Run
from bittern.work.people import Person

ACT = "pairing-event"
MOST_MARKS = 12
DONE_WORDS = {"act": "Done", "wait": "The wait is over", "check": "It is so"}
NOT_WORDS = {"act": "That did not work", "wait": "Something else happened", "check": "It is not so"}
_TIMES = {1: "once", 2: "twice"}


def build_runner(job: JobFile, run: Run, person: Person) -> dict[str, Any]:
    """Return what the page of a job's run shows: the step at hand, a question before it, or the end."""
    return {
        "job": job,
        **build_run(run),
        "may_work": person.may("bench") and job.state == "open",
        **build_census(job, ACT),
    }


def build_run(run: Run) -> dict[str, Any]:
    """Return what is shown of a run, a job's or a rehearsed one."""
    step = run.sheet.steps[run.state.step_id]
    marks = {passed.step_id for passed in run.state.history}
    # Words of the sheet are escaped by the drawing itself.
    drawing = mark_safe(render_map(run.sheet, current=step.id, visited=marks))  # noqa: S308
    return {
        "run": run,
        "step": step,
        "template": f"runner/{_find_template(run)}.html",
        "going": None if run.state.ended else describe_place(run),
        "end": describe_end(run) if run.state.ended else None,
        "signal": say_signal(step.signal) if step.signal else "",
        "signal_marks": range(min(step.signal.count, MOST_MARKS)) if step.signal else (),
        "not_word": "It did not do that" if step.signal else NOT_WORDS.get(step.kind, "That did not work"),
        "done_word": "It did that" if step.signal else DONE_WORDS.get(step.kind, "Done"),
        "census_words": CENSUS_WORDS.get(run.sheet.census, ""),
        "passages": list_passages(run.sheet, run.state),
        "map": drawing,
        "event_id": str(uuid.uuid4()),
        "now": timezone.now(),
        "late": bool(run.state.deadline and run.state.deadline < timezone.now()),
    }


def say_signal(signal: Signal) -> str:
    """Return what the vehicle does when the step worked, as a sentence.

    >>> say_signal(Signal("beep", 3)), say_signal(Signal("message", 1, "KEY ADDED"))
    ('The vehicle beeps 3 times.', 'The display says “KEY ADDED”.')
    """
    times = _TIMES.get(signal.count, f"{signal.count} times")
    if signal.kind == "message":
        return f"The display says “{signal.text}”." if signal.text else "A message comes up on the display."
    words = {
        "beep": f"The vehicle beeps {times}.",
        "lamp": f"The lamp lights up {times}.",
        "lock-cycle": f"The door locks go shut and open {times}.",
    }[signal.kind]
    return f"{words} {signal.text}".strip()


def _find_template(run: Run) -> str:
    if run.state.ended:
        return "end"
    return {"census": "census", "confirm": "confirm"}.get(run.state.phase, "step")
