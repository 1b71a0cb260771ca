"""Bittings: writing, reading, rules."""

from __future__ import annotations

from dataclasses import replace
from itertools import product

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from bittern.engines.blade.bitting import (
    Bitting,
    check_bitting,
    find_violations,
    format_bitting,
    parse_bitting,
    read_bitting,
)
from bittern.engines.blade.errors import BittingError
from bittern.engines.blade.standard import BladeStandard
from tests.strategies.blades import HERON, TEAL, bittings, standards


def make_family(depths: int, positions: int, macs: int, max_run: int | None = None) -> BladeStandard:
    return replace(
        HERON,
        depths_mm=tuple(8.0 - 0.1 * number for number in range(depths)),
        labels=tuple(str(number) for number in range(depths)),
        positions_mm=tuple(3.0 * number for number in range(1, positions + 1)),
        macs=macs,
        max_run=max_run,
        min_distinct=None,
    )


def is_allowed(standard: BladeStandard, cuts: tuple[int | None, ...]) -> bool:
    return not find_violations(standard, Bitting((cuts,)))


@given(st.data())
def test_a_written_bitting_reads_back_the_same(data):
    standard = data.draw(standards())
    bitting = data.draw(bittings(standard, keeps_macs=False))
    forgotten = [tuple(None if data.draw(st.booleans()) else cut for cut in cuts) for cuts in bitting.edges]
    for kept in (bitting, Bitting(tuple(forgotten))):
        assert parse_bitting(standard, format_bitting(standard, kept)) == kept


def test_spaces_do_not_matter_and_labels_need_not_be_digits():
    lettered = replace(HERON, labels=("A", "B", "10", "d"), positions_mm=(3.0, 6.0, 9.0))
    assert parse_bitting(lettered, "  10\td  ? ").edges == ((2, 3, None),)
    assert format_bitting(lettered, Bitting(((2, 3, None),))) == "10 d ?"


@pytest.mark.parametrize(
    ("standard", "text", "rules"),
    [
        (HERON, "", ["count"]),
        (HERON, "2 1 3", ["count"]),
        (HERON, "2 1 3 4 2 2 1 3 1", ["count"]),
        (HERON, "21342213", ["count", "label"]),
        (HERON, "2 1 3 9 2 2 x 3", ["label", "label"]),
        (HERON, "2 1 3 4 2 2 1 3 / 2 1 3 4 2 2 1 3", ["count"]),
        (TEAL, "2 1 3 4 2 2 1 3 4 4", ["count"]),
        (TEAL, "2 1 3 4 2 2 1 3 4 4 / 2 1 3 4 2 2 1 3 4", ["count"]),
        (TEAL, "2 1 3 4 2 2 1 3 4 4 / 2 1 3 4 2 2 1 3 4 0", ["label"]),
    ],
)
def test_wrong_writing_is_refused_with_every_violation(standard, text, rules):
    bitting, violations = read_bitting(standard, text)
    assert bitting is None
    assert [violation.rule for violation in violations] == rules
    with pytest.raises(BittingError) as caught:
        parse_bitting(standard, text)
    assert caught.value.violations == tuple(violations)
    assert [item["rule"] for item in caught.value.as_dict()["violations"]] == rules


def test_a_wrong_label_names_its_cut_and_the_labels_there_are():
    _, (fourth, seventh) = read_bitting(HERON, "2 1 3 9 2 2 x 3")
    assert (fourth.cuts, seventh.cuts) == (("4",), ("7",))
    assert fourth.expected == "1 2 3 4 or ?"
    _, (lower,) = read_bitting(TEAL, "2 1 3 4 2 2 1 3 4 4 / 2 1 3 4 2 2 1 3 4 0")
    assert lower.cuts == ("B10",)


@given(st.text())
def test_any_text_is_read_or_refused(text):
    bitting, violations = read_bitting(HERON, text)
    assert (bitting is None) == bool(violations)


def test_each_broken_rule_is_named_with_its_cuts():
    bitting = parse_bitting(HERON, "1 4 2 2 2 2 1 1")
    steps, run = find_violations(HERON, bitting)
    assert (steps.rule, steps.cuts) == ("macs", ("1", "2"))
    assert (run.rule, run.cuts) == ("max_run", ("3", "4", "5", "6"))
    same = find_violations(replace(HERON, max_run=None), parse_bitting(HERON, "2 2 2 2 2 2 2 2"))
    assert [(violation.rule, len(violation.cuts)) for violation in same] == [("min_distinct", 8)]
    with pytest.raises(BittingError, match="1 more"):
        check_bitting(HERON, "1 4 2 2 2 2 1 1")
    assert check_bitting(HERON, "2 1 3 4 2 2 1 3").complete


def test_edges_of_a_split_blade_are_judged_apart_and_are_no_neighbours():
    # The last cut of edge A is 1, the first of edge B is 4: three apart, but not beside each other.
    good = "3 3 3 2 1 3 2 2 1 1 / 4 4 3 3 2 1 1 1 2 3"
    assert find_violations(TEAL, parse_bitting(TEAL, good)) == []
    (violation,) = find_violations(TEAL, parse_bitting(TEAL, good.replace("/ 4 4", "/ 1 4")))
    assert (violation.rule, violation.cuts) == ("macs", ("B1", "B2"))


@given(st.data())
def test_unknown_cuts_break_a_rule_only_when_no_depth_could_keep_it(data):
    family = replace(
        make_family(4, 5, data.draw(st.integers(1, 3)), data.draw(st.sampled_from([None, 1, 2]))),
        min_distinct=data.draw(st.sampled_from([None, 2, 4])),
    )
    cuts = data.draw(st.tuples(*[st.sampled_from([0, 1, 2, 3, None])] * 5))
    broken = {violation.rule for violation in find_violations(family, Bitting((cuts,)))}
    choices = [range(4) if cut is None else [cut] for cut in cuts]
    complete = [find_violations(family, Bitting((filled,))) for filled in product(*choices)]
    certain = {
        rule
        for rule in ("macs", "max_run", "min_distinct")
        if all(rule in {violation.rule for violation in violations} for violations in complete)
    }
    assert broken == certain


@given(st.data())
def test_a_key_read_from_the_other_end_keeps_the_same_rules(data):
    family = make_family(5, 6, data.draw(st.integers(1, 4)), data.draw(st.sampled_from([None, 1, 2])))
    cuts = data.draw(st.tuples(*[st.integers(0, 4)] * 6))
    assert is_allowed(family, cuts) == is_allowed(family, cuts[::-1])


def test_published_examples_of_the_macs():
    # lockpicking101 topic 66014: at a MACS of 7, 2 beside 9 is allowed and 9-1-1-1-1 is not.
    family = make_family(10, 5, 7)
    assert is_allowed(family, (2, 9, 2, 9, 2))
    (violation,) = find_violations(family, Bitting(((9, 1, 1, 1, 1),)))
    assert (violation.rule, violation.cuts) == ("macs", ("1", "2"))


@pytest.mark.parametrize(
    ("depths", "positions", "macs", "max_run", "count"),
    [
        (6, 5, 4, None, 6_306),
        (5, 6, 3, None, 10_727),
        (4, 8, 2, None, 28_642),
        # "No depth more than twice in a row": the rule is from lockwiki Differs, the number calculated.
        (6, 5, 4, 2, 5_792),
    ],
)
def test_the_number_of_allowed_bittings_agrees_with_the_transfer_matrix(
    depths, positions, macs, max_run, count
):
    # Counts by transfer matrix, calculated apart from this code; theoretical changes are depths ** positions
    # (lockwiki Differs, revisions 1559 and 3172).
    family = make_family(depths, positions, macs, max_run)
    assert sum(is_allowed(family, cuts) for cuts in product(range(depths), repeat=positions)) == count


@pytest.mark.parametrize(("macs", "max_run", "count"), [(7, None, 79_666), (9, 2, 97_200), (7, 2, 77_184)])
def test_the_number_of_allowed_bittings_of_ten_depths_at_five_places(macs, max_run, count):
    # As above: 100,000 theoretical changes.
    family = make_family(10, 5, macs, max_run)
    assert sum(is_allowed(family, cuts) for cuts in product(range(10), repeat=5)) == count


def test_no_rule_means_every_bitting_is_allowed():
    family = make_family(3, 4, 2)
    assert all(is_allowed(family, cuts) for cuts in product(range(3), repeat=4))


@given(standards(), st.data())
def test_a_step_beyond_the_macs_is_always_found(standard, data):
    assume(len(standard.positions_mm) > 1 and len(standard.depths_mm) > standard.macs + 1)
    bitting = data.draw(bittings(standard))
    place = data.draw(st.integers(0, len(standard.positions_mm) - 2))
    cuts = list(bitting.edges[0])
    cuts[place : place + 2] = [0, standard.macs + 1]
    found = find_violations(standard, Bitting((tuple(cuts), *bitting.edges[1:])))
    first = "A" if standard.sides == "split" else ""
    assert (f"{first}{place + 1}", f"{first}{place + 2}") in [violation.cuts for violation in found]
