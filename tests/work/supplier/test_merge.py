"""Laws of laying a list over a pack: its rules still hold, the same list again changes nothing."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from bittern.demo import PACK_DIR
from bittern.engines.key.catalogue import Article, Fitment
from bittern.engines.key.fitments import FitmentTable
from bittern.formats.list_layers import FILL, KEEP, RULES, TAKE, Layer, read_layer
from bittern.formats.pack_checks import find_article_faults, find_fitment_faults
from bittern.formats.packs import Pack, read_pack, write_pack
from bittern.formats.spreadsheets import make_sheet
from bittern.work.supplier.columns import recognise
from bittern.work.supplier.lists import Choices, Look, work_out
from bittern.work.supplier.merge import merge
from bittern.work.supplier.normalise import normalise
from bittern.work.supplier.reading import Settings
from bittern.work.supplier.shares import Rows, give_shares
from tests.strategies.lists import LIST_COLUMNS, list_rows

SETTINGS = Settings("EUR", 2027)


def make_pack(**changes: Any) -> Pack:
    articles = [
        Article(
            "OUR-1", "Key", "remote", fcc_id="9ZZAA-K8T", buttons=("lock", "unlock"), price=Decimal("20")
        ),
        Article("OUR-2", "Other key", "mechanical", cost=Decimal("2.00")),
    ]
    fitments = (
        Fitment("Quillmoor", "Oxbow", 2004, 2008, "turn", "", "", "OUR-1", 0.5),
        Fitment("Quillmoor", "Oxbow", 2006, 2010, "turn", "", "", "OUR-2", 0.3),
    )
    demo = read_pack(PACK_DIR)
    return replace(
        demo, articles={one.article: one for one in articles}, fitments=fitments, numbers=(), **changes
    )


PACK = make_pack()
ROWS = list_rows(("OUR-1", "OUR-2"), ("Quillmoor", "quillmoor"), ("heron-8",))


def make_layer(rows: list[list[str]], columns: tuple[str, ...] = LIST_COLUMNS, **changes: Any) -> Layer:
    cells = [["t" + cell for cell in row] for row in [list(columns), *rows]]
    layer = normalise(make_sheet("list.csv", cells), 0, dict(enumerate(columns)), SETTINGS)[0]
    return replace(layer, **changes)


def find_faults(pack: Pack) -> list[object]:
    rows = {name: place for place, name in enumerate(pack.articles)}
    faults: list[object] = list(find_article_faults(pack.articles, rows, pack.blades, "a"))
    numbers = list(range(len(pack.fitments)))
    faults += find_fitment_faults(FitmentTable.of(pack.fitments), numbers, pack.articles, pack.runsheets, "f")
    return faults


@settings(max_examples=120, deadline=None)
@given(rows=ROWS, rule=st.sampled_from(RULES))
def test_a_pack_stays_sound_and_the_same_list_again_changes_nothing(rows: list[list[str]], rule: str) -> None:
    layer = make_layer(rows, rule=rule)
    once, report = merge(PACK, layer)
    assert find_faults(once) == []
    twice, again = merge(once, layer)
    assert twice == once
    assert again.changes == 0
    assert report.articles.new == len(once.articles) - len(PACK.articles)
    assert report.fitments.new == len(once.fitments) - len(PACK.fitments)


@settings(max_examples=60, deadline=None)
@given(rows=ROWS)
def test_kept_ours_stay_to_the_letter(rows: list[list[str]]) -> None:
    merged, _ = merge(PACK, make_layer(rows, rule=KEEP))
    assert {name: merged.articles[name] for name in PACK.articles} == PACK.articles
    assert list(merged.fitments)[: len(PACK.fitments)] == list(PACK.fitments)


@settings(max_examples=60, deadline=None)
@given(rows=ROWS, rule=st.sampled_from(RULES), rest=st.sampled_from([0.0, 0.1, 0.5]))
def test_a_layer_reads_back_from_its_bytes(rows: list[list[str]], rule: str, rest: float) -> None:
    layer = make_layer(rows, rule=rule, rest=rest, joined=(("a", "b"),))
    again = read_layer(layer.as_bytes())
    assert merge(PACK, again)[0] == merge(PACK, layer)[0]
    assert (again.rule, again.rest, again.joined) == (rule, rest, (("a", "b"),))


@settings(max_examples=15, deadline=None)
@given(rows=ROWS)
def test_what_is_merged_can_be_written_and_checked(
    rows: list[list[str]], tmp_path_factory: pytest.TempPathFactory
) -> None:
    merged, _ = merge(PACK, make_layer(rows))
    folder = tmp_path_factory.mktemp("pack") / "pack"
    write_pack(merged, folder)
    assert read_pack(folder) == merged


ARTICLE = ("article", "title", "price", "cost")


@pytest.mark.parametrize(
    ("rule", "title", "price", "cost", "changed"),
    [
        (KEEP, "Key", "20", "0", 0),
        (FILL, "Key", "20", "7.50", 1),
        (TAKE, "New title", "25.00", "7.50", 1),
    ],
)
def test_the_rule_decides_where_both_say_something(
    rule: str, title: str, price: str, cost: str, changed: int
) -> None:
    layer = make_layer([["OUR-1", "New title", "25.00", "7.50"]], ARTICLE, rule=rule)
    merged, report = merge(PACK, layer)
    found = merged.articles["OUR-1"]
    assert (found.title, found.price, found.cost) == (title, Decimal(price), Decimal(cost))
    assert (report.articles.changed, report.articles.conflict) == (changed, 1)


def test_an_empty_cell_takes_nothing_away() -> None:
    merged, _ = merge(PACK, make_layer([["OUR-1", "", "", ""]], ARTICLE, rule=TAKE))
    assert merged.articles["OUR-1"].price == Decimal(20)


def test_the_same_identifier_is_offered_and_joined_only_when_asked() -> None:
    columns = ("article", "fcc_id", "buttons", "price")
    cells = [["t" + cell for cell in row] for row in [columns, ("THEIRS", "9ZZAAK8T", "unlock|lock", "9")]]
    sheet = make_sheet("list.csv", cells)
    look = Look(sheet, 0, recognise(sheet, 0, 2027, "EUR"))
    outcome = work_out(look, Choices(), SETTINGS, PACK)
    assert outcome.merged.offers == (("THEIRS", "OUR-1"),)
    assert "THEIRS" in outcome.pack.articles
    joined = work_out(look, Choices(join=True, rule=TAKE), SETTINGS, PACK)
    assert "THEIRS" not in joined.pack.articles
    assert joined.pack.articles["OUR-1"].price == Decimal(9)
    again = work_out(look, Choices(join=True, rule=TAKE), SETTINGS, joined.pack)
    assert again.merged.changes == 0


def test_references_to_what_the_pack_has_not_are_emptied_and_said() -> None:
    columns = ("article", "blade", "make", "model", "years", "runsheet")
    merged, report = merge(PACK, make_layer([["N-1", "gone", "Moorhen", "Teal", "2010", "lost"]], columns))
    assert merged.articles["N-1"].blade == ""
    assert merged.fitments[-1].runsheet == ""
    assert set(report.notes) == {
        "blade standard 'gone' is not in the pack: left empty",
        "run sheet 'lost' is not in the pack: left empty",
    }


def test_a_fitment_of_an_article_that_nobody_has_is_a_fault_by_row() -> None:
    columns = ("article", "make", "model", "years")
    merged, report = merge(PACK, make_layer([["N-1", "Moorhen", "Teal", "2010"]], columns))
    assert merged is PACK
    assert report.faults[0].where == "row 2, column article"


VEHICLE = ("article", "title", "make", "model", "years", "share")


def test_shares_are_equal_parts_of_what_is_left() -> None:
    rows = [[f"N-{i}", "Key", "Moorhen", "Teal", "2010-2012", ""] for i in range(3)]
    merged, _ = merge(PACK, make_layer(rows, VEHICLE, rest=0.1))
    assert [row.share for row in merged.fitments][-3:] == [0.3, 0.3, 0.3]
    # Ours take 0.8 of 2006 to 2008: 0.1 is left beside the rest, for two.
    rows = [[f"N-{i}", "Key", "Quillmoor", "Oxbow", "2008-2009", ""] for i in range(2)]
    merged, _ = merge(PACK, make_layer(rows, VEHICLE, rest=0.1))
    assert [row.share for row in merged.fitments][-2:] == pytest.approx([0.05, 0.05], abs=2e-6)


def test_shares_that_pass_the_whole_are_cut_by_one_factor_and_ours_stay() -> None:
    rows = [
        ["N-1", "Key", "Quillmoor", "Oxbow", "2007", "0.6"],
        ["N-2", "Key", "Quillmoor", "Oxbow", "2007", "0.2"],
    ]
    merged, _ = merge(PACK, make_layer(rows, VEHICLE))
    shares = [row.share for row in merged.fitments]
    assert shares[:2] == [0.5, 0.3]
    assert shares[2:] == pytest.approx([0.15, 0.05], abs=2e-6)


def test_what_had_no_room_beside_a_large_share_gets_it_once_that_is_cut() -> None:
    # Cut by the factor that 2006 asks for, the small share of 2000 alone would vanish; there is room for it.
    of_oxbow = ("Key", "Quillmoor", "Oxbow")
    rows = [["OUR-1", *of_oxbow, "2000", "0.0003"], ["OUR-1", *of_oxbow, "2000-2006", "70 %"]]
    layer = make_layer(rows, VEHICLE)
    merged, report = merge(PACK, layer)
    assert [row.share for row in merged.fitments][2:] == pytest.approx([0.0003, 0.2], abs=2e-6)
    assert report.fitments.left_out == 0
    assert merge(merged, layer)[1].changes == 0


def test_without_room_a_fitment_is_left_out_and_said() -> None:
    full = make_pack()
    full = replace(full, fitments=(Fitment("A", "B", 2000, 2010, "turn", "", "", "OUR-1", 1.0),))
    merged, report = merge(full, make_layer([["N-1", "Key", "A", "B", "2005", ""]], VEHICLE))
    assert list(merged.fitments) == list(full.fitments)
    assert report.fitments.left_out == 1
    assert "no room" in report.faults[0].found


@settings(max_examples=80, deadline=None)
@given(data=st.data())
def test_the_blocks_of_many_vehicles_give_what_each_would_alone(data: st.DataObject) -> None:
    """Against a plain count year by year over one vehicle at a time."""
    count = data.draw(st.integers(1, 8))
    draw = data.draw
    cell = np.array([draw(st.integers(0, 2)) for _ in range(count)])
    first = np.array([draw(st.integers(2000, 2004)) for _ in range(count)])
    last = first + np.array([draw(st.integers(0, 3)) for _ in range(count)])
    share = np.array([draw(st.sampled_from([np.nan, 0.1, 0.4, 0.9])) for _ in range(count)])
    new = Rows(cell, first, last, share)
    ours = Rows(np.array([0, 2]), np.array([2001, 1999]), np.array([2003, 2000]), np.array([0.5, 0.95]))
    made = give_shares(new, ours, 0.1)
    for vehicle in range(3):
        for year in range(1999, 2010):
            total = sum(
                one.share[i] if one is ours else made[i]
                for one in (new, ours)
                for i in range(len(one.cell))
                if one.cell[i] == vehicle and one.year_from[i] <= year <= one.year_to[i]
            )
            assert total <= 1 + 1e-9
        alone = new.pick(cell == vehicle)
        if len(alone.cell):
            assert give_shares(alone, ours, 0.1) == pytest.approx(made[cell == vehicle], abs=1e-12)
    assert (made[~np.isnan(share)] <= share[~np.isnan(share)]).all()
