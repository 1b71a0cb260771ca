"""What the page of a reading shows: the state of its run, then what was read, what to do about it first."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from bittern.bench.pages.blade_drawing import draw_key
from bittern.bench.pages.label_page import say_trouble
from bittern.bench.readings import runs
from bittern.bench.readings.models import FAILED, RUNNING, ReadingRun
from bittern.core.errors import InputError
from bittern.engines.blade.bitting import count_edges
from bittern.engines.blade.caliper import USUAL_SD_MM
from bittern.engines.blade.measurement import CutEstimate, Measurement
from bittern.engines.blade.standard import BladeStandard
from bittern.formats.chart import format_length
from bittern.work.blade import get_standard
from bittern.work.blade_reading import find_obstacles, list_doubts
from bittern.work.blade_record import PHOTO, SCAN, BladeReading
from bittern.work.errors import NotYetError
from bittern.work.facts import JobFile
from bittern.work.people import Person
from bittern.work.ports import Desk
from bittern.work.readings import list_reading_fields

READ, AGAIN, SWAP, TAKE, DROP = "read-picture", "measure-again", "swap-edges", "take-reading", "drop-reading"
LOOK, CANCEL = "look-reading", "cancel-reading"
FRAGMENT = "reading"
SMALLEST = 1e-4
OWN_REASON = "reads the old key"
EDGES = ("edge A", "edge B")
HOW_WORDS = {SCAN: "a scan", PHOTO: "a photo on the measuring card"}


@dataclass(frozen=True, slots=True)
class ReadRow:
    """One cut as it was read: its field, where it is, what is said of it."""

    field: str
    name: str
    cut: CutEstimate
    place: str
    height: str = ""
    sd: str = ""
    off: str = ""
    again: bool = False

    @property
    def chance(self) -> float:
        """How sure the cut is, as it is shown."""
        return _never_certain(self.cut.probability)

    @property
    def doubt(self) -> str:
        """Why it is in doubt; what to do about it, and where, the page says itself."""
        return self.cut.doubt.partition(": measure it")[0]

    @property
    def others(self) -> list[tuple[str, float]]:
        """The other depths that are not out of the question."""
        pairs = sorted(self.cut.by_label.items(), key=lambda pair: -pair[1])
        return [(label, p) for label, p in pairs if label != self.cut.label and p >= 0.005][:3]


def build_run(desk: Desk, job: JobFile, person: Person, run: ReadingRun | None) -> dict[str, Any]:
    """Return what is shown of a run while nothing of what it read is open."""
    state = run.state if run else ""
    how = run.how if run else ""
    return {
        "job": job,
        "run": run,
        "running": state == RUNNING,
        "done": state != RUNNING and runs.is_read(job.number),
        "failed": say_trouble(InputError(run.found, run.expected, hint=run.hint))
        if run and state == FAILED
        else "",
        "own": run is not None and run.read_by == person.login,
        "own_reason": OWN_REASON,
        "how_words": HOW_WORDS.get(how, ""),
        "may_work": person.may("bench") and job.state == "open",
        "may_enter": person.may("bench") and job.state == "open" and job.authority is not None,
        "initial": {READ: {"dpi": run.dpi, "keep": "yes" if run.keep else ""} if run else {}},
        **build_upload(desk, job),
    }


def build_upload(desk: Desk, job: JobFile) -> dict[str, Any]:
    """Return what the forms that take a picture need."""
    try:
        standard = get_standard(desk, job)
    except NotYetError:
        # The article comes first; whoever comes here by an old address is told so by the act.
        return {"standard": None, "can_be_read": False}
    return {"standard": standard, "can_be_read": standard.kind == "edge"}


def build_result(desk: Desk, job: JobFile, reading: BladeReading, mark: str, reason: str) -> dict[str, Any]:
    """Return what was read, for a page that no cache keeps."""
    found, unit = reading.measurement, desk.terms.unit
    standard = desk.pack.blades.get(found.standard)
    if standard is None:
        raise NotYetError(
            f"a reading as {found.standard}",
            "a blade standard of the pack in use",
            where="blade",
            hint="check the pack, or throw the reading away",
        )
    rows = _build_rows(reading, standard, unit)
    doubts = {cut.doubt for cut in found.cuts if cut.doubt}
    fields: dict[str, str] = {row.field: "" for row in rows}
    names = [name for name, _ in list_reading_fields(standard)]
    fields |= {names[one.cut]: f"{one.height_mm:g}" for one in reading.heights}
    sd_mm = reading.heights[0].sd_mm if reading.heights else USUAL_SD_MM
    return {
        "standard": standard,
        "reading": reading,
        "found": found,
        "version": mark,
        "reason": reason,
        "unit": unit,
        "rows": rows,
        "doubtful": [row for row in rows if row.cut.doubt],
        "certain": [row for row in rows if not row.cut.doubt],
        "other_problems": [one for one in found.problems if one not in doubts],
        "obstacles": _list_obstacles(job, found),
        "in_doubt": bool(list_doubts(found)),
        "drawing": draw_key(reading, standard),
        "wear": _say_wear(reading, unit),
        "p_whole": _never_certain(found.probability),
        "p_none": 1 - _never_certain(1 - found.p_none),
        "assumed": list(dict.fromkeys(_list_assumed(reading))),
        "two_edges": count_edges(standard) == 2,
        "how_words": HOW_WORDS.get(reading.how, ""),
        "initial": {AGAIN: {**fields, "sd_mm": f"{sd_mm:g}"}},
    }


def _never_certain(p: float) -> float:
    """Return a chance as it may be shown: that a sum was rounded to 1 makes nobody certain."""
    return min(p, 1 - SMALLEST)


def _list_obstacles(job: JobFile, found: Measurement) -> list[str]:
    """Return why the bitting cannot be taken at all, a sentence each."""
    said = [f"Found {what}; expected {expected}." for _, what, expected in find_obstacles(found)]
    now = job.key.blade if job.key is not None else ""
    if now != found.standard:
        said.append(
            f"The key was read as {found.standard}, and the article takes {now or 'no blade'} by now:"
            " throw this reading away."
        )
    return said


def _list_assumed(reading: BladeReading) -> list[str]:
    """Return what was taken for granted; which edge is A, unless a person has said otherwise since."""
    said = [*reading.measurement.assumed, *reading.notes]
    return [one for one in said if not (reading.swapped and one.startswith("edge A"))]


def _build_rows(reading: BladeReading, standard: BladeStandard, unit: str) -> list[ReadRow]:
    measured = {one.cut for one in reading.heights}
    count, rows = len(standard.positions_mm), []
    for number, (field, name) in enumerate(list_reading_fields(standard)):
        edge, index = divmod(number, count)
        cut = reading.measurement.cuts[number]
        place = f"{format_length(standard.positions_mm[index], unit)} {unit} from the {standard.datum}"
        if count_edges(standard) == 2:
            place += f", {EDGES[edge]}"
        rows.append(
            ReadRow(
                field,
                name,
                cut,
                place,
                "" if cut.depth_mm is None else _format_small(cut.depth_mm, unit),
                "" if cut.sd_mm is None else _format_small(cut.sd_mm, unit),
                "" if cut.distance_mm is None else _format_small(cut.distance_mm, unit),
                number in measured,
            )
        )
    return rows


def _say_wear(reading: BladeReading, unit: str) -> str:
    found = reading.measurement
    if found.wear_mm is None:
        return ""
    text = _format_small(found.wear_mm, unit)
    return (
        f"{text} ± {_format_small(found.wear_sd_mm, unit)} {unit}" if found.wear_sd_mm else f"{text} {unit}"
    )


def _format_small(value_mm: float, unit: str) -> str:
    """Return a small length: three decimals of a millimetre, four of an inch."""
    text = f"{value_mm / 25.4:.4f}" if unit == "inch" else f"{value_mm:.3f}"
    return text.replace("-", "−")
