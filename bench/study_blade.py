"""How often a worn key's bitting is read exactly, from scans and photos, beside two other ways to read it.

Run as ``python bench/study_blade.py --keys 10`` or by ``make study``. ``--docs`` also writes the pictures and
the tables into the documentation.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Iterator
from dataclasses import dataclass, replace
from itertools import pairwise
from pathlib import Path

import numpy as np

ROOT = Path(__file__).resolve().parents[1]
if str(ROOT / "bench") not in sys.path:
    sys.path.insert(0, str(ROOT / "bench"))

from simulated_keys.damaged import DPI, KINDS, ODD_KINDS, make_damaged  # noqa: E402
from simulated_keys.page import put_tables  # noqa: E402
from simulated_keys.picture import draw_rates, draw_stated  # noqa: E402
from simulated_keys.report import (  # noqa: E402
    list_groups,
    list_heights,
    list_rates,
    list_stated,
    list_targets,
    list_wrong,
)
from simulated_keys.standards import list_demo_standards  # noqa: E402
from simulated_keys.trial import Outcome, Trial, run_trials  # noqa: E402
from simulated_keys.wear import LAWS, ODD_LAWS  # noqa: E402

from bittern.core.errors import BitternError  # noqa: E402
from bittern.work.blade_picture import read_blade_picture  # noqa: E402

PAGE = ROOT / "docs" / "explanation" / "blade-study.md"
PICTURES = ROOT / "docs" / "pictures"
SEED = 6203
"""Keys of other seeds were looked at while the reading was built."""
BANDS = ((0.0, 0.125), (0.125, 0.25), (0.25, 0.375), (0.375, 0.5))
RESOLUTIONS = (300.0, 600.0, 1200.0)
TILTS_DEG = ((0.0, 5.0), (5.0, 10.0), (10.0, 14.0))
PHOTO_BAND = (0.0, 0.25)
WHOLE_BAND = (0.0, 0.5)


@dataclass(frozen=True, slots=True)
class Results:
    """The outcomes of the study's four parts."""

    scans: list[Outcome]
    photos: list[Outcome]
    odd: list[Outcome]
    competing: list[Outcome]


def plan(keys: int, photos: int, others: int, seed: int = SEED) -> list[list[Trial]]:
    """Return the trials: scans, photos, scans worn by an odd law, scans where all standards compete."""
    scans = [Trial(seed, 0, band, dpi) for band in BANDS for dpi in RESOLUTIONS for _ in range(keys)]
    shots = [Trial(seed + 1, 0, PHOTO_BAND, None, tilts) for tilts in TILTS_DEG for _ in range(photos)]
    odd = [Trial(seed + 2, 0, WHOLE_BAND, 600.0, law=law) for law in ODD_LAWS for _ in range(others)]
    competing = [Trial(seed + 3, 0, WHOLE_BAND, 600.0, any_standard=True) for _ in range(others)]
    return [
        [replace(one, number=number) for number, one in enumerate(part)]
        for part in (scans, shots, odd, competing)
    ]


def run(
    keys: int, photos: int, others: int, *, processes: int, seed: int = SEED, loud: bool = False
) -> Results:
    """Return the outcomes of all trials."""
    parts = plan(keys, photos, others, seed)
    flat = [one for part in parts for one in part]
    found = []
    for number, outcome in enumerate(run_trials(flat, processes=processes), 1):
        found.append(outcome)
        if loud and number % 50 == 0:
            print(f"{number} of {len(flat)} keys", file=sys.stderr, flush=True)
    ends = np.cumsum([0, *map(len, parts)])
    return Results(*(found[start:stop] for start, stop in pairwise(ends)))


def list_damaged(seed: int = SEED) -> Iterator[str]:
    """Yield what is said to each picture that is damaged, odd, or shows no single key."""
    yield "| picture | said |"
    yield "|---|---|"
    for number, kind in enumerate(KINDS):
        raw = make_damaged(kind, np.random.default_rng([seed, number]))
        dpi = DPI / 2 if kind == "wrong-dpi" else DPI
        try:
            read = read_blade_picture(raw, list_demo_standards(), dpi=dpi).measurement
        except BitternError as error:
            said = str(error).replace("|", "/")
        else:
            said = f"read as {read.standard} `{read.bitting}`, {100 * read.probability:.1f} %"
        yield f"| {kind}{' (a whole key)' if kind in ODD_KINDS else ''} | {said} |"


def write_lines(results: Results) -> Iterator[str]:
    """Yield the study's tables under their headings."""
    scans, photos = results.scans, results.photos
    yield "### Targets"
    yield ""
    yield from list_targets(scans, photos)
    yield ""
    yield f"### Scans: {len(scans)} keys"
    yield ""
    yield from list_rates(scans)
    yield ""
    yield "### Heights beside the Cramer-Rao bound"
    yield ""
    yield from list_heights(scans)
    yield ""
    yield f"### Photos on the measuring card: {len(photos)} keys, worn to a quarter step"
    yield ""
    names = [name_tilt(tilts) for tilts in TILTS_DEG]
    yield from list_groups(photos, "tilt of the camera", lambda one: name_tilt(one.trial.tilts_deg), names)
    yield ""
    yield "### Laws of wear"
    yield ""
    laws = [*LAWS, *ODD_LAWS]
    yield from list_groups([*scans, *results.odd], "law", lambda one: one.law, laws)
    yield ""
    yield "### All standards compete"
    yield ""
    sides = ["single", "mirror", "split"]
    yield from list_groups(results.competing, "blade", lambda one: one.sides, sides)
    yield ""
    yield "### Stated against observed"
    yield ""
    others = [*results.odd, *results.competing]
    yield from list_stated({"scans": [*scans, *others], "photos": photos})
    yield ""
    yield "### Misread or refused"
    yield ""
    yield from list_wrong([*scans, *photos, *others])
    yield ""
    yield "### Damaged and unsuitable pictures"
    yield ""
    yield from list_damaged()


def name_tilt(tilts_deg: tuple[float, float]) -> str:
    """Return a range of tilts in words."""
    return f"{tilts_deg[0]:g} to {tilts_deg[1]:g} degrees"


def write_page(lines: list[str], results: Results) -> None:
    """Put the tables between their marks in the page, and the pictures beside it."""
    put_tables(PAGE, lines)
    (PICTURES / "blade-study-rates.svg").write_text(draw_rates(results.scans), encoding="utf-8")
    stated = [*results.scans, *results.odd, *results.competing, *results.photos]
    (PICTURES / "blade-study-stated.svg").write_text(draw_stated(stated), encoding="utf-8")


def main(arguments: list[str] | None = None) -> int:
    """Run the study, print its tables, and write them into the documentation where asked."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--keys", type=int, default=34, help="keys in each band of wear and resolution")
    parser.add_argument("--photos", type=int, default=40, help="photos in each range of tilts")
    parser.add_argument("--others", type=int, default=60, help="keys in each of the two smaller parts")
    parser.add_argument("--processes", type=int, default=2)
    parser.add_argument("--seed", type=int, default=SEED)
    parser.add_argument("--docs", action="store_true", help="write page and pictures")
    # Without arguments of its own (``make study`` calls it within another program) all is as by default.
    asked = parser.parse_args([] if arguments is None else arguments)
    results = run(
        asked.keys, asked.photos, asked.others, processes=asked.processes, seed=asked.seed, loud=True
    )
    lines = list(write_lines(results))
    print("\n".join(lines))
    if asked.docs:
        write_page(lines, results)
    return 0


if __name__ == "__main__":
    raise SystemExit(main(sys.argv[1:]))
