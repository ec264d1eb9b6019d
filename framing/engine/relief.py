"""Local humps and lows of the roof: kept in its surface where more than one reading shows them.

A part of the roof stage. A hump is drawn as an eight-sided mound with a flat top, so that the roof stays made of
planes: whatever is fitted to it needs to look at its creases only.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from shapely import LinearRing, LineString

from framing.engine.plane_sets import EVIDENCE, WILD

Array = NDArray[np.float64]
Bools = NDArray[np.bool_]

SIDES = 8
FARTHEST_FOOT = 24.0  # a hump that nothing bounds ends here [in]: common practice, a blister or a seam is not wider
STANDS_OFF = 2.0  # readings further off the planes, some of them together, may stand on a hump [standard errors]
ROUNDS = 5
LEAST_FOOT = 3.0  # ... and falls off over no less than this beyond its readings [in]

_FACING = np.column_stack([np.cos(np.arange(SIDES) * 2 * np.pi / SIDES), np.sin(np.arange(SIDES) * 2 * np.pi / SIDES)])
_CORNER = np.arange(SIDES) * 2 * np.pi / SIDES + np.pi / SIDES


@dataclass(frozen=True)
class Mound:
    """A hump (`rise` > 0) or low [in] round `at`, whole within `top` of it and gone from `foot` on [in].

    `top` and `foot` are the distances of an octagon's sides from its middle; `se` is the rise's standard error [in].
    """

    at: tuple[float, float]
    rise: float
    top: float
    foot: float
    se: float

    def share(self, xy: Array) -> Array:
        """How much of the rise stands at (n, 2) places -> (n,), 0 to 1."""
        away = ((np.atleast_2d(xy) - self.at) @ _FACING.T).max(axis=1)
        return np.asarray(np.clip((self.foot - away) / (self.foot - self.top), 0.0, 1.0))

    def as_json(self) -> dict[str, Any]:
        return {"at": list(self.at), "rise": self.rise, "top": self.top, "foot": self.foot, "se": self.se}

    def creases(self) -> list[LineString | LinearRing]:
        """The lines in which the mound bends [in]."""
        out = np.column_stack([np.cos(_CORNER), np.sin(_CORNER)]) / np.cos(np.pi / SIDES)
        rings = [np.array(self.at) + r * out for r in (self.top, self.foot)]
        slopes = [LineString([a, b]) for a, b in zip(*rings, strict=True)]
        return [*(LinearRing(r) for r, width in zip(rings, (self.top, self.foot), strict=True) if width > 0), *slopes]


def find_humps(xy: Array, fitted: Callable[[Bools], Array | None], evidence: float = EVIDENCE) -> list[list[int]]:
    """Groups of readings that stand off the planes together: those that take more than `evidence` each off the cost.

    `fitted` fits the planes to the readings in use (n,) and gives how far all readings stand off them, (n,) [standard
    errors]; None where those fix no planes. What stands on a hump is left out of the fit in turn, since it lifts the
    planes and hides the rest.
    """
    if (off := fitted(np.ones(len(xy), bool))) is None:
        return []
    best: list[list[int]] = []
    least = cost_of(off, best)
    for _ in range(ROUNDS):
        groups = _off_together(xy, off)
        use = np.ones(len(xy), bool)
        use[[i for group in groups for i in group]] = False
        if use.all() or (off := fitted(use)) is None:
            break
        if (cost := cost_of(off, groups) + evidence * len(groups)) < least:
            best, least = groups, cost
    return best


def cost_of(off: Array, humps: Sequence[Sequence[int]]) -> float:
    """The sum of squares of how far readings stand off, `off` (n,), wild ones no more than wild; on a hump, off it."""
    plain = np.delete(off, [i for group in humps for i in group])
    within = [((off[list(group)] - off[list(group)].mean()) ** 2).sum() for group in humps]
    return float(np.minimum(plain**2, WILD**2).sum() + sum(within))


def _off_together(xy: Array, off: Array) -> list[list[int]]:
    """Two readings and more that stand off to one side, each round the one of them that does most."""
    groups: list[list[int]] = []
    left = np.abs(off) > STANDS_OFF
    for worst in np.argsort(-np.abs(off), kind="stable"):
        if left[worst]:
            group = left & (np.hypot(*(xy - xy[worst]).T) <= FARTHEST_FOOT) & (off * off[worst] > 0)
            left &= ~group
            groups += [np.flatnonzero(group).tolist()] if group.sum() > 1 else []
    return groups


def raise_mounds(groups: list[list[int]], xy: Array, offset: Array, sigma: float) -> tuple[Mound, ...]:
    """A mound for every group of readings that agree; it ends where the nearest other reading shows the plain roof.

    Parameters
    ----------
    groups : numbers of readings
    xy, offset : ndarray, shapes (n, 2) and (n,)
        Places of all readings and how far each stands above the planes. [in]
    sigma : standard error of one reading [in]
    """
    mounds = []
    for group in groups:
        at = xy[group].mean(axis=0)
        top = float(((xy[group] - at) @ _FACING.T).max())
        others = np.delete(xy, group, axis=0)
        bound = float(np.hypot(*(others - at).T).min(initial=FARTHEST_FOOT))
        foot = max(min(bound, FARTHEST_FOOT), top + LEAST_FOOT)
        mounds.append(Mound((float(at[0]), float(at[1])), float(offset[group].mean()), top, foot,
                            sigma / float(np.sqrt(len(group)))))
    return tuple(mounds)
