"""Pads: where they may stand under a member, clear of outlets, valleys, walls and each other.

A part of the supports stage.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.ops import unary_union

from framing.engine.documents import Build
from framing.engine.keep_outs import END_PAD, HAIR, Ground
from framing.engine.members import Member
from framing.reference import clearances

Array = NDArray[np.float64]

LONGEST_OVERHANG = 8.0  # an end pad stands no further in than this to make room for an outlet or another pad [in]
OFF_AN_OUTLET = 12.0  # ... or than this, to come off an outlet altogether [in]
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


def insert_pad(p: Piece, hard: int, build: Build, ground: Ground) -> Piece:
    """The piece with one pad more, in the longer of the spans beside its hardest-pressed pad, where there is room."""
    spans = np.diff(p.pads)
    beside = [i for i in (hard - 1, hard) if 0 <= i < len(spans)]
    i = max(beside, key=lambda j: round(float(spans[j]), 6))
    least = shortest_pad(build) + LEAST_BETWEEN
    if spans[i] < 2 * least - 1e-9:
        return p
    low, high = p.pads[i] + least, p.pads[i + 1] - least
    new = _clear_place(p.member, float(p.pads[i] + spans[i] / 2), ground, build, float(low), float(high))
    box = pad_boxes(p.member.line.at(np.array([new])), unit_vector(p.member)[None], by_area(build)[0])
    if _on_outlet(box, ground)[0]:
        return p
    return replace(p, pads=np.sort(np.append(p.pads, new)))


def place_pads(p: Piece, count: int, build: Build, ground: Ground, widest: float) -> Piece:
    """The piece on `count` pads, or on a few more or fewer where that keeps every pad off the outlets."""
    first = _spread(p, count, build, ground, widest)
    for other in (0, 1, 2, 3, -1, -2):
        trial = _spread(p, count + other, build, ground, widest) if other else first
        boxes = pad_boxes(p.member.line.at(trial.pads), np.tile(unit_vector(p.member), (len(trial.pads), 1)),
                           by_area(build)[0])
        if not _on_outlet(boxes, ground).any():
            return trial
    return first


def _spread(p: Piece, count: int, build: Build, ground: Ground, widest: float) -> Piece:
    """The piece on `count` pads, or as many more as `widest` asks and as there is room for: ends first, then between.

    A joist's span grows with its depth, so pads stand closer where the piece is thin. Places that water needs are
    moved off, as far as the widest spacing lets them.
    """
    first, last = _ends(p, build, ground)
    run = last - first
    least = shortest_pad(build) + LEAST_BETWEEN
    count = max(2, min(max(count, math.ceil(run / widest - 1e-9) + 1), math.floor(run / least + 1e-9) + 1))
    s = np.linspace(first, last, 101)
    pace = np.r_[0, np.cumsum(np.diff(s) / ((p.member.depth(s)[1:] + p.member.depth(s)[:-1]) / 2))]
    pads = np.interp(np.linspace(0, pace[-1], count), pace, s)
    if np.diff(pads).max() > widest + 1e-9 or np.diff(pads).min() < least - 1e-9:
        pads = np.linspace(first, last, count)
    for i in range(1, count - 1):
        low = max(pads[i - 1] + least, pads[i + 1] - widest)
        high = min(pads[i + 1] - least, pads[i - 1] + widest)
        pads[i] = _clear_place(p.member, float(pads[i]), ground, build, float(low), float(high))
    return replace(p, pads=pads)


def _ends(p: Piece, build: Build, ground: Ground) -> tuple[float, float]:
    """Places of the end pads: at a splice on it, at a free end half a pad in, further where an outlet is near."""
    # room for the largest pad that still stands near the end
    half = max([a / 2 for a, _ in build.supports.pad_sizes if a / 2 <= END_PAD], default=shortest_pad(build) / 2)
    half = min(half, (p.end - p.start) / 4)
    free_a, free_b = p.start < 1e-6, p.end > p.member.line.length - 1e-6
    first, last = (p.start + half if free_a else p.start), (p.end - half if free_b else p.end)
    if free_a:
        first = _clear_end(p.member, first, 1, ground, build, p.end - p.start)
    if free_b:
        last = _clear_end(p.member, last, -1, ground, build, p.end - p.start)
    return first, last


def _clear_end(m: Member, s: float, inward: int, ground: Ground, build: Build, run: float) -> float:
    """The place of an end pad: shifted inward as far as it must, further only to come off an outlet [in]."""
    place = s
    for reach in (min(LONGEST_OVERHANG, run / 4), min(OFF_AN_OUTLET, run / 3)):
        far = s + inward * max(0.0, reach - END_PAD)
        place = _clear_place(m, s, ground, build, min(s, far), max(s, far))
        box = pad_boxes(m.line.at(np.array([place])), unit_vector(m)[None], by_area(build)[0])
        if not _on_outlet(box, ground)[0]:
            break
    return place


def _clear_place(m: Member, s: float, ground: Ground, build: Build, low: float, high: float) -> float:
    """The place nearest `s` within low..high where the smallest pad fits, clear of outlets and valleys.

    Where no place has all of that, keeping off an outlet comes first, then fitting on the roof, then distance.
    """
    if high < low:
        return s
    places = np.unique(np.r_[s, np.linspace(low, high, max(2, round((high - low) * 4) + 1))])
    xy = m.line.at(places)
    along = np.tile(unit_vector(m), (len(places), 1))
    ok = np.ones(len(places))
    if len(ground.outlets):
        away = np.hypot(*(xy[:, None] - ground.outlets[None]).transpose(2, 0, 1)).min(axis=1)
        ok = np.minimum(ok, away / clearances.OUTLET)
    half = max(build.supports.pad_sizes[0]) / 2
    for valley in ground.valleys:
        ok = np.minimum(ok, shapely.distance(shapely.points(xy), valley) / (half + clearances.VALLEY))
    smallest = by_area(build)[:1]
    ok += 2.0 * sizes_that_fit(xy, along, smallest, ground)[:, 0]
    ok += 4.0 * ~_on_outlet(pad_boxes(xy, along, smallest[0]), ground)
    best = places[ok >= min(7.0, float(ok.max())) - 1e-9]
    return float(best[np.argmin(np.round(np.abs(best - s), 6))])  # the first of places as near, whatever the rounding


def pad_boxes(at: Array, along: Array, size: tuple[float, float]) -> NDArray[np.object_]:
    """Outlines (n,) of pads on the roof at (n, 2) [in], their first side along the member's unit vectors (n, 2)."""
    a, b = along * size[0] / 2, np.stack([-along[:, 1], along[:, 0]], axis=1) * size[1] / 2
    return np.asarray(shapely.polygons(np.stack([at - a - b, at + a - b, at + a + b, at - a + b], axis=1)), object)


def unit_vector(m: Member) -> Array:
    return np.asarray((np.array(m.line.end) - np.array(m.line.start)) / m.line.length)


def by_area(build: Build) -> list[tuple[float, float]]:
    return sorted(build.supports.pad_sizes, key=lambda v: v[0] * v[1])


def _on_outlet(boxes: NDArray[np.object_], ground: Ground) -> NDArray[np.bool_]:
    """Whether each pad outline covers an outlet, (n,)."""
    on = np.zeros(len(boxes), bool)
    for x, y in ground.outlets:
        on |= shapely.intersects_xy(boxes, x, y)
    return on


def sizes_that_fit(at: Array, along: Array, sizes: Sequence[tuple[float, float]], ground: Ground,
          room: Array | float = math.inf) -> NDArray[np.bool_]:
    """Whether each of the pad sizes fits on free roof off the outlets at each place: (n, sizes).

    `room` is how far the next pad of the same member stands [in].
    """
    shapely.prepare(ground.inside)
    fits = []
    for size in sizes:
        # what just touches a wall fits, whatever the rounding
        boxes = pad_boxes(at, along, (size[0] - HAIR, size[1] - HAIR))
        fits.append(shapely.covers(ground.inside, boxes) & (size[0] <= np.asarray(room) + HAIR)
                    & ~_on_outlet(boxes, ground))
    return np.stack(fits, axis=1)


def without(ground: Ground, stood: Sequence[Support], members: Mapping[str, Member]) -> Ground:
    """The ground with these pads' places taken."""
    if not stood:
        return ground
    boxes = [pad_boxes(np.array([s.at]), unit_vector(members[s.member])[None], s.pad_size)[0] for s in stood]
    return replace(ground, inside=ground.inside.difference(unary_union(boxes)))


def room_between(pads: Array) -> Array:
    """How far the nearest other pad of the row stands from each, (n,) [in]."""
    gap = np.r_[np.inf, np.diff(pads), np.inf]
    return np.asarray(np.minimum(gap[:-1], gap[1:]))
