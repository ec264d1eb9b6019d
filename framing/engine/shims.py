"""Shims and packers: what thicknesses those at hand make, and the sum that closes each stack.

Plane and members ask how far they reach; the supports stage closes its stacks with them.
"""

from __future__ import annotations

import math
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from framing.engine.documents import Build

Array = NDArray[np.float64]

SAME_SUM = 1e-5  # [in]
PACKER_STEP = 1 / 4  # packers are made in whole steps of this [in]: common practice
TYPED = 1e-3  # a limit typed as a decimal of a foot or a metre may fall short of a whole step by this [in]


@lru_cache(maxsize=64)
def shim_sums(sizes: tuple[float, ...], most: float) -> tuple[Array, NDArray[np.int_]]:
    """Every thickness that shims of `sizes` make up to `most`, rising (n,) [in], each made with the fewest shims.

    The second array (n, sizes) counts the shims of each size in it.
    """
    thick = np.array(sizes, float)
    one_more = np.eye(len(sizes), dtype=int)[np.argsort(-thick)]
    count = np.zeros((1, len(sizes)), int)
    total, kept = np.zeros(1), count
    while len(count):
        # one shim more on each of the last; sums nearer than a float's dust are one, the first made has the fewest
        made = (count[:, None, :] + one_more).reshape(-1, len(sizes))
        made = made[made @ thick <= most + SAME_SUM]
        _, first = np.unique(np.append(total, made @ thick).round(6), return_index=True)
        fresh = first[first >= len(total)] - len(total)
        fresh = fresh[np.abs(total[:, None] - made[fresh] @ thick).min(axis=0) > SAME_SUM]
        count = made[fresh]
        total, kept = np.append(total, count @ thick), np.append(kept, count, axis=0)
    rising = np.argsort(total)
    return total[rising], kept[rising]


def most_shims(build: Build) -> float:
    """The thickest that the shims at hand make within what a pad may carry of them [in]."""
    return float(shim_sums(tuple(build.supports.shim_sizes), build.supports.shim_most)[0][-1])


def packing(build: Build) -> float:
    """The most packing under a member, in whole steps [in]."""
    return PACKER_STEP * math.floor((build.supports.packer_most + TYPED) / PACKER_STEP)


def close_stack(gap: Array, build: Build) -> tuple[Array, list[tuple[float, ...]]]:
    """The shims under each pad whose clear gap should be `gap` (n,) [in]: their sums (n,) and what makes them up."""
    sizes = tuple(build.supports.shim_sizes)
    have, made = shim_sums(sizes, build.supports.shim_most)
    i = nearest_sum(have, gap - build.supports.pad_thickness - build.supports.base_thickness)
    return have[i], [tuple(sorted(np.repeat(sizes, made[k]).tolist(), reverse=True)) for k in i]


def packers(gap: Array, build: Build) -> Array:
    """What is packed out under the wood where pad and shims do not reach, for clear gaps (n,) -> (n,) [in].

    Whole steps, as many as fit, so that the shim that is left is thin; 0 where pad and shims close the gap alone.
    """
    over = gap - build.supports.pad_thickness - build.supports.base_thickness
    whole = PACKER_STEP * np.floor(over / PACKER_STEP + SAME_SUM)
    return np.asarray(np.where(over > most_shims(build) + SAME_SUM, np.clip(whole, 0.0, packing(build)), 0.0))


def nearest_sum(have: Array, wanted: Array) -> NDArray[np.intp]:
    """Index of the sum in `have` (rising) nearest to each of `wanted`, the lesser of two as near."""
    above = np.clip(np.searchsorted(have, wanted), 0, len(have) - 1)
    below = np.maximum(above - 1, 0)
    return np.asarray(np.where(wanted - have[below] <= have[above] - wanted, below, above))
