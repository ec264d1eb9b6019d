"""Humps and lows: a mound where readings agree, and nothing beyond its foot."""

import numpy as np
import pytest
from shapely import LineString, get_coordinates

from framing.engine.relief import FARTHEST_FOOT, LEAST_FOOT, Mound, cost_of, find_humps, raise_mounds

SIGMA = 1 / 16


def test_a_mound_is_whole_on_its_top_and_gone_at_its_foot():
    mound = Mound((50, 40), 0.4, 3.0, 15.0, 0.04)
    assert mound.share(np.array([[50, 40], [53, 40], [59, 40], [65, 40], [90, 40]])) == pytest.approx([1, 1, 0.5, 0, 0])


def test_between_its_creases_a_mound_is_flat():
    mound = Mound((0, 0), 1.0, 4.0, 16.0, 0.04)
    # any straight line is cut by the creases; between two cuts the height is straight
    for angle in np.radians([3, 20, 47]):
        u, off = np.array([np.cos(angle), np.sin(angle)]), 2.0 * np.array([-np.sin(angle), np.cos(angle)])
        line = LineString([off - 30 * u, off + 30 * u])
        cuts = np.concatenate([get_coordinates(line.intersection(c)) for c in mound.creases()])
        s = np.sort((cuts - off) @ u)
        assert len(s) >= 4
        for a, b in zip(s[:-1], s[1:], strict=True):
            ends, middle = off + np.array([[a], [b]]) * u, off + (a + b) / 2 * u
            assert mound.share(middle[None])[0] == pytest.approx(mound.share(ends).mean(), abs=1e-9)


def flat(rise):
    """Places 40 in apart, five more within 7 in of the middle, all at 0 but those five; and a fit of their mean."""
    xy = np.array([(40.0 * i, 40.0 * j) for i in range(5) for j in range(4)]
                  + [(60, 60), (67, 60), (60, 67), (53, 60), (60, 53)])
    z = np.r_[np.zeros(20), np.full(5, rise)]
    return xy, lambda use: (z - z[use].mean()) / SIGMA


def test_readings_that_hide_one_another_are_found_a_hump():
    """A fifth of the readings lift the mean of all by a fifth of their rise; out of the fit they stand off by all."""
    xy, fitted = flat(0.4)
    assert find_humps(xy, fitted) == [[20, 21, 22, 23, 24]]
    assert find_humps(xy, flat(-0.4)[1]) == [[20, 21, 22, 23, 24]]


def test_a_hump_takes_more_off_the_cost_than_one_plane_more_must():
    """Five readings 2.45 standard errors off cost 30 together."""
    xy, _ = flat(0.0)
    for off, found in ((2.4, 0), (2.5, 1)):
        given = np.r_[np.zeros(20), np.full(5, off)]
        assert len(find_humps(xy, lambda use, given=given: given)) == found
    assert cost_of(np.array([1.0, -2.0, 9.0]), []) == 1 + 4 + 16  # what is wild costs no more than wild
    assert cost_of(np.array([1.0, 5.0, 7.0]), [[1, 2]]) == 1 + 1 + 1


def test_readings_apart_or_to_either_side_are_no_hump():
    xy, _ = flat(0.0)
    apart = np.zeros(25)
    apart[[0, 19]] = 6.0
    assert find_humps(xy, lambda use: apart) == []
    either = np.zeros(25)
    either[[20, 21]] = 6.0, -6.0
    assert find_humps(xy, lambda use: either) == []


def test_readings_that_agree_raise_a_mound_as_high_as_their_mean():
    xy = np.array([(0, 0), (4, 0), (30, 0), (200, 0)], float)
    (mound,) = raise_mounds([[0, 1]], xy, np.array([0.5, 0.6, 0, 0]), SIGMA)
    assert mound.rise == pytest.approx(0.55) and mound.at == (2, 0)
    assert mound.share(xy) == pytest.approx([1, 1, 0, 0])
    assert mound.se == pytest.approx(SIGMA / 2**0.5)
    assert mound.foot == FARTHEST_FOOT  # the nearest plain reading is 28 in away


def test_the_nearest_plain_reading_bounds_a_mound():
    xy = np.array([(0, 0), (0, 0), (10, 0)], float)
    (mound,) = raise_mounds([[0, 1]], xy, np.array([-0.5, -0.5, 0]), SIGMA)
    assert (mound.top, mound.foot, mound.rise) == (0, 10, -0.5)
    (tight,) = raise_mounds([[0, 1]], np.array([(0, 0), (6, 0), (3, 2)], float), np.array([1, 1, 0]), SIGMA)
    assert tight.foot == tight.top + LEAST_FOOT
