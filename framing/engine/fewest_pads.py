"""The fewest pads that carry each piece, and where they stand: all pieces at once, each on a row of nodes.

Stage: pads -> supports. A count is tried from a lower bound upward; for each the spans that are used hardest shrink
and the others grow until no use falls any more, then single pads are nudged. The first count that passes is kept.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from framing.engine.quick_beams import Nodes, Use, look
from framing.reference import clearances

Array = NDArray[np.float64]
Ints = NDArray[np.intp]
Bools = NDArray[np.bool_]

ROUNDS = 10  # times that the spans of one count are evened out
EVEN = 0.2  # part of the way that each span is drawn to its neighbours' length
NUDGES = (5, 2, 1, 1)  # nodes by which single pads are then shifted
NEAR_PASSING = 1.25  # a count whose use comes no nearer than this is not worth nudging
WORTH_A_PAD = 0.4  # a further pad stays where it takes this part of its even share off the worst use
IN_VAIN = 3  # pads added without that before a piece is left as it is
TOO_LONG = 10.0  # what a span or an overhang over its limit weighs beside wood that is used beyond its own
CONTINUOUS = 1.35  # spans of a continuous piece reach no further than this times the simple span


@dataclass(frozen=True)
class Places:
    """Where pads may stand on pieces' nodes and what they press on there.

    open_ : (pieces, nodes); fits : (pieces, nodes, sizes), the sizes that may stand there, smallest area first
    along, area : (sizes,) side along the member [in] and area [sq in]
    free : (pieces, 2), an end that hangs out; the other kind stands on a pad that the next piece shares
    inset : (pieces,) least distance of a free end's pad [in]; least : (pieces,) centre to centre of two pads [in]
    between : what two pads leave between them for water [in]
    widest : (pieces,) spacing asked, or common practice where no closed stretch is wider [in]
    limits : dead and total pressure that the insulation may stand [psi]
    partner : (pieces, 2) the piece that shares the pad at either end, -1 for none
    """

    open_: Bools
    fits: Bools
    along: Array
    area: Array
    free: Bools
    inset: Array
    least: Array
    between: float
    widest: Array
    limits: tuple[float, float]
    partner: Ints

    def pick(self, rows: Ints) -> Places:
        return replace(self, open_=self.open_[rows], fits=self.fits[rows], free=self.free[rows],
                       inset=self.inset[rows], least=self.least[rows], widest=self.widest[rows],
                       partner=self.partner[rows])


@dataclass
class Spread:
    """Pads found so far: nodes `place` (pieces, most pads), the first `count` of each; their worst `use`, 1 passes."""

    place: Ints
    count: Ints
    use: Array

    def pick(self, rows: Ints | Bools) -> Spread:
        return Spread(self.place[rows], self.count[rows], self.use[rows])


def fewest(nodes: Nodes, places: Places, start: Ints, most: Ints, target: Array, shared: Array, own: Ints) -> Spread:
    """Pads on nodes for every piece, from `start` pads each to at most `most`, until the use is under `target`.

    `shared` (all pieces, 2, 2) is dead and worst load [lb] that the partner brings to the pad at either end, nan where
    it is not known yet; it is kept up to date here. `own` (pieces,) are these pieces' numbers in it. A piece that
    passes at no count keeps the one where further pads no longer helped; its use is infinite where none could stand.
    """
    pieces, width = len(start), int(most.max()) + 1
    best = Spread(np.full((pieces, width), nodes.x.shape[1] - 1), start.copy(), np.full(pieces, np.inf))
    count, vain = start.copy(), np.zeros(pieces, int)
    active = np.arange(pieces)
    while len(active):
        tried = _even_out(nodes.pick(active), places.pick(active), count[active], target[active], shared,
                          own[active])
        passes = tried.use <= target[active]
        pads = np.maximum(count[active], 2)
        helped = passes | (tried.use < best.use[active] * (1 - WORTH_A_PAD / pads))
        vain[active] = np.where(helped, 0, vain[active] + 1)
        rows = active[helped]
        best.place[rows, : tried.place.shape[1]] = tried.place[helped]
        best.count[rows], best.use[rows] = count[rows], tried.use[helped]
        # no room for so many: fewer, as long as none has stood; else more
        crowded = ~np.isfinite(best.use[active])
        over = np.minimum(np.where(np.isfinite(tried.use), tried.use / target[active], 1.0), 100.0)
        more = np.maximum(1, (0.5 * (pads - 1) * (np.sqrt(over) - 1)).astype(int))
        goes_on = np.where(crowded, count[active] > 2,
                           ~passes & (vain[active] < IN_VAIN) & (count[active] < most[active]))
        count[active] = np.where(crowded, np.maximum(2, count[active] * 3 // 4),
                                 np.minimum(count[active] + more, most[active]))
        active = active[goes_on]
    return best


def _even_out(nodes: Nodes, places: Places, count: Ints, target: Array, shared: Array, own: Ints) -> Spread:
    """The best places found for `count` pads on each piece."""
    pads = int(count.max())
    lengths = _first_lengths(nodes, places, count, pads)
    best = Spread(np.zeros((len(count), pads), np.intp), count, np.full(len(count), np.inf))
    open_ = np.arange(len(count))
    for _ in range(ROUNDS):
        n, p, c = nodes.pick(open_), places.pick(open_), count[open_]
        place, apart = _settle(n, p, lengths[open_], c)
        open_, place, c = open_[apart], place[apart], c[apart]
        if not len(open_):
            return best
        n, p = n.pick(np.flatnonzero(apart)), p.pick(np.flatnonzero(apart))
        by_region, by_pad, worst = _demand(n, p, place, c, look(n, place, c), shared, own[open_], target[open_])
        better = worst < best.use[open_]
        best.place[open_[better]], best.use[open_[better]] = place[better], worst[better]
        lengths[open_] = _resize(n, p, place, c, by_region, by_pad)
        open_ = open_[(best.use[open_] > target[open_])]
        if not len(open_):
            return best
    near = open_[(best.use[open_] <= NEAR_PASSING * target[open_])]
    for step in NUDGES:
        near = near[best.use[near] > target[near]]
        if not len(near):
            break
        _nudge(nodes, places, best, near, step, shared, own, target)
    return best


def _ends(nodes: Nodes, place: Ints, count: Ints) -> tuple[Array, Bools]:
    """Lengths of all regions (pieces, pads + 1), overhangs first and last, and which are spans."""
    rows, pads = place.shape
    idle = np.arange(pads) >= count[:, None]
    at = np.where(idle, nodes.x[:, -1:], np.take_along_axis(nodes.x, place, axis=1))
    lengths = np.diff(np.concatenate([np.zeros((rows, 1)), at, nodes.x[:, -1:]], axis=1), axis=1)
    region = np.arange(pads + 1)
    return lengths, (region >= 1) & (region < count[:, None])


def _first_lengths(nodes: Nodes, places: Places, count: Ints, pads: int) -> Array:
    """Pads at the ends and the rest shared out evenly by strength: spans go with the root of what the wood carries."""
    pace = np.sqrt(nodes.per_moment)
    run = np.concatenate([np.zeros((len(count), 1)),
                          np.cumsum((pace[:, 1:] + pace[:, :-1]) / 2 * np.diff(nodes.x), axis=1)], axis=1)
    total = nodes.x[:, -1]
    first = np.where(places.free[:, 0], places.inset, 0.0)
    last = np.where(places.free[:, 1], total - places.inset, total)
    at = np.zeros((len(count), pads))
    for i in range(len(count)):
        a, b = np.interp([first[i], last[i]], nodes.x[i], run[i])
        c = count[i]
        at[i, :c] = np.interp(np.linspace(a, b, c), run[i], nodes.x[i])
        at[i, c:] = total[i]
    return np.diff(np.concatenate([np.zeros((len(count), 1)), at, total[:, None]], axis=1), axis=1)


def _settle(nodes: Nodes, places: Places, lengths: Array, count: Ints) -> tuple[Ints, Bools]:
    """The nearest open nodes to pads so far apart, and whether all stand the least distance apart."""
    rows, pads = len(count), lengths.shape[1] - 1
    last = nodes.x.shape[1] - 1
    i = np.arange(rows)
    at = np.cumsum(lengths, axis=1)[:, :-1]
    h = (nodes.x[:, last - 1] - nodes.x[:, 1]) / (last - 2)
    step = np.ceil(places.least / h - 1e-6).astype(np.intp)
    index = np.arange(last + 1)
    up = np.minimum.accumulate(np.where(places.open_, index, 10 * last)[:, ::-1], axis=1)[:, ::-1]
    down = np.maximum.accumulate(np.where(places.open_, index, -10 * last), axis=1)
    place = np.full((rows, pads), last)
    fixed_a, fixed_b = ~places.free[:, 0], ~places.free[:, 1]
    for k in range(pads):
        real = k < count
        want = np.clip(np.rint((at[:, k] - nodes.x[:, 1]) / h).astype(np.intp) + 1, 1, last - 1)
        floor = np.ones(rows, np.intp) if k == 0 else np.minimum(place[:, k - 1] + step, last)
        want = np.maximum(want, floor)
        lo, hi = down[i, want], up[i, want]
        near = np.where((want - lo <= hi - want) & (lo >= floor), lo, hi)
        near = np.where(near > last, np.where(lo >= floor, lo, want), near)
        near = np.where(fixed_a & (k == 0), 0, near)
        near = np.where(fixed_b & (k == count - 1), last, near)
        place[:, k] = np.where(real, near, last)
    for k in range(pads - 2, -1, -1):  # from the far end back, where the last stand too near
        real = k + 1 < count
        most = place[:, k + 1] - step
        late = real & (place[:, k] > most) & ~(fixed_a & (k == 0))
        back = down[i, np.clip(most, 0, last)]
        place[:, k] = np.where(late & (back >= 1), back, place[:, k])
    gap = np.diff(place, axis=1)
    apart = np.all((gap >= step[:, None]) | (np.arange(1, pads) >= count[:, None]), axis=1)
    standing = np.take_along_axis(places.open_, place, axis=1) | (np.arange(pads) >= count[:, None])
    standing[:, 0] |= fixed_a
    standing[i, count - 1] |= fixed_b
    return place, apart & standing.all(axis=1)


def _demand(nodes: Nodes, places: Places, place: Ints, count: Ints, use: Use, shared: Array, own: Ints,
            target: Array) -> tuple[Array, Array, Array]:
    """What each region (pieces, pads + 1) and each pad (pieces, pads) asks for less, and each piece's worst use."""
    rows, pads = place.shape
    i = np.arange(rows)
    dead, most = use.dead.copy(), use.most.copy()
    brought = shared[own]
    for end, at in ((0, np.zeros(rows, np.intp)), (1, count - 1)):
        held = ~places.free[:, end]
        extra_dead = np.where(np.isnan(brought[:, end, 0]), dead[i, at], brought[:, end, 0])
        extra_most = np.where(np.isnan(brought[:, end, 1]), most[i, at], brought[:, end, 1])
        mate = places.partner[:, end]
        known = held & (mate >= 0)
        shared[mate[known], 1 - end, 0], shared[mate[known], 1 - end, 1] = dead[i, at][known], most[i, at][known]
        dead[i, at] += np.where(held, extra_dead, 0.0)
        most[i, at] += np.where(held, extra_most, 0.0)
    need = np.maximum(dead / places.limits[0], most / places.limits[1])
    by_pad = np.maximum(use.pad, need / largest_area(nodes, places, place, count))
    # how loads are shared out is judged by the largest pad for the place: one that only its neighbour keeps small
    # is not helped by a nearer neighbour
    fits = np.take_along_axis(places.fits, place[..., None], axis=1)
    share = np.maximum(use.pad, need / np.where(fits, places.area, places.area[0]).max(axis=2))
    hard = overstepped(nodes, places, place, count)
    # these do not bend with the target, which stands for what the quick look does not see
    worst = np.maximum(np.maximum(use.span.max(axis=1), by_pad.max(axis=1)), 0)
    strict = hard.max(axis=1)
    worst = np.where(strict > 1 + 1e-6, np.maximum(worst, target) + TOO_LONG * target * (strict - 1), worst)
    scale = target[:, None]
    return np.maximum(np.sqrt(use.span / scale), hard), share / scale, worst


def overstepped(nodes: Nodes, places: Places, place: Ints, count: Ints) -> Array:
    """Overhangs and spans (pieces, pads + 1) to the longest that they may be, whatever the wood carries."""
    lengths, spans = _ends(nodes, place, count)
    i = np.arange(len(count))
    back = np.where(spans, lengths, np.inf)
    over = np.where(spans, lengths / places.widest[:, None], 0.0)
    for end, at, beside in ((0, np.zeros(len(count), np.intp), np.ones(len(count), np.intp)), (1, count, count - 1)):
        out = np.where(places.free[:, end] & (lengths[i, at] > places.inset + 0.05), lengths[i, at], 0.0)
        over[i, at] = out / (clearances.OVERHANG * back[i, beside])
    return over


def largest_area(nodes: Nodes, places: Places, place: Ints, count: Ints) -> Array:
    """Area of the largest pad that fits at each place, beside its neighbours on the member (pieces, pads) [sq in]."""
    lengths, spans = _ends(nodes, place, count)
    gap = np.where(spans, lengths, np.inf)
    room = np.minimum(gap[:, :-1], gap[:, 1:])
    fits = np.take_along_axis(places.fits, place[..., None], axis=1)
    fits = fits & (places.along + places.between <= room[..., None] + 1e-6)
    return np.asarray(np.where(fits, places.area, places.area[0]).max(axis=2))


def _resize(nodes: Nodes, places: Places, place: Ints, count: Ints, by_region: Array, by_pad: Array) -> Array:
    """New lengths: each region by what it and the pads at its ends ask, the whole as long as the piece."""
    lengths, spans = _ends(nodes, place, count)
    rows, regions = lengths.shape
    i, region = np.arange(rows), np.arange(regions)
    # a span goes by the mean of its two pads, which keeps neighbours alike; an overhang by its own
    beside = (np.pad(by_pad, ((0, 0), (1, 0))) + np.pad(by_pad, ((0, 0), (0, 1)))) * np.where(spans, 0.5, 1.0)
    ask = np.clip(np.maximum(by_region, beside), 0.25, 4.0)
    over = (region == 0) | (region == count[:, None])
    free = np.where(region == 0, places.free[:, :1], places.free[:, 1:])
    least = np.where(over & free, places.inset[:, None], 0.0)
    grown = np.where(spans | (over & free), np.maximum(lengths, np.maximum(least, 1.0)) * ask**-0.7, 0.0)
    # pads alike in load may stand by twos, which serves nothing: each span is drawn a little to its neighbours
    log = np.log(np.where(spans, grown, 1.0))
    beside_log = np.pad(log, ((0, 0), (1, 1)))
    near = np.pad(spans, ((0, 0), (1, 1))).astype(float)
    count_near = near[:, :-2] + near[:, 2:]
    drawn = np.where(count_near > 0, (beside_log[:, :-2] + beside_log[:, 2:]) / np.maximum(count_near, 1), log)
    grown = np.where(spans, np.exp((1 - EVEN) * log + EVEN * drawn), grown)
    total = nodes.x[:, -1:]
    grown *= total / grown.sum(axis=1, keepdims=True)
    for end, next_to in ((np.zeros(rows, np.intp), np.ones(rows, np.intp)), (count, count - 1)):
        grown[i, end] = np.where(least[i, end] > 0,
                                 np.clip(grown[i, end], least[i, end],
                                         np.maximum(least[i, end], clearances.OVERHANG * grown[i, next_to])), 0.0)
    rest = total - np.where(over, grown, 0.0).sum(axis=1, keepdims=True)
    inner = np.where(spans, grown, 0.0)
    inner *= rest / inner.sum(axis=1, keepdims=True)
    return np.where(spans, inner, np.where(over, grown, 0.0))


def _nudge(nodes: Nodes, places: Places, best: Spread, near: Ints, step: int, shared: Array, own: Ints,
           target: Array) -> None:
    """Shift a pad, or it and all after it, by `step` nodes either way wherever that lowers the use; in place."""
    pads = best.place.shape[1]
    single = np.eye(pads, dtype=np.intp)
    onward = np.triu(np.ones((pads, pads), np.intp))
    moves = np.concatenate([single, -single, onward[1:], -onward[1:]]) * step  # (moves, pads)
    last = nodes.x.shape[1] - 1
    for _ in range(4):
        rows = np.repeat(near, len(moves))
        n, p, c = nodes.pick(rows), places.pick(rows), best.count[rows]
        real = np.arange(pads) < c[:, None]
        place = np.where(real, best.place[rows] + np.tile(moves, (len(near), 1)), last)
        first_fixed, last_fixed = ~p.free[:, 0], ~p.free[:, 1]
        place[first_fixed, 0] = 0
        k = np.arange(len(rows))
        place[k, c - 1] = np.where(last_fixed, last, place[k, c - 1])
        place = np.clip(place, 0, last)
        h = (n.x[:, last - 1] - n.x[:, 1]) / (last - 2)
        apart = np.all((np.diff(place, axis=1) * h[:, None] >= p.least[:, None] - 1e-6) | ~real[:, 1:], axis=1)
        stands = np.take_along_axis(p.open_, place, axis=1) | ~real
        stands[:, 0] |= first_fixed
        stands[k, c - 1] |= last_fixed
        fair = apart & stands.all(axis=1)
        worst = np.full(len(rows), np.inf)
        f = np.flatnonzero(fair)
        if len(f):
            nf, pf = n.pick(f), p.pick(f)
            _, _, worst[f] = _demand(nf, pf, place[f], c[f], look(nf, place[f], c[f]), shared.copy(), own[rows[f]],
                                     target[rows[f]])
        by_move = worst.reshape(len(near), len(moves))
        pick = np.argmin(by_move, axis=1)
        value = by_move[np.arange(len(near)), pick]
        better = value < best.use[near] - 1e-4
        chosen = place.reshape(len(near), len(moves), pads)[np.arange(len(near)), pick]
        best.place[near[better]], best.use[near[better]] = chosen[better], value[better]
        near = near[better & (value > target[near])]
        if not len(near):
            break


def least_counts(nodes: Nodes, places: Places, reach: Array) -> Ints:
    """Pads below which no piece can pass: by spacing, by the insulation under all of its load, and about by strength.

    `reach` (pieces, nodes) is the simple span that the wood allows at each node [in].
    """
    total = nodes.x[:, -1]
    load, dead = nodes.Q[:, -1].sum(axis=1), nodes.Q[:, -1, 1]
    largest = places.area.max()
    bear = np.maximum(load / (places.limits[1] * largest), dead / (places.limits[0] * largest))
    hang = places.free.sum(axis=1) * clearances.OVERHANG
    wide = (total / places.widest) - hang
    spans = np.sum(np.diff(nodes.x) * 2 / (reach[:, 1:] + reach[:, :-1]), axis=1) / CONTINUOUS - hang
    need = np.maximum.reduce([np.ceil(bear - 1e-9), np.ceil(wide - 1e-9) + 1, np.ceil(spans - 1e-9) + 1])
    return np.asarray(np.maximum(2, need).astype(np.intp))
