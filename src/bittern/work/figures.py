"""The figures of run sheets, kept once computed: a page that shows them again need not compute them again."""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache

from bittern.engines.pairing.chain import SheetFigures, analyse_sheet
from bittern.engines.pairing.sheet import RunSheet, Step
from bittern.formats.runsheets import parse_runsheet, write_runsheet

KEPT = 512
# A step of the work before the sheet begins; no sheet's own id can be the empty text.
_BEFORE = ""


def get_figures_with_bench(sheet: RunSheet, bench_s: float, slow_bench_s: float) -> SheetFigures:
    """Return the figures of a sound sheet with work at the bench before it.

    The bench takes ``bench_s`` typically and ``slow_bench_s`` at most, as a step would, and then the sheet
    begins: its quantiles are those of the whole, not sums of quantiles.
    """
    return _compute(write_runsheet(sheet), sheet.id, sheet.start, bench_s, slow_bench_s)


def get_figures(sheet: RunSheet, step_id: str = "") -> SheetFigures:
    """Return the figures of a sound sheet, from its start or from the step where a run stands."""
    return _compute(write_runsheet(sheet), sheet.id, step_id or sheet.start)


# Quantiles cost a few tenths of a second; the whole text is the key, so an edited pack is computed anew.
@lru_cache(maxsize=KEPT)
def _compute(
    text: str, sheet_id: str, step_id: str, bench_s: float = 0.0, slow_bench_s: float = 0.0
) -> SheetFigures:
    sheet = parse_runsheet(text, sheet_id)
    if slow_bench_s <= 0:
        return analyse_sheet(replace(sheet, start=step_id))
    bench = Step(_BEFORE, "act", "Work at the bench.", bench_s, slow_bench_s, then=step_id)
    return analyse_sheet(replace(sheet, start=_BEFORE, steps={_BEFORE: bench, **sheet.steps}))
