"""What people type is checked field by field, and every fault is kept."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bittern.work.entry import Entry
from bittern.work.errors import FieldsError

anything = st.recursive(
    st.one_of(st.none(), st.booleans(), st.integers(), st.floats(), st.text(max_size=30)),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=5), inner, max_size=3),
    max_leaves=6,
)


def test_all_faults_are_raised_together() -> None:
    entry = Entry({"year": "1850", "want": "car"})
    entry.text("customer", required=True, expected="a name")
    entry.whole("year", 1980, 2040)
    entry.choice("want", ("spare",))
    with pytest.raises(FieldsError) as caught:
        entry.finish()
    assert set(caught.value.fields) == {"customer", "year", "want"}
    assert "1980 to 2040" in caught.value.fields["year"]


@given(st.dictionaries(st.sampled_from(["a", "b"]), anything))
def test_no_value_breaks_the_reader(data: dict[str, object]) -> None:
    entry = Entry(data)
    for name in ("a", "b"):
        assert isinstance(entry.text(name), str)
        assert isinstance(entry.words(name), tuple)
        assert isinstance(entry.flag(name), bool)
        number = entry.whole(name, 1, 9)
        assert number is None or 1 <= number <= 9
    try:
        entry.finish()
    except FieldsError as error:
        assert set(error.fields) <= {"a", "b"}


def test_a_long_text_is_cut_and_said() -> None:
    entry = Entry({"note": "x" * 30})
    assert entry.text("note", limit=10) == "x" * 10
    with pytest.raises(FieldsError, match="at most 10"):
        entry.finish()


@pytest.mark.parametrize("value", ["٣", "1e3", "0x10", "--4", "1.0", "9" * 400])
def test_odd_numbers_are_refused(value: str) -> None:
    entry = Entry({"n": value})
    assert entry.whole("n", 1, 5000) is None
    with pytest.raises(FieldsError):
        entry.finish()


@pytest.mark.parametrize("value", ["a\x00b", "\ud83d"])
def test_what_cannot_be_stored_everywhere_is_refused(value: str) -> None:
    entry = Entry({"customer": value})
    assert entry.text("customer") == ""
    with pytest.raises(FieldsError, match="cannot be stored"):
        entry.finish()
