"""Roofs whose truth is known, read with errors: whether it lies where the trials of the readings say."""

from __future__ import annotations

import numpy as np

from framing.engine import stack_trials
from framing.engine.pads import Support
from framing.engine.shims import nearest_sum, shim_sums
from framing.engine.uncertainty import percentiles
from tests.framing.odd_roofs import odd_build, odd_survey
from tests.framing.staged import stages

ROOM = [(0.0, 0.0), (240.0, 0.0), (240.0, 180.0), (0.0, 180.0)]
SIGMA = 1 / 16
SILL, UNDER = -2.0, 4.0  # [in]
ONE, THREE = [(120.0, 0.0)], [(102.0, 0.0), (120.0, 0.0), (138.0, 0.0)]


def roof_at(x, y):
    """A low ridge along x = 120, eight inches under the datum. [in]"""
    return -8.0 - 0.015 * np.abs(x - 120) - 0.003 * y


def one(seed: int, door: list[tuple[float, float]], trials: int = 1000) -> tuple[bool, bool]:
    """Whether what the true roof takes lies from p10 to p90: the shims' height under a grid of pads, the least gap."""
    random = np.random.default_rng(seed)
    survey = odd_survey(ROOM, roof_at, lines=[("ridge", [(120, 6), (120, 90), (120, 174)])], door=door, sill=SILL,
                        level_sigma=SIGMA)
    for level in survey["levels"]:
        x, y = survey["positions"][level["point"]]
        true = SILL if level["on"] == "threshold" else float(roof_at(x, y))
        level["drop"] = -true + random.normal(0, SIGMA)
    s = stages(survey, odd_build())
    if len(s.roof.facets) != 2:
        raise ValueError(f"seed {seed}: {len(s.roof.facets)} facets were found; the ridge was given")
    x, y = (v.ravel() for v in np.meshgrid(np.arange(15.0, 240, 30), np.arange(15.0, 180, 30)))
    at = np.c_[x, y]
    sums, made = shim_sums(tuple(s.build.supports.shim_sizes), s.build.supports.shim_most)
    planned = s.plane.height(at) - UNDER - s.roof.height(at)
    pads = [Support("J", 0.0, (float(a), float(b)), 0.0, 0.0, 0.0, float(v), 0.0, (), (4.0, 4.0))
            for (a, b), v in zip(at, planned, strict=True)]
    moves = stack_trials.draw(s.survey, s.build, s.adjusted, s.plane, s.roof, trials, seed)
    sizes = np.array(s.build.supports.shim_sizes)
    height = percentiles(stack_trials.stacks(moves, pads, s.build).shims @ sizes)
    lift = np.concatenate([v for _, v in moves.lifts(moves.rows(at), planned)])
    gap = percentiles(lift[:, 0])

    true = SILL - s.build.surface.reveal - UNDER - roof_at(x, y)
    took = float((made[nearest_sum(sums, true)] @ sizes).sum())
    return height["p10"] <= took <= height["p90"], gap["p10"] <= true[0] <= gap["p90"]


def covered(count: int, doors: list[tuple[float, float]] = ONE) -> np.ndarray:
    """Share of `count` roofs whose shims' height and first pad's height lie from p10 to p90.

    The sill is level and read at these places.
    """
    return np.array([one(seed, doors) for seed in range(count)]).mean(axis=0)
