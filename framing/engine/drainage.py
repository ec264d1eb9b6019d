"""Drainage: flow and depth of water at each outlet, where water stands, and what happens with the outlets blocked.

Stage: roof -> drainage. Nothing here says that a roof drains well enough: each check gives a number, its basis and
who decides. The water is measured against the doors here, and against the frame by `against_frame` once its clear
gaps are known.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
import shapely
from numpy.typing import ArrayLike, NDArray
from shapely import LineString, Point

from framing.engine.adjustment import Adjustment
from framing.engine.checks import Check, check
from framing.engine.documents import Outlet, Rain, Survey
from framing.engine.roof import Facet, Roof
from framing.engine.watershed import HAIR, Grid, Pond, Watershed, flood, lay_grid, shed, standing
from framing.reference import drainage as published

Floats = NDArray[np.float64]

LOW_LINE_LEAST = 24.0  # shorter low lines hold no water worth a word [in]
OVERFLOW_TOLERANCE = 0.25  # how near 2 in an overflow's height is called 2 in [in]: common practice


# -- hydraulics ------------------------------------------------------------------------------------------------

def design_flow(area_sqft: ArrayLike, intensity: ArrayLike) -> Floats:
    """Rain off an area [sq ft] at an intensity [in/h] -> flow [gpm]. ASCE 7-05 Eq. C8-1."""
    return np.asarray(published.FLOW * np.asarray(area_sqft, float) * np.asarray(intensity, float))


def rain_load(static: ArrayLike, hydraulic: ArrayLike) -> Floats:
    """Load of water `static` deep up to the overflow and `hydraulic` above it [in] -> [psf]. ASCE 7-16 Eq. 8.3-1."""
    return np.asarray(published.RAIN_LOAD * (np.asarray(static, float) + np.asarray(hydraulic, float)))


def scupper_capacity(width: ArrayLike, height: ArrayLike | None, head: ArrayLike) -> Floats:
    """Flow through a scupper [gpm]: its `width` and `height` (None: open at the top), `head` over its invert [in].

    A weir, 2.9 b h^1.5; once the opening is under water the lesser of that and the orifice 4.3 b D sqrt(h - D/2),
    so that the flow never jumps. Sources and standing of both constants: `framing.reference.drainage`.
    """
    b, h = np.asarray(width, float), np.maximum(np.asarray(head, float), 0.0)
    weir = published.WEIR * b * h**1.5
    if height is None:
        return np.asarray(weir)
    d = np.asarray(height, float)
    orifice = published.ORIFICE * b * d * np.sqrt(np.maximum(h - d / 2, 0.0))
    return np.asarray(np.where(h > d, np.minimum(weir, orifice), weir))


def scupper_head(width: ArrayLike, height: ArrayLike | None, flow: ArrayLike) -> Floats:
    """Head over the invert [in] at which a scupper passes `flow` [gpm]; the inverse of `scupper_capacity`."""
    b, q = np.asarray(width, float), np.maximum(np.asarray(flow, float), 0.0)
    weir = (q / (published.WEIR * b)) ** (2 / 3)
    if height is None:
        return np.asarray(weir)
    d = np.asarray(height, float)
    orifice = d / 2 + (q / (published.ORIFICE * b * d)) ** 2
    return np.asarray(np.where(weir > d, np.maximum(weir, orifice), weir))


def drain_capacity(diameter: ArrayLike, head: ArrayLike) -> Floats:
    """Flow into a drain of `diameter` at `head` over its rim, both [in] -> [gpm]: the lesser of weir and orifice.

    Its bare outlet is taken, without bowl or strainer, which errs to deeper water.
    """
    d, h = np.asarray(diameter, float), np.maximum(np.asarray(head, float), 0.0)
    weir = published.WEIR * np.pi * d * h**1.5
    orifice = published.DRAIN_ORIFICE * np.pi / 4 * d**2 * np.sqrt(h)
    return np.asarray(np.minimum(weir, orifice))


def drain_head(diameter: ArrayLike, flow: ArrayLike) -> Floats:
    """Head over the rim [in] at which a drain takes `flow` [gpm]; the inverse of `drain_capacity`."""
    d, q = np.asarray(diameter, float), np.maximum(np.asarray(flow, float), 0.0)
    weir = (q / (published.WEIR * np.pi * d)) ** (2 / 3)
    orifice = (q / (published.DRAIN_ORIFICE * np.pi / 4 * d**2)) ** 2
    return np.asarray(np.maximum(weir, orifice))


def leader_capacity(diameter: ArrayLike) -> Floats:
    """Flow [gpm] that a vertical leader of `diameter` [in] carries 7/24 full. 2006 NSPC Table 13.6.1."""
    return np.asarray(published.LEADER * published.LEADER_FULL ** (5 / 3) * np.asarray(diameter, float) ** (8 / 3))


# -- the roof's drainage ---------------------------------------------------------------------------------------

@dataclass(frozen=True)
class OutletFlow:
    """One outlet and its share of the rain.

    `area_sqft` and `flow_gpm` are of the design storm for a primary outlet, of the overflow's rain with every
    primary blocked for an overflow. `head` [in] over the invert; `depth` [in] of that water over the roof beside the
    outlet. `capacity` [gpm] at `capacity_head`. None where a size, the rain or a way for water is missing.
    """

    point: str
    kind: Literal["scupper", "drain"]
    purpose: Literal["primary", "overflow"]
    xy: tuple[float, float]
    invert_z: float
    roof_z: float
    width: float | None
    height: float | None
    diameter: float | None
    area_sqft: float = 0.0
    flow_gpm: float | None = None
    head: float | None = None
    capacity: float | None = None
    capacity_head: float | None = None

    @property
    def surface(self) -> float:
        """Level of the water that runs through it; its invert where the head is not known. [in]"""
        return self.invert_z + (self.head or 0.0)

    @property
    def depth(self) -> float | None:
        return None if self.head is None else max(self.surface - self.roof_z, 0.0)

    @property
    def measured(self) -> bool:
        return (self.width if self.kind == "scupper" else self.diameter) is not None

    @property
    def opening(self) -> float | None:
        """Area of the opening [sq in]; None where a size is missing or a scupper is open at the top."""
        if self.kind == "drain":
            return None if self.diameter is None else math.pi / 4 * self.diameter**2
        return None if self.width is None or self.height is None else self.width * self.height

    def carries(self, head: float) -> float | None:
        """Flow [gpm] at `head` [in]."""
        if self.kind == "scupper":
            return None if self.width is None else float(scupper_capacity(self.width, self.height, head))
        return None if self.diameter is None else float(drain_capacity(self.diameter, head))

    def needs(self, flow: float) -> float | None:
        """Head [in] for `flow` [gpm]."""
        if self.kind == "scupper":
            return None if self.width is None else float(scupper_head(self.width, self.height, flow))
        return None if self.diameter is None else float(drain_head(self.diameter, flow))


@dataclass(frozen=True)
class Drainage:
    """Outlets with their flows, ponds and findings.

    `low_z` is the lowest membrane [in]; `edge_sqft` drains over open edges. `water` is the roof draining as it
    should, `blocked` with every primary outlet blocked; None where water has no way out.
    """

    outlets: tuple[OutletFlow, ...]
    low_z: float
    ponds: tuple[Pond, ...]
    checks: tuple[Check, ...]
    edge_sqft: float = 0.0
    water: Watershed | None = None
    blocked: Watershed | None = None

    @property
    def primary(self) -> tuple[OutletFlow, ...]:
        return tuple(o for o in self.outlets if o.purpose == "primary")

    @property
    def overflow(self) -> tuple[OutletFlow, ...]:
        return tuple(o for o in self.outlets if o.purpose == "overflow")

    def blocked_surface(self, xy: Floats) -> Floats | None:
        """Level of the water at (n, 2) points with every primary outlet blocked, None where it has no way out. [in]

        Water still, but for the head at the overflow that serves the place.
        """
        if self.blocked is None:
            return None
        return np.asarray(np.maximum(self.blocked.surface(xy), _over_inverts(self.blocked, self.overflow, xy)))


def drain(survey: Survey, adjusted: Adjustment, roof: Roof, rain: Rain | None = None) -> Drainage:
    """How the roof drains as it stands, before any deck.

    An outlet's `invert_drop` is its invert; else the mean of the corrected readings at its point; else the roof
    there, with a check that it was not measured. Areas come from the shape of the roof, see `watershed`.
    """
    checks: list[Check] = []
    placed = [_placed(o, survey, adjusted, roof, checks) for o in survey.outlets]
    outlets = [o for o in placed if o is not None]
    primary = [o for o in outlets if o.purpose == "primary"]
    overflow = [o for o in outlets if o.purpose == "overflow"]
    low_z = min(float(f.height(np.array(f.polygon.exterior.coords)).min()) for f in roof.facets)
    edges = [LineString([_at(adjusted, e.from_), _at(adjusted, e.to)]) for e in survey.edges
             if e.against == "open" and e.from_ in adjusted.points and e.to in adjusted.points]
    grid = lay_grid(roof.facets)

    water = shed(grid, *_ways(primary), edges)
    blocked = shed(grid, *_ways(overflow), edges)
    rates = _rates(rain, checks, bool(outlets))
    primary = [_running(o, water, n, rates[0]) for n, o in enumerate(primary)]
    overflow = [_running(o, blocked, n, rates[1]) for n, o in enumerate(overflow)]
    primary = [_with_capacity(o, overflow) for o in primary]
    ponds = standing(water, 2 * survey.level_sigma) if water else ()

    checks += _outlet_checks(primary, overflow)
    checks += _slope_checks(roof, survey)
    for pond in ponds:
        middle = pond.polygon.representative_point()
        checks.append(check("pond", "caution", value=pond.depth, limit=2 * survey.level_sigma, where=_place(middle),
                            area=pond.area_sqft, gallons=pond.volume_gal, load=float(rain_load(pond.depth, 0))))
    flattest = min(f.slope_in_per_ft for f in roof.facets)
    if ponds or flattest < published.LEAST_SLOPE - 1e-9:
        checks.append(check("ponding-stability", "note", value=flattest, limit=published.LEAST_SLOPE, unit="in/ft",
                            where="roof"))
    if water is None:
        checks.append(check("no-outlet", "caution", value=0, limit=1, unit="EA", where="roof", acknowledge=True))
    checks += _primary_checks(primary, overflow, water)
    checks += _overflow_checks(primary, overflow, roof, water, bool(edges))
    told = [p.depth for p in ponds]
    told += [c.value / published.RAIN_LOAD for c in checks if c.code == "blocked-primary-load" and c.value is not None]
    checks += _blocked_checks(grid, blocked, overflow, edges, _brims(survey, adjusted, roof),
                              max(told, default=0.0) + 2 * survey.level_sigma)
    checks += _upturn_checks(survey, adjusted, roof)
    if any(e.against == "house" for e in survey.edges) and rates[0] is not None and primary:
        checks.append(check("wall-rain", "note", unit="EA", where="house wall"))
    return Drainage((*primary, *overflow), low_z, ponds, tuple(checks),
                    float(water.area[-1]) / 144 if water else 0.0, water, blocked)


def _placed(outlet: Outlet, survey: Survey, adjusted: Adjustment, roof: Roof,
            checks: list[Check]) -> OutletFlow | None:
    """The outlet with its place and invert; None, and a check, where its point has no place."""
    name = f"{outlet.kind} {outlet.point}"
    if outlet.point not in adjusted.points:
        checks.append(check("not-measured", "caution", unit="EA", where=outlet.point,
                            what=f"{name}: its place is not known, so no water was led to it"))
        return None
    at = _at(adjusted, outlet.point)
    roof_z = float(roof.height(np.array([at]))[0])
    read = [r.z for r in adjusted.levels if r.point == outlet.point]
    if outlet.invert_drop is not None:
        invert = -outlet.invert_drop
    elif read:
        invert = sum(read) / len(read)
    else:
        invert = roof_z
        checks.append(check("not-measured", "caution", unit="EA", where=outlet.point,
                            what=f"{name}: its invert was not read; the roof beside it is taken"))
    size = "width" if outlet.kind == "scupper" else "diameter"
    if getattr(outlet, size) is None:
        checks.append(check("not-measured", "caution", unit="EA", where=outlet.point,
                            what=f"{name}: its {size} is not known, so neither is the depth of water at it"))
    return OutletFlow(outlet.point, outlet.kind, outlet.purpose, at, invert, roof_z,
                      outlet.width, outlet.height, outlet.diameter)


def _at(adjusted: Adjustment, point: str) -> tuple[float, float]:
    p = adjusted.points[point]
    return float(p.x), float(p.y)


def _place(p: Point) -> str:
    return f"x {p.x:.0f}, y {p.y:.0f}"


def _ways(outlets: Sequence[OutletFlow]) -> tuple[Floats, Floats]:
    return np.array([o.xy for o in outlets]).reshape(-1, 2), np.array([o.invert_z for o in outlets])


def _rates(rain: Rain | None, checks: list[Check], outlets: bool) -> tuple[float | None, float | None]:
    """Intensities for the primary outlets and for the overflows [in/h]."""
    if rain is None:
        if outlets:
            checks.append(check("rain-not-given", "caution", unit="in/h", where="build",
                                what="so no flow, depth or load of water was worked out"))
        return None, None
    if rain.secondary is None:
        checks.append(check("rain-not-given", "caution", value=rain.primary, unit="in/h", where="build",
                            what=f"for the overflows; {rain.primary:g} in/h, the primary rain, was used for them"))
    checks.append(check("rain-basis", "note", value=rain.primary, unit="in/h", where="build",
                        second=rain.secondary or rain.primary, basis=rain.source or "source not given"))
    return rain.primary, rain.secondary or rain.primary


def _running(outlet: OutletFlow, water: Watershed | None, number: int, rate: float | None) -> OutletFlow:
    if water is None:
        return outlet
    area = float(water.area[number]) / 144
    if rate is None:
        return replace(outlet, area_sqft=area)
    flow = float(design_flow(area, rate))
    return replace(outlet, area_sqft=area, flow_gpm=flow, head=outlet.needs(flow))


def _with_capacity(outlet: OutletFlow, overflow: Sequence[OutletFlow]) -> OutletFlow:
    """What the outlet carries before water reaches the lowest overflow above it, or 2 in deep where there is none."""
    above = [o.invert_z - outlet.invert_z for o in overflow if o.invert_z > outlet.invert_z]
    head = min(above, default=published.OVERFLOW_ABOVE)
    return replace(outlet, capacity=outlet.carries(head), capacity_head=head)


# -- checks that need no frame -----------------------------------------------------------------------------------

def _slope_checks(roof: Roof, survey: Survey) -> list[Check]:
    """The roof's slope against the least new roofs are laid to, and the fall along the lines where water gathers."""
    whole = sum(f.polygon.area for f in roof.facets)
    flat = [f for f in roof.facets if f.slope_in_per_ft < published.LEAST_SLOPE - 1e-9]
    least = min(f.slope_in_per_ft for f in roof.facets)
    found = [check("roof-slope-low", "caution" if flat else "ok", value=least, limit=published.LEAST_SLOPE,
                   unit="in/ft", where="roof", area=sum(f.polygon.area for f in flat) / 144,
                   percent=100 * sum(f.polygon.area for f in flat) / whole)]
    for where, kind, fall in _low_lines(roof, survey):
        found.append(check(f"ponding-along-{kind}", "caution" if fall < published.LEAST_FALL - 1e-9 else "ok",
                           value=fall, limit=published.LEAST_FALL, unit="in/ft", where=where))
    return found


def _low_lines(roof: Roof, survey: Survey) -> list[tuple[str, Literal["edge", "valley"], float]]:
    """Walls and valleys that water runs against, with their own fall [in/ft], once each."""
    n = len(survey.corners)
    outline = list(roof.outline.exterior.coords)
    sides = [LineString([outline[i], outline[i + 1]]) for i in range(n)]
    names = [(a, b) for a, b in zip(survey.corners, (*survey.corners[1:], survey.corners[0]), strict=True)]
    against = {frozenset((e.from_, e.to)): e.against for e in survey.edges}
    lines: dict[str, tuple[Literal["edge", "valley"], float]] = {}
    for i, facet in enumerate(roof.facets):
        ring = np.array(facet.polygon.exterior.coords)
        if not facet.polygon.exterior.is_ccw:
            ring = ring[::-1]
        for a, b in zip(ring[:-1], ring[1:], strict=True):
            run = float(np.hypot(*(b - a)))
            if run < LOW_LINE_LEAST or not _runs_into(facet, a, b):
                continue
            middle = Point((a + b) / 2)
            fall = 12 * abs(float(np.dot([facet.sx, facet.sy], (b - a) / run)))
            side = min(range(n), key=lambda k: sides[k].distance(middle))
            if sides[side].distance(middle) < 0.1:
                if against.get(frozenset(names[side])) != "open":
                    name = "-".join(names[side])
                    lines[name] = ("edge", min(fall, lines[name][1]) if name in lines else fall)
            elif any(_runs_into(other, b, a) for j, other in enumerate(roof.facets)
                     if j != i and other.polygon.distance(middle) < 0.1):
                lines[f"valley at {_place(middle)}"] = ("valley", fall)
    return [(where, kind, fall) for where, (kind, fall) in lines.items()]


def _runs_into(facet: Facet, a: Floats, b: Floats) -> bool:
    """True where the facet's water runs against its side from `a` to `b` (facet on the left), by 15 degrees or more."""
    out = np.array([b[1] - a[1], a[0] - b[0]]) / np.hypot(*(b - a))
    steep = math.hypot(facet.sx, facet.sy)
    return steep > 1e-6 and float(-(out @ [facet.sx, facet.sy])) / steep > math.sin(math.radians(15))


def _outlet_checks(primary: Sequence[OutletFlow], overflow: Sequence[OutletFlow]) -> list[Check]:
    """Primary inverts that stand far off the roof beside them; drains against the leader of their own diameter."""
    found = []
    for o in primary:
        above = o.invert_z - o.roof_z
        usual = published.SUMP if above < 0 and o.kind == "drain" else published.OUTLET_OFF
        if abs(above) > usual:
            found.append(check("outlet-off-roof", "caution", value=abs(above), limit=usual,
                               where=f"{o.kind} {o.point}", side="above" if above > 0 else "below"))
    for o in (*primary, *overflow):
        if o.kind == "drain" and o.diameter is not None and o.flow_gpm is not None:
            most = float(leader_capacity(o.diameter))
            found.append(check("leader-capacity", "caution" if o.flow_gpm > most else "ok", value=o.flow_gpm,
                               limit=most, unit="gpm", where=f"{o.kind} {o.point}", diameter=o.diameter))
    return found


def _primary_checks(primary: Sequence[OutletFlow], overflow: Sequence[OutletFlow],
                    water: Watershed | None) -> list[Check]:
    found = []
    for n, o in enumerate(primary):
        where = f"{o.kind} {o.point}"
        if o.flow_gpm is not None and o.capacity is not None and o.head is not None:
            found.append(check("outlet-capacity", "caution" if o.flow_gpm > o.capacity else "ok", value=o.flow_gpm,
                               limit=o.capacity, unit="gpm", where=where, head=o.head, most=o.capacity_head,
                               area=o.area_sqft))
        if water is None:
            continue
        # Its basin is let off by another way out before the water stands deep: over a ridge, an edge, an overflow.
        beside = [v.invert_z for v in overflow if int(water.serving(np.array([v.xy]))[0]) == n]
        deep = min([float(water.spill[n]), *beside]) - o.invert_z
        if deep > published.OVERFLOW_ABOVE + OVERFLOW_TOLERANCE:
            where_to = (f"{deep:.1f} in deep there before it runs anywhere else" if math.isfinite(deep)
                        else "until it finds a way over a wall or a sill: there is no other")
            found.append(check("single-outlet", "caution", value=deep if math.isfinite(deep) else None,
                               limit=published.OVERFLOW_ABOVE, where=where, what=where_to, area=o.area_sqft))
    return found


def _overflow_checks(primary: Sequence[OutletFlow], overflow: Sequence[OutletFlow], roof: Roof,
                     water: Watershed | None, open_edge: bool) -> list[Check]:
    found: list[Check] = []
    if not overflow:
        if not open_edge:
            found.append(check("no-overflow", "caution", value=0, limit=1, unit="EA", where="roof", acknowledge=True))
        return found
    for o in overflow:
        where = f"{o.kind} {o.point}"
        low = _low_of_basin(o, roof, water)
        above = o.invert_z - low
        right = abs(above - published.OVERFLOW_ABOVE) <= OVERFLOW_TOLERANCE
        found.append(check("overflow-height", "ok" if right else "caution", value=above,
                           limit=published.OVERFLOW_ABOVE, where=where))
        if o.height is not None and o.kind == "scupper":
            found.append(check("overflow-opening", "caution" if o.height < published.OVERFLOW_HEIGHT else "ok",
                               value=o.height, limit=published.OVERFLOW_HEIGHT, where=where))
        if o.head is not None and o.flow_gpm:
            load = float(rain_load(max(above, 0), o.head))
            found.append(check("blocked-primary-load", "note", value=load, unit="psf", where=where,
                               static=max(above, 0), head=o.head, flow=o.flow_gpm))
    return found + _overflow_size(primary, overflow)


def _overflow_size(primary: Sequence[OutletFlow], overflow: Sequence[OutletFlow]) -> list[Check]:
    """Overflow openings against the primary ones: scuppers three times, drains once; nothing if a size is missing."""
    times = published.OVERFLOW_TIMES if any(o.kind == "scupper" for o in overflow) else 1.0
    both = [*primary, *overflow]
    if not primary or not all(o.measured for o in both):
        return []
    areas = [o.opening for o in both]
    if all(a is not None for a in areas):
        rule, unit, sizes = "area of opening", "sq in", [float(a) for a in areas if a is not None]
    elif all(o.kind == "scupper" for o in both):
        rule, unit, sizes = "width", "in", [float(o.width or 0) for o in both]
    else:
        return []
    first, second = sum(sizes[: len(primary)]), sum(sizes[len(primary):])
    return [check("overflow-size", "caution" if second < times * first - 1e-9 else "ok", value=second,
                  limit=times * first, unit=unit, where="overflows", rule=rule, times=times, first=first)]


def _low_of_basin(overflow: OutletFlow, roof: Roof, water: Watershed | None) -> float:
    """The lowest roof that drains the same way as the overflow stands, its own place at most. [in]"""
    if water is None:
        return min(float(f.height(np.array(f.polygon.exterior.coords)).min()) for f in roof.facets)
    basin = int(water.serving(np.array([overflow.xy]))[0])
    cells = np.isfinite(water.grid.z) & (water.share.argmax(axis=1) == basin)
    return min(float(water.grid.z[cells].min()), overflow.roof_z)


@dataclass(frozen=True)
class _Brim:
    """A place [in] that blocked water should not reach: a door's sill, the top of its flashing, or of a parapet."""

    name: str
    xy: tuple[float, float]
    z: float
    door: str = ""


def _brims(survey: Survey, adjusted: Adjustment, roof: Roof) -> list[_Brim]:
    """At every threshold point the lower of sill and flashing top; parapets at each corner of the roof beside them."""
    found = []
    for door in survey.all_doors:
        for point in (p for p in door.points if p in adjusted.points):
            read = [r.z for r in adjusted.levels if r.point == point and r.on == "threshold"]
            tops = [(sum(read) / len(read), "sill")] if read else []
            tops += [(-door.flashing_top, "flashing top")] if door.flashing_top is not None else []
            found += [_Brim(f"{part} of the {door.name} at {point}", _at(adjusted, point), z, door.name)
                      for z, part in sorted(tops)[:1]]
    corners = np.unique(np.concatenate([np.array(f.polygon.exterior.coords) for f in roof.facets]).round(6), axis=0)
    for e in survey.edges:
        if e.against == "parapet" and e.height is not None and e.from_ in adjusted.points and e.to in adjusted.points:
            side = LineString([_at(adjusted, e.from_), _at(adjusted, e.to)])
            beside = corners[shapely.distance(shapely.points(corners), side) < 0.5]
            found += [_Brim(f"top of the parapet {e.from_}-{e.to}", (float(x), float(y)), float(z) + e.height)
                      for (x, y), z in zip(beside, roof.height(beside), strict=True)]
    return found


def _blocked_checks(grid: Grid, blocked: Watershed | None, overflow: Sequence[OutletFlow], edges: Sequence[LineString],
                    brims: Sequence[_Brim], told: float) -> list[Check]:
    """Still water with every primary outlet blocked: how deep, unless that is `told` [in], and how near each door.

    It rises until it leaves by an overflow, an open edge or the lowest brim.
    """
    ways = [*(_Brim(f"{o.kind} {o.point}", o.xy, o.invert_z) for o in overflow), *brims]
    edge = grid.along(edges)
    if not ways and not len(edge):
        return []
    at = grid.cells(np.array([w.xy for w in ways]).reshape(-1, 2))
    z = np.array([w.z for w in ways])
    still = flood(grid.z.reshape(grid.shape), [*at.tolist(), *edge.tolist()], [*z.tolist(), *grid.z[edge].tolist()])
    roof = np.flatnonzero(np.isfinite(grid.z))
    deepest = int(roof[np.argmax(still.level[roof] - grid.z[roof])])
    depth, out = float(still.level[deepest] - grid.z[deepest]), still.way(deepest)
    way = next((ways[n] for n in np.flatnonzero((at == out) & (z <= still.level[out] + HAIR))), None)
    found, spilt = [], ""
    if depth > told:
        spilt = way.door if way else ""
        over = bool(still.level[deepest] > still.level[out] + HAIR)
        found.append(check(
            "blocked-primary-depth", "caution" if over or way in brims else "note", value=depth,
            where=_place(Point(grid.centres(np.array([deepest]))[0])), acknowledge=way in brims,
            load=float(rain_load(depth, 0)), way=f"over the {way.name}" if way else "over an open edge",
            first="over higher roof and then " if over else ""))

    wet = np.where(still.level[at] > grid.z[at] + HAIR, still.level[at], -np.inf)
    below = z - np.maximum(wet, _over_inverts(blocked, overflow, grid.centres(at)))
    for door in dict.fromkeys(b.door for b in brims if b.door and b.door != spilt):
        near, name = min((near, w.name) for near, w in zip(below.tolist(), ways, strict=True) if w.door == door)
        if math.isfinite(near):
            risk = near < published.SILL_MARGIN
            found.append(check("blocked-primary-sill", "caution" if risk else "ok", value=near,
                               limit=published.SILL_MARGIN, where=name, acknowledge=risk, away=abs(near),
                               side="below" if near >= 0 else "above"))
    return found


def _over_inverts(blocked: Watershed | None, overflow: Sequence[OutletFlow], xy: Floats) -> Floats:
    """Surface [in] of the running water at the overflow that serves each of (n, 2) points; -inf where none does."""
    if blocked is None:
        return np.full(len(xy), -np.inf)
    return np.array([*(o.surface for o in overflow), -np.inf])[blocked.serving(xy)]


def _upturn_checks(survey: Survey, adjusted: Adjustment, roof: Roof) -> list[Check]:
    """Height of each door's sill above the roof in front of it, at its lowest."""
    found = []
    for door in survey.all_doors:
        read = [(r.z - float(roof.height(np.array([_at(adjusted, r.point)]))[0]), r.point) for r in adjusted.levels
                if r.point in door.points and r.on == "threshold" and r.point in adjusted.points]
        if read:
            high, point = min(read)
            found.append(check(
                "membrane-upturn", "caution" if high < published.UPTURN - 1e-9 else "ok", value=high,
                limit=published.UPTURN, where=f"{door.name} at {point}",
                acknowledge=high < published.UPTURN_REDUCED - 1e-9, reduced=published.UPTURN_REDUCED,
            ))
    return found


# -- checks against the frame ------------------------------------------------------------------------------------

def against_frame(
    drainage: Drainage,
    *,
    supports_xy: Floats,
    supports_roof_z: Floats,
    clear_gaps: Floats,
    deck_top: Callable[[Floats], Floats],
) -> tuple[Check, ...]:
    """The water against the wood: in the design storm, and with every primary outlet blocked.

    Parameters
    ----------
    drainage : Drainage
        The roof's own drainage.
    supports_xy : ndarray, shape (n, 2)
        Where the supports stand. [in]
    supports_roof_z, clear_gaps : ndarray, shape (n,)
        Membrane under each, and the joist's underside above it. [in]
    deck_top : callable, (m, 2) -> (m,)
        Finished surface. [in]
    """
    xy = np.asarray(supports_xy, float).reshape(-1, 2)
    under = np.asarray(supports_roof_z, float) + np.asarray(clear_gaps, float)
    found: list[Check] = []
    if len(xy):
        found += _design_storm(drainage, xy, np.asarray(supports_roof_z, float), np.asarray(clear_gaps, float))
    blocked = drainage.blocked_surface(xy) if len(xy) else None
    if blocked is not None:
        over, deep = blocked - under, blocked - deck_top(xy)
        worst, top = int(np.argmax(over)), int(np.argmax(deep))
        wet = over > 1e-9
        found.append(check(
            "blocked-primary-joists", "caution" if wet.any() else "ok", value=float(over[worst] + clear_gaps[worst]),
            limit=float(clear_gaps[worst]), where=f"x {xy[worst, 0]:.0f}, y {xy[worst, 1]:.0f}",
            count=int(wet.sum()), all=len(xy)))
        found.append(check(
            "blocked-primary-deck", "caution" if deep[top] > 0 else "ok", value=float(blocked[top]),
            limit=float(blocked[top] - deep[top]), where=f"x {xy[top, 0]:.0f}, y {xy[top, 1]:.0f}",
            acknowledge=bool(deep[top] > 0), above=abs(float(deep[top])), side="above" if deep[top] > 0 else "below"))
    return tuple(found)


def _design_storm(drainage: Drainage, xy: Floats, roof_z: Floats, gaps: Floats) -> list[Check]:
    """Depth of water at each primary outlet against the clear gap of the joists in its basin."""
    if drainage.water is None:
        return []
    found = []
    serving = drainage.water.serving(xy)
    for n, o in enumerate(drainage.primary):
        mine = serving == n
        if o.depth is None or o.head is None or o.flow_gpm is None or not mine.any():
            continue
        least = float(gaps[mine].min())
        facet = drainage.water.grid.facets[_facet_at(drainage.water.grid.facets, o.xy)]
        back = max(o.depth - least, 0.0)
        reach = back / facet.slope_in_per_ft if facet.slope_in_per_ft > 1e-6 else math.inf
        wet = int((mine & (o.surface - roof_z > gaps + 1e-9)).sum())
        found.append(check(
            "water-under-joists", "caution" if back > 0 else "ok", value=o.depth, limit=least,
            where=f"{o.kind} {o.point}", flow=o.flow_gpm, head=o.head, count=wet,
            reach=f"about {reach:.1f} ft up the slope from it" if math.isfinite(reach) else "all over the level roof"))
    return found


def _facet_at(facets: Sequence[Facet], xy: tuple[float, float]) -> int:
    return min(range(len(facets)), key=lambda k: facets[k].polygon.distance(Point(xy)))
