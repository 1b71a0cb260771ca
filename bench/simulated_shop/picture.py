"""The study's picture: stated against observed, and wrong orders with cost, as SVG."""

from __future__ import annotations

from collections.abc import Mapping

from bittern.formats.drawing import BRASS, INK, QUIET, Drawing, Point
from simulated_shop.accounting import Account

SIDE = 62.0
LEFT, TOP = 16.0, 16.0
BARS_LEFT = 124.0
BAR_WIDTH = 54.0
ROW = 8.6
INKS = {"engine": BRASS, "bayes": INK, "listed": QUIET}
NAMES = {
    "listed": "largest share",
    "label": "identifier demanded",
    "engine": "engine",
    "bayes": "Bayes rule",
    "engine, cautious": "engine, cautious",
}


def draw_study(accounts: Mapping[str, Account]) -> str:
    """Return the picture as an SVG document."""
    drawing = Drawing()
    _draw_reliability(drawing, accounts)
    bottom = _draw_bars(drawing, accounts, TOP, "wrong orders per 100 jobs, with 95 % interval", "wrong")
    _draw_bars(drawing, accounts, bottom + 9.0, "cost a job", "cost")
    engine, bayes = accounts["engine"], accounts["bayes"]
    return drawing.render(
        BARS_LEFT + BAR_WIDTH + 16.0,
        TOP + 5 * ROW * 2 + 26.0,
        title="The simulated year of a shop",
        description=(
            f"Over {engine.jobs} jobs the engine ordered {engine.wrong_per_100.value:.1f} wrong articles per"
            f" 100 jobs, the Bayes rule {bayes.wrong_per_100.value:.1f}; the tables beside hold all figures."
        ),
    )


def _draw_reliability(drawing: Drawing, accounts: Mapping[str, Account]) -> None:
    def at(x: float, y: float) -> Point:
        return LEFT + SIDE * x, TOP + SIDE * (1.0 - y)

    drawing.text((LEFT, TOP - 6), "stated against observed, with 95 % intervals", anchor="start", bold=True)
    drawing.line([at(0, 1), at(0, 0), at(1, 0)], width=0.25)
    drawing.line([at(0, 0), at(1, 1)], ink=QUIET, dash="1.2 1")
    for tenth in range(0, 11, 2):
        x, y = at(tenth / 10, 0)
        drawing.text((x, y + 4), f"{10 * tenth}")
        drawing.text((at(0, tenth / 10)[0] - 1.5, at(0, tenth / 10)[1] + 1), f"{10 * tenth}", anchor="end")
    drawing.text((LEFT + SIDE / 2, TOP + SIDE + 8.5), "stated, %")
    drawing.text((LEFT - 11, TOP - 1.5), "observed, %", anchor="start")
    for shift, name in ((0.0, "bayes"), (0.006, "engine")):
        points = []
        for one in accounts[name].deciles:
            if one is None:
                continue
            x = one.stated + shift
            drawing.line([at(x, one.low), at(x, one.high)], ink=INKS[name], width=0.3)
            drawing.circle(at(x, one.observed), 0.8, fill=INKS[name])
            points.append(at(x, one.observed))
        drawing.line(points, ink=INKS[name], width=0.2, dash="" if name == "engine" else "0.8 0.6")
    for row, name in enumerate(("engine", "bayes")):
        x, y = LEFT + 4, TOP + 3 + 4.5 * row
        drawing.circle((x, y - 1), 0.8, fill=INKS[name])
        drawing.text((x + 2.5, y), NAMES[name], anchor="start", ink=INKS[name])


def _draw_bars(drawing: Drawing, accounts: Mapping[str, Account], top: float, title: str, what: str) -> float:
    """Draw a bar for each policy, one scale; return the lowest y."""
    drawing.text((BARS_LEFT - 30, top - 6), title, anchor="start", bold=True)
    values = {
        name: accounts[name].wrong_per_100.value if what == "wrong" else accounts[name].cost for name in NAMES
    }
    scale = BAR_WIDTH / max(1e-9, *values.values()) * 0.85
    y = top
    for name, value in values.items():
        drawing.text((BARS_LEFT - 2, y + 3.4), NAMES[name], anchor="end")
        length = max(0.1, scale * value)
        path = f"M{BARS_LEFT} {y:.3f} h{length:.3f} v4.6 h{-length:.3f} Z"
        drawing.shape(path, fill=INKS.get(name, QUIET) if name != "engine, cautious" else BRASS)
        right = BARS_LEFT + length
        if what == "wrong":
            per = accounts[name].wrong_per_100
            low, high = (BARS_LEFT + scale * end for end in (per.low, per.high))
            drawing.line([(low, y + 5.6), (high, y + 5.6)], width=0.4, ink=INK)
            right = max(right, high)
        drawing.text((right + 1.5, y + 3.4), f"{value:.1f}", anchor="start")
        y += ROW
    return y
