"""The Blade leg: bitting given or measured, chart and list after a look on record, cut, inspection."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from django.utils.safestring import mark_safe

from bittern.bench.pages.blade_page import build_run
from bittern.bench.readings import runs
from bittern.core.errors import BitternError
from bittern.engines.blade.bitting import parse_bitting
from bittern.engines.blade.caliper import USUAL_SD_MM
from bittern.engines.blade.measurement import CutEstimate, Measurement
from bittern.engines.blade.standard import BladeStandard
from bittern.engines.blade.worklist import cutting_list
from bittern.engines.cutting.fitting import list_remarks
from bittern.formats.chart import format_length, render_chart
from bittern.work.blade import CutterChoice, get_standard, judge_bitting, list_cutters, study_readings
from bittern.work.cutting_plan import is_program_outdated
from bittern.work.errors import FieldsError
from bittern.work.facts import JobFile
from bittern.work.legs import TITLES
from bittern.work.people import Person
from bittern.work.ports import Desk
from bittern.work.readings import list_reading_fields
from bittern.work.settled import is_settled, needs_blade

ENTER, MEASURE = "enter-bitting", "enter-readings"
RESULT_WORDS = {"fits": "It fits the cutting list", "wasted": "It does not: this blank is wasted"}
EDGE_WORDS = {
    "cut": "",
    "both": "both edges, the key turned over between",
    "A": "upper edge",
    "B": "lower edge",
    "face": "face",
    "faces": "both faces",
}


@dataclass(frozen=True, slots=True)
class ReadingRow:
    """One cut to measure: its field, and what the reading says."""

    field: str
    name: str
    cut: CutEstimate | None = None

    @property
    def word(self) -> str:
        """What the reading comes to."""
        if self.cut is None or self.cut.depth_mm is None:
            return "not measured"
        return "measure this cut again" if self.cut.doubt else f"depth {self.cut.label}"


def build_context(desk: Desk, job: JobFile, person: Person) -> dict[str, Any]:
    """Return what the Blade leg shows; never the bitting itself."""
    if not needs_blade(job):
        return {"standard": None, "has_key": job.key is not None}
    standard, blade = get_standard(desk, job), job.blade
    waiting = [TITLES[leg][0] for leg in ("request", "promise") if not is_settled(job, leg)]
    may_work = person.may("bench") and job.state == "open"
    old_key = build_run(desk, job, person, runs.find(job.number)) if may_work else {}
    return {
        "old_key": old_key,
        "standard": standard,
        "depths": list(zip(standard.labels, standard.depths_mm, strict=True)),
        "form_words": describe_measuring(standard),
        "reading_rows": [ReadingRow(name, label) for name, label in list_reading_fields(standard)],
        "waiting": waiting,
        "outdated": is_program_outdated(desk, job),
        "may_work": may_work,
        "may_look": person.may("look"),
        "may_enter": may_work and job.authority is not None,
        "result_words": RESULT_WORDS,
        "inspect_reason": f"Inspecting the key of job {job.number}",
        "initial": {
            MEASURE: {"sd_mm": f"{USUAL_SD_MM:g}"},
            "look": {"reason": f"Cutting for job {job.number}"},
            **old_key.get("initial", {}),
        },
        **(build_cutters(desk, job, standard) if blade is not None else {}),
    }


def build_typed(
    desk: Desk, job: JobFile, person: Person, typed: Mapping[str, Mapping[str, object]]
) -> dict[str, Any]:
    """Return what is to be said about a bitting or readings typed so far, to those who work at the bench."""
    if not needs_blade(job) or not person.may("bench"):
        return {}
    standard, found = get_standard(desk, job), {}
    text = str(typed.get(ENTER, {}).get("bitting") or "")
    if text:
        found["violations"] = judge_bitting(standard, text)[1]
    if MEASURE in typed:
        found |= build_study(desk, job, standard, typed[MEASURE])
    return found


def build_study(
    desk: Desk, job: JobFile, standard: BladeStandard, fields: Mapping[str, object]
) -> dict[str, Any]:
    """Return what the caliper readings in ``fields`` say, cut by cut."""
    names = list_reading_fields(standard)
    if not any(fields.get(name) for name, _ in names):
        return {}
    try:
        study: Measurement = study_readings(desk, job, fields)
    except FieldsError as error:
        return {"reading_errors": list(error.fields.values())}
    except BitternError as error:
        return {"reading_errors": [str(error)]}
    rows = [ReadingRow(name, label, cut) for (name, label), cut in zip(names, study.cuts, strict=True)]
    return {"study": study, "reading_rows": rows}


def build_cutters(desk: Desk, job: JobFile, standard: BladeStandard) -> dict[str, Any]:
    """Return the cutters that can make this blade, and why the others cannot."""
    choices = list_cutters(desk, job)
    fitting = {one.cutter.id: _describe_cutter(one, standard) for one in choices if not one.reasons}
    return {"cutters": fitting, "unfit": [one for one in choices if one.reasons]}


def build_chart(desk: Desk, job: JobFile, secret: str) -> dict[str, Any]:
    """Return chart and cutting list of an unsealed bitting: for a page that no cache keeps."""
    standard, unit = get_standard(desk, job), desk.terms.unit
    bitting = parse_bitting(standard, secret)
    rows = [
        {
            "cut": row,
            "edge": EDGE_WORDS[row.edge],
            "position": format_length(row.position_mm, unit),
            "height": format_length(row.height_mm, unit, signed=standard.kind == "track"),
            "depth_of_cut": format_length(row.depth_of_cut_mm, unit),
        }
        for row in cutting_list(standard, bitting)
    ]
    edges = {str(row["edge"]) for row in rows}
    # Words of the pack are escaped by the drawing itself.
    chart = mark_safe(render_chart(standard, bitting, unit=unit, title=f"Job {job.number}: {standard.title}"))  # noqa: S308
    return {
        "job": job,
        "standard": standard,
        "bitting": secret,
        "chart": chart,
        "rows": rows,
        "unit": unit,
        "tolerance": format_length(standard.tolerance_mm, unit),
        "edges": len(edges) > 1,
        "everywhere": edges.pop() if len(edges) == 1 else "",
    }


def describe_measuring(standard: BladeStandard) -> str:
    """Return how a height is measured on this kind of blade."""
    if standard.kind == "track":
        return (
            "Measure at each place how far the groove's middle lies from the blade's centre line:"
            " above it a plus, below it a minus."
        )
    if standard.sides == "single":
        return "Measure at the bottom of each cut what is left above the back edge."
    return (
        "Measure at the bottom of each cut what is left above the blade's centre line. Across the blade a"
        " caliper reads both edges together: on a blade that is the same on both, halve it."
    )


def _describe_cutter(choice: CutterChoice, standard: BladeStandard) -> str:
    cutter = choice.cutter
    kind = "wheel" if cutter.kind == "wheel" else "end mill"
    form = f", {cutter.angle_deg:g} degrees, flat {cutter.flat_mm:g} mm" if cutter.kind == "wheel" else ""
    material = "carbide" if cutter.material == "carbide" else "high-speed steel"
    remarks = "; ".join(list_remarks(cutter, standard))
    text = f"{cutter.id}: {kind} {cutter.diameter_mm:g} mm{form}, {cutter.teeth} teeth, {material}"
    return f"{text}. Mind: {remarks}" if remarks else text
