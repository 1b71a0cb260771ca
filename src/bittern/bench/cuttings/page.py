"""What the page of a cut's plan shows: closed, the choice; opened, set-ups, sweep and solid."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from django.utils.safestring import mark_safe

from bittern.bench.pages.legs.blade import build_cutters
from bittern.engines.cutting.feeds import BLADE_MATERIALS
from bittern.engines.cutting.machine import Machine
from bittern.engines.cutting.solid import build_key
from bittern.formats.set_up_drawing import draw_set_up
from bittern.formats.sweep_drawing import draw_moment
from bittern.work.blade import get_standard
from bittern.work.cutter_use import find_use, is_due
from bittern.work.cutting import MILLINGS
from bittern.work.cutting_plan import CutPlan, SetUp, is_program_outdated, mark_plan
from bittern.work.facts import JobFile
from bittern.work.legs import TITLES
from bittern.work.people import Person
from bittern.work.ports import Desk
from bittern.work.settled import is_settled

PLAN, TAKE = "plan-cut", "take-program"
MATERIAL_WORDS = dict(zip(BLADE_MATERIALS, ("Brass", "Nickel silver", "Steel"), strict=True))
MILLING_WORDS = dict(
    zip(
        MILLINGS,
        ("Climb: a finer face, needs a machine without play", "Conventional: for a machine with play"),
        strict=True,
    )
)
CHOICE = ("cutter", "material", "milling", "pass_mm", "speed_rpm", "feed_mm_min", "reason")
LEAST_MM = 0.001
STILLS = (("Before", 0.0), ("Half way", 0.5), ("Done", 1.0))


@dataclass(frozen=True, slots=True)
class SetUpView:
    """One set-up as it is shown."""

    set_up: SetUp
    title: str
    turn: str
    drawing: str
    stills: tuple[tuple[str, str], ...]
    film: Mapping[str, object]
    film_id: str
    root_error: str
    gouge: str
    worst: str
    unreached: str


def build_closed(desk: Desk, job: JobFile, person: Person, machine: Machine) -> dict[str, Any]:
    """Return what is shown while the seal is closed: the choice, never a bitting."""
    standard = get_standard(desk, job)
    found = build_cutters(desk, job, standard)
    uses = [find_use(desk, name) for name in found["cutters"]]
    return {
        "job": job,
        "standard": standard,
        "machine": machine,
        **found,
        "due": [one for one in uses if is_due(desk, one)],
        "outdated": is_program_outdated(desk, job),
        "life": desk.terms.cutter_life_min,
        "materials": MATERIAL_WORDS,
        "millings": MILLING_WORDS,
        "may_work": person.may("bench") and job.state == "open" and job.authority is not None,
        "waiting": [TITLES[leg][0] for leg in ("request", "promise") if not is_settled(job, leg)],
        "initial": {
            PLAN: {
                "material": BLADE_MATERIALS[0],
                "milling": MILLINGS[0],
                "reason": f"Cutting for job {job.number}",
                "cutter": next(iter(found["cutters"])) if len(found["cutters"]) == 1 else "",
            }
        },
    }


def build_opened(desk: Desk, job: JobFile, plan: CutPlan, typed: Mapping[str, object]) -> dict[str, Any]:
    """Return what is shown of a plan: for a page that no cache keeps."""
    minutes, seconds = divmod(round(plan.time_s), 60)
    feeds = plan.set_ups[0].planned.feeds
    use = find_use(desk, plan.cutter.id)
    return {
        "job": job,
        "plan": plan,
        "standard": plan.standard,
        "set_ups": [_view(plan, one) for one in plan.set_ups],
        "time": f"{minutes} min {seconds:02} s" if minutes else f"{seconds} s",
        "feeds": feeds,
        "material": MATERIAL_WORDS[plan.wish.material],
        "choice": {
            **{name: typed.get(name, "") for name in CHOICE},
            "planned_for": mark_plan(job, plan.standard, plan.cutter, plan.machine),
        },
        "outdated": is_program_outdated(desk, job),
        "reason": typed.get("reason", ""),
        "solid": _build_solid(plan),
        "use": use,
        "due": is_due(desk, use),
        "promised": job.promise is not None and job.promise.accepted_at is not None,
        "minutes": f"{plan.cutting_min:.2f}",
    }


def _view(plan: CutPlan, one: SetUp) -> SetUpView:
    film = plan.film(one)
    swept = one.swept
    stills = tuple((word, _trust(draw_moment(film, share * film.duration_s))) for word, share in STILLS)
    return SetUpView(
        set_up=one,
        title=f"Edge {one.name} up" if one.name else "One set-up",
        turn=_say_turn(plan, one),
        drawing=_trust(draw_set_up(plan.standard, plan.bitting, plan.cutter, plan.machine, edge=one.edge)),
        stills=stills,
        film=film.as_dict(),
        film_id=f"film-{one.name or 'key'}",
        root_error=f"off by {_bound(swept.root_error_mm)}",
        gouge=_bound(swept.gouge_mm) if swept.gouge_mm > 0 else "nowhere found",
        worst=f"off by {_bound(swept.worst_error_mm)}",
        unreached=_bound(swept.unreachable_mm) if swept.unreachable_mm > LEAST_MM else "",
    )


def _bound(value_mm: float) -> str:
    """Return the least whole number of micrometres that is not below a length: never nought for a little."""
    return f"at most {max(math.ceil(value_mm / LEAST_MM - 1e-9), 1) * LEAST_MM:.3f} mm"


def _say_turn(plan: CutPlan, one: SetUp) -> str:
    if plan.standard.sides == "mirror":
        what = "edge" if plan.standard.kind == "edge" else "face"
        return f"Run it, turn the key over about its long axis, run the same program for the other {what}."
    if one.name == "A":
        return "Then turn the key over about its long axis for edge B."
    if one.name == "B":
        return "The key is turned over about its long axis: edge B is up now."
    return ""


def _build_solid(plan: CutPlan) -> dict[str, object]:
    mesh = build_key(plan.standard, plan.bitting)
    return {
        "corners": np.round(mesh.corners_mm, 4).ravel().tolist(),
        "triangles": mesh.triangles.ravel().tolist(),
    }


def _trust(drawing: str) -> str:
    # Words of the pack are escaped by the drawing itself.
    return mark_safe(drawing)  # noqa: S308
