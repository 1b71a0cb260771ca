"""The map of a run sheet: everything on it once, nothing on top of anything else."""

from __future__ import annotations

import itertools

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from bittern.engines.pairing.graph import map_ways
from bittern.engines.pairing.layering import (
    count_crossings,
    find_back_links,
    order_rows,
    rank_nodes,
    spread_out,
)
from bittern.engines.pairing.map import MEASURES, SheetMap, layout_map
from bittern.engines.pairing.sheet import Failure, RunSheet, Step
from tests.strategies.sheets import any_sheets, make_sheet, sound_sheets

Box = tuple[float, float, float, float]


def overlap(one: Box, other: Box) -> bool:
    left, top, right, bottom = (
        max(one[0], other[0]),
        max(one[1], other[1]),
        min(one[2], other[2]),
        min(one[3], other[3]),
    )
    return right - left > 1e-6 and bottom - top > 1e-6


def get_boxes(drawing: SheetMap) -> list[Box]:
    boxes = [(node.x, node.y, node.x + node.width, node.y + node.height) for node in drawing.nodes]
    for edge in drawing.edges:
        if edge.label:
            width = max(map(len, edge.label)) * MEASURES.small_letter
            height = 15.0 * len(edge.label)
            x, y = edge.label_at
            boxes.append((x - width / 2, y - height / 2, x + width / 2, y + height / 2))
    return boxes


@settings(deadline=None)
@given(st.one_of(sound_sheets(), any_sheets()))
def test_no_box_and_no_label_covers_another_and_all_lie_on_the_map(sheet: RunSheet) -> None:
    drawing = layout_map(sheet)
    boxes = get_boxes(drawing)
    for one, other in itertools.combinations(boxes, 2):
        assert not overlap(one, other)
    for left, top, right, bottom in boxes:
        assert 0 <= left <= right <= drawing.width
        assert 0 <= top <= bottom <= drawing.height


@settings(deadline=None)
@given(st.one_of(sound_sheets(), any_sheets()))
def test_every_step_and_every_way_is_drawn_once_from_box_to_box(sheet: RunSheet) -> None:
    drawing = layout_map(sheet)
    assert [node.step_id for node in drawing.nodes] == list(sheet.steps)
    # Several ways from a step to itself share one loop.
    ways = [
        (way.source, way.to) for found in map_ways(sheet).values() for way in found if way.to in sheet.steps
    ]
    expected = sorted(
        [way for way in ways if way[0] != way[1]] + list({way for way in ways if way[0] == way[1]})
    )
    assert sorted((edge.source, edge.to) for edge in drawing.edges) == expected
    boxes = {node.step_id: node for node in drawing.nodes}
    for edge in drawing.edges:
        for (x, y), node, leaves in (
            (edge.points[0], boxes[edge.source], True),
            (edge.points[-1], boxes[edge.to], False),
        ):
            assert node.x <= x <= node.x + node.width
            if edge.source == edge.to:
                assert node.y <= y <= node.y + node.height
            else:
                assert y == pytest.approx(node.y + node.height if leaves != edge.back else node.y)
        rises = edge.points[-1][1] < edge.points[0][1]
        assert rises == (edge.back or edge.source == edge.to)


@settings(deadline=None)
@given(sound_sheets())
def test_lines_pass_no_box_but_their_own(sheet: RunSheet) -> None:
    drawing = layout_map(sheet)
    for edge in drawing.edges:
        for (x0, y0), (x1, y1) in itertools.pairwise(edge.points):
            # Between rows a line may go anywhere; along a row it is straight and must be clear of the boxes.
            if abs(x0 - x1) < 1e-9:
                line = (x0 - 1, min(y0, y1), x0 + 1, max(y0, y1))
                for node in drawing.nodes:
                    if node.step_id not in (edge.source, edge.to):
                        box = (node.x, node.y, node.x + node.width, node.y + node.height)
                        assert not overlap(line, box)


def test_the_start_is_on_top_and_success_runs_downwards() -> None:
    fine = Step("fine", "end", "Done.", outcome="good")
    look = Step("look", "act", "Look.", then="turn", fails=(Failure("look", 0.1, "dark"),))
    turn = Step("turn", "act", "Turn.", then="fine", fails=(Failure("look", 0.1, "slow"),))
    drawing = layout_map(make_sheet(turn, fine, look, start="look"))
    y = {node.step_id: node.y for node in drawing.nodes}
    assert y["look"] < y["turn"] < y["fine"]
    assert {(edge.source, edge.to) for edge in drawing.edges if edge.back} == {("turn", "look")}


@st.composite
def row_graphs(draw: st.DrawFn) -> tuple[list[list[int]], list[tuple[int, int]]]:
    sizes = draw(st.lists(st.integers(1, 5), min_size=2, max_size=4))
    numbers = itertools.count()
    rows = [[next(numbers) for _ in range(size)] for size in sizes]
    pairs = [pair for upper, lower in itertools.pairwise(rows) for pair in itertools.product(upper, lower)]
    return rows, draw(st.lists(st.sampled_from(pairs), unique=True))


@settings(deadline=None)
@given(row_graphs())
def test_ordering_never_makes_more_crossings_and_counts_them_right(graph) -> None:
    rows, links = graph

    def count(found: list[list[int]]) -> int:
        place = {item: index for row in found for index, item in enumerate(row)}
        row_of = {item: number for number, row in enumerate(found) for item in row}
        return sum(
            row_of[a] == row_of[c] and (place[a] - place[c]) * (place[b] - place[d]) < 0
            for (a, b), (c, d) in itertools.combinations(links, 2)
        )

    below = {item: [lower for upper, lower in links if upper == item] for row in rows for item in row}
    assert count_crossings(rows, below) == count(rows)
    ordered = order_rows(rows, links)
    assert [sorted(row) for row in ordered] == rows
    assert count(ordered) <= count(rows)


def test_two_crossed_lines_are_untangled() -> None:
    rows, links = [["a", "b"], ["c", "d"]], [("a", "d"), ("b", "c")]
    below = {"a": ["d"], "b": ["c"], "c": [], "d": []}
    assert count_crossings(rows, below) == 1
    assert count_crossings(order_rows(rows, links), below) == 0


@given(st.lists(st.integers(-50, 50).map(float), min_size=1, max_size=6), st.data())
def test_spread_places_keep_their_distance_and_no_single_move_is_better(
    wanted: list[float], data: st.DataObject
) -> None:
    count = len(wanted) - 1
    apart = data.draw(st.lists(st.integers(1, 20).map(float), min_size=count, max_size=count))
    places = spread_out(wanted, apart)
    assert all(b - a >= gap - 1e-9 for (a, b), gap in zip(itertools.pairwise(places), apart, strict=True))
    cost = sum((place - wish) ** 2 for place, wish in zip(places, wanted, strict=True))
    # Convex: if moving any run of neighbours by a little within the rules does not help, nothing does.
    for first, last in itertools.combinations(range(len(places) + 1), 2):
        for step in (-1e-3, 1e-3):
            moved = [place + step * (first <= index < last) for index, place in enumerate(places)]
            if all(b - a >= gap - 1e-9 for (a, b), gap in zip(itertools.pairwise(moved), apart, strict=True)):
                assert sum((p - w) ** 2 for p, w in zip(moved, wanted, strict=True)) >= cost - 1e-9


@given(
    st.dictionaries(st.sampled_from("abcdef"), st.lists(st.sampled_from("abcdef"), max_size=3), min_size=1)
)
def test_without_its_back_links_a_graph_has_rows(raw: dict[str, list[str]]) -> None:
    links = {
        node: [target for target in targets if target in raw and target != node]
        for node, targets in raw.items()
    }
    start = next(iter(links))
    back = find_back_links(links, start)
    down = {
        node: [target for target in targets if (node, target) not in back] for node, targets in links.items()
    }
    rank = rank_nodes(down)
    assert all(rank[node] < rank[target] for node, targets in down.items() for target in targets)
