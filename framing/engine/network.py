"""A network of tapes and positions: which points it fixes, first coordinates, and the least-squares fit."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

_BEAM = 64  # shapes carried along while two-fold choices are open
_HOPELESS = 40.0  # a shape that fits so much worse than the best has four wild tapes more, or five
_SCATTER = 96  # random starts for points that no pair of tapes reaches
_SCALE = 0.5  # [in] misfit from which a tape counts less and less in the choice of the first shape


@dataclass(frozen=True)
class Network:
    """Points, what is known of them and what was measured between them.

    Attributes
    ----------
    names : tuple of str, length n
    known : ndarray, shape (n, 2)
        Coordinates given beforehand, NaN where there are none. [in]
    free : ndarray of bool, shape (n, 2)
        Coordinates that the adjustment may move.
    ends : ndarray of int, shape (t, 2)
        The two points of each tape.
    place : ndarray of int, shape (t,)
        Where each tape stands in the survey's list.
    length, sigma : ndarray, shape (t,), and float
        Tape readings and the standard error of one. [in]
    observed : ndarray of int, shape (q,)
        Points whose known coordinates are readings with the standard error `position_sigma`. [in]
    axis : tuple of two int, or None
        Origin and point on the x axis, where the frame is the first side's own.
    """

    names: tuple[str, ...]
    known: Floats
    free: Bools
    ends: Ints
    place: Ints
    length: Floats
    sigma: float
    observed: Ints
    position_sigma: float
    axis: tuple[int, int] | None

    @property
    def rows(self) -> int:
        """Number of readings: tapes, then x and y of each observed position."""
        return len(self.length) + 2 * len(self.observed)

    @property
    def taped(self) -> set[frozenset[str]]:
        """Pairs of points that a tape was read between."""
        return {frozenset(self.names[k] for k in pair) for pair in self.ends.tolist()}

    def reading(self, row: int) -> tuple[str, ...]:
        """The two points of a tape, or the one point of an observed position."""
        if row < len(self.length):
            return tuple(self.names[k] for k in self.ends[row])
        return (self.names[self.observed[(row - len(self.length)) // 2]],)

    def without(self, lost: Iterable[int]) -> Network:
        """The network with the `lost` points, and every reading that touches them, taken out."""
        keep = np.ones(len(self.names), dtype=bool)
        keep[list(lost)] = False
        number = np.cumsum(keep) - 1
        tapes = keep[self.ends].all(axis=1)
        axis = self.axis if self.axis is not None and keep[list(self.axis)].all() else None
        return replace(
            self,
            names=tuple(name for name, kept in zip(self.names, keep, strict=True) if kept),
            known=self.known[keep],
            free=self.free[keep],
            ends=number[self.ends[tapes]],
            place=self.place[tapes],
            length=self.length[tapes],
            observed=number[self.observed[keep[self.observed]]],
            axis=None if axis is None else (int(number[axis[0]]), int(number[axis[1]])),
        )


def slopes(net: Network, xy: Floats) -> Floats:
    """Weighted derivatives of every reading by every free coordinate, shape (..., rows, free). [1/in]"""
    m, tapes = xy.shape[:-2], len(net.length)
    full = np.zeros((*m, net.rows, 2 * len(net.names)))
    if tapes:
        a, b = net.ends.T
        step = xy[..., a, :] - xy[..., b, :]
        unit = step / np.maximum(np.hypot(step[..., 0], step[..., 1]), 1e-9)[..., None] / net.sigma
        row = np.arange(tapes)
        for k in (0, 1):
            full[..., row, 2 * a + k] = unit[..., k]
            full[..., row, 2 * b + k] = -unit[..., k]
    if len(net.observed):
        row = tapes + np.arange(2 * len(net.observed))
        full[..., row, (2 * net.observed[:, None] + [0, 1]).ravel()] = 1 / net.position_sigma
    return full[..., net.free.ravel()]


def misfits(net: Network, xy: Floats) -> Floats:
    """(measured - computed) / sigma of every reading, shape (..., rows)."""
    step = xy[..., net.ends[:, 0], :] - xy[..., net.ends[:, 1], :]
    tapes = (net.length - np.hypot(step[..., 0], step[..., 1])) / net.sigma
    if not len(net.observed):
        return tapes
    places = (net.known[net.observed] - xy[..., net.observed, :]) / net.position_sigma
    return np.concatenate([tapes, places.reshape(*xy.shape[:-2], -1)], axis=-1)


def fit(net: Network, starts: Floats, used: Bools | None = None, *, rounds: int = 60) -> Floats:
    """Least-squares coordinates from each of several starts.

    Parameters
    ----------
    starts : ndarray, shape (m, n, 2)
        Approximate coordinates. [in]
    used : ndarray of bool, shape (rows,)
        Readings that count; all of them by default.

    Returns
    -------
    ndarray, shape (m, n, 2)
        Coordinates where the sum of squared misfits is least near each start. [in]

    Notes
    -----
    Levenberg-Marquardt on the normal equations, all starts at once; each start has its own damping.
    """
    xy = np.array(starts, dtype=float)
    weight = np.ones(net.rows) if used is None else used.astype(float)
    if not net.free.any() or not net.rows:
        return xy
    damping = np.full_like(xy[:, 0, 0], 1e-6)
    v = misfits(net, xy) * weight
    cost = (v**2).sum(axis=-1)
    eye = np.eye(int(net.free.sum()))
    for _ in range(rounds):
        a = slopes(net, xy) * weight[:, None]
        normal = np.swapaxes(a, -1, -2) @ a
        scale = np.maximum(np.einsum("mii->mi", normal), 1e-12)
        lhs = normal + eye * (damping[:, None] * scale + 1e-13 * scale.max(axis=-1, keepdims=True))[:, None, :]
        step = np.linalg.solve(lhs, np.swapaxes(a, -1, -2) @ v[..., None])[..., 0]
        trial = xy.copy()
        trial[:, net.free] += step
        v_trial = misfits(net, trial) * weight
        cost_trial = (v_trial**2).sum(axis=-1)
        better = cost_trial <= cost + 1e-12
        xy, v, cost = (
            np.where(better[:, None, None], trial, xy),
            np.where(better[:, None], v_trial, v),
            np.where(better, cost_trial, cost),
        )
        damping = np.clip(damping * np.where(better, 0.1, 10.0), 1e-12, 1e9)
        if np.abs(step[better]).max(initial=0.0) < 1e-10 and better.any():
            break
    return xy


def general_position(net: Network) -> Floats:
    """Known coordinates, and for the rest places that lie in no line or other special way; shape (n, 2). [in]"""
    size = max(np.nanmax(np.abs(net.known), initial=0.0), net.length.max(initial=0.0), 1.0)
    xy = np.random.default_rng(7).uniform(-size, size, net.known.shape)
    return np.where(np.isnan(net.known), np.where(net.free, xy, 0.0), net.known)


def loose(net: Network, xy: Floats | None = None, limit: float = np.inf) -> tuple[Floats, Bools]:
    """Directions in which the readings leave points free to move.

    Without `xy` the answer is for points in general position; with `xy`, shape (n, 2), for that very shape, where
    a direction with a standard error over `limit` [in] counts as free.

    Returns
    -------
    directions : ndarray, shape (free, d)
        Orthonormal columns over the free coordinates.
    points : ndarray of bool, shape (n,)
        Points that can move.
    """
    if xy is None:
        xy = general_position(net)
    count = int(net.free.sum())
    moves: Bools = np.zeros(len(net.names), dtype=bool)
    if not count:
        return np.zeros((0, 0)), moves
    a = slopes(net, xy)
    strength, right = np.zeros(count), np.identity(count)
    if len(a):
        _, found, right = np.linalg.svd(a, full_matrices=True)
        strength[: len(found)] = found
    directions: Floats = right[strength <= max(1e-9 * strength.max(), 1 / limit)].T
    size_of = np.zeros(net.free.shape)
    size_of[net.free] = np.abs(directions).max(axis=1, initial=0.0)
    return directions, size_of.max(axis=1) > (1e-6 if limit == np.inf else 0.1)


def cofactors(net: Network, xy: Floats, used: Bools) -> tuple[Floats, Floats]:
    """Covariance of the free coordinates [in2], and of the weighted residuals of the used readings (0 elsewhere)."""
    a = slopes(net, xy) * used[:, None]
    covariance = np.asarray(np.linalg.inv(a.T @ a), dtype=np.float64)
    residuals = np.diag(used.astype(float)) - a @ covariance @ a.T
    return covariance, residuals


# --- first coordinates -----------------------------------------------------------------------------------------

def shapes(net: Network) -> Floats:
    """Every shape that the readings may have, best first, as first coordinates; shape (m, n, 2), m <= 64. [in]

    Points are placed by pairs of tapes from points placed before. Each pair gives two places, one on either
    side: both are carried on until other tapes decide, those that fit best kept. A slip in a single tape
    does not mislead the choice, since each point is tried from every pair of its tapes and a wild tape counts
    little. Points that no pair of tapes reaches (rigid only as a whole) start from scattered places.
    """
    n = len(net.names)
    table = np.full((n, n), np.nan)
    for pair in {(min(a, b), max(a, b)) for a, b in net.ends.tolist()}:
        same = (np.sort(net.ends, axis=1) == pair).all(axis=1)
        table[pair] = table[pair[::-1]] = np.median(net.length[same])

    start = np.nan_to_num(net.known)[None]
    placed = ~np.isnan(net.known[:, 0])
    grown, done = _grow(start, placed, table, net.axis)
    if not done.all() and net.axis is not None and placed.sum() == 1:
        for a, b in net.ends.tolist():  # the first side is not where the network begins
            seed = np.zeros((1, n, 2))
            seed[0, b, 0] = table[a, b]
            other, reached = _grow(seed, np.isin(np.arange(n), (a, b)), table, None)
            if reached.all():
                grown, done = _turned(other, net.axis), reached
                break
    if not done.all():
        grown = _scattered(net, grown[:4], done)
    return grown


def _grow(xy: Floats, placed: Bools, table: Floats, axis: tuple[int, int] | None) -> tuple[Floats, Bools]:
    placed, cost = placed.copy(), np.zeros(len(xy))
    along = axis[1] if axis is not None else -1
    while not placed.all():
        tapes = np.where(placed, ~np.isnan(table), False).sum(axis=1)
        ready = np.where(placed, -1, tapes)
        if along >= 0 and not placed[along] and tapes[along]:
            p = along
        elif (p := int(ready.argmax())) == along or ready[p] < 2:
            break
        near = np.flatnonzero(placed & ~np.isnan(table[p]))[:8]
        length = table[p, near]
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
        order = np.argsort(total, kind="stable")
        order = order[total[order] <= np.min(total, initial=np.inf) + _HOPELESS][:_BEAM]
        order = order[np.isfinite(total[order])]
        if not len(order):
            break
        xy, cost = xy[parent[order]].copy(), total[order]
        xy[:, p] = place[order]
        placed[p] = True
    return xy, placed


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


def _turned(xy: Floats, axis: tuple[int, int]) -> Floats:
    """The shapes moved so that the axis runs from the origin along +x."""
    xy = xy - xy[:, axis[0], None, :]
    x, y = xy[:, axis[1]].T / np.maximum(np.hypot(*xy[:, axis[1]].T), 1e-9)
    turn = np.stack([np.stack([x, -y], axis=-1), np.stack([y, x], axis=-1)], axis=-2)
    return np.asarray(xy @ turn)


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
