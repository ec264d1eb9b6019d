"""Cutting lists against solvers that share no code with ours: OR-tools' CP-SAT, and arc flow solved by HiGHS.

No published cutting list has several stock lengths with prices, kerf and trim; so these are seeded, and counted only
where both solvers come to a proven end with the same cost. Bin packing proper has published sizes: Falkenauer's
triplets are built so that three pieces fill each stick, with no waste (E. Falkenauer, A hybrid grouping genetic
algorithm for bin packing, Journal of Heuristics 2 (1996), pp. 5-30): the optimum is the number of triplets.
"""

import numpy as np
import pytest

from framing.engine.cutting import plan
from tests.framing.cutting_cases import (
    DEARER,
    KERF,
    TRIM,
    best_fit_decreasing,
    by_arc_flow,
    by_cp_sat,
    costs,
    pieces_of,
    random_lengths,
    stock,
)


@pytest.mark.parametrize("seed", range(8))
def test_small_lists_are_cut_at_the_optimum_that_two_other_solvers_prove(seed):
    lengths = random_lengths(6 + seed % 4, (96.0, 192.0)[seed % 2], seed)
    yard = stock(DEARER if seed % 4 > 1 else None)
    least, bound = by_cp_sat(lengths, costs(yard), 60.0)
    assert least == pytest.approx(bound) == pytest.approx(by_arc_flow(lengths, costs(yard)))
    planned = plan(pieces_of(lengths), yard, kerf=KERF, trim=TRIM)
    assert planned.bought == pytest.approx(least)
    assert planned.bound <= least + 1e-6


@pytest.mark.parametrize("seed", range(3))
def test_falkenauers_triplets_fill_every_stick(seed):
    # Sticks of 1,000; the first of three from 380 to 490, the second from 250 to half of what is left, the third fills.
    deal = np.random.default_rng(seed)
    lengths = []
    for _ in range(20):
        first = int(deal.integers(380, 491))
        second = int(deal.integers(250, (1000 - first) // 2 + 1))
        lengths += [first, second, 1000 - first - second]
    planned = plan(pieces_of([v / 8 for v in lengths]), stock(lengths=[125.0]), kerf=0.0, trim=0.0)
    assert planned.bound == 20 * 125.0
    assert planned.counts == {125.0: 20}


@pytest.mark.parametrize("dear", [False, True], ids=["by length", "long sticks dearer"])
def test_sixty_short_pieces_come_within_half_a_percent_and_a_third_of_best_fit(dear):
    over, theirs = [], []
    for seed in range(2):
        lengths, yard = random_lengths(60, 96.0, seed), stock(DEARER if dear else None)
        planned = plan(pieces_of(lengths), yard, kerf=KERF, trim=TRIM)
        fitted = best_fit_decreasing(lengths, costs(yard))
        over.append(planned.gap_percent)
        theirs.append(100 * (fitted - planned.bound) / fitted)
    assert max(over) <= 0.5
    assert sum(over) <= sum(theirs) / 3
