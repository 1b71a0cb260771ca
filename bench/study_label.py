"""How often labels are read exactly: bar codes and print, by how they were photographed.

Labels are drawn from a seed with invented numbers, then turned, blurred, lit from one side, made noisy and
pushed out of square. Counted are exact readings, wrong ones (a number or identifier that the grammar lets
pass and that does not stand on the label), and how sure the print reader said it was of the wrong ones.
"""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from tests.label_images import (
    Camera,
    draw_code,
    draw_print,
    make_identifier,
    make_vin,
    photograph,
    vary,
)

from bittern.demo import PACK_DIR
from bittern.formats.label_codes import read_codes
from bittern.formats.packs import Pack, read_pack
from bittern.work.label import interpret, read_label

SEED = 2926
CODES, PRINTS = 36, 16
KINDS = {"Code39": 3, "Code128": 3, "DataMatrix": 6, "QRCode": 6}
CAMERAS = {
    "straight on": Camera(),
    "turned": Camera(),
    "turned, soft": Camera(blur_px=1.3),
    "turned, light from one side": Camera(light=0.7, noise=3),
    "turned, out of square": Camera(perspective=0.04, blur_px=0.6),
    "from the hand: all of it": Camera(blur_px=1.0, light=0.6, noise=6, perspective=0.03),
}
PRINT_CASES = {
    "letters 34 px": (34, Camera()),
    "letters 20 px": (20, Camera()),
    "letters 12 px": (12, Camera()),
    "20 px, turned up to 20 degrees": (20, Camera(turn_deg=20)),
    "20 px, upside down or on its side": (20, Camera(turn_deg=90)),
    "20 px, soft": (20, Camera(blur_px=1.2, turn_deg=8)),
    "20 px, very soft": (20, Camera(blur_px=2.2, turn_deg=8)),
    "8 px, soft": (8, Camera(blur_px=0.8, turn_deg=8)),
    "12 px, very soft and noisy": (12, Camera(blur_px=2.0, noise=8, turn_deg=8)),
    "20 px, from the hand": (20, Camera(blur_px=0.8, light=0.6, noise=6, perspective=0.03, turn_deg=12)),
}


@dataclass(slots=True)
class Score:
    """What came out in one row of the table."""

    cases: int = 0
    exact: int = 0
    wrong: int = 0
    sure_of_wrong: list[float] = field(default_factory=list)


def study_codes(kind: str, camera: Camera, name: str, pack: Pack, cases: int = CODES) -> Score:
    """Read bar codes with a vehicle number, turned by any angle unless straight on."""
    rng = np.random.default_rng([SEED, len(kind), len(name)])
    score = Score(cases)
    for _ in range(cases):
        truth = make_vin(rng)
        turn = 0.0 if name == "straight on" else float(rng.uniform(0, 360))
        picture = photograph(draw_code(truth, kind, KINDS[kind]), vary(camera, turn_deg=turn), rng)
        found = [one.vin for one in interpret((1, 1), read_codes(picture), (), pack).vins]
        score.exact += found == [truth]
        score.wrong += sum(vin != truth for vin in found)
    return score


def study_print(size_px: int, camera: Camera, pack: Pack, cases: int = PRINTS) -> Score:
    """Read remotes' labels with an identifier, half of them light on dark."""
    rng = np.random.default_rng([SEED, size_px, int(10 * camera.blur_px), int(camera.turn_deg)])
    score = Score(cases)
    for place in range(cases):
        truth = make_identifier(rng)
        turn = camera.turn_deg
        # Upside down and on either side are three cases of one row; else anything up to the angle.
        turn = float(rng.choice([90, 180, 270])) if turn == 90 else float(rng.uniform(-turn, turn))
        lines = ["MODEL QM-523", f"FCC ID: {truth}", "IC: 7812Z-QMR523"]
        label = draw_print(lines, size_px, dark=place % 2 == 1)
        found = read_label(photograph(label, vary(camera, turn_deg=turn), rng), pack).fcc_ids
        score.exact += [one.text for one in found] == [truth]
        for one in found:
            if one.text != truth:
                score.wrong += 1
                score.sure_of_wrong.append(one.confidence or 0.0)
    return score


def make_rows(pack: Pack) -> Iterator[tuple[str, Callable[[], Score]]]:
    """Yield the rows of the table, each with what computes it."""
    for kind in KINDS:
        for name, camera in CAMERAS.items():
            yield f"{kind}, {name}", lambda k=kind, c=camera, n=name: study_codes(k, c, n, pack)  # type: ignore[misc]
    for name, (size, camera) in PRINT_CASES.items():
        yield f"print, {name}", lambda s=size, c=camera: study_print(s, c, pack)  # type: ignore[misc]


def main() -> None:
    """Print the table."""
    pack = read_pack(PACK_DIR)
    print(f"Labels read from photos; {CODES} bar codes or {PRINTS} labels a row, seed {SEED}.")
    print()
    print(f"{'photographed':<48}{'exact':>8}{'wrong':>7}  highest score of a wrong one")
    totals = {"bar codes": Score(), "print": Score()}
    for name, compute in make_rows(pack):
        score = compute()
        total = totals["print" if name.startswith("print") else "bar codes"]
        total.cases += score.cases
        total.exact += score.exact
        total.wrong += score.wrong
        sure = f"{max(score.sure_of_wrong):.2f}" if score.sure_of_wrong else ""
        print(f"{name:<48}{score.exact / score.cases:>8.0%}{score.wrong:>7}  {sure}", flush=True)
    for name, total in totals.items():
        print(f"{'all ' + name:<48}{total.exact / total.cases:>8.1%}{total.wrong:>7}")


if __name__ == "__main__":
    main()
