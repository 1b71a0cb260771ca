"""The card's geometry: within the bounds that were fixed, and the chessboard that detectors know."""

from __future__ import annotations

import numpy as np

from bittern.engines.blade.picture.board import (
    BAR,
    BOARD,
    CARD,
    FIELD,
    SQUARE_MM,
    build_charuco,
    list_black_boxes,
    locate_corners,
    locate_markers,
)
from bittern.engines.blade.picture.card_view import name_sides


def test_the_card_keeps_to_its_bounds() -> None:
    assert (CARD.width_mm, CARD.height_mm) <= (180, 130)
    assert FIELD.width_mm >= 80
    assert FIELD.height_mm >= 40
    assert BAR.width_mm == 100
    boxes = list_black_boxes()
    assert (boxes[:, :2] >= 4.5).all()
    assert (boxes[:, :2] + boxes[:, 2:] <= [CARD.width_mm - 4.5, CARD.height_mm]).all()


def test_the_free_field_is_blank_and_in_the_boards_middle() -> None:
    left, top, width, height = list_black_boxes().T
    apart = (left >= FIELD.right_mm) | (left + width <= FIELD.left_mm)
    apart |= (top >= FIELD.bottom_mm) | (top + height <= FIELD.top_mm)
    assert apart.all()
    assert FIELD.left_mm - BOARD.left_mm == BOARD.right_mm - FIELD.right_mm
    assert FIELD.top_mm - BOARD.top_mm == BOARD.bottom_mm - FIELD.bottom_mm


def test_markers_and_corners_stand_on_all_four_sides() -> None:
    middles = np.array([corners.mean(axis=0) for corners in locate_markers().values()])
    for points, least in ((middles, 20), (locate_corners(), 30)):
        assert min(side.sum() for side in name_sides(points).values()) >= least


def test_what_is_black_is_what_the_library_draws_around_the_field() -> None:
    scale = 10
    drawn = build_charuco().generateImage((round(BOARD.width_mm * scale), round(BOARD.height_mm * scale)))
    printed = np.full((round(CARD.height_mm * scale), round(CARD.width_mm * scale)), 255, dtype=np.uint8)
    for left, top, width, height in np.rint(list_black_boxes() * scale).astype(int):
        printed[top : top + height, left : left + width] = 0
    start = round(BOARD.left_mm * scale)
    printed = printed[start : start + drawn.shape[0], start : start + drawn.shape[1]]
    same = printed == drawn
    field = np.rint(np.array([FIELD.top_mm, FIELD.bottom_mm, FIELD.left_mm, FIELD.right_mm]) * scale - start)
    top, bottom, left, right = field.astype(int)
    same[top:bottom, left:right] = True
    assert same.all()


def test_every_corner_is_between_two_black_squares_that_meet_there() -> None:
    boxes = list_black_boxes()
    squares = boxes[(boxes[:, 2] == SQUARE_MM) & (boxes[:, 3] == SQUARE_MM)]
    for corner in locate_corners():
        near = squares[(np.abs(squares[:, :2] + SQUARE_MM / 2 - corner) < SQUARE_MM).all(axis=1)]
        assert len(near) == 2
        assert np.prod(near[0, :2] - near[1, :2]) != 0
