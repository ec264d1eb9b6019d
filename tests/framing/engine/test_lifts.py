"""Tests of the lifts: every piece goes up once, in bundles that the lift takes, in the order of need."""

import math
from collections import Counter

import numpy as np
import pytest

from framing.engine.documents import DocumentRefused, parse_survey
from framing.engine.lifts import plan_lifts
from framing.engine.takeoff import Quantity
from tests.framing.odd_roofs import RECTANGLE, odd_survey


def stick(item, feet, count, plf):
    return Quantity(item, "stick", "LF", count * feet, 0.0, 0.0, feet, "EA", "by hand", plf)


def goods(item, count, pounds):
    return Quantity(item, "goods", "EA", float(count), 0.0, 0.0, 1.0, "EA", "by hand", pounds)


ORDER = [stick("lumber/2x8/144", 12.0, 20, 2.8), stick("decking/b/192", 16.0, 40, 3.0),
         goods("support/pad/6x6", 50, 0.5), goods("protection/sheet", 11, 54.0), goods("lumber/packer/1", 7, 0.4)]


def lifted(quantities=ORDER, **access):
    return plan_lifts(parse_survey(odd_survey(RECTANGLE, access=access or None)), quantities)


def pieces(lifts):
    found = Counter()
    for b in lifts.bundles:
        found.update(b.items)
    return found


@pytest.mark.parametrize("lift", ["stair", "hoist", "elevator", "boom"])
def test_every_piece_goes_up_once_in_bundles_that_the_lift_takes(lift):
    lifts = lifted(lift=lift, floor=3)
    assert pieces(lifts) == {q.item: q.order for q in ORDER}
    assert all(0 < b.weight <= lifts.most + 1e-6 for b in lifts.bundles)
    assert lifts.weight == pytest.approx(20 * 12 * 2.8 + 40 * 16 * 3 + 25 + 11 * 54 + 2.8)
    assert len(lifts.bundles) >= lifts.weight / lifts.most


def test_random_orders_go_up_whole_and_few_lifts_stay_half_empty():
    """First fit leaves no two bundles of one order that would go into one, so at most one is half empty."""
    rng = np.random.default_rng(20)
    for _ in range(60):
        order = [stick(f"decking/b/{feet * 12}", float(feet), int(rng.integers(1, 60)), float(rng.uniform(1, 5)))
                 for feet in rng.choice(np.arange(6, 21), 4, replace=False)]
        capacity = float(rng.uniform(100, 3000))
        lifts = lifted(order, lift="boom", lift_capacity=capacity)
        assert pieces(lifts) == {q.item: q.order for q in order}
        assert all(b.weight <= capacity + 1e-6 for b in lifts.bundles)
        assert sum(b.weight <= capacity / 2 for b in lifts.bundles) <= 1
        assert len(lifts.bundles) <= math.ceil(2 * lifts.weight / capacity) + 1
        for b in lifts.bundles:
            assert b.length == max(float(item.rsplit("/", 1)[1]) for item in b.items)


def test_two_people_carry_no_more_than_100_lb_and_a_hand_hoist_200():
    """34 lb sticks: two to a carry, five to a hoist."""
    frame = [stick("lumber/2x8/144", 12.0, 20, 34 / 12)]
    assert [b.items["lumber/2x8/144"] for b in lifted(frame, lift="stair").bundles] == [2] * 10
    assert [b.items["lumber/2x8/144"] for b in lifted(frame, lift="hoist").bundles] == [5] * 4


def test_what_is_needed_first_goes_up_first():
    lifts = lifted(lift="boom")
    orders = [b.order for b in lifts.bundles]
    assert orders == sorted(orders, key=("protection and small goods", "frame", "decking").index)
    assert "lumber/packer/1" in lifts.bundles[0].items


def test_the_surveys_own_capacity_stands_before_the_usual():
    lifts = lifted(lift="elevator", lift_capacity=300)
    assert lifts.most == 300 and "the survey's" in lifts.basis
    assert lifted(lift="elevator").most == 500 and "A17.1" in lifted(lift="elevator").basis


def test_a_way_up_that_is_not_given_is_said_and_carried_by_hand():
    lifts = lifted()
    assert (lifts.by, lifts.most) == ("stair", 100) and "not given" in lifts.basis


def test_a_piece_over_the_limit_goes_alone_and_is_told():
    lifts = lifted([goods("support/plate", 3, 150.0), goods("support/pad/4x4", 10, 1.0)], lift="stair")
    assert sorted(b.weight for b in lifts.bundles) == [10, 150, 150, 150]
    assert "3 bundles are over it" in lifts.basis


def test_nothing_ordered_is_no_lift():
    lifts = lifted([], lift="boom")
    assert lifts.bundles == () and lifts.weight == 0 and lifts.deliveries() == []


def test_deliveries_are_one_an_order_until_a_truck_is_full():
    lifts = lifted([stick("decking/b/192", 16.0, 500, 3.0), stick("lumber/2x6/96", 8.0, 10, 2.0)], lift="boom")
    assert [(d["order"], d["weight"], d["longest"], d["loads"]) for d in lifts.deliveries()] == [
        ("frame", pytest.approx(160), 96, 1), ("decking", pytest.approx(24000), 192, 3)]


@pytest.mark.parametrize(("floor", "flights"), [(None, 1), (1, 1), (2, 1), (5, 4), (-2, 1)])
def test_flights_that_a_load_goes_up(floor, flights):
    assert lifted(lift="stair", **({} if floor is None else {"floor": floor})).floors_up == flights


def test_a_capacity_that_lifts_nothing_is_refused():
    with pytest.raises(DocumentRefused) as refused:
        lifted(lift="hoist", lift_capacity=5)
    assert [f.pointer for f in refused.value.faults] == ["/access/lift_capacity"]
