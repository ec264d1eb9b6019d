"""Lapped splices: what they change beside the pieces themselves, told with numbers, and what pads bear under them.

A part of the members and supports stages. Two lengths that pass each other side by side over a pad, fixed through, are
a hinge for bending and sag; for what pads and wood bear the member counts as running through as well, and the worse of
both is taken. A lap's double stiffness is left out of that.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from framing.engine import length
from framing.engine.beams import Solution
from framing.engine.checks import Check, check
from framing.engine.documents import Build
from framing.engine.layout import Line
from framing.engine.members import Member, heights
from framing.engine.openings import STICK
from framing.engine.pads import Piece
from framing.engine.plane import Plane
from framing.engine.roof import Roof
from framing.engine.structure import Beam, Strength, Worst
from framing.reference.production import FIXINGS_ACROSS_LAP, LAP_FIXING_SPACING

Array = NDArray[np.float64]

ALONG = 0.9  # cosine; what runs so with the joists lies beside them
SAME = 1e-6  # two places on a member closer than this are one [in]
UNFELT = 1 / 32  # as much as a stack may miss the roof by [in] (documents.md, supports)


@dataclass(frozen=True)
class Through:
    """Lapped members as beams that run through their splices, solved on the pads that their pieces stand on."""

    members: tuple[Piece, ...] = ()
    beams: tuple[Beam, ...] = ()
    solution: Solution | None = None

    def reactions(self) -> dict[tuple[str, float], Array]:
        """At (member, s to the millionth of an inch) with all load, with dead load and at most, (3,) [lb]."""
        if self.solution is None:
            return {}
        r = self.solution
        return {(p.member.id, round(float(s), 6)): np.array(row)
                for k, p in enumerate(self.members)
                for s, *row in zip(p.pads, r.reaction[k], r.reaction_dead[k], r.reaction_most[k], strict=True)}


def whole_members(pieces: Sequence[Piece]) -> list[Piece]:
    """Every lapped member in one piece, on all the pads of its pieces."""
    pads: dict[str, list[Array]] = {}
    members = {p.member.id: p.member for p in pieces if p.member.lap}
    for p in pieces:
        if p.member.lap:
            pads.setdefault(p.member.id, []).append(np.round(p.pads, 6))
    return [Piece(m, 0.0, m.line.length, np.unique(np.concatenate(pads[name]))) for name, m in members.items()]


def with_through(solution: Solution, strong: Strength, pieces: Sequence[Piece], through: Through, pad: float,
                 Fcp: Array) -> tuple[Solution, Strength]:
    """The least reactions and the bearing of wood on pads, where a member that runs through has the worse of them.

    pad : length of pad along the member [in]; Fcp : (pieces,) [psi]
    """
    if through.solution is None:
        return solution, strong
    lifts = {(p.member.id, round(float(s), 6)): float(v) for k, p in enumerate(through.members)
             for s, v in zip(p.pads, through.solution.lift[k], strict=True)}
    lift = [np.minimum(own, [lifts.get((p.member.id, round(float(s), 6)), np.inf) for s in p.pads])
            for p, own in zip(pieces, solution.lift, strict=True)]
    first = {p.member.id: k for k, p in reversed(list(enumerate(pieces)))}
    worst = Worst(*(v.copy() for v in (strong.bearing.ratio, strong.bearing.demand, strong.bearing.limit,
                                       strong.bearing.s)))
    for k, p in enumerate(through.members):
        i, stress = first[p.member.id], bearing_stress(p, through.solution.reaction_most[k], pad)
        at = int(np.argmax(stress))
        if stress[at] / Fcp[i] > worst.ratio[i]:
            worst.ratio[i], worst.demand[i], worst.limit[i], worst.s[i] = (
                stress[at] / Fcp[i], stress[at], Fcp[i], p.pads[at])
    return replace(solution, lift=lift), replace(strong, bearing=worst)


def bearing_stress(p: Piece, reaction: Array, pad: float) -> Array:
    """Wood on the pads of a lapped member (n,) [psi]: over a splice both lengths lie on the pad, all along it."""
    run = p.end - p.start
    along = np.minimum(p.pads + pad / 2, run) - np.maximum(p.pads - pad / 2, 0)
    both = (np.abs(p.pads[:, None] - np.array(p.member.splices)) < SAME).any(axis=1)
    return np.asarray(reaction / (p.member.thickness * np.where(both, 2, 1) * along))


def under_boards(lines: Sequence[Line], members: Sequence[Member], width: float) -> list[Line]:
    """The lines that boards of a `width` [in] are fixed along: of a lapped member each piece's own, beside the
    member's. Where the next piece lies beside it, a board's width of a piece's end is left to that one, so that no
    board ends half over the end of a piece."""
    lapped = {m.id: m for m in members if m.lap}
    return [piece for n in lines for piece in (_pieces(lapped[n.id], width) if n.id in lapped else [n])]


def _pieces(m: Member, width: float = 0.0) -> list[Line]:
    """The centre lines of a lapped member's pieces, named by their numbers, `width` [in] shorter where they lap."""
    along = np.subtract(m.line.end, m.line.start) / m.line.length
    shorter = np.full((len(m.centre_lines), 2), width)
    shorter[0, 0] = shorter[-1, 1] = 0.0
    ends = m.centre_lines + shorter[:, :, None] * np.array([along, -along])
    return [Line(f"{m.id}/{k}", m.role, (float(ax), float(ay)), (float(bx), float(by)))
            for k, ((ax, ay), (bx, by)) in enumerate(ends, 1)]


def fixings(m: Member) -> int:
    """Structural screws through one lap of a member: rows of them from end to end of it."""
    return FIXINGS_ACROSS_LAP * (int(np.ceil(2 * m.lap / LAP_FIXING_SPACING)) + 1)


def lap_checks(members: Sequence[Member], build: Build, plane: Plane, roof: Roof, limit: float, source: str
               ) -> list[Check]:
    """What whoever sets lapped members must know: how they lie, how far boards span beside them, what gap is left.

    limit : how far boards may span [in], by `source`
    """
    lapped = [m for m in members if m.lap]
    if not lapped:
        return []
    first, half = lapped[0], lapped[0].thickness / 2
    found = [check("lapped", "note", value=sum(len(m.splices) for m in lapped), unit="EA", where=first.id,
                   count=sum(len(m.splices) for m in lapped), past=length.write(first.lap),
                   half=length.write(half), screws=fixings(first), both=length.write(2 * half))]
    apart, where = _farthest_apart(members, limit + STICK)
    if where:
        found.append(check("lap-spacing", "caution" if apart > limit + UNFELT else "ok", value=apart, limit=limit,
                           where=where, source=source, apart=length.write(apart), most=length.write(limit),
                           lines=length.write(build.joists.spacing)))
    gap, where = _least_gap(lapped, build, plane, roof)
    least = build.supports.clear_gap.least
    found.append(check("lap-gap", "caution" if gap < least - UNFELT else "ok", value=gap, limit=least, where=where))
    return found


def lap_excess(checks: Sequence[Check]) -> float:
    """By how much lapped lengths stand further apart than boards may span [in]; 0 where that cannot be felt."""
    too_far = [c for c in checks if c.code == "lap-spacing" and c.status == "caution"]
    return max(((c.value or 0.0) - (c.limit or 0.0) for c in too_far), default=0.0)


def _farthest_apart(members: Sequence[Member], beyond: float) -> tuple[float, str]:
    """How far pieces of neighbouring members stand apart at most where laps set them further apart than their lines
    are [in], and which; no words where laps do that nowhere. Lines further apart than `beyond` have an opening between.
    """
    joist = next(m for m in members if m.lap).line
    along = np.subtract(joist.end, joist.start) / joist.length
    turn = np.stack([along, [-along[1], along[0]]], axis=1)

    def turned(ends: Array) -> Array:
        xy = ends @ turn
        return np.asarray(xy[np.argsort(xy[:, 0])])

    standing = [m for m in members if abs(np.subtract(m.line.end, m.line.start) @ along) > ALONG * m.line.length]
    pieces = [(m.id, turned(ends), turned(np.array([m.line.start, m.line.end])))
              for m in standing for ends in m.centre_lines]
    x = np.array([ends[:, 0] for _, ends, _ in pieces])
    cuts = np.unique(x)
    cuts = cuts[np.diff(cuts, prepend=-np.inf) > 2 * SAME]
    worst, where = 0.0, ""
    # pieces that are not parallel stand furthest apart at an end of a stretch, where one of them has just ended
    for at in np.r_[cuts[:-1] + SAME, cuts[1:] - SAME]:
        here = np.flatnonzero((x[:, 0] < at) & (at < x[:, 1]))
        y = np.array([np.interp(at, *pieces[k][1].T) for k in here])
        line = np.array([np.interp(at, *pieces[k][2].T) for k in here])
        order = np.argsort(y)
        apart = np.diff(y[order])
        lines = np.diff(line[order])
        apart[(apart < lines + UNFELT) | (lines > beyond)] = 0.0
        if len(apart) and apart.max() > worst:
            i = int(np.argmax(apart))
            worst, where = float(apart[i]), " and ".join(pieces[here[order[n]]][0] for n in (i, i + 1))
    return worst, where


def _least_gap(lapped: Sequence[Member], build: Build, plane: Plane, roof: Roof) -> tuple[float, str]:
    """The least height of wood over the roof under lapped pieces, where they lie [in], and whose.

    Read at every kink of roof and profile."""
    lines = [line for m in lapped for line in _pieces(m)]
    owners = [(m, start) for m in lapped for start, _ in m.sawn]
    worst, where = np.inf, ""
    for line, (m, start), (s, height) in zip(lines, owners, heights(lines, build, plane, roof), strict=True):
        places = np.union1d(s, np.clip(m.profile[:, 0] - start, 0, line.length))
        gap = float((np.interp(places, s, height) - m.depth(places + start)).min())
        if gap < worst:
            worst, where = gap, line.id
    return worst, where
