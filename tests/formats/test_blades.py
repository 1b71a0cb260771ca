"""Blade standards and cutters as TOML."""

from __future__ import annotations

import pytest
from hypothesis import given

from bittern.core.errors import FaultsError, InputError
from bittern.engines.blade.standard import BladeStandard
from bittern.engines.cutting.cutter import Cutter
from bittern.formats.blades import format_blade, parse_blade
from bittern.formats.tools import format_tool, parse_tool
from tests.strategies.blades import HERON
from tests.strategies.packs import blades, cutters

# As the format's description gives it.
EXAMPLE = """
id = "heron-8"
title = "Heron 8-cut"
kind = "edge"                  # edge | track
datum = "shoulder"             # shoulder | tip: where x = 0; x grows away from it along the blade
[blank]
length = 28.0                  # mm, datum to the far end of the blade
width = 8.40                   # mm, edge to edge, uncut
thickness = 2.20               # mm
[cuts]
positions = [3.0, 6.0, 9.0, 12.0, 15.0, 18.0, 21.0, 24.0]   # mm, x of each cut's centre
depths = [8.00, 7.40, 6.80, 6.20]   # mm, height left at the root above the back edge, shallowest first
labels = ["1", "2", "3", "4"]       # how each depth is written
flat = 1.00                    # mm, width of the flat at the root
angle = 90                     # degrees, included angle between a cut's two flanks
tolerance = 0.05               # mm, on the root height
sides = "single"               # single | mirror | split
[rules]
macs = 2                       # largest step between neighbours, in depth numbers
max_run = 3                    # optional: most equal neighbours in a row
min_distinct = 2               # optional: fewest different depths in a bitting
"""
WHEEL = """
id = "wheel-90"
kind = "wheel"                 # wheel: V form that plunges across the blade | endmill: a cylinder
flat = 1.00                    # mm, wheel: width of its flat
angle = 90                     # degrees, wheel: included angle
diameter = 60.0                # mm
teeth = 40
material = "hss"               # hss | carbide
"""


def list_places(text: str) -> list[str]:
    """Return where the faults of a blade standard stand."""
    with pytest.raises(FaultsError) as caught:
        parse_blade(text, "heron-8.toml")
    assert {fault.file for fault in caught.value.faults} == {"heron-8.toml"}
    return [fault.where for fault in caught.value.faults]


def test_example_of_the_format_reads() -> None:
    assert parse_blade(EXAMPLE, "heron-8.toml") == HERON


def test_example_of_a_cutter_reads() -> None:
    assert parse_tool(WHEEL, "wheel-90.toml") == Cutter("wheel-90", "wheel", 60.0, 40, "hss", 1.0, 90.0)


@given(standard=blades())
def test_any_blade_standard_reads_back_as_it_was_written(standard: BladeStandard) -> None:
    assert parse_blade(format_blade(standard), "drawn.toml") == standard


@given(cutter=cutters())
def test_any_cutter_reads_back_as_it_was_written(cutter: Cutter) -> None:
    assert parse_tool(format_tool(cutter), "drawn.toml") == cutter


def test_everything_missing_is_listed() -> None:
    assert list_places('id = "heron-8"') == ["blank", "cuts", "rules", "kind", "title", "datum"]


def test_sides_and_the_optional_rules_may_be_missing() -> None:
    short = "\n".join(
        line for line in EXAMPLE.splitlines() if not line.startswith(("sides", "max_run", "min_distinct"))
    )
    standard = parse_blade(short, "heron-8.toml")
    assert (standard.sides, standard.max_run, standard.min_distinct) == ("single", None, None)


def test_track_blade_needs_its_groove_and_no_angle() -> None:
    track = EXAMPLE.replace('"edge"', '"track"').replace("angle = 90", "")
    assert list_places(track) == ["cuts.groove_width", "cuts.groove_depth"]


def test_edge_blade_needs_its_angle() -> None:
    assert list_places(EXAMPLE.replace("angle = 90", "")) == ["cuts.angle"]


def test_list_in_place_of_a_table_is_a_fault() -> None:
    assert list_places(EXAMPLE.replace("[rules]", "[[rules]]")) == ["rules"]


@pytest.mark.parametrize("value", ["true", '"90"', "nan", "inf", "-1", "[90]", "1979-05-27"])
def test_angle_that_is_no_number_is_a_fault(value: str) -> None:
    assert list_places(EXAMPLE.replace("angle = 90", f"angle = {value}")) == ["cuts.angle"]


def test_number_beyond_a_float_is_a_fault() -> None:
    assert list_places(EXAMPLE.replace("length = 28.0", "length = 1" + "0" * 400)) == ["blank.length"]


def test_text_that_is_not_toml_is_unreadable() -> None:
    with pytest.raises(InputError, match="not TOML"):
        parse_blade("{", "heron-8.toml")
