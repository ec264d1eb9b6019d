"""Sets of planes: how they join, which the readings show, and the folds between them."""

import itertools

import numpy as np
import pytest
from shapely import Polygon
from shapely.ops import unary_union

from framing.engine.folds import find_planes
from framing.engine.plane_sets import PlaneSet, _labels, _ways_to_join, areas_of, doubt, folds_of, grow_planes
from tests.framing.random_roofs import PLANES, random_roof, survey_of

SIGMA = 1 / 16
SQUARE = Polygon([(0, 0), (240, 0), (240, 240), (0, 240)])
PYRAMID = np.array([[-8.0, s, 0] if k else [-8.0, 0, s] for k, s in itertools.product((0, 1), (1 / 48, -1 / 48))])
PYRAMID[:, 0] -= PYRAMID[:, 1:] @ [120, 120]


def joined(planes, *sets):
    """Planes joined so that the roof is as high as the lowest plane of any of the sets."""
    table = np.zeros((1, 2 ** len(planes)), bool)
    for number in range(2 ** len(planes)):
        table[0, number] = any(all(number >> k & 1 for k in one) for one in sets)
    return PlaneSet(np.asarray(planes, float), table, 0.0)


def grid(step=10.0):
    x, y = np.meshgrid(np.arange(5, 240, step), np.arange(5, 240, step))
    return np.c_[x.ravel(), y.ravel()]


# Ways to join n planes: monotone Boolean functions of n variables less the two constant ones (R. Dedekind 1897; the
# numbers 3, 6, 20, 168, 7581 stand in any table of Dedekind numbers, from memory).
@pytest.mark.parametrize("planes, ways", [(1, 1), (2, 4), (3, 18), (4, 166), (5, 7579)])
def test_the_ways_to_join_are_as_many_as_dedekind_counts(planes, ways):
    tables = _ways_to_join(planes)
    assert len(tables) == len(np.unique(tables, axis=0)) == ways
    for k in range(planes):  # one plane more never makes the roof lower
        without = [n for n in range(2**planes) if not n >> k & 1]
        assert (tables[:, without] <= tables[:, [n | 1 << k for n in without]]).all()


def test_the_label_is_the_plane_that_the_lowest_and_the_highest_pick():
    heights = np.random.default_rng(1).normal(size=(200, 3))
    lowest = joined(np.zeros((3, 3)), (0, 1, 2))
    highest = joined(np.zeros((3, 3)), (0,), (1,), (2,))
    mixed = joined(np.zeros((3, 3)), (0, 1), (2,))  # the higher of plane 2 and the lower of planes 0 and 1
    assert (_labels(heights, lowest.joins)[0] == heights.argmin(axis=1)).all()
    assert (_labels(heights, highest.joins)[0] == heights.argmax(axis=1)).all()
    picked = np.take_along_axis(heights, _labels(heights, mixed.joins)[0][:, None], axis=1)[:, 0]
    assert picked == pytest.approx(np.maximum(heights[:, :2].min(axis=1), heights[:, 2]))


def test_a_pyramid_has_four_hips_and_four_areas():
    pyramid = joined(PYRAMID, (0, 1, 2, 3))
    folds = folds_of(pyramid, SQUARE)
    assert [b.kind for b, *_ in folds] == ["ridge"] * 4
    assert [b.line.length for b, *_ in folds] == pytest.approx([120 * 2**0.5] * 4, abs=2e-3)
    areas = areas_of(pyramid, SQUARE)
    assert sorted(k for _, k in areas) == [0, 1, 2, 3]
    assert [a.area for a, _ in areas] == pytest.approx([240 * 240 / 4] * 4)
    drain = joined(-PYRAMID, (0,), (1,), (2,), (3,))
    assert [b.kind for b, *_ in folds_of(drain, SQUARE)] == ["valley"] * 4


@pytest.mark.parametrize("seed", range(14))
def test_areas_share_out_the_outline_and_the_surface_is_one(seed):
    true = random_roof(seed)
    found = find_planes(*_read(true), true.level_sigma)
    assert found is not None
    areas = areas_of(found, true.outline)
    assert unary_union([a for a, _ in areas]).area == pytest.approx(true.outline.area, rel=1e-3)
    assert sum(a.area for a, _ in areas) == pytest.approx(true.outline.area, rel=1e-3)
    for b, i, j in folds_of(found, true.outline):
        along = np.array([b.line.interpolate(t, normalized=True).coords[0] for t in (0, 0.3, 1)])
        heights = found.heights(along)
        assert heights[:, i] == pytest.approx(heights[:, j], abs=1e-6)


def _read(true):
    survey = survey_of(true, lines=False)
    roof = [r for r in survey["levels"] if r["on"] == "roof"]
    return (np.array([survey["positions"][r["point"]] for r in roof]), -np.array([r["drop"] for r in roof]))


@pytest.mark.parametrize("seed", range(28))
def test_as_many_planes_are_found_as_there_are(seed):
    true = random_roof(seed)
    found = find_planes(*_read(true), true.level_sigma)
    assert found is not None and len(found.planes) == PLANES[true.kind]


@pytest.mark.parametrize("noise", [1.0, 2.0, 3.0])
def test_readings_worse_than_they_claim_make_no_planes(noise):
    rng = np.random.default_rng(8)
    for _ in range(10):
        xy = rng.uniform(0, 240, (50, 2))
        z = -8 + xy @ [0.01, 0.015] + rng.normal(0, noise * SIGMA, 50)
        assert len(find_planes(xy, z, SIGMA).planes) == 1


def test_a_few_wild_readings_make_no_planes():
    rng = np.random.default_rng(9)
    xy = rng.uniform(0, 240, (40, 2))
    z = -8 + xy @ [0.01, 0.015] + rng.normal(0, SIGMA, 40)
    z[[3, 11, 30]] += [1, -2, 0.7]
    assert len(find_planes(xy, z, SIGMA).planes) == 1


def test_too_few_readings_show_no_planes():
    xy = np.array([(0, 0), (100, 0), (0, 100)], float)
    assert find_planes(xy, np.zeros(3), SIGMA) is None
    assert find_planes(np.zeros((9, 2)), np.zeros(9), SIGMA) is None
    assert len(grow_planes(np.c_[np.arange(9.0) * 20, np.zeros(9)], np.zeros(9), SIGMA)) == 0


def test_doubt_is_how_far_ways_that_fit_as_well_lie_apart():
    one, two = np.array([-8.0, -1 / 48, 0.0]), np.array([-8.0 - 5, 1 / 48, 0.0])
    way = joined([one, two], (0, 1)).joins
    sure = PlaneSet(np.array([one, two]), way, 0.0)
    torn = PlaneSet(np.array([one, two]), np.concatenate([way, joined([one, two], (0,), (1,)).joins]), 0.0)
    assert doubt(sure, SQUARE)[0] == 0
    most = np.abs((one - two)[0] + (one - two)[1] * np.array([0, 240])).max()  # at a corner; it is looked for on a grid
    assert 0.9 * most < doubt(torn, SQUARE)[0] <= most


def test_a_step_is_no_fold():
    # 3 in of a step lie in the unread middle: two parallel planes, which meet nowhere, are no roof
    xy = grid(20.0)
    xy = xy[(xy[:, 0] < 60) | (xy[:, 0] > 180)]
    z = np.where(xy[:, 0] < 120, -8 - xy[:, 0] / 48, -11 - xy[:, 0] / 48)
    found = find_planes(xy, z, SIGMA)
    assert len(found.planes) == 1 and found.cost > 10 * len(xy) / 4


def test_a_dense_round_shows_the_same_planes():
    true = random_roof(4)
    rng = np.random.default_rng(2)
    xy = true.places(3000, rng)
    found = find_planes(xy, true.height(xy) + rng.normal(0, SIGMA, len(xy)), SIGMA)
    own = found.heights(xy)[np.arange(len(xy)), found.label(xy)]
    assert len(found.planes) == 4
    assert np.sqrt(((own - true.height(xy)) ** 2).mean()) < 0.01
