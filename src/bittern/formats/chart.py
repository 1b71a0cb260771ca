"""The chart of a blade: an SVG true to scale with its cuts, their depths, heights and places."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from bittern.core.errors import InputError, shorten
from bittern.engines.blade.bitting import Bitting, format_bitting, name_cut
from bittern.engines.blade.outline import get_blade_polygon, get_outline
from bittern.engines.blade.soundness import get_edge_height_mm
from bittern.engines.blade.standard import BladeStandard
from bittern.engines.blade.worklist import CutRow, cutting_list
from bittern.formats.drawing import (
    BRASS,
    INK,
    METAL,
    QUIET,
    Drawing,
    Point,
    close_path,
    measure_text,
    number,
    place_centres,
    wrap_words,
)

UNITS = {"mm": 1.0, "inch": 25.4}

MARGIN = 5.0
BOW = 9.0
SHOULDER = 1.6
JOG = 5.5
COLUMN_GAP = 1.4
SMALL = 2.8
LARGE = 4.4
TITLE = 4.0
LEAST_WIDTH = 96.0
LONGEST_TITLE = 200


@dataclass(frozen=True, slots=True)
class Row:
    """One row of a table beside the blade."""

    head: str
    size: float = SMALL
    bold: bool = False
    ink: str = INK


@dataclass(frozen=True, slots=True)
class Column:
    """What stands over or under one place of the blade: ``x`` in blade mm, one text a row."""

    x: float
    root: float | None
    texts: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Frame:
    """Where the blade's x = 0, h = 0 lies on the page."""

    x: float
    y: float

    def at(self, x: float, h: float) -> Point:
        """Return the page's point for a point of the blade."""
        return self.x + x, self.y - h


def render_chart(standard: BladeStandard, bitting: Bitting, *, unit: str = "mm", title: str = "") -> str:
    """Return the chart of a blade as an SVG document in which a millimetre is a millimetre.

    Parameters
    ----------
    standard, bitting
        A sound standard and a complete bitting of it; whether the rules allow it is the caller's question.
    unit
        ``mm`` or ``inch``: the unit of the numbers written. The drawing is the same.
    title
        Stands on top instead of the standard's title, for instance a job's number.

    Raises
    ------
    InputError
        Another unit, or a title too long for a heading.
    UnknownCutError
        A cut is unknown.
    """
    if unit not in UNITS:
        raise InputError(shorten(unit), " or ".join(UNITS), where="unit")
    if len(title) > LONGEST_TITLE:
        raise InputError(f"{len(title)} characters", f"at most {LONGEST_TITLE}", where="title")
    return _Chart(standard, bitting, unit, title or standard.title).render()


def format_length(value_mm: float, unit: str, *, signed: bool = False) -> str:
    """Return a length in ``unit`` without its name: two decimals of a millimetre, three of an inch, or more.

    >>> format_length(7.4, "mm"), format_length(7.425, "mm"), format_length(7.4, "inch")
    ('7.40', '7.425', '0.291')
    """
    value = value_mm / UNITS[unit]
    decimals = 3 if unit == "inch" or abs(round(value, 2) - value) > 5e-4 else 2
    text = f"{value:+.{decimals}f}" if signed else f"{value:.{decimals}f}"
    if float(text) == 0:
        text = text.lstrip("+-")
    return text.replace("-", "−")


class _Chart:
    """One chart being drawn; the methods go from top to bottom of the page."""

    def __init__(self, standard: BladeStandard, bitting: Bitting, unit: str, title: str) -> None:
        self.standard = standard
        self.bitting = bitting
        self.unit = unit
        self.title = title
        self.track = standard.kind == "track"
        self.single = not self.track and standard.sides == "single"
        self.rows = cutting_list(standard, bitting)
        self.top = get_edge_height_mm(standard)
        self.bottom = 0.0 if self.single else -self.top
        self.drawing = Drawing()
        split = standard.sides == "split"
        count = len(standard.positions_mm)
        self.upper_rows = [Row("depth", LARGE, True, BRASS), Row("cut"), Row(self.measure)]
        self.lower_rows = [Row("at"), Row("", ink=QUIET)]
        self.upper = [self._describe_cut(0, row) for row in self.rows[:count]]
        self.lower = [self._describe_place(row) for row in self.rows[:count]]
        if split:
            self.lower_rows = [Row(self.measure), Row("cut"), Row("depth", LARGE, True, BRASS), Row("at")]
            cuts = [self._describe_cut(1, row) for row in self.rows[count:]]
            self.lower = [
                Column(cut.x, cut.root, (*reversed(cut.texts), place.texts[0]))
                for cut, place in zip(cuts, self.lower, strict=True)
            ]
        near, far = ("shoulder", "tip") if standard.datum == "shoulder" else ("tip", "shoulder")
        for x, name in ((0.0, near), (standard.length_mm, far)):
            at = format_length(x, unit) if x else "0"
            texts = ("", name, "", at) if split else (at, name)
            self.lower.append(Column(x, None, texts))
        self.upper.sort(key=lambda column: column.x)
        self.lower.sort(key=lambda column: column.x)

    @property
    def measure(self) -> str:
        return "offset" if self.track else "height"

    def render(self) -> str:
        """Lay the page out, draw it and return it."""
        upper_at = self._place(self.upper, self.upper_rows)
        lower_at = self._place(self.lower, self.lower_rows)
        left, right = self._find_extent(upper_at, lower_at)
        spare = max(0.0, LEAST_WIDTH - (right - left)) / 2
        frame_x = MARGIN - left + spare
        width = right - left + 2 * spare + 2 * MARGIN
        y = self._draw_heading(width)
        y += sum(row.size * 1.3 for row in self.upper_rows) + JOG + 1.0
        shoulder_top = self.top + SHOULDER
        self.frame = Frame(frame_x, y + 1.0 + shoulder_top)
        self._draw_blade()
        self._draw_table(self.upper, self.upper_rows, upper_at, up=True)
        y = self._draw_table(self.lower, self.lower_rows, lower_at, up=False)
        height = self._draw_scale(y + 4.5) + MARGIN
        return self.drawing.render(width, height, title=self._entitle(), description=self._describe())

    def _describe_cut(self, edge: int, row: CutRow) -> Column:
        name = name_cut(self.standard, edge, row.number - 1)
        height = format_length(row.height_mm, self.unit, signed=self.track)
        return Column(row.position_mm, -row.height_mm if edge else row.height_mm, (row.label, name, height))

    def _describe_place(self, row: CutRow) -> Column:
        return Column(row.position_mm, None, (format_length(row.position_mm, self.unit), str(row.number)))

    def _place(self, columns: Sequence[Column], rows: Sequence[Row]) -> list[float]:
        widths = [_measure_column(column, rows) for column in columns]
        return place_centres([column.x for column in columns], widths, COLUMN_GAP)

    def _find_extent(self, upper: Sequence[float], lower: Sequence[float]) -> tuple[float, float]:
        """Return the leftmost and rightmost x that anything on the page needs, in blade mm."""
        head, size = 13.0, 14.0
        left, right = (-BOW, size) if self.standard.datum == "shoulder" else (-size, BOW)
        right += self.standard.length_mm
        tables = ((self.upper, self.upper_rows, upper), (self.lower, self.lower_rows, lower))
        for columns, rows, centres in tables:
            for column, centre in zip(columns, centres, strict=True):
                half = _measure_column(column, rows) / 2
                left, right = min(left, centre - half - head), max(right, centre + half)
        return left, right

    def _draw_heading(self, width: float) -> float:
        y = MARGIN
        inner = width - 2 * MARGIN
        for line in wrap_words(self.title.split(), inner, TITLE, bold=True):
            y += TITLE
            self.drawing.text((MARGIN, y), line, size=TITLE, bold=True, anchor="start")
            y += 1.0
        for line in wrap_words(self._list_facts(), inner, SMALL):
            y += SMALL + 0.6
            self.drawing.text((MARGIN, y), line.removeprefix("· "), ink=QUIET, anchor="start")
        return y + 4.0

    def _list_facts(self) -> list[str]:
        standard = self.standard
        origin = "back edge" if self.single else "centre line"
        parts = [standard.id, f"from the {standard.datum}", f"{self.measure}s from the {origin}"]
        if standard.sides == "mirror":
            parts.append("same on both faces" if self.track else "same on both edges")
        if standard.groove_width_mm is not None and standard.groove_depth_mm is not None:
            wide, deep = (
                format_length(value, self.unit)
                for value in (standard.groove_width_mm, standard.groove_depth_mm)
            )
            parts.append(f"groove {wide} wide, {deep} deep")
        parts.append("mm" if self.unit == "mm" else "inches")
        return [parts[0], *(f"· {part}" for part in parts[1:])]

    def _draw_blade(self) -> None:
        draw, at, length = self.drawing, self.frame.at, self.standard.length_mm
        draw.shape(self._trace_key(), fill=METAL, width=0.3, name="blade")
        if self.track:
            line = [at(x, h) for x, h in get_outline(self.standard, self.bitting)]
            draw.groove(line, width=self.standard.groove_width_mm or 0.0)
            draw.line(line, width=0.2)
        else:
            for edge in {self.top, self.bottom} - {0.0}:
                draw.line([at(0, edge), at(length, edge)], ink=QUIET, dash="0.8 0.6")
        if not self.single:
            draw.line([at(-3, 0), at(length + 3, 0)], ink=QUIET, width=0.12, dash="3 0.8 0.6 0.8")
        draw.line(
            [at(0, self.top + SHOULDER + 1), at(0, self.bottom - SHOULDER - 1)],
            ink=BRASS,
            width=0.3,
            dash="2.4 0.7 0.5 0.7",
        )
        for column in (*self.upper, *self.lower):
            if column.root is not None:
                draw.dimension(at(column.x, 0), at(column.x, column.root))
        self._draw_width()

    def _draw_width(self) -> None:
        at, length = self.frame.at, self.standard.length_mm
        tip_right = self.standard.datum == "shoulder"
        x, end, sign = (length + 3.5, length, 1) if tip_right else (-3.5, 0.0, -1)
        for h in (self.bottom, self.top):
            self.drawing.line([at(end + sign * 0.6, h), at(x + sign * 0.8, h)], width=0.12, ink=QUIET)
        self.drawing.dimension(at(x, self.bottom), at(x, self.top), ink=QUIET)
        self.drawing.text(
            at(x + sign * 1.2, (self.bottom + self.top) / 2 + (0 if self.single else 0.8) - SMALL * 0.35),
            format_length(self.standard.width_mm, self.unit),
            ink=QUIET,
            anchor="start" if tip_right else "end",
        )

    def _trace_key(self) -> str:
        """Return path data of the blade with a stub of its bow, which ends in a break line."""
        polygon = get_blade_polygon(self.standard, self.bitting)
        # Counter-clockwise from the lower left: the lower edge runs right, the upper edge back to the left.
        length = self.standard.length_mm
        turn = next(i for i, (x, _) in enumerate(polygon) if x == length) + 1
        lower, upper = list(polygon[:turn]), list(polygon[turn:])
        low = self.bottom - (0.0 if self.single else SHOULDER)
        high = self.top + SHOULDER
        third = (high - low) / 3
        if self.standard.datum == "shoulder":
            x = -BOW
            corners = [*lower, *upper, (0.0, high), (x, high)]
            bends = [(x + 2, high - third), (x - 2, low + third), (x, low)]
            tail = [(0.0, low)]
        else:
            x = length + BOW
            corners = [(length, high), *upper, *lower, (length, low), (x, low)]
            bends = [(x - 2, low + third), (x + 2, high - third), (x, high)]
            tail = []

        def say(points: Sequence[Point]) -> str:
            return " ".join(
                f"{number(px)} {number(py)}" for px, py in (self.frame.at(*point) for point in points)
            )

        path = f"M{say(corners[:1])} L{say(corners[1:])} C{say(bends)}"
        return path + (f" L{say(tail)} Z" if tail else " Z")

    def _draw_table(
        self, columns: Sequence[Column], rows: Sequence[Row], centres: Sequence[float], *, up: bool
    ) -> float:
        """Draw leaders and texts above or below the blade; return the lowest y."""
        frame, draw = self.frame, self.drawing
        sign = -1 if up else 1
        edge = self.top if up else self.bottom
        shoulder = SHOULDER if up or not self.single else 0.0
        start = frame.y - edge + sign * (shoulder + 1.0)
        if not up and self.lower[0].root is None and self.standard.sides != "split":
            start = self._draw_run(start + 1.5)
        turned = start + sign * JOG
        for column, centre in zip(columns, centres, strict=True):
            x = frame.x + column.x
            root = column.root if column.root is not None else edge
            begin = frame.y - root if column.root is not None else start
            draw.line(
                [(x, begin), (x, start), (frame.x + centre, turned), (frame.x + centre, turned + sign * 0.6)],
                ink=BRASS if up or column.root is not None else QUIET,
                width=0.15,
            )
        heights = [row.size * 1.3 for row in rows]
        y = turned - 1.2 - sum(heights) if up else turned + 1.4
        head_x = (
            frame.x
            - 1.8
            + min(
                centre - _measure_column(column, rows) / 2
                for column, centre in zip(columns, centres, strict=True)
            )
        )
        for index, (row, height) in enumerate(zip(rows, heights, strict=True)):
            y += height
            base = y - row.size * 0.3
            if row.head:
                draw.text((head_x, base), row.head, ink=QUIET, anchor="end")
            for column, centre in zip(columns, centres, strict=True):
                if column.texts[index]:
                    draw.text(
                        (frame.x + centre, base),
                        column.texts[index],
                        size=row.size,
                        bold=row.bold,
                        ink=row.ink,
                    )
        return y

    def _draw_run(self, y: float) -> float:
        """Draw the running dimension from the datum under the blade; return the y where leaders go on."""
        frame, draw = self.frame, self.drawing
        below = frame.y - self.bottom
        draw.line([(frame.x, y), (frame.x + self.standard.length_mm, y)], width=0.12, ink=QUIET)
        draw.circle((frame.x, y), 0.55, fill=BRASS)
        for column in self.lower:
            x = frame.x + column.x
            draw.line([(x, below + 0.5), (x, y + 1.2)], width=0.12, ink=QUIET)
            if column.x > 0:
                draw.shape(close_path([(x, y), (x - 0.9, y - 0.28), (x - 0.9, y + 0.28)]), fill=QUIET)
        return y + 1.2

    def _draw_scale(self, y: float) -> float:
        """Draw the bar that proves the print's scale; return its lowest y."""
        draw = self.drawing
        parts, part, text = (4, 5.0, "20 mm") if self.unit == "mm" else (4, 25.4 / 4, "1 inch")
        for index in range(parts):
            x0, x1 = MARGIN + index * part, MARGIN + (index + 1) * part
            path = f"M{number(x0)} {number(y)} H{number(x1)} V{number(y + 1.2)} H{number(x0)} Z"
            draw.shape(path, fill=METAL if index % 2 else INK, width=0.15, name="scale")
        draw.text(
            (MARGIN + parts * part + 2.0, y + 1.7), f"{text} when printed at 100 %", ink=QUIET, anchor="start"
        )
        return y + 2.4

    def _entitle(self) -> str:
        return f"{self.title}: bitting {format_bitting(self.standard, self.bitting)}"

    def _describe(self) -> str:
        """Say the chart in words, for whoever cannot see it."""
        said = [f"Blade standard {self.standard.id}, drawn to scale, places from the {self.standard.datum}."]
        count = len(self.standard.positions_mm)
        for index, row in enumerate(self.rows):
            name = name_cut(self.standard, *divmod(index, count))
            said.append(
                f"Cut {name} at {format_length(row.position_mm, self.unit)}: depth {row.label},"
                f" {self.measure} {format_length(row.height_mm, self.unit, signed=self.track)}."
            )
        return " ".join([*said, f"Unit: {self.unit}."])


def _measure_column(column: Column, rows: Sequence[Row]) -> float:
    return max(
        measure_text(text, row.size, bold=row.bold) for text, row in zip(column.texts, rows, strict=True)
    )
