"""Cutting plans: what a saw and a purchase order must be able to rely on."""

import itertools
import math
from collections import Counter
from decimal import Decimal

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import linprog

from framing.engine import stick_programme
from framing.engine.cutting import Piece, PieceTooLong, Stock, plan
from tests.framing.cutting_cases import DEARER, kept_sticks, random_lengths, stock

YARD = (96.0, 120.0, 144.0, 168.0, 192.0)
KERF, TRIM = 0.125, 0.25


def joists(*lengths):
    return [Piece(f"J{n}", "member", 1, float(length)) for n, length in enumerate(lengths, 1)]


def lumber(lengths=YARD, prices=None):
    return Stock("lumber/2x8", "2x8", tuple(lengths), prices and {k: Decimal(v) for k, v in prices.items()})


def cut(lengths, stock=None, kerf=KERF, trim=TRIM):
    return plan(joists(*lengths), stock or lumber(), kerf=kerf, trim=trim)


def used(stick, kerf, trim):
    return math.fsum(c.length for c in stick.cuts) + kerf * (len(stick.cuts) - 1) + trim


def partitions(items):
    """Every way to deal distinct items into sticks."""
    if not items:
        yield []
        return
    first, rest = items[0], items[1:]
    for others in partitions(rest):
        yield [[first], *others]
        for n in range(len(others)):
            yield [*others[:n], [first, *others[n]], *others[n + 1:]]


def least_possible(lengths, cost, kerf, trim):
    """The true optimum, by trying every way to deal the pieces into sticks."""
    least = math.inf
    for sticks in partitions(list(lengths)):
        total = 0.0
        for held in sticks:
            need = sum(held) + kerf * (len(held) - 1) + trim
            total += min((c for length, c in cost.items() if need <= length + 1e-6), default=math.inf)
        least = min(least, total)
    return least


lists_of_lengths = st.lists(
    st.floats(3, 191.7, allow_nan=False) | st.sampled_from([14.5, 95.75, 47.75, 60.0]), min_size=1, max_size=40
)
price_lists = st.none() | st.lists(st.integers(500, 6000), min_size=5, max_size=5).map(
    lambda cents: {length: f"{c / 100:.2f}" for length, c in zip(YARD, cents, strict=True)}
)


@settings(max_examples=60, deadline=None)
@given(lists_of_lengths, price_lists, st.sampled_from([0.0, 0.125]), st.sampled_from([0.0, 0.25]))
def test_every_piece_is_cut_once_every_stick_fits_and_the_bound_is_below_what_is_bought(lengths, prices, kerf, trim):
    stock = lumber(prices=prices)
    planned = cut(lengths, stock, kerf=kerf, trim=trim)

    assert Counter(c for s in planned.sticks for c in s.cuts) == Counter(joists(*lengths))
    for stick in planned.sticks:
        assert stick.length in YARD
        assert used(stick, kerf, trim) <= stick.length + 1e-5
        assert 0 <= stick.offcut <= stick.length - used(stick, kerf, trim) + 1e-5
    cost = {length: float(p) for length, p in prices.items()} if prices else {length: length for length in YARD}
    paid = math.fsum(cost[s.length] for s in planned.sticks)
    assert math.isclose(planned.bought, paid, rel_tol=1e-12)
    assert planned.bound <= planned.bought
    if prices is None:
        assert planned.bound >= math.fsum(lengths) - 1e-3


@settings(max_examples=60, deadline=None)
@given(st.lists(st.floats(20, 140, allow_nan=False), min_size=1, max_size=6), price_lists)
def test_the_bound_is_never_above_the_true_optimum_and_the_plan_is_near_it(lengths, prices):
    cost = {length: float(p) for length, p in prices.items()} if prices else {length: length for length in YARD}
    least = least_possible(lengths, cost, KERF, TRIM)
    planned = cut(lengths, lumber(prices=prices))

    assert planned.bound <= least + 1e-6
    # Six pieces or fewer: one stick more than needed is the worst that best fit and the dive have to answer for.
    assert least - 1e-6 <= planned.bought <= 1.12 * least


@pytest.mark.parametrize("lengths, bought", [
    ([95.75], 96),                        # 95 3/4 and 1/4 of trim fill a 96 to the last 64th
    ([95.8], 120),                        # a hair more does not fit
    ([47.875, 47.75], 96),                # two pieces, one kerf, one trim: 47.875 + 47.75 + .125 + .25 = 96
    ([47.875, 47.876], 120),              # a thousandth over
    ([71.8125] * 2 + [71.8125] * 2, 288),  # two 144s, each filled: 2 x 71.8125 + .125 + .25 = 144
    ([31.75] * 3, 96),                    # 95.25 + 2 kerfs + trim = 95.75
])
def test_kerf_lies_between_cuts_and_trim_comes_once_a_stick(lengths, bought):
    planned = cut(lengths)
    assert planned.bought == bought == planned.bound
    assert planned.measure == "length"


def test_dear_long_sticks_are_left_at_the_yard():
    # Two 70s go into one 144 by length; where a 144 costs more than two 96s, the short ones are bought.
    prices = {96: "8.00", 120: "12.00", 144: "17.00", 168: "20.00", 192: "24.00"}
    assert cut([70, 70]).counts == {144.0: 1}
    planned = cut([70, 70], lumber(prices=prices))
    assert planned.counts == {96.0: 2}
    assert (planned.bought, planned.bound, planned.measure) == (16.0, 16.0, "cost")


def test_a_list_that_best_fit_alone_gets_wrong_is_planned_at_the_optimum():
    # 10 ft sticks only. Best fit pairs 60 with 50 and strands the 30s; 60+30+29 and 50+40+29 fill two sticks.
    lengths = [60, 50, 40, 30, 29, 29]
    planned = cut(lengths, lumber([120.0]))
    assert planned.counts == {120.0: 2}


def test_a_missing_price_makes_the_cost_go_by_length():
    assert cut([90, 90], lumber(prices={96: "8.00", 120: "11.00"})).measure == "length"
    assert cut([90, 90], lumber([96.0], prices={96: "0.00"})).measure == "length"


def test_a_piece_longer_than_every_stick_is_refused_with_the_stick_it_needs():
    words = r"member J2 piece 1 needs a stick of 192\.05 in .* is 192\.00 in"
    with pytest.raises(PieceTooLong, match=words) as refused:
        cut([100, 191.8, 191.7])
    assert refused.value.piece.owner == "J2"
    assert refused.value.longest == 192.0
    with pytest.raises(PieceTooLong):
        cut([12], lumber([]))


def test_a_piece_without_length_and_a_negative_kerf_are_refused():
    with pytest.raises(ValueError, match="J1 piece 1 has a length of 0"):
        cut([0])
    with pytest.raises(ValueError, match="kerf -0.1"):
        cut([10], kerf=-0.1)


def test_nothing_to_cut_buys_nothing():
    planned = plan([], lumber(), kerf=KERF, trim=TRIM)
    assert (planned.sticks, planned.bought, planned.bound, planned.gap_percent) == ((), 0.0, 0.0, 0.0)


def test_rows_name_every_piece_and_stand_long_sticks_first_with_like_settings_together():
    pieces = [Piece("B1", "board", 1, 160.0), Piece("B2", "board", 1, 100.0), Piece("B3", "board", 1, 160.0)]
    stock = Stock("decking/hardwood 5/4x6", "5/4x6", (120.0, 168.0))
    rows = plan(pieces, stock, kerf=KERF, trim=TRIM).stock_plan()
    assert [row["length"] for row in rows] == [168.0, 168.0, 120.0]
    assert [[c["board"] for c in row["cuts"]] for row in rows] == [["B1"], ["B3"], ["B2"]]
    assert rows[0] == {
        "item": "decking/hardwood 5/4x6", "size": "5/4x6", "length": 168.0, "count": 1,
        "cuts": [{"board": "B1", "piece": 1, "length": 160.0, "nested_with": None}],
        "offcut": 7.625,  # 168 - 160 - 1/4 trim - 1/8 for the cut that frees it
    }


def test_the_bound_row_states_what_was_bought_against_what_cannot_be_beaten():
    # 100 and 100 cannot share a 192, nor 100 fit a 96: two 120s, and no plan can do with less.
    assert cut([100, 100]).stock_bound() == {
        "item": "lumber/2x8", "bought": 240.0, "bound": 240.0, "gap_percent": 0.0, "measure": "length",
    }


def test_the_same_list_gives_the_same_plan_every_time():
    lengths = [12 + (37 * n) % 83 + n / 7 for n in range(40)]
    assert cut(lengths) == cut(lengths)


def test_metric_sticks_are_bounded_by_whole_sticks():
    # Three pieces of 1.1 m and the saw need 3.31 m; of 2.4, 3.0 and 3.6 m the least that sums to as much is 3.6 m.
    mm = 1 / 25.4
    planned = cut([1100 * mm] * 3, lumber([2400 * mm, 3000 * mm, 3600 * mm]))
    assert planned.bought == pytest.approx(3600 * mm)
    assert planned.bound == pytest.approx(3600 * mm, abs=1e-3)


def test_sixty_short_pieces_come_within_two_percent_of_the_bound():
    # Best fit alone stays at about 2.2 % on such lists; measured, no published figure.
    lengths = [12 + (61.7 * n) % 83 for n in range(60)]
    assert cut(lengths).gap_percent < 2.0


def test_order_of_the_pieces_does_not_change_what_is_bought():
    lengths = [31.0, 77.5, 64.25, 90.0, 18.5, 44.0]
    assert {cut(p).bought for p in itertools.islice(itertools.permutations(lengths), 0, 720, 97)} == {336.0}


def test_one_piece_more_leaves_most_sticks_as_they_were():
    # Boards come in few lengths. Share of sticks that have the same length and cuts of the same lengths as before.
    lengths = [67.5] * 12 + [81.25] * 9 + [112.0] * 15 + [139.875] * 8 + [44.0] * 10
    before = cut(lengths, stock(DEARER))
    for more in (47.25, 67.5, 90.0, 150.0):
        assert kept_sticks(before, cut([*lengths, more], stock(DEARER))) >= 0.75


def test_a_long_list_with_many_lengths_keeps_half_its_sticks_where_long_ones_are_dearer():
    lengths = random_lengths(150, 96.0, 1)
    assert kept_sticks(cut(lengths, stock(DEARER)), cut([*lengths, 47.25], stock(DEARER))) >= 0.5


def test_three_hundred_pieces_of_any_length_come_within_a_fifth_of_a_percent():
    planned = cut([12 + (61.7 * n) % 83 for n in range(300)], stock(DEARER))
    assert planned.bought <= planned.relaxed * 1.002
    assert planned.relaxed <= planned.bound <= planned.bought


@pytest.mark.parametrize("prices", [None, DEARER], ids=["by length", "long sticks dearer"])
def test_three_hundred_short_pieces_are_planned_by_a_bounded_number_of_solves_and_say_their_gap(monkeypatch, prices):
    """Pieces of 1 to 44 in, of which a stick holds dozens: a solve of these takes some 10 to 20 ms."""
    solves = []
    monkeypatch.setattr(stick_programme, "linprog", lambda *words, **more: solves.append(1) or solve(*words, **more))
    solve = linprog
    lengths = np.random.default_rng(0).integers(16, 44 * 16, 300, endpoint=True) / 16
    planned = cut(lengths, stock(prices))
    assert len(solves) <= 250
    assert sum(len(s.cuts) for s in planned.sticks) == 300
    assert planned.relaxed <= planned.bound <= planned.bought <= planned.bound * 1.01


def test_a_plan_that_a_tree_of_programmes_deals_writes_nothing_to_the_process_s_output(capfd):
    lengths = random_lengths(60, 96.0, 7)
    assert cut(lengths, stock(DEARER)).bought > 0
    assert capfd.readouterr() == ("", "")
