"""Which keys will work, and what to bring."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest

from bittern.engines.pairing.census import (
    KeyInHand,
    find_census_gaps,
    find_lost_keys,
    list_what_to_bring,
    predict_as_it_stands,
    predict_census,
    word_need,
)
from bittern.engines.pairing.event import RunEvent
from bittern.engines.pairing.runner import apply_event, start_run
from bittern.engines.pairing.sheet import Failure, Step
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
        ("present-only", "good", True, [True, False, None, None, True, False]),
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


def test_a_key_paired_once_already_is_as_it_was_where_nothing_happens_to_it() -> None:
    again = (KeyInHand("again", True, True, True), KeyInHand("again, away", False, True, True))
    for census, outcome, passed, works in [
        ("all", "good", True, [True, True]),
        ("present-only", "good", True, [True, False]),
        ("new-only", "unchanged", False, [True, True]),
        ("new-only", "", False, [True, True]),
        ("new-only", "stranded", False, [None, None]),
    ]:
        sheet = make_sheet(FINE, census=census)
        after = predict_census(sheet, again, outcome, passed_no_return=passed)
        assert [one.works for one in after] == works


WIPE = make_sheet(
    Step("wipe", "act", "Hold.", then="rest", no_return=True, fails=(Failure("rest", 0.1),)),
    Step("rest", "act", "Rest.", then="fine"),
    FINE,
    census="present-only",
)


@pytest.mark.parametrize(
    ("events", "works"),
    [
        ([], [True, True, False, None, None, None]),
        (["confirmed"], [None] * 6),
        (["confirmed", "abandoned"], [None] * 6),
        (["confirmed", "failed"], [None] * 6),
        (["confirmed", "failed", "abandoned"], [None] * 6),
        (["confirmed", "done"], [None, False, None, None, None, False]),
        (["confirmed", "done", "abandoned"], [None, False, None, None, None, False]),
        (["confirmed", "done", "done"], [True, False, None, None, True, False]),
    ],
)
def test_as_it_stands_a_key_is_lost_only_where_a_point_of_no_return_was_surely_passed(
    events: list[str], works: list[bool | None]
) -> None:
    at = datetime(2024, 5, 6, 12, 0, tzinfo=UTC)
    state = apply_event(WIPE, start_run(WIPE), RunEvent("begun", "begun", "Ida", at))
    state = apply_event(WIPE, state, RunEvent("census", "census", "Ida", at, keys=ALL))
    for number, kind in enumerate(events):
        to = "rest" if kind == "failed" else ""
        event = RunEvent(f"{number}", kind, "Ida", at, step=state.step_id, to=to)
        state = apply_event(WIPE, state, event)
    forecasts = predict_as_it_stands(WIPE, state)
    assert [one.works for one in forecasts] == works
    assert all(one.because for one in forecasts)


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
