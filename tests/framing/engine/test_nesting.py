"""Tapers sawn side by side: what a carpenter finds with two templates on the bench."""

from decimal import Decimal

import numpy as np
import pytest

from framing.engine.cutting import Piece, Stock
from framing.engine.nesting import SAW_MARGIN, plan_all, side_by_side

KERF, TRIM = 0.125, 0.25


def taper(owner, length, shallow, deep):
    return Piece(owner, "member", 1, length, ((0.0, shallow), (length, deep)))


def lumber(size, prices):
    table = {float(k): Decimal(v) for k, v in prices.items()} if prices else None
    return Stock(f"lumber/{size}", size, (96.0, 144.0), table)


# 23 joist pieces of a terrace whose ridge lies level: 3 1/8 in at the ridge, the left half 5 11/16 to 5 13/16 at its
# outer end, the right half 5 15/16 to 6 1/16. 2x8 and 2x10 of 12 ft at 1,180 and 1,320 a thousand board feet.
LEFT = [taper(f"J{n}L", 127.1 + 0.65 * n, 3.125, 5.6875 + 0.0125 * n) for n in range(10)] + [
    taper("EL", 133.5, 3.125, 5.8125)]
RIGHT = [taper(f"J{n}R", 126.0 + n, 3.125, 5.9375 + 0.0125 * n) for n in range(10)] + [
    taper("ER", 135.0, 3.125, 6.0625)]
PRICES = {"2x8": {"96": "12.59", "144": "18.88"}, "2x10": {"96": "17.60", "144": "26.40"}}


def jobs(pieces, prices=PRICES):
    return [(pieces, lumber("2x8", prices.get("2x8"))), ([], lumber("2x10", prices.get("2x10")))]


def bought(plans):
    return sum(p.bought for p in plans)


def test_with_the_saw_margin_five_pairs_of_the_left_half_come_out_of_2x10s():
    # By hand: 3.125 + 5.8125 + 1/8 + 1/8 = 9.1875 fits 9 1/4; the least of the right, 3.125 + 5.9375 + 1/4 = 9.3125,
    # does not. Eleven on the left make five pairs; the other twelve take a 2x8 each.
    plans = {p.stock.size: p for p in plan_all(jobs(LEFT + RIGHT), kerf=KERF, trim=TRIM)}
    assert plans["2x10"].counts == {144.0: 5}
    assert plans["2x8"].counts == {144.0: 12}
    assert bought(plans.values()) == pytest.approx(5 * 26.40 + 12 * 18.88)


def test_a_short_piece_beside_a_long_one_beats_what_was_worked_by_hand():
    # By hand: five pairs, twelve 2x8 of 12 ft and the short J11L, 3 ft 9 1/4 long, out of a 2x8 of 8 ft.
    short = taper("J11L", 45.25, 4.875, 5.75)
    assert bought(plan_all(jobs([*LEFT, *RIGHT, short]), kerf=KERF, trim=TRIM)) <= 5 * 26.40 + 12 * 18.88 + 12.59


def test_nested_pieces_name_each_other_and_take_the_longer_ones_length_once():
    a, b = taper("J1", 130.0, 3.0, 5.5), taper("J2", 120.0, 3.0, 5.5)
    (planned,) = plan_all(jobs([a, b]), kerf=KERF, trim=TRIM)
    (row,) = planned.stock_plan()
    assert (row["size"], row["length"], row["offcut"]) == ("2x10", 144.0, 144 - 130 - TRIM - KERF)
    assert [(c["member"], c["length"], c["nested_with"]) for c in row["cuts"]] == [
        ("J1", 130.0, "J2/1"), ("J2", 120.0, "J1/1")]


def test_two_tapers_turned_against_each_other_take_the_depth_that_a_fine_ruler_finds():
    random = np.random.default_rng(7)
    for _ in range(40):
        long, short = sorted(random.uniform(30, 150, 2), reverse=True)
        a = Piece("A", "member", 1, long, tuple(zip((0, random.uniform(1, long - 1), long), random.uniform(2, 6, 3),
                                                    strict=True)))
        b = taper("B", short, *random.uniform(2, 6, 2))
        s = np.linspace(0, short, 4001)
        depth = [np.interp(v, *np.array(b.profile).T) for v in (s, short - s)]
        ruler = min(max(np.max(np.interp(s + at, *np.array(a.profile).T) + d), max(d for _, d in a.profile))
                    for at in (0.0, long - short) for d in depth)
        assert side_by_side(a, b) == side_by_side(b, a) == pytest.approx(ruler, abs=2e-3)
        assert side_by_side(a, b) >= ruler - 1e-9


@pytest.mark.parametrize("prices", [PRICES, {}], ids=["money", "board feet"])
def test_nesting_never_costs_more_than_a_stick_for_each(prices):
    random = np.random.default_rng(11)
    for _ in range(6):
        pieces = [taper(f"J{n}", float(random.uniform(20, 140)), 3.0, float(random.uniform(4, 7)))
                  for n in range(int(random.integers(2, 14)))]
        nested = plan_all(jobs(pieces, prices), kerf=KERF, trim=TRIM)
        alone = plan_all([jobs(pieces, prices)[0]], kerf=KERF, trim=TRIM)

        def paid(plans, money=bool(prices)):
            return sum(p.bought if money else p.bought / 144 * 2 * int(p.stock.size[2:]) for p in plans)

        assert paid(nested) <= paid(alone) + 1e-6
        cuts = [c for p in nested for row in p.stock_plan() for c in row["cuts"]]
        assert sorted(c["member"] for c in cuts) == sorted(p.owner for p in pieces)


def test_a_dear_wider_stick_is_left_at_the_yard():
    dear = {**PRICES, "2x10": {"96": "30.00", "144": "45.00"}}
    assert [p.stock.size for p in plan_all(jobs(LEFT, dear), kerf=KERF, trim=TRIM)] == ["2x8"]


def test_the_margin_is_kept_beside_the_kerf():
    # 9 1/4 - 1/8 - 1/8 = 9 in for both together: 3 + 6 fits, 3 + 6.01 does not.
    assert SAW_MARGIN == 1 / 8
    for deep, sizes in ((6.0, ["2x10"]), (6.01, ["2x8"])):
        pair = [taper("J1", 130.0, 3.0, deep), taper("J2", 130.0, 3.0, deep)]
        assert [p.stock.size for p in plan_all(jobs(pair), kerf=KERF, trim=TRIM)] == sizes
