"""Watershed: which part of the roof drains to which outlet, and where water stands before it can.

Stage: part of drainage. The roof is cut into square cells, each as high as the lowest roof in it, so that walls and
valleys that cross the cells askew stay true to their fall and make no false pits; a cell that a break line crosses
is as high as the line is there, since water that passes the cell has to pass the line.
"""

from __future__ import annotations

import heapq
import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.sparse import coo_array
from scipy.sparse.linalg import spsolve_triangular
from shapely import LineString, Polygon
from shapely.geometry.base import BaseGeometry

from framing.engine.roof import Facet
from framing.reference.drainage import GALLON, OUTLET_OFF

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]
Bools = NDArray[np.bool_]

CELLS = 4_000  # about so many to a roof: 3 to 4 in on a common terrace
HAIR = 1e-3  # [in]
# The eight neighbours (row, column), counter-clockwise from +x, so that number k lies at 45 k degrees.
AROUND = ((0, 1), (1, 1), (1, 0), (1, -1), (0, -1), (-1, -1), (-1, 0), (-1, 1))


@dataclass(frozen=True)
class Grid:
    """Cells over a roof, numbered row by row with a border of none; `z` is infinite off the roof.

    One entry of `part_*` is the part of a cell on one facet: a cell on a ridge has two, falling two ways.
    """

    facets: tuple[Facet, ...]
    origin: tuple[float, float]
    size: float  # [in]
    shape: tuple[int, int]
    z: Floats  # (cells,) lowest roof in the cell, or lowest of the break line that crosses it [in]
    part_cell: Ints
    part_facet: Ints
    part_area: Floats  # [sq in]
    part_z: Floats  # lowest roof in the part [in]

    def cells(self, xy: Floats) -> Ints:
        """The cell of the roof under (or nearest to) each of (n, 2) points."""
        xy = np.atleast_2d(np.asarray(xy, float))
        column, row = np.floor((xy - self.origin) / self.size).astype(int).T
        rows, columns = self.shape
        cell = np.clip(row, 0, rows - 1) * columns + np.clip(column, 0, columns - 1)
        off = ~np.isfinite(self.z[cell])
        if off.any():
            roof = np.flatnonzero(np.isfinite(self.z))
            away = ((xy[off, None] - self.centres(roof)[None]) ** 2).sum(axis=2)
            cell[off] = roof[np.argmin(away, axis=1)]
        return np.asarray(cell)

    def centres(self, cells: Ints) -> Floats:
        row, column = np.divmod(cells, self.shape[1])
        return (np.stack([column, row], axis=1) + 0.5) * self.size + self.origin

    def along(self, lines: Sequence[LineString]) -> Ints:
        """Cells of the roof that the lines touch."""
        if not lines:
            return np.zeros(0, np.intp)
        roof = np.flatnonzero(np.isfinite(self.z))
        low = self.centres(roof) - self.size / 2
        boxes = shapely.box(low[:, 0], low[:, 1], low[:, 0] + self.size, low[:, 1] + self.size)
        return roof[np.any([shapely.intersects(boxes, line) for line in lines], axis=0)]


@dataclass(frozen=True)
class Watershed:
    """How the roof drains through its ways out, the last of which are open edges taken together.

    `share` (cells, outs) is how a cell's water divides; `level` (cells,) is the surface [in] that water must reach to
    leave, the roof itself where it runs off; `area` (outs,) [sq in] adds up to the roof; `spill` (outs,) is the
    surface [in] at which water of one basin runs into another, infinite where it has none.
    """

    grid: Grid
    share: Floats
    level: Floats
    area: Floats
    spill: Floats

    def serving(self, xy: Floats) -> Ints:
        """Number of the way out that takes most of the water at (n, 2) points."""
        return np.asarray(self.share[self.grid.cells(xy)].argmax(axis=1))

    def surface(self, xy: Floats) -> Floats:
        """Level [in] that water at (n, 2) points must reach to leave."""
        return self.level[self.grid.cells(xy)]


@dataclass(frozen=True)
class Pond:
    """Water left standing; area [sq ft], greatest depth [in], volume [gal]."""

    polygon: Polygon
    surface: float
    area_sqft: float
    depth: float
    volume_gal: float

    def as_json(self) -> dict[str, object]:
        ring = shapely.geometry.polygon.orient(self.polygon).exterior.coords[:-1]
        return {"polygon": [[float(x), float(y)] for x, y in ring], "area_sqft": self.area_sqft,
                "depth": self.depth, "volume_gal": self.volume_gal}


def lay_grid(facets: Sequence[Facet]) -> Grid:
    """Cells over the facets of a roof, about `CELLS` of them."""
    area = sum(f.polygon.area for f in facets)
    x0, y0, x1, y1 = shapely.total_bounds([f.polygon for f in facets])
    size = math.sqrt(max(area, (x1 - x0) * (y1 - y0) / 25) / CELLS)  # coarser where a roof is a strip askew
    origin = (float(x0) - 1.5 * size, float(y0) - 1.5 * size)
    rows, columns = math.ceil((y1 - y0) / size) + 4, math.ceil((x1 - x0) / size) + 4
    row, column = np.divmod(np.arange(rows * columns), columns)
    left, low = origin[0] + column * size, origin[1] + row * size
    boxes = shapely.box(left, low, left + size, low + size)
    part_cell, part_facet, part_area, part_z, shapes = [], [], [], [], []
    for k, facet in enumerate(facets):
        shapely.prepare(facet.polygon)
        touched = np.flatnonzero(shapely.intersects(facet.polygon, boxes))
        whole = shapely.contains_properly(facet.polygon, boxes[touched])
        parts = np.array(boxes[touched])
        parts[~whole] = shapely.intersection(parts[~whole], facet.polygon)
        corner, part = shapely.get_coordinates(parts, return_index=True)
        z = np.full(len(parts), np.inf)
        np.minimum.at(z, part, facet.height(corner))
        size_of = shapely.area(parts)
        keep = size_of > 1e-6 * size**2
        part_cell.append(touched[keep])
        part_facet.append(np.full(int(keep.sum()), k))
        part_area.append(size_of[keep])
        part_z.append(z[keep])
        shapes.append(parts[keep])
    cells, heights, facet_of = np.concatenate(part_cell), np.concatenate(part_z), np.concatenate(part_facet)
    z = np.full(rows * columns, np.inf)
    np.minimum.at(z, cells, heights)
    crossed = _crossed(facets, cells, facet_of, np.concatenate(shapes), len(z))
    return Grid(tuple(facets), origin, size, (rows, columns), np.where(np.isfinite(crossed), crossed, z), cells,
                facet_of, np.concatenate(part_area), heights)


def _crossed(facets: Sequence[Facet], cells: Ints, facet_of: Ints, shapes: NDArray[np.object_], count: int) -> Floats:
    """The lowest place where the parts of each cell meet, (count,) [in]; infinite where they do not.

    cells, facet_of, shapes : (parts,), each part's cell, facet and area
    """
    shared = np.flatnonzero(np.bincount(cells)[cells] > 1)
    one, other = (shared[k] for k in np.nonzero(np.triu(cells[shared, None] == cells[shared], 1)))
    one, other = np.concatenate([one, other]), np.concatenate([other, one])
    corner, pair = shapely.get_coordinates(shapes[one], return_index=True)
    meets = shapely.distance(shapely.points(corner), shapes[other[pair]]) < 1e-6
    corner, part = corner[meets], one[pair[meets]]
    lowest = np.full(count, np.inf)
    for k, facet in enumerate(facets):
        here = facet_of[part] == k
        np.minimum.at(lowest, cells[part[here]], facet.height(corner[here]))
    return lowest


@dataclass(frozen=True)
class Flood:
    """Water rising from its ways out over cells numbered row by row.

    `level` (cells,) [in] is the surface that water must reach to leave; `came` the neighbour through which it leaves,
    -1 at a way out and where none can be reached; `order` the cells as the flood took them.
    """

    level: Floats
    came: list[int]
    order: list[int]

    def way(self, cell: int) -> int:
        """The cell by which the water of a cell leaves."""
        while self.came[cell] >= 0:
            cell = self.came[cell]
        return cell


def flood(z: Floats, cells: Sequence[int], levels: Sequence[float]) -> Flood:
    """Priority-flood [1]_ of heights `z` (rows, columns) [in] from way-out `cells` that stand at `levels` [in].

    Infinite heights are walls; `z` has a border of them. Water goes to any of eight neighbours. A way out that is
    higher than the water that passes it lets none out.

    .. [1] R. Barnes, C. Lehman, D. Mulla, Computers & Geosciences 62 (2014), pp. 117-127.
    """
    steps = [r * z.shape[1] + c for r, c in AROUND]
    ground: list[float] = z.ravel().tolist()
    level = [math.inf] * len(ground)
    came = [-1] * len(ground)
    for cell, at in zip(cells, levels, strict=True):
        level[cell] = min(level[cell], max(ground[cell], at))
    heap = [(level[cell], n, cell) for n, cell in enumerate(sorted(set(cells))) if level[cell] < math.inf]
    count = len(heap)
    heapq.heapify(heap)
    order: list[int] = []
    while heap:
        height, _, cell = heapq.heappop(heap)
        if height > level[cell]:
            continue  # a way out that water passes lower down
        order.append(cell)
        for step in steps:
            near = cell + step
            if level[near] > height:  # most have been reached by now, lower down
                over = ground[near]
                if over < height:
                    over = height
                if over < level[near]:
                    level[near] = over
                    came[near] = cell
                    heapq.heappush(heap, (over, count, near))
                    count += 1
    return Flood(np.array(level), came, order)


def shed(grid: Grid, outlets: Floats, inverts: Floats, open_edges: Sequence[LineString] = ()) -> Watershed | None:
    """Where the water of every cell leaves: `outlets` (n, 2) at `inverts` (n,) [in], or over open edges.

    None where there is no way out at all. Everything else round the roof is a wall. An outlet takes the water that
    comes to its cell, unless it stands more than `OUTLET_OFF` over it and the water has another way.

    Notes
    -----
    The flood from the ways out gives the surface; water then runs down each facet's own slope, divided between the
    two neighbours either side of it (after Tarboton [1]_), along a wall where that stops it, and the way the flood
    came where water stands or the roof is level. Tarboton divides by angle; here the diagonal takes the tangent, so
    that the mean path keeps the direction of the fall: by angle it strays up to 4 degrees.

    .. [1] D. G. Tarboton, Water Resources Research 33 (1997), pp. 309-319.
    """
    outs = len(outlets) + 1
    edge = grid.along(open_edges)
    if outs == 1 and not len(edge):
        return None
    steps = np.array([r * grid.shape[1] + c for r, c in AROUND])
    at = grid.cells(outlets) if outs > 1 else edge[:0]
    stands = np.maximum(grid.z[at], inverts)
    run = flood(grid.z.reshape(grid.shape), [*at.tolist(), *edge.tolist()], [*stands.tolist(), *grid.z[edge].tolist()])
    order = np.array(run.order, np.intp)
    share = np.zeros((len(run.level), outs))
    takes = stands - run.level[at] <= OUTLET_OFF
    share[at[takes], np.flatnonzero(takes)] = 1
    share[edge, -1] = np.logical_not(share[edge].any(axis=1))
    share /= np.maximum(share.sum(axis=1), 1)[:, None]

    main = _main_parts(grid)
    first, second, part_of_first = _downhill(grid)
    inner = order[~share[order].any(axis=1)]
    a, b, w = inner + steps[first[main[inner]]], inner + steps[second[main[inner]]], part_of_first[main[inner]]
    turn = np.full(len(run.level), -1)  # when the flood took the cell
    turn[order] = np.arange(len(order))

    def before(cell: Ints) -> Bools:
        return np.asarray((turn[cell] >= 0) & (turn[cell] < turn[inner]))

    runs = (run.level[inner] <= grid.z[inner] + 1e-9) & (w >= 0)
    a_open, b_open = runs & before(a), runs & before(b)
    single = ~(a_open & b_open)
    one = single & ((a_open & (w > 1e-9)) | (b_open & (w < 1 - 1e-9)))
    other = np.where(runs, _steepest(inner, steps, run.level, turn), np.array(run.came)[inner])
    a = np.where(single, np.where(one, np.where(a_open, a, b), other), a)
    w = np.where(single, 1.0, w)
    # every cell hands its water to cells that the flood took before it: one pass in that order gives all shares
    row, size = turn[inner], len(order)
    passes = coo_array((np.r_[np.ones(size), -w, w[~single] - 1],
                        (np.r_[np.arange(size), row, row[~single]], np.r_[np.arange(size), turn[a], turn[b[~single]]])),
                       shape=(size, size))
    share[order] = spsolve_triangular(passes.tocsr(), share[order], lower=True, unit_diagonal=True)

    return Watershed(grid, share, run.level, _areas(grid, share, main, first, second, part_of_first, steps),
                     _spills(grid, share, run.level, steps))


def _main_parts(grid: Grid) -> Ints:
    """For each cell the part whose slope its water takes, its lowest; -1 off the roof."""
    main = np.full(len(grid.z), -1)
    order = np.lexsort((grid.part_area, -grid.part_z))
    main[grid.part_cell[order]] = order
    return main


def _downhill(grid: Grid) -> tuple[Ints, Ints, Floats]:
    """For each part the two neighbours either side of its fall and the first one's part; -1 where it is level."""
    slope = np.array([[f.sx, f.sy] for f in grid.facets])[grid.part_facet]
    turn = np.mod(np.degrees(np.arctan2(-slope[:, 1], -slope[:, 0])) / 45, 8)
    turn = np.where(np.abs(turn - np.round(turn)) < 1e-9, np.round(turn), turn)
    first = np.floor(turn).astype(int)
    past = np.radians(45 * (turn - first))  # from the first neighbour on to the second
    diagonal = np.where(first % 2 == 0, np.tan(past), np.tan(np.pi / 4 - past))
    part = np.where(first % 2 == 0, 1 - diagonal, diagonal)
    return first % 8, (first + 1) % 8, np.where(np.hypot(*slope.T) > 1e-9, part, -1.0)


def _steepest(cell: Ints, steps: Ints, level: Floats, turn: Ints) -> Ints:
    """The neighbours (n,) of cells (n,) that the flood took before, down the steepest way."""
    near = cell[:, None] + steps
    taken = (turn[near] >= 0) & (turn[near] < turn[cell, None])
    away = np.where(np.arange(len(AROUND)) % 2 == 1, math.sqrt(2), 1.0)
    fall = np.where(taken, (level[cell, None] - np.where(taken, level[near], 0.0)) / away, -np.inf)
    return np.asarray(near[np.arange(len(cell)), np.argmax(fall, axis=1)])


def _areas(grid: Grid, share: Floats, main: Ints, first: Ints, second: Ints, part_of_first: Floats,
           steps: Ints) -> Floats:
    """Area of each way out [sq in]. Beside a cell's main part, its other parts run down their own slopes."""
    ways = share[grid.part_cell]
    p = np.flatnonzero((main[grid.part_cell] != np.arange(len(grid.part_cell))) & (part_of_first >= 0))
    cell, w = grid.part_cell[p], part_of_first[p]
    below = share[np.stack([cell + steps[first[p]], cell + steps[second[p]]], axis=1)]  # (parts, 2, outs)
    flows = np.stack([w, 1 - w], axis=1) * below.any(axis=2)
    whole = flows.sum(axis=1)
    runs = whole > 0
    ways[p[runs]] = np.einsum("pn,pno->po", flows[runs], below[runs]) / whole[runs, None]
    return np.asarray(grid.part_area @ ways)


def _spills(grid: Grid, share: Floats, level: Floats, steps: Ints) -> Floats:
    """The lowest surface [in] at which each basin runs over into another, shape (outs,)."""
    spill = np.full(share.shape[1], np.inf)
    basin = np.where(np.isfinite(grid.z), share.argmax(axis=1), -1)
    cells = np.flatnonzero(basin >= 0)
    for step in steps[:4]:
        one, two = cells, cells + step
        meet = (basin[two] >= 0) & (basin[one] != basin[two])
        over = np.maximum(level[one[meet]], level[two[meet]])
        np.minimum.at(spill, basin[one[meet]], over)
        np.minimum.at(spill, basin[two[meet]], over)
    return spill


def standing(water: Watershed, least: float) -> tuple[Pond, ...]:
    """Ponds deeper than `least` [in], their outlines and volumes exact on the facets, largest first."""
    grid = water.grid
    roof = np.isfinite(grid.z)
    deep = np.flatnonzero(roof & (water.level - np.where(roof, grid.z, 0) > least))
    found = []
    for surface in np.unique(np.round(water.level[deep], 6)).tolist():
        under = [(f, part) for f in grid.facets for part in shapely.get_parts(_below(f, surface))
                 if isinstance(part, Polygon)]
        # A hair under the surface, pools either side of a ridge that stands at it come apart.
        pools = shapely.union_all([_below(f, surface - HAIR) for f in grid.facets], grid_size=1e-6)
        for pool in shapely.get_parts(pools):
            parts = [(f, part) for f, part in under if part.intersection(pool).area > 1e-6]
            deepest, depth = _deepest(parts, surface)
            if depth > least and abs(float(water.surface(deepest)[0]) - surface) < 1e-5:
                found.append(_pond(parts, surface, depth))
    return tuple(sorted(found, key=lambda p: -p.volume_gal))


def _deepest(parts: Sequence[tuple[Facet, Polygon]], surface: float) -> tuple[Floats, float]:
    """The lowest corner, shape (1, 2), and the depth of water there [in]."""
    corners = [(f, xy[None]) for f, part in parts for xy in shapely.get_coordinates(part)]
    depths = [surface - float(f.height(xy)[0]) for f, xy in corners]
    at = int(np.argmax(depths)) if depths else 0
    return (corners[at][1], depths[at]) if depths else (np.zeros((1, 2)), 0.0)


def _below(facet: Facet, surface: float) -> BaseGeometry:
    """The part of a facet that lies under a level surface [in]."""
    steep = math.hypot(facet.sx, facet.sy)
    if steep < 1e-12:
        return facet.polygon if facet.z0 < surface else Polygon()
    ux, uy = facet.sx / steep, facet.sy / steep
    s = (surface - facet.z0) / steep  # the shore lies where u . xy = s
    far = 4 * max(1.0, *(abs(v) for v in facet.polygon.bounds)) + abs(s)
    shore = np.array([s * ux, s * uy])
    down, aside = -far * np.array([ux, uy]), far * np.array([-uy, ux])
    return facet.polygon.intersection(Polygon([shore - aside, shore + aside, shore + aside + down,
                                               shore - aside + down]))


def _pond(parts: Sequence[tuple[Facet, Polygon]], surface: float, depth: float) -> Pond:
    # the depth is linear over a facet, so its mean stands at the centroid
    middles = [(f, part.area, np.array(part.centroid.coords)) for f, part in parts]
    volume = sum(area * (surface - float(f.height(at)[0])) for f, area, at in middles)
    whole = shapely.union_all([part for _, part in parts], grid_size=1e-6)
    outline = max(shapely.get_parts(whole), key=lambda g: g.area)
    return Pond(outline, surface, sum(area for _, area, _ in middles) / 144, depth, volume / GALLON)
