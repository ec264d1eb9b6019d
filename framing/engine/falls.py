"""Which falls of the finished surface clear the roof: for every direction the falls that do, in closed form.

Stage: roof -> falls, for the plane's height budget. A surface that passes a reveal below the sills and falls f along
u stands at place x, under sill s, `(z_s - reveal) - f u.(x - s)` high: every pair of sill and place bounds f on one
side, so the falls that clear in one direction are an interval.
"""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]

HAIR = 1e-9


def unit_vectors(toward: ArrayLike) -> Array:
    """Directions [degrees] (n,) as unit vectors (n, 2)."""
    angle = np.radians(np.asarray(toward, float))
    return np.stack([np.cos(angle), np.sin(angle)], axis=-1)


def clearing_falls(toward: ArrayLike, sills: Array, places: Array, least: Array) -> tuple[Array, Array]:
    """The least and the most fall [in/in] that clears in each direction `toward` (n,) [degrees].

    Parameters
    ----------
    sills : shape (m, 3)
        Places of the threshold points and the height that the surface may reach there. [in]
    places : shape (k, 2)
        Where roof or deck bend: elsewhere the height is more. [in]
    least : shape (k,)
        Height that the surface must reach at each place. [in]

    Returns
    -------
    low, high : shape (n,)
        Both at least nothing; `low > high` where no fall in that direction clears. [in/in]
    """
    ways = unit_vectors(np.atleast_1d(toward))
    # f * drop <= room for every sill and place
    drop = (ways @ places.T)[:, None, :] - (ways @ sills[:, :2].T)[:, :, None]
    room = sills[:, 2][:, None] - least[None, :]
    flat = np.abs(drop) < HAIR
    share = room[None] / np.where(flat, 1.0, drop)
    high = np.where(~flat & (drop > 0), share, np.inf).min(axis=(1, 2))
    low = np.maximum(np.where(~flat & (drop < 0), share, -np.inf).max(axis=(1, 2)), 0.0)
    never = (flat & (room[None] < -HAIR)).any(axis=(1, 2))
    return np.where(never, np.inf, low), np.where(never, -np.inf, high)


def least_fall(falls: Iterable[float], toward: Array, sills: Array, places: Array, least: Array,
               ) -> tuple[float, float] | None:
    """The first of `falls` [in/ft] that clears in a direction of `toward` [degrees], and that direction.

    Of the directions in which it clears, one square to the survey's frame where there is one, else the one that
    leaves most height.
    """
    if not len(toward):
        return None
    low, high = clearing_falls(toward, sills, places, least)
    for per_ft in falls:
        f = per_ft / 12
        clear = np.flatnonzero((low <= f + HAIR) & (f <= high + HAIR))
        if len(clear):
            ways = unit_vectors(toward[clear])
            top = (sills[:, 2][None] + f * ways @ sills[:, :2].T).min(axis=1)  # the surface at the frame's origin
            spare = (top[:, None] - f * ways @ places.T - least[None]).min(axis=1)
            square = toward[clear] % 90 == 0
            best = int(np.argmax(np.where(square, spare + np.ptp(spare) + 1, spare)))
            return per_ft, float(toward[clear][best])
    return None
