"""Tests of where rows start: held against every start tried, strip by strip."""

import numpy as np
import pytest
import shapely
from numpy.testing import assert_allclose
from shapely import Polygon, box

from framing.engine.board_rows import start_rows
from framing.reference.decking import LEAST_RIP

WIDTH, GAP = 5.5, 3 / 16
PITCH = WIDTH + GAP


def thin_along(field, start, step=0.25):
    """Length of sides, none steeper than one in two, beside which the board is cut narrower than the least rip: walked
    along in steps, a place on a side looking at the board that lies there."""
    total = 0.0
    xy = shapely.get_coordinates(shapely.geometry.polygon.orient(field).exterior)
    for a, b in zip(xy, xy[1:], strict=False):
        run = b - a
        if abs(run[1]) > abs(run[0]) / 2 or abs(run[0]) <= WIDTH:
            continue
        parts = max(1, round(abs(run[0]) / step))
        y = a[1] + run[1] * (np.arange(parts) + 0.5) / parts
        into = (y - start) % PITCH
        left = WIDTH - into if run[0] > 0 else into
        thin = (left > 1e-6) & (left < LEAST_RIP - 1e-6) & (into < WIDTH)
        total += thin.mean() * abs(run[0])
    return total


FIELDS = {
    "rectangle": box(0, 0, 200, 100.0),
    "a board and a sliver": box(0, 0, 200, 18 * PITCH + 5 / 8),
    "a step": Polygon([(0, 0), (100, 0), (100, 3.1), (200, 3.1), (200, 99), (0, 99)]),
    "three levels": Polygon([(0, 0), (80, 0), (80, 7.3), (160, 7.3), (160, 12.2), (240, 12.2), (240, 90), (0, 90)]),
    "out of square": Polygon([(0, 0), (200, 4), (200, 100), (0, 97)]),
    "a long taper": Polygon([(0, 0), (200, 0), (200, 100), (0, 80)]),
    "two tapers": Polygon([(0, 0), (200, 2), (210, 96), (-10, 98)]),
}


@pytest.mark.parametrize("field", FIELDS.values(), ids=FIELDS)
def test_no_start_leaves_less_of_narrow_strips_than_the_one_taken(field):
    start = start_rows(field, WIDTH, GAP)
    every = min(thin_along(field, y) for y in np.linspace(0, PITCH, 1500))
    assert thin_along(field, start.y + 1e-9) <= every + 1.0
    assert start.thin == pytest.approx(thin_along(field, start.y), abs=1.0)


def test_a_whole_board_lies_along_the_lowest_side_where_nothing_is_against_it():
    start = start_rows(box(0, 10, 200, 110.3), WIDTH, GAP)
    assert start.y == pytest.approx(10) and start.thin == 0


def test_a_whole_board_lies_along_the_wall_of_the_door():
    """The far side, at 100.3, has the door: rows are set from there and the rip falls away from it."""
    field = box(0, 10, 200, 110.3)
    start = start_rows(field, WIDTH, GAP, np.array([60.0, 110.8]))
    assert_allclose((110.3 - WIDTH - start.y) % PITCH % PITCH, [0.0], atol=1e-6)


def test_a_taper_falls_away_from_the_wall_of_the_door():
    """From the far side 17 rows leave 3 5/16 in there at one end of the near side and 1 13/16 in at the other."""
    field = Polygon([(0, 0), (200, 1.5), (200, 100), (0, 100)])
    start = start_rows(field, WIDTH, GAP, np.array([100.0, 100.5]))
    off = (100 - WIDTH - start.y) % PITCH
    assert min(off, PITCH - off) < 1e-6


def test_what_is_left_over_is_shared_where_a_whole_board_would_leave_a_sliver():
    start = start_rows(box(0, 0, 200, 18 * PITCH + 5 / 8), WIDTH, GAP)
    first, last = WIDTH - (0 - start.y) % PITCH, (18 * PITCH + 5 / 8 - start.y) % PITCH
    assert first + last == pytest.approx(WIDTH + 5 / 8) and abs(first - last) < 0.2 and start.thin == 0


def test_a_shape_with_no_side_along_the_boards_starts_at_its_lowest_point():
    start = start_rows(Polygon([(0, 0), (50, 50), (0, 100), (-50, 50)]), WIDTH, GAP)
    assert start.y == 0 and start.thin == 0


def test_no_corner_is_left_a_scrap_where_another_start_leaves_none():
    """The upper corner of a square on its corner lies a little past 16 rows, then a board's width past them less a
    little; the corner of the notch on its right is deck all round and gets no piece of its own."""
    for rise in (0.6, 1.3, 5.6):
        tall = 16 * PITCH + rise
        field = Polygon([(0, 0), (50, tall / 2 - 5), (44, tall / 2), (50, tall / 2 + 5), (0, tall), (-50, tall / 2)])
        start = start_rows(field, WIDTH, GAP)
        lower, upper = WIDTH - (0 - start.y) % PITCH, (tall - start.y) % PITCH
        assert min(lower, upper) >= LEAST_RIP - PITCH / 64, rise


def test_the_start_goes_with_the_deck():
    field = FIELDS["three levels"]
    moved = shapely.affinity.translate(field, 31.7, 12.9)
    off = start_rows(moved, WIDTH, GAP).y - start_rows(field, WIDTH, GAP).y - 12.9
    assert abs(off - round(off / PITCH) * PITCH) < 1e-6
