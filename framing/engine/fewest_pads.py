"""The fewest pads that carry each piece, and where they stand.

A part of the supports stage. Pads are tried on nodes an inch or two apart. What every stretch between two nodes would
be used as a span of a continuous beam is estimated for all pieces at once; the places of each count of pads that even
out that use are then found by dynamic programming. The beams are solved on them, and where the estimate was off it is
corrected and the places are found again: the least count whose solved beam passes is kept.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from framing.engine.structure import Beam, Load, MemberDesign
from framing.reference import clearances, loads

Array = NDArray[np.float64]
Ints = NDArray[np.intp]
Bools = NDArray[np.bool_]

NODE = 1.5  # nodes lie about this far apart [in]
# What a span of a continuous beam comes to, of its load and length, with the worst spans loaded; for the estimate only.
MOMENT, POINT_MOMENT, SHEAR, SAG = 1 / 9.5, 1 / 6, 0.6, 1 / 130
INNER_SHARE, END_SHARE = 1.12, 0.45  # reactions of inner and end pads, of the load on the spans beside them
LIKELY = 1.25  # a count estimated to be used no harder than this may pass
ENOUGH = 0.45  # counts are looked at until the use is estimated no higher than this


@dataclass(frozen=True)
class Places:
    """Where pads may stand along pieces, and what they are held against.

    x : (pieces, nodes) [in] from the piece's start; fits : (pieces, nodes, sizes) of the pad sizes, smallest first
    last : (pieces,) a piece's last node; nodes past it are closed
    along, area : (sizes,) side along the member [in] and area that bears [sq in]
    free : (pieces, 2), an end that hangs out; the other kind stands on a pad that the next piece shares
    inset : (pieces,) how far in a free end's pad stands at least; run : (pieces,) length [in]
    least, widest : (pieces,) two pads are no nearer and no further apart, centre to centre [in]
    between : what two pads leave between them for water [in]
    limits : dead and total pressure that the insulation may stand [psi], infinite where it is not known
    """

    x: Array
    fits: Bools
    last: Ints
    along: Array
    area: Array
    free: Bools
    inset: Array
    run: Array
    least: Array
    widest: Array
    between: float
    limits: tuple[float, float]

    def pick(self, rows: Ints | Sequence[int]) -> Places:
        own = ("x", "fits", "last", "free", "inset", "run", "least", "widest")
        return replace(self, **{name: getattr(self, name)[rows] for name in own})


@dataclass(frozen=True)
class Wood:
    """Pieces at their nodes (pieces, nodes): load so far, all and dead [lb], and depth [in]; and (pieces,) values."""

    load: Array
    dead: Array
    depth: Array
    thickness: Array
    Fb: Array
    Fv: Array
    E: Array
    live_limit: Array
    point: float

    def pick(self, rows: Ints | Sequence[int]) -> Wood:
        own = ("load", "dead", "depth", "thickness", "Fb", "Fv", "E", "live_limit")
        return replace(self, **{name: getattr(self, name)[rows] for name in own})


def wood_at(beams: list[Beam], designs: list[MemberDesign], load: Load, x: Array) -> Wood:
    """The pieces' loads and depths at nodes x (pieces, nodes) [in]."""
    so_far, dead, depth = np.empty((3, *x.shape))
    for i, b in enumerate(beams):
        bins = np.linspace(0, b.length, b.width.size + 1)
        added = np.asarray(b.added, float).reshape(2, -1) if np.size(b.added) else np.zeros((2, b.width.size))
        points = np.concatenate([
            b.point_loads.reshape(-1, 2) @ [[1, 0, 0], [0, load.dead / 144, load.live / 144]],
            np.asarray(b.added_points, float).reshape(-1, 3)])
        for k, (out, psf) in enumerate(((dead, load.dead), (so_far, load.live))):
            line = np.r_[0, np.cumsum((b.width * psf / 144 + added[k]) * (b.length / b.width.size))]
            out[i] = np.interp(x[i], bins, line) + (x[i][:, None] >= points[:, 0] - 1e-6) @ points[:, 1 + k]
        depth[i] = np.interp(x[i], b.profile[:, 0], b.profile[:, 1])
    values = [d.values for d in designs]
    return Wood(so_far + dead, dead, depth, np.array([b.thickness for b in beams]), np.array([v.Fb for v in values]),
                np.array([v.Fv for v in values]), np.array([v.E for v in values]),
                np.array([d.live_limit for d in designs]), load.point)


@dataclass(frozen=True)
class Spans:
    """Every stretch from node i to node i + 1 + k, (pieces, nodes, k): what it would be used as a span.

    `wood` of its strength, `near` and `far` of the pads at its start and end were each pound of the span's load on
    them; infinite where it cannot be a span.
    """

    length: Array
    wood: Array
    near: Array
    far: Array

    def eased(self, part: Array) -> Spans:
        """The same were the insulation to bear more: `part` (pieces,) of what it is pressed with."""
        return replace(self, near=self.near * part[:, None, None], far=self.far * part[:, None, None])

    def pick(self, rows: Ints | Sequence[int]) -> Spans:
        return Spans(self.length[rows], self.wood[rows], self.near[rows], self.far[rows])


def estimate(places: Places, wood: Wood) -> Spans:
    """The use of every stretch that is no longer than pads may stand apart."""
    x, nodes = places.x, places.x.shape[1]
    step = np.diff(x, axis=1)
    typical = np.array([s[s > 1e-6].min(initial=NODE) for s in step])
    reach = int(min(nodes - 1, np.ceil((places.widest / typical).max() + 1e-6)))
    start, k = np.arange(nodes)[:, None], np.arange(reach)[None, :]
    end = np.minimum(start + 1 + k, nodes - 1)
    shape = (len(x), nodes, reach)
    length = x[:, end] - x[:, :, None]
    carried = wood.load[:, end] - wood.load[:, :, None]
    dead = wood.dead[:, end] - wood.dead[:, :, None]
    thin = np.empty(shape)
    thinnest = wood.depth.copy()
    for n in range(reach):  # least depth within each stretch, one node longer at a time
        shifted = np.concatenate([wood.depth[:, n + 1:], np.repeat(wood.depth[:, -1:], n + 1, axis=1)], axis=1)
        thinnest = np.minimum(thinnest, shifted)
        thin[:, :, n] = thinnest

    def each(values: Array) -> Array:
        return values[:, None, None]

    section = each(wood.thickness) * thin**2 / 6
    moment = np.maximum(MOMENT * carried, MOMENT * dead + POINT_MOMENT * wood.point) * length
    bending = moment / section / each(wood.Fb)
    shear = 1.5 * np.maximum(SHEAR * carried, SHEAR * dead + wood.point) / (each(wood.thickness) * thin) / each(wood.Fv)
    live = np.maximum(carried - dead, 2 * wood.point)
    sag = SAG * live * length**2 / (each(wood.E) * each(wood.thickness) * thin**3 / 12) * each(wood.live_limit)
    used = np.maximum.reduce([bending, shear, sag, length / each(places.widest)])
    fair = (length >= each(places.least) - 1e-6) & (length <= each(places.widest) + 1e-6)
    stands = places.fits[:, :, 0]
    fair &= stands[:, :, None] & stands[:, end] & (start + 1 + k < nodes)
    total = np.maximum(carried, dead + wood.point / INNER_SHARE)  # a point load may stand right over a pad
    need = np.maximum(dead / places.limits[0], total / places.limits[1])
    # the largest pad that fits at a node and leaves room to the next one
    room = (places.along + places.between <= length[..., None] + 1e-6)
    here = np.where(room & places.fits[:, :, None], places.area, places.area[0]).max(axis=-1)
    there = np.where(room & places.fits[:, end], places.area, places.area[0]).max(axis=-1)
    return Spans(length, np.where(fair, used, np.inf), need / here, need / there)


@dataclass(frozen=True)
class Counted:
    """For each count of pads, from two up: their nodes (pieces, pads) and the use estimated (pieces,)."""

    nodes: list[Ints]
    use: Array


def by_count(places: Places, wood: Wood, spans: Spans, correction: Array, most: int, *,
             all_counts: bool = False, near_ends: Bools | bool = True) -> Counted:
    """The places of two to `most` pads that even out the use best; `correction` (pieces, nodes) multiplies it.

    It stops at a count whose use is low enough for all, unless `all_counts`; where `near_ends` (pieces,) end pads stand
    as near the ends as they may.
    """
    pieces, nodes, reach = spans.length.shape
    start, k = np.arange(nodes)[:, None], np.arange(reach)[None, :]
    end = np.minimum(start + 1 + k, nodes - 1)
    factor = correction[:, (start + end) // 2]
    at_end = _at_end(places)
    hang_a, hang_b = places.x, places.run[:, None] - places.x
    loose = places.inset[:, None] + 0.05
    # an end pad further in than it need be asks for a span of four times the overhang beside it, and for its tip
    over_a = np.where(places.free[:, :1] & (hang_a > loose), hang_a, 0.0)[:, :, None] / clearances.OVERHANG
    over_b = np.where(places.free[:, 1:] & (hang_b > loose), hang_b, 0.0)[:, end] / clearances.OVERHANG
    span = np.maximum(spans.length, 1e-9)
    section = wood.thickness[:, None] * wood.depth**2 / 6 * wood.Fb[:, None]
    tip_a = np.where(places.free[:, :1] & (hang_a > loose), loads.TIP_LOAD * hang_a / section, 0.0)
    tip_b = np.where(places.free[:, 1:] & (hang_b > loose), loads.TIP_LOAD * hang_b / section, 0.0)
    first_may = np.where(places.free[:, :1], hang_a < places.run[:, None] / 2, start.T == 0)
    last_may = np.where(places.free[:, 1:], hang_b < places.run[:, None] / 2, places.last[:, None] == start.T)
    stands, tight = places.fits[..., 0], np.broadcast_to(near_ends, pieces)[:, None]
    first_may &= ~tight | (np.argmax(stands, axis=1)[:, None] == start.T)
    last_may &= ~tight | ((nodes - 1 - np.argmax(stands[:, ::-1], axis=1))[:, None] == start.T)

    def cost(a: bool, b: bool) -> Array:
        """Use of each stretch to the power, as first (a) or last (b) span or neither."""
        near = spans.near * (at_end[:, 0, None, None] if a else INNER_SHARE)
        far = spans.far * (at_end[:, 1, None, None] if b else INNER_SHARE)
        use = factor * np.maximum.reduce([spans.wood, near, far])
        if a:
            use = np.maximum(np.maximum(use, over_a / span), tip_a[:, :, None])
            use = np.where(first_may[:, :, None], use, np.inf)
        if b:
            use = np.maximum(np.maximum(use, over_b / span), tip_b[:, end])
            use = np.where(last_may[:, end], use, np.inf)
        cube = use * use * use  # the sum of a high power is least where the hardest used span is used least
        return np.asarray(cube * cube)

    rows = np.arange(pieces)
    both, first, last, inner = cost(True, True), cost(True, False), cost(False, True), cost(False, False)
    found, uses = [], []
    best = np.zeros((pieces, nodes))  # least sum so far with the next span starting at a node
    came: list[Ints] = []  # for each span but the last the node it starts at, by the node that it ends at
    for pads in range(2, most + 1):
        closing = (both if pads == 2 else last) + best[:, :, None]
        flat = closing.reshape(pieces, -1)
        pick = np.argmin(flat, axis=1)
        ok = np.isfinite(flat[rows, pick])
        at = [pick // reach + 1 + pick % reach, pick // reach]
        for layer in reversed(came):
            at.append(layer[rows, at[-1]])
        place = np.stack(at[::-1], axis=1)
        place[~ok] = 0
        found.append(place)
        i, k = place[:, :-1], np.maximum(np.diff(place, axis=1) - 1, 0)
        used = (factor[rows[:, None], i, k] * _expected(place, spans, at_end)).max(axis=1)
        uses.append(np.where(ok, used, np.inf))
        if pads == most or (not all_counts and pads > 2 and (uses[-1] <= ENOUGH).all()):
            break
        # one span more: the least sum that ends at each node
        onward = (first if pads == 2 else inner) + best[:, :, None]
        ends = np.full((pieces, nodes), np.inf)
        comes = np.zeros((pieces, nodes), np.intp)
        for n in range(reach):
            target = ends[:, n + 1:]
            value = onward[:, : nodes - n - 1, n]
            better = value < target
            comes[:, n + 1:] = np.where(better, np.arange(nodes - n - 1), comes[:, n + 1:])
            ends[:, n + 1:] = np.where(better, value, target)
        best = ends
        came.append(comes)
    return Counted(found, np.stack(uses, axis=1))


def likely(counted: Counted) -> Ints:
    """For each piece the first count, from two numbered 0, that may pass were the estimate somewhat high."""
    level = np.maximum(LIKELY, 1.001 * counted.use.min(axis=1))
    return np.asarray(np.argmax(counted.use <= level[:, None], axis=1))


def _expected(place: Ints, spans: Spans, at_end: Array) -> Array:
    """The use estimated of every span (pieces, pads - 1) between pads at nodes `place`, not corrected."""
    rows = np.arange(len(place))[:, None]
    i, k = place[:, :-1], np.maximum(np.diff(place, axis=1) - 1, 0)
    near, far = spans.near[rows, i, k] * INNER_SHARE, spans.far[rows, i, k] * INNER_SHARE
    near[:, 0] *= at_end[:, 0] / INNER_SHARE
    far[:, -1] *= at_end[:, 1] / INNER_SHARE
    return np.asarray(np.maximum.reduce([spans.wood[rows, i, k], near, far]))


def _at_end(places: Places) -> Array:
    """What of a span's load its end pads (pieces, 2) bear; a shared pad carries both pieces' ends."""
    return np.where(places.free, END_SHARE, 2 * END_SHARE)


def corrected(correction: Array, place: Ints, true: Array, spans: Spans, places: Places) -> Array:
    """The correction (pieces, nodes) by what each span was truly used, (pieces, pads - 1), of what was estimated."""
    off = np.clip(true / np.maximum(_expected(place, spans, _at_end(places)), 1e-9), 0.3, 3.0)
    middle = (place[:, :-1] + place[:, 1:]) / 2
    node = np.arange(correction.shape[1])
    return np.stack([np.interp(node, m, o) for m, o in zip(middle, off, strict=True)])
