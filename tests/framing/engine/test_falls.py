"""Tests of the falls that clear a roof, against a linear program over the same sills and places."""

import math

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy.optimize import linprog

from framing.engine.falls import clearing_falls, least_fall

WAYS = np.arange(0.0, 360.0)
SIDES = np.radians(np.arange(0.0, 360.0, 0.5))  # a slope's length is the largest of its parts along so many directions


def scattered(seed):
    """Random sills in a row and places with the height that each needs, in a third of them on both sides. [in]"""
    rng = np.random.default_rng(seed)
    sills = np.c_[60 + 18 * np.arange(3), np.zeros(3), rng.normal(0, 1 / 8, 3)]
    places = rng.uniform([0, -75 if seed % 3 == 0 else 0.5], [240, 150], (12, 2))
    ground = rng.normal(0, 1.5) + places @ rng.uniform(-0.02, 0.02, 2) + rng.normal(0, 0.2, 12)
    return sills, places, ground - 1.0


def by_program(sills, places, least):
    """The least slope of any plane under the sills and over the places: unknowns z0, sx, sy and its length. [in/in]"""
    under = np.c_[np.ones(len(sills)), sills[:, :2], np.zeros(len(sills))]
    over = -np.c_[np.ones(len(places)), places, np.zeros(len(places))]
    size = np.c_[np.zeros(len(SIDES)), np.cos(SIDES), np.sin(SIDES), -np.ones(len(SIDES))]
    answer = linprog([0, 0, 0, 1], A_ub=np.vstack([under, over, size]),
                     b_ub=np.r_[sills[:, 2], -least, np.zeros(len(SIDES))], bounds=[(None, None)] * 4, method="highs")
    return answer.fun if answer.success else None


@pytest.mark.parametrize("seed", range(60))
def test_the_least_fall_of_all_directions_is_that_of_a_linear_program(seed):
    sills, places, least = scattered(seed)
    low, high = clearing_falls(np.arange(0.0, 360.0, 0.1), sills, places, least)
    clear = low <= high
    wanted = by_program(sills, places, least)
    if wanted is None:
        assert not clear.any()
    elif clear.any():
        # the program's sides measure a slope up to 1 - cos(1/4 degree) short; tenths of a degree may miss the best way
        assert low[clear].min() >= wanted - 1e-7
        assert low[clear].min() == pytest.approx(wanted, rel=0.02, abs=1e-7)


def test_some_of_those_roofs_need_a_fall_some_none_and_some_cannot_be_cleared():
    kinds = {(v is None) or (v > 1e-9) for v in (by_program(*scattered(seed)) for seed in range(60))}
    assert kinds == {True, False}
    assert None in {by_program(*scattered(seed)) for seed in range(60)}


@pytest.mark.parametrize("seed", range(20))
def test_inside_the_interval_every_place_is_cleared_and_outside_one_is_not(seed):
    sills, places, least = scattered(seed)
    low, high = clearing_falls(WAYS, sills, places, least)

    def spare(fall, toward):
        u = np.array([math.cos(math.radians(toward)), math.sin(math.radians(toward))])
        top = (sills[:, 2] + fall * sills[:, :2] @ u).min()
        return (top - fall * places @ u - least).min()

    for i in np.flatnonzero(low <= high)[::20]:
        most = min(high[i], low[i] + 0.1)
        for share in (0.0, 0.5, 1.0):
            assert spare(low[i] + share * (most - low[i]), WAYS[i]) >= -1e-9
        if low[i] > 1e-6:
            assert spare(low[i] * 0.999, WAYS[i]) < 0
        if np.isfinite(high[i]):
            assert spare(high[i] * 1.001, WAYS[i]) < 0


def test_one_direction_alone_and_in_company_agree():
    sills, places, least = scattered(3)
    together = clearing_falls(WAYS, sills, places, least)
    alone = [clearing_falls(w, sills, places, least) for w in (0.0, 77.0, 200.0)]
    for w, pair in zip((0, 77, 200), alone, strict=True):
        assert_allclose([pair[0][0], pair[1][0]], [together[0][w], together[1][w]])


def test_a_place_beside_the_sill_is_raised_by_its_distance_upstream():
    """A place 48 in upstream of the only sill, 1/2 in too high: 1/2 in over 4 ft is 1/8 in a foot."""
    sills, places = np.array([[48.0, 0.0, 0.0]]), np.array([[0.0, 0.0]])
    low, high = clearing_falls([0.0, 90.0, 180.0], sills, places, np.array([0.5]))
    assert 12 * low[0] == pytest.approx(1 / 8) and high[0] == np.inf
    assert (low > high).tolist() == [False, True, True]
    falls = (1 / 16, 1 / 8, 3 / 16, 1 / 4)
    assert least_fall(falls, WAYS, sills, places, np.array([0.5])) == (1 / 8, 0.0)
    assert least_fall(falls, WAYS, sills, places, np.array([1.01])) is None  # 1/4 in a foot gains 1 in


def test_no_direction_gives_no_fall():
    assert least_fall((1 / 8,), np.array([]), np.zeros((1, 3)), np.zeros((1, 2)), np.zeros(1)) is None
