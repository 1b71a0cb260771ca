"""``bittern card``: a file of the kind its name says, or one line that says why not."""

from __future__ import annotations

from pathlib import Path

import pytest
from PIL import Image
from pypdf import PdfReader

from tests.cli.contract.calls import Call, in_process


@pytest.fixture
def call(capsys: pytest.CaptureFixture[str]) -> Call:
    return in_process(capsys)


def test_a_pdf_is_written_on_the_paper_asked_for(call: Call, tmp_path: Path) -> None:
    out = tmp_path / "card.pdf"
    for words, width_mm in (((), 210), (("--paper", "letter"), 215.9)):
        answer = call("card", "--out", out, *words, "--json")
        assert answer.code == 0
        assert answer.data["out"] == str(out)
        assert (answer.data["width_mm"], answer.data["height_mm"]) == (180, 130)
        assert float(PdfReader(out).pages[0].mediabox.width) == pytest.approx(width_mm / 25.4 * 72, abs=0.01)


def test_a_png_is_the_card_at_the_dpi_asked_for(call: Call, tmp_path: Path) -> None:
    out = tmp_path / "card.PNG"
    answer = call("card", "--out", out, "--dpi", 300)
    assert (answer.code, answer.err) == (0, "")
    assert "100.0 mm" in answer.out
    with Image.open(out) as picture:
        assert picture.size == (2126, 1535)
    call("card", "--out", out)
    with Image.open(out) as picture:
        assert picture.size == (4252, 3071)


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("card.svg",), ".pdf or .png"),
        (("card",), ".pdf or .png"),
        (("card.png", "--dpi", "49"), "50 to 2400 dpi"),
        (("card.png", "--dpi", "0"), "50 to 2400 dpi"),
        (("card.pdf", "--dpi", "2401"), "50 to 2400 dpi"),
        (("card.png", "--dpi", "fine"), "--dpi"),
        (("card.pdf", "--paper", "a5"), "a4 or letter"),
        (("card.png", "--paper", "a4"), "--paper with a PDF only"),
        (("nowhere/card.png", "--dpi", "50"), "a place that cannot be written"),
    ],
)
def test_what_cannot_be_written_is_one_line(
    call: Call, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, words: tuple[str, ...], said: str
) -> None:
    monkeypatch.chdir(tmp_path)
    assert said in call("card", "--out", *words).refuse()
    assert list(tmp_path.iterdir()) == []
