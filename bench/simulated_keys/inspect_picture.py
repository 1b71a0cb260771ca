"""The pictures of the study of inspection as SVG: wrong passes beside the stated risk, errors of heights."""

from __future__ import annotations

import numpy as np

from bittern.formats.drawing import BRASS, INK, QUIET, Drawing, Point
from simulated_keys.inspect_report import (
    Outcomes,
    count_accepted,
    count_rejected,
    get_z,
    list_judged,
    list_shown,
    pick,
)

LEFT, TOP = 18.0, 16.0
WIDE, HIGH = 110.0, 62.0
MOST = 0.2
BINS = np.linspace(-4, 4, 33)


def draw_risks(outcomes: Outcomes) -> str:
    """Return wrong passes and wrong fails of cuts, with 95 % intervals, beside what was stated."""
    drawing = Drawing()
    ways = list_shown(outcomes)

    def at(place: float, share: float) -> Point:
        return LEFT + WIDE * (place + 0.5) / len(ways), TOP + HIGH * (1 - min(share, MOST) / MOST)

    drawing.text((LEFT, TOP - 6), "cuts judged wrongly, %, with 95 % intervals", anchor="start", bold=True)
    drawing.line([(LEFT, TOP), (LEFT, TOP + HIGH), (LEFT + WIDE, TOP + HIGH)], width=0.25)
    for twentieth in range(5):
        share = twentieth / 20
        drawing.text((LEFT - 1.5, at(0, share)[1] + 1), f"{100 * share:.0f}", anchor="end")
    drawing.line([(LEFT, at(0, 0.05)[1]), (LEFT + WIDE, at(0, 0.05)[1])], ink=QUIET, dash="1.2 1")
    for place, shown in enumerate(ways):
        judged = list_judged(pick(outcomes, shown), whole=False)
        drawing.text((at(place, 0)[0], TOP + HIGH + 4.5), shown)
        for shift, wrong, ink in (
            (-0.12, count_accepted(judged), BRASS),
            (0.12, count_rejected(judged), INK),
        ):
            if not wrong.given:
                continue
            found = wrong.observed
            drawing.line([at(place + shift, found.low), at(place + shift, found.high)], ink=ink, width=0.3)
            drawing.circle(at(place + shift, found.value), 0.9, fill=ink)
            x, y = at(place + shift, wrong.stated)
            drawing.line([(x - 2, y), (x + 2, y)], ink=ink, width=0.4)
    for row, (ink, words) in enumerate(
        ((BRASS, "passed, but not within the limit"), (INK, "failed, but within the limit"))
    ):
        drawing.circle((LEFT + 4, TOP + 2 + 4.5 * row - 1), 0.9, fill=ink)
        drawing.text((LEFT + 6.5, TOP + 2 + 4.5 * row), words, anchor="start", ink=ink)
    drawing.text((LEFT + 4, TOP + 11), "short bars: as stated; dashes: the shop's risk", anchor="start")
    accepted = count_accepted(list_judged(pick(outcomes, ""), whole=False))
    return drawing.render(
        LEFT + WIDE + 8,
        TOP + HIGH + 9,
        title="Cuts judged wrongly beside the stated risk",
        description=(
            f"Of {accepted.given} cuts that passed {accepted.wrong} were not within the limit, where"
            f" {100 * accepted.stated:.1f} % were stated; the tables beside hold all figures."
        ),
    )


def draw_heights(outcomes: Outcomes) -> str:
    """Return the errors of heights in stated standard deviations beside the normal law."""
    drawing = Drawing()
    z = get_z([root for one in pick(outcomes, "") for root in one.heights])
    share = np.histogram(np.clip(z, BINS[0], BINS[-1]), BINS)[0] / max(len(z), 1) / (BINS[1] - BINS[0])
    normal = np.exp(-np.square(BINS) / 2) / np.sqrt(2 * np.pi)
    tallest = 1.1 * max(float(share.max()), 0.4)

    def at(x: float, y: float) -> Point:
        return LEFT + WIDE * (x - BINS[0]) / (BINS[-1] - BINS[0]), TOP + HIGH * (1 - y / tallest)

    drawing.text((LEFT, TOP - 6), "errors of heights in stated deviations", anchor="start", bold=True)
    steps = [at(x, y) for low, high, y in zip(BINS[:-1], BINS[1:], share, strict=True) for x in (low, high)]
    drawing.line([at(BINS[0], 0), *steps, at(BINS[-1], 0)], ink=BRASS, width=0.4)
    drawing.line([at(x, y) for x, y in zip(BINS, normal, strict=True)], ink=INK, dash="1.2 1", width=0.25)
    drawing.line([at(BINS[0], 0), at(BINS[-1], 0)], width=0.25)
    for whole in range(-4, 5):
        drawing.text((at(whole, 0)[0], TOP + HIGH + 4.5), f"{whole}")
    drawing.text((LEFT + 4, TOP + 2), "dashes: the normal law", anchor="start", ink=QUIET)
    return drawing.render(
        LEFT + WIDE + 8,
        TOP + HIGH + 9,
        title="Errors of heights in stated deviations",
        description=f"{len(z)} roots of scans and photos; greater errors stand at the ends.",
    )
