"""Tests of the trials: the same seed the same numbers, wider errors wider bands, chances against the normal law."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import norm

from framing.engine.uncertainty import vary
from tests.framing.odd_roofs import odd_build, odd_survey
from tests.framing.staged import stages

ROOM = [(0, 0), (192, 0), (192, 128), (0, 128)]
TIGHT = {"least": 0.75, "target": 0.875, "most": 1.5}


def tried(level_sigma=0.0625, sill_error=0.03, **build):
    staged = stages(odd_survey(ROOM, level_sigma=level_sigma), odd_build(supports__clear_gap=TIGHT, **build))
    frame = staged.frame()
    return staged, frame, vary(staged.build, staged.plane, staged.roof, frame.members, frame.supports, sill_error)


def spread(answer):
    return sum(v["p90"] - v["p10"] for v in answer["shims"].values())


def test_the_same_seed_gives_the_same_numbers():
    assert tried()[-1] == tried()[-1]


def test_trials_and_seed_are_told():
    answer = tried()[-1]
    assert answer["trials"] >= 500 and isinstance(answer["seed"], int)


def test_percentiles_are_in_order():
    answer = tried()[-1]
    for band in (*answer["shims"].values(), *answer["quantities"].values()):
        assert 0 <= band["p10"] <= band["p50"] <= band["p90"]


def test_a_worse_level_gives_a_wider_band():
    widths = [spread(tried(level_sigma=s, sill_error=s / 2)[-1]) for s in (0.01, 0.0625, 0.25)]
    assert widths == sorted(widths) and widths[0] < widths[-1]


def exact(staged):
    """The stages with a roof that is known without error."""
    return replace(staged.roof, covariance=np.zeros_like(staged.roof.covariance))


def test_without_error_every_trial_counts_the_shims_in_the_stacks():
    staged, frame, _ = tried()
    answer = vary(staged.build, staged.plane, exact(staged), frame.members, frame.supports, 0.0)
    for size in staged.build.supports.shim_sizes:
        in_stacks = sum(p.shims.count(size) for p in frame.supports)
        assert answer["shims"][f"{size:g}"] == {"p10": in_stacks, "p50": in_stacks, "p90": in_stacks}
    assert answer["gap_below_least"] == 0


@pytest.mark.parametrize("sill_error", [0.05, 0.1, 0.2])
def test_the_chance_of_too_little_gap_follows_the_normal_law(sill_error):
    """With the roof known, the whole deck moves with the sill: the least gap falls short where the sill stands lower
    than by its margin. 1,000 trials of chance p scatter by sqrt(p (1 - p) / 1000); four of those are allowed."""
    staged, frame, _ = tried()
    build, roof = staged.build, exact(staged)
    answer = vary(build, staged.plane, roof, frame.members, frame.supports, sill_error)
    margin = np.inf
    for m in frame.members:
        s = np.linspace(0, m.line.length, 200)
        xy = m.line.at(s)
        gap = staged.plane.height(xy) - build.decking.thickness - m.depth(s) - roof.height(xy)
        margin = min(margin, gap.min() - 0.75)
    p = norm.cdf(-margin / sill_error)
    assert answer["gap_below_least"] == pytest.approx(p, abs=4 * np.sqrt(p * (1 - p) / 1000) + 1e-3)


def test_the_middle_of_the_trials_is_near_the_plans_own_count():
    staged, frame, answer = tried(level_sigma=0.01, sill_error=0.005)
    for size in staged.build.supports.shim_sizes:
        planned = sum(p.shims.count(size) for p in frame.supports)
        assert abs(answer["shims"][f"{size:g}"]["p50"] - planned) <= max(6, 0.25 * planned)


def test_nothing_to_shim_gives_no_bands():
    staged, frame, _ = tried()
    answer = vary(staged.build, staged.plane, staged.roof, frame.members, (), 0.03)
    assert answer["shims"] == {} and answer["quantities"] == {}


def test_the_global_random_state_is_left_alone():
    np.random.seed(5)
    before = np.random.get_state()[1].copy()
    tried()
    assert (np.random.get_state()[1] == before).all()
