"""Pads and shims: the fewest pads that carry each member, and the stack that closes at every one.

Stage: members -> supports <-> structure. Where pads may stand is told for all members at once (keep_outs); places for
each count are estimated (fewest_pads), the tapered beams solved on them, and counts gone through until the fewest pass.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, fields, is_dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from framing.engine.checks import Check
from framing.engine.documents import Build
from framing.engine.fewest_pads import (
    AHEAD,
    NODE,
    ROUGH,
    Places,
    Spans,
    Wanted,
    Wood,
    about,
    by_count,
    corrected,
    estimate,
    likely,
    placed,
    wood_at,
)
from framing.engine.keep_outs import Ground, Row, Stretches, end_inset, joined, kept_off, no_room, over_outlets, without
from framing.engine.laps import Through, whole_members, with_through
from framing.engine.layout import Deck, Layout
from framing.engine.members import Member
from framing.engine.pads import LEAST_BETWEEN, Piece, Support, by_area, corners_of, room_between, shortest_pad
from framing.engine.plane import Plane
from framing.engine.shims import close_stack, packers
from framing.engine.structure import (
    AdjustedValues,
    Beam,
    Load,
    MemberDesign,
    Solution,
    adjusted_values,
    bearing_area,
    solve,
    strength,
    used_between_pads,
)
from framing.engine.support_checks import load_path, pad_checks, pressure_limits, spacing_checks, strength_checks
from framing.reference import clearances, loads

Array = NDArray[np.float64]
Ints = NDArray[np.intp]
Bools = NDArray[np.bool_]

PAD_ROLES = ("edge", "joist")  # rims and blocking hang on these
WIDTH_BINS = 3.0  # tributary widths are taken even over about this much of a piece [in]
LOOKS = 16  # times that beams are solved and the search goes on
COARSE = 4  # panels a span in the search; the last look has the full mesh
PASSES = 0.995  # what the search, which looks a little coarsely, lets pass
MOST_PADS = 40  # on one piece
NODES_OF_PLAY = 8  # nodes lie close enough for so many between the nearest and the farthest that a pad may stand
NEAR, AGAIN = 1.35, 1  # a count used no harder than this is tried again so often, evened out by what was found
# what pads under a lap, and the others of a lapped member, may bear of what they do were laps hinges: the search counts
# on it, and then it is solved
THROUGH, THROUGH_BESIDE = 4 / 3, 1.05
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
    weight = sum(framing_plf[m.id] * m.run / 12 for m in members)
    dead = decking_psf + weight / deck.net_sqft + build.loads.dead_extra
    live = max(build.loads.live, build.loads.snow)
    basis = loads.BASES.get(build.loads.basis or "")
    # a point load lies on a square: it counts where the even load puts less there
    point = basis.point if basis and basis.point > live * loads.POINT_SPREAD**2 / 144 else 0.0
    return Load(dead, live, point)


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
    laps: list[Through] = []
    supports: list[Support] = []
    free = ground
    for role in PAD_ROLES:  # edge joists first: beside a skewed one, joists make room for its pads
        own = [m for m in members if m.role == role]
        if not own:
            continue
        stood = stand(own, layout, build, free, load, values)
        through = _through(stood, layout, load, values)
        stacks = _stacks(stood, build, plane, ground, through)
        standing, supports = [*standing, stood], [*supports, *stacks]
        laps += [through] if through.members else []
        free = without(free, corners_of(stacks, by_id))
    order = {m.id: i for i, m in enumerate(members)}
    supports.sort(key=lambda s: (order[s.member], s.s))
    pieces = [p for s in standing for p in s.pieces]
    beams = [b for s in standing for b in s.beams]
    solution = _joined([s.solution for s in standing])
    strong = strength(solution, beams, [MemberDesign(values[p.member.id], pad) for p in pieces])
    third = member_values(members, build, "No.3")
    weak = strength(solution, beams, [MemberDesign(third[p.member.id], pad) for p in pieces])
    for through in laps:
        Fcp, low = (np.array([v[p.member.id].Fcp for p in pieces]) for v in (values, third))
        _, weak = with_through(solution, weak, pieces, through, pad, low)
        solution, strong = with_through(solution, strong, pieces, through, pad, Fcp)
    checks = [*pad_checks(supports, by_id, build, ground), *spacing_checks(pieces, build.supports.maximum_spacing),
              *strength_checks(pieces, solution, strong, weak, build), load_path(supports, load, net_sqft)]
    return Frame(tuple(members), tuple(supports), load.dead, load.live, tuple(checks))


@dataclass(frozen=True)
class Standing:
    """Pieces on their pads and the solved beams; `fits` (pieces, pads, sizes) of the pad sizes at each place."""

    pieces: list[Piece]
    beams: list[Beam]
    solution: Solution
    fits: list[Bools]


def pads_about(members: Sequence[Member], layout: Layout, build: Build, ground: Ground, load: Load) -> int:
    """How many pads the members will stand on, as estimated before any beam is solved."""
    values, count = member_values(members, build, build.joists.grade), 0
    for role in PAD_ROLES:
        own = [m for m in members if m.role == role]
        if own:
            site = _Site(own, layout, build, ground, load, values, ROUGH)
            places = site.open(np.arange(len(site.pieces)), both(site.room, site.off))
            counted = by_count(places, site.wood, estimate(places, site.wood), _most_pads(places))
            count += int(about(counted).sum()) - sum(len(m.splices) for m in own)
    return count


class _Site:
    """Members cut into pieces as beams, where pads may stand under them, and what may not be stood upon."""

    def __init__(self, members: Sequence[Member], layout: Layout, build: Build, ground: Ground, load: Load,
                 values: Mapping[str, AdjustedValues], node: float = NODE) -> None:
        self.pieces = [Piece(m, a, b, np.zeros(0)) for m in members for a, b in m.pieces]
        self.line = np.repeat(np.arange(len(members)), [len(m.pieces) for m in members])
        self.designs = [MemberDesign(values[p.member.id], shortest_pad(build)) for p in self.pieces]
        self.beams = [_beam(p, layout) for p in self.pieces]
        self.places = _places(self.pieces, build, ground, min(node, _play(build) / NODES_OF_PLAY))
        self.wood = wood_at(self.beams, self.designs, load, self.places.x)
        self.row = Row(np.array([[m.line.start, m.line.end] for m in members]))
        self.sizes, self.beside = by_area(build), _beside(self.row)
        self.room = [no_room(self.row, ground, s) for s in self.sizes]
        self.off = [kept_off(self.row, ground, s) for s in self.sizes]
        self.auto = build.supports.maximum_spacing == "auto"

    def open(self, rows: Ints, shut: Sequence[Stretches], *, bridged: bool = False) -> Places:
        """The places of pieces `rows` where the stretches of each pad size leave them open.

        A row of joists closer than a pad is wide rules the pad out, the smallest apart. Where the spacing is left to
        the engine, pads may stand further apart over a closed stretch than they usually do; where it is asked they may
        if it is `bridged`.
        """
        own = self.places.pick(rows)
        at = own.x + np.array([self.pieces[r].start for r in rows])[:, None]
        which = np.broadcast_to(self.line[rows][:, None], at.shape)
        fits = np.stack([~s.closed(which.ravel(), at.ravel()).reshape(at.shape) for s in shut], axis=2)
        fits &= np.array([k == 0 or b <= self.beside.min(initial=math.inf) + 1e-6
                          for k, (_, b) in enumerate(self.sizes)])
        # a splice stands on its pad
        fits[~own.free[:, 0], 0, 0] = fits[~own.free[:, 1], own.last[~own.free[:, 1]], 0] = True
        fits &= (np.arange(at.shape[1]) <= own.last[:, None])[..., None]
        widest = own.widest
        if self.auto:
            before = np.maximum.accumulate(np.where(fits[..., 0], own.x, -np.inf), axis=1)[:, :-1]
            gap = np.where(fits[:, 1:, 0] & np.isfinite(before), own.x[:, 1:] - before, 0.0).max(axis=1)
            widest = np.where(gap > widest - NODE, gap + 2 * NODE, widest)
        return replace(own, fits=fits, widest=widest, bridged=bridged)


def both(one: Sequence[Stretches], other: Sequence[Stretches]) -> list[Stretches]:
    """What either closes, for each pad size."""
    return [joined(a, b) for a, b in zip(one, other, strict=True)]


def stand(members: Sequence[Member], layout: Layout, build: Build, ground: Ground, load: Load,
          values: Mapping[str, AdjustedValues]) -> Standing:
    """Members on the fewest pads found that pass, and the solved beams.

    Keep-outs hold wherever any place passes; where none does they give way step by step.
    """
    site = _Site(members, layout, build, ground, load, values)
    row, sizes = site.row, site.sizes
    search = Search(site.places, site.wood, site.beams, site.designs, load, _sharing(site.line),
                    np.array([bool(p.member.lap) for p in site.pieces]))
    for n, (by_edge, part) in enumerate(GIVING_WAY):  # for the wood's sake; not to press the roof less
        rows = np.flatnonzero((search.wood_use if n else search.use) > PASSES)
        if len(rows):
            kept = [kept_off(row, ground, s, by_edge=by_edge, part=part) for s in sizes]
            search.find(rows, site.open(rows, both(site.room, kept)))
    # where wood would fail for want of room over other pads, then over the roof's edge, then off the outlets alone, all
    # of which are told; where a piece could not stand at all further apart than asked where no pad has room between,
    # which is told, then anywhere
    for n in range(5):
        rows = np.flatnonzero(search.wood_use > PASSES if n < 3 else ~np.isfinite(search.use))
        if len(rows):
            alone, outlets = replace(ground, taken=ground.taken[:0]), [over_outlets(row, ground, s) for s in sizes]
            bare = [no_room(row, alone, s) for s in sizes]
            anywhere = [row.stretches([]) for _ in sizes]
            shut = (both(bare, site.off), both(outlets, site.off), outlets, outlets, anywhere)[n]
            search.find(rows, site.open(rows, shut, bridged=n >= 3))
    return search.standing(site.pieces)


def _play(build: Build) -> float:
    """What a pad can be moved by between two others: the most less the least that they may stand apart [in]."""
    asked = build.supports.maximum_spacing
    widest = clearances.PAD_SPACING if asked == "auto" else float(asked)
    return max(widest - shortest_pad(build) - LEAST_BETWEEN, LEAST_BETWEEN)


def _places(pieces: Sequence[Piece], build: Build, ground: Ground, node: float) -> Places:
    """The pieces' nodes, about `node` [in] apart, all closed so far."""
    run = np.array([p.end - p.start for p in pieces])
    free = np.array([[p.start < 1e-6, p.end > p.member.line.length - 1e-6] for p in pieces])
    inset = np.minimum(end_inset(build), run / 4)
    a, b = np.where(free[:, 0], inset, 0.0), run - np.where(free[:, 1], inset, 0.0)
    last = np.maximum(2, np.ceil((b - a) / node)).astype(np.intp)
    share = np.minimum(np.arange(last.max() + 1) / last[:, None], 1.0)
    x = a[:, None] + (b - a)[:, None] * share
    sizes, asked = by_area(build), build.supports.maximum_spacing
    return Places(
        x, np.zeros((*x.shape, len(sizes)), bool), last, np.array([s[0] for s in sizes]),
        np.array([bearing_area(s, ground.cover) for s in sizes]), free, inset, run,
        np.minimum(shortest_pad(build) + LEAST_BETWEEN, b - a),
        np.full(len(run), clearances.PAD_SPACING if asked == "auto" else float(asked)), LEAST_BETWEEN,
        pressure_limits(ground))


def _sharing(line: Ints) -> Ints:
    """For each piece those that share the pad at its start and at its end (pieces, 2), -1 for none."""
    index, joins = np.arange(len(line)), line[:-1] == line[1:]
    return np.stack([np.r_[-1, np.where(joins, index[:-1], -1)], np.r_[np.where(joins, index[1:], -1), -1]], axis=1)


def _beside(row: Row) -> Array:
    """How far neighbouring lines of the row stand apart [in], none for lines that are not level with one another."""
    along = row.along
    if np.abs(along[:, 0] * along[0, 1] - along[:, 1] * along[0, 0]).max() > 1e-3:
        return np.zeros(0)
    across = np.sort(row.start @ np.array([-along[0, 1], along[0, 0]]))
    gaps = np.diff(across)
    return np.asarray(gaps[gaps > 0.5])


@dataclass
class _Trial:
    """A count of pads (from two, numbered 0) to be tried on a piece; `loose` lets its ends hang out."""

    piece: int
    count: int
    place: Ints
    correction: Array = field(default_factory=lambda: np.zeros(0))
    loose: bool = False
    again: int = 0
    use: float = math.inf


def _by_piece(trials: Sequence[_Trial]) -> list[list[_Trial]]:
    found: dict[int, list[_Trial]] = {}
    for t in trials:
        found.setdefault(t.piece, []).append(t)
    return list(found.values())


def _next_trials(tried: list[_Trial], passed: int | None, most: int, loose: set[tuple[int, int]]) -> list[_Trial]:
    """What to try next on a piece: what nearly passed once more, evened out; else more pads, or fewer hanging out."""
    near = [replace(t, again=t.again + 1) for t in tried if PASSES < t.use <= NEAR and t.again < AGAIN
            and (passed is None or t.count < passed)]
    last = max(tried, key=lambda t: t.count)
    if passed is None:
        if near:
            return near
        further = max(1, int(0.5 * (last.count + 1) * (math.sqrt(min(last.use, 100.0)) - 1)))
        first = last.count + further
        return [replace(last, count=c, again=0, loose=False) for c in range(first, min(first + AHEAD, most - 1))]
    fewer = [c for c in (passed - 1, passed - 2) if c >= 0 and (last.piece, c) not in loose]
    loose.update((last.piece, c) for c in fewer)
    return near + [replace(min(tried, key=lambda t: abs(t.count - c)), count=c, again=0, loose=True) for c in fewer]


def _most_pads(places: Places) -> int:
    """Pads that the longest piece has room for."""
    return int(np.clip(np.ceil((places.run / places.least).max()) + 1, 2, MOST_PADS))


class Search:
    """The best pads found for pieces so far, with their true use (1 passes)."""

    def __init__(self, places: Places, wood: Wood, beams: list[Beam], designs: list[MemberDesign], load: Load,
                 partner: Ints, lapped: Bools) -> None:
        count = len(beams)
        self.lapped = lapped
        self.places, self.wood, self.beams, self.designs = places, wood, beams, designs
        self.load, self.partner = load, partner
        self.E = np.array([d.values.E for d in designs])
        self.use = np.full(count, np.inf)
        self.wood_use = np.full(count, np.inf)  # the same without the insulation's
        self.opened = np.zeros(places.x.shape, bool)  # nodes that were open when last looked at
        self.ease = np.ones(count)  # part of the insulation's use that counts
        self.pads: list[Array] = [np.zeros(0)] * count
        self.fits: list[Bools] = [np.zeros((0, len(places.area)), bool)] * count
        self.brought = np.full((count, 2, 2), np.nan)  # dead and worst load that partners bring to an end's pad

    def find(self, rows: Ints, places: Places) -> None:
        """Look for pads of pieces `rows` in these places and keep what serves better than before."""
        fresh = np.flatnonzero((places.fits[..., 0] & ~self.opened[rows]).any(axis=1) | ~np.isfinite(self.use[rows]))
        rows, places = rows[fresh], places.pick(fresh)
        if not len(rows):
            return
        self.opened[rows] = places.fits[..., 0]
        wood = self.wood.pick(rows)
        spans = estimate(places, wood)
        most = _most_pads(places)
        counted = by_count(places, wood, spans, most)
        # where no count keeps the roof from being pressed too hard, as little as may be, but never at the wood's cost
        self.ease[rows] = np.minimum(1.0, 1 / np.maximum(counted.use.min(axis=1), 1e-9))
        if (self.ease[rows] < 1).any():
            spans = spans.eased(self.ease[rows])
            counted = by_count(places, wood, spans, most)
        trials = [_Trial(i, c, counted.nodes[c][i]) for i, first in enumerate(likely(counted))
                  for c in range(first, min(first + AHEAD, counted.use.shape[1])) if np.isfinite(counted.use[i, c])]
        seen: dict[tuple[int, ...], Any] = {}
        passed: dict[int, int] = {}
        loose: set[tuple[int, int]] = set()
        for _ in range(LOOKS):
            if not trials:
                break
            looked = self._tried(trials, rows, places, seen)
            own = np.array([t.piece for t in trials])
            correction = corrected(own, [t.place for t in trials], [spread for _, _, spread in looked], spans, places)
            for k, (trial, (use, bare, _)) in enumerate(zip(trials, looked, strict=True)):
                i, trial.use, trial.correction = trial.piece, use, correction[k]
                self._keep(int(rows[i]), i, use, bare, places, trial.place)
                if use <= PASSES:
                    passed[i] = min(trial.count, passed.get(i, trial.count))
            trials = [t for own in _by_piece(trials) for t in _next_trials(own, passed.get(own[0].piece), most, loose)]
            trials = self._placed(trials, places, wood, spans)

    def _placed(self, trials: list[_Trial], places: Places, wood: Wood, spans: Spans) -> list[_Trial]:
        """Those of the trials whose pads can stand, with their nodes."""
        if not trials:
            return []
        found = placed(places, wood, spans, [Wanted(t.piece, t.count, t.correction, not t.loose) for t in trials])
        return [replace(t, place=place) for t, place in zip(trials, found, strict=True) if place is not None]

    def _keep(self, r: int, i: int, use: float, wood_use: float, places: Places, place: Ints) -> None:
        """Keep pads of piece r (i of the places) where they pass and are fewer, or serve clearly better.

        Where the roof is pressed too hard whatever is done, the wood comes first: it is a stop, the roof's a caution.
        """
        passes, passed = use <= PASSES, self.use[r] <= PASSES
        wood, before = wood_use <= PASSES, self.wood_use[r] <= PASSES
        better = wood > before or (wood == before and use < CLEARLY * self.use[r])
        if (passes and (not passed or len(place) < len(self.pads[r]))) or (better and not passed):
            self.use[r], self.wood_use[r] = use, wood_use
            self.pads[r], self.fits[r] = places.x[i, place], places.fits[i, place]

    def _tried(self, trials: Sequence[_Trial], rows: Ints, places: Places,
               seen: dict[tuple[int, ...], Any]) -> list[tuple[float, float, Array]]:
        """(worst use, the same of the wood alone, use of each span) of each trial, solved once for a place."""
        keys = [(t.piece, *t.place.tolist()) for t in trials]
        fresh = {key: t for key, t in zip(keys, trials, strict=True) if key not in seen}
        if fresh:
            own = np.array([t.piece for t in fresh.values()])
            found = self._try(rows[own], places.pick(own), [t.place for t in fresh.values()])
            seen.update(zip(fresh, zip(found[0].tolist(), found[1].tolist(), found[2], strict=True), strict=True))
        return [seen[key] for key in keys]

    def _try(self, own: Ints, places: Places, place: Sequence[Ints]) -> tuple[Array, Array, list[Array]]:
        """The true worst use (pieces,) with pads at these nodes, the wood's alone, and how far each span is used."""
        beams = [replace(self.beams[r], supports=places.x[i, p])
                 for i, (r, p) in enumerate(zip(own, place, strict=True))]
        designs = [self.designs[r] for r in own]
        solution = solve(beams, self.load, self.E[own], panels=COARSE)
        strong = strength(solution, beams, designs)
        # the pads of all pieces in one row, a piece's from `first` to `last`; spans lie between pads of one piece
        count = np.array([len(p) for p in place])
        piece, node = np.repeat(np.arange(len(own)), count), np.concatenate(place)
        x, last = places.x[piece, node], np.cumsum(count) - 1
        first, span = last - count + 1, piece[1:] == piece[:-1]
        gap = np.where(span, np.diff(x), np.inf)
        hang = _hang(places, x[first], gap[first], 0)
        hang = np.maximum(hang, _hang(places, places.run - x[last], gap[last - 1], 1))
        bare = np.max([*strong.ratios.values(), np.where(hang > 1 + 1e-6, hang, 0.0)], axis=0)

        borne = np.stack([np.concatenate(solution.reaction_dead), np.concatenate(solution.reaction_most)], axis=1)
        partner = self.partner[own]
        shared = [(side, ends[partner[:, side] >= 0]) for side, ends in enumerate((first, last))]
        for side, ends in shared:
            self.brought[partner[piece[ends], side], 1 - side] = borne[ends]
        for side, ends in shared:
            extra = self.brought[own[piece[ends]], side]
            borne[ends] += np.where(np.isnan(extra), borne[ends], extra)  # not known yet: as much again
        need = _area_needed(borne[:, 0], borne[:, 1], places.limits)
        through = np.full(len(need), THROUGH_BESIDE)
        for _, ends in shared:
            through[ends] = THROUGH
        need = np.where(self.lapped[own[piece]], through * need, need)
        room = np.minimum(np.append(gap, np.inf), np.insert(gap, 0, np.inf))
        fits = places.fits[piece, node] & (places.along + places.between <= room[:, None] + 1e-6)
        pressed = self.ease[own[piece]] * need / np.where(fits, places.area, places.area[0]).max(axis=1)
        wide = gap[span] / places.widest[piece[1:][span]]
        wide[wide <= 1 + 1e-6] = 0.0  # within what was asked it is no matter how far
        start = first - np.arange(len(own))  # of a piece's spans
        true = np.maximum.reduce([bare, np.maximum.reduceat(pressed, first), np.maximum.reduceat(wide, start)])
        used = np.concatenate(used_between_pads(solution, beams, designs))
        by_span = np.maximum.reduce([used, pressed[1:][span], pressed[:-1][span], wide])
        return true, bare, [by_span[a:a + n - 1] for a, n in zip(start.tolist(), count.tolist(), strict=True)]

    def standing(self, pieces: Sequence[Piece]) -> Standing:
        for r in np.flatnonzero([not len(pads) for pads in self.pads]):  # no room for two apart: at both ends
            ends = np.array([0, self.places.last[r]])
            self.pads[r], self.fits[r] = self.places.x[r, ends], self.places.fits[r, ends]
        placed = [replace(p, pads=p.start + pads) for p, pads in zip(pieces, self.pads, strict=True)]
        beams = [replace(b, supports=pads) for b, pads in zip(self.beams, self.pads, strict=True)]
        return Standing(placed, beams, solve(beams, self.load, self.E), self.fits)


def _hang(places: Places, out: Array, span: Array, side: int) -> Array:
    """How far ends of the pieces hang `out` (pieces,) of what they may: a quarter of the `span` beside them."""
    hangs = places.free[:, side] & (out > places.inset + 0.05)
    return np.where(hangs, out / (clearances.OVERHANG * span), 0.0)


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
    profile = np.concatenate([[[0, ends[0]]], inner - (p.start, 0), [[run, ends[1]]]])
    width = layout.width[m.id]
    bins = max(1, round(run / WIDTH_BINS))
    # the member's carried area, as a running sum read off at the piece's own intervals
    part = m.line.length / len(width)
    area = np.zeros(len(width) + 1)
    np.cumsum(width, out=area[1:])
    area *= part
    own = np.interp(p.start + run / bins * np.arange(bins + 1), part * np.arange(len(area)), area)
    hung = [(s - p.start, a) for s, a in layout.hung[m.id]
            if p.start - 1e-6 <= s <= p.end + 1e-6 and not (s in m.splices and s == p.end)]
    line, points = layout.added.on(m.id, m.line.length, p.start, p.end, bins)
    return Beam(run, profile, np.zeros(0), np.round(np.diff(own) / (run / bins), 6), m.thickness,
                np.array(hung).reshape(-1, 2), added=np.round(line, 6), added_points=points)


def _through(stood: Standing, layout: Layout, load: Load, values: Mapping[str, AdjustedValues]) -> Through:
    """The lapped members that stand, solved as they would bear were their laps no hinges."""
    whole = whole_members(stood.pieces)
    if not whole:
        return Through()
    beams = [replace(_beam(p, layout), supports=p.pads) for p in whole]
    return Through(tuple(whole), tuple(beams), solve(beams, load, np.array([values[p.member.id].E for p in whole])))


def _area_needed(dead: Array, most: Array, limits: tuple[float, float]) -> Array:
    """Pad area that keeps dead and total load within `limits` [sq in]."""
    return np.maximum(dead / limits[0], most / limits[1])


def _stacks(stood: Standing, build: Build, plane: Plane, ground: Ground, through: Through) -> list[Support]:
    """The stack at every pad, with its reactions and the smallest pad that fits and passes.

    Two pieces that share a pad at their splice add up on it. Lapped members bear with all load as they do running
    through, dead and at most as is worse of that and of hinges at their laps.
    """
    total: dict[tuple[str, float], Array] = {}
    may: dict[tuple[str, float], Bools] = {}
    for k, p in enumerate(stood.pieces):
        here = np.stack([getattr(stood.solution, v)[k] for v in ("reaction", "reaction_dead", "reaction_most")], axis=1)
        for s, r, fits in zip(p.pads, here, stood.fits[k], strict=True):
            key = (p.member.id, round(float(s), 6))
            total[key] = total.get(key, np.zeros(3)) + r
            may[key] = may.get(key, np.ones(len(fits), bool)) & fits
    for key, r in through.reactions().items():
        total[key] = np.r_[r[0], np.maximum(total[key], r)[1:]]
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
