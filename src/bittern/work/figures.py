"""The figures of run sheets, kept once computed: a page that shows them again need not compute them again."""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache

from bittern.engines.pairing.chain import SheetFigures, analyse_sheet
from bittern.engines.pairing.sheet import RunSheet
from bittern.formats.runsheets import parse_runsheet, write_runsheet

KEPT = 512


def get_figures(sheet: RunSheet, step_id: str = "") -> SheetFigures:
    """Return the figures of a sound sheet, from its start or from the step where a run stands."""
    return _compute(write_runsheet(sheet), sheet.id, step_id or sheet.start)


# Quantiles cost a few tenths of a second; the whole text is the key, so an edited pack is computed anew.
@lru_cache(maxsize=KEPT)
def _compute(text: str, sheet_id: str, step_id: str) -> SheetFigures:
    return analyse_sheet(replace(parse_runsheet(text, sheet_id), start=step_id))
