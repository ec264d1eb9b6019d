"""Local humps and lows of the roof: kept in its surface where more than one reading shows them.

A part of the roof stage. A hump is drawn as an eight-sided mound with a flat top, so that the roof stays made of
planes: whatever is fitted to it needs to look at its creases only.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from shapely import LinearRing, LineString

Array = NDArray[np.float64]

SIDES = 8
FARTHEST_FOOT = 24.0  # a hump that nothing bounds ends here [in]: common practice, a blister or a seam is not wider
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
