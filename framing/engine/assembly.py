"""One way to frame a deck, and the better of two: layout, members, supports, boards and cutting along one direction.

Stage: plane -> assembly. Where the build leaves the joists' direction open both ways along the door's wall are framed,
and the one that asks for less work and wood and lets the water by is taken, with its reasons.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
import shapely

from framing.engine import length
from framing.engine.adjustment import Adjustment
from framing.engine.boards import Decking, lay_boards
from framing.engine.borders import border_lines
from framing.engine.checks import Change, Check, check
from framing.engine.cutting import CutPlan, Piece, PieceTooLong, Stock, check_lengths
from framing.engine.documents import Build, Survey
from framing.engine.footing import find_footing
from framing.engine.headers import border_checks, header_checks
from framing.engine.keep_outs import Ground, find_ground
from framing.engine.laps import lap_checks, lap_excess, under_boards
from framing.engine.layout import Deck, Layout, lay_members
from framing.engine.loads import Placed, add_loads, placed_checks
from framing.engine.members import Member, saw_members
from framing.engine.nesting import plan_all
from framing.engine.openings import valleys_along
from framing.engine.panels import drain_bowls, find_panels
from framing.engine.plane import Plane
from framing.engine.roof import Roof
from framing.engine.structure import Load
from framing.engine.supports import Frame, design_loads, member_values, pads_about, support
from framing.reference import production
from framing.reference.decking import JoistSpacing, decking_weight, joist_spacing
from framing.reference.lumber import FRESH_TREATED_PCF, framing_weight_plf

ACROSS_WATER_HOURS = 4.0  # what joists lying wholly across the fall weigh in the choice of direction; a judgement
BOARD_FOOT_HOURS = 0.02  # ... and what a board foot of lumber does: a judgement
LESS_THAN_ANY_STICK = 12.0  # [in]
CLOSER = 4  # times that lapped joists are laid out, each time closer
LEAST_CLOSER = 6.0  # ... but no closer than this, a judgement; what is left is told [in]
BUTTED = 0.02  # wood this little over the deck's side lies at it [in]
LEAST_CROSSING = 20.0  # boards lie across joists at no less than this [degrees]


@dataclass(frozen=True)
class Setting:
    """What a frame is fitted to."""

    survey: Survey
    adjusted: Adjustment
    roof: Roof
    deck: Deck
    plane: Plane


@dataclass(frozen=True)
class Built:
    """The deck framed, decked and cut with its joists in one direction; `board_direction` in degrees."""

    layout: Layout
    board_direction: float
    frame: Frame
    decking: Decking | None
    plans: tuple[CutPlan, ...]
    checks: tuple[Check, ...]


@dataclass(frozen=True)
class _Way:
    """One pair of directions [degrees], laid out and sawn; `pads` are estimated until it stands."""

    joist: float
    board: float
    build: Build
    layout: Layout
    members: tuple[Member, ...]
    checks: tuple[Check, ...]
    load: Load | None = None
    placed: Placed = Placed()
    pads: int = 0

    @property
    def stops(self) -> int:
        return sum(c.status == "stop" for c in self.checks)

    @property
    def cuts(self) -> int:
        """Straight rips that the saw makes."""
        return sum(len(m.profile) - 1 for m in self.members if m.ripped)

    @property
    def board_feet(self) -> float:
        """Lumber in the frame as sticks of nominal size [board feet]."""
        return sum(m.run / 144 * math.prod(int(v) for v in m.size.split("x")) for m in self.members)

    def across(self, roof: Roof) -> float:
        """How far joists lie across the fall, 0..100: the mean over the roof of the sine between joist and fall."""
        area = np.array([f.polygon.area * f.slope_in_per_ft for f in roof.facets])
        angle = np.radians([f.falls_toward - self.joist for f in roof.facets])
        return float(100 * (np.abs(np.sin(angle)) * area).sum() / max(area.sum(), 1e-9))

    def effort(self, roof: Roof) -> float:
        """Person-hours of what differs between directions: rips, pads, splices, and judgements on wood and water."""
        rips = sum(m.run for m in self.members if m.ripped) / 12
        hours = {task: production.RATES[task].typical for task in ("rip-tapers", "set-pads", "block")}
        return (hours["rip-tapers"] * rips + hours["set-pads"] * self.pads
                + hours["block"] * sum(len(m.splices) for m in self.members) + BOARD_FOOT_HOURS * self.board_feet
                + ACROSS_WATER_HOURS * self.across(roof) / 100)


def assemble(setting: Setting, build: Build, *, trial: bool = False) -> Built:
    """The deck framed, decked and cut. A `trial` is not cut: only whether sticks are long enough is looked at."""
    return lay_and_cut(setting, build, frame_up(setting, build), trial=trial)


def frame_up(setting: Setting, build: Build) -> Built:
    """The frame alone, in the better of the directions: fewest stops, then least of sawing, pads, wood and joists
    across the water's way. It does not turn on the lengths that boards are sold in."""
    ground = find_ground(setting.survey, setting.adjusted, setting.roof, setting.deck.holes)
    laid = [_lay_out(setting, build, ground, j, b) for j, b in directions(setting, build)]
    laid.sort(key=lambda way: (way.stops, way.effort(setting.roof)))
    # pads are found for the way that looks better, and for the other only where that cannot stand
    ways = [(way, _stand(way, setting, ground)) for way in laid[:1]]
    if _stops(ways[0][1]):
        ways = sorted([*ways, *((way, _stand(way, setting, ground)) for way in laid[1:])], key=lambda w: _stops(w[1]))
    (best, framed), others = ways[0], [w for w, _ in ways[1:]] or laid[1:]
    checks = (*framed.checks, _reasons(best, framed, others, ways[1:], setting.roof, build))
    return Built(best.layout, best.board, framed, None, (), checks)


def lay_and_cut(setting: Setting, build: Build, framed: Built, *, trial: bool = False) -> Built:
    """A frame with its boards and cutting plans, unless it stopped already."""
    survey, deck, frame, board = setting.survey, setting.deck, framed.frame, framed.board_direction
    if any(c.status == "stop" for c in framed.checks) or not frame.supports:
        return framed
    longest = _longest(survey, build.decking.stock_lengths, build.saw.trim)
    panels, panel_checks = find_panels(survey, build, setting.adjusted, deck)
    lines = under_boards(framed.layout.lines, frame.members, build.decking.width)
    decking = lay_boards(deck, lines, build, board, longest, panels, _door(setting))
    checks = [*framed.checks, *_spacing_checks(build, framed.layout.direction, board), *panel_checks, *decking.checks]
    plans: tuple[CutPlan, ...] = ()
    try:
        jobs = _to_cut(survey, build, frame, decking)
        plans = () if trial else plan_all(jobs, kerf=build.saw.kerf, trim=build.saw.trim)
    except PieceTooLong as error:
        checks.append(_too_short(survey, error))
    return replace(framed, decking=decking, plans=plans, checks=tuple(checks))


def boards_across(build: Build) -> list[Check]:
    """The stop for boards asked to run along the joists asked."""
    joists, boards = build.joists.direction, build.decking.direction
    if joists == "auto" or boards == "auto":
        return []
    apart = abs((float(boards) - float(joists) + 90) % 180 - 90)
    if apart >= LEAST_CROSSING:
        return []
    across = (float(joists) + 90) % 180
    return [check("boards-along-joists", "stop", value=apart, limit=LEAST_CROSSING, unit="DD", where="decking",
                  boards=float(boards), joists=float(joists),
                  clears=(Change("decking.direction", float(boards), across),))]


def directions(setting: Setting, build: Build) -> list[tuple[float, float]]:
    """(joist, board) directions to try [degrees]: what is given, else both ways along the door's wall."""
    joists, boards = build.joists.direction, build.decking.direction
    if joists != "auto" and boards != "auto":
        return [(float(joists), float(boards))]
    if joists != "auto":
        return [(float(joists), float(joists) + 90)]
    if boards != "auto":
        return [(float(boards) - 90, float(boards))]
    along = door_wall(setting)
    return [(along, along + 90), (along + 90, along + 180)]


def door_wall(setting: Setting) -> float:
    """The direction of the side of the roof that the governing door stands in [degrees]."""
    points = setting.adjusted.points
    corners = np.array([[points[c].x, points[c].y] for c in setting.survey.corners])
    door = np.array([[points[p].x, points[p].y] for p in setting.plane.door.points
                     if p in points]).mean(axis=0)
    run = np.roll(corners, -1, axis=0) - corners
    t = np.clip(((door - corners) * run).sum(axis=1) / (run**2).sum(axis=1), 0, 1)
    wall = int(np.argmin(np.hypot(*(corners + t[:, None] * run - door).T)))
    return math.degrees(math.atan2(run[wall, 1], run[wall, 0]))


def _stops(frame: Frame) -> int:
    return sum(c.status == "stop" for c in frame.checks)


def _reasons(best: _Way, framed: Frame, others: list[_Way], stood: list[tuple[_Way, Frame]], roof: Roof,
             build: Build) -> Check:
    """Which way the joists run and why: the figures of both ways, or whose wish it was."""
    if others:
        other = others[0]
        cannot = " and cannot be framed" if not _stops(framed) and (other.stops or any(_stops(f) for _, f in stood)) \
            else ""
        why = (f"the other way takes {other.cuts} rips, about {other.pads} pads and {other.board_feet:.0f} "
               f"board feet at {other.across(roof):.0f} %{cannot}")
    elif build.joists.direction != "auto":
        why = "as the build asks"
    else:
        why = "square to the boards, whose direction the build gives"
    return check("joist-direction", "note", value=best.joist % 180, unit="DD", where="frame", cuts=best.cuts,
                 pads=len(framed.supports), feet=f"{best.board_feet:.0f}", water=f"{best.across(roof):.0f}",
                 boards=f"{best.board % 180:.0f}", why=why)


def _widest_spacing(build: Build, joist: float, board: float) -> JoistSpacing:
    """How far apart the decking lets joists stand, boards and joists at these angles [degrees]."""
    return joist_spacing(build.decking.species or "", build.decking.thickness, abs((board - joist + 90) % 180 - 90))


def _spaced(build: Build, most: float) -> Build:
    """The build with its joists no further apart than `most` [in]."""
    if build.joists.spacing <= most + 1e-9:
        return build
    return build.model_copy(update={"joists": build.joists.model_copy(update={"spacing": most})})


def _spacing_checks(build: Build, joist: float, board: float) -> list[Check]:
    widest, asked = _widest_spacing(build, joist, board), build.joists.spacing
    if widest.most is None:
        return [check("decking-span-unknown", "caution", value=asked, where="decking", source=widest.source,
                      why=widest.source)]
    return [check("decking-span", "ok" if asked <= widest.most + 1e-9 else "caution", value=asked, limit=widest.most,
                  where="decking", source=widest.source, laid=length.write(min(asked, widest.most)))]


def _too_short(survey: Survey, error: PieceTooLong) -> Check:
    """The stop for a piece that no stick gives, with the stick that would, where it reaches the roof."""
    kind = "decking" if error.piece.kind == "board" else "joists"
    stick = 24.0 * math.ceil(error.needed / 24)  # sold by the even foot
    reach = survey.access.longest_stick if survey.access and survey.access.longest_stick else math.inf
    offers = [Change(f"{kind}.stock_lengths", f"up to {error.longest:g}", stick)] if stick <= reach else []
    return check("stick-too-short", "stop", value=error.longest, limit=error.needed, where=error.piece.owner,
                 clears=offers, have=length.write(error.longest), need=length.write(error.needed))


def _door(setting: Setting) -> tuple[float, float]:
    """The middle of the door that governs."""
    points = setting.adjusted.points
    at = np.array([[points[p].x, points[p].y] for p in setting.plane.door.points if p in points])
    return float(at[:, 0].mean()), float(at[:, 1].mean())


def _lay_out(setting: Setting, build: Build, ground: Ground, joist: float, board: float) -> _Way:
    """Layout and members with the joists along `joist`, the boards along `board` [degrees], as far apart as asked
    where the decking spans that; closer where lapped lengths beside their lines would else stand further apart."""
    table = _widest_spacing(build, joist, board)
    most = build.joists.spacing if table.most is None else table.most
    spaced = _spaced(build, most)
    for _ in range(CLOSER):
        way = _lay_at(setting, spaced, ground, joist, board)
        laps = lap_checks(way.members, spaced, setting.plane, setting.roof, most, table.source)
        over = lap_excess(laps)
        if not over or spaced.joists.spacing - over < LEAST_CLOSER:
            break
        spaced = _spaced(spaced, spaced.joists.spacing - over)
    return replace(way, checks=(*way.checks, *laps))


def _lay_at(setting: Setting, build: Build, ground: Ground, joist: float, board: float) -> _Way:
    """Layout and members at the build's spacing."""
    survey, adjusted, roof = setting.survey, setting.adjusted, setting.roof
    deck, plane = setting.deck, setting.plane
    anchor = _door(setting)
    footing = find_footing(build, plane, roof, ground)
    bowls, wide = drain_bowls(survey, adjusted, deck, build.joists.spacing)
    layout = lay_members(build, deck, joist, roof=roof.outline, anchor=anchor, footing=footing,
                         bowls=[*bowls, *valleys_along(ground.valleys, footing.size, build.joists.spacing, joist)])
    border, bare = border_lines(deck, layout.lines, build, board)
    layout = replace(layout, lines=(*layout.lines, *border))
    longest = _longest(survey, build.joists.stock_lengths, build.saw.trim)
    if longest < LESS_THAN_ANY_STICK:
        reach = survey.access.longest_stick if survey.access else None
        stop = check("stick-too-short", "stop", value=reach or 0.0, limit=min(build.joists.stock_lengths),
                     where="access", have=length.write(reach or 0.0),
                     need=length.write(min(build.joists.stock_lengths)))
        return _Way(joist, board, build, layout, (), (stop,))
    room = deck.net.buffer(BUTTED, join_style="mitre").difference(shapely.union_all(bowls))
    members, checks = saw_members(layout.lines, build, plane, roof, longest, ground.outlets, room)
    ids = {m.id for m in members}
    stopped = any(c.status == "stop" for c in checks)
    if stopped or not any(m.role == "joist" for m in members):
        if not stopped:
            checks.append(check("no-joists", "stop", value=0, limit=1, unit="EA", where="frame"))
        return _Way(joist, board, build, layout, tuple(members), tuple(checks))
    added, placed = add_loads(survey, build, adjusted, layout)
    layout = replace(layout, lines=tuple(n for n in layout.lines if n.id in ids), added=added)
    weight = decking_weight(build.decking.species or "", build.decking.thickness, build.decking.width,
                            build.decking.gap)
    plf = {m.id: weight_plf(build, m) for m in members}
    load = design_loads(build, members, deck, weight.psf, plf)
    if not weight.known:
        checks.append(check("decking-weight", "caution", value=weight.psf, unit="psf", where="decking",
                            source=weight.source))
    return _Way(joist, board, build, layout, tuple(members), (*checks, *wide, *bare), load, placed,
                pads_about(members, layout, build, ground, load))


def _stand(way: _Way, setting: Setting, ground: Ground) -> Frame:
    """A way's members on their pads."""
    build = way.build
    if way.load is None:
        return Frame(way.members, (), 0.0, 0.0, way.checks)
    framed = support(way.members, way.layout, build, setting.plane, ground, way.load, setting.deck.net_sqft)
    worst = max(framed.supports, key=lambda s: s.reaction_most, default=None)
    heavy = placed_checks(way.placed, worst.member, worst.reaction_most) if worst else []
    graded, weak = (member_values(way.members, build, grade) for grade in (build.joists.grade, "No.3"))
    hung = [c for checks in (header_checks, border_checks)
            for c in checks(way.members, build.joists.spacing, way.load, graded, weak)]
    return replace(framed, checks=(*way.checks, *framed.checks, *heavy, *hung))


def weight_plf(build: Build, m: Member) -> float:
    """Weight of a member [lb/ft]: treated stock bought wet is heavier."""
    area = 0.0
    for a, b in m.sawn:
        s = np.r_[a, m.profile[(m.profile[:, 0] > a) & (m.profile[:, 0] < b), 0], b]
        d = m.depth(s)
        area += float((np.diff(s) * (d[1:] + d[:-1]) / 2).sum())
    mean = area / m.run
    dry = float(framing_weight_plf(build.joists.species, np.array(mean)))
    wet = FRESH_TREATED_PCF * m.thickness * mean / 144
    return max(dry, wet) if build.joists.moisture == "wet" else dry


def _longest(survey: Survey, sticks: tuple[float, ...], trim: float) -> float:
    """The longest piece that the sticks that reach the roof can give [in]."""
    reach = survey.access.longest_stick if survey.access and survey.access.longest_stick else math.inf
    return max((v - trim for v in sticks if v <= reach + 1e-6), default=0.0)


def _to_cut(survey: Survey, build: Build, f: Frame, decking: Decking) -> list[tuple[list[Piece], Stock]]:
    """The pieces and the sticks that reach the roof: for each size of lumber, and for the boards.

    Raises PieceTooLong where no stick gives a piece.
    """
    reach = survey.access.longest_stick if survey.access and survey.access.longest_stick else math.inf

    def usable(lengths: tuple[float, ...]) -> tuple[float, ...]:
        return tuple(v for v in lengths if v <= reach + 1e-6)

    jobs = []
    for size in sorted({*build.joists.sizes, *(m.size for m in f.members)}, key=lambda k: int(k.split("x")[1])):
        pieces = [Piece(m.id, "member", i, b - a, m.profile_of(a, b)) for m in f.members if m.size == size
                  for i, (a, b) in enumerate(m.sawn, 1)]
        prices = (build.joists.stock_prices or {}).get(size)
        jobs.append((pieces, Stock(f"lumber/{size}", size, usable(build.joists.stock_lengths), prices)))
    pieces = [Piece(b.id, "board", 1, b.length) for b in decking.boards]
    jobs.append((pieces, Stock(f"decking/{build.decking.item}", build.decking.item,
                               usable(build.decking.stock_lengths), build.decking.stock_prices)))
    for pieces, stock in jobs:
        check_lengths(pieces, stock, build.saw.trim)
    return jobs


def weight_up(build: Build, f: Frame, deck: Deck) -> float:
    """What goes up: decking and framing [lb]."""
    psf = decking_weight(build.decking.species or "", build.decking.thickness, build.decking.width,
                         build.decking.gap).psf
    return psf * deck.net_sqft + sum(weight_plf(build, m) * m.run / 12 for m in f.members)
