"""Pads and shims: the fewest pads that carry each member, and the stack that closes at every one.

Stage: members -> supports <-> structure. Where pads may stand is told for all members at once (keep_outs), the places
are searched by a quick look at the beams (fewest_pads) and the tapered beams then solved; where that finds more than
the quick look did, the search goes on.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields, is_dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from framing.engine.checks import Check
from framing.engine.documents import Build
from framing.engine.fewest_pads import Places, Spread, fewest, largest_area, least_counts, overstepped
from framing.engine.keep_outs import Ground, Row, Stretches, end_inset, joined, kept_off, no_room, over_outlets, without
from framing.engine.layout import Deck, Layout
from framing.engine.members import Member
from framing.engine.pads import LEAST_BETWEEN, Piece, Support, by_area, corners_of, room_between, shortest_pad
from framing.engine.plane import Plane
from framing.engine.quick_beams import Nodes, lay_nodes
from framing.engine.shims import close_stack, packers
from framing.engine.structure import (
    AdjustedValues,
    Beam,
    Load,
    MemberDesign,
    Solution,
    adjusted_values,
    allowable_span,
    bearing_area,
    solve,
    strength,
)
from framing.engine.support_checks import load_path, pad_checks, pressure_limits, spacing_checks, strength_checks
from framing.reference import clearances, loads

Array = NDArray[np.float64]
Ints = NDArray[np.intp]
Bools = NDArray[np.bool_]

PAD_ROLES = ("edge", "joist")  # rims and blocking hang on these
NODE = 1.5  # nodes that pads are tried on lie about this far apart [in]
MOST_NODES = 400
WIDTH_BINS = 3.0  # tributary widths are taken even over about this much of a piece [in]
LOOKS = 6  # times that beams are solved and the search goes on
CLEARLY = 0.9  # keep-outs give way where that takes this off the use, or lets the piece stand at all
# what a place may do without where there is no other: the pad's edge off the outlet, then the distance by parts
GIVING_WAY = ((True, 1.0), (False, 1.0), (False, 0.75), (False, 0.5), (False, 0.25), (False, 0.0))


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


def design_loads(build: Build, members: Sequence[Member], deck: Deck, decking_psf: float,
                 framing_plf: Mapping[str, float]) -> Load:
    """Dead and live load [psf] as used: decking as laid, framing averaged over the net area, what is asked besides."""
    weight = sum(framing_plf[m.id] * m.line.length / 12 for m in members)
    dead = decking_psf + weight / deck.net_sqft + build.loads.dead_extra
    basis = loads.BASES.get(build.loads.basis or "")
    return Load(dead, max(build.loads.live, build.loads.snow), basis.point if basis else 0.0)


def member_values(members: Sequence[Member], build: Build, grade: str) -> dict[str, AdjustedValues]:
    """Design values of every member by the size it is sawn from, at `grade`."""
    j, count = build.joists, sum(m.role == "joist" for m in members)
    moisture = j.moisture or "wet"  # not given: the one that creeps most
    # joists share their load through the decking; an edge joist has a neighbour on one side only
    kinds = {(m.size, m.role == "joist") for m in members}
    held = {(size, joist): adjusted_values(j.species, grade, size, moisture=moisture, spacing=j.spacing,
                                           members=count if joist else 1) for size, joist in kinds}
    return {m.id: held[m.size, m.role == "joist"] for m in members}


def support(members: Sequence[Member], layout: Layout, build: Build, plane: Plane, ground: Ground, load: Load,
            net_sqft: float) -> Frame:
    """Pads, shims and reactions under every member that stands on its own."""
    values = member_values(members, build, build.joists.grade)
    by_id = {m.id: m for m in members}
    pad = shortest_pad(build)
    standing: list[Standing] = []
    supports: list[Support] = []
    free = ground
    for role in PAD_ROLES:  # edge joists first: beside a skewed one, joists make room for its pads
        own = [m for m in members if m.role == role]
        if not own:
            continue
        stood = stand(own, layout, build, free, load, values)
        stacks = _stacks(stood, build, plane, ground)
        standing, supports = [*standing, stood], [*supports, *stacks]
        free = without(free, corners_of(stacks, by_id))
    order = {m.id: i for i, m in enumerate(members)}
    supports.sort(key=lambda s: (order[s.member], s.s))
    pieces = [p for s in standing for p in s.pieces]
    beams = [b for s in standing for b in s.beams]
    solution = _joined([s.solution for s in standing])
    strong = strength(solution, beams, [MemberDesign(values[p.member.id], pad) for p in pieces])
    third = member_values(members, build, "No.3")
    weak = strength(solution, beams, [MemberDesign(third[p.member.id], pad) for p in pieces])
    checks = [*pad_checks(supports, by_id, build, ground), *spacing_checks(pieces, build.supports.maximum_spacing),
              *strength_checks(pieces, solution, strong, weak, build), load_path(supports, load, net_sqft)]
    return Frame(tuple(members), tuple(supports), load.dead, load.live, tuple(checks))


@dataclass(frozen=True)
class _Group:
    """Members of one role in pieces, ready for the search. `line` (pieces,) is the member of each in `row`."""

    pieces: list[Piece]
    beams: list[Beam]
    designs: list[MemberDesign]
    nodes: Nodes
    row: Row
    line: Ints
    places: Places
    start: Ints
    most: Ints


@dataclass(frozen=True)
class Standing:
    """Pieces on their pads and the solved beams; `fits` (pieces, pads, sizes) of the pad sizes at each place."""

    pieces: list[Piece]
    beams: list[Beam]
    solution: Solution
    fits: list[Bools]


def _group(members: Sequence[Member], layout: Layout, build: Build, ground: Ground, load: Load,
           values: Mapping[str, AdjustedValues]) -> _Group:
    pieces = [Piece(m, a, b, np.zeros(0)) for m in members for a, b in m.pieces]
    line = np.repeat(np.arange(len(members)), [len(m.pieces) for m in members])
    beams = [_beam(p, layout) for p in pieces]
    pad = shortest_pad(build)
    designs = [MemberDesign(values[p.member.id], pad) for p in pieces]
    run = np.array([p.end - p.start for p in pieces])
    free = np.array([[p.start < 1e-6, p.end > p.member.line.length - 1e-6] for p in pieces])
    inset = np.minimum(end_inset(build), run / 4)
    count = int(np.clip(math.ceil(run.max() / NODE), 24, MOST_NODES))
    a, b = np.where(free[:, 0], inset, 0.0), run - np.where(free[:, 1], inset, 0.0)
    inner = a[:, None] + (b - a)[:, None] * np.linspace(0, 1, count - 1)
    x = np.concatenate([np.zeros((len(run), 1)), inner, run[:, None]], axis=1)
    nodes = lay_nodes(beams, x, load, designs)
    row = Row(np.array([[m.line.start, m.line.end] for m in members]))
    sizes = by_area(build)
    asked = build.supports.maximum_spacing
    next_to = line[:-1] == line[1:]
    index = np.arange(len(pieces))
    partner = np.stack([np.r_[-1, np.where(next_to, index[:-1], -1)], np.r_[np.where(next_to, index[1:], -1), -1]],
                       axis=1)
    least = np.minimum(pad + LEAST_BETWEEN, b - a)
    empty = np.zeros((*x.shape, len(sizes)), bool)
    places = Places(
        empty[..., 0], empty, np.array([s[0] for s in sizes]),
        np.array([bearing_area(s, ground.cover) for s in sizes]), free, inset, least, LEAST_BETWEEN,
        np.full(len(run), clearances.PAD_SPACING if asked == "auto" else float(asked)),
        pressure_limits(ground), partner,
    )
    width = np.array([float(layout.width[p.member.id].max()) for p in pieces])
    depth = np.stack([np.interp(xi, beam.profile[:, 0], beam.profile[:, 1]) for xi, beam in zip(x, beams, strict=True)])
    reach = np.stack([allowable_span(d, g.values, load, w, beam.thickness)
                      for d, g, w, beam in zip(depth, designs, width, beams, strict=True)])
    steps = np.ceil(least / ((b - a) / (count - 2)) - 1e-6)
    most = np.maximum(2, (count - 2) // steps + 1).astype(np.intp)
    start = np.minimum(least_counts(nodes, places, np.minimum(reach, 1e6)), most)
    return _Group(pieces, beams, designs, nodes, row, line, places, start, most)


def _open(group: _Group, rows: Ints, shut: Sequence[Stretches], beside: Array, sizes: Sequence[tuple[float, float]],
          *, spaced: bool) -> Places:
    """The places of pieces `rows` where the stretches of each pad size leave them open.

    A row of joists closer than a pad is wide rules the pad out, the smallest apart. Where `spaced`, pads may stand
    further apart over a closed stretch than they usually do.
    """
    places, x = group.places.pick(rows), group.nodes.x[rows]
    at = x + np.array([group.pieces[r].start for r in rows])[:, None]
    line = np.broadcast_to(group.line[rows][:, None], x.shape)
    fits = np.stack([~s.closed(line.ravel(), at.ravel()).reshape(x.shape) for s in shut], axis=2)
    narrow = np.array([k == 0 or b <= beside.min(initial=math.inf) + 1e-6 for k, (_, b) in enumerate(sizes)])
    fits &= narrow
    open_ = fits[..., 0].copy()
    open_[:, [0, -1]] = False
    widest = places.widest
    if spaced:
        last_open = np.maximum.accumulate(np.where(open_, x, 0.0), axis=1)
        run = np.where(open_[:, 1:], np.diff(x, axis=1) + x[:, :-1] - last_open[:, :-1], 0.0)
        step = np.diff(x, axis=1).max(axis=1)
        gap = run.max(axis=1)
        widest = np.where(gap > widest - 2 * step, gap + 3 * step, widest)
    return replace(places, open_=open_, fits=fits, widest=widest)


def stand(members: Sequence[Member], layout: Layout, build: Build, ground: Ground, load: Load,
          values: Mapping[str, AdjustedValues]) -> Standing:
    """Members on the fewest pads found that pass, and the solved beams.

    Keep-outs hold wherever any place passes; where none does they give way step by step.
    """
    group = _group(members, layout, build, ground, load, values)
    sizes, beside = by_area(build), _beside(group)
    auto = build.supports.maximum_spacing == "auto"
    room = [no_room(group.row, ground, s) for s in sizes]
    stood = _Stood(group, load)
    rows = np.arange(len(group.pieces))
    for by_edge, part in GIVING_WAY:
        off = [kept_off(group.row, ground, s, by_edge=by_edge, part=part) for s in sizes]
        trial = _open(group, rows, [joined(r, o) for r, o in zip(room, off, strict=True)], beside, sizes, spaced=auto)
        more = (trial.open_ & ~stood.opened[rows]).any(axis=1) | ~stood.looked[rows]
        stood.search(rows[more], trial.pick(np.flatnonzero(more)))
        rows = np.flatnonzero(stood.use > 1 + 1e-9)
        if not len(rows):
            break
    # where wood fails or pads stand further apart than they may for want of room, over other pads, then over the roof's
    # edge, both of which are told; where none can stand, or as close as was asked, off the outlets alone, then anywhere
    bare = replace(ground, taken=ground.taken[:0])
    off = [kept_off(group.row, ground, s) for s in sizes]
    outlets = [over_outlets(group.row, ground, s) for s in sizes]
    last: list[tuple[list[Stretches], Bools]] = [
        ([joined(no_room(group.row, bare, s), o) for s, o in zip(sizes, off, strict=True)], stood.wood > 1 + 1e-6),
        ([joined(v, o) for v, o in zip(outlets, off, strict=True)], stood.wood > 1 + 1e-6),
        (outlets, (stood.over > 1 + 1e-6) & (not auto)),
        ([group.row.stretches([]) for _ in sizes], np.zeros(len(group.pieces), bool)),
    ]
    for shut, short in last:
        rows = np.flatnonzero((stood.use > 1 + 1e-9) & (short | ~np.isfinite(stood.use)))
        stood.search(rows, _open(group, rows, shut, beside, sizes, spaced=auto))
    return stood.standing()


def _beside(group: _Group) -> Array:
    """How far neighbouring lines of the row stand apart [in], none for lines that are not level with one another."""
    along = group.row.along
    if np.abs(along[:, 0] * along[0, 1] - along[:, 1] * along[0, 0]).max() > 1e-3:
        return np.zeros(0)
    across = np.sort(group.row.start @ np.array([-along[0, 1], along[0, 0]]))
    gaps = np.diff(across)
    return np.asarray(gaps[gaps > 0.5])


class _Stood:
    """The best pads found for each piece of a group so far, with its solved beam and its true use, 1 passes."""

    def __init__(self, group: _Group, load: Load) -> None:
        pieces = len(group.pieces)
        self.group, self.load = group, load
        self.use = np.full(pieces, math.inf)
        self.wood = np.full(pieces, math.inf)  # use by strength and spacing, without the insulation's
        self.over = np.ones(pieces)  # spans and overhangs to the longest that they may be
        self.opened = np.zeros(group.places.open_.shape, bool)  # places tried, pieces looked at
        self.looked = np.zeros(pieces, bool)
        self.pads: list[Array] = [np.zeros(0)] * pieces
        self.fits: list[Bools] = [np.zeros((0, len(group.places.area)), bool)] * pieces
        self.solved: list[Solution | None] = [None] * pieces
        self.shared = np.full((pieces, 2, 2), math.nan)

    def search(self, rows: Ints, places: Places) -> None:
        """Look for pads of pieces `rows` in these places, solve them, and keep what serves better than before."""
        if not len(rows):
            return
        group = self.group
        self.opened[rows], self.looked[rows] = places.open_, True
        nodes, start, most = group.nodes.pick(rows), group.start[rows], group.most[rows]
        target, seek = np.ones(len(rows)), np.arange(len(rows))
        E = np.array([d.values.E for d in group.designs])
        for _ in range(LOOKS):
            spread = fewest(nodes.pick(seek), places.pick(seek), start[seek], most[seek], target[seek], self.shared,
                            rows[seek])
            found = np.isfinite(spread.use)
            seek, spread = seek[found], spread.pick(found)
            if not len(seek):
                break
            own = rows[seek]
            pads = [nodes.x[k, spread.place[i, :c]] for i, (k, c) in enumerate(zip(seek, spread.count, strict=True))]
            beams = [replace(group.beams[r], supports=p) for r, p in zip(own, pads, strict=True)]
            solution = solve(beams, self.load, E[own])
            strong = strength(solution, beams, [group.designs[r] for r in own])
            self._share(own, solution)
            pressed = self._pressed(own, places.pick(seek), nodes.pick(seek), spread, solution)
            spaced = overstepped(nodes.pick(seek), places.pick(seek), spread.place, spread.count).max(axis=1)
            wood = np.maximum.reduce([*strong.ratios.values(), np.where(spaced > 1 + 1e-6, spaced, 0.0)])
            true = np.maximum(wood, pressed)
            passes = true <= 1 + 1e-9
            better = (passes & (self.use[own] > 1 + 1e-9)) | (true < CLEARLY * self.use[own])
            for i in np.flatnonzero(better):
                r, k = own[i], seek[i]
                self.use[r], self.wood[r], self.over[r], self.pads[r] = true[i], wood[i], spaced[i], pads[i]
                self.fits[r] = places.fits[k, spread.place[i, : spread.count[i]]]
                self.solved[r] = _one(solution, int(i))
            # the quick look passed what the beam does not: it must find that much less
            again = ~passes & (spread.use <= target[seek])
            target[seek] *= np.where(again, np.minimum(0.998, 1.002 * spread.use / (target[seek] * true)), 1.0)
            start[seek] = spread.count
            seek = seek[again]
            if not len(seek):
                break

    def _share(self, own: Ints, solution: Solution) -> None:
        """What these pieces' ends bring to the pads that their partners share."""
        for i, r in enumerate(own):
            for end, mate in ((0, self.group.places.partner[r, 0]), (-1, self.group.places.partner[r, 1])):
                if mate >= 0:
                    self.shared[mate, 1 + end] = solution.reaction_dead[i][end], solution.reaction_most[i][end]

    def _pressed(self, own: Ints, places: Places, nodes: Nodes, spread: Spread, solution: Solution) -> Array:
        """The most that any pad of each piece needs over the largest that fits there."""
        dead, most = np.zeros(spread.place.shape), np.zeros(spread.place.shape)
        for i, c in enumerate(spread.count):
            dead[i, :c], most[i, :c] = solution.reaction_dead[i], solution.reaction_most[i]
        k = np.arange(len(own))
        for end, at in ((0, np.zeros(len(own), np.intp)), (1, spread.count - 1)):
            brought = np.where(places.free[:, end, None] | np.isnan(self.shared[own, end]), 0.0, self.shared[own, end])
            dead[k, at] += brought[:, 0]
            most[k, at] += brought[:, 1]
        need = _area_needed(dead, most, places.limits)
        return np.asarray((need / largest_area(nodes, places, spread.place, spread.count)).max(axis=1))

    def standing(self) -> Standing:
        pieces = [replace(p, pads=p.start + pads) for p, pads in zip(self.group.pieces, self.pads, strict=True)]
        beams = [replace(b, supports=pads) for b, pads in zip(self.group.beams, self.pads, strict=True)]
        return Standing(pieces, beams, _joined([s for s in self.solved if s is not None]), self.fits)


def _one(solved: Any, i: int) -> Any:
    """Of a solution of many beams that of beam i alone."""
    return replace(solved, **{
        f.name: _one(v, i) if is_dataclass(v) else v[i : i + 1] if isinstance(v, list | np.ndarray) else v
        for f in fields(solved) for v in [getattr(solved, f.name)]})


def _joined(solved: Sequence[Any]) -> Any:
    """Solutions one after another."""
    def join(values: list[Any]) -> Any:
        if is_dataclass(values[0]):
            return _joined(values)
        if isinstance(values[0], list):
            return [v for part in values for v in part]
        return np.concatenate(values) if isinstance(values[0], np.ndarray) else values[0]

    return replace(solved[0], **{f.name: join([getattr(s, f.name) for s in solved]) for f in fields(solved[0])})


def _beam(p: Piece, layout: Layout) -> Beam:
    """The piece as a beam of its own, without pads yet: a splice is a hinge, so each piece bears by itself."""
    m, run = p.member, p.end - p.start
    inner = m.profile[(m.profile[:, 0] > p.start + 0.01) & (m.profile[:, 0] < p.end - 0.01)]
    ends = m.depth(np.array([p.start, p.end]))
    profile = np.vstack([[0, ends[0]], np.c_[inner[:, 0] - p.start, inner[:, 1]], [run, ends[1]]])
    width = layout.width[m.id]
    bins = max(1, round(run / WIDTH_BINS))
    # the member's carried area, as a running sum read off at the piece's own intervals
    edges = np.linspace(0, m.line.length, len(width) + 1)
    area = np.r_[0, np.cumsum(width) * (m.line.length / len(width))]
    own = np.interp(np.linspace(p.start, p.end, bins + 1), edges, area)
    hung = [(s - p.start, a) for s, a in layout.hung[m.id]
            if p.start - 1e-6 <= s <= p.end + 1e-6 and not (s in m.splices and s == p.end)]
    line, points = layout.added.on(m.id, m.line.length, p.start, p.end, bins)
    return Beam(run, profile, np.zeros(0), np.round(np.diff(own) / (run / bins), 6), m.thickness,
                np.array(hung).reshape(-1, 2), added=np.round(line, 6), added_points=points)


def _area_needed(dead: Array, most: Array, limits: tuple[float, float]) -> Array:
    """Pad area that keeps dead and total load within `limits` [sq in]."""
    return np.maximum(dead / limits[0], most / limits[1])


def _stacks(stood: Standing, build: Build, plane: Plane, ground: Ground) -> list[Support]:
    """The stack at every pad, with its reactions and the smallest pad that fits and passes.

    Two pieces that share a pad at their splice add up on it.
    """
    total: dict[tuple[str, float], Array] = {}
    may: dict[tuple[str, float], Bools] = {}
    for k, p in enumerate(stood.pieces):
        here = np.stack([getattr(stood.solution, v)[k] for v in ("reaction", "reaction_dead", "reaction_most")], axis=1)
        for s, r, fits in zip(p.pads, here, stood.fits[k], strict=True):
            key = (p.member.id, round(float(s), 6))
            total[key] = total.get(key, np.zeros(3)) + r
            may[key] = may.get(key, np.ones(len(fits), bool)) & fits
    by_member = {p.member.id: p.member for p in stood.pieces}
    keys = list(total)
    loads, fits = np.array([total[k] for k in keys]), np.array([may[k] for k in keys])
    s, owner = np.array([k[1] for k in keys]), np.array([k[0] for k in keys])
    at, depth, room = np.empty((len(keys), 2)), np.empty(len(keys)), np.empty(len(keys))
    for name, m in by_member.items():
        row = np.flatnonzero(owner == name)
        row = row[np.argsort(s[row])]
        at[row], depth[row], room[row] = m.line.at(s[row]), m.depth(s[row]), room_between(s[row])
    under = plane.height(at) - build.decking.thickness - build.joists.tape_thickness - depth
    roof_z, roof_se = ground.roof.height(at), ground.roof.standard_error(at)
    packer = packers(under - roof_z, build)
    shim, made_of = close_stack(under - roof_z - packer, build)
    base, pad = build.supports.base_thickness + packer, build.supports.pad_thickness
    residual = under - base - pad - shim - roof_z
    sizes = by_area(build)
    areas = np.array([a * b for a, b in sizes])
    bears = np.array([bearing_area(size, ground.cover) for size in sizes])
    fits &= np.array([a for a, _ in sizes]) + LEAST_BETWEEN <= room[:, None] + 1e-6
    fits[~fits.any(axis=1), 0] = True  # where none fits the smallest is taken, and told
    enough = fits & (bears >= _area_needed(loads[:, 1], loads[:, 2], pressure_limits(ground))[:, None] - 1e-9)
    largest = fits.shape[1] - 1 - np.argmax(fits[:, ::-1], axis=1)
    pick = np.where(enough.any(axis=1), np.argmax(enough, axis=1), largest)
    return [
        Support(m, v, (float(at[i, 0]), float(at[i, 1])), float(roof_z[i]), float(base[i]), pad, float(shim[i]),
                float(residual[i]), made_of[i], sizes[pick[i]], float(loads[i, 0]), float(loads[i, 2]),
                float(loads[i, 2] / areas[pick[i]]), float(roof_se[i]), float(packer[i]), float(loads[i, 1]))
        for i, (m, v) in enumerate(keys)
    ]
