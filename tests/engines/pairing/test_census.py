"""Which keys will work, and what to bring."""

from __future__ import annotations

import pytest

from bittern.engines.pairing.census import (
    KeyInHand,
    find_census_gaps,
    find_lost_keys,
    list_what_to_bring,
    predict_census,
    word_need,
)
from bittern.engines.pairing.sheet import Step
from tests.strategies.sheets import make_sheet

FINE = Step("fine", "end", "Done.", outcome="good")
OWNERS = KeyInHand("owner's", True, True)
AWAY = KeyInHand("away", False, True)
DEAD = KeyInHand("dead", True, False)
UNTRIED = KeyInHand("untried", True)
NEW = KeyInHand("new", True, False, True)
LATE = KeyInHand("late", False, False, True)
ALL = (OWNERS, AWAY, DEAD, UNTRIED, NEW, LATE)


def predict(census: str, outcome: str, *, passed: bool = True) -> list[bool | None]:
    forecasts = predict_census(make_sheet(FINE, census=census), ALL, outcome, passed_no_return=passed)
    assert [one.name for one in forecasts] == [key.name for key in ALL]
    assert all(one.because for one in forecasts)
    return [one.works for one in forecasts]


@pytest.mark.parametrize(
    ("census", "outcome", "passed", "works"),
    [
        ("all", "good", True, [True, True, False, None, True, False]),
        ("present-only", "good", True, [True, False, None, True, True, False]),
        ("new-only", "good", True, [False, False, False, False, True, False]),
        ("present-only", "unchanged", False, [True, True, False, None, False, False]),
        ("present-only", "stranded", True, [False] * 6),
        ("present-only", "stranded", False, [None, None, None, None, False, False]),
        ("present-only", "", False, [True, True, False, None, None, None]),
        ("present-only", "", True, [None, False, None, None, None, False]),
        ("new-only", "", True, [False, False, False, False, None, None]),
    ],
)
def test_keys_after_each_outcome(census: str, outcome: str, passed: bool, works: list[bool | None]) -> None:
    assert predict(census, outcome, passed=passed) == works


def test_keys_that_will_be_lost_are_those_that_may_work_now() -> None:
    assert find_lost_keys(make_sheet(FINE, census="present-only"), ALL) == ["away"]
    assert find_lost_keys(make_sheet(FINE, census="new-only"), ALL) == ["owner's", "away", "untried"]
    assert find_lost_keys(make_sheet(FINE, census="all"), ALL) == []


def test_a_census_must_leave_the_vehicle_with_a_key() -> None:
    present, new = make_sheet(FINE, census="present-only"), make_sheet(FINE, census="new-only")
    assert find_census_gaps(present, ALL) == []
    assert find_census_gaps(present, ()) == ["No key is in the census."]
    assert find_census_gaps(present, (AWAY,)) == ["No key of the census is here."]
    assert find_census_gaps(new, (OWNERS, LATE)) == ["Only new keys will work, and no new key is here."]
    assert find_census_gaps(new, (NEW,)) == []
    assert len(find_census_gaps(present, (OWNERS, OWNERS, KeyInHand(" ", True)))) == 2


def test_what_to_bring_puts_the_keys_first_and_says_nothing_twice() -> None:
    sheet = make_sheet(FINE, census="present-only", needs=("authority", "every-key", "spare-fuse"))
    lines = list_what_to_bring(sheet)
    assert lines[0].startswith("Every key that should still work")
    assert lines[1:] == [word_need("authority"), "Spare fuse."]
    assert word_need("every-key") in list_what_to_bring(make_sheet(FINE, census="all", needs=("every-key",)))
    assert "only new keys will work" in list_what_to_bring(make_sheet(FINE, census="new-only"))[0]
