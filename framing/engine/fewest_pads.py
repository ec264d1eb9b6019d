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
from numpy.lib.stride_tricks import sliding_window_view
from numpy.typing import NDArray

from framing.engine.structure import Beam, Load, MemberDesign
from framing.reference import clearances, loads

Array = NDArray[np.float64]
Ints = NDArray[np.intp]
Bools = NDArray[np.bool_]

NODE, ROUGH = 1.5, 4.0  # nodes lie about this far apart [in]; and where pads are only counted
# What a span of a continuous beam comes to, of its load and length, with the worst spans loaded; for the estimate only.
MOMENT, POINT_MOMENT, SHEAR, SAG = 1 / 9.5, 1 / 6, 0.6, 1 / 130
INNER_SHARE, END_SHARE = 1.12, 0.45  # reactions of inner and end pads, of the load on the spans beside them
LIKELY = 1.25  # a count estimated to be used no harder than this may pass
AHEAD = 3  # counts tried at once
ROUNDING = 1e-9  # what two sums of uses may differ by though they are one


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
    bridged : two pads may stand further apart than `widest` where no other has room between them
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
    bridged: bool = False

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
    psf = np.array([[load.dead], [load.live]])
    hung = np.array([[1, 0, 0], [0, load.dead / 144, load.live / 144]])
    for i, b in enumerate(beams):
        bins = b.length / b.width.size * np.arange(b.width.size + 1)
        added = np.asarray(b.added, float).reshape(2, -1) if np.size(b.added) else np.zeros((2, b.width.size))
        points = np.concatenate([b.point_loads.reshape(-1, 2) @ hung, b.added_points.reshape(-1, 3)])
        passed = (x[i][:, None] >= points[:, 0] - 1e-6).astype(float) @ points[:, 1:]
        line = np.zeros((2, bins.size))
        np.cumsum((b.width * psf / 144 + added) * (b.length / b.width.size), axis=1, out=line[:, 1:])
        for k, out in enumerate((dead, so_far)):
            out[i] = np.interp(x[i], bins, line[k]) + passed[:, k]
        depth[i] = np.interp(x[i], b.profile[:, 0], b.profile[:, 1])
    values = [d.values for d in designs]
    return Wood(so_far + dead, dead, depth, np.array([b.thickness for b in beams]), np.array([v.Fb for v in values]),
                np.array([v.Fv for v in values]), np.array([v.E for v in values]),
                np.array([d.live_limit for d in designs]), load.point)


@dataclass(frozen=True)
class Spans:
    """Every stretch that ends at a node, from 1 + k nodes before it, (pieces, nodes, k), and its use as a span.

    `wood` of its strength, `near` and `far` of the pads at its start and end were each pound of the span's load on
    them; infinite where it cannot be a span. `inner` is what it weighs between other spans.
    """

    length: Array
    wood: Array
    near: Array
    far: Array
    inner: Array

    def eased(self, part: Array) -> Spans:
        """The same were the insulation to bear more: `part` (pieces,) of what it is pressed with."""
        near, far = self.near * part[:, None, None], self.far * part[:, None, None]
        return Spans(self.length, self.wood, near, far, _inner(self.wood, near, far))


def _inner(wood: Array, near: Array, far: Array) -> Array:
    return _weight(np.maximum(wood, INNER_SHARE * np.maximum(near, far)))


def _weight(use: Array) -> Array:
    """The sum of a high power is least where the hardest used span is used least."""
    cube = use * use * use
    return np.asarray(cube * cube)


def _least(values: Array) -> Ints:
    """The first along the last axis that is least, but for what rounding may have added: no tie turns on that."""
    return np.asarray(np.argmin(values * (1 + ROUNDING * np.arange(values.shape[-1])), axis=-1))


def estimate(places: Places, wood: Wood) -> Spans:
    """The use of every stretch that is no longer than pads may stand apart."""
    x, nodes = places.x, places.x.shape[1]
    step = np.diff(x, axis=1)
    typical = np.array([s[s > 1e-6].min(initial=NODE) for s in step])
    reach = nodes - 1 if places.bridged else int(min(nodes - 1, np.ceil((places.widest / typical).max() + 1e-6)))
    start = np.arange(nodes)[:, None] - 1 - np.arange(reach)[None, :]
    inside, start = start >= 0, np.maximum(start, 0)
    length = x[:, :, None] - x[:, start]
    carried = wood.load[:, :, None] - wood.load[:, start]
    dead = wood.dead[:, :, None] - wood.dead[:, start]
    thin = np.empty(length.shape)
    thinnest = wood.depth.copy()
    for k in range(reach):  # least depth within each stretch, one node longer at a time
        thinnest = np.minimum(thinnest, wood.depth[:, start[:, k]])
        thin[:, :, k] = thinnest

    def each(values: Array) -> Array:
        return values[:, None, None]

    section = each(wood.thickness) * thin * thin / 6
    moment = np.maximum(MOMENT * carried, MOMENT * dead + POINT_MOMENT * wood.point) * length
    bending = moment / section / each(wood.Fb)
    shear = 1.5 * np.maximum(SHEAR * carried, SHEAR * dead + wood.point) / (each(wood.thickness) * thin) / each(wood.Fv)
    live = np.maximum(carried - dead, 2 * wood.point)
    sag = SAG * live * length**2 / (each(wood.E) * section * thin / 2) * each(wood.live_limit)
    used = np.maximum.reduce([bending, shear, sag, length / each(places.widest)])
    stands = places.fits[:, :, 0]
    fair = length <= each(places.widest) + 1e-6
    if places.bridged:
        fair |= _no_room_between(places, start)
    fair &= (length >= each(places.least) - 1e-6) & stands[:, :, None] & stands[:, start] & inside
    total = np.maximum(carried, dead + wood.point / INNER_SHARE)  # a point load may stand right over a pad
    need = np.maximum(dead / places.limits[0], total / places.limits[1])
    here, there = np.full((2, *length.shape), places.area[0])
    for k, (along, area) in enumerate(zip(places.along, places.area, strict=True)):
        # the largest pad that fits at a node and leaves room to the next one; they are in order of their area
        room = length >= along + places.between - 1e-6
        np.copyto(here, area, where=room & places.fits[:, :, k][:, start])
        np.copyto(there, area, where=room & places.fits[:, :, k, None])
    np.copyto(used, np.inf, where=~fair)
    near, far = need / here, need / there
    return Spans(length, used, near, far, _inner(used, near, far))


def _no_room_between(places: Places, start: Ints) -> Bools:
    """Whether no pad has room between those at every node and at each of its `start` nodes (nodes, k), clear of both:
    (pieces, nodes, k)."""
    x, stands = places.x, places.fits[:, :, 0]
    found = np.empty((*x.shape, start.shape[1]), bool)
    for i, (own, least) in enumerate(zip(x, places.least, strict=True)):
        so_far = np.r_[0, np.cumsum(stands[i])]
        first = np.searchsorted(own, own[start] + least - 1e-6)  # the nodes first..end - 1 lie clear of both
        end = np.searchsorted(own, own - least + 1e-6, side="right")[:, None]
        found[i] = so_far[np.maximum(end, first)] == so_far[first]
    return found


class Chains:
    """Pads along pieces from the first on, one span longer at a time, each with its use evened out the best.

    rows : (n,) the piece of each chain; correction : (n, nodes) multiplies what is estimated
    near_ends : (n,) end pads stand as near the ends as they may
    """

    def __init__(self, places: Places, wood: Wood, spans: Spans, rows: Ints, correction: Array,
                 near_ends: Bools | bool = True) -> None:
        self.spans, self.rows, self.correction = spans, rows, correction
        _, self.nodes, self.reach = spans.length.shape
        self.places, self.wood = places.pick(rows), wood.pick(rows)
        self.at_end = _at_end(self.places)
        node = np.arange(self.nodes)[:, None]
        start = np.maximum(node - 1 - np.arange(self.reach), 0)
        self.inner = spans.inner[rows] * _weight(correction)[:, (node + start) // 2]
        tight = np.broadcast_to(near_ends, rows.shape)
        self.first = _end_nodes(self.places, tight, last=False)
        self.last = _end_nodes(self.places, tight, last=True)
        # the spans that may close a chain: those that end on one of its last nodes, the longest first
        self.end = np.repeat(self.last[:, :, None], self.reach, axis=2)
        self.back = np.broadcast_to(np.arange(self.reach)[::-1], self.end.shape)
        self.closing = self._used(self.end, self.back, first=False, last=True)
        self.pads = 2
        self.came: list[Ints] = []  # for each span but the last the node it starts at, by the node that it ends at
        self.best = np.full((len(rows), self.nodes), np.inf)  # least sum of the spans up to a node

    def _used(self, end: Ints, k: Ints, *, first: bool, last: bool) -> Array:
        """The weight of spans that end at nodes `end` from 1 + k nodes before, each (n, …), as first or last ones."""
        own = np.arange(len(self.rows)).reshape(-1, *[1] * (end.ndim - 1))
        row, start = self.rows[own], end - 1 - k
        there = (start >= 0) & (end < self.nodes)
        start, end = np.maximum(start, 0), np.minimum(end, self.nodes - 1)
        share = [self.at_end[:, i][own] if on else INNER_SHARE for i, on in ((0, first), (1, last))]
        use = np.maximum.reduce([self.spans.wood[row, end, k], self.spans.near[row, end, k] * share[0],
                                 self.spans.far[row, end, k] * share[1]])
        use = use * self.correction[own, (start + end) // 2]
        length = np.maximum(self.spans.length[row, end, k], 1e-9)
        for on, side, node in ((first, 0, start), (last, 1, end)):
            if on:
                # an end pad further in than it need be asks for a span of four times the overhang, and for its tip
                hang = np.where(self.places.free[:, side], 1.0, 0.0)[own] * self._hang(own, node, side)
                hang = np.where(hang > self.places.inset[own] + 0.05, hang, 0.0)
                section = self.wood.thickness[own] * self.wood.depth[own, node]**2 / 6 * self.wood.Fb[own]
                use = np.maximum.reduce([use, hang / clearances.OVERHANG / length, loads.TIP_LOAD * hang / section])
        return np.where(there, _weight(use), np.inf)

    def _hang(self, own: Ints, node: Ints, side: int) -> Array:
        x = self.places.x[own, node]
        return np.asarray(self.places.run[own] - x if side else x)

    def closed(self, chosen: Ints) -> tuple[Ints, Array]:
        """The pads' nodes (m, pads) of chains `chosen` were the next span their last, and the uses (m,) estimated."""
        end, start = self.end, np.maximum(self.end - 1 - self.back, 0)
        if self.pads == 2:
            total = np.where((start[..., None] == self.first[:, None, None, :]).any(axis=-1),
                             self._used(end, self.back, first=True, last=True), np.inf)
        else:
            total = self.closing + self.best[np.arange(len(end))[:, None, None], start]
        flat = total.reshape(len(end), -1)
        pick = _least(flat)
        every = np.arange(len(end))
        ok = np.isfinite(flat[every, pick])
        at = [end.reshape(len(end), -1)[every, pick], start.reshape(len(end), -1)[every, pick]]
        for layer in reversed(self.came):
            at.append(layer[every, at[-1]])
        place = np.stack(at[::-1], axis=1)
        place[~ok] = 0
        place, ok = place[chosen], ok[chosen]
        middle = (place[:, 1:] + place[:, :-1]) // 2
        expected = _expected(place, self.rows[chosen], self.spans, self.at_end[chosen])
        return place, np.where(ok, (expected * self.correction[chosen[:, None], middle]).max(axis=1), np.inf)

    def lengthen(self) -> None:
        """One span more."""
        if self.pads == 2:
            start = self.first[:, :, None]
            k = np.broadcast_to(np.arange(self.reach), (*self.first.shape, self.reach))
            weight, every = self._used(start + 1 + k, k, first=True, last=False), np.arange(len(start))[:, None]
            came = np.zeros(self.best.shape, np.intp)
            for m in range(self.first.shape[1]):
                end = np.minimum(start[:, m] + 1 + k[:, m], self.nodes - 1)
                better = weight[:, m] < self.best[every, end] * (1 - ROUNDING)
                self.best[every, end] = np.where(better, weight[:, m], self.best[every, end])
                came[every, end] = np.where(better, start[:, m], came[every, end])
        else:
            before = np.concatenate([np.full((len(self.rows), self.reach), np.inf), self.best[:, :-1]], axis=1)
            # the best before every node, nearest first
            onward = self.inner + sliding_window_view(before, self.reach, axis=1)[:, :, ::-1]
            k = _least(onward)
            came = np.maximum(np.arange(self.nodes) - 1 - k, 0)
            self.best = np.take_along_axis(onward, k[:, :, None], axis=2)[:, :, 0]
        self.came.append(came)
        self.pads += 1


def _end_nodes(places: Places, tight: Bools, *, last: bool) -> Ints:
    """Nodes (n, m) that the first or last pad may stand on; the nearest to the end again where there are fewer."""
    nodes = places.x.shape[1]
    stands = places.fits[..., 0][:, ::-1] if last else places.fits[..., 0]
    nearest = np.argmax(stands, axis=1)
    hang = (places.run[:, None] - places.x)[:, ::-1] if last else places.x
    # further in than a quarter of the widest span it can never pass, so it is looked at only where nothing is nearer
    may = hang <= np.minimum(clearances.OVERHANG * places.widest + NODE, places.run / 2)[:, None]
    free = places.free[:, 1 if last else 0]
    shared = nodes - 1 - places.last if last else np.zeros(len(nearest), np.intp)
    count = np.where(tight | ~free, 1, np.maximum(1, (may & stands).sum(axis=1)))
    order = np.argsort(~(may & stands), axis=1, kind="stable")[:, :int(count.max(initial=1))]
    found = np.where(np.arange(order.shape[1]) < count[:, None], order, nearest[:, None])
    found = np.where((tight | ~(may & stands).any(axis=1))[:, None], nearest[:, None], found)
    found = np.where(free[:, None], found, shared[:, None])
    return np.asarray((nodes - 1 - found)[:, ::-1] if last else found)


@dataclass(frozen=True)
class Counted:
    """For each count of pads, from two up: their nodes (pieces, pads) and the use estimated (pieces,)."""

    nodes: list[Ints]
    use: Array


def by_count(places: Places, wood: Wood, spans: Spans, most: int) -> Counted:
    """The places of two to `most` pads that even out the use best.

    It stops at the third count that is estimated to pass for all.
    """
    rows, enough = np.arange(len(places.x)), np.zeros(len(places.x), int)
    chains = Chains(places, wood, spans, rows, np.ones(places.x.shape))
    nodes, uses = [], []
    for pads in range(2, most + 1):
        place, use = chains.closed(rows)
        nodes.append(place)
        uses.append(use)
        enough += use <= 1
        if pads == most or (enough >= AHEAD).all():
            break
        chains.lengthen()
    return Counted(nodes, np.stack(uses, axis=1))


@dataclass(frozen=True)
class Wanted:
    """So many pads, from two numbered 0, wanted on a piece whose use is corrected so (nodes,); see Chains."""

    piece: int
    count: int
    correction: Array
    near_ends: bool


def placed(places: Places, wood: Wood, spans: Spans, wanted: Sequence[Wanted]) -> list[Ints | None]:
    """The best nodes of what is wanted; none where so many pads cannot stand."""
    alike: dict[tuple[int, int, bool], list[int]] = {}  # they differ in their count only
    for n, w in enumerate(wanted):
        alike.setdefault((w.piece, id(w.correction), w.near_ends), []).append(n)
    each = [wanted[own[0]] for own in alike.values()]
    chains = Chains(places, wood, spans, np.array([w.piece for w in each]), np.array([w.correction for w in each]),
                    np.array([w.near_ends for w in each]))
    found: list[Ints | None] = [None] * len(wanted)
    for count in range(max(w.count for w in wanted) + 1):
        if count:
            chains.lengthen()
        here = [(k, n) for k, own in enumerate(alike.values()) for n in own if wanted[n].count == count]
        if here:
            place, use = chains.closed(np.array([k for k, _ in here]))
            for (_, n), nodes, ok in zip(here, place, np.isfinite(use), strict=True):
                found[n] = nodes if ok else None
    return found


def likely(counted: Counted) -> Ints:
    """For each piece the first count, from two numbered 0, that may pass were the estimate somewhat high."""
    return _first(counted, LIKELY)


def about(counted: Counted) -> Ints:
    """How many pads each piece will stand on, as estimated."""
    return _first(counted, 1.0) + 2


def _first(counted: Counted, use: float) -> Ints:
    level = np.maximum(use, 1.001 * counted.use.min(axis=1))
    return np.asarray(np.argmax(counted.use <= level[:, None], axis=1))


def _expected(place: Ints, rows: Ints, spans: Spans, at_end: Array) -> Array:
    """The use estimated of every span (n, pads - 1) between pads at nodes `place` of pieces `rows`, not corrected."""
    end, k = place[:, 1:], np.maximum(np.diff(place, axis=1) - 1, 0)
    row = rows[:, None]
    near, far = spans.near[row, end, k] * INNER_SHARE, spans.far[row, end, k] * INNER_SHARE
    near[:, 0] *= at_end[:, 0] / INNER_SHARE
    far[:, -1] *= at_end[:, 1] / INNER_SHARE
    return np.asarray(np.maximum.reduce([spans.wood[row, end, k], near, far]))


def _at_end(places: Places) -> Array:
    """What of a span's load its end pads (pieces, 2) bear; a shared pad carries both pieces' ends."""
    return np.where(places.free, END_SHARE, 2 * END_SHARE)


def corrected(rows: Ints, place: Sequence[Ints], true: Sequence[Array], spans: Spans, places: Places) -> Array:
    """The correction (n, nodes) by what each span of pieces `rows` was truly used, of what was estimated.

    place, true : for each of the n the pads' nodes (pads,) and the spans' use (pads - 1,)
    """
    at_end, nodes = _at_end(places.pick(rows)), np.arange(places.x.shape[1])
    counts = np.array([len(p) for p in place])
    found = np.empty((len(rows), len(nodes)))
    for count in np.unique(counts):
        own = np.flatnonzero(counts == count)
        at = np.array([place[n] for n in own.tolist()])
        off = np.clip(np.array([true[n] for n in own.tolist()])
                      / np.maximum(_expected(at, rows[own], spans, at_end[own]), 1e-9), 0.3, 3.0)
        for n, middle, by in zip(own, (at[:, :-1] + at[:, 1:]) / 2, off, strict=True):
            found[n] = np.interp(nodes, middle, by)
    return found
