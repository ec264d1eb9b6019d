"""Planes joined into one surface: what sets of planes the readings show, how they join, and the folds between them.

A part of the roof stage, for roofs whose break lines nobody gave. Any continuous surface made of planes is, on a
convex area, a highest of lowests of them (S. Ovchinnikov, Beitraege zur Algebra und Geometrie 43, 2002): hips are the
lowest of all, valleys to a drain the highest, a ridge beside a valley a mixture. How planes join is therefore one
monotone Boolean function: which sets of planes, all at least so high at a place, make the roof at least so high.
"""

from __future__ import annotations

import functools
import itertools
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.sparse import csr_array
from scipy.sparse.csgraph import connected_components
from scipy.spatial import KDTree
from shapely import LineString, MultiLineString, Polygon
from shapely.ops import polygonize, unary_union

from framing.engine.breaklines import Break, carried

Array = NDArray[np.float64]
Ints = NDArray[np.intp]
Bools = NDArray[np.bool_]

MOST_PLANES = 5  # the ways in which six could join are millions; such a roof needs its break lines given
OWN_READINGS = 4  # three fix a plane, one more bears it out
OWN_SPREAD = 12.0  # ... and they reach this far across, whichever way one looks [in]
EVIDENCE = 30.0  # what one more must take off the sum of squares; three parameters take off about 3 by chance
WILD = 4.0  # a reading further off costs no more: it is wild, not a reason for another plane [standard errors]
NEIGHBOURS = 6  # a plane is grown from a reading and its nearest
POOL = 16  # planes that are tried in sets
STARTS = 12  # sets that are followed up for every number of planes
ALIKE = 9.0  # ways to join that cost no more than this over the best fit as well [variances of a reading]


@dataclass(frozen=True)
class PlaneSet:
    """Planes (k, 3) of z = z0 + sx x + sy y [in], how they join, and what that costs.

    `joins` (ways, 2^k) are truth tables over bit sets of planes, best first, of all ways that fit as well; `cost` is
    the sum of squared standardised residuals, each at most `WILD` squared.
    """

    planes: Array
    joins: Bools
    cost: float

    def heights(self, xy: Array) -> Array:
        return np.asarray(self.planes[:, 0] + xy @ self.planes[:, 1:].T)

    def label(self, xy: Array) -> Ints:
        """Which plane is the roof at each of (n, 2) places."""
        return np.asarray(_labels(self.heights(xy), self.joins[:1])[0])


@functools.cache
def _ways_to_join(count: int) -> Bools:
    """Truth tables (ways, 2^count) of every monotone function of `count` planes that no plane or all planes fail."""
    tables = np.array([[False], [True]])
    for _ in range(count):
        first, second = np.nonzero((tables[:, None] <= tables[None]).all(axis=2))
        tables = np.concatenate([tables[first], tables[second]], axis=1)
    return np.asarray(tables[~tables[:, 0] & tables[:, -1]])


def _labels(heights: Array, joins: Bools) -> Ints:
    """The plane that is the roof at every place by every way to join, from heights (n, k) -> (ways, n)."""
    order = np.argsort(-heights, axis=1)
    sets = np.cumsum(1 << order, axis=1)  # bit sets of the highest plane, the two highest, ...
    first = joins[:, sets].argmax(axis=2)
    return np.asarray(np.take_along_axis(order[None], first[..., None], axis=2)[..., 0])


def grow_planes(xy: Array, z: Array, sigma: float) -> Array:
    """Planes (m, 3) that a patch of readings lies in, each grown from one reading and its nearest; largest first."""
    near = KDTree(xy).query(xy, k=min(NEIGHBOURS + 2, len(z)))[1]
    links = csr_array((np.ones(near.size), (np.repeat(np.arange(len(z)), near.shape[1]), near.ravel())),
                      shape=(len(z), len(z)))
    rows = np.c_[np.ones(len(z)), xy]
    patches: list[tuple[Bools, Array]] = []
    for seed in np.linspace(0, len(z) - 1, min(len(z), 120)).astype(int):
        patch = np.zeros(len(z), bool)
        patch[near[seed, :NEIGHBOURS]] = True
        for _ in range(8):
            plane, spread = _plane_of(rows, z, patch)
            if plane is None:
                break
            inside = np.abs(z - rows @ plane) <= 3 * sigma * np.sqrt(1 + spread)
            _, part = connected_components(links[inside][:, inside], directed=False)
            grown = np.zeros(len(z), bool)
            if inside.any():
                grown[inside] = part == np.bincount(part, weights=patch[inside]).argmax()
            if (grown == patch).all():
                break
            patch = grown
        if plane is not None:
            patches.append((patch, plane))
    patches.sort(key=lambda p: -int(p[0].sum()))
    kept: list[tuple[Bools, Array]] = []
    for patch, plane in patches:
        if len(kept) < POOL and all((patch & p).sum() < 0.7 * (patch | p).sum() for p, _ in kept):
            kept.append((patch, plane))
    return np.array([plane for _, plane in kept]).reshape(-1, 3)


def _plane_of(rows: Array, z: Array, own: Bools) -> tuple[Array | None, Array]:
    """The plane of its own readings and the variance of its height at all, in a reading's; None where they fix none."""
    if own.sum() < OWN_READINGS:
        return None, np.zeros(len(z))
    away = rows[own, 1:] - rows[own, 1:].mean(axis=0)
    if np.ptp(away @ np.linalg.svd(away, full_matrices=False)[2][-1]) < OWN_SPREAD:
        return None, np.zeros(len(z))
    q = np.linalg.inv(rows[own].T @ rows[own])
    return q @ (rows[own].T @ z[own]), np.einsum("ij,jk,ik->i", rows, q, rows)


def sets_to_try(xy: Array, z: Array, sigma: float, smaller: Sequence[Array], pool: Array) -> list[Array]:
    """Sets of one plane more than the `smaller` ones, first those that would fit best if planes could lie anywhere."""

    def off(planes: Array) -> Array:
        return np.minimum(((z[:, None] - planes[:, 0] - xy @ planes[:, 1:].T) / sigma) ** 2, WILD**2)

    sets = [np.vstack([few, plane]) for few in smaller for plane in pool]
    bounds = np.array([off(planes).min(axis=1).sum() for planes in sets])
    tried: dict[bytes, Array] = {}  # once for every way in which the readings are shared out
    for k in np.argsort(bounds, kind="stable")[: 8 * STARTS]:
        nearest = off(sets[k])
        tried.setdefault((nearest == nearest.min(axis=1)[:, None]).sum(axis=0).tobytes(), sets[k])
    return list(tried.values())[: STARTS if len(smaller[0]) + 1 < MOST_PLANES else 3]


def best_set(xy: Array, z: Array, sigma: float, sets: Sequence[Array]) -> PlaneSet | None:
    """The best of these sets of planes once each is fitted; None where none leaves every plane readings of its own."""
    settled = [found for planes in sets if (found := _settle(xy, z, sigma, planes)) is not None]
    return min(settled, key=lambda s: s.cost, default=None)


def _settle(xy: Array, z: Array, sigma: float, planes: Array) -> PlaneSet | None:
    """Planes and the way they join, fitted in turn as long as that brings them nearer to the readings."""
    rows, at = np.c_[np.ones(len(z)), xy], np.arange(len(z))
    ways = _ways_to_join(len(planes))
    best: PlaneSet | None = None
    for _ in range(30):
        heights = rows @ planes.T
        off = ((z[:, None] - heights) / sigma) ** 2
        labels = _labels(heights, ways)
        cost = np.minimum(off[at, labels], WILD**2).sum(axis=1)
        order = np.argsort(cost, kind="stable")
        least = float(cost[order[0]])
        if best is not None and least > best.cost - 1e-6:
            break
        best = PlaneSet(planes, ways[order[cost[order] <= least + ALIKE]], least)
        own = (labels[order[0]] == np.arange(len(planes))[:, None]) & (off.T <= WILD**2)
        fitted = [_plane_of(rows, z, mine)[0] for mine in own]
        borne_out = all(plane is not None for plane in fitted)
        planes = np.array([old if new is None else new for old, new in zip(planes, fitted, strict=True)])
    return best if borne_out else None


def areas_of(found: PlaneSet, outline: Polygon) -> list[tuple[Polygon, int]]:
    """The outline in parts of one plane each, with that plane's number; slivers under 1 sq in go to a neighbour."""
    lines = [carried(part, 0.05) for *_, line in _crossings(found.planes, outline) for part in line.geoms]
    cells = [c for c in polygonize(unary_union([outline.exterior, *lines])) if c.area > 1e-9]
    inside = [c for c in cells if outline.covers(c.representative_point())]
    label = found.label(np.array([c.representative_point().coords[0] for c in inside]))
    parts = [(part, int(k)) for k in np.unique(label)
             for part in shapely.get_parts(unary_union([c for c, own in zip(inside, label, strict=True) if own == k]))]
    return [(part, k) for part, k in parts if part.area > 1]


def folds_of(found: PlaneSet, outline: Polygon) -> list[tuple[Break, int, int]]:
    """The ridges and valleys with the two planes that meet there, each fold straight, to a wall or another fold."""
    pairs = _crossings(found.planes, outline)
    folds = []
    for i, j, line in pairs:
        n = found.planes[i, 1:] - found.planes[j, 1:]
        n = n / np.hypot(*n)
        for part in shapely.get_parts(line):
            a, b = np.array(part.coords[0]), np.array(part.coords[-1])
            run = float(np.hypot(*(b - a)))
            met = shapely.get_coordinates([part.intersection(other) for *_, other in pairs if other is not line])
            s = np.unique(np.round([0.0, run, *np.hypot(*(met - a).T)], 3))
            middle = a + ((s[1:] + s[:-1]) / 2 / run)[:, None] * (b - a)
            sides = np.stack([found.label(middle + 0.01 * n), found.label(middle - 0.01 * n)])
            on = (np.sort(sides, axis=0) == [[i], [j]]).all(axis=0)
            for first, last in _runs(on):
                ends = a + (s[[first, last]] / run)[:, None] * (b - a)
                # on the side that n points to, plane i is the higher: where it is the roof there, the roof bends up
                kind = "valley" if sides[0, first] == i else "ridge"
                folds.append((Break(kind, LineString(ends), given=False), i, j))
    return folds


def doubt(found: PlaneSet, outline: Polygon) -> tuple[float, Array]:
    """How far the ways to join that fit the readings as well lie apart at most [in], and where, shape (2,)."""
    x0, y0, x1, y1 = outline.bounds
    x, y = (v.ravel() for v in np.meshgrid(np.linspace(x0, x1, 40), np.linspace(y0, y1, 40)))
    xy = np.c_[x, y][shapely.contains_xy(outline, x, y)]
    heights = found.heights(xy)
    spread = np.ptp(np.take_along_axis(heights, _labels(heights, found.joins).T, axis=1), axis=1)
    at = int(spread.argmax())
    return float(spread[at]), xy[at]


def _runs(on: Bools) -> list[tuple[int, int]]:
    """First and one past the last of every run of True."""
    edge = np.flatnonzero(np.diff(np.r_[False, on, False].astype(int)))
    return [(int(a), int(b)) for a, b in edge.reshape(-1, 2)]


def _crossings(planes: Array, outline: Polygon) -> list[tuple[int, int, MultiLineString]]:
    """Every two planes that cut over the outline, and the line in which they do."""
    found = []
    centre = np.array(outline.centroid.coords[0])
    reach = 2 * float(np.hypot(*np.ptp(np.array(outline.exterior.coords), axis=0)))
    for i, j in itertools.combinations(range(len(planes)), 2):
        n = planes[i, 1:] - planes[j, 1:]
        if np.hypot(*n) < 1e-6:
            continue
        u = np.array([-n[1], n[0]]) / np.hypot(*n)
        at = centre - (planes[i, 0] - planes[j, 0] + centre @ n) / (n @ n) * n
        line = LineString([at - reach * u, at + reach * u]).intersection(outline)
        parts = [g for g in shapely.get_parts(line) if g.geom_type == "LineString" and g.length > 1e-3]
        if parts:
            found.append((i, j, MultiLineString(parts)))
    return found
