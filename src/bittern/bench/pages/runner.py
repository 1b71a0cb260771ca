"""The runner: the run sheet at the vehicle, one step a page."""

from __future__ import annotations

import uuid
from typing import Any

from django.urls import reverse
from django.utils import timezone
from django.utils.safestring import mark_safe

from bittern.bench.pages.legs.pairing import (
    CENSUS_WORDS,
    build_census,
    describe_end,
    describe_place,
    list_passages,
)
from bittern.engines.pairing.runner import SUPPLY_FRESH
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
    may_work = person.may("bench") and job.state == "open"
    return {
        "job": job,
        **build_run(run),
        "may_work": may_work,
        "present": person.name,
        **build_census(job, ACT),
        **build_addresses(job.number, run),
    }


def build_addresses(number: int, run: Run | None = None) -> dict[str, str]:
    """Return where the runner's script finds the run, sends its events, and goes when it has ended."""
    good = run is not None and run.state.outcome == "good"
    back = reverse("job", args=[number])
    return {
        "run_url": reverse("runner-data", args=[number]),
        "events_url": reverse("runner-events", args=[number]),
        "worker_url": reverse("runner-worker", args=[number]),
        "back_url": back,
        "ended_url": f"{back}#leg-{'proof' if good else 'pairing'}",
    }


def build_run(run: Run, *, draw: bool = True) -> dict[str, Any]:
    """Return what is shown of a run, a job's or a rehearsed one."""
    step = run.sheet.steps[run.state.step_id]
    marks = {passed.step_id for passed in run.state.history}
    # Words of the sheet are escaped by the drawing itself.
    drawing = mark_safe(render_map(run.sheet, current=step.id, visited=marks)) if draw else ""  # noqa: S308
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
        "supply_low": is_supply_low(run),
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


def is_supply_low(run: Run) -> bool:
    """Tell whether the last reading of the supply is too low for the sheet."""
    need, volts = run.sheet.supply, run.state.supply_v
    return need is not None and volts is not None and volts < need.least_v


def _find_template(run: Run) -> str:
    if run.state.ended:
        return "end"
    phase = run.state.phase
    if phase == "confirm" and _is_supply_old(run):
        # The reading was good when the step was reached, and is not any more.
        phase = "supply"
    return phase if phase in ("census", "supply", "confirm") else "step"


def _is_supply_old(run: Run) -> bool:
    read_at = run.state.supply_at
    return run.sheet.supply is not None and (read_at is None or timezone.now() - read_at > SUPPLY_FRESH)
