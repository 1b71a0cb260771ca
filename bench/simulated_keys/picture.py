"""The study's pictures as SVG: exact readings by wear, and stated against observed."""

from __future__ import annotations

from collections.abc import Sequence

from simulated_shop.accounting import wilson

from bittern.formats.drawing import BRASS, INK, QUIET, Drawing, Point
from simulated_keys.report import count, list_bands, name_band, sort_stated
from simulated_keys.trial import Outcome

LEFT, TOP = 18.0, 16.0
WIDE, HIGH = 110.0, 62.0
WAYS = {"oracle": INK, "engine": BRASS, "rounding": QUIET}
NAMES = {
    "oracle": "oracle: told all but the bitting",
    "engine": "the engine",
    "rounding": "nearest depth at each cut's centre",
}


def draw_rates(scans: Sequence[Outcome]) -> str:
    """Return exact readings by band of wear, with 95 % intervals."""
    drawing = Drawing()
    bands = list_bands(scans)

    def at(place: float, share: float) -> Point:
        return LEFT + WIDE * (place + 0.5) / len(bands), TOP + HIGH * (1 - share)

    drawing.text((LEFT, TOP - 6), "bittings read exactly, %, with 95 % intervals", anchor="start", bold=True)
    drawing.line([(LEFT, TOP), (LEFT, TOP + HIGH), (LEFT + WIDE, TOP + HIGH)], width=0.25)
    for tenth in range(0, 11, 2):
        y = TOP + HIGH * (1 - tenth / 10)
        drawing.text((LEFT - 1.5, y + 1), f"{10 * tenth}", anchor="end")
    shares: dict[str, list[float]] = {way: [] for way in WAYS}
    for place, band in enumerate(bands):
        rates = count(one for one in scans if one.trial.band == band)
        drawing.text((at(place, 0)[0], TOP + HIGH + 4.5), name_band(band))
        for shift, way in ((-0.04, "oracle"), (0.04, "engine"), (0.0, "rounding")):
            hits = getattr(rates, way)
            found = wilson(hits, rates.cases)
            drawing.line(
                [at(place + shift, found.low), at(place + shift, found.high)], ink=WAYS[way], width=0.3
            )
            drawing.circle(at(place + shift, found.value), 0.9, fill=WAYS[way])
            shares[way].append(found.value)
    for shift, way in ((-0.04, "oracle"), (0.04, "engine"), (0.0, "rounding")):
        points = [at(place + shift, share) for place, share in enumerate(shares[way])]
        drawing.line(points, ink=WAYS[way], width=0.2, dash="" if way == "engine" else "0.8 0.6")
    drawing.text((LEFT + WIDE / 2, TOP + HIGH + 9.5), "mean loss of height at the roots")
    for row, way in enumerate(WAYS):
        x, y = LEFT + 4, TOP + HIGH - 14 + 4.5 * row
        drawing.circle((x, y - 1), 0.9, fill=WAYS[way])
        drawing.text((x + 2.5, y), NAMES[way], anchor="start", ink=WAYS[way])
    total = count(scans)
    return drawing.render(
        LEFT + WIDE + 8,
        TOP + HIGH + 14,
        title="Bittings read exactly, by wear",
        description=(
            f"Of {total.cases} scans the engine read {total.engine} exactly, the oracle {total.oracle}, the"
            f" nearest depth {total.rounding}; the tables beside hold all figures."
        ),
    )


def draw_stated(outcomes: Sequence[Outcome]) -> str:
    """Return stated against observed by tenths, with 95 % intervals and the number of keys."""
    drawing = Drawing()

    def at(x: float, y: float) -> Point:
        return LEFT + HIGH * x, TOP + HIGH * (1 - y)

    drawing.text((LEFT, TOP - 6), "stated against observed, with 95 % intervals", anchor="start", bold=True)
    drawing.line([at(0, 1), at(0, 0), at(1, 0)], width=0.25)
    drawing.line([at(0, 0), at(1, 1)], ink=QUIET, dash="1.2 1")
    for tenth in range(0, 11, 2):
        drawing.text((at(tenth / 10, 0)[0], at(0, 0)[1] + 4), f"{10 * tenth}")
        drawing.text((at(0, 0)[0] - 1.5, at(0, tenth / 10)[1] + 1), f"{10 * tenth}", anchor="end")
    drawing.text((LEFT + HIGH / 2, TOP + HIGH + 8.5), "stated, %")
    drawing.text((LEFT - 11, TOP - 1.5), "observed, %", anchor="start")
    deciles = [one for one in sort_stated(outcomes) if one]
    for one in deciles:
        drawing.line([at(one.stated, one.low), at(one.stated, one.high)], ink=BRASS, width=0.3)
        drawing.circle(at(one.stated, one.observed), 0.9, fill=BRASS)
        x, y = at(one.stated, one.observed)
        drawing.text((x + 1.6, y + 3.2), f"{one.cases}", anchor="start", ink=QUIET)
    read = [one for one in outcomes if not one.refused]
    return drawing.render(
        LEFT + HIGH + 16,
        TOP + HIGH + 14,
        title="Stated probability against observed share",
        description=(
            f"{len(read)} readings in tenths of the stated probability of the whole bitting; the number of"
            " keys stands beside each point."
        ),
    )
