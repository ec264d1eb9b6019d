"""Laws behind the trials, against scipy's own: triangular, negative binomial, and the sums that cost guides warn of."""

import numpy as np
import pytest
from scipy import stats

from framing.engine.job_trials import culls_at, draw_hours, triangular
from framing.engine.uncertainty import percentiles
from framing.reference.production import RATES

U = np.linspace(0.001, 0.999, 333)


@pytest.mark.parametrize("task", sorted(RATES))
def test_triangular_quantiles_are_scipys(task):
    """scipy.stats.triang: peak at c of the way from loc to loc + scale."""
    rate = RATES[task]
    law = stats.triang((rate.typical - rate.low) / (rate.high - rate.low), rate.low, rate.high - rate.low)
    found = triangular(U, *(np.array(v) for v in (rate.low, rate.typical, rate.high)))
    assert found == pytest.approx(law.ppf(U), rel=1e-9)


@pytest.mark.parametrize(("low", "typical", "high"), [(1, 1, 3), (1, 3, 3), (2, 2, 2)])
def test_triangles_that_have_lost_a_side_keep_their_quantiles(low, typical, high):
    found = triangular(U, *(np.array(float(v)) for v in (low, typical, high)))
    span = high - low
    expected = stats.triang((typical - low) / span, low, span).ppf(U) if span else np.full(len(U), low)
    assert found == pytest.approx(expected, rel=1e-9)


@pytest.mark.parametrize(("good", "share"), [(1, 0.05), (20, 0.05), (44, 0.04), (400, 0.05), (20, 0.4)])
def test_culls_before_so_many_good_sticks_are_scipys_negative_binomial(good, share):
    assert (culls_at(U, good, share) == stats.nbinom(good, 1 - share).ppf(U)).all()


@pytest.mark.parametrize(("good", "share", "most"), [(20, 0.05, 1), (44, 0.04, 3), (10, 0.3, 2)])
def test_enough_sticks_are_good_as_often_as_the_binomial_law_says(good, share, most):
    """So many good ones are found with at most k culls exactly where of the first n + k at most k are culled."""
    often = (culls_at(np.linspace(0, 1, 200_001), good, share) <= most).mean()
    assert often == pytest.approx(stats.binom(good + most, share).cdf(most), abs=1e-4)


@pytest.mark.parametrize("count", [1000, 997, 10])
def test_percentiles_are_the_inverse_of_the_trials_own_distribution(count):
    """Hyndman and Fan, The American Statistician 50, 1996, definition 1: what numpy calls the inverted cdf."""
    values = np.random.default_rng(count).normal(size=count)
    expected = np.percentile(values, [10, 50, 90], method="inverted_cdf")
    assert list(percentiles(values).values()) == expected.tolist()


def test_most_likely_hours_that_are_added_up_are_not_the_most_likely_sum():
    """Rates with the longer side high: the sum's mean lies over the sum of the peaks (GAO-20-195G, chapter on risk:
    adding most likely costs gives no most likely total). Mean of a triangle: a third of its three points."""
    tasks = ("set-pads", "set-members", "deck-hidden")
    labor = [{"task": t, "quantity": 100, "unit": "EA", "hours_per_unit": RATES[t].typical, "low": RATES[t].low,
              "high": RATES[t].high, "factor": 1} for t in tasks]
    total = draw_hours(labor, (), 40_000, 1).total
    peaks = sum(100 * RATES[t].typical for t in tasks)
    mean = sum(100 * (RATES[t].low + RATES[t].typical + RATES[t].high) / 3 for t in tasks)
    assert total.mean() == pytest.approx(mean, rel=3e-3) and total.mean() > 1.03 * peaks
