"""Tests of the trials of the job: hours by closed forms, culls stick by stick, shares of variance."""

import numpy as np
import pytest

from framing.engine.job_trials import contributions, count_shims, culls_at, draw_hours, draw_sticks
from framing.reference.risk import TASKS_TOGETHER

TRIALS = 40_000


def task(name, quantity, rate, unit="EA", factor=1.0, ends=None):
    low, high = ends or (rate, rate)
    return {"task": name, "quantity": quantity, "unit": unit, "hours_per_unit": rate, "low": low, "high": high,
            "factor": factor, "hours": quantity * rate * factor}


def sticks(item, good, spare, feet):
    return {"item": item, "unit": "LF", "order_unit": "EA", "net": good * feet * 0.9, "waste": good * feet * 0.1,
            "spare": spare * feet, "pack": feet, "order": good + spare}


# --- hours


def mean_and_sd(low, typical, high):
    """Of a triangular law, from its ends and peak."""
    return (low + typical + high) / 3, np.sqrt(
        (low**2 + typical**2 + high**2 - low * typical - low * high - typical * high) / 18)


RATES = {"set-pads": (0.06, 0.09, 0.15), "deck-hidden": (0.08, 0.10, 0.14), "block": (0.08, 0.12, 0.20)}
ENDS = {name: (low, high) for name, (low, _, high) in RATES.items()}
LABOR = [task(name, quantity, RATES[name][1], factor=factor, ends=ENDS[name])
         for name, quantity, factor in (("set-pads", 100, 1.2), ("deck-hidden", 300, 1.0), ("block", 50, 1.0))]


def test_hours_of_a_task_have_the_mean_and_spread_of_the_triangle_that_its_rates_make():
    drawn = draw_hours(LABOR, (), TRIALS, 1)
    for row, hours in zip(LABOR, drawn.hours, strict=True):
        mean, sd = (v * row["quantity"] * row["factor"] for v in mean_and_sd(*RATES[row["task"]]))
        assert hours.mean() == pytest.approx(mean, abs=4 * sd / np.sqrt(TRIALS))
        assert hours.std() == pytest.approx(sd, rel=0.02)
        low, high = (v * row["quantity"] * row["factor"] for v in ENDS[row["task"]])
        assert low <= hours.min() and hours.max() <= high


def test_the_total_varies_as_tasks_that_run_late_together():
    """Var(sum) = sum of variances and of all covariances; the correlation of the scores is nearly that of the hours."""
    drawn = draw_hours(LABOR, (), TRIALS, 1)
    sd = np.array([mean_and_sd(*RATES[r["task"]])[1] * r["quantity"] * r["factor"] for r in LABOR])
    together = np.full((3, 3), TASKS_TOGETHER) + (1 - TASKS_TOGETHER) * np.eye(3)
    assert np.corrcoef(drawn.hours) == pytest.approx(together, abs=0.03)
    assert drawn.total.std() == pytest.approx(np.sqrt(sd @ together @ sd), rel=0.02)


def test_a_task_whose_low_is_its_high_takes_the_hours_that_are_planned():
    drawn = draw_hours([*LABOR, task("own task", 7, 0.5)], (), 100, 1)
    assert (drawn.hours[-1] == 3.5).all()


def test_cleaning_up_goes_with_the_hours_of_all_other_tasks():
    drawn = draw_hours([*LABOR, task("clean-up", 47.4, 0.045, "HUR")], (), 100, 1)
    assert drawn.hours[-1] == pytest.approx(0.045 * drawn.hours[:-1].sum(axis=0))


def test_a_further_task_leaves_the_trials_of_those_before_it():
    one, more = draw_hours(LABOR[:2], (), 50, 1), draw_hours(LABOR, (), 50, 1)
    assert (one.hours == more.hours[:2]).all()


def factor(name, low, value, high):
    return {"name": name, "low": low, "value": value, "high": high}


def test_a_difficulty_is_drawn_once_for_all_tasks_and_stands_in_for_the_value_that_was_planned():
    stairs = factor("stair-carry", 1.15, 1.25, 1.35)
    labor = [task(r["task"], r["quantity"], r["hours_per_unit"], factor=1.25) for r in LABOR]
    plain, hard = draw_hours(labor, (), TRIALS, 1), draw_hours(labor, [stairs], TRIALS, 1)
    times = hard.hours / plain.hours
    assert np.ptp(times, axis=0).max() < 1e-12
    mean, sd = mean_and_sd(1.15, 1.25, 1.35)
    assert times[0].mean() == pytest.approx(mean / 1.25, abs=4 * sd / np.sqrt(TRIALS))
    assert times[0].std() == pytest.approx(sd / 1.25, rel=0.02)
    assert contributions(hard.total, hard.sources)[0][:2] == ("difficulty stair-carry", pytest.approx(1, abs=0.02))


def test_difficulties_together_are_held_to_the_cap():
    factors = [factor("a", 1.2, 1.3, 1.4), factor("b", 1.2, 1.3, 1.4)]
    drawn = draw_hours([task("set-pads", 10, 0.1, factor=1.6)], factors, 5000, 1)  # 1.3 x 1.3 = 1.69 held to 1.6
    assert drawn.hours.max() == pytest.approx(1.6) and 1.44 < drawn.hours.min() < 1.5


def test_a_difficulty_that_the_build_gives_does_not_vary():
    drawn = draw_hours([task("set-pads", 10, 0.1, factor=1.2)], [factor("stairs", 1.2, 1.2, 1.2)], 50, 1)
    assert drawn.hours == pytest.approx(np.full((1, 50), 1.2)) and "difficulty stairs" not in drawn.sources


def test_no_task_takes_no_hours():
    assert (draw_hours([], (), 10, 1).total == 0).all()


# --- sticks


def test_culls_are_those_of_a_crew_that_takes_sticks_until_enough_are_good():
    random = np.random.default_rng(5)
    good, share, trials = 20, 0.05, 4000
    bad = random.random((trials, 80)) < share
    counted = np.array([np.flatnonzero(np.cumsum(~row) == good)[0] + 1 - good for row in bad])
    found = culls_at(random.random(trials), good, share)
    for most in range(4):
        p = (counted <= most).mean()
        assert (found <= most).mean() == pytest.approx(p, abs=6 * np.sqrt(p * (1 - p) / trials))


def test_a_spare_stick_stands_in_for_its_own_length_and_shorter_ones_and_for_no_longer():
    share = {"lumber/2x8/192": 0.3, "lumber/2x8/144": 0.3, "lumber/2x6/96": 0.3}
    rows = [sticks("lumber/2x8/144", 10, 0, 12), sticks("lumber/2x8/192", 5, 2, 16), sticks("lumber/2x6/96", 4, 0, 8)]
    drawn = draw_sticks(rows, share, 500, 1)
    at = {item: k for k, item in enumerate(drawn.items)}
    culled = {r["item"]: drawn.needs[at[r["item"]]] - r["order"] + round(r["spare"] / r["pack"]) for r in rows}
    long, short = (culled[f"lumber/2x8/{v}"] for v in (192, 144))
    assert (drawn.short[at["lumber/2x8/192"]] == np.maximum(long - 2, 0)).all()
    assert (drawn.short[at["lumber/2x8/144"]] == np.maximum(short - np.maximum(2 - long, 0), 0)).all()
    assert (drawn.short[at["lumber/2x6/96"]] == culled["lumber/2x6/96"]).all()
    assert long.max() > 2 and short.max() > 0


def test_what_is_not_culled_is_not_drawn():
    assert draw_sticks([sticks("decking/composite/192", 9, 1, 16)], {}, 10, 1).items == ()


# --- shims in packs


def test_shims_are_short_by_the_packs_that_the_order_lacks():
    rows = [{"item": "support/shim/0.125", "pack": 25, "order": 2}]
    found = count_shims(rows, {"support/shim/0.125": [50, 51, 0], "support/shim/0.25": [0, 3, 1]})
    assert found.needs.tolist() == [[2, 3, 0], [0, 3, 1]]
    assert found.short.tolist() == [[0, 1, 0], [0, 3, 1]]


# --- where it comes from


def test_shares_are_the_squares_of_the_weights_of_a_sum():
    random = np.random.default_rng(2)
    parts = {name: random.standard_normal(20_000) for name in "abc"}
    answer = 3 * parts["a"] + 4 * parts["b"] + 7
    found = {name: share for name, share, _ in contributions(answer, parts)}
    assert found == pytest.approx({"b": 16 / 25, "a": 9 / 25, "c": 0}, abs=0.02)
    assert list(found) == ["b", "a", "c"]


def test_an_answer_that_does_not_vary_comes_from_nothing():
    assert contributions(np.full(50, 12.0), {"a": np.arange(50.0)}) == []


def test_a_source_that_does_not_vary_is_not_named():
    assert contributions(np.arange(50.0), {"a": np.full(50, 1.0)}) == []
