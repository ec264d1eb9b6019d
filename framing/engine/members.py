"""Members as they are sawn: each line's profile, the stick that it is cut from, and its splices.

Stage: layout -> members. Under a member's top edge lies a corridor: the wood may come down to the least clear gap
over the roof and no further up than the most. The profile is the one with the fewest straight cuts inside it.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, NamedTuple

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import LineString
from shapely.geometry.base import BaseGeometry
from shapely.ops import unary_union

from framing.engine import length
from framing.engine.adjustment import Adjustment
from framing.engine.checks import Change, Check, check
from framing.engine.documents import Build, Survey
from framing.engine.layout import Line
from framing.engine.openings import STICK
from framing.engine.plane import LEAST_DEPTH, Plane, least_gap, most_gap
from framing.engine.profiles import CLOSE, Corridor, fewest_cuts
from framing.engine.roof import Roof
from framing.engine.shims import PACKER_STEP, most_shims, packing, shim_sums
from framing.reference import clearances
from framing.reference.lumber import DRESSED

Array = NDArray[np.float64]

LAP = 24.0  # a lapped piece runs on at least so far past the pad that it laps over [in] (documents.md, joists)
LEAST_PIECE = 24.0  # no splice leaves a shorter piece [in]
NEAR = 0.01  # two places on a member closer than this are one [in]
ONE_KINK = 1e-6  # bends of the roof closer than this are one: the roof rises less than its rounding between [in]
TIE = 1e-7  # a depth this near a tie between two sixteenths is one [in]
ALONG = 0.34  # a line within 20 degrees of a side runs along it, by the sine of the angle between
TRIMMED = 2 * STICK  # ends of members are trimmed to a skewed side within this [in]
SLIVER = 0.01  # [sq in]
GRID = 1.0  # splices that must find a clear place are tried this far apart [in]


class Side(NamedTuple):
    """One side of the roof's outline: what it is called, and its two corners [in]."""

    words: str
    start: tuple[float, float]
    end: tuple[float, float]


def named_sides(survey: Survey, adjusted: Adjustment) -> list[Side]:
    """The sides as a crew calls them: "house side A-B", "parapet side B-C", "side C-D"."""
    against = {frozenset((e.from_, e.to)): f"{e.against} " for e in survey.edges}
    xy = {c: (adjusted.points[c].x, adjusted.points[c].y) for c in survey.corners}
    pairs = zip(survey.corners, (*survey.corners[1:], survey.corners[0]), strict=True)
    return [Side(f"{against.get(frozenset(pair), '')}side {pair[0]}-{pair[1]}", xy[pair[0]], xy[pair[1]])
            for pair in pairs]


def end_a(line: Line, sides: Sequence[Side]) -> str:
    """Where end A of a line lies: the nearest side that the line does not run along."""
    start, run = np.array(line.start), np.array(line.end) - line.start
    a, along = np.array([s.start for s in sides]), np.array([np.subtract(s.end, s.start) for s in sides])
    size = np.hypot(*along.T)
    t = np.clip(((start - a) * along).sum(axis=1) / np.maximum(size, NEAR) ** 2, 0, 1)
    away = np.hypot(*(start - a - t[:, None] * along).T)
    across = np.abs(along[:, 0] * run[1] - along[:, 1] * run[0]) >= ALONG * size * line.length
    return sides[int(np.argmin(np.where(across, away, np.inf)))].words if across.any() else ""


@dataclass(frozen=True)
class Member:
    """One member as it is sawn.

    `profile` (k, 2) is s [in] from end A and depth [in] down from the framing plane; `splices` are s of butt joints,
    each over a pad (rims: over a joist end); `ripped` is false where a full stick serves as it comes. `over` is how far
    the wood stands off the roof beyond the most clear gap, where packers are allowed and no stick is deep enough [in].
    Where pieces lap each runs on by `lap` past its splice [in], and they lie half a thickness beside the line in turn,
    the first to its left where `side` is 1, to its right where it is -1.
    """

    line: Line
    size: str
    profile: Array
    splices: tuple[float, ...] = ()
    ripped: bool = True
    over: float = 0.0
    lap: float = 0.0
    side: int = 1

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
        """(from, to) of every piece along s from splice to splice [in], in order."""
        cuts = (0.0, *self.splices, self.line.length)
        return tuple(zip(cuts, cuts[1:], strict=False))

    @property
    def sawn(self) -> tuple[tuple[float, float], ...]:
        """(from, to) of every piece along s as it is sawn, with its laps [in]."""
        if not self.lap:
            return self.pieces
        return tuple((a - self.lap * (a > 0), b + self.lap * (b < self.line.length)) for a, b in self.pieces)

    @property
    def run(self) -> float:
        """Length of all its pieces as they are sawn [in]."""
        return self.line.length + 2 * self.lap * len(self.splices)

    @property
    def offsets(self) -> tuple[float, ...]:
        """How far every piece lies to the left of the member's line [in]."""
        beside = self.side * self.thickness / 2 if self.lap else 0.0
        return tuple(beside * (-1) ** i for i in range(len(self.splices) + 1))

    @property
    def centre_lines(self) -> Array:
        """Where wood lies in plan: both ends of the middle line of every lapped piece, else of the whole (n, 2, 2)."""
        if not self.lap:
            return np.array([[self.line.start, self.line.end]])
        along = np.subtract(self.line.end, self.line.start) / self.line.length
        left = np.array([-along[1], along[0]])
        return np.stack([self.line.at(np.array(ends)) + off * left
                         for ends, off in zip(self.sawn, self.offsets, strict=True)])

    def profile_of(self, a: float, b: float) -> tuple[tuple[float, float], ...]:
        """(s, depth) [in] of the piece from `a` to `b`, s from its own start; empty where nothing is ripped."""
        if not self.ripped:
            return ()
        between = self.profile[:, 0]
        s = np.array([a, *between[(between > a + NEAR) & (between < b - NEAR)], b])
        return tuple(zip((s - a).tolist(), self.depth(s).tolist(), strict=True))

    def stations(self, supports: Sequence[float]) -> list[list[Any]]:
        """[s, depth to 1/16] at both ends, every cut change, splice and support; ties and near ties to the deeper."""
        s = sorted({0.0, self.line.length, *self.profile[:, 0].tolist(), *(v for piece in self.sawn for v in piece),
                    *supports})
        kept = [v for i, v in enumerate(s) if i == 0 or v - s[i - 1] > NEAR]
        return [[v, length.sixteenths(float(d) + TIE)] for v, d in zip(kept, self.depth(np.array(kept)), strict=True)]

    def as_json(self, supports: Sequence[float]) -> dict[str, Any]:
        pieces = [[a, b, off] for (a, b), off in zip(self.sawn, self.offsets, strict=True)] if self.lap else []
        return {
            "id": self.id, "role": self.role, "start": list(self.line.start), "end": list(self.line.end),
            "size": self.size, "thickness": self.thickness, "profile": self.profile.tolist(),
            "stations": self.stations(supports), "splices": list(self.splices), "ripped": self.ripped,
            **({"pieces": pieces} if pieces else {}),
        }


def kinks(line: Line, roof: Roof) -> Array:
    """Both ends and every place where the roof under the member bends, s (k,) [in]."""
    return _all_kinks([line], roof)[0]


def _all_kinks(lines: Sequence[Line], roof: Roof) -> list[Array]:
    """The kinks of every line. [in]"""
    shapes = shapely.linestrings([[n.start, n.end] for n in lines])
    met = shapely.intersection(np.array(roof.creases())[None], shapes[:, None])
    owner = np.repeat(np.arange(len(lines)), shapely.get_num_coordinates(met).sum(axis=1))
    starts, runs = np.array([n.start for n in lines]), np.array([n.length for n in lines])
    places = np.clip(np.hypot(*(shapely.get_coordinates(met.ravel()) - starts[owner]).T), 0.0, runs[owner])
    own = np.split(places, np.searchsorted(owner, np.arange(1, len(lines))))
    found = []
    for inner, run in zip(own, runs.tolist(), strict=True):
        inner = np.sort(inner[(inner > ONE_KINK) & (inner < run - ONE_KINK)])
        found.append(np.concatenate([[0.0], inner[np.diff(inner, prepend=0.0) > ONE_KINK], [run]]))
    return found


def heights(lines: Sequence[Line], build: Build, plane: Plane, roof: Roof) -> list[tuple[Array, Array]]:
    """Under every line its kinks s (k,) and the height of its top edge over the roof there (k,) [in]."""
    if not lines:
        return []
    places = _all_kinks(lines, roof)
    xy = np.concatenate([n.at(s) for n, s in zip(lines, places, strict=True)])
    over = plane.height(xy) - build.decking.thickness - build.joists.tape_thickness - roof.height(xy)
    return list(zip(places, np.split(over, np.cumsum([len(s) for s in places])[:-1]), strict=True))


def corridor(line: Line, build: Build, plane: Plane, roof: Roof, deepest: float) -> Corridor:
    """The corridor under `line` for sticks up to `deepest` [in]."""
    return corridor_under(*heights([line], build, plane, roof)[0], build, deepest)


def corridor_under(s: Array, height: Array, build: Build, deepest: float, packer: float = 0.0) -> Corridor:
    """The corridor under a top edge `height` (k,) over the roof at its kinks `s` (k,), on packers up to `packer` [in].

    Where the most clear gap meets the least depth, or the least gap the deepest stick, the limits bend too: those
    places are added, so that limits and wanted depths are straight between places.
    """
    thin, least, most = build.joists.minimum_depth, least_gap(build), most_gap(build) + packer
    target = min(max(build.supports.clear_gap.target, least), most)
    level = np.array([[thin + most], [deepest + least], [thin + target], [deepest + target]])
    off = height - level
    row, i = np.nonzero(off[:, :-1] * off[:, 1:] < 0)
    if len(i):
        share = off[row, i] / (off[row, i] - off[row, i + 1])
        more = s[i] + share * (s[i + 1] - s[i])
        apart = np.minimum(more - s[i], s[i + 1] - more) > ONE_KINK / 100
        more, order = np.unique(more[apart], return_index=True)
        s, height = np.concatenate([s, more]), np.concatenate([height, level[row, 0][apart][order]])
        order = np.argsort(s, kind="stable")
        s, height = s[order], height[order]
    return Corridor(s, height, np.maximum(height - most, thin), np.minimum(height - least, deepest))


def saw_members(lines: Sequence[Line], build: Build, plane: Plane, roof: Roof,
                longest: float, outlets: Array, room: BaseGeometry | None = None) -> tuple[list[Member], list[Check]]:
    """Every line as a sawn member: profile, stick and splices; `outlets` (n, 2) are kept clear of splices [in].

    `room` is where wood may lie, for pieces that lap beside their line; None for anywhere.

    A member that fits no corridor (the height between least depth and most gap leaves none, or no stick at hand
    is deep enough) is packed up where the build allows it; else it is a `stop` and is left out.
    """
    offered = sorted(build.joists.sizes, key=lambda k: DRESSED[k][1])
    deepest, packer = DRESSED[offered[-1]][1], packing(build)
    members, unfit = [], []
    for line, (s, height) in zip(lines, heights(lines, build, plane, roof), strict=True):
        c = corridor_under(s, height, build, deepest)
        member = _sawn(line, c, build, offered)
        if member is None and packer > 0:
            c = corridor_under(s, height, build, deepest, packer)
            if (member := _sawn(line, c, build, offered)) is not None:
                places = np.union1d(c.s, member.profile[:, 0])
                gap = np.interp(places, c.s, c.height) - member.depth(places)
                most = max(build.supports.clear_gap.most, most_gap(build))
                member = replace(member, over=max(0.0, float(gap.max()) - most))
        if member is not None:
            members.append(member)
        else:
            unfit.append((line, height))
    ends = [n for n in lines if n.role in ("joist", "edge")]
    spliced, checks = _splice(members, ends, roof, build, longest, outlets)
    if build.joists.splice == "lapped":
        spliced, unlapped = _lapped(spliced, ends, roof, build, longest, outlets, room)
        checks = [*checks, *unlapped]
    return spliced, [*_unfit(unfit, build, deepest), *(over_most(members, build) if unfit else []), *checks]


def over_most(members: Sequence[Member], build: Build) -> list[Check]:
    """What is told of wood that stands off the roof further than the most clear gap, where no pad is packed up."""
    high = [m for m in members if m.over > CLOSE]
    if not high:
        return []
    worst, most = max(high, key=lambda m: m.over), build.supports.packer_most
    return [check("packed-up", "caution", value=worst.over, limit=most, where=worst.id, told=(
        f"{len(high)} member(s) stand off the roof further than the most clear gap, {worst.id} by up to "
        f"{worst.over:.3f} in, since no stick at hand is deep enough or the pad alone is thicker (packers up to "
        f"{most:g} in are allowed)."))]


def _sawn(line: Line, c: Corridor, build: Build, offered: Sequence[str]) -> Member | None:
    """The line as a whole stick where one fits as it comes (of several the one nearest the target gap), else sawn."""
    target = build.supports.clear_gap.target
    whole = [k for k in offered if (c.low <= DRESSED[k][1] + CLOSE).all() and (c.high >= DRESSED[k][1] - CLOSE).all()]
    if whole:
        size = min(whole, key=lambda k: float(np.abs(c.height - target - DRESSED[k][1]).max()))
        depth = DRESSED[size][1]
        return Member(line, size, np.array([[0, depth], [line.length, depth]]), ripped=False)
    profile = fewest_cuts(c, target)
    if profile is None:
        return None
    return Member(line, next(k for k in offered if DRESSED[k][1] >= profile[:, 1].max() - 1e-6), profile)


def _unfit(unfit: Sequence[tuple[Line, Array]], build: Build, deepest: float) -> list[Check]:
    """One stop for the worst member that no profile fits: over the deepest stick's reach, or under the least depth.

    Only changes that fit every one of them are offered.
    """
    if not unfit:
        return []
    s, thin = build.supports, build.joists.minimum_depth
    least, most = least_gap(build), most_gap(build) + packing(build)
    low = np.array([h.min() for _, h in unfit])
    high = np.array([h.max() for _, h in unfit])

    def fits(*, thin: float = thin, deepest: float = deepest, most: float = most) -> bool:
        return bool(thin <= deepest + CLOSE and least <= most + CLOSE and (low - least >= thin - CLOSE).all()
                    and (high - most <= deepest + CLOSE).all())

    worst = int(np.argmax(high))
    need, line = float(high[worst]) - most, unfit[worst][0]
    if need > deepest + CLOSE:
        short = need - deepest
        deeper = [k for k, (_, d) in DRESSED.items() if d > deepest and fits(deepest=d)][:1]
        offers = [Change("joists.sizes", f"up to {deepest} in", k) for k in deeper]
        gap = math.ceil((s.clear_gap.most + short) * 16 - 1e-6) / 16
        if s.pad_thickness + s.base_thickness + most_shims(build) + packing(build) >= gap and fits(most=most + short):
            offers.append(Change("supports.clear_gap.most", s.clear_gap.most, gap))
        packer = PACKER_STEP * math.ceil((packing(build) + short) / PACKER_STEP - 1e-6)
        if fits(most=most + short):
            offers.append(Change("supports.packer_most", s.packer_most, packer))
        return [check("stick-too-shallow", "stop", value=deepest, limit=need, where=line.id, clears=offers,
                      need=length.write(need), have=length.write(deepest), most=length.write(gap),
                      packer=length.write(packer), count=len(unfit))]
    play = np.minimum(low - least, deepest) - thin
    play = np.minimum(play, most - least)
    worst = int(np.argmin(play))
    lacking, line = float(play[worst]), unfit[worst][0]
    offers = []
    stack = s.pad_thickness + s.base_thickness
    if s.clear_gap.most < least - CLOSE:  # pad and base alone fill more than the most clear gap
        gap = math.ceil(least * 16 - 1e-6) / 16
        if fits(most=min(gap, stack + most_shims(build))):
            offers.append(Change("supports.clear_gap.most", s.clear_gap.most, gap))
    elif most < least - CLOSE:  # pad and shims at hand do not reach the least clear gap
        sums, _ = shim_sums(tuple(s.shim_sizes), least - stack + max(s.shim_sizes))
        shims = math.ceil(float(sums[sums >= least - stack - CLOSE][0]) * 16 - 1e-6) / 16
        if fits(most=min(s.clear_gap.most, stack + shims)):
            offers.append(Change("supports.shim_most", s.shim_most, shims))
    elif (thinner := math.floor((thin + lacking) * 16 + 1e-6) / 16) >= LEAST_DEPTH and fits(thin=thinner):
        offers.append(Change("joists.minimum_depth", thin, thinner))
    return [check("no-profile", "stop", value=most - least, limit=most - least - lacking, where=line.id, clears=offers,
                  count=len(unfit), short=f"{-lacking:.2f}")]


def _splice(members: Sequence[Member], ends: Sequence[Line], roof: Roof, build: Build, longest: float,
            outlets: Array) -> tuple[list[Member], list[Check]]:
    """Members longer than the longest piece, cut into the fewest pieces; and what the crew must know of the splices.

    A splice stands on a pad, so it keeps off outlets and valleys as pads do; a rim's lies over the end of one of the
    lines `ends`.
    """
    done, loose = [], []
    for m in members:
        if m.line.length <= longest + NEAR:
            done.append(m)
        elif m.role == "rim":
            joists = _joist_ends(m.line, ends)
            cuts, off = _over_ends(m.line.length, longest, joists)
            done.append(replace(m, splices=cuts))
            loose += [(m.id, v) for v in off]
        else:
            done.append(replace(m, splices=_over_pads(m, longest, roof, build, outlets)))
    if not loose:
        return done, []
    return done, [check("rim-splice", "caution", value=max(v for _, v in loose), limit=0.0,
                        where=max(loose, key=lambda v: v[1])[0], count=len(loose), least=LEAST_PIECE)]


def _lapped(members: Sequence[Member], lines: Sequence[Line], roof: Roof, build: Build, longest: float,
            outlets: Array, room: BaseGeometry | None) -> tuple[list[Member], list[Check]]:
    """The members with their splices over pads made laps, save where sticks, room or pads allow none, which is told.

    A lap runs on past the longest pad at hand, whichever will stand there.
    """
    lap = LAP + max(a for a, _ in build.supports.pad_sizes) / 2
    narrowest = min(b for _, b in build.supports.pad_sizes)
    wood = {n.id: n.shape.buffer(STICK / 2, cap_style="flat") for n in lines}
    done: list[Member] = []
    left: dict[str, list[str]] = {}
    for m in members:
        if not m.splices or m.role not in ("joist", "edge"):
            done.append(m)
            continue
        sided = None
        if _carries_seam(m.line, build, room):
            why = "border and field boards end along them, which pieces beside their lines would not carry"
        elif narrowest < 2 * m.thickness - NEAR:
            why = f"a pad {length.write(narrowest)} in wide does not bear both, {length.write(2 * m.thickness)} in"
        elif (cuts := _lap_places(m, longest, lap, roof, build, outlets)) is None:
            why = f"the longest piece at hand, {length.write(longest)} in, is too short for laps of {2 * lap:g} in"
        else:
            why = f"there is no room for {length.write(m.thickness / 2)} in more beside their lines"
            sided = _beside(replace(m, splices=cuts, lap=lap), wood, room)
        if sided is None:
            left.setdefault(why, []).append(m.id)
        done.append(sided or m)
    return done, [check("lap-not-laid", "caution", value=len(ids), limit=0, unit="EA", where=ids[0], count=len(ids),
                        why=why) for why, ids in left.items()]


def _carries_seam(line: Line, build: Build, room: BaseGeometry | None) -> bool:
    """Whether a line runs along a side of the deck under a border or where it ends."""
    border = build.decking.border_courses * (build.decking.width + build.decking.gap)
    if not border or room is None:
        return False
    sides = shapely.get_exterior_ring(shapely.get_parts(room))
    return bool(shapely.distance(line.shape.interpolate(0.5, normalized=True), sides).min() < border + 2 * STICK)


def _lap_places(m: Member, longest: float, lap: float, roof: Roof, build: Build,
                outlets: Array) -> tuple[float, ...] | None:
    """Where a member's pieces lap: the fewest pieces, at a ridge or where its cut turns if that takes no more, clear of
    outlets and valleys if any place is; None where no stick is long enough."""
    run = m.line.length
    grid = np.arange(lap, run - lap + NEAR, GRID)
    clear = grid[_is_clear(m.line, grid, roof, build, outlets)]
    best = _fewest_pieces(run, longest, clear.tolist(), lap=lap) or _fewest_pieces(run, longest, grid.tolist(), lap=lap)
    for places in (_over(m.line, roof, "ridge"), m.profile[1:-1, 0].tolist()):
        at = np.array([v for v in places if lap <= v <= run - lap])
        cuts = _fewest_pieces(run, longest, at[_is_clear(m.line, at, roof, build, outlets)].tolist(), lap=lap)
        if cuts and best and len(cuts) == len(best):
            return cuts
    return best or None


def _beside(m: Member, wood: Mapping[str, BaseGeometry], room: BaseGeometry | None) -> Member | None:
    """The member with its first piece on the side where its pieces lie in the room and clear of other `wood`, their
    ends apart, which are trimmed to what they meet; None where they do on neither."""
    if room is None:
        return m
    own, ends = wood[m.id], m.line.at(np.array([0.0, m.line.length]))
    near = unary_union([w for name, w in wood.items() if name != m.id and w.distance(own) < STICK])
    barred = near.union(own.buffer(STICK).difference(room)).difference(
        unary_union(shapely.buffer(shapely.points(ends), TRIMMED)))
    for side in (1, -1):
        trial = replace(m, side=side)
        bodies = [LineString(p).buffer(m.thickness / 2, cap_style="flat") for p in trial.centre_lines]
        if max(b.intersection(barred).area for b in bodies) < SLIVER:
            return trial
    return None


def _over_ends(run: float, longest: float, joists: Sequence[float]) -> tuple[tuple[float, ...], list[float]]:
    """A rim's splices in the fewest pieces, over joist ends where those allow it; and how far off one the rest are."""
    cuts = _fewest_pieces(run, longest, joists)
    if cuts is not None or longest < LEAST_PIECE:  # shorter sticks would hang from one joist each: no rim is told
        return cuts or (), []
    # no joist end in reach of some stick: the pieces that cannot end on one end where they must
    grid = np.arange(GRID, run, GRID)
    cuts = _fewest_pieces(run, longest, [*joists, *grid.tolist()], [0.0] * len(joists) + [1.0] * len(grid)) or ()
    off = [min((abs(v - j) for j in joists), default=run) for v in cuts]
    return cuts, [v for v in off if v > NEAR]


def _over_pads(m: Member, longest: float, roof: Roof, build: Build, outlets: Array) -> tuple[float, ...]:
    """A joist's splices: at a ridge or where its cut turns if that takes no piece more, else where sticks serve."""
    run, trim = m.line.length, build.saw.trim
    least = math.ceil((run - NEAR) / longest)
    for places in (_over(m.line, roof, "ridge"), m.profile[1:-1, 0].tolist()):
        clear = [v for v, ok in zip(places, _is_clear(m.line, np.array(places), roof, build, outlets), strict=True)
                 if ok and LEAST_PIECE <= v <= run - LEAST_PIECE]
        cuts = _fewest_pieces(run, longest, clear)
        if cuts is not None and len(cuts) + 1 == least:
            return cuts
    usable = sorted(v - trim for v in build.joists.stock_lengths if v - trim <= longest + NEAR)
    cuts = _kept_off(m.line, _by_sticks(run, longest, usable), longest, roof, build, outlets)
    if _is_clear(m.line, np.array(cuts), roof, build, outlets).all():
        return cuts
    grid = np.arange(LEAST_PIECE, run - LEAST_PIECE, GRID)  # one piece more before a splice in the water
    return _fewest_pieces(run, longest, grid[_is_clear(m.line, grid, roof, build, outlets)].tolist()) or cuts


def _fewest_pieces(run: float, longest: float, places: Sequence[float],
                   dislike: Sequence[float] = (), lap: float = 0.0) -> tuple[float, ...] | None:
    """Of `places`, the cuts that leave the fewest pieces no longer than `longest`, of those the least disliked, of
    those the most even [in]; None where they leave a longer one.

    Pieces that run on by `lap` past every cut are so much longer, and two of them do not meet over a third."""
    order = np.argsort(places)
    at = np.r_[0.0, np.array(places, float)[order], run]
    cost = np.r_[0.0, np.array(dislike, float)[order], 0.0] if dislike else np.zeros(len(at))
    pieces, disliked, uneven = (np.full(len(at), math.inf) for _ in range(3))
    pieces[0] = disliked[0] = uneven[0] = 0
    before = np.zeros(len(at), int)
    for k in range(1, len(at)):
        laps = lap * ((at[:k] > 0) + float(at[k] < run))
        i = np.flatnonzero((at[k] - at[:k] + laps <= longest + NEAR) & (at[k] - at[:k] > np.maximum(laps - NEAR, NEAR))
                           & np.isfinite(pieces[:k]))
        if len(i):
            square = uneven[i] + (at[k] - at[i]) ** 2
            best = np.lexsort((square, disliked[i], pieces[i]))[0]
            before[k], pieces[k] = i[best], pieces[i[best]] + 1
            disliked[k], uneven[k] = disliked[i[best]] + cost[k], square[best]
    if not np.isfinite(pieces[-1]):
        return None
    cuts: list[float] = []
    k = int(before[-1])
    while k:
        cuts.insert(0, float(at[k]))
        k = int(before[k])
    return tuple(cuts)


def _over(line: Line, roof: Roof, kind: str) -> list[float]:
    """Where a member passes over break lines of a kind, s from end A (n,) [in]."""
    cuts = [line.shape.intersection(b.line) for b in roof.breaks if b.kind == kind]
    return sorted(float(line.shape.project(c)) for c in cuts if c.geom_type == "Point")


def _is_clear(line: Line, s: Array, roof: Roof, build: Build, outlets: Array) -> NDArray[np.bool_]:
    """Whether a splice at places s (n,) [in] stands clear of outlets and valleys, as its pad must."""
    clear = np.ones(len(s), bool)
    if not len(s):
        return clear
    xy = line.at(s)
    if len(outlets):
        clear &= np.hypot(*(xy[:, None] - outlets[None]).transpose(2, 0, 1)).min(axis=1) >= clearances.OUTLET
    off_valley = max(max(size) for size in build.supports.pad_sizes) / 2 + clearances.VALLEY
    for valley in (b.line for b in roof.breaks if b.kind == "valley"):
        clear &= shapely.distance(shapely.points(xy), valley) >= off_valley
    return clear


def _kept_off(line: Line, cuts: Sequence[float], longest: float, roof: Roof, build: Build,
              outlets: Array) -> tuple[float, ...]:
    """The cuts, each moved to the nearest place clear of outlets and valleys that leaves no piece too long."""
    moved = list(cuts)
    for i in range(len(moved)):
        before, after = (moved[i - 1] if i else 0.0), (moved[i + 1] if i + 1 < len(moved) else line.length)
        low, high = max(before + LEAST_PIECE, after - longest), min(after - LEAST_PIECE, before + longest)
        s = np.append(np.arange(low, high + 0.01, 0.5), moved[i])
        s = s[_is_clear(line, s, roof, build, outlets)]
        if len(s):
            moved[i] = float(s[np.argmin(np.abs(s - moved[i]))])
    return tuple(moved)


def _joist_ends(rim: Line, others: Sequence[Line]) -> list[float]:
    """Where joists and edge joists meet a rim, s from its end A (n,) [in]."""
    xy = np.array([e for o in others for e in (o.start, o.end)]).reshape(-1, 2)
    u = (np.array(rim.end) - np.array(rim.start)) / rim.length
    s, off = (xy - rim.start) @ u, np.abs((xy - rim.start) @ np.array([-u[1], u[0]]))
    return sorted({round(float(v), 6) for v, o in zip(s, off, strict=True) if o < 4 and 3 < v < rim.length - 3})


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
