"""What the verdict on a finished key shows: pass, fail or undecided in large words, why, and what to do."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from bittern.bench.pages.blade_drawing import draw_key
from bittern.bench.pages.blade_page import HOW_WORDS
from bittern.engines.blade.caliper import USUAL_SD_MM
from bittern.engines.blade.standard import BladeStandard
from bittern.engines.cutting.inspection import InspectedCut, Inspection
from bittern.formats.chart import format_length
from bittern.work.blade_inspection import InspectedKey, InspectionOrder
from bittern.work.facts import JobFile
from bittern.work.people import Person
from bittern.work.ports import Desk
from bittern.work.readings import list_reading_fields

ACT = "inspect-key"
VERDICT_WORDS = {
    "pass": "The key is right",
    "fail": "The key is wrong",
    "undecided": "The picture cannot tell",
}
# The parts of a budget as the engine names them (cutting/roots.py).
PART_WORDS = {
    "pixel": "noise of the picture at the root",
    "line": "where the line lies that heights count from",
    "scale": "scale of the picture",
    "edge": "how wide everything looks, and the blur",
    "card": "where the camera stood over the card",
    "surface": "flatness of the root",
}
SMALLEST = 1e-3


@dataclass(frozen=True, slots=True)
class CutRow:
    """One cut as it is shown."""

    name: str
    field: str
    place: str
    target: str
    measured: str
    off: str
    sd: str
    chance: float | None
    verdict: str

    @property
    def again(self) -> bool:
        """Whether it is to be looked at again."""
        return self.verdict != "pass"


def _say_off(cut: InspectedCut) -> str:
    if cut.measured_mm is None:
        return ""
    return f"{cut.measured_mm - cut.target_mm:+.3f}".replace("-", "−")


def _list_rows(seen: Inspection, standard: BladeStandard, unit: str) -> list[CutRow]:
    return [
        CutRow(
            name=cut.name,
            field=field,
            place=f"{format_length(cut.position_mm, unit)} {unit} from the {standard.datum}",
            target=f"{cut.target_mm:.3f}",
            measured="" if cut.measured_mm is None else f"{cut.measured_mm:.3f}",
            off=_say_off(cut),
            sd="" if cut.sd_mm is None else f"{cut.sd_mm:.3f}",
            chance=None if cut.p_conform is None else min(max(cut.p_conform, 0.0), 1 - SMALLEST),
            verdict=cut.verdict,
        )
        for cut, (field, _) in zip(seen.cuts, list_reading_fields(standard), strict=True)
    ]


def build_verdict(
    desk: Desk, job: JobFile, person: Person, order: InspectionOrder, found: InspectedKey
) -> dict[str, Any]:
    """Return what the verdict's page shows: for a page that no cache keeps."""
    seen, standard = found.inspection, order.standard
    rows = _list_rows(seen, standard, desk.terms.unit)
    open_rows = [row for row in rows if row.again]
    measured = {one.cut for one in order.heights}
    return {
        "job": job,
        "person": person,
        "standard": standard,
        "found": seen,
        "words": VERDICT_WORDS[seen.verdict],
        "rows": rows,
        "wrong": [],
        "open_rows": open_rows,
        # The list of open cuts says the rest already.
        "notes": seen.notes if seen.coarse or not open_rows else (),
        # Each cut may pass and all of them together not.
        "measure_rows": open_rows or rows,
        "p_whole": min(seen.p_conform, 1 - SMALLEST),
        "limit": f"{seen.limit_mm:.3f}",
        "acceptance": f"{seen.acceptance_mm:.3f}",
        "risk": f"{100 * seen.risk:.3g}",
        "budget": [(PART_WORDS.get(name, name), f"{part:.4f}") for name, part in seen.budget_mm.items()],
        "sd": f"{seen.sd_mm:.4f}",
        "shift": f"{abs(seen.shift_mm):.2f}",
        "further": seen.shift_mm > 0,
        "drawing": draw_key(found.reading, standard),
        "scale_from": found.reading.scale_from,
        "how": order.how,
        "dpi": "" if order.dpi is None else f"{order.dpi:g}",
        "calipered": [row.name for row in rows if int(row.field.removeprefix("reading-")) - 1 in measured],
        "usual_sd": f"{USUAL_SD_MM:g}",
        "how_words": HOW_WORDS.get(order.how, ""),
        "may_work": person.may("bench") and job.state == "open",
    }
