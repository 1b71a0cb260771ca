"""Where everything stands on the map of a run sheet: steps from top to bottom, the ways between them."""

from __future__ import annotations

import textwrap
from collections.abc import Hashable, Sequence
from dataclasses import dataclass
from itertools import pairwise

from bittern.engines.pairing.graph import Way, map_ways
from bittern.engines.pairing.layering import Extent, find_back_links, order_rows, place_rows, rank_nodes
from bittern.engines.pairing.sheet import RunSheet, Step


@dataclass(frozen=True, slots=True)
class MapMeasures:
    """Sizes on the map in its own units (pixels at full size) and the reasons for them.

    Widths of letters differ from screen to screen; ``letter`` is on the wide side for ``sans-serif`` at
    ``text_size`` so that no text leaves its box.
    """

    text_size: float = 14.0
    line: float = 18.0
    letter: float = 7.4
    small_letter: float = 6.6
    node_width: float = 260.0
    node_letters: int = 30
    most_lines: int = 5
    label_letters: int = 20
    gap: float = 28.0
    row_gap: float = 20.0
    margin: float = 28.0
    loop: float = 36.0


MEASURES = MapMeasures()


@dataclass(frozen=True, slots=True)
class MapNode:
    """One step: the box's upper left corner and size, its head line and its text."""

    step_id: str
    x: float
    y: float
    width: float
    height: float
    head: str
    lines: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class MapEdge:
    """One way: where its line runs, and its label's lines about the place ``label_at``.

    ``points`` run in the way's own direction; between two points with different x the line curves. ``back``
    ways lead upwards.
    """

    source: str
    to: str
    kind: str
    points: tuple[tuple[float, float], ...]
    label: tuple[str, ...] = ()
    label_at: tuple[float, float] = (0.0, 0.0)
    back: bool = False


@dataclass(frozen=True, slots=True)
class SheetMap:
    """The whole map, with its size."""

    width: float
    height: float
    nodes: tuple[MapNode, ...]
    edges: tuple[MapEdge, ...]


@dataclass(frozen=True, slots=True)
class _Thread:
    """One way with the items that carry it from the upper to the lower step."""

    way: Way
    back: bool
    items: tuple[Hashable, ...]
    label: tuple[str, ...]
    label_item: Hashable


def layout_map(sheet: RunSheet) -> SheetMap:
    """Return the map of ``sheet``: every step once, the start on top, ways that lead back drawn upwards.

    Parameters
    ----------
    sheet
        Any run sheet; ways to steps that do not exist are left out.

    Notes
    -----
    Labels are given rows of their own between the steps, so that none covers another or a line that is not
    its own.
    """
    ways = [way for found in map_ways(sheet).values() for way in found if way.to in sheet.steps]
    loops = {way.source: _wrap_label(way) for way in ways if way.source == way.to}
    ways = [way for way in ways if way.source != way.to]
    links: dict[str, list[str]] = {step_id: [] for step_id in sheet.steps}
    for way in ways:
        links[way.source].append(way.to)
    back = find_back_links(links, sheet.start)
    down: dict[str, list[str]] = {step_id: [] for step_id in sheet.steps}
    for way in ways:
        upper, lower = (way.to, way.source) if (way.source, way.to) in back else (way.source, way.to)
        down[upper].append(lower)
    rank = {step_id: 2 * row for step_id, row in rank_nodes(down).items()}
    threads = [_thread(number, way, (way.source, way.to) in back, rank) for number, way in enumerate(ways)]
    return _Drawing(sheet, rank, threads, loops).draw()


def _thread(number: int, way: Way, back: bool, rank: dict[str, int]) -> _Thread:
    upper, lower = (way.to, way.source) if back else (way.source, way.to)
    between = [(number, row) for row in range(rank[upper] + 1, rank[lower])]
    # The label stands next to the step that is left, where the question is which way to go.
    label_item = between[-1] if back else between[0]
    return _Thread(way, back, (upper, *between, lower), _wrap_label(way), label_item)


def _wrap_label(way: Way) -> tuple[str, ...]:
    return tuple(_wrap(way.label, MEASURES.label_letters, 3)) if way.label else ()


def _wrap(text: str, letters: int, most_lines: int) -> list[str]:
    return textwrap.wrap(text, letters, max_lines=most_lines, placeholder=" …", break_on_hyphens=False)


def _head(step: Step) -> str:
    if step.kind == "end":
        return {"good": "ends well", "unchanged": "ends unchanged", "stranded": "stranded"}.get(
            step.outcome, "end"
        )
    window = f", within {step.window_s:g} s" if step.window_s is not None else ""
    return f"{step.kind}{window}"


class _Drawing:
    """The items of one map in their rows, and the sums that turn rows into places."""

    def __init__(
        self,
        sheet: RunSheet,
        rank: dict[str, int],
        threads: Sequence[_Thread],
        loops: dict[str, tuple[str, ...]],
    ) -> None:
        self.sheet, self.threads, self.loops = sheet, threads, loops
        rows: list[list[Hashable]] = [[] for _ in range(max(rank.values(), default=0) + 1)]
        self.row_of: dict[Hashable, int] = {}
        for step_id in sheet.steps:
            rows[rank[step_id]].append(step_id)
            self.row_of[step_id] = rank[step_id]
        for thread in threads:
            for row, item in enumerate(thread.items[1:-1], start=rank[str(thread.items[0])] + 1):
                rows[row].append(item)
                self.row_of[item] = row
        pairs = [pair for thread in threads for pair in pairwise(thread.items)]
        self.lines = {step.id: self._wrap_step(step) for step in sheet.steps.values()}
        self.labels = {thread.label_item: thread.label for thread in threads if thread.label}
        extents = {item: self._measure(item) for row in rows for item in row}
        self.rows = order_rows(rows, pairs)
        self.x = place_rows(self.rows, pairs, extents, MEASURES.gap)
        left = min(self.x[item] - extents[item].left for item in extents) - MEASURES.margin
        self.x = {item: x - left for item, x in self.x.items()}
        self.width = max(self.x[item] + extents[item].right for item in extents) + MEASURES.margin
        self._stack()

    def _wrap_step(self, step: Step) -> list[str]:
        return _wrap(step.say or step.id, MEASURES.node_letters, MEASURES.most_lines)

    def _measure(self, item: Hashable) -> Extent:
        if item in self.sheet.steps:
            half = MEASURES.node_width / 2
            loop = self.loops.get(str(item))
            if loop is None:
                return Extent(half, half)
            longest = max((len(line) for line in loop), default=0)
            return Extent(half, half + MEASURES.loop + longest * MEASURES.small_letter)
        half = max((len(line) for line in self.labels.get(item, ())), default=0) * MEASURES.small_letter / 2
        return Extent(max(6.0, half + 4), max(6.0, half + 4))

    def _stack(self) -> None:
        """Give every row its top and bottom."""
        self.top: list[float] = []
        self.bottom: list[float] = []
        y = MEASURES.margin
        for row in self.rows:
            height = max((self._height(item) for item in row), default=0.0)
            self.top.append(y)
            self.bottom.append(y + height)
            y += height + MEASURES.row_gap
        self.height = y - MEASURES.row_gap + MEASURES.margin

    def _height(self, item: Hashable) -> float:
        if item in self.sheet.steps:
            step = self.sheet.steps[str(item)]
            return 18.0 + MEASURES.line * (1 + len(self.lines[step.id]) + bool(step.no_return))
        return max(4.0, 15.0 * len(self.labels.get(item, ())))

    def draw(self) -> SheetMap:
        nodes = tuple(self._draw_node(step) for step in self.sheet.steps.values())
        boxes = {node.step_id: node for node in nodes}
        ports = self._find_ports()
        edges = [self._draw_edge(number, thread, boxes, ports) for number, thread in enumerate(self.threads)]
        edges += [self._draw_loop(boxes[step_id], label) for step_id, label in self.loops.items()]
        return SheetMap(self.width, self.height, nodes, tuple(edges))

    def _draw_node(self, step: Step) -> MapNode:
        height, row = self._height(step.id), self.row_of[step.id]
        # Boxes stand at the top of their row: the eye finds the next step where the last one ended.
        x = self.x[step.id] - MEASURES.node_width / 2
        return MapNode(
            step.id, x, self.top[row], MEASURES.node_width, height, _head(step), tuple(self.lines[step.id])
        )

    def _find_ports(self) -> dict[tuple[int, str], float]:
        """Return the x at which each thread leaves its upper and meets its lower step, in line order."""
        sides: dict[tuple[str, str], list[tuple[float, int]]] = {}
        for number, thread in enumerate(self.threads):
            sides.setdefault((str(thread.items[0]), "bottom"), []).append((self.x[thread.items[1]], number))
            sides.setdefault((str(thread.items[-1]), "top"), []).append((self.x[thread.items[-2]], number))
        ports: dict[tuple[int, str], float] = {}
        for (step_id, side), found in sides.items():
            step = min(48.0, 0.8 * MEASURES.node_width / len(found))
            for place, (_, number) in enumerate(sorted(found)):
                ports[(number, side)] = self.x[step_id] + step * (place - (len(found) - 1) / 2)
        return ports

    def _draw_edge(
        self, number: int, thread: _Thread, boxes: dict[str, MapNode], ports: dict[tuple[int, str], float]
    ) -> MapEdge:
        upper, lower = boxes[str(thread.items[0])], boxes[str(thread.items[-1])]
        points = [(ports[(number, "bottom")], upper.y + upper.height)]
        points.append((points[0][0], self.bottom[self.row_of[upper.step_id]]))
        for item in thread.items[1:-1]:
            row = self.row_of[item]
            points += [(self.x[item], self.top[row]), (self.x[item], self.bottom[row])]
        points.append((ports[(number, "top")], lower.y))
        if thread.back:
            points.reverse()
        label_row = self.row_of[thread.label_item]
        label_at = (self.x[thread.label_item], (self.top[label_row] + self.bottom[label_row]) / 2)
        way = thread.way
        return MapEdge(way.source, way.to, way.kind, tuple(points), thread.label, label_at, thread.back)

    def _draw_loop(self, box: MapNode, label: tuple[str, ...]) -> MapEdge:
        right, middle = box.x + box.width, box.y + box.height / 2
        reach = MEASURES.loop * 0.7
        points = (
            (right, middle + 12),
            (right + reach, middle + 12),
            (right + reach, middle - 12),
            (right, middle - 12),
        )
        longest = max((len(line) for line in label), default=0) * MEASURES.small_letter
        label_at = (right + MEASURES.loop + longest / 2, middle)
        kind = next(way.kind for way in map_ways(self.sheet)[box.step_id] if way.to == box.step_id)
        return MapEdge(box.step_id, box.step_id, kind, points, label, label_at)
