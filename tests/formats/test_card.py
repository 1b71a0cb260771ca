"""The measuring card as files: true to scale on paper, exact to a hundredth of a millimetre as pixels."""

from __future__ import annotations

import io
import re

import cv2
import numpy as np
import pytest
from PIL import Image
from pypdf import PdfReader

from bittern.core.errors import InputError
from bittern.engines.blade.picture.board import (
    BAR,
    BOARD,
    CARD,
    FIELD,
    STRIP,
    build_charuco,
    list_black_boxes,
)
from bittern.formats.card import PAPERS_MM, draw_card, render_pdf, render_png

POINT_MM = 25.4 / 72
Matrix = tuple[float, float, float, float, float, float]


def read_paths(pdf: bytes) -> list[np.ndarray]:
    """Return the filled polygons of a page, in mm from its upper left corner.

    A small reader of PDF's operators for paths (ISO 32000-1, 8.5): q Q cm m l h f.
    """
    page = PdfReader(io.BytesIO(pdf)).pages[0]
    content = page.get_contents()
    assert content is not None
    matrix: Matrix = (1, 0, 0, 1, 0, 0)
    stack: list[Matrix] = []
    numbers: list[float] = []
    polygons: list[list[tuple[float, float]]] = []
    filled: list[np.ndarray] = []

    def place(x: float, y: float) -> tuple[float, float]:
        a, b, c, d, e, f = matrix
        return a * x + c * y + e, b * x + d * y + f

    for token in re.sub(
        r"\(.*?(?<!\\)\)|<.*?>|\[.*?\]|/\w+", " ", content.get_data().decode("latin-1")
    ).split():
        if re.fullmatch(r"[-+]?\d*\.?\d+", token):
            numbers.append(float(token))
            continue
        if token == "q":
            stack.append(matrix)
        elif token == "Q":
            matrix = stack.pop()
        elif token == "cm":
            a, b, c, d, e, f = numbers[-6:]
            matrix = (*_turn(matrix, a, b), *_turn(matrix, c, d), *place(e, f))
        elif token == "m":
            polygons.append([place(*numbers[-2:])])
        elif token == "l":
            polygons[-1].append(place(*numbers[-2:]))
        elif token in ("f", "f*"):
            height = float(page.mediabox.height)
            filled += [np.array([(x, height - y) for x, y in one]) * POINT_MM for one in polygons]
            polygons = []
        elif token in ("S", "n", "B"):
            polygons = []
        numbers = []
    return filled


def _turn(matrix: Matrix, x: float, y: float) -> tuple[float, float]:
    return matrix[0] * x + matrix[2] * y, matrix[1] * x + matrix[3] * y


@pytest.mark.parametrize("paper", PAPERS_MM)
def test_every_black_area_of_the_pdf_lies_where_the_geometry_says(paper: str) -> None:
    pdf = render_pdf(paper)
    page = PdfReader(io.BytesIO(pdf)).pages[0]
    size = np.array([float(page.mediabox.width), float(page.mediabox.height)]) * POINT_MM
    np.testing.assert_allclose(size, PAPERS_MM[paper], atol=0.01)
    assert page.get("/UserUnit", 1) == 1
    corner = (size - [CARD.width_mm, CARD.height_mm]) / 2
    assert min(corner) > 15 - 0.01  # printers cannot print to the edge
    drawn = {
        tuple(np.round([*(one.min(axis=0) - corner), *np.ptp(one, axis=0)], 2)) for one in read_paths(pdf)
    }
    assert drawn == {tuple(np.round(box, 2)) for box in list_black_boxes()}
    assert (BAR.left_mm, BAR.top_mm, 100.0, BAR.height_mm) in drawn


def test_the_pdf_says_how_to_use_it_and_is_the_same_each_time() -> None:
    pdf = render_pdf("a4")
    text = " ".join(PdfReader(io.BytesIO(pdf)).pages[0].extract_text().split())
    for words in (
        "100.0 mm from end to end",
        "108.0 mm high",
        "Print at 100",
        "200 mm or more",
        "14 degrees",
        "blank field",
    ):
        assert words in text
    assert pdf == render_pdf("a4")
    assert len(PdfReader(io.BytesIO(pdf)).pages) == 1


def test_other_paper_is_refused() -> None:
    with pytest.raises(InputError, match="found 'a5', expected a4 or letter"):
        render_pdf("a5")


@pytest.mark.parametrize(("dpi", "corners"), [(300, 114), (600, 114), (1200, 114)])
def test_corners_in_the_png_are_true_to_a_hundredth_of_a_millimetre(dpi: int, corners: int) -> None:
    picture = cv2.imdecode(np.frombuffer(render_png(dpi), np.uint8), cv2.IMREAD_UNCHANGED)
    assert picture is not None
    assert picture.ndim == 2
    board = build_charuco()
    found, numbers, _, _ = cv2.aruco.CharucoDetector(board).detectBoard(picture)
    true_mm = np.array(board.getChessboardCorners())[numbers.ravel(), :2] + [BOARD.left_mm, BOARD.top_mm]
    seen_mm = (found.reshape(-1, 2) + 0.5) * 25.4 / dpi
    assert len(numbers) >= corners
    assert np.abs(seen_mm - true_mm).max() < 0.01


@pytest.mark.parametrize("dpi", [50, 97, 300, 600])
def test_the_png_is_the_card_and_says_its_scale(dpi: int) -> None:
    picture = Image.open(io.BytesIO(render_png(dpi)))
    assert picture.mode == "L"
    assert picture.size == (round(CARD.width_mm * dpi / 25.4), round(CARD.height_mm * dpi / 25.4))
    assert picture.info["dpi"] == pytest.approx((dpi, dpi), abs=0.02)


@pytest.mark.parametrize("dpi", [50, 97, 300, 601])
def test_pixels_carry_exactly_the_printed_area(dpi: int) -> None:
    # Above the strip of the words there is nothing but boxes, whose area is known.
    scale = dpi / 25.4
    rows = int(STRIP.top_mm * scale)
    ink = (255.0 - draw_card(dpi)[:rows]) / 255
    boxes = list_black_boxes()
    height = np.clip(rows / scale - boxes[:, 1], 0, boxes[:, 3])
    area_mm2 = float((boxes[:, 2] * height).sum())
    assert ink.sum() / scale**2 == pytest.approx(area_mm2, rel=1e-3)
    field = ink[
        int(np.ceil(FIELD.top_mm * scale)) : int(FIELD.bottom_mm * scale),
        int(np.ceil(FIELD.left_mm * scale)) : int(FIELD.right_mm * scale),
    ]
    assert field.max() == 0


def test_the_bar_in_the_png_is_a_hundred_millimetres() -> None:
    dpi = 600
    row = round((BAR.top_mm + BAR.height_mm / 2) * dpi / 25.4)
    line = (255.0 - draw_card(dpi)[row, : round(107 * dpi / 25.4)]) / 255
    assert line.sum() * 25.4 / dpi == pytest.approx(100.0, abs=0.001)


@pytest.mark.parametrize("dpi", [49, 2401, 0, -600])
def test_dpi_that_are_of_no_use_are_refused(dpi: int) -> None:
    with pytest.raises(InputError, match=f"found {dpi} dpi, expected 50 to 2400 dpi"):
        render_png(dpi)
