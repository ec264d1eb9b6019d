"""Pads and shims: the fewest pads that carry each member, and the stack that closes at every one.

Stage: members -> supports <-> structure. Pads are first placed by what the local depth can span, then the tapered
beams are solved and pads are added where strength, deflection or the roof's insulation ask for more.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from framing.engine.checks import Check
from framing.engine.documents import Build
from framing.engine.keep_outs import Ground
from framing.engine.layout import Deck, Layout
from framing.engine.members import Member
from framing.engine.pads import (
    Piece,
    Support,
    by_area,
    insert_pad,
    place_pads,
    room_between,
    shortest_pad,
    sizes_that_fit,
    unit_vector,
    without,
)
from framing.engine.plane import Plane
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

PAD_ROLES = ("edge", "joist")  # rims and blocking hang on these
WORTH_A_PAD = 0.4  # a further pad stays where it takes this part of its even share off the worst use
ROUNDS = 60


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
        free = without(free, stood, {m.id: m for m in members})
    order = {m.id: i for i, m in enumerate(members)}
    supports.sort(key=lambda s: (order[s.member], s.s))
    beams = [_beam(p, layout) for p in pieces]
    pad = shortest_pad(build)
    solution = solve(beams, load, np.array([values[p.member.id].E for p in pieces]))
    strong = strength(solution, beams, [MemberDesign(values[p.member.id], pad) for p in pieces])
    third = member_values(members, build, "No.3")
    weak = strength(solution, beams, [MemberDesign(third[p.member.id], pad) for p in pieces])
    checks = [*pad_checks(supports, {m.id: m for m in members}, build, ground), *spacing_checks(pieces, asked),
              *strength_checks(pieces, solution, strong, weak, build), load_path(supports, load, net_sqft)]
    return Frame(tuple(members), tuple(supports), load.dead, load.live, tuple(checks))


def _carry(pieces: list[Piece], layout: Layout, build: Build, ground: Ground, load: Load,
           values: Mapping[str, AdjustedValues], widest: float) -> tuple[list[Piece], Solution]:
    """The pieces on the fewest pads found that pass, and the solved beams.

    A piece that passes at no count keeps the one where it came nearest: pads that do not help are not added.
    """
    pad = shortest_pad(build)
    designs = [MemberDesign(values[p.member.id], pad) for p in pieces]
    E = np.array([d.values.E for d in designs])
    start = [max(_least_pads(p, layout, load, values[p.member.id], widest),
                 _pads_to_bear(p, layout, load, build, ground)) for p in pieces]
    now = [place_pads(p, n, build, ground, widest) for p, n in zip(pieces, start, strict=True)]
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
            hardest = int(np.argmax(np.round(pressed[i], 9)))  # the first of those that rounding alone tells apart
            trial = (insert_pad(now[k], hardest, build, ground) if strong[i] <= 1 + 1e-9 and few
                     else place_pads(pieces[k], have + _short_of(have, float(use[i])), build, ground, widest))
            if len(trial.pads) > len(now[k].pads):
                now[k] = trial
                grown.add(now[k].member.id)
        open_ = np.array([k for k in range(len(pieces)) if pieces[k].member.id in grown], int)
    return best, solve([_beam(p, layout) for p in best], load, E)


def _short_of(pads: int, use: float) -> int:
    """Pads to add next: half of the way that the use asks for where far off (bending goes with the span squared)."""
    return max(1, int(0.5 * (pads - 1) * (math.sqrt(min(use, 100.0)) - 1)))


def _pads_to_bear(p: Piece, layout: Layout, load: Load, build: Build, ground: Ground) -> int:
    """Pads that the insulation asks for under the whole piece, were its load shared out evenly."""
    if ground.strength is None:
        return 2
    width = layout.width[p.member.id]
    weight = float(width.mean()) * (p.end - p.start) / 144 * (load.dead + load.live)
    largest = max(bearing_area(size, ground.cover) for size in build.supports.pad_sizes)
    return 1 + int(weight / (pressure_limits(ground)[1] * largest))


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
    line, points = layout.added.on(m.id, m.line.length, p.start, p.end, bins)
    return Beam(run, profile, pads, np.diff(own) / (run / bins), m.thickness, np.array(hung).reshape(-1, 2),
                added=line, added_points=points)


def _least_pads(p: Piece, layout: Layout, load: Load, values: AdjustedValues, widest: float) -> int:
    """Pads to start from: the run measured in spans that the local depth allows."""
    s = np.linspace(p.start, p.end, max(2, round(p.end - p.start) + 1))
    width = float(layout.width[p.member.id].max())
    reach = np.minimum(allowable_span(p.member.depth(s), values, load, width, p.member.thickness), widest)
    # continuous joists reach further than the simple span that this counts, hence one pad too few is no loss
    return max(2, math.floor(float(np.sum(np.diff(s) / ((reach[1:] + reach[:-1]) / 2)))) + 1)


def _totals(pieces: Sequence[Piece], solution: Solution) -> dict[tuple[str, float], Array]:
    """Reaction, dead part and most [lb] at every pad; the two pieces that share a splice pad add up."""
    total: dict[tuple[str, float], Array] = {}
    for k, p in enumerate(pieces):
        here = np.stack([solution.reaction[k], solution.reaction_dead[k], solution.reaction_most[k]], axis=1)
        for s, r in zip(p.pads, here, strict=True):
            key = (p.member.id, round(float(s), 6))
            total[key] = total.get(key, np.zeros(3)) + r
    return total


def _area_needed(dead: Array, most: Array, limits: tuple[float, float]) -> Array:
    """Pad area that keeps dead and total load within `limits` [sq in]."""
    return np.maximum(dead / limits[0], most / limits[1])


def _bearing_use(pieces: Sequence[Piece], solution: Solution, build: Build, ground: Ground) -> list[Array]:
    """For each piece, the area that each of its pads needs over the largest that fits there (over 1 fails)."""
    if ground.strength is None or not pieces:
        return [np.zeros(len(p.pads)) for p in pieces]
    total = _totals(pieces, solution)
    at = np.concatenate([p.member.line.at(p.pads) for p in pieces])
    along = np.concatenate([np.tile(unit_vector(p.member), (len(p.pads), 1)) for p in pieces])
    loads = np.array([total[(p.member.id, round(float(s), 6))] for p in pieces for s in p.pads])
    areas = np.array([bearing_area(size, ground.cover) for size in by_area(build)])
    room = np.concatenate([room_between(p.pads) for p in pieces])
    largest = np.max(np.where(sizes_that_fit(at, along, by_area(build), ground, room), areas, areas[0]), axis=1)
    use = _area_needed(loads[:, 1], loads[:, 2], pressure_limits(ground)) / largest
    return list(np.split(use, np.cumsum([len(p.pads) for p in pieces])[:-1]))


def _stacks(pieces: Sequence[Piece], solution: Solution, build: Build, plane: Plane, ground: Ground) -> list[Support]:
    """The stack at every pad, with its reactions and the smallest pad that fits and passes."""
    total = _totals(pieces, solution)
    if not total:
        return []
    by_member = {p.member.id: p.member for p in pieces}
    keys = list(total)
    at = np.array([by_member[m].line.at(np.array([s]))[0] for m, s in keys])
    along = np.array([unit_vector(by_member[m]) for m, _ in keys])
    depth = np.array([float(by_member[m].depth(np.array([s]))[0]) for m, s in keys])
    under = plane.height(at) - build.decking.thickness - build.joists.tape_thickness - depth
    roof_z, roof_se = ground.roof.height(at), ground.roof.standard_error(at)
    packer = packers(under - roof_z, build)
    shim, made_of = close_stack(under - roof_z - packer, build)
    base, pad = build.supports.base_thickness + packer, build.supports.pad_thickness
    residual = under - base - pad - shim - roof_z
    loads = np.array([total[k] for k in keys])
    sizes = by_area(build)
    areas = np.array([a * b for a, b in sizes])
    bears = np.array([bearing_area(size, ground.cover) for size in sizes])
    room = np.empty(len(keys))
    for m in by_member:
        row = np.array([i for i, k in enumerate(keys) if k[0] == m])
        row = row[np.argsort([keys[i][1] for i in row])]
        room[row] = room_between(np.array([keys[i][1] for i in row]))
    fits = sizes_that_fit(at, along, by_area(build), ground, room)
    fits[~fits.any(axis=1), 0] = True  # where none fits the smallest is taken, and told
    enough = fits & (bears >= _area_needed(loads[:, 1], loads[:, 2], pressure_limits(ground))[:, None] - 1e-9)
    largest = fits.shape[1] - 1 - np.argmax(fits[:, ::-1], axis=1)
    pick = np.where(enough.any(axis=1), np.argmax(enough, axis=1), largest)
    return [
        Support(m, s, (float(at[i, 0]), float(at[i, 1])), float(roof_z[i]), float(base[i]), pad, float(shim[i]),
                float(residual[i]), made_of[i], sizes[pick[i]], float(loads[i, 0]), float(loads[i, 2]),
                float(loads[i, 2] / areas[pick[i]]), float(roof_se[i]), float(packer[i]), float(loads[i, 1]))
        for i, (m, s) in enumerate(keys)
    ]


