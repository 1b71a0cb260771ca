"""The handover sheet as PDF: everything that was agreed is on it, any name is set, equal in equal out."""

from __future__ import annotations

import io
import re
from dataclasses import replace
from datetime import date

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pypdf import PdfReader

from bittern.formats.handover_pdf import (
    SIGN_SHAPE,
    SIGN_SIDE,
    HandoverSheet,
    SheetKey,
    draw_signature,
    render_handover,
)

SHEET = HandoverSheet(
    shop="Reedbank Service",
    town="Sedgeford",
    number=12,
    customer="Ansel Quaking",
    vehicle="Quillmoor Whimbrel 2012",
    vin="1X0K2K000C1000017",
    plate="KL-07 XQ",
    made="Flip key, three buttons (QUI-H3)",
    lines=(("Flip key", "84.00"), ("Cutting the blade, 20 min", "24.00")),
    currency="EUR",
    tax="25.20",
    total="133.20",
    keys=(
        SheetKey("The daily one", present=True, new=False, worked_before=True, works_after=True),
        SheetKey("The one at home", present=False, new=False, worked_before=None, works_after=False),
        SheetKey("The new key", present=True, new=True, worked_before=False, works_after=True),
    ),
    tests=(("Every door locks.", "passed"), ("The vehicle starts.", "not yet tested")),
    cautions=("Keep coin cells away from children.",),
    payment_reference="RB-2291",
    keys_handed=2,
    signed_by="Oda Quaking",
    strokes=(((0, 0), (500, 500), (1000, 1000)),),
    day=date(2026, 3, 4),
)
UNSIGNED = replace(SHEET, day=None, signed_by="", strokes=(), keys_handed=None, payment_reference="")


def read(pdf: bytes) -> str:
    return " ".join(" ".join(page.extract_text() for page in PdfReader(io.BytesIO(pdf)).pages).split())


def read_metadata(pdf: bytes) -> str:
    metadata = PdfReader(io.BytesIO(pdf)).xmp_metadata
    assert metadata is not None
    return str(metadata.stream.get_data().decode())


def test_the_sheet_says_what_was_made_and_for_whom() -> None:
    words = read(render_handover(SHEET))
    for part in (
        "Reedbank Service", "Sedgeford", "Handover of job 12", "Ansel Quaking", "Quillmoor Whimbrel 2012",
        "1X0K2K000C1000017", "KL-07 XQ", "Flip key, three buttons (QUI-H3)", "Keep coin cells away from",
        "Payment reference: RB-2291", "Oda Quaking", "4 March 2026", "page 1 of 1",
    ):  # fmt: skip
        assert part in words


def test_keys_stand_with_before_and_after_in_words() -> None:
    words = read(render_handover(SHEET))
    assert "The daily one yes yes yes" in words
    assert "The one at home no not known no" in words
    assert "The new key yes new yes" in words


def test_tests_and_price_stand_in_rows() -> None:
    words = read(render_handover(SHEET))
    assert "Every door locks. passed The vehicle starts. not yet tested" in words
    assert "Flip key 84.00 Cutting the blade, 20 min 24.00 Tax 25.20 Total 133.20" in words


def test_an_unsigned_sheet_has_lines_to_write_on() -> None:
    words = read(render_handover(UNSIGNED))
    assert "Oda Quaking" not in words
    assert words.index("Signature") < words.index("Name") < words.index("Date")


def test_a_signature_on_paper_is_named_as_such() -> None:
    assert "Signed on the printed sheet." in read(render_handover(replace(SHEET, strokes=())))
    assert "Signed on the printed sheet." not in read(render_handover(SHEET))


def test_parts_without_content_are_left_out() -> None:
    words = read(render_handover(replace(SHEET, keys=(), tests=(), cautions=(), vin="", plate="")))
    for heading in ("Keys of the vehicle", "Tests", "Take care"):
        assert heading not in words


def test_equal_sheets_give_equal_bytes() -> None:
    assert render_handover(SHEET) == render_handover(replace(SHEET))
    assert render_handover(SHEET) != render_handover(replace(SHEET, total="133.21"))


def test_the_signed_sheet_declares_that_it_is_accessible_and_kept() -> None:
    # The parts' numbers as PDF/UA (ISO 14289-1) and PDF/A-2 (ISO 19005-2) want them in the metadata.
    metadata = read_metadata(render_handover(SHEET))
    assert re.search(r"pdfuaid:part>1<", metadata)
    assert re.search(r"pdfaid:part>2<", metadata)
    assert re.search(r"pdfaid:conformance>A<", metadata)
    assert re.search(r"pdfuaid:part>1<", read_metadata(render_handover(UNSIGNED)))


def test_the_drawing_has_words_for_who_does_not_see_it() -> None:
    reader = PdfReader(io.BytesIO(render_handover(SHEET)))
    words = [str(obj.get("/Alt")) for obj in map(reader.get_object, range(1, len(reader.xref[0]) + 1))
             if isinstance(obj, dict) and "/Alt" in obj]  # fmt: skip
    assert words == ["Signature of Oda Quaking"]


@pytest.mark.parametrize(
    "name", ['#panic("x")', "*a* _b_ $c$", "<label> @ref", "\\", "= Head", "// note", "'); --", "\u202eabc"]
)
def test_a_name_is_data_and_never_markup(name: str) -> None:
    words = read(render_handover(replace(SHEET, customer=name, signed_by=name)))
    assert name.strip("\u202e") in words
    assert "Handover of job 12" in words


@settings(max_examples=20, deadline=None)
@given(st.text(max_size=40), st.integers(1, 10**9))
def test_any_text_is_set(name: str, number: int) -> None:
    pdf = render_handover(replace(SHEET, customer=name, shop=name, signed_by=name, number=number))
    assert f"Handover of job {number}" in read(pdf)


def test_a_long_sheet_runs_over_pages() -> None:
    pdf = render_handover(replace(SHEET, tests=tuple((f"Test {n} holds.", "passed") for n in range(90))))
    assert len(PdfReader(io.BytesIO(pdf)).pages) > 1
    assert "Test 89 holds. passed" in read(pdf)


points = st.tuples(st.integers(0, SIGN_SIDE), st.integers(0, SIGN_SIDE))


@given(st.lists(st.lists(points, min_size=1, max_size=5).map(tuple), min_size=1, max_size=4).map(tuple))
def test_the_signature_is_drawn_through_every_point(strokes: tuple[tuple[tuple[int, int], ...], ...]) -> None:
    svg = draw_signature(strokes)
    path = svg.split(' d="')[1].split('"')[0]
    drawn = [
        tuple((int(x) // SIGN_SHAPE, int(y)) for x, y in re.findall(r"(\d+) (\d+)", part))
        for part in path.split("M")[1:]
    ]
    assert [part[:1] * 2 if len(part) == 1 else part for part in strokes] == drawn


def test_no_strokes_are_no_drawing() -> None:
    assert draw_signature(()) == ""
