"""What is wrong with run sheets: one mistake, one fault, at its step."""

from __future__ import annotations

from dataclasses import replace

import networkx
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from bittern.engines.pairing.chain import analyse_sheet
from bittern.engines.pairing.check import find_sheet_cautions, find_sheet_faults
from bittern.engines.pairing.graph import find_components, list_ways
from bittern.engines.pairing.sheet import Failure, Option, RunSheet, Step
from tests.strategies.sheets import any_sheets, make_sheet, sound_sheets

FINE = Step("fine", "end", "Done.", outcome="good")
AS_IT_WAS = Step("as-it-was", "end", "Nothing changed.", outcome="unchanged")
STUCK = Step("stuck", "end", "No key works.", outcome="stranded")
RESCUE = replace(STUCK, recovery="The maker's own workshop comes to the vehicle.")


def act(name: str, then: str, *fails: Failure, **more: object) -> Step:
    return Step(name, "act", f"Do {name}.", then=then, fails=fails, **more)  # type: ignore[arg-type]


def choose(name: str, *options: Option, **more: object) -> Step:
    return Step(name, "choose", "Which?", options=options, **more)  # type: ignore[arg-type]


def get_faults(*steps: Step, **more: object) -> list[tuple[str, str]]:
    return [(fault.where, fault.found) for fault in find_sheet_faults(make_sheet(*steps, **more))]


@settings(deadline=None)
@given(sound_sheets())
def test_sound_sheets_have_no_faults_but_those_of_random_dead_wood(sheet: RunSheet) -> None:
    # Steps of a random sheet may be skipped by every way; nothing else can be wrong with it.
    found = {fault.where: fault.found for fault in find_sheet_faults(sheet)}
    assert set(found.values()) <= {"a step that nothing reaches"}
    graph = networkx.DiGraph()
    graph.add_nodes_from(sheet.steps)
    graph.add_edges_from((step.id, way.to) for step in sheet.steps.values() for way in list_ways(step))
    assert set(found) == set(sheet.steps) - {sheet.start} - networkx.descendants(graph, sheet.start)


@settings(deadline=None)
@given(any_sheets())
def test_any_sheet_is_judged_and_every_fault_names_its_place(sheet: RunSheet) -> None:
    faults = find_sheet_faults(sheet)
    assert {fault.where for fault in faults} <= {*sheet.steps, "start"}
    if not faults:
        assert analyse_sheet(sheet).p_good >= 0


@pytest.mark.parametrize(
    ("steps", "where", "found"),
    [
        (
            [act("turn", "nowhere", Failure("fine", 0.5)), FINE],
            "turn",
            "then = 'nowhere', a step that does not exist",
        ),
        ([act("turn", "", Failure("fine", 0.5)), FINE], "turn", "no then: the step leads nowhere"),
        ([act("turn", "fine", Failure("nowhere", 0.1)), FINE], "turn", "a failure = 'nowhere', a step that"),
        (
            [act("turn", "fine", Failure("", 0.1, "flat")), FINE],
            "turn",
            "a failure 'flat' that leads nowhere",
        ),
        ([choose("turn", Option("a", "fine"), Option("b", "no")), FINE], "turn", "option 'b' = 'no', a step"),
        (
            [choose("turn", Option("a", "fine"), Option("b", "")), FINE],
            "turn",
            "option 'b' that leads nowhere",
        ),
        ([act("turn", "fine"), FINE, AS_IT_WAS], "as-it-was", "a step that nothing reaches"),
        ([act("turn", "fine"), act("lost", "lost"), FINE], "lost", "a step that nothing reaches"),
        ([act("turn", "fine", Failure("hold", 0.1)), act("hold", "hold"), FINE], "hold", "no way out: hold"),
        (
            [act("turn", "fine", Failure("a", 0.1)), act("b", "a"), act("a", "b"), FINE],
            "b",
            "a loop with no way out: b, a",
        ),
        (
            [act("turn", "fine", Failure("a", 0.1)), act("a", "turn", Failure("a", 1.0)), FINE],
            "a",
            "a way out that has no chance: a",
        ),
        (
            [act("turn", "fine", Failure("end", 0.1)), Step("end", "end", ""), FINE],
            "end",
            "without an outcome",
        ),
        ([act("turn", "fine"), replace(FINE, then="turn")], "fine", "an end that leads on"),
        ([act("turn", "fine"), replace(FINE, no_return=True)], "fine", "an end that is a point of no return"),
        ([act("turn", "fine", outcome="good"), FINE], "turn", "outcome 'good' at a step that goes on"),
        (
            [act("turn", "fine", options=(Option("a", "fine"),)), FINE],
            "turn",
            "options at a step of kind act",
        ),
        ([replace(act("turn", "fine"), say=""), FINE], "turn", "nothing to say"),
        ([choose("turn", Option("a", "fine"), then="fine"), FINE], "turn", "then = 'fine' beside options"),
        ([choose("turn", Option("a", "fine"), Option("a", "fine")), FINE], "turn", "2 options labelled 'a'"),
        ([choose("turn", Option("a", "fine", 0.6)), FINE], "turn", "options with chances of 0.6 together"),
        (
            [choose("turn", Option("a", "fine", 0.6), Option("b", "fine", 0.6)), FINE],
            "turn",
            "options with chances of 1.2 together",
        ),
        (
            [act("turn", "fine", Failure("fine", 0.6), Failure("turn", 0.6)), FINE],
            "turn",
            "fails with chances of 1.2 together",
        ),
        ([act("turn", "fine", typical_s=9, slowest_s=5), FINE], "turn", "slowest_s = 5"),
        ([act("turn", "fine", typical_s=9, slowest_s=9, window_s=8.5), FINE], "turn", "a window of 8.5 s"),
        ([act("turn", "as-it-was"), AS_IT_WAS], "turn", "no good end that can be reached"),
        (
            [act("turn", "fine", Failure("stuck", 0.1), no_return=True), FINE, STUCK],
            "stuck",
            "a stranded end after the point of no return turn",
        ),
        (
            [act("turn", "hold", no_return=True), act("hold", "fine", Failure("stuck", 0.0)), FINE, STUCK],
            "stuck",
            "a stranded end after the point of no return turn",
        ),
    ],
)
def test_one_mistake_is_one_fault_at_its_step(steps: list[Step], where: str, found: str) -> None:
    (fault,) = get_faults(*steps)
    assert fault[0] == where
    assert found in fault[1]


def test_a_missing_start_and_a_choice_without_options_are_faults() -> None:
    assert get_faults(FINE, start="nowhere") == [("start", "'nowhere', a step that does not exist")]
    assert ("turn", "a choice without options") in get_faults(choose("turn"), FINE)


def test_a_stranded_end_is_no_fault_where_it_is_recovered_or_comes_before() -> None:
    after = act("turn", "fine", Failure("stuck", 0.1), no_return=True)
    assert get_faults(after, FINE, RESCUE) == []
    before = act("look", "turn", Failure("stuck", 0.1))
    assert get_faults(before, act("turn", "fine", no_return=True), FINE, STUCK) == []
    assert get_faults(after, FINE, replace(STUCK, recovery="  ")) != []


def test_a_window_as_long_as_the_typical_time_can_be_met() -> None:
    assert get_faults(act("turn", "fine", typical_s=9, slowest_s=20, window_s=9), FINE) == []


def test_chances_that_sum_to_one_but_for_rounding_are_whole() -> None:
    fails = [Failure("fine" if number else "turn", 0.1) for number in range(10)]
    assert get_faults(act("turn", "fine", *fails), FINE) == []
    assert list_ways(act("turn", "fine", *fails))[0].chance == 0


def test_all_faults_are_found_at_once() -> None:
    faults = get_faults(
        act("turn", "nowhere", typical_s=9, slowest_s=5, window_s=1),
        act("lost", "lost"),
        Step("fine", "end", ""),
    )
    assert {where for where, _ in faults} == {"turn", "lost", "fine"}
    assert len(faults) == 6


def test_cautions_are_what_deserves_a_second_look() -> None:
    quiet = make_sheet(act("turn", "fine"), FINE, needs=("authority",))
    assert find_sheet_cautions(quiet) == []
    assert any("no step is marked" in line for line in find_sheet_cautions(replace(quiet, census="new-only")))
    windowed = act("turn", "fine", Failure("fine", 0.0), window_s=9, no_return=True)
    text = " ".join(find_sheet_cautions(make_sheet(windowed, FINE)))
    for words in (
        "no key is lost",
        "ask for authority",
        "a window of 9 s",
        "no step before it",
        "never goes to",
    ):
        assert words in text


@settings(deadline=None)
@given(st.dictionaries(st.integers(0, 9), st.lists(st.integers(0, 9), max_size=4), min_size=1))
def test_components_are_those_of_networkx_and_in_order(raw: dict[int, list[int]]) -> None:
    links = {str(node): [str(target) for target in targets if target in raw] for node, targets in raw.items()}
    found = find_components(links)
    graph = networkx.DiGraph()
    graph.add_nodes_from(links)
    graph.add_edges_from((node, target) for node, targets in links.items() for target in targets)
    expected = {frozenset(part) for part in networkx.strongly_connected_components(graph)}
    assert {frozenset(part) for part in found} == expected
    assert sum(map(len, found)) == len(links)
    place = {node: number for number, part in enumerate(found) for node in part}
    assert all(place[target] <= place[node] for node, targets in links.items() for target in targets)
