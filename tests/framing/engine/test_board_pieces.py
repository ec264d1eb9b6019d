"""Tests of how a piece of board is read: rips, ends, narrow places."""

import numpy as np
import pytest
from shapely import Polygon, box

from framing.engine.board_pieces import read_cuts

WIDTH = 5.5
PIECES = {  # shape, rip, narrowest, whether an end is skew
    "whole": (box(0, 0, 100, WIDTH), None, WIDTH, False),
    "ripped": (box(0, 0, 100, 3), (3, 3), 3, False),
    "ripped on its lower edge": (box(0, 2, 100, WIDTH), (3.5, 3.5), 3.5, False),
    "tapered": (Polygon([(0, 0), (100, 0), (100, 4), (0, 2)]), (2, 4), 2, False),
    "tapered to nothing": (Polygon([(0, 0), (100, 0), (100, 4)]), (0, 4), 0, False),
    "skew end": (Polygon([(0, 0), (100, 0), (95, WIDTH), (0, WIDTH)]), None, WIDTH, True),
    "both ends skew, one way": (Polygon([(0, 0), (100, 0), (105, WIDTH), (5, WIDTH)]), None, WIDTH, True),
    "mitred": (Polygon([(0, 0), (100, 0), (94.5, WIDTH), (5.5, WIDTH)]), None, WIDTH, True),
    "notched": (Polygon([(0, 0), (100, 0), (100, WIDTH), (60, WIDTH), (60, 2), (40, 2), (40, WIDTH), (0, WIDTH)]),
                (WIDTH, WIDTH), 2, False),
    "widest in the middle": (Polygon([(0, 0), (100, 0), (50, 5)]), (0, 0), 0, False),
}


@pytest.mark.parametrize(("shape", "rip", "narrowest", "skew"), PIECES.values(), ids=PIECES)
def test_a_piece_is_read_as_it_is_cut(shape, rip, narrowest, skew):
    cuts = read_cuts(np.array([shape]), np.array([0.0]), WIDTH)
    assert np.isnan(cuts.rip[0]).all() if rip is None else cuts.rip[0] == pytest.approx(rip, abs=0.01)
    assert cuts.narrowest[0] == pytest.approx(narrowest, abs=0.01)
    assert cuts.skew[0] == skew and cuts.run[0] == pytest.approx(np.ptp(shape.exterior.xy[0]))


def test_pieces_are_read_alike_alone_and_in_company():
    shapes = np.array([s for s, *_ in PIECES.values()])
    together = read_cuts(shapes, np.zeros(len(shapes)), WIDTH)
    for k, shape in enumerate(shapes):
        alone = read_cuts(np.array([shape]), np.zeros(1), WIDTH)
        np.testing.assert_array_equal(together.rip[k], alone.rip[0])
        assert together.narrowest[k] == alone.narrowest[0]


def test_two_strips_beside_a_hole_are_as_narrow_as_the_narrower():
    """A hole from 1.2 to 3.5 in a board leaves strips of 1.2 and 2 in."""
    board = box(0, 0, 100, WIDTH).difference(box(40, 1.2, 60, 3.5))
    cuts = read_cuts(np.array([board]), np.zeros(1), WIDTH)
    assert cuts.narrowest[0] == pytest.approx(1.2, abs=1e-6)


def test_a_small_notch_in_a_long_board_is_read_though_it_is_little_of_its_area():
    notched = Polygon([(0, 0), (142, 0), (142, 5.5), (14, 5.5), (13.9, 5.0), (10, 5.5), (0, 5.5)])
    plain = Polygon([(0, 0), (142, 0), (142, 5.5), (0, 5.5)])
    cuts = read_cuts(np.array([notched, plain], object), np.zeros(2), 5.5)
    assert np.isfinite(cuts.rip[0]).all() and np.isnan(cuts.rip[1]).all()
    assert cuts.narrowest[0] == pytest.approx(5.0, abs=0.01) and cuts.narrowest[1] == 5.5
