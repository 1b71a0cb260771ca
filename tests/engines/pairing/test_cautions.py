"""What deserves a second look, and the census followed along every path."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime

import pytest
from hypothesis import given, settings

from bittern.engines.pairing.cautions import find_sheet_cautions, list_behind_no_return
from bittern.engines.pairing.census import KeyInHand, predict_as_it_stands
from bittern.engines.pairing.census_paths import follow_census
from bittern.engines.pairing.event import Passage, RunState
from bittern.engines.pairing.graph import list_ways
from bittern.engines.pairing.sheet import Failure, Option, RunSheet, Signal, Step, SupplyNeed
from tests.engines.pairing.test_check import AS_IT_WAS, FINE, RESCUE, act, choose
from tests.strategies.sheets import any_sheets, make_sheet, sound_sheets

NEEDS = ("authority", "every-key")
WIPE = act("wipe", "fine", typical_s=5, slowest_s=9, no_return=True)


def caution(*steps: Step, **more: object) -> str:
    about = {"needs": NEEDS, "census": "present-only"} | more
    return " ".join(find_sheet_cautions(make_sheet(*steps, **about)))


@pytest.mark.parametrize(
    ("steps", "more", "words"),
    [
        # The census and the paths.
        (
            [act("go", "wipe", Failure("fine", 0.1)), WIPE, FINE],
            {},
            "fine ends well without passing a point of no return, and yet by the census keys have stopped "
            "working: go > fine.",
        ),
        (
            [replace(WIPE, then="more"), act("more", "fine", Failure("as-it-was", 0.1)), FINE, AS_IT_WAS],
            {},
            "as-it-was says that nothing has changed, and yet a point of no return lies behind it: "
            "wipe > more > as-it-was.",
        ),
        (
            [choose("wipe", Option("a", "fine"), Option("b", "fine"), no_return=True), FINE],
            {},
            "wipe is a question, and yet it is marked",
        ),
        # Needs.
        (
            [replace(WIPE, say="Hold the key."), FINE],
            {"needs": (*NEEDS, "doors-closed")},
            "The needs ask for doors-closed, and no step speaks of it.",
        ),
        (
            [replace(WIPE, say="Hold the key."), FINE],
            {"needs": (*NEEDS, "spare-fuse")},
            "The needs ask for spare-fuse, and no step speaks of it.",
        ),
        # The supply.
        ([act("go", "fine"), FINE], {"census": "all", "supply": SupplyNeed()}, "no point of no return that"),
        ([WIPE, FINE], {"supply": SupplyNeed()}, "the needs do not ask for a steady supply"),
        # Windows.
        (
            [WIPE, act("turn", "fine", typical_s=5, slowest_s=25, window_s=10), FINE],
            {},
            "turn misses its window of 10 s in 56% of its visits.",
        ),
        (
            [
                replace(WIPE, then="which"),
                choose("which", Option("a", "turn"), Option("b", "fine"), typical_s=8, slowest_s=8),
                act("turn", "fine", typical_s=5, slowest_s=5, window_s=12),
                FINE,
            ],
            {},
            "turn has a window of 12 s, and which before it typically takes 8 s",
        ),
        (
            [
                replace(WIPE, then="which"),
                choose("which", Option("a", "again"), Option("b", "fine"), typical_s=4, slowest_s=4),
                choose("again", Option("a", "turn"), Option("b", "fine"), typical_s=4, slowest_s=4),
                act("turn", "fine", typical_s=5, slowest_s=5, window_s=12),
                FINE,
            ],
            {},
            "which, again before it typically take 8 s",
        ),
        (
            [
                replace(WIPE, then="rest"),
                Step("rest", "wait", "Wait.", 900, 960, then="turn"),
                act("turn", "fine", typical_s=5, slowest_s=5, window_s=12),
                FINE,
            ],
            {},
            "turn has a window of 12 s after rest, which lasts 900 to 960 s and ends without a signal",
        ),
        (
            [
                replace(WIPE, then="rest"),
                # Eight seconds of doubt leave four of the window to a step that takes five.
                Step("rest", "wait", "Wait.", 900, 908, then="turn"),
                act("turn", "fine", typical_s=5, slowest_s=5, window_s=12),
                FINE,
            ],
            {},
            "nobody can tell when the window opens",
        ),
        # Signals.
        ([WIPE, replace(FINE, signal=Signal("lamp"))], {}, "fine is an end: nobody looks for its signal"),
        (
            [replace(WIPE, signal=Signal("message")), FINE],
            {},
            "wipe waits for a message and does not say which",
        ),
        (
            [replace(WIPE, then="q"), choose("q", Option("a", "fine"), signal=Signal("beep")), FINE],
            {},
            "q is a question, and a signal answers a deed.",
        ),
    ],
)
def test_each_doubt_is_said_at_its_step(steps: list[Step], more: dict[str, object], words: str) -> None:
    assert words in caution(*steps, **more)


def test_what_is_in_order_says_nothing() -> None:
    assert caution(WIPE, FINE) == ""
    # The vehicle says when the wait is over, or the wait takes as long as it takes.
    turn = act("turn", "fine", typical_s=5, slowest_s=5, window_s=12)
    for rest in (
        Step("rest", "wait", "Wait.", 900, 960, then="turn", signal=Signal("lamp")),
        Step("rest", "wait", "Wait.", 900, 906, then="turn"),
    ):
        assert caution(replace(WIPE, then="rest"), rest, turn, FINE) == ""
    # A question in a window that is wide enough, and one that can be gone round.
    which = choose("which", Option("a", "turn"), Option("b", "fine"), typical_s=7, slowest_s=7)
    assert caution(replace(WIPE, then="which"), which, turn, FINE) == ""
    # A sheet in another language is not searched for English words.
    assert caution(replace(WIPE, say="Schlüssel drehen."), FINE, needs=(*NEEDS, "doors-closed")) == ""


def test_a_point_of_no_return_that_failed_may_lead_to_an_unchanged_end() -> None:
    assert caution(replace(WIPE, fails=(Failure("as-it-was", 0.1),)), FINE, AS_IT_WAS) == ""


def test_steps_behind_the_point_are_those_that_cannot_be_reached_without_it() -> None:
    sheet = make_sheet(
        act("look", "wipe", Failure("as-it-was", 0.1)),
        act("wipe", "show", Failure("as-it-was", 0.1), no_return=True),
        act("show", "fine", Failure("wipe", 0.1), Failure("stuck", 0.1)),
        FINE,
        AS_IT_WAS,
        RESCUE,
    )
    assert list_behind_no_return(sheet) == ("show", "fine", "stuck")


def walk_all(sheet: RunSheet, most: int) -> dict[tuple[str, str], list[tuple[str, ...]]]:
    """Return every path of at most ``most`` steps by its end and whether a point of no return is behind."""
    found: dict[tuple[str, str], list[tuple[str, ...]]] = {}
    open_paths: list[tuple[tuple[str, ...], str]] = [((sheet.start,), "no")]
    while open_paths:
        path, passed = open_paths.pop()
        step = sheet.steps[path[-1]]
        if step.kind == "end":
            found.setdefault((step.id, passed), []).append(path)
        if len(path) == most:
            continue
        for way in list_ways(step):
            after = passed
            if step.no_return:
                after = "yes" if way.kind != "fail" or passed == "yes" else "maybe"
            open_paths.append(((*path, way.to), after))
    return found


@settings(deadline=None, max_examples=80)
@given(sound_sheets(most_steps=4))
def test_the_census_is_that_of_walking_every_path(sheet: RunSheet) -> None:
    # With 4 steps and 3 states every state is reached within 12 moves; each path of up to 6 is walked here.
    walked = walk_all(sheet, 6)
    followed = {(one.end, one.passed): one for one in follow_census(sheet)}
    assert set(walked) <= set(followed)
    for place, one in followed.items():
        if len(one.path) <= 6:
            assert len(one.path) == min(map(len, walked[place]))
        # The path is one that exists.
        for here, there in zip(one.path, one.path[1:], strict=False):
            assert there in {way.to for way in list_ways(sheet.steps[here])}
        assert (one.path[0], one.path[-1]) == (sheet.start, one.end)


@settings(deadline=None, max_examples=60)
@given(sound_sheets(most_steps=5))
def test_the_census_of_an_end_is_the_forecast_of_a_run_that_came_there(sheet: RunSheet) -> None:
    at = datetime(2031, 1, 1, tzinfo=UTC)
    keys = (
        KeyInHand("here", True, True),
        KeyInHand("away", False, True),
        KeyInHand("new", True, False, True),
    )
    for one in follow_census(sheet):
        how = {"yes": "done", "maybe": "failed"}
        points = [step.id for step in sheet.steps.values() if step.no_return]
        history = (Passage(points[0], 1, how[one.passed], one.end, at, at),) if one.passed in how else ()
        state = RunState(
            one.end, "ended", 2, ended=True, outcome=one.outcome, history=history, keys=keys,
            passed_no_return=one.passed != "no",
        )  # fmt: skip
        here, away, new = (forecast.works for forecast in predict_as_it_stands(sheet, state))
        # Where the census says "as before" the keys of this test, which work, work on or must be tried.
        assert here is one.here or (one.here is None and here is not False)
        assert away is one.away or (one.away is None and away is not False)
        assert new is one.new


@settings(deadline=None, max_examples=60)
@given(any_sheets())
def test_any_sheet_can_be_looked_at(sheet: RunSheet) -> None:
    assert all(line.endswith(".") for line in find_sheet_cautions(sheet))
    assert set(list_behind_no_return(sheet)) <= set(sheet.steps)
    assert {one.end for one in follow_census(sheet)} <= set(sheet.steps)
