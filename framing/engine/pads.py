"""Pads: what stands under a member, and under which of its pieces.

A part of the supports stage.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from framing.engine.documents import Build
from framing.engine.members import Member

Array = NDArray[np.float64]

LEAST_BETWEEN = 2.0  # two pads leave at least this for water between them [in]


@dataclass(frozen=True)
class Support:
    """One pad with its shims under a member. Lengths [in], reactions [lb], pressure [psi].

    `roof_se` is the standard error of `roof_z`; `base` counts the `packer` that is fixed under the wood in.
    """

    member: str
    s: float
    at: tuple[float, float]
    roof_z: float
    base: float
    pad: float
    shim: float
    residual: float
    shims: tuple[float, ...]
    pad_size: tuple[float, float]
    reaction: float = 0.0
    reaction_most: float = 0.0
    pressure: float = 0.0
    roof_se: float = 0.0
    packer: float = 0.0
    reaction_dead: float = 0.0

    @property
    def clear_gap(self) -> float:
        return self.base + self.pad + self.shim

    def as_json(self) -> dict[str, Any]:
        return {
            "member": self.member, "s": self.s, "at": list(self.at), "roof_z": self.roof_z, "pad": self.pad,
            "shim": self.shim, "base": self.base, "clear_gap": self.clear_gap, "residual": self.residual,
            "reaction": self.reaction, "reaction_most": self.reaction_most, "pressure": self.pressure,
            "pad_size": list(self.pad_size), "shims": list(self.shims),
            "roof_se": self.roof_se, "packer": self.packer,
        }


@dataclass(frozen=True)
class Piece:
    """One piece of a member between splices, with its pads' places s (n,) from the member's end A [in]."""

    member: Member
    start: float
    end: float
    pads: Array


def shortest_pad(build: Build) -> float:
    return min(a for a, _ in build.supports.pad_sizes)


def pad_corners(at: Array, along: Array, sizes: Array) -> Array:
    """Corners (n, 4, 2) of pads on the roof at (n, 2) [in], their first side along the members' unit vectors (n, 2)."""
    a, b = along * sizes[:, :1] / 2, np.stack([-along[:, 1], along[:, 0]], axis=1) * sizes[:, 1:] / 2
    return np.stack([at - a - b, at + a - b, at + a + b, at - a + b], axis=1)


def corners_of(supports: Sequence[Support], members: Mapping[str, Member]) -> Array:
    """Corners (n, 4, 2) of pads that stand [in]."""
    along = np.array([unit_vector(members[s.member]) for s in supports]).reshape(-1, 2)
    return pad_corners(np.array([s.at for s in supports]).reshape(-1, 2), along,
                       np.array([s.pad_size for s in supports], float).reshape(-1, 2))


def unit_vector(m: Member) -> Array:
    return np.asarray((np.array(m.line.end) - np.array(m.line.start)) / m.line.length)


def by_area(build: Build) -> list[tuple[float, float]]:
    return sorted(build.supports.pad_sizes, key=lambda v: v[0] * v[1])


def room_between(pads: Array) -> Array:
    """How far the nearest other pad of the row stands from each, (n,) [in]."""
    gap = np.full(len(pads) + 1, np.inf)
    gap[1:-1] = pads[1:] - pads[:-1]
    return np.asarray(np.minimum(gap[:-1], gap[1:]))
