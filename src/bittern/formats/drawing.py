"""A small SVG page measured in millimetres: lines, shapes and text that print true to scale.

Only presentation attributes are written, no ``style`` and no script, so that a page with a strict
Content-Security-Policy can carry the drawing inline.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Sequence
from itertools import pairwise
from xml.sax.saxutils import escape, quoteattr

INK = "#1d1b18"
QUIET = "#5d574d"
BRASS = "#7a5c14"
METAL = "#ece2c6"
GROOVE = "#c9b684"
PAPER = "#fffdf8"
FONT = "Helvetica, Arial, sans-serif"

Point = tuple[float, float]

# Widest of the usual sans-serif faces, as a share of the font size: better too much room than too little.
DIGIT_WIDTH = 0.64
BOLD_WIDTH = 0.71


class Drawing:
    """Elements of a page, in millimetres, y growing downward."""

    def __init__(self) -> None:
        self.elements: list[str] = []

    def line(self, points: Sequence[Point], *, width: float = 0.15, ink: str = INK, dash: str = "") -> None:
        """Draw a polyline."""
        dashes = f' stroke-dasharray="{dash}"' if dash else ""
        self.elements.append(
            f'<polyline points="{_join(points)}" fill="none" stroke="{ink}" stroke-width="{width:g}"'
            f' stroke-linejoin="round"{dashes}/>'
        )

    def shape(self, path: str, *, fill: str, width: float = 0.0, ink: str = INK, name: str = "") -> None:
        """Draw a filled path."""
        kind = f" class={quoteattr(name)}" if name else ""
        edge = f' stroke="{ink}" stroke-width="{width:g}" stroke-linejoin="round"' if width else ""
        self.elements.append(f'<path{kind} d="{path}" fill="{fill}"{edge}/>')

    def groove(self, points: Sequence[Point], *, width: float, ink: str = GROOVE) -> None:
        """Draw what a cylinder of diameter ``width`` sweeps along ``points``."""
        self.elements.append(
            f'<polyline class="groove" points="{_join(points)}" fill="none" stroke="{ink}"'
            f' stroke-width="{number(width)}" stroke-linejoin="round"/>'
        )

    def circle(self, centre: Point, radius: float, *, fill: str = INK) -> None:
        """Draw a disc."""
        x, y = centre
        self.elements.append(f'<circle cx="{number(x)}" cy="{number(y)}" r="{radius:g}" fill="{fill}"/>')

    def text(
        self,
        at: Point,
        content: str,
        *,
        size: float = 2.8,
        ink: str = INK,
        bold: bool = False,
        anchor: str = "middle",
    ) -> None:
        """Write ``content`` with its baseline at ``at``."""
        x, y = at
        weight = ' font-weight="bold"' if bold else ""
        self.elements.append(
            f'<text x="{number(x)}" y="{number(y)}" font-size="{size:g}" text-anchor="{anchor}"'
            f' fill="{ink}"{weight}>{clean(content)}</text>'
        )

    def dimension(self, start: Point, end: Point, *, ink: str = INK) -> None:
        """Draw a dimension line with arrows where there is room for them."""
        (x0, y0), (x1, y1) = start, end
        length = ((x1 - x0) ** 2 + (y1 - y0) ** 2) ** 0.5
        if length < 1e-6:
            self.circle(start, 0.3, fill=ink)
            return
        self.line([start, end], width=0.12, ink=ink)
        ux, uy = (x1 - x0) / length, (y1 - y0) / length
        size = min(0.9, length / 3)
        for (x, y), sign in ((start, 1), (end, -1)):
            base_x, base_y = x + sign * ux * size, y + sign * uy * size
            left = (base_x - uy * size * 0.3, base_y + ux * size * 0.3)
            right = (base_x + uy * size * 0.3, base_y - ux * size * 0.3)
            self.shape(close_path([(x, y), left, right]), fill=ink)

    def render(self, width: float, height: float, *, title: str, description: str) -> str:
        """Return the page as an SVG document of ``width`` x ``height`` mm."""
        w, h = number(width), number(height)
        head = (
            f'<svg xmlns="http://www.w3.org/2000/svg" role="img" width="{w}mm" height="{h}mm"'
            f' viewBox="0 0 {w} {h}" font-family="{FONT}">'
        )
        about = [f"<title>{clean(title)}</title>", f"<desc>{clean(description)}</desc>"]
        paper = f'<rect class="paper" width="{w}" height="{h}" fill="{PAPER}"/>'
        return "\n".join([head, *about, paper, *self.elements, "</svg>", ""])


def number(value: float) -> str:
    """Return a coordinate to a tenth of a micrometre, without needless zeros.

    >>> number(2.50004), number(-0.00001)
    ('2.5', '0')
    """
    text = f"{value:.4f}".rstrip("0").rstrip(".")
    return "0" if text == "-0" else text


def close_path(points: Sequence[Point]) -> str:
    """Return path data of a closed polygon."""
    return "M" + " L".join(f"{number(x)} {number(y)}" for x, y in points) + " Z"


def clean(text: str) -> str:
    """Return ``text`` escaped, on one line, without characters that XML 1.0 cannot carry."""
    kept = (char if char.isprintable() or char == " " else " " for char in text)
    return escape(" ".join("".join(kept).split()))


def measure_text(text: str, size: float, *, bold: bool = False) -> float:
    """Return a width in mm that ``text`` will not exceed in the usual sans-serif faces."""
    share = BOLD_WIDTH if bold else DIGIT_WIDTH
    return sum(1.1 if unicodedata.east_asian_width(char) in "WF" else share for char in text) * size


def wrap_words(
    words: Sequence[str], width: float, size: float, *, bold: bool = False, most: int = 3
) -> list[str]:
    """Return ``words`` in at most ``most`` lines of ``width`` mm; what is left over ends in an ellipsis."""
    lines = [""]
    for word in words:
        longer = f"{lines[-1]} {word}".strip()
        if lines[-1] and measure_text(longer, size, bold=bold) > width:
            lines.append(word)
        else:
            lines[-1] = longer
    shown = [_fit(line, width, size, bold=bold) for line in lines[:most]]
    if len(lines) > most:
        shown[-1] = _fit(shown[-1] + " " + lines[most] + "…", width, size, bold=bold)
    return shown


def _fit(line: str, width: float, size: float, *, bold: bool) -> str:
    while len(line) > 1 and measure_text(line, size, bold=bold) > width:
        line = line.removesuffix("…")[:-1] + "…"
    return line


def place_centres(wishes: Sequence[float], widths: Sequence[float], gap: float) -> list[float]:
    """Return centres as near to ``wishes`` as can be so that neighbours of ``widths`` stay ``gap`` apart.

    Least squares under order (pool adjacent violators): each centre less the room its predecessors need must
    not fall.

    >>> place_centres([0.0, 10.0], [4.0, 4.0], 1.0)
    [0.0, 10.0]
    >>> place_centres([0.0, 2.0], [4.0, 4.0], 1.0)
    [-1.5, 3.5]
    """
    offsets = [0.0]
    for before, after in pairwise(widths):
        offsets.append(offsets[-1] + (before + after) / 2 + gap)
    pools: list[tuple[float, int]] = []
    for wish, offset in zip(wishes, offsets, strict=True):
        total, count = wish - offset, 1
        while pools and pools[-1][0] / pools[-1][1] > total / count:
            more, members = pools.pop()
            total, count = total + more, count + members
        pools.append((total, count))
    free = [total / count for total, count in pools for _ in range(count)]
    return [place + offset for place, offset in zip(free, offsets, strict=True)]


def _join(points: Sequence[Point]) -> str:
    return " ".join(f"{number(x)},{number(y)}" for x, y in points)
