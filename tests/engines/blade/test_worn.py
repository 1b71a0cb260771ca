"""The worn blade: the exact outline where nothing is worn, less elsewhere; derivatives by differences."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from bittern.engines.blade import worn
from bittern.engines.blade.outline import get_height_mm
from bittern.engines.blade.worn import NUISANCES, get_family, scatter, wear_surface
from tests.strategies.blades import cut_blades

ON_SURFACE = (worn.AMOUNT, worn.LOW, worn.LOG_POWER, worn.FACING, worn.UNCUT, worn.ROUNDING)


def edge_blades():
    return cut_blades().filter(lambda blade: blade[0].kind == "edge")


def lay(standard, bitting, edge=0):
    family = get_family(standard)
    depths = np.array([[standard.depths_mm[bitting.edges[edge][index]] for index in family.order]])
    return family, depths


@given(edge_blades(), st.lists(st.floats(0, 1), min_size=1, max_size=20))
def test_without_wear_it_is_the_exact_outline(blade, shares):
    standard, bitting = blade
    family, depths = lay(standard, bitting)
    x = np.array([[share * standard.length_mm for share in shares]])
    surface = wear_surface(family, np.zeros((1, NUISANCES)), depths, x)
    wanted = [get_height_mm(standard, bitting, float(one)) for one in x[0]]
    assert surface.height_mm[0] == pytest.approx(wanted, abs=1e-9)


def draw_nuisances(rng):
    theta = np.zeros((1, NUISANCES))
    theta[0, worn.AMOUNT] = rng.uniform(0.05, 0.9)
    theta[0, worn.LOW] = rng.uniform(0, 0.6)
    theta[0, worn.LOG_POWER] = rng.uniform(-0.5, 1)
    theta[0, worn.FACING] = rng.uniform(0, 1)
    theta[0, worn.UNCUT] = rng.uniform(0, 0.5)
    theta[0, worn.ROUNDING] = rng.uniform(0, 0.1)
    return theta


@given(edge_blades(), st.integers(0, 2**32 - 1))
def test_wear_only_takes_away_and_most_from_the_highest_roots(blade, seed):
    standard, bitting = blade
    family, depths = lay(standard, bitting)
    theta = draw_nuisances(np.random.default_rng(seed))
    x = family.places_mm[None]
    ideal = wear_surface(family, np.zeros((1, NUISANCES)), depths, x).height_mm[0]
    loss = wear_surface(family, theta, depths, x).loss_mm[0]
    assert (loss >= 0).all()
    roots = np.argsort(ideal)
    flat = wear_surface(family, theta * (np.arange(NUISANCES) != worn.UNCUT), depths, x).loss_mm[0]
    assert (np.diff(flat[roots]) >= -1e-9).all()


@given(edge_blades(), st.integers(0, 2**32 - 1))
def test_derivatives_are_those_of_small_differences(blade, seed):
    standard, bitting = blade
    family, depths = lay(standard, bitting)
    rng = np.random.default_rng(seed)
    theta = draw_nuisances(rng)
    x = np.sort(rng.uniform(0, standard.length_mm, 40))[None]
    surface = wear_surface(family, theta, depths, x)
    for number in ON_SURFACE:
        step = 1e-6
        moved = theta.copy()
        moved[0, number] += step
        change = (wear_surface(family, moved, depths, x).height_mm - surface.height_mm) / step
        assert surface.columns[number][0] == pytest.approx(change[0], abs=1e-4)
    # Along the blade: away from corners and ridges, where the slope jumps.
    step = 1e-7
    there, back = (wear_surface(family, theta, depths, x + side * step) for side in (1, -1))
    smooth = (there.slope == back.slope)[0] & (surface.near_ridge[0] == 0)
    change = (there.height_mm - back.height_mm) / (2 * step)
    assert surface.columns[worn.SHIFT][0][smooth] == pytest.approx(change[0][smooth], abs=1e-4)


def test_a_flank_facing_the_tip_loses_more_whichever_end_x_counts_from():
    from dataclasses import replace

    from bittern.engines.blade.bitting import parse_bitting
    from tests.strategies.blades import HERON

    theta = np.zeros((1, NUISANCES))
    theta[0, [worn.AMOUNT, worn.FACING]] = 0.5, 0.8
    bitting = parse_bitting(HERON, "2 1 3 4 2 2 1 3")
    for datum, longer in (("shoulder", -1), ("tip", 1)):
        standard = replace(HERON, datum=datum)
        family, depths = lay(standard, bitting)
        # Both flanks of the fourth cut, the deepest, at one height.
        x = family.places_mm[3] + np.array([[-0.8, 0.8]])
        loss = wear_surface(family, theta, depths, x).loss_mm[0]
        assert np.sign(loss[1] - loss[0]) == longer


def test_what_is_left_unexplained_grows_with_the_loss_and_is_least_at_roots():
    from bittern.engines.blade.bitting import parse_bitting
    from tests.strategies.blades import HERON

    family, depths = lay(HERON, parse_bitting(HERON, "2 1 3 4 2 2 1 3"))
    x = family.places_mm[3] + np.array([[0.0, 0.8]])
    theta = np.zeros((2, NUISANCES))
    theta[1, worn.AMOUNT], theta[1, worn.LOW] = 0.6, 0.3
    surface = wear_surface(family, theta, np.repeat(depths, 2, axis=0), np.repeat(x, 2, axis=0))
    sd = scatter(family, surface, HERON.tolerance_mm)
    assert (sd[1] > sd[0]).all()
    assert (sd[:, 0] < sd[:, 1]).all()
