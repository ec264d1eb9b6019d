"""Pads and shims: the fewest pads that carry each member, and the stack that closes at every one.

Stage: members -> supports <-> structure. Pads are first placed by what the local depth can span, then the tapered
beams are solved and pads are added where strength, deflection or the roof's insulation ask for more.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import LineString, Point, Polygon, STRtree
from shapely.ops import unary_union

from framing.engine import length
from framing.engine.adjustment import Adjustment
from framing.engine.checks import Check, check
from framing.engine.documents import Build, Survey
from framing.engine.layout import PAD_FROM_WALL, Deck, Layout
from framing.engine.members import Member
from framing.engine.plane import Plane
from framing.engine.roof import Roof
from framing.engine.structure import (
    AdjustedValues,
    Beam,
    Load,
    MemberDesign,
    Solution,
    Strength,
    adjusted_values,
    allowable_pressure,
    allowable_span,
    solve,
    strength,
)
from framing.reference import clearances, insulation
from framing.reference.design_values import REGRADE

Array = NDArray[np.float64]

PAD_ROLES = ("edge", "joist")  # rims and blocking hang on these
END_PAD = 3.0  # an end pad's centre stands this near the end where the pads at hand let it [in]
LONGEST_OVERHANG = 8.0  # an end pad stands no further in than this to make room for an outlet or another pad [in]
OFF_AN_OUTLET = 12.0  # ... or than this, to come off an outlet altogether [in]
LEAST_BETWEEN = 2.0  # two pads leave at least this for water between them [in]
COARSE = 1 / 32  # a stack may miss the roof by this [in] (documents.md, supports)
WORTH_A_PAD = 0.4  # a further pad stays where it takes this part of its even share off the worst use
SAME_SUM = 1e-5  # [in]
ROUNDS = 60


@dataclass(frozen=True)
class Support:
    """One pad with its shims under a member. Lengths [in], reactions [lb], pressure [psi]."""

    member: str
    s: float
    at: tuple[float, float]
    roof_z: float
    base: float
    pad: float
    shim: float
    residual: float
    shims: tuple[float, ...]
    pad_size: tuple[float, float]
    reaction: float = 0.0
    reaction_most: float = 0.0
    pressure: float = 0.0

    @property
    def clear_gap(self) -> float:
        return self.base + self.pad + self.shim

    def as_json(self) -> dict[str, Any]:
        return {
            "member": self.member, "s": self.s, "at": list(self.at), "roof_z": self.roof_z, "pad": self.pad,
            "shim": self.shim, "base": self.base, "clear_gap": self.clear_gap, "residual": self.residual,
            "reaction": self.reaction, "reaction_most": self.reaction_most, "pressure": self.pressure,
            "pad_size": list(self.pad_size), "shims": list(self.shims),
        }


@dataclass(frozen=True)
class Frame:
    """Members on their supports, with what the loads do to them."""

    members: tuple[Member, ...]
    supports: tuple[Support, ...]
    dead: float
    live: float
    checks: tuple[Check, ...]

    def on(self, member: str) -> list[Support]:
        return [s for s in self.supports if s.member == member]


@dataclass(frozen=True)
class Piece:
    """One piece of a member between splices, with its pads' places s (n,) from the member's end A [in]."""

    member: Member
    start: float
    end: float
    pads: Array


@lru_cache(maxsize=64)
def shim_sums(sizes: tuple[float, ...], most: float) -> tuple[Array, NDArray[np.int_]]:
    """Every thickness that shims of `sizes` make up to `most`, rising (n,) [in], each made with the fewest shims.

    The second array (n, sizes) counts the shims of each size in it.
    """
    thick = np.array(sizes, float)
    one_more = np.eye(len(sizes), dtype=int)[np.argsort(-thick)]
    count = np.zeros((1, len(sizes)), int)
    total, kept = np.zeros(1), count
    while len(count):
        # one shim more on each of the last; sums nearer than a float's dust are one, the first made has the fewest
        made = (count[:, None, :] + one_more).reshape(-1, len(sizes))
        made = made[made @ thick <= most + SAME_SUM]
        _, first = np.unique(np.append(total, made @ thick).round(6), return_index=True)
        fresh = first[first >= len(total)] - len(total)
        fresh = fresh[np.abs(total[:, None] - made[fresh] @ thick).min(axis=0) > SAME_SUM]
        count = made[fresh]
        total, kept = np.append(total, count @ thick), np.append(kept, count, axis=0)
    rising = np.argsort(total)
    return total[rising], kept[rising]


def close_stack(gap: Array, build: Build) -> tuple[Array, list[tuple[float, ...]]]:
    """The shims under each pad whose clear gap should be `gap` (n,) [in]: their sums (n,) and what makes them up."""
    sizes = tuple(build.supports.shim_sizes)
    have, made = shim_sums(sizes, build.supports.shim_most)
    i = nearest_sum(have, gap - build.supports.pad_thickness - build.supports.base_thickness)
    return have[i], [tuple(sorted(np.repeat(sizes, made[k]).tolist(), reverse=True)) for k in i]


def nearest_sum(have: Array, wanted: Array) -> NDArray[np.intp]:
    """Index of the sum in `have` (rising) nearest to each of `wanted`, the lesser of two as near."""
    above = np.clip(np.searchsorted(have, wanted), 0, len(have) - 1)
    below = np.maximum(above - 1, 0)
    return np.asarray(np.where(wanted - have[below] <= have[above] - wanted, below, above))


def design_loads(build: Build, members: Sequence[Member], deck: Deck, decking_psf: float,
                 framing_plf: Mapping[str, float]) -> Load:
    """Dead and live load [psf] as used: decking as laid, framing averaged over the net area, what is asked besides."""
    weight = sum(framing_plf[m.id] * m.line.length / 12 for m in members)
    dead = decking_psf + weight / deck.net_sqft + build.loads.dead_extra
    return Load(dead, max(build.loads.live, build.loads.snow))


@dataclass(frozen=True)
class Ground:
    """What the pads stand on: the roof, where no pad may stand, and the area that pads must stay within."""

    roof: Roof
    inside: Polygon
    outlets: Array
    valleys: tuple[LineString, ...]
    strength: float | None  # insulation, rated [psi]


def find_ground(survey: Survey, adjusted: Adjustment, roof: Roof, deck: Deck) -> Ground:
    """Roof and keep-outs for the pads. Obstacles are kept clear of as the deck keeps clear of them."""
    xy = [(adjusted.points[o.point].x, adjusted.points[o.point].y) for o in survey.outlets
          if o.point in adjusted.points]
    inside = roof.outline.buffer(-PAD_FROM_WALL, join_style="mitre")
    if deck.holes:
        inside = inside.difference(unary_union(deck.holes))
    return Ground(roof, inside, np.array(xy, float).reshape(-1, 2),
                  tuple(b.line for b in roof.breaks if b.kind == "valley"),
                  survey.roof.insulation_strength if survey.roof else None)


def member_values(members: Sequence[Member], build: Build, grade: str) -> dict[str, AdjustedValues]:
    """Design values of every member by the size it is sawn from, at `grade`."""
    j, count = build.joists, sum(m.role == "joist" for m in members)
    moisture = j.moisture or "wet"  # not given: the one that creeps most
    by_size = {size: adjusted_values(j.species, grade, size, moisture=moisture, spacing=j.spacing, members=count)
               for size in {m.size for m in members}}
    return {m.id: by_size[m.size] for m in members}


def support(members: Sequence[Member], layout: Layout, build: Build, plane: Plane, ground: Ground, load: Load,
            net_sqft: float) -> Frame:
    """Pads, shims and reactions under every member that stands on its own.

    Pads are added one at a time to a piece that is used beyond its stamped grade, or that presses the insulation
    harder than it may, until it passes or has no room for another.
    """
    asked = build.supports.maximum_spacing
    widest = clearances.PAD_SPACING if asked == "auto" else float(asked)
    values = member_values(members, build, build.joists.grade)
    pieces: list[Piece] = []
    supports: list[Support] = []
    free = ground
    for role in PAD_ROLES:  # edge joists first: beside a skewed one, joists make room for its pads
        own = [Piece(m, a, b, np.array([])) for m in members if m.role == role for a, b in m.pieces]
        own, solution = _carry(own, layout, build, free, load, values, widest)
        stood = _stacks(own, solution, build, plane, free)
        pieces, supports = pieces + own, supports + stood
        free = _without(free, stood, {m.id: m for m in members})
    order = {m.id: i for i, m in enumerate(members)}
    supports.sort(key=lambda s: (order[s.member], s.s))
    beams = [_beam(p, layout) for p in pieces]
    pad = _shortest_pad(build)
    solution = solve(beams, load, np.array([values[p.member.id].E for p in pieces]))
    strong = strength(solution, beams, [MemberDesign(values[p.member.id], pad) for p in pieces])
    third = member_values(members, build, "No.3")
    weak = strength(solution, beams, [MemberDesign(third[p.member.id], pad) for p in pieces])
    checks = [*_pad_checks(supports, {m.id: m for m in members}, build, ground), *_spacing(pieces, asked),
              *_strength_checks(pieces, solution, strong, weak, build), _load_path(supports, load, net_sqft)]
    return Frame(tuple(members), tuple(supports), load.dead, load.live, tuple(checks))


def _spacing(pieces: Sequence[Piece], asked: float | str) -> list[Check]:
    """The spacing that the build asks for, where pads and the water between them leave no room to keep it."""
    if asked == "auto":
        return []
    wide = [float(np.diff(p.pads).max()) for p in pieces]
    k = int(np.argmax(wide))
    if wide[k] <= float(asked) + 0.05:
        return []
    return [check("pad-spacing", "caution", value=wide[k], limit=float(asked), where=pieces[k].member.id,
                  least=length.write(LEAST_BETWEEN))]


def _shortest_pad(build: Build) -> float:
    return min(a for a, _ in build.supports.pad_sizes)


def _carry(pieces: list[Piece], layout: Layout, build: Build, ground: Ground, load: Load,
           values: Mapping[str, AdjustedValues], widest: float) -> tuple[list[Piece], Solution]:
    """The pieces on the fewest pads found that pass, and the solved beams.

    A piece that passes at no count keeps the one where it came nearest: pads that do not help are not added.
    """
    pad = _shortest_pad(build)
    designs = [MemberDesign(values[p.member.id], pad) for p in pieces]
    E = np.array([d.values.E for d in designs])
    start = [max(_least_pads(p, layout, load, values[p.member.id], widest),
                 _pads_to_bear(p, layout, load, build, ground)) for p in pieces]
    now = [_place(p, n, build, ground, widest) for p, n in zip(pieces, start, strict=True)]
    best, best_use = list(now), np.full(len(pieces), np.inf)
    since = np.zeros(len(pieces), int)  # pads added since the last that helped
    open_ = np.arange(len(pieces))  # pieces to solve: those that grew, and what shares a pad with them
    for _ in range(ROUNDS):
        if not len(open_):
            break
        own = [now[k] for k in open_]
        beams, held = [_beam(p, layout) for p in own], [designs[k] for k in open_]
        solution = solve(beams, load, E[open_])
        strong = np.max(list(strength(solution, beams, held).ratios.values()), axis=0)
        pressed = _bearing_use(own, solution, build, ground)
        use = np.maximum(strong, [u.max() for u in pressed])
        # a pad more should take about its share off the rest; where it takes far less, another is no cure
        pads = np.array([len(p.pads) for p in own])
        helped = use < best_use[open_] * (1 - WORTH_A_PAD / pads)
        since[open_] = np.where(helped, 0, since[open_] + 1)
        for k, u in zip(open_[helped], use[helped], strict=True):
            best[k], best_use[k] = now[k], u
        grown = set()
        for i, k in enumerate(open_):
            if best_use[k] <= 1 + 1e-9 or since[k] >= 3:
                continue
            few = int((pressed[i] > 1 + 1e-9).sum()) <= len(now[k].pads) / 3
            have = len(now[k].pads)
            trial = (_insert(now[k], int(np.argmax(pressed[i])), build, ground) if strong[i] <= 1 + 1e-9 and few
                     else _place(pieces[k], have + _short_of(have, float(use[i])), build, ground, widest))
            if len(trial.pads) > len(now[k].pads):
                now[k] = trial
                grown.add(now[k].member.id)
        open_ = np.array([k for k in range(len(pieces)) if pieces[k].member.id in grown], int)
    return best, solve([_beam(p, layout) for p in best], load, E)


def _short_of(pads: int, use: float) -> int:
    """Pads to add next: half of the way that the use asks for where far off (bending goes with the span squared)."""
    return max(1, int(0.5 * (pads - 1) * (math.sqrt(min(use, 100.0)) - 1)))


def _insert(p: Piece, hard: int, build: Build, ground: Ground) -> Piece:
    """The piece with one pad more, in the longer of the spans beside its hardest-pressed pad, where there is room."""
    spans = np.diff(p.pads)
    beside = [i for i in (hard - 1, hard) if 0 <= i < len(spans)]
    i = max(beside, key=lambda j: spans[j])
    least = _shortest_pad(build) + LEAST_BETWEEN
    if spans[i] < 2 * least:
        return p
    low, high = p.pads[i] + least, p.pads[i + 1] - least
    new = _clear_place(p.member, float(p.pads[i] + spans[i] / 2), ground, build, float(low), float(high))
    if _on_outlet(_pad_boxes(p.member.line.at(np.array([new])), _along(p.member)[None], _by_area(build)[0]), ground)[0]:
        return p
    return replace(p, pads=np.sort(np.append(p.pads, new)))


def _pads_to_bear(p: Piece, layout: Layout, load: Load, build: Build, ground: Ground) -> int:
    """Pads that the insulation asks for under the whole piece, were its load shared out evenly."""
    if ground.strength is None:
        return 2
    width = layout.width[p.member.id]
    weight = float(width.mean()) * (p.end - p.start) / 144 * (load.dead + load.live)
    largest = max(a * b for a, b in build.supports.pad_sizes)
    return 1 + int(weight / (_pressure_limits(ground)[1] * largest))


def _beam(p: Piece, layout: Layout) -> Beam:
    """The piece as a beam of its own: a splice is a hinge, so each piece bears by itself at both of its ends."""
    m, run = p.member, p.end - p.start
    inner = m.profile[(m.profile[:, 0] > p.start + 0.01) & (m.profile[:, 0] < p.end - 0.01)]
    ends = m.depth(np.array([p.start, p.end]))
    profile = np.vstack([[0, ends[0]], np.c_[inner[:, 0] - p.start, inner[:, 1]], [run, ends[1]]])
    width = layout.width[m.id]
    bins = max(1, round(run))
    # the member's carried area, as a running sum read off at the piece's own intervals
    edges = np.linspace(0, m.line.length, len(width) + 1)
    area = np.r_[0, np.cumsum(width) * (m.line.length / len(width))]
    own = np.interp(np.linspace(p.start, p.end, bins + 1), edges, area)
    hung = [(s - p.start, a) for s, a in layout.hung[m.id]
            if p.start - 1e-6 <= s <= p.end + 1e-6 and not (s in m.splices and s == p.end)]
    pads = np.clip(p.pads - p.start, 0, run)
    return Beam(run, profile, pads, np.diff(own) / (run / bins), m.thickness, np.array(hung).reshape(-1, 2))


def _least_pads(p: Piece, layout: Layout, load: Load, values: AdjustedValues, widest: float) -> int:
    """Pads to start from: the run measured in spans that the local depth allows."""
    s = np.linspace(p.start, p.end, max(2, round(p.end - p.start) + 1))
    width = float(layout.width[p.member.id].max())
    reach = np.minimum(allowable_span(p.member.depth(s), values, load, width, p.member.thickness), widest)
    # continuous joists reach further than the simple span that this counts, hence one pad too few is no loss
    return max(2, math.floor(float(np.sum(np.diff(s) / ((reach[1:] + reach[:-1]) / 2)))) + 1)


def _place(p: Piece, count: int, build: Build, ground: Ground, widest: float) -> Piece:
    """The piece on `count` pads, or on a few more or fewer where that keeps every pad off the outlets."""
    first = _spread(p, count, build, ground, widest)
    for other in (0, 1, 2, 3, -1, -2):
        trial = _spread(p, count + other, build, ground, widest) if other else first
        boxes = _pad_boxes(p.member.line.at(trial.pads), np.tile(_along(p.member), (len(trial.pads), 1)),
                           _by_area(build)[0])
        if not _on_outlet(boxes, ground).any():
            return trial
    return first


def _spread(p: Piece, count: int, build: Build, ground: Ground, widest: float) -> Piece:
    """The piece on `count` pads, or as many more as `widest` asks and as there is room for: ends first, then between.

    A joist's span grows with its depth, so pads stand closer where the piece is thin. Places that water needs are
    moved off, as far as the widest spacing lets them.
    """
    first, last = _ends(p, build, ground)
    run = last - first
    least = _shortest_pad(build) + LEAST_BETWEEN
    count = max(2, min(max(count, math.ceil(run / widest - 1e-9) + 1), math.floor(run / least + 1e-9) + 1))
    s = np.linspace(first, last, 101)
    pace = np.r_[0, np.cumsum(np.diff(s) / ((p.member.depth(s)[1:] + p.member.depth(s)[:-1]) / 2))]
    pads = np.interp(np.linspace(0, pace[-1], count), pace, s)
    if np.diff(pads).max() > widest + 1e-9 or np.diff(pads).min() < least - 1e-9:
        pads = np.linspace(first, last, count)
    for i in range(1, count - 1):
        low = max(pads[i - 1] + least, pads[i + 1] - widest)
        high = min(pads[i + 1] - least, pads[i - 1] + widest)
        pads[i] = _clear_place(p.member, float(pads[i]), ground, build, float(low), float(high))
    return replace(p, pads=pads)


def _ends(p: Piece, build: Build, ground: Ground) -> tuple[float, float]:
    """Places of the end pads: at a splice on it, at a free end half a pad in, further where an outlet is near."""
    # room for the largest pad that still stands near the end
    half = max([a / 2 for a, _ in build.supports.pad_sizes if a / 2 <= END_PAD], default=_shortest_pad(build) / 2)
    half = min(half, (p.end - p.start) / 4)
    free_a, free_b = p.start < 1e-6, p.end > p.member.line.length - 1e-6
    first, last = (p.start + half if free_a else p.start), (p.end - half if free_b else p.end)
    if free_a:
        first = _clear_end(p.member, first, 1, ground, build, p.end - p.start)
    if free_b:
        last = _clear_end(p.member, last, -1, ground, build, p.end - p.start)
    return first, last


def _clear_end(m: Member, s: float, inward: int, ground: Ground, build: Build, run: float) -> float:
    """The place of an end pad: shifted inward as far as it must, further only to come off an outlet [in]."""
    place = s
    for reach in (min(LONGEST_OVERHANG, run / 4), min(OFF_AN_OUTLET, run / 3)):
        far = s + inward * max(0.0, reach - END_PAD)
        place = _clear_place(m, s, ground, build, min(s, far), max(s, far))
        box = _pad_boxes(m.line.at(np.array([place])), _along(m)[None], _by_area(build)[0])
        if not _on_outlet(box, ground)[0]:
            break
    return place


def _clear_place(m: Member, s: float, ground: Ground, build: Build, low: float, high: float) -> float:
    """The place nearest `s` within low..high where the smallest pad fits, clear of outlets and valleys.

    Where no place has all of that, keeping off an outlet comes first, then fitting on the roof, then distance.
    """
    if high < low:
        return s
    places = np.unique(np.r_[s, np.linspace(low, high, max(2, round((high - low) * 4) + 1))])
    xy = m.line.at(places)
    along = np.tile(_along(m), (len(places), 1))
    ok = np.ones(len(places))
    if len(ground.outlets):
        away = np.hypot(*(xy[:, None] - ground.outlets[None]).transpose(2, 0, 1)).min(axis=1)
        ok = np.minimum(ok, away / clearances.OUTLET)
    half = max(build.supports.pad_sizes[0]) / 2
    for valley in ground.valleys:
        ok = np.minimum(ok, shapely.distance(shapely.points(xy), valley) / (half + clearances.VALLEY))
    smallest = _by_area(build)[:1]
    ok += 2.0 * _fits(xy, along, smallest, ground)[:, 0]
    ok += 4.0 * ~_on_outlet(_pad_boxes(xy, along, smallest[0]), ground)
    best = places[ok >= min(7.0, float(ok.max())) - 1e-9]
    return float(best[np.argmin(np.abs(best - s))])


def _pad_boxes(at: Array, along: Array, size: tuple[float, float]) -> NDArray[np.object_]:
    """Outlines (n,) of pads on the roof at (n, 2) [in], their first side along the member's unit vectors (n, 2)."""
    a, b = along * size[0] / 2, np.stack([-along[:, 1], along[:, 0]], axis=1) * size[1] / 2
    return np.asarray(shapely.polygons(np.stack([at - a - b, at + a - b, at + a + b, at - a + b], axis=1)), object)


def _along(m: Member) -> Array:
    return np.asarray((np.array(m.line.end) - np.array(m.line.start)) / m.line.length)


def _by_area(build: Build) -> list[tuple[float, float]]:
    return sorted(build.supports.pad_sizes, key=lambda v: v[0] * v[1])


def _on_outlet(boxes: NDArray[np.object_], ground: Ground) -> NDArray[np.bool_]:
    """Whether each pad outline covers an outlet, (n,)."""
    on = np.zeros(len(boxes), bool)
    for x, y in ground.outlets:
        on |= shapely.intersects_xy(boxes, x, y)
    return on


def _fits(at: Array, along: Array, sizes: Sequence[tuple[float, float]], ground: Ground,
          room: Array | float = math.inf) -> NDArray[np.bool_]:
    """Whether each of the pad sizes fits on free roof off the outlets at each place: (n, sizes).

    `room` is how far the next pad of the same member stands [in].
    """
    shapely.prepare(ground.inside)
    fits = []
    for size in sizes:
        boxes = _pad_boxes(at, along, size)
        fits.append(shapely.covers(ground.inside, boxes) & (size[0] <= np.asarray(room)) & ~_on_outlet(boxes, ground))
    return np.stack(fits, axis=1)


def _without(ground: Ground, stood: Sequence[Support], members: Mapping[str, Member]) -> Ground:
    """The ground with these pads' places taken."""
    if not stood:
        return ground
    boxes = [_pad_boxes(np.array([s.at]), _along(members[s.member])[None], s.pad_size)[0] for s in stood]
    return replace(ground, inside=ground.inside.difference(unary_union(boxes)))


def _totals(pieces: Sequence[Piece], solution: Solution) -> dict[tuple[str, float], Array]:
    """Reaction, dead part and most [lb] at every pad; the two pieces that share a splice pad add up."""
    total: dict[tuple[str, float], Array] = {}
    for k, p in enumerate(pieces):
        here = np.stack([solution.reaction[k], solution.reaction_dead[k], solution.reaction_most[k]], axis=1)
        for s, r in zip(p.pads, here, strict=True):
            key = (p.member.id, round(float(s), 6))
            total[key] = total.get(key, np.zeros(3)) + r
    return total


def _pressure_limits(ground: Ground) -> tuple[float, float]:
    """Dead and total pressure [psi] that the insulation may stand; no limit where its strength is not known."""
    return allowable_pressure(ground.strength) if ground.strength is not None else (math.inf, math.inf)


def _area_needed(dead: Array, most: Array, limits: tuple[float, float]) -> Array:
    """Pad area that keeps dead and total load within `limits` [sq in]."""
    return np.maximum(dead / limits[0], most / limits[1])


def _bearing_use(pieces: Sequence[Piece], solution: Solution, build: Build, ground: Ground) -> list[Array]:
    """For each piece, the area that each of its pads needs over the largest that fits there (over 1 fails)."""
    if ground.strength is None or not pieces:
        return [np.zeros(len(p.pads)) for p in pieces]
    total = _totals(pieces, solution)
    at = np.concatenate([p.member.line.at(p.pads) for p in pieces])
    along = np.concatenate([np.tile(_along(p.member), (len(p.pads), 1)) for p in pieces])
    loads = np.array([total[(p.member.id, round(float(s), 6))] for p in pieces for s in p.pads])
    areas = np.array([a * b for a, b in _by_area(build)])
    room = np.concatenate([_room_between(p.pads) for p in pieces])
    largest = np.max(np.where(_fits(at, along, _by_area(build), ground, room), areas, areas[0]), axis=1)
    use = _area_needed(loads[:, 1], loads[:, 2], _pressure_limits(ground)) / largest
    return list(np.split(use, np.cumsum([len(p.pads) for p in pieces])[:-1]))


def _room_between(pads: Array) -> Array:
    """How far the nearest other pad of the row stands from each, (n,) [in]."""
    gap = np.r_[np.inf, np.diff(pads), np.inf]
    return np.asarray(np.minimum(gap[:-1], gap[1:]))


def _stacks(pieces: Sequence[Piece], solution: Solution, build: Build, plane: Plane, ground: Ground) -> list[Support]:
    """The stack at every pad, with its reactions and the smallest pad that fits and passes."""
    total = _totals(pieces, solution)
    if not total:
        return []
    by_member = {p.member.id: p.member for p in pieces}
    keys = list(total)
    at = np.array([by_member[m].line.at(np.array([s]))[0] for m, s in keys])
    along = np.array([_along(by_member[m]) for m, _ in keys])
    depth = np.array([float(by_member[m].depth(np.array([s]))[0]) for m, s in keys])
    under = plane.height(at) - build.decking.thickness - build.joists.tape_thickness - depth
    roof_z = ground.roof.height(at)
    shim, made_of = close_stack(under - roof_z, build)
    base, pad = build.supports.base_thickness, build.supports.pad_thickness
    residual = under - base - pad - shim - roof_z
    loads = np.array([total[k] for k in keys])
    sizes = _by_area(build)
    areas = np.array([a * b for a, b in sizes])
    room = np.empty(len(keys))
    for m in by_member:
        row = np.array([i for i, k in enumerate(keys) if k[0] == m])
        row = row[np.argsort([keys[i][1] for i in row])]
        room[row] = _room_between(np.array([keys[i][1] for i in row]))
    fits = _fits(at, along, _by_area(build), ground, room)
    fits[~fits.any(axis=1), 0] = True  # where none fits the smallest is taken, and told
    enough = fits & (areas >= _area_needed(loads[:, 1], loads[:, 2], _pressure_limits(ground))[:, None] - 1e-9)
    largest = fits.shape[1] - 1 - np.argmax(fits[:, ::-1], axis=1)
    pick = np.where(enough.any(axis=1), np.argmax(enough, axis=1), largest)
    return [
        Support(m, s, (float(at[i, 0]), float(at[i, 1])), float(roof_z[i]), base, pad, float(shim[i]),
                float(residual[i]), made_of[i], sizes[pick[i]], float(loads[i, 0]), float(loads[i, 2]),
                float(loads[i, 2] / areas[pick[i]]))
        for i, (m, s) in enumerate(keys)
    ]


def _place_words(s: Support) -> str:
    return f"{s.member}, {length.write(s.s)} in from end A"


def _pad_checks(supports: Sequence[Support], members: Mapping[str, Member], build: Build,
                ground: Ground) -> list[Check]:
    found = []
    limits = _pressure_limits(ground)
    worst = max(supports, key=lambda s: abs(s.residual))
    step = min(build.supports.shim_sizes)
    found.append(check("shim-too-coarse", "caution" if abs(worst.residual) > COARSE + 1e-9 else "ok",
                       value=abs(worst.residual), limit=COARSE, where=_place_words(worst),
                       step=length.write(step, 32)))
    low = min(supports, key=lambda s: s.clear_gap)
    tight = low.clear_gap < clearances.CLEAR_GAP - 1e-9
    found.append(check("clear-gap", "caution" if tight else "ok", value=low.clear_gap, limit=clearances.CLEAR_GAP,
                       where=_place_words(low), gap=length.write(low.clear_gap, 32)))
    hard = max(supports, key=lambda s: s.pressure)
    where = _place_words(hard)
    if ground.strength is None:
        found.append(check("bearing", "caution", value=hard.pressure, limit=None, unit="psi", where=where,
                           words=f"The roof's insulation strength is not known; {hard.pressure:.1f} psi asks for one "
                           f"rated {hard.pressure / insulation.TOTAL:.0f} psi or more"))
    else:
        over, share = hard.pressure > limits[1] + 1e-9, f"{100 * insulation.TOTAL:.0f} %"
        found.append(check("bearing", "caution" if over else "ok", value=hard.pressure, limit=limits[1], unit="psi",
                           where=where, source=insulation.SOURCE, words=(
                               f"No pad at hand brings it under {share} of the rated {ground.strength:g} psi; "
                               f"{hard.reaction_most / limits[1]:.0f} sq in of pad or a cover board would be needed")
                           if over else f"{share} of the rated {ground.strength:g} psi is taken as its limit"))
    near = [s for s in supports if len(ground.outlets)
            and np.hypot(*(ground.outlets - np.array(s.at)).T).min() < clearances.OUTLET - 1e-6]
    if near:
        closest = min(near, key=lambda s: float(np.hypot(*(ground.outlets - np.array(s.at)).T).min()))
        away = float(np.hypot(*(ground.outlets - np.array(closest.at)).T).min())
        found.append(check("pad-near-outlet", "caution", value=away, limit=clearances.OUTLET, where=closest.member,
                           count=len(near), away=length.write(away)))
    off = [(min(float(v.distance(Point(s.at))) for v in ground.valleys) - max(s.pad_size) / 2, s) for s in supports
           if ground.valleys]
    wet = [v for v in off if v[0] < clearances.VALLEY - 1e-6]
    if wet:
        away, closest = min(wet, key=lambda v: v[0])
        found.append(check("pad-in-valley", "caution", value=away, limit=clearances.VALLEY, where=closest.member,
                           count=len(wet)))
    boxes = [_pad_boxes(np.array([s.at]), _along(members[s.member])[None], s.pad_size)[0] for s in supports]
    walled = [s for s, box in zip(supports, boxes, strict=True) if not ground.inside.covers(box)]
    if walled:
        found.append(check("pad-at-wall", "caution", value=len(walled), limit=0.0, unit="EA", where=walled[0].member,
                           count=len(walled)))
    tree = STRtree(boxes)
    i, j = tree.query(boxes, predicate="intersects")
    over = np.array([boxes[a].intersection(boxes[b]).area > 0.01 for a, b in zip(i, j, strict=True)]) & (i < j)
    if over.any():
        k, count = int(np.argmax(over)), int(over.sum())
        found.append(check("pads-meet", "caution", value=count, limit=0.0, unit="EA",
                           where=f"{supports[i[k]].member} and {supports[j[k]].member}", count=count))
    return found


def _strength_checks(pieces: Sequence[Piece], solution: Solution, strong: Strength, weak: Strength,
                     build: Build) -> list[Check]:
    """Strength at the stamped grade and at No. 3, which ripped wood falls back to until it is graded again."""
    found = []
    joists = build.joists
    for rule, ratio in strong.ratios.items():
        k = int(np.argmax(ratio))
        ok = bool(ratio[k] <= 1 + 1e-9)
        found.append(check(f"strength-{rule.replace('_', '-')}", "ok" if ok else "stop", value=float(ratio[k]),
                           limit=1.0, unit="C62", where=pieces[k].member.id, grade=joists.grade,
                           species=joists.species, percent=100 * float(ratio[k])))
    ripped = np.array([p.member.ripped for p in pieces])
    if ripped.any():
        worst = np.where(ripped, np.max(np.stack(list(weak.ratios.values())), axis=0), 0)
        k = int(np.argmax(worst))
        found.append(check("regrade-required", "ok" if worst[k] <= 1 + 1e-9 else "caution", value=float(worst[k]),
                           limit=1.0, unit="C62", where=pieces[k].member.id, source=REGRADE, grade=joists.grade,
                           count=len({p.member.id for p in pieces if p.member.ripped}), percent=100 * float(worst[k])))
    lift = np.array([float(v.min()) for v in solution.lift])
    k = int(np.argmin(lift))
    if lift[k] < -1e-6:
        found.append(check("joist-lifts", "caution", value=float(lift[k]), limit=0.0, unit="LBR",
                           where=pieces[k].member.id, pounds=f"{-lift[k]:.0f}",
                           tips=" A pattern of load tips it off its pads: hold it down." if solution.tips.any()
                           else ""))
    return found


def _load_path(supports: Sequence[Support], load: Load, net_sqft: float) -> Check:
    """What the pads carry together against what the deck weighs and bears: nothing lost, nothing counted twice."""
    carried, asked = sum(s.reaction for s in supports), (load.dead + load.live) * net_sqft
    return check("load-path", "ok" if abs(carried / asked - 1) <= 0.02 else "stop", value=carried, limit=asked,
                 unit="LBR", where="deck")
