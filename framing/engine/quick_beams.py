"""How hard every pad and span is used, looked up from running sums: what the search for places asks many times.

Stage: structure -> pads. The beams of `structure`, on a row of nodes each; with pads on nodes every integral over a
span is a difference of two sums. Good to about a part in a hundred; `structure.solve` has the last word. Pads that lift
are let go under live load on every other span and where it lifts an end most, and under a point load alone; other
patterns hold them down here.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from framing.engine.structure import Beam, Load, MemberDesign
from framing.reference import design_values as nds
from framing.reference.loads import TIP_DEFLECTION, TIP_LOAD, TIP_UNFELT

Array = NDArray[np.float64]
Ints = NDArray[np.intp]

STATIONS = 7  # places looked at along each span


@dataclass(frozen=True)
class Nodes:
    """Beams at their nodes, (beams, nodes): place x [in], running integrals of 1, x and x2 over I, and what a unit of
    moment or shear uses of the wood there; and for live and dead load, (beams, nodes, 2), the load so far Q and before
    the node Q0 [lb], its integral A and the running integrals of A and xA over I.
    """

    x: Array
    Q: Array
    Q0: Array
    A: Array
    F0: Array
    F1: Array
    F2: Array
    G0: Array
    G1: Array
    per_moment: Array
    per_shear: Array
    fibre: Array  # (beams,) wood that a pad bears on: thickness times Fcp [lb/in]
    pad_length: Array
    E: Array
    creep: Array
    live_limit: Array
    total_limit: Array
    point: Array  # (beams,) a load alone at the middle of any span or on any tip [lb]

    def pick(self, rows: Ints) -> Nodes:
        return Nodes(*(v[rows] for v in vars(self).values()))


@dataclass(frozen=True)
class Use:
    """How far wood is used, demand to limit: `span` (beams, pads + 1), overhangs first and last, `pad` (beams, pads).

    Reactions (beams, pads) [lb]: `dead`, and `most` under the worst pattern.
    """

    span: Array
    pad: Array
    dead: Array
    most: Array


def lay_nodes(beams: Sequence[Beam], x: Array, load: Load, designs: Sequence[MemberDesign]) -> Nodes:
    """The sums at nodes x (beams, nodes) [in], rising, each row from its beam's start to its end."""
    depth = np.empty_like(x)
    Q, Q0, A = np.empty((3, *x.shape, 2))
    for i, b in enumerate(beams):
        depth[i] = np.interp(x[i], b.profile[:, 0], b.profile[:, 1])
        parts, bin_ = b.width.size, b.length / b.width.size
        along = np.outer(b.width / 144, [load.live, load.dead]) + np.asarray(b.added)[::-1].T  # (parts, 2)
        so_far = np.concatenate([np.zeros((1, 2)), np.cumsum(along * bin_, axis=0)])
        moment = np.concatenate([np.zeros((1, 2)), np.cumsum((so_far[1:] + so_far[:-1]) / 2 * bin_, axis=0)])
        k = np.minimum((x[i] / bin_).astype(np.intp), parts - 1)
        into = (x[i] - k * bin_)[:, None]
        even = so_far[k] + along[k] * into
        points = np.concatenate([b.point_loads.reshape(-1, 2) @ [[1, 0, 0], [0, load.live / 144, load.dead / 144]],
                                 np.reshape(b.added_points, (-1, 3))[:, [0, 2, 1]]])
        past = x[i][:, None] - points[:, 0]
        Q[i] = even + (past >= -1e-6) @ points[:, 1:]
        Q0[i] = even + (past > 1e-6) @ points[:, 1:]
        A[i] = moment[k] + so_far[k] * into + along[k] * into**2 / 2 + np.maximum(past, 0) @ points[:, 1:]
    thick = np.array([b.thickness for b in beams])[:, None]
    give = 12 / (thick * depth**3)
    step = np.diff(x)

    def running(values: Array) -> Array:
        part = (values[:, 1:] + values[:, :-1]) / 2 * step.reshape(*step.shape, *[1] * (values.ndim - 2))
        return np.concatenate([np.zeros_like(values[:, :1]), np.cumsum(part, axis=1)], axis=1)

    def each(values: list[float]) -> Array:
        return np.array(values, float)

    values = [d.values for d in designs]
    Fb, Fv = each([v.Fb for v in values])[:, None], each([v.Fv for v in values])[:, None]
    slope = np.abs(np.diff(depth)) / np.maximum(step, 1e-9)
    steep = np.maximum(np.c_[slope, np.zeros(len(x))], np.c_[np.zeros(len(x)), slope])
    # bending with the stresses that a tapered edge adds, by the squares, as `structure.strength` has it
    squares = Fb**-2 + (steep / Fv) ** 2 + (steep**2 / (nds.TENSION_ACROSS_OVER_FV * Fv)) ** 2
    return Nodes(
        x, Q, Q0, A, running(give), running(give * x), running(give * x**2), running(give[..., None] * A),
        running((give * x)[..., None] * A), np.sqrt(squares) * 6 / (thick * depth**2), 1.5 / (thick * depth) / Fv,
        each([b.thickness * v.Fcp for b, v in zip(beams, values, strict=True)]),
        each([d.pad_length for d in designs]), each([v.E for v in values]), each([v.kcr for v in values]),
        each([d.live_limit for d in designs]), each([d.total_limit for d in designs]), np.full(len(x), load.point),
    )


def look(nodes: Nodes, place: Ints, count: Ints) -> Use:
    """How the beams are used with pads on nodes `place` (beams, pads), the first `count` of each row; the rest idle."""
    beams, pads = place.shape
    last = nodes.x.shape[1] - 1
    own = np.arange(beams)[:, None]
    place = np.where(np.arange(pads) < count[:, None], place, last)
    ends = np.concatenate([np.zeros((beams, 1), np.intp), place, np.full((beams, 1), last)], axis=1)
    a, b = ends[:, :-1], ends[:, 1:]  # regions (beams, pads + 1): overhang, spans, overhang, and idle ones
    region = np.arange(pads + 1)
    spans = (region >= 1) & (region < count[:, None])
    right = (region == count[:, None])[..., None]
    xa, l = nodes.x[own, a], nodes.x[own, b] - nodes.x[own, a]
    safe = np.where(spans, np.maximum(l, 1e-9), 1.0)
    # load, its moment about the region's end, and the moment M0 = c0 + c1 t - (A - Aa - Qa t) of a region cut free at
    # its pads, t from its start: live and dead, (beams, regions, 2)
    Qa, Aa = (np.where((region == 0)[:, None], 0.0, v[own, a]) for v in (nodes.Q, nodes.A))
    W = nodes.Q[own, b] - Qa
    about_b = nodes.A[own, b] - Aa - Qa * l[..., None]
    c1 = np.where(spans[..., None], about_b / safe[..., None], np.where(right, W, 0.0))
    c0 = np.where(right, about_b - W * l[..., None], 0.0)

    # one pound at the middle of each span or on its tip: M0 = c0p + c1p t - max(t - h, 0)
    m = np.where(region == 0, a, np.where(spans, (a + b) // 2, b))
    h = nodes.x[own, m] - xa
    c1p = np.where(spans, (l - h) / safe, np.where(right[..., 0], 1.0, 0.0))
    c0p = np.where(right[..., 0], -l, 0.0)

    def sums(k: Ints) -> tuple[Array, ...]:
        """Integrals over I from each region's start to nodes (beams, regions, s): of 1, t and t2, of M0 and of t M0.

        The last two for live load, dead load and the one pound, (…, 3).
        """
        o, ka, xs = own[..., None], a[..., None], xa[..., None]
        f0, f1, f2 = (v[o, k] - v[o, ka] for v in (nodes.F0, nodes.F1, nodes.F2))
        g0, g1 = (v[o, k] - v[o, ka] for v in (nodes.G0, nodes.G1))
        p1 = f1 - xs * f0
        p2 = f2 - 2 * xs * f1 + xs**2 * f0
        al, be = (c0 + Aa)[:, :, None], (c1 + Qa)[:, :, None]
        q0, q1, q2 = f0[..., None], p1[..., None], p2[..., None]
        past, km, hm = np.maximum(k, m[..., None]), m[..., None], h[..., None]
        e0, e1, e2 = (v[o, past] - v[o, km] for v in (nodes.F0, nodes.F1, nodes.F2))
        xm = xs + hm
        r1 = e1 - xm * e0  # of t - h past the pound, and of its square
        r2 = e2 - 2 * xm * e1 + xm**2 * e0
        cp, bp = c0p[..., None], c1p[..., None]
        one = np.stack([cp * f0 + bp * p1 - r1, cp * p1 + bp * p2 - r2 - hm * r1], axis=-1)
        return (f0, p1, p2, np.concatenate([al * q0 + be * q1 - g0, one[..., :1]], axis=-1),
                np.concatenate([al * q1 + be * q2 - (g1 - xs[..., None] * g0), one[..., 1:]], axis=-1))

    f0, p1, p2, m0, m1 = (v[:, :, 0] for v in sums(b[..., None]))
    flex_right, flex_cross = p2 / safe**2, (safe * p1 - p2) / safe**2
    flex_left = f0 - 2 * p1 / safe + p2 / safe**2
    turn_right = m1 / safe[..., None]
    turn_left = m0 - turn_right

    # the three-moment equation for live load on each region in turn, for dead load, for the pound on each region in
    # turn, and for each pad raised by 1/E in turn; an idle pad stands for itself
    j, cases = np.arange(pads), pads + 1
    first, final = j == 0, j == count[:, None] - 1
    inner = (j > 0) & (j < count[:, None] - 1)
    lhs = np.zeros((beams, pads, pads))
    loads = 2 * cases + 1
    rhs = np.zeros((beams, pads, loads + pads))
    lhs[:, j, j] = np.where(inner, flex_right[:, :-1] + flex_left[:, 1:], 1.0)
    lhs[:, j[1:], j[:-1]] = np.where(inner, flex_cross[:, :-1], 0.0)[:, 1:]
    lhs[:, j[:-1], j[1:]] = np.where(inner, flex_cross[:, 1:], 0.0)[:, :-1]
    at_b = np.concatenate([about_b, l[..., None]], axis=-1)  # of an overhang about its pad, the load hogging
    at_a = np.concatenate([c0, c0p[..., None]], axis=-1)
    on_left = np.where(inner[..., None], -turn_right[:, :-1], np.where(first[:, None], -at_b[:, :-1], 0.0))
    on_right = np.where(inner[..., None], -turn_left[:, 1:], np.where(final[..., None], at_a[:, 1:], 0.0))
    rhs[:, j, j], rhs[:, j, j + 1] = on_left[..., 0], on_right[..., 0]
    rhs[:, :, cases] = on_left[..., 1] + on_right[..., 1]
    rhs[:, j, cases + 1 + j], rhs[:, j, cases + 2 + j] = on_left[..., 2], on_right[..., 2]
    per_left, per_right = np.where(inner, 1 / safe[:, :-1], 0.0), np.where(inner, 1 / safe[:, 1:], 0.0)
    raised = rhs[:, :, loads:]
    raised[:, j, j] = -per_left - per_right
    raised[:, j[1:], j[:-1]], raised[:, j[:-1], j[1:]] = per_left[:, 1:], per_right[:, :-1]
    moment = np.linalg.solve(lhs, rhs)

    at_left = np.zeros((beams, cases, rhs.shape[2]))  # (beams, regions, cases)
    at_right = np.zeros_like(at_left)
    at_left[:, 1:], at_right[:, :-1] = moment, moment
    at_left *= spans[..., None]
    tilt = np.where(spans[..., None], (at_right - at_left) / safe[..., None], 0.0)
    start = tilt.copy()
    start[:, region, region] += c1[..., 0]
    start[:, :, cases] += c1[..., 1]
    start[:, region, cases + 1 + region] += c1p
    end = start.copy()
    end[:, region, cases + 1 + region] -= 1
    end[:, region, region] -= W[..., 0]
    end[:, :, cases] -= W[..., 1]
    reaction = start[:, 1:] - end[:, :-1]
    by_case, dead, by_rise = reaction[..., :cases], reaction[..., cases], reaction[..., loads:]
    point = nodes.point[:, None] * (region <= count[:, None])
    tip = np.where((over := ~spans & (l > nodes.pad_length[:, None] / 2 + 1e-6)), np.maximum(point, TIP_LOAD), point)
    # lifting pads let go: every other region loaded, what lifts either end pad most, and each point load alone
    every = np.broadcast_to(np.stack([region % 2, 1 - region % 2]), (beams, 2, cases))
    lift_end = by_case[own, np.stack([np.zeros(beams, np.intp), count - 1], axis=1)] < 0
    patterns = 4 + (cases if nodes.point.any() else 0)
    acts = np.zeros((beams, loads, patterns))
    acts[:, :cases, :4] = np.swapaxes(np.concatenate([every, lift_end], axis=1), 1, 2)
    acts[:, cases] = 1
    if patterns > 4:
        acts[:, cases + 1 + region, 4 + region] = point
    held, rise_of = _let_go(reaction[..., :loads] @ acts, by_rise, count)
    alone = (reaction[..., cases + 1 : loads] * point[:, None]).max(axis=2)
    most = np.maximum(dead + np.maximum(np.maximum(by_case, 0).sum(axis=2), alone), held.max(axis=2))

    def let_go(values: Array) -> Array:
        """Of unit cases (beams, regions, cases) the patterns with pads let go (beams, regions, 1, patterns)."""
        return np.asarray((values[..., :loads] @ acts + values[..., loads:] @ rise_of)[:, :, None])

    def own_let_go(own_part: Array) -> Array:
        """What a region's own loads (beams, regions, stations, 3) add to each pattern (…, patterns)."""
        live, pound = acts[:, :cases, None], acts[:, cases + 1 :, None]
        return np.asarray(own_part[..., :1] * live + own_part[..., 1:2] + own_part[..., 2:] * pound)

    left_let, tilt_let = let_go(at_left), let_go(tilt)
    lifts, slant = np.zeros((2, beams, cases, 1, patterns))  # E times the rise of a region's left end, its slope
    lifts[:, 1:, 0] = rise_of
    slant[:, 1:-1, 0] = np.diff(rise_of, axis=1) / safe[:, 1:-1, None]
    lifts, slant = lifts * spans[..., None, None], slant * spans[..., None, None]

    k = a[..., None] + np.rint((b - a)[..., None] * np.linspace(0, 1, STATIONS)).astype(np.intp)
    o = own[..., None]
    t = (nodes.x[o, k] - xa[..., None])[..., None]
    ml, tl = at_left[:, :, None, :loads], tilt[:, :, None, :loads]

    def put(values: Array, own_part: Array) -> Array:
        """`values` (beams, regions, stations, cases) with what a region's own loads add, live, dead and the pound."""
        values[:, region, :, region] += np.moveaxis(own_part[..., 0], 1, 0)
        values[:, region, :, cases + 1 + region] += np.moveaxis(own_part[..., 2], 1, 0)
        values[..., cases] += own_part[..., 1]
        return values

    M0 = c0[:, :, None] + c1[:, :, None] * t - (nodes.A[o, k] - Aa[:, :, None] - Qa[:, :, None] * t)
    past = np.maximum(t - h[..., None, None], 0)
    M0 = np.concatenate([M0, c0p[..., None, None] + c1p[..., None, None] * t - past], axis=-1)
    M, M_let = put(ml + tl * t, M0), left_let + tilt_let * t + own_let_go(M0)
    so_far = nodes.Q[o, k]
    so_far[:, :, -1] = nodes.Q0[own, b]
    V0 = c1[:, :, None] - (so_far - Qa[:, :, None])
    beyond = (past > 0) | (region == 0)[:, None, None]
    V0 = np.concatenate([V0, c1p[..., None, None] - beyond], axis=-1)
    V, V_let = put(np.repeat(tl, STATIONS, axis=2), V0), tilt_let + own_let_go(V0)
    worst = np.maximum(_worst(M, cases, tip), np.abs(M_let).max(axis=-1)) * nodes.per_moment[o, k]
    shear = np.maximum(_worst(V, cases, tip), np.abs(V_let).max(axis=-1)) * nodes.per_shear[o, k]
    span = np.where(l > 1e-6, np.maximum(worst, shear).max(axis=2), 0.0)

    # deflection down: the chord of the deflected line less the line, for moments 1, t and M0
    q0, q1, q2, n0, n1 = sums(k)
    rise = [t * q0[..., None] - q1[..., None], t * q1[..., None] - q2[..., None], t * n0 - n1]
    down = [v[:, :, -1:] / safe[:, :, None, None] * t - v for v in rise]
    y = put(ml * down[0] + tl * down[1], down[2])
    y_let = (left_let * down[0] + tilt_let * down[1] + own_let_go(down[2]) - lifts - slant * t)
    y_dead = y[..., cases]
    alone = (y[..., cases + 1 :] * point[:, None, None]).max(axis=-1)
    y_live = np.maximum(np.maximum(np.maximum(y[..., :cases], 0).sum(axis=-1), alone), y_let.max(axis=-1) - y_dead)
    long = np.where(spans, l, np.inf)
    span = np.maximum(span, _sag(nodes, y_dead, y_live, long[..., None]).max(axis=2))
    # tips: the line turns over the end pad and carries the overhang with it
    ml, tl = at_left[:, :, None], tilt[:, :, None]
    turn = put(ml * rise[0][:, :, -1:] + tl * rise[1][:, :, -1:], rise[2][:, :, -1:])[:, :, 0] / safe[..., None]
    whole_turn = put(ml * q0[:, :, -1:, None] + tl * q1[:, :, -1:, None], n0[:, :, -1:])[:, :, 0]
    i, n = np.arange(beams), count
    near_tip, far_tip = -turn[:, 1] * l[:, :1], (turn[i, n - 1] - whole_turn[i, n - 1]) * l[i, n][:, None]
    near_tip[:, 0] += nodes.G1[i, b[:, 0], 0]
    near_tip[:, cases] += nodes.G1[i, b[:, 0], 1]
    near_tip[:, cases + 1] += nodes.F2[i, b[:, 0]]
    far_tip[i, n] -= rise[2][i, n, -1, 0]
    far_tip[:, cases] -= rise[2][i, n, -1, 1]
    far_tip[i, cases + 1 + n] -= rise[2][i, n, -1, 2]
    for drop, at, up in ((near_tip, np.zeros(beams, np.intp), rise_of[:, 0] - slant[:, 1, 0] * l[:, :1]),
                         (far_tip, n, rise_of[i, n - 1] + slant[i, n - 1, 0] * l[i, n][:, None])):
        hang = l[i, at]
        reach = np.where(hang > 1e-6, 2 * hang, np.inf)[:, None, None]
        dead_drop = drop[:, cases]
        alone = (drop[:, cases + 1 : loads] * point).max(axis=-1)
        let = np.einsum("bc,bcp->bp", drop[:, :loads], acts) + np.einsum("bj,bjp->bp", drop[:, loads:], rise_of) - up
        live = np.maximum.reduce([np.maximum(drop[:, :cases], 0).sum(axis=-1), alone, let.max(axis=-1) - dead_drop])
        sag = _sag(nodes, dead_drop[:, None, None], live[:, None, None], reach)[:, 0, 0]
        by_tip = TIP_LOAD * drop[i, cases + 1 + at] / nodes.E / np.maximum(hang / TIP_DEFLECTION, TIP_UNFELT)
        span[i, at] = np.maximum(span[i, at], np.maximum(sag, np.where(over[i, at], by_tip, 0.0)))

    stands = nodes.x[own, place]
    half = nodes.pad_length[:, None] / 2
    under = np.minimum(stands + half, nodes.x[:, -1:]) - np.maximum(stands - half, 0)
    real = j < count[:, None]
    pad = np.where(real, most / (nodes.fibre[:, None] * under), 0.0)
    return Use(span, pad, np.where(real, dead, 0.0), np.where(real, most, 0.0))


def _worst(values: Array, cases: int, point: Array) -> Array:
    """Greatest size of dead load with any of the live loads, or with a point load (beams, regions) alone."""
    live, dead, pound = values[..., :cases], values[..., cases], values[..., cases + 1 :]
    up = np.maximum(live, 0).sum(axis=-1)
    most = np.maximum(dead + up, up - live.sum(axis=-1) - dead)
    alone = pound * point[:, None, None]
    return np.asarray(np.maximum.reduce([most, dead + alone.max(axis=-1), -dead - alone.min(axis=-1)]))


def _let_go(held: Array, by_rise: Array, count: Ints) -> tuple[Array, Array]:
    """Reactions (beams, pads, patterns) with the pads let go that would pull, and E times how far those rise.

    Where fewer than two pads would be left, all stay.
    """
    beams, pads, patterns = held.shape
    real = (np.arange(pads) < count[:, None])[..., None]
    rise, reaction = np.zeros_like(held), held
    who = np.flatnonzero((held < -1e-6 * np.abs(held).sum(axis=1, keepdims=True)).any(axis=(1, 2)))
    if not len(who):
        return reaction, rise
    own, influence, real = held[who], by_rise[who], real[who]
    free = (own < 0) & real
    for _ in range(pads):
        free &= (free.sum(axis=1) <= count[who, None] - 2)[:, None]
        f = np.moveaxis(free, 2, 1)  # (who, patterns, pads)
        lhs = np.where(f[..., None] & f[..., None, :], influence[:, None], np.eye(pads))
        up = np.linalg.solve(lhs, np.where(f, -np.moveaxis(own, 2, 1), 0.0)[..., None])[..., 0]
        now = np.moveaxis(np.moveaxis(own, 2, 1) + np.einsum("bij,bpj->bpi", influence, up), 1, 2)
        up = np.moveaxis(up, 1, 2)
        again = np.where(free, up > 0, now < -1e-6 * np.abs(own).sum(axis=1, keepdims=True)) & real
        if np.array_equal(again, free):
            break
        free = again
    reaction = held.copy()
    reaction[who], rise[who] = now, up
    return reaction, rise


def _sag(nodes: Nodes, dead: Array, live: Array, long: Array) -> Array:
    """Deflections down, times E (beams, ...), to what a length may have: live, and total with creep."""
    total = nodes.creep[:, None, None] * np.maximum(dead, 0) + live
    return np.asarray(np.maximum(live * nodes.live_limit[:, None, None], total * nodes.total_limit[:, None, None])
                      / (nodes.E[:, None, None] * long))
