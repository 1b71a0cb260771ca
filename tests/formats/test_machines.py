"""Machine profiles: written and read back, and every fault named."""

from __future__ import annotations

from dataclasses import replace
from itertools import permutations, product

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bittern.core.errors import FaultsError, InputError
from bittern.engines.cutting.machine import Machine
from bittern.formats.machines import format_machine, parse_machine
from tests.architecture.places import ROOT

# Right-handed: the determinant of the signed permutation is 1.
FRAMES = [
    (axes, signs)
    for axes in permutations((0, 1, 2))
    for signs in product((1, -1), repeat=3)
    if signs[0] * signs[1] * signs[2] * (-1) ** sum(a > b for a, b in [axes[:2], axes[1:], axes[::2]]) > 0
]
SPEEDS = st.floats(0.5, 1e5)


@st.composite
def machines(draw: st.DrawFn) -> Machine:
    axes, signs = draw(st.sampled_from(FRAMES))
    places = st.floats(-1e4, 1e4)
    slowest = draw(SPEEDS)
    return Machine(
        id=draw(st.from_regex(r"[a-z][a-z0-9.-]{0,20}", fullmatch=True)),
        title=draw(st.sampled_from(["", "Mill by the window"])),
        axes=axes,
        signs=signs,
        origin_mm=draw(st.tuples(places, places, places)),
        travel_mm=tuple(
            draw(st.none() | places.flatmap(lambda low: st.tuples(st.just(low), st.floats(low + 1, 2e4))))
            for _ in range(3)
        ),
        slowest_rpm=slowest,
        fastest_rpm=slowest + draw(SPEEDS),
        feed_mm_min=draw(SPEEDS),
        rapid_mm_min=draw(SPEEDS),
        acceleration_mm_s2=draw(SPEEDS),
        clear_mm=draw(SPEEDS),
        decimals=draw(st.integers(3, 6)),
        arcs=draw(st.booleans()),
        percent=draw(st.booleans()),
        coolant=draw(st.booleans()),
        line_numbers=draw(st.booleans()),
    )


@given(machines())
def test_a_profile_is_read_back_as_it_was_written(machine):
    assert parse_machine(format_machine(machine), "mill.toml") == machine


def test_what_a_profile_does_not_say_is_as_usual():
    assert parse_machine('id = "three-axis"', "mill.toml") == Machine()


@pytest.mark.parametrize(
    ("text", "where"),
    [
        ("", ["id"]),
        ('[frame]\nx = "+X"\nh = "+X"', ["frame.x, h, n"]),
        ('[frame]\nx = "-X"', ["frame.x, h, n"]),
        ('[frame]\nx = "X"', ["frame.x"]),
        ("[frame]\norigin = [1.0]", ["frame.origin"]),
        ("[travel]\nX = [5.0, 1.0]", ["travel.X"]),
        ("[travel]\nX = 5.0", ["travel.X"]),
        ('[travel]\nX = [0.0, "far"]', ["travel.X"]),
        ("[travel]\nW = [0.0, 1.0]", ["travel.W"]),
        ("[spindle]\nslowest = 900\nfastest = 100", ["spindle.slowest"]),
        ("[motion]\nclear = 0.4", ["motion.clear"]),
        ("[motion]\nfeed = -1", ["motion.feed"]),
        ("[words]\ndecimals = 2", ["words.decimals"]),
        ("[words]\ndecimals = 9", ["words.decimals"]),
        ('[words]\narcs = "yes"', ["words.arcs"]),
        ("[words]\nprecent = true", ["words.precent"]),
        ("speed = 3", ["speed"]),
        ("frame = 3", ["frame"]),
    ],
)
def test_each_fault_of_a_profile_is_named_by_its_key(text, where):
    whole = text if where == ["id"] else text.replace("[", 'id = "mill"\n[', 1)
    if "id" not in whole and where != ["id"]:
        whole = f'id = "mill"\n{text}'
    with pytest.raises(FaultsError) as found:
        parse_machine(whole, "mill.toml")
    assert [fault.where for fault in found.value.faults] == where


def test_all_faults_come_at_once():
    with pytest.raises(FaultsError) as found:
        parse_machine("[motion]\nclear = 0\n[words]\ndecimals = 1\narcs = 3", "mill.toml")
    assert {fault.where for fault in found.value.faults} == {
        "id",
        "motion.clear",
        "words.decimals",
        "words.arcs",
    }


def test_text_that_is_not_toml_cannot_be_read():
    with pytest.raises(InputError):
        parse_machine("id = ", "mill.toml")


def test_the_profile_of_the_page_of_formats_is_a_plain_mill():
    page = (ROOT / "docs" / "reference" / "formats.md").read_text(encoding="utf-8")
    example = page.split("\n## A machine profile\n", 1)[1].split("```toml\n", 1)[1].split("```", 1)[0]
    machine = parse_machine(example, "mill.toml")
    assert machine.travel_mm == ((-20.0, 120.0), (-40.0, 60.0), (-30.0, 40.0))
    assert replace(machine, title="", travel_mm=(None, None, None)) == Machine()
