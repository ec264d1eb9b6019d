"""Tests of the keep-outs: stretches in closed form against the shapes themselves, place by place."""

import numpy as np
import pytest
import shapely

from framing.engine.documents import parse_build
from framing.engine.keep_outs import Ground, Row, end_inset, end_reach, joined, kept_off, no_room, over_outlets
from tests.framing.odd_roofs import odd_build

INSIDE = shapely.Polygon([(0, 0), (200, 10), (190, 150), (100, 90), (10, 160)]).difference(shapely.box(60, 30, 80, 55))


def random_ground(rng):
    taken = []
    for _ in range(4):
        middle, turn = rng.uniform(10, 150, 2), rng.uniform(0, 2 * np.pi)
        u, v = 4 * np.array([np.cos(turn), np.sin(turn)]), 3 * np.array([-np.sin(turn), np.cos(turn)])
        taken.append([middle - u - v, middle + u - v, middle + u + v, middle - u + v])
    return Ground(None, INSIDE, rng.uniform(0, 150, (3, 2)), (shapely.LineString(rng.uniform(0, 160, (3, 2))),), 20.0,
                  np.array(taken))


@pytest.mark.parametrize("seed", range(12))
def test_stretches_close_just_the_places_that_the_shapes_close(seed):
    rng = np.random.default_rng(seed)
    ground, row, size = random_ground(rng), Row(rng.uniform(-10, 200, (10, 2, 2))), tuple(rng.uniform(3, 9, 2))
    outlets = shapely.points(ground.outlets)
    room, by_edge, by_centre, over = (no_room(row, ground, size), kept_off(row, ground, size),
                                      kept_off(row, ground, size, by_edge=False), over_outlets(row, ground, size))
    for i in range(10):
        s = rng.uniform(0, row.length[i], 200)
        line = np.full(200, i)
        at = row.start[i] + s[:, None] * row.along[i]
        u, v = row.along[i] * size[0] / 2, np.array([-row.along[i][1], row.along[i][0]]) * size[1] / 2
        pads = shapely.polygons(np.stack([at - u - v, at + u - v, at + u + v, at - u + v], axis=1))
        covers = shapely.intersects(pads[:, None], outlets).any(axis=1)
        others = shapely.polygons(ground.taken)
        shut = ~shapely.covers(INSIDE, pads) | covers
        shut |= (shapely.area(shapely.intersection(pads[:, None], others)) > 1e-9).any(axis=1)
        wet = shapely.distance(shapely.points(at), ground.valleys[0]) < max(size) / 2 + 3
        assert (room.closed(line, s) == shut).all()
        assert (over.closed(line, s) == covers).all()
        assert (by_edge.closed(line, s) == (wet | (shapely.distance(pads[:, None], outlets).min(axis=1) < 12))).all()
        centre = shapely.distance(shapely.points(at)[:, None], outlets).min(axis=1)
        assert (by_centre.closed(line, s) == (wet | (centre < 12))).all()
        both = joined(room, by_edge)
        assert (both.closed(line, s) == (room.closed(line, s) | by_edge.closed(line, s))).all()
        low, high = both.nearest(line, s)
        assert (low <= s).all() and (high >= s).all()
        on = (low > 0) & (low < row.length[i])
        assert not both.closed(line[on], low[on]).any()


def test_an_ends_reach_is_the_first_place_off_the_drain_and_none_where_there_is_none():
    build = parse_build(odd_build(supports__pad_size=[6, 6]))
    ground = Ground(None, shapely.box(0, 0, 200, 100), np.array([[1.0, 50.0]]), (), 20.0, np.zeros((0, 4, 2)))
    lines = np.array([[[2, 50], [198, 50]], [[2, 20], [198, 20]], [[2, 50], [14, 50]]])
    reach = end_reach(lines, ground, build.supports.pad_sizes[0], end_inset(build))
    assert reach[0, 0] == pytest.approx(14, abs=1e-3)  # 12 in off the drain and half a pad, from the end at x = 2
    assert reach[1].tolist() == pytest.approx([3, 3])
    assert np.isinf(reach[2]).all()
