"""How sure the counts are: seeded trials of the roof and the sill within the survey's standard errors.

Handed its inputs by design.py. Every trial draws the roof's planes and the threshold, and shims the same pads anew.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from framing.engine.documents import Build
from framing.engine.members import Member, kinks
from framing.engine.pads import Support
from framing.engine.plane import Plane
from framing.engine.roof import Roof, design_rows
from framing.engine.shims import nearest_sum, shim_sums

Array = NDArray[np.float64]

TRIALS, SEED = 1000, 20260301


def vary(build: Build, plane: Plane, roof: Roof, members: Sequence[Member], supports: Sequence[Support],
         sill_error: float) -> dict[str, Any]:
    """Percentiles of shims by size, and the chance that the clear gap falls below the least somewhere.

    `sill_error` is the standard error of the governing threshold [in].
    """
    rng = np.random.default_rng(SEED)
    draw = rng.multivariate_normal(np.zeros(len(roof.covariance)), roof.covariance, TRIALS, method="svd")
    sill = rng.normal(0.0, sill_error, TRIALS)[:, None]

    def moved(xy: Array) -> Array:
        """How much higher the deck stands over the roof than was reckoned, (trials, n) [in]."""
        rows = design_rows(xy, roof.facet_at(xy), len(roof.facets))
        return np.asarray(sill - draw @ rows.T)

    shims: dict[str, dict[str, float]] = {}
    if supports:
        at = np.array([s.at for s in supports])
        wanted = np.array([s.shim + s.residual for s in supports]) + moved(at)
        sums, made = shim_sums(tuple(build.supports.shim_sizes), build.supports.shim_most)
        nearest = nearest_sum(sums, wanted)
        for j, size in enumerate(build.supports.shim_sizes):
            shims[f"{size:g}"] = _percentiles(made[nearest, j].sum(axis=1))
    places = [(m, kinks(m.line, roof)) for m in members]
    gaps = np.concatenate([
        plane.height(m.line.at(s)) - build.decking.thickness - build.joists.tape_thickness - m.depth(s)
        - roof.height(m.line.at(s)) for m, s in places
    ]) if places else np.array([np.inf])
    xy = np.concatenate([m.line.at(s) for m, s in places]) if places else np.zeros((1, 2))
    least = (gaps + moved(xy)).min(axis=1)
    return {
        "trials": TRIALS, "seed": SEED, "shims": shims,
        "gap_below_least": float((least < build.supports.clear_gap.least - 1e-9).mean()),
        "quantities": {f"support/shim/{size}": spread for size, spread in shims.items() if spread["p90"] > 0},
    }


def _percentiles(counts: Array) -> dict[str, float]:
    p10, p50, p90 = np.percentile(counts, [10, 50, 90], method="inverted_cdf")
    return {"p10": float(p10), "p50": float(p50), "p90": float(p90)}
