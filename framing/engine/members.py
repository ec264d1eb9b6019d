"""Profiles that the saw cuts: for every member the fewest straight cuts that keep it off the roof and in height.

Stage: layout -> members. Under a member's top edge lies a corridor: the wood may come down to the least clear gap
over the roof and no further up than the most. The profile is the polyline with fewest corners inside it.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import combinations
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.optimize import linprog

from framing.engine import length
from framing.engine.checks import Change, Check, check
from framing.engine.documents import Build
from framing.engine.layout import Line
from framing.engine.plane import LEAST_DEPTH, Plane, least_gap, most_gap
from framing.engine.roof import Roof
from framing.reference import clearances
from framing.reference.lumber import DRESSED

Array = NDArray[np.float64]

CORNER_PLACES = 16  # a corner between two kinks is tried at each of so many shares of the way
LEAST_PIECE = 24.0  # no splice leaves a shorter piece [in]
NEAR = 0.01  # two places on a member closer than this are one [in]


@dataclass(frozen=True)
class Member:
    """One member as it is sawn.

    `profile` (k, 2) is s [in] from end A and depth [in] down from the framing plane; `splices` are s of butt joints,
    each over a pad (rims: over a joist end); `ripped` is false where a full stick serves as it comes.
    """

    line: Line
    size: str
    profile: Array
    splices: tuple[float, ...] = ()
    ripped: bool = True

    @property
    def id(self) -> str:
        return self.line.id

    @property
    def role(self) -> str:
        return self.line.role

    @property
    def thickness(self) -> float:
        return DRESSED[self.size][0]

    def depth(self, s: Array) -> Array:
        """Depth at s (n,) [in] -> (n,) [in]."""
        return np.asarray(np.interp(s, self.profile[:, 0], self.profile[:, 1]))

    @property
    def pieces(self) -> tuple[tuple[float, float], ...]:
        """(from, to) of every piece along s [in], in order."""
        cuts = (0.0, *self.splices, self.line.length)
        return tuple(zip(cuts, cuts[1:], strict=False))

    def stations(self, supports: Sequence[float]) -> list[list[Any]]:
        """[s, depth to 1/16] at both ends, every cut change, splice and support; ties to the deeper."""
        s = sorted({0.0, self.line.length, *self.profile[:, 0].tolist(), *self.splices, *supports})
        kept = [v for i, v in enumerate(s) if i == 0 or v - s[i - 1] > NEAR]
        return [[v, length.sixteenths(float(d))] for v, d in zip(kept, self.depth(np.array(kept)), strict=True)]

    def as_json(self, supports: Sequence[float]) -> dict[str, Any]:
        return {
            "id": self.id, "role": self.role, "start": list(self.line.start), "end": list(self.line.end),
            "size": self.size, "thickness": self.thickness, "profile": self.profile.tolist(),
            "stations": self.stations(supports), "splices": list(self.splices), "ripped": self.ripped,
        }


@dataclass(frozen=True)
class Corridor:
    """Where a profile may run: depths `low`..`high` at the kinks `s` (k,) of roof and plane under one member [in]."""

    s: Array
    height: Array  # top edge over the roof [in]
    low: Array
    high: Array


def corridor(line: Line, build: Build, plane: Plane, roof: Roof, deepest: float) -> Corridor:
    """The corridor under `line`; between its kinks both limits are straight or bend the safe way.

    `low` is a maximum of straight lines (convex) and `high` a minimum (concave): a straight profile that keeps to
    them at the kinks keeps to them between.
    """
    s = kinks(line, roof)
    xy = line.at(s)
    height = plane.height(xy) - build.decking.thickness - build.joists.tape_thickness - roof.height(xy)
    low = np.maximum(height - most_gap(build), build.joists.minimum_depth)
    high = np.minimum(height - least_gap(build), deepest)
    return Corridor(s, height, low, high)


def kinks(line: Line, roof: Roof) -> Array:
    """Both ends and every place where the roof under the member bends, s (k,) [in]."""
    cuts = shapely.get_coordinates(shapely.intersection(np.array(roof.creases()), line.shape))
    places = {0.0, line.length, *(float(math.dist(p, line.start)) for p in cuts)}
    ordered = sorted(p for p in places if 0 <= p <= line.length)
    keep = [p for i, p in enumerate(ordered) if i == 0 or p - ordered[i - 1] > NEAR]
    keep[-1] = line.length
    return np.array(keep)


def fewest_cuts(c: Corridor, target: float) -> Array | None:
    """Profile (k, 2) with the fewest corners inside the corridor, nearest the target gap; None where none fits.

    Corners are sought at the kinks and, where that may save one, at places between them. With corners fixed, the
    depths that keep to the corridor and stray least from the target gap are a linear program.
    """
    for corners in _corner_sets(c.s):
        depth = _nearest(c, corners, target)
        if depth is not None:
            return np.asarray(np.c_[corners, depth])
    return None


def _corner_sets(s: Array) -> Iterator[Array]:
    """Sets of corner places with both ends in each, fewest first, kinks before the places between them."""
    inner = s[1:-1]
    share = np.arange(1, CORNER_PLACES)[:, None] / CORNER_PLACES
    between = (s[:-1] + share * np.diff(s)).ravel() if len(s) > 3 else np.array([])
    for n in range(len(inner) + 1):
        yield from (np.array([s[0], *pick, s[-1]]) for pick in combinations(inner, n))
        if 0 < n < len(inner):
            yield from (np.array(sorted([s[0], *pick, s[-1]])) for pick in combinations([*inner, *between], n)
                        if not set(pick) <= set(inner))


def _nearest(c: Corridor, corners: Array, target: float) -> Array | None:
    """Depths (corners,) inside the corridor with the least largest departure from the target gap [in]."""
    places = np.union1d(c.s, corners)
    low, high, height = (np.interp(places, c.s, v) for v in (c.low, c.high, c.height))
    # linear interpolation of each corner's depth onto the places
    basis = np.stack([np.interp(places, corners, row) for row in np.eye(len(corners))], axis=1)
    if len(corners) == len(places):  # a corner at every kink: each depth is its own, no program needed
        if (low > high + 1e-9).any():
            return None
        return np.asarray(np.clip(height - target, low, high))
    one = np.ones((len(places), 1))
    none = np.zeros_like(one)
    wanted = height - target
    a = np.block([[basis, none], [-basis, none], [basis, -one], [-basis, -one]])
    b = np.r_[high, -low, wanted, -wanted]
    cost = np.r_[np.zeros(len(corners)), 1.0]
    answer = linprog(cost, A_ub=a, b_ub=b, bounds=[(None, None)] * len(corners) + [(0, None)], method="highs")
    return np.asarray(answer.x[:-1]) if answer.success else None


def saw_members(lines: Sequence[Line], build: Build, plane: Plane, roof: Roof,
                longest: float, outlets: Array) -> tuple[list[Member], list[Check]]:
    """Every line as a sawn member: profile, stick and splices; `outlets` (n, 2) are kept clear of splices [in].

    A member that fits no corridor (the height between least depth and most gap leaves none, or no stick at hand
    is deep enough) is a `stop` and is left out.
    """
    offered = sorted(build.joists.sizes, key=lambda k: DRESSED[k][1])
    deepest = DRESSED[offered[-1]][1]
    members, unfit = [], []
    for line in lines:
        c = corridor(line, build, plane, roof, deepest)
        whole = next((k for k in offered if (c.low <= DRESSED[k][1] + 1e-9).all()
                      and (c.high >= DRESSED[k][1] - 1e-9).all()), None)
        if whole is not None:  # a stick that fits as it comes needs no cut at all
            depth = DRESSED[whole][1]
            members.append(Member(line, whole, np.array([[0, depth], [line.length, depth]]), ripped=False))
            continue
        profile = fewest_cuts(c, build.supports.clear_gap.target)
        if profile is None:
            unfit.append((line, c))
            continue
        size = next(k for k in offered if DRESSED[k][1] >= profile[:, 1].max() - 1e-6)
        members.append(Member(line, size, profile))
    spliced = _splice(members, roof, build, longest, outlets)
    return spliced, _unfit(unfit, build, deepest)


def _unfit(unfit: Sequence[tuple[Line, Corridor]], build: Build, deepest: float) -> list[Check]:
    """One stop for the worst member that no profile fits: over the deepest stick's reach, or under the least depth."""
    if not unfit:
        return []
    over = [(float((c.height - most_gap(build)).max()), line) for line, c in unfit]
    need, line = max(over, key=lambda v: v[0])
    if need > deepest + 1e-9:
        offers = [Change("joists.sizes", f"up to {deepest} in", k) for k, (_, d) in DRESSED.items()
                  if d >= need and d > deepest][:1]
        short = need - deepest
        most = math.ceil((build.supports.clear_gap.most + short) * 16 - 1e-6) / 16
        offers.append(Change("supports.clear_gap.most", build.supports.clear_gap.most, most))
        if build.supports.pad_thickness + build.supports.base_thickness + build.supports.shim_most < most:
            offers = offers[:-1]  # the shims would not reach: no single change
        return [check("stick-too-shallow", "stop", value=deepest, limit=need, where=line.id, clears=offers,
                      need=length.write(need), have=length.write(deepest), most=length.write(most), count=len(unfit))]
    low, line = min(((float((c.high - c.low).min()), line) for line, c in unfit), key=lambda v: v[0])
    offers = []
    s = build.supports
    if most_gap(build) < least_gap(build) - 1e-9:  # pad and shims at hand do not reach the least clear gap
        shims = math.ceil((least_gap(build) - s.pad_thickness - s.base_thickness) * 16 - 1e-6) / 16
        offers.append(Change("supports.shim_most", s.shim_most, shims))
    elif build.joists.minimum_depth + low >= LEAST_DEPTH:
        offers.append(Change("joists.minimum_depth", build.joists.minimum_depth,
                             math.floor((build.joists.minimum_depth + low) * 16 + 1e-6) / 16))
    return [check("no-profile", "stop", value=most_gap(build) - least_gap(build),
                  limit=most_gap(build) - least_gap(build) - low, where=line.id, clears=offers, count=len(unfit),
                  short=f"{-low:.2f}")]


def _splice(members: Sequence[Member], roof: Roof, build: Build, longest: float, outlets: Array) -> list[Member]:
    """Members longer than the longest piece, cut into pieces: at a ridge where it serves, else where sticks serve.

    A splice stands on a pad, so it keeps off outlets and valleys as pads do.
    """
    sticks = sorted(v for v in build.joists.stock_lengths if v - build.saw.trim <= longest + NEAR)
    ends = {m.id: m.line for m in members if m.role in ("joist", "edge")}
    done = []
    for m in members:
        if m.line.length <= longest + NEAR:
            done.append(m)
        elif m.role == "rim":
            places = _joist_ends(m.line, list(ends.values()))
            done.append(replace(m, splices=_pick(m.line.length, longest, places)))
        else:
            run, ridges = m.line.length, _over(m.line, roof, "ridge")
            cuts = (_pick(run, longest, ridges) if _serves(run, longest, ridges)
                    else _by_sticks(run, longest, [v - build.saw.trim for v in sticks]))
            done.append(replace(m, splices=_kept_off(m.line, cuts, longest, roof, build, outlets)))
    return done


def _over(line: Line, roof: Roof, kind: str) -> list[float]:
    """Where a member passes over break lines of a kind, s from end A (n,) [in]."""
    cuts = [line.shape.intersection(b.line) for b in roof.breaks if b.kind == kind]
    return sorted(float(line.shape.project(c)) for c in cuts if c.geom_type == "Point")


def _kept_off(line: Line, cuts: Sequence[float], longest: float, roof: Roof, build: Build,
              outlets: Array) -> tuple[float, ...]:
    """The cuts, each moved to the nearest place clear of outlets and valleys that leaves no piece too long."""
    valleys = [b.line for b in roof.breaks if b.kind == "valley"]
    if not (len(outlets) or valleys):
        return tuple(cuts)
    off_valley = max(max(size) for size in build.supports.pad_sizes) / 2 + clearances.VALLEY
    moved = list(cuts)
    for i in range(len(moved)):
        before, after = (moved[i - 1] if i else 0.0), (moved[i + 1] if i + 1 < len(moved) else line.length)
        low, high = max(before + LEAST_PIECE, after - longest), min(after - LEAST_PIECE, before + longest)
        s = np.append(np.arange(low, high + 0.01, 0.5), moved[i])
        xy = line.at(s)
        clear = np.ones(len(s), bool)
        if len(outlets):
            clear &= np.hypot(*(xy[:, None] - outlets[None]).transpose(2, 0, 1)).min(axis=1) >= clearances.OUTLET
        for valley in valleys:
            clear &= shapely.distance(shapely.points(xy), valley) >= off_valley
        if clear.any():
            moved[i] = float(s[clear][np.argmin(np.abs(s[clear] - moved[i]))])
    return tuple(moved)


def _joist_ends(rim: Line, others: Sequence[Line]) -> list[float]:
    """Where joists and edge joists meet a rim, s from its end A (n,) [in]."""
    xy = np.array([e for o in others for e in (o.start, o.end)]).reshape(-1, 2)
    u = (np.array(rim.end) - np.array(rim.start)) / rim.length
    s, off = (xy - rim.start) @ u, np.abs((xy - rim.start) @ np.array([-u[1], u[0]]))
    return sorted({round(float(v), 6) for v, o in zip(s, off, strict=True) if o < 4 and 3 < v < rim.length - 3})


def _serves(run: float, longest: float, places: Sequence[float]) -> bool:
    """Whether cuts at some of `places` alone leave no piece longer than `longest`, in the fewest pieces."""
    picked = _pick(run, longest, places)
    return len(picked) + 1 == math.ceil((run - NEAR) / longest) and max(np.diff([0, *picked, run])) <= longest + NEAR


def _pick(run: float, longest: float, places: Sequence[float]) -> tuple[float, ...]:
    """Of `places`, the cuts that leave the fewest pieces: each time the one nearest an even share within reach."""
    cuts: list[float] = []
    at = 0.0
    while run - at > longest + NEAR:
        left = math.ceil((run - at - NEAR) / longest)
        reach = [p for p in places if at + 1 < p <= at + longest + NEAR and run - p <= (left - 1) * longest + NEAR]
        reach = reach or [p for p in places if at + 1 < p <= at + longest + NEAR]
        if not reach:
            return tuple(cuts)
        at = min(reach, key=lambda p: abs(p - (at + (run - at) / left)))
        cuts.append(at)
    return tuple(cuts)


def _by_sticks(run: float, longest: float, usable: Sequence[float]) -> tuple[float, ...]:
    """Cuts that leave whole sticks and one remainder: the mix that buys the least wood in the fewest pieces."""
    pieces = math.ceil((run - NEAR) / longest)
    best, cuts = math.inf, tuple(run * (i + 1) / pieces for i in range(pieces - 1))
    for first in usable:
        rest = run - first * (pieces - 1)
        if not 24 <= rest <= longest + NEAR:
            continue
        bought = first * (pieces - 1) + min(u for u in usable if u >= rest - NEAR)
        if bought < best - NEAR:
            best, cuts = bought, tuple(first * (i + 1) for i in range(pieces - 1))
    return cuts
