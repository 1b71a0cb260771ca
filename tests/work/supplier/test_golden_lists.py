"""A few invented lists: what each column is taken for, and every value that comes of it."""

from __future__ import annotations

import json

import pytest

from bittern.formats.list_layers import TEXT_COLUMNS
from bittern.formats.pack_tables import ARTICLE_COLUMNS
from bittern.formats.spreadsheets import make_sheet
from bittern.work.supplier.columns import find_header, recognise
from bittern.work.supplier.lists import Choices, Look, look_at_list
from bittern.work.supplier.normalise import normalise
from bittern.work.supplier.preview import make_preview
from bittern.work.supplier.reading import LOST_ZEROS, WAS_DATE, WAS_NUMBER, Settings
from tests.architecture.places import ROOT

LISTS = ROOT / "tests" / "files" / "lists"
NAMES = ("moorland", "upland", "nameless")
SETTINGS = Settings("EUR", 2027, "Moorland Parts")


def read_list(name: str) -> dict[str, object]:
    look = look_at_list(LISTS / f"{name}.csv", Choices(), SETTINGS)
    layer, report = normalise(look.sheet, look.header, look.mapping(Choices()), SETTINGS)
    articles = [
        {column: words[place] for column, words in layer.articles.items() if words[place]}
        for place in range(len(layer.article_rows))
    ]
    fitments = [
        {column: layer.fitments[column][place] for column in TEXT_COLUMNS if layer.fitments[column][place]}
        | {"years": f"{layer.year_from[place]}-{layer.year_to[place]}", "row": int(layer.fitment_rows[place])}
        for place in range(len(layer.fitment_rows))
    ]
    return {
        "columns": {guess.header: guess.field for guess in look.guesses},
        "articles": articles,
        "fitments": fitments,
        **{key: value for key, value in report.as_dict().items() if key not in ("articles", "fitments")},
    }


@pytest.mark.parametrize("name", NAMES)
def test_a_list_becomes_what_was_read_and_agreed(name: str) -> None:
    expected = json.loads((LISTS / f"{name}.json").read_text(encoding="utf-8"))
    assert json.loads(json.dumps(read_list(name))) == expected


def make_look(*rows: list[str], kinds: str = "t") -> Look:
    sheet = make_sheet("list.xlsx", [[kinds + cell for cell in row] for row in rows])
    header = find_header(sheet)
    return Look(sheet, header, recognise(sheet, header, 2027, "EUR"))


def test_what_a_spreadsheet_has_spoilt_is_said() -> None:
    numbers = make_look(["article", "fcc id"], ["123", ""], kinds="n")
    row = make_preview(numbers, Choices(), SETTINGS).rows[0]
    assert WAS_NUMBER in {one.cell.note for one in row.cells}
    rows = [[f"{place:05d}", "Key"] for place in range(10, 30)]
    short = make_look(["article", "title"], *rows, ["7", "Key"])
    _, report = normalise(short.sheet, short.header, short.mapping(Choices()), SETTINGS)
    said = [(note.found, note.why) for note in report.notes if note.column == "article"]
    assert said == [("'7'", LOST_ZEROS)]
    dates = make_look(
        ["article", "make", "model", "years"], ["A-1", "Moorhen", "Teal", "2014-04-18"], kinds="d"
    )
    _, report = normalise(dates.sheet, dates.header, dates.mapping(Choices(mapping={3: "years"})), SETTINGS)
    assert report.faults[0].expected == WAS_DATE


def test_a_name_and_its_content_that_do_not_agree_make_a_guess_less_sure() -> None:
    right = make_look(["article", "frequency"], ["A-1", "433.92"], ["A-2", "315"]).guesses[1]
    wrong = make_look(["article", "frequency"], ["A-1", "often"], ["A-2", "seldom"]).guesses[1]
    assert (right.field, right.confidence > 0.95) == ("frequency_hz", True)
    assert wrong.confidence < 0.5 or wrong.field != "frequency_hz"


def test_each_field_stands_for_one_column_and_the_surest_has_it() -> None:
    guesses = make_look(["price", "net", "price"], ["9", "7", "x"], ["8", "6", "y"]).guesses
    assert [guess.field for guess in guesses] == ["price", "cost", ""]


def test_every_column_of_a_pack_can_be_recognised() -> None:
    names = [name for name in ARTICLE_COLUMNS if name != "battery"]
    guesses = make_look(names, ["1" for _ in names]).guesses
    missed = {guess.header for guess in guesses if guess.field != guess.header}
    # A lone 1 is no price of a radio, no word and no identifier: there the content speaks against the name.
    assert missed <= {"kind", "fcc_id", "frequency_hz", "modulation", "buttons"}
