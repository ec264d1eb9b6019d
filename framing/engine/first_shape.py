"""The shape of a network before it is fitted: which points its readings fix, and first coordinates for them.

A part of the adjustment stage.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from itertools import combinations

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csr_array
from scipy.sparse.csgraph import shortest_path
from scipy.sparse.linalg import eigsh

from framing.engine.network import Bools, Floats, Ints, Network, factored, fit, misfits, products, slopes

_BEAM = 64  # shapes carried along while two-fold choices are open
_HOPELESS = 40.0  # a shape that fits so much worse than the best has four wild tapes more, or five
_SCATTER = 96  # random starts for points that no pair of tapes reaches
_SCALE = 0.5  # [in] misfit from which a tape counts less and less in the choice of the first shape
_LARGE = 40  # points from which on a network is first looked at as a whole
_ONE_SPOT = 6.0  # [in] distance from which two names may well stand for two points
_DOUBT = 5.0  # how much worse a shape is for two names on one spot: a wild tape's worth
_AT_ONCE = 6_000  # readings of all shapes tried at once: bounds the work on large networks
_REFIT = 24  # points placed before they are first fitted, and again each time they are half as many more
_HELD = 1e-10  # share of a tape's hold on its ends under which a free movement is held by nothing
_FLIPS = 16  # points held by two others alone that are tried on their other side
_DIRECTIONS = 40  # free movements looked at one by one, where there are more


# --- what the readings fix -------------------------------------------------------------------------------------

def general_position(net: Network) -> Floats:
    """Known coordinates, and for the rest places that lie in no line or other special way; shape (n, 2). [in]"""
    size = max(np.nanmax(np.abs(net.known), initial=0.0), net.length.max(initial=0.0), 1.0)
    xy = np.random.default_rng(7).uniform(-size, size, net.known.shape)
    return np.where(np.isnan(net.known), np.where(net.free, xy, 0.0), net.known)


def loose(net: Network) -> tuple[int, Floats]:
    """Movements that the readings leave free where the points stand in general position.

    Returns
    -------
    missing : int
        How many independent ones there are: readings that the network lacks.
    directions : ndarray, shape (n, 2, d)
        Orthonormal ones, all of them or as many as are looked at one by one.

    Notes
    -----
    Points that pairs of tapes place one after another are fixed for certain. For the rest, movements that nothing
    holds are eigenvectors of their normal equations N with the eigenvalue 0. Powers of (1 + N / limit)^-1 leave of
    random movements only those; how many there are, the signs of the pivots of N - limit say (J. J. Sylvester,
    Philosophical Magazine 4, 1852, the law of inertia).
    """
    rest = replace(net, free=net.free & ~_placed(net)[:, None])
    count = int(rest.free.sum())
    if not count:
        return 0, np.zeros((*net.free.shape, 0))
    slope = slopes(rest, general_position(net))[None]
    entries = products(rest.pattern, slope)
    limit = _HELD * max(1 / net.sigma, 1 / net.position_sigma) ** 2
    entries[:, rest.pattern.diagonal] -= limit
    missing = int((factored(rest.pattern, entries).U.diagonal() < 0).sum())
    entries[:, rest.pattern.diagonal] += 2 * limit
    factor = factored(rest.pattern, entries)
    move = np.random.default_rng(3).standard_normal((count, min(missing, _DIRECTIONS)))
    for _ in range(3 if move.size else 0):
        move = limit * factor.solve(move)
    directions = np.zeros((*net.free.shape, move.shape[1]))
    directions[rest.free] = np.linalg.qr(move)[0]
    return missing, directions


def _placed(net: Network) -> Bools:
    """Points that pairs of tapes place one after another, from those known or from some tape as the first side."""
    along = -1 if net.axis is None else net.axis[1]
    placed = _reached(net, ~np.isnan(net.known[:, 0]), along)
    for body in [] if placed.all() else _bodies(net):
        if len(_anchors(net, body, placed)) > 1:
            placed = _reached(net, placed | body, along)
    return placed


def _anchors(net: Network, body: Bools, placed: Bools) -> Ints:
    """Points of a rigid body that say where it lies: those placed, or the frame's own two."""
    if net.axis is not None and body[list(net.axis)].all() and (body & placed).sum() < 2:
        return np.array(net.axis)
    return np.flatnonzero(body & placed)


def _bodies(net: Network) -> Iterator[Bools]:
    """Points that hang together with one tape as a rigid body, for tapes in turn that lie in none found before."""
    tapes = set(map(tuple, np.sort(net.ends, axis=1).tolist()))
    for a, b in sorted(tapes):
        if (a, b) in tapes:
            body = _reached(net, np.isin(np.arange(len(net.names)), (a, b)))
            tapes -= {(p, q) for p in np.flatnonzero(body).tolist() for q in net.near[p] if body[q]}
            yield body


def _reached(net: Network, known: Bools, along: int = -1) -> Bools:
    """Points that two tapes each place from those known, one after another; `along`, which lies on a line, by one."""
    placed, lacking = known.copy(), [2] * len(known)
    if along >= 0:
        lacking[along] = 1
    fresh = np.flatnonzero(placed).tolist()
    while fresh:
        for q in net.near[fresh.pop()]:
            lacking[q] -= 1
            if lacking[q] == 0 and not placed[q]:
                placed[q] = True
                fresh.append(q)
    return placed


# --- first coordinates -----------------------------------------------------------------------------------------

def shapes(net: Network) -> Floats:
    """Every shape that the readings may have, best first, as first coordinates; shape (m, n, 2), m <= 64. [in]

    Points are placed by pairs of tapes from points placed before. Each pair gives two places, one on either
    side: both are carried on until other tapes decide, those that fit best kept. A slip in a single tape
    does not mislead the choice, since each point is tried from every pair of its tapes and a wild tape counts
    little. Where the mirror image of all would fit as well, one of the two is given. Points that no pair of tapes
    reaches (rigid only as a whole) start from scattered places. A large network is looked at as a whole first.
    """
    start = np.nan_to_num(net.known)[None]
    known = ~np.isnan(net.known[:, 0])
    whole = np.zeros((0, len(known), 2))
    if len(known) > _LARGE:
        whole = fit(net, _scaled(net), rounds=10)
        far = (np.abs(misfits(net, whole)) > 10).mean(axis=1)
        if far.min(initial=1.0) < 0.05:
            return whole[np.argsort(far)]
    grown, done = _grow(net, start, known, net.axis, one_side=net.two_sided)
    for body in [] if done.all() else _bodies(net):
        anchors = _anchors(net, body, done)
        if len(anchors) > 1 and not done[body].all():  # the rest begins elsewhere and is joined to what is placed
            grown, done = _grow(net, *_joined(net, grown[0], done, body, anchors), net.axis)
    if not done.all():
        grown = _scattered(net, grown[:4], done)
    return np.concatenate([whole, grown[: at_once(net, _BEAM)]])


def _scaled(net: Network) -> Floats:
    """The shape of a large network from the ways along its tapes, either side up; shape (m, n, 2), none if it fails.

    Over a net that covers an area evenly the shortest way between two points is hardly longer than the straight line.
    Classical scaling (W. S. Torgerson, Psychometrika 17, 1952) gives the plane figure that comes nearest to them.
    """
    n, given = len(net.names), np.flatnonzero(~np.isnan(net.known[:, 0]))
    if len(given) > _LARGE:
        return np.zeros((0, n, 2))
    way = np.zeros((n, n))
    step = net.known[given, None] - net.known[given]
    way[np.ix_(given, given)] = np.hypot(step[..., 0], step[..., 1])
    for k, others in enumerate(net.near):
        way[k, list(others)] = list(others.values())
    way = shortest_path(csr_array(way), directed=False)
    if not np.isfinite(way).all():
        return np.zeros((0, n, 2))
    square = way**2 - (way**2).mean(axis=0)
    product = (square - square.mean(axis=1, keepdims=True)) / -2
    size, axis = eigsh(product, 2, which="LA", v0=np.linspace(-1, 2, n))
    x, y = (axis * np.sqrt(np.maximum(size, 0.0))).T
    anchors = np.array(net.axis) if net.axis is not None and len(given) < 2 else given
    places = np.array([[0.0, 0.0], [1.0, 0.0]]) if len(given) < 2 else net.known[given]
    return _laid(np.stack([x + 1j * y] if net.two_sided else [x + 1j * y, x - 1j * y]), anchors, places)


def flipped(net: Network, xy: Floats) -> Floats:
    """The shape once more for each of some points that only two others hold, with it on their other side; (m, n, 2)."""
    loose_ones = np.isnan(net.known[:, 0]) & net.free.all(axis=1)
    points = [p for p in np.flatnonzero(loose_ones).tolist() if len(net.near[p]) == 2][:_FLIPS]
    shapes = np.repeat(xy[None], len(points), axis=0)
    for shape, p in zip(shapes, points, strict=True):
        a, b = (xy[q] for q in net.near[p])
        along = (b - a) / max(float(np.hypot(*(b - a))), 1e-9)
        shape[p] = 2 * (a + along * ((xy[p] - a) @ along)) - xy[p]
    return shapes


def at_once(net: Network, most: int) -> int:
    """How many shapes of a network to try, `most` where it is small."""
    return max(2, min(most, _AT_ONCE // max(net.rows, 1)))


def _grow(
    net: Network, xy: Floats, placed: Bools, axis: tuple[int, int] | None, *, one_side: bool = False
) -> tuple[Floats, Bools]:
    """Points placed from those that are, the shapes that fit best; `one_side`: the third point on either side alike."""
    placed, cost = placed.copy(), np.zeros(len(xy))
    along = axis[1] if axis is not None else -1
    tapes = np.array([sum(bool(placed[q]) for q in others) for others in net.near])
    far = _hops(net, placed)
    refit = max(_REFIT, 1.5 * placed.sum())
    while not placed.all():
        ready = np.where(placed, -1, tapes - far)  # round what is placed: open choices close soon
        if along >= 0 and not placed[along] and tapes[along]:
            p = along
        elif (p := int(ready.argmax())) == along or tapes[p] < 2:
            break
        near = [q for q in net.near[p] if placed[q]][:8]
        length = np.array([net.near[p][q] for q in near])
        options = _on_axis(xy[:, near], length) if p == along else _crossings(xy[:, near], length)
        reach = np.linalg.norm(options[:, :, None, :] - xy[:, None, near, :], axis=-1)
        price = np.log1p(((reach - length) / _SCALE) ** 2).sum(axis=-1)
        price = np.where(np.isnan(price), np.inf, price)
        first = price.argmin(axis=1)
        row = np.arange(len(xy))
        away = np.linalg.norm(options - options[row, first][:, None, :], axis=-1)
        price_away = np.where(away > 2.0, price, np.inf)  # another place, not the same one from another pair
        second = price_away.argmin(axis=1)
        parent = np.concatenate([row, row])
        place = np.concatenate([options[row, first], options[row, second]])
        total = np.concatenate([cost + price[row, first], cost + price_away[row, second]])
        apart = np.linalg.norm(xy[parent][:, placed] - place[:, None, :], axis=-1).min(axis=1)
        total = total + np.where(apart < _ONE_SPOT, _DOUBT, 0.0)  # more often a figure folded over than two names
        if one_side and placed.sum() == 2:
            total[len(xy) :] = np.inf
        order = np.argsort(total, kind="stable")
        order = order[total[order] <= np.min(total, initial=np.inf) + _HOPELESS][:_BEAM]
        order = order[np.isfinite(total[order])]
        if not len(order):
            break
        xy, cost = xy[parent[order]].copy(), total[order]
        xy[:, p] = place[order]
        placed[p] = True
        tapes[list(net.near[p])] += 1
        if placed.sum() >= refit:  # or the errors of one place after another would pile up
            part = net.without(np.flatnonzero(~placed))
            keep = at_once(part, 8)
            xy, cost = xy[:keep], cost[:keep]
            xy[:, placed] = fit(part, xy[:, placed], rounds=4)
            cost = np.log1p((misfits(part, xy[:, placed]) * net.sigma / _SCALE) ** 2).sum(axis=-1)
            refit = 1.5 * placed.sum()
    return xy, placed


def _hops(net: Network, placed: Bools) -> Floats:
    """How many tapes each point lies from those placed, as a share of all points; under 1."""
    hops = np.where(placed, 0, len(placed) - 1)
    ring = np.flatnonzero(placed).tolist()
    for p in ring:  # which grows meanwhile
        fresh = [q for q in net.near[p] if hops[q] > hops[p] + 1]
        hops[fresh] = hops[p] + 1
        ring += fresh
    return np.asarray(hops / len(placed))


def _crossings(near: Floats, length: Floats) -> Floats:
    """Where the circles round each pair of points meet; shape (m, 2 pairs, 2). Circles apart: the point between."""
    i, j = np.array(list(combinations(range(len(length)), 2))).T
    step = near[:, j] - near[:, i]
    gap = np.hypot(step[..., 0], step[..., 1])[..., None]
    unit = step / np.where(gap > 1e-6, gap, np.nan)
    along = (gap**2 + (length[i] ** 2 - length[j] ** 2)[:, None]) / (2 * np.where(gap > 1e-6, gap, np.nan))
    aside = np.sqrt(np.maximum(length[i, None] ** 2 - along**2, 0.0))
    foot, normal = near[:, i] + along * unit, np.stack([-unit[..., 1], unit[..., 0]], axis=-1)
    return np.concatenate([foot + aside * normal, foot - aside * normal], axis=1)


def _on_axis(near: Floats, length: Floats) -> Floats:
    """Where the circles meet the positive x axis; shape (m, 2 k, 2), NaN where they meet it elsewhere."""
    half = np.sqrt(np.maximum(length**2 - near[..., 1] ** 2, 0.0))
    x = np.concatenate([near[..., 0] + half, near[..., 0] - half], axis=1)
    return np.stack([np.where(x > 0, x, np.nan), np.zeros_like(x)], axis=-1)


def _joined(net: Network, xy: Floats, done: Bools, body: Bools, anchors: Ints) -> tuple[Floats, Bools]:
    """A rigid body grown by itself, either side up, and moved onto the places of its anchors."""
    a, b = max(((a, b) for a, b in net.ends.tolist() if body[a] and body[b]),
               key=lambda pair: len(net.near[pair[0]].keys() & net.near[pair[1]].keys()))  # fmt: skip
    seed = np.zeros((1, *xy.shape))
    seed[0, b, 0] = net.near[a][b]
    grown, reached = _grow(net, seed, np.isin(np.arange(len(xy)), (a, b)), None, one_side=True)
    own, places = grown[..., 0] + 1j * grown[..., 1], np.array([[0.0, 0.0], [1.0, 0.0]])
    if done[anchors].all():
        own, places = np.stack([own, own.conj()], axis=1).reshape(-1, len(xy)), xy[anchors]
    fresh = reached & ~done
    placed = np.repeat(xy[None], len(own), axis=0)
    placed[:, fresh] = _laid(own, anchors, places)[:, fresh]
    return placed, done | reached


def _laid(figures: NDArray[np.complex128], anchors: Ints, places: Floats) -> Floats:
    """Figures x + iy, shape (m, n), turned and moved so that their anchors come nearest to the places, shape (a, 2).

    Where the anchors are only two, the first comes to lie on its place and the second in its direction.
    """
    place = places[:, 0] + 1j * places[:, 1]
    pin, onto = (figures[:, anchors[:1]], place[0]) if len(place) == 2 else (
        figures[:, anchors].mean(axis=1, keepdims=True), place.mean())  # fmt: skip
    turn = ((figures[:, anchors] - pin).conj() * (place - onto)).sum(axis=1, keepdims=True)
    laid = (figures - pin) * turn / np.maximum(np.abs(turn), 1e-9) + onto
    return np.stack([laid.real, laid.imag], axis=-1)


def _scattered(net: Network, grown: Floats, done: Bools) -> Floats:
    random = np.random.default_rng(11)
    xy = np.repeat(grown, -(-_SCATTER // len(grown)), axis=0)
    middle, size = xy[:, done].mean(axis=1, keepdims=True), net.length.max(initial=1.0)
    xy[:, ~done] = middle + random.uniform(-size, size, (len(xy), int((~done).sum()), 2))
    xy[:, ~net.free] = np.nan_to_num(net.known)[~net.free]
    if net.axis is not None:
        xy[:, net.axis[1], 0] = np.abs(xy[:, net.axis[1], 0])
    xy = fit(net, xy)
    return xy[np.argsort((misfits(net, xy) ** 2).sum(axis=-1), kind="stable")][:_BEAM]
