"""Humps and lows: a mound where readings agree, and nothing beyond its foot."""

import numpy as np
import pytest
from shapely import LineString, get_coordinates

from framing.engine.relief import FARTHEST_FOOT, LEAST_FOOT, Mound, raise_mounds

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
