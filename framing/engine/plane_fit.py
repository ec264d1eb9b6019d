"""Planes by weighted least squares, and what the other readings say against each one.

A part of the roof stage.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]



@dataclass(frozen=True)
class PlaneFit:
    """A least-squares fit: parameters, residuals, redundancy numbers.

    `gain` (parameters, n) is how far one standard error of each reading, as its weight has it, moves the parameters
    where a reading of weight 1 has the standard error 1; `gain @ gain.T` is the parameters' covariance.
    """

    x: Array
    residual: Array
    redundancy: Array
    gain: Array
    free: int  # parameters that no reading fixes


def least_squares(rows: Array, z: Array, basis: Array, weight: Array | NDArray[np.bool_]) -> PlaneFit:
    """Planes in the span of `basis` that fit z by `weight` (n,); readings of no weight are only held against them."""
    a, root = rows @ basis, np.sqrt(np.asarray(weight, float))
    u, s, vt = np.linalg.svd(a * root[:, None], full_matrices=False)
    keep = s > 1e-9 * max(1.0, s[0] if s.size else 1.0)
    free = basis.shape[1] - int(keep.sum())
    inverse = (vt[keep].T / s[keep]) @ u[:, keep].T
    y = inverse @ (z * root)
    q = (vt[keep].T / s[keep] ** 2) @ vt[keep]
    leverage = np.einsum("ij,jk,ik->i", a, q, a)
    redundancy = np.where(root > 0, 1 - root**2 * leverage, 1 + leverage)
    return PlaneFit(basis @ y, z - a @ y, redundancy, basis @ inverse, free)


def against_the_others(fit: PlaneFit, use: NDArray[np.bool_], sigma: float) -> tuple[Array, Array]:
    """How far each reading stands above the roof that the other readings show [in], and in its standard errors.

    Nought where the others hardly check it.
    """
    checked = fit.redundancy > 0.1
    r = np.where(use, np.maximum(fit.redundancy, 0.1), 1.0)
    offset = np.where(checked, fit.residual / r, 0.0)
    spread = sigma * np.where(use, 1 / np.sqrt(r), np.sqrt(np.maximum(fit.redundancy, 1.0)))
    return offset, np.abs(offset) / spread


def rms(residual: Array) -> float:
    return float(np.sqrt(np.mean(residual**2))) if residual.size else 0.0
