"""Tests of butt joints: over joists, clear of the row before's, and against every choice tried."""

import itertools

import numpy as np
import pytest

from framing.engine.board_joints import find_joints, nearest_rows

SEATS = np.arange(0.75, 400, 16)
STICKS = (95.75, 119.75, 143.75, 167.75, 191.75)


def pieces(a, b, joints):
    return np.diff([a, *joints, b])


def test_there_is_no_joint_where_a_stick_reaches():
    assert find_joints(0, 191.75, SEATS, longest=191.75) == ()


def test_a_run_just_longer_than_a_stick_has_one_joint_over_a_joist():
    (joint,) = find_joints(0, 192.5, SEATS, longest=191.75, sticks=STICKS)
    assert np.abs(SEATS - joint).min() == 0


def test_joints_are_never_within_two_joists_of_the_row_before():
    """A joint alone could stand at joists 11 or 12 only, so the next row takes a piece more."""
    one = find_joints(0, 368, SEATS, longest=191.75, sticks=STICKS)
    other = find_joints(0, 368, SEATS, longest=191.75, before=one, sticks=STICKS, lean=-1)
    assert len(one) == 1 and len(other) == 2
    assert nearest_rows(one, other, SEATS) >= 3


@pytest.mark.parametrize("run", [250.0, 300.0, 333.3, 399.0])
@pytest.mark.parametrize("before", [(), (96.75,), (112.75, 208.75)])
def test_no_choice_of_joints_has_fewer_pieces_without_two_joints_too_near(run, before):
    inside = SEATS[(SEATS > 12) & (run - 12 > SEATS)]
    ok = [c for n in range(4) for c in itertools.combinations(inside, n)
          if pieces(0, run, c).max() <= 143.75
          and all(abs(p - q) > 2 * 16 + 1 for p in c for q in before)]
    found = find_joints(0, run, SEATS, longest=143.75, before=before, sticks=STICKS[:3])
    assert pieces(0, run, found).max() <= 143.75
    assert all(abs(p - q) > 2 * 16 + 1 for p in found for q in before)
    assert len(found) == min(len(c) for c in ok)


def test_a_bay_that_no_stick_spans_is_left_in_one_piece():
    assert find_joints(0, 300, np.array([40.0, 250.0]), longest=120) == (40.0, 250.0)


def test_nearest_joints_are_counted_in_joists():
    assert nearest_rows((64.75,), (144.75, 240.75), SEATS) == pytest.approx(5)
    assert nearest_rows((), (144.75,), SEATS) == float("inf")
