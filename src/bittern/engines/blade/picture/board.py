"""The measuring card's geometry as data: chessboard, markers, free field and check bar, in millimetres.

The frame: x to the right and y down from the card's upper left corner, as a person reads it.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    import cv2.aruco

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Box:
    """An upright rectangle on the card."""

    left_mm: float
    top_mm: float
    width_mm: float
    height_mm: float

    @property
    def right_mm(self) -> float:
        """Return the place of the right side."""
        return self.left_mm + self.width_mm

    @property
    def bottom_mm(self) -> float:
        """Return the place of the lower side."""
        return self.top_mm + self.height_mm

    def shrink(self, by_mm: float) -> Box:
        """Return the box with every side moved inward.

        >>> Box(0, 0, 10, 6).shrink(1)
        Box(left_mm=1, top_mm=1, width_mm=8, height_mm=4)
        """
        return Box(
            self.left_mm + by_mm, self.top_mm + by_mm, self.width_mm - 2 * by_mm, self.height_mm - 2 * by_mm
        )


CARD = Box(0.0, 0.0, 180.0, 130.0)
"""The whole card: half a square of white around the chessboard, a strip for the bar and the words below."""

COLUMNS, ROWS, SQUARE_MM = 19, 12, 9.0
MARKER_MM = 6.0
"""Six modules of a millimetre: the widest that leaves 1.5 mm around every corner free for its refinement."""

BOARD = Box(4.5, 4.5, COLUMNS * SQUARE_MM, ROWS * SQUARE_MM)
FIELD_COLUMNS, FIELD_ROWS = range(4, 15), range(3, 9)
FIELD = Box(
    BOARD.left_mm + FIELD_COLUMNS.start * SQUARE_MM,
    BOARD.top_mm + FIELD_ROWS.start * SQUARE_MM,
    len(FIELD_COLUMNS) * SQUARE_MM,
    len(FIELD_ROWS) * SQUARE_MM,
)
"""The free field for the key, 99 by 54 mm: squares and markers that would lie in it are left out."""

STRIP = Box(0.0, BOARD.bottom_mm, CARD.width_mm, CARD.height_mm - BOARD.bottom_mm)
BAR = Box(4.5, 114.6, 100.0, 1.6)
"""The check bar: 100 mm from end to end, ticks of 10 mm below it."""

TICK_WIDTH_MM, TICK_HEIGHT_MM, TICK_STEP_MM = 0.2, 1.2, 10.0


@cache
def build_charuco() -> cv2.aruco.CharucoBoard:
    """Return the whole chessboard with its markers, those of the free field included."""
    import cv2

    markers = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_250)
    return cv2.aruco.CharucoBoard((COLUMNS, ROWS), SQUARE_MM, MARKER_MM, markers)


@cache
def locate_markers() -> dict[int, Floats]:
    """Return the four corners of each printed marker, shape (4, 2) in mm on the card, by its number.

    Clockwise from the marker's own upper left, as detectors give them.
    """
    board = build_charuco()
    offset = np.array([BOARD.left_mm, BOARD.top_mm])
    places = {}
    for number, corners in zip(np.array(board.getIds()).ravel(), board.getObjPoints(), strict=True):
        points = np.asarray(corners, dtype=float)[:, :2] + offset
        if not _is_inside(points.mean(axis=0)):
            places[int(number)] = _freeze(points)
    return places


@cache
def locate_corners() -> Floats:
    """Return the chessboard's corners on which two black squares meet, shape (n, 2) in mm on the card.

    Those on the free field's border are left out: only one black square touches there, which makes no saddle.
    """
    columns, rows = np.meshgrid(np.arange(1, COLUMNS), np.arange(1, ROWS))
    cells = np.stack([columns.ravel(), rows.ravel()], axis=1)
    kept = [
        (column, row)
        for column, row in cells
        if not (
            FIELD_COLUMNS.start <= column <= FIELD_COLUMNS.stop and FIELD_ROWS.start <= row <= FIELD_ROWS.stop
        )
    ]
    return _freeze(np.array(kept) * SQUARE_MM + [BOARD.left_mm, BOARD.top_mm])


@cache
def list_black_boxes() -> Floats:
    """Return everything printed black but the words, shape (n, 4): left, top, width, height in mm.

    The boxes do not overlap; where they touch they make one black area.
    """
    import cv2

    markers = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_250)
    boxes = [
        (BOARD.left_mm + column * SQUARE_MM, BOARD.top_mm + row * SQUARE_MM, SQUARE_MM, SQUARE_MM)
        for row in range(ROWS)
        for column in range(COLUMNS)
        if (row + column) % 2 == 0 and not (column in FIELD_COLUMNS and row in FIELD_ROWS)
    ]
    modules = markers.markerSize + 2
    side = MARKER_MM / modules
    for number, corners in locate_markers().items():
        black = cv2.aruco.generateImageMarker(markers, number, modules) == 0
        left, top = corners.min(axis=0)
        boxes += [
            (left + start * side, top + row * side, (stop - start) * side, side)
            for row in range(modules)
            for start, stop in _find_runs(black[row])
        ]
    boxes.append((BAR.left_mm, BAR.top_mm, BAR.width_mm, BAR.height_mm))
    for step in range(round(BAR.width_mm / TICK_STEP_MM) + 1):
        # The outer ticks end flush with the bar: a ruler laid at either meets the same line.
        middle = np.clip(step * TICK_STEP_MM - TICK_WIDTH_MM / 2, 0, BAR.width_mm - TICK_WIDTH_MM)
        boxes.append((BAR.left_mm + float(middle), BAR.bottom_mm, TICK_WIDTH_MM, TICK_HEIGHT_MM))
    return _freeze(np.array(boxes))


def _freeze(points: Floats) -> Floats:
    points.flags.writeable = False
    return points


def _is_inside(point: Floats) -> bool:
    return bool(FIELD.left_mm < point[0] < FIELD.right_mm and FIELD.top_mm < point[1] < FIELD.bottom_mm)


def _find_runs(row: NDArray[np.bool_]) -> list[tuple[int, int]]:
    edges = np.flatnonzero(np.diff(np.concatenate([[False], row, [False]]).astype(int)))
    return [(int(start), int(stop)) for start, stop in edges.reshape(-1, 2)]
