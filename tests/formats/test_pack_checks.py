"""Checks of large tables on arrays find what checks row by row find."""

from __future__ import annotations

from hypothesis import given, settings
from hypothesis import strategies as st

from bittern.core.errors import Fault
from bittern.engines.key.catalogue import Fitment
from bittern.engines.key.fitments import FitmentTable
from bittern.formats import pack_checks
from bittern.formats.pack_checks import find_doubtful_groups, find_fitment_faults

ROWS = st.lists(
    st.builds(
        Fitment,
        make=st.sampled_from(["Heron", "HERON", "Wader"]),
        model=st.sampled_from(["One", "one", "Two"]),
        year_from=st.integers(2010, 2014),
        year_to=st.integers(2014, 2016),
        start=st.sampled_from(["turn", "push"]),
        trim=st.sampled_from(["", "gt", "GT"]),
        region=st.sampled_from(["", "eu"]),
        article=st.sampled_from(["A", "B"]),
        share=st.sampled_from([0.1, 0.3, 0.5, 0.7, 1.0]),
        runsheet=st.sampled_from(["", "r"]),
    ),
    max_size=30,
)


@settings(deadline=None)
@given(ROWS)
def test_the_doubtful_groups_hold_every_fault(rows: list[Fitment]) -> None:
    table, numbers = FitmentTable.of(rows), list(range(2, len(rows) + 2))
    slow = find_fitment_faults(table, numbers, {"A", "B"}, {"r"}, "fitments.csv")
    found: list[Fault] = []
    for places in find_doubtful_groups(table):
        found += pack_checks._find_repeats(table, numbers, places, "fitments.csv")
        found += pack_checks._find_share_faults(table, numbers, places, "fitments.csv")
    assert found == slow


def test_a_right_table_has_no_doubtful_group() -> None:
    rows = [
        Fitment("Heron", f"Model {i}", year, year + 2, "turn", "", "", "A", 1.0)
        for i in range(50)
        for year in (2000, 2003, 2006)
    ]
    assert list(find_doubtful_groups(FitmentTable.of(rows))) == []


@settings(deadline=None)
@given(ROWS)
def test_a_table_gives_back_its_rows(rows: list[Fitment]) -> None:
    table = FitmentTable.of(rows)
    assert table == rows and table == tuple(rows) and list(table) == rows
    assert table[1:4] == tuple(rows[1:4])
    assert table != [*rows, Fitment("X", "Y", 2000, 2001, "turn", "", "", "A", 0.1)]
    if rows:
        assert table[-1] == rows[-1]
        assert table != [*rows[:-1], Fitment("X", "Y", 2000, 2001, "turn", "", "", "A", 0.1)]
