"""What is said of pads and members once they stand: clearance, bearing, strength, and that nothing is lost.

A part of the supports stage.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import Point, STRtree

from framing.engine import length
from framing.engine.checks import Check, check
from framing.engine.documents import Build
from framing.engine.keep_outs import HAIR, Ground
from framing.engine.members import Member, over_most
from framing.engine.pads import LEAST_BETWEEN, Piece, Support, corners_of
from framing.engine.structure import ON_ITS_PAD, Load, Solution, Strength, allowable_pressure, bearing_area, free_tips
from framing.reference import clearances, insulation, loads
from framing.reference.design_values import REGRADE

Array = NDArray[np.float64]
Shapes = NDArray[np.object_]

TOUCH = 0.01  # what is over by less only touches [in]
COARSE = 1 / 32  # a stack may miss the roof by this [in] (documents.md, supports)


def spacing_checks(pieces: Sequence[Piece], asked: float | str) -> list[Check]:
    """The spacing that the build asks for, where pads and the water between them leave no room to keep it."""
    if asked == "auto":
        return []
    wide = [float(np.diff(p.pads).max()) for p in pieces]
    k = int(np.argmax(wide))
    if wide[k] <= float(asked) + 0.05:
        return []
    return [check("pad-spacing", "caution", value=wide[k], limit=float(asked), where=pieces[k].member.id,
                  least=length.write(LEAST_BETWEEN))]


def pressure_limits(ground: Ground) -> tuple[float, float]:
    """Dead and total pressure [psi] that the insulation may stand; no limit where its strength is not known."""
    return allowable_pressure(ground.strength) if ground.strength is not None else (math.inf, math.inf)


def _place_words(s: Support) -> str:
    return f"{s.member}, {length.write(s.s)} in from end A"


def packed_up(supports: Sequence[Support], members: Mapping[str, Member], build: Build) -> list[Check]:
    """The packers under wood that is not deep enough; where no pad has one, what else stands off the roof too far."""
    packed = [s for s in supports if s.packer > 0]
    if not packed:
        return over_most(list(members.values()), build)
    thickest, most = max(packed, key=lambda s: s.packer), build.supports.packer_most
    where = _place_words(thickest)
    return [check("packed-up", "caution", value=thickest.packer, limit=most, where=where, told=(
        f"{len(packed)} pad(s) carry a packer under wood that is not deep enough, the thickest {thickest.packer:g} in "
        f"under {where} (up to {most:g} in is allowed): treated wood, wider than it is thick, fixed to the member so "
        "that it cannot slide out."))]


def pad_checks(supports: Sequence[Support], members: Mapping[str, Member], build: Build,
                ground: Ground) -> list[Check]:
    found = packed_up(supports, members, build)
    limits = pressure_limits(ground)
    worst = max(supports, key=lambda s: abs(s.residual))
    step = min(build.supports.shim_sizes)
    found.append(check("shim-too-coarse", "caution" if abs(worst.residual) > COARSE + 1e-9 else "ok",
                       value=abs(worst.residual), limit=COARSE, where=_place_words(worst),
                       step=length.write(step, 32)))
    low = min(supports, key=lambda s: s.clear_gap)
    tight = low.clear_gap < clearances.CLEAR_GAP - 1e-9
    found.append(check("clear-gap", "caution" if tight else "ok", value=low.clear_gap, limit=clearances.CLEAR_GAP,
                       where=_place_words(low), gap=length.write(low.clear_gap, 32)))
    bears = {s: bearing_area(s.pad_size, ground.cover) for s in supports}
    hard = max(supports, key=lambda s: max(s.reaction_dead / limits[0], s.reaction_most / limits[1]) / bears[s]
               if ground.strength is not None else s.pressure)
    where = _place_words(hard)
    if ground.strength is None:
        found.append(check("bearing", "caution", value=hard.pressure, limit=None, unit="psi", where=where,
                           words=f"The roof's insulation strength is not known; {hard.pressure:.1f} psi asks for one "
                           f"rated {hard.pressure / insulation.TOTAL:.0f} psi or more"))
    else:
        stays = hard.reaction_dead / limits[0] > hard.reaction_most / limits[1]
        load, limit = (hard.reaction_dead, limits[0]) if stays else (hard.reaction_most, limits[1])
        pressed = load / bears[hard]
        over = pressed > limit + 1e-9
        share = f"{100 * (insulation.SUSTAINED if stays else insulation.TOTAL):.0f} %"
        kind = "load that stays" if stays else "all load"
        board = f", a {length.write(ground.cover)} in cover board spreading it" if ground.cover else ""
        remedy = "larger pad" if ground.cover else "pad or a cover board"
        found.append(check("bearing", "caution" if over else "ok", value=pressed, limit=limit, unit="psi",
                           where=where, source=insulation.SOURCE, words=(
                               f"That is {kind}{board}. No pad at hand brings it under {share} of the rated "
                               f"{ground.strength:g} psi; {load / limit:.0f} sq in of {remedy} would be needed")
                           if over else f"That is {kind}{board}; {share} of the rated {ground.strength:g} psi is taken "
                           "as its limit"))
    pads = shapely.polygons(corners_of(supports, members))
    found += [*_near_outlets(supports, pads, ground), *_by_wall_water(supports, pads, ground),
              *_overhangs(supports, members)]
    off = [(min(float(v.distance(Point(s.at))) for v in ground.valleys) - max(s.pad_size) / 2, s) for s in supports
           if ground.valleys]
    wet = [v for v in off if v[0] < clearances.VALLEY - 1e-6]
    if wet:
        away, closest = min(wet, key=lambda v: v[0])
        found.append(check("pad-in-valley", "caution", value=away, limit=clearances.VALLEY, where=closest.member,
                           count=len(wet)))
    boxes = shapely.buffer(pads, -HAIR, join_style="mitre")
    out = np.flatnonzero(~shapely.covers(ground.inside, boxes))
    if len(out):
        found.append(check("pad-at-wall", "caution", value=len(out), limit=0.0, unit="EA",
                           where=supports[out[0]].member, count=len(out)))
    boxes = shapely.buffer(pads, -TOUCH / 2, join_style="mitre")
    i, j = STRtree(boxes).query(boxes, predicate="intersects")
    i, j = i[i < j], j[i < j]
    if len(i):
        k = int(np.argmax(shapely.area(shapely.intersection(boxes[i], boxes[j]))))
        found.append(check("pads-meet", "caution", value=len(i), limit=0.0, unit="EA",
                           where=f"{supports[i[k]].member} and {supports[j[k]].member}", count=len(i)))
    return found


def _near_outlets(supports: Sequence[Support], pads: Shapes, ground: Ground) -> list[Check]:
    """Pads that come within 12 in of an outlet: by the centre a caution, where only an edge does it is told."""
    if not len(ground.outlets):
        return []
    outlets = shapely.points(ground.outlets)
    edge = shapely.distance(pads[:, None], outlets).min(axis=1)
    centre = shapely.distance(shapely.points([s.at for s in supports])[:, None], outlets).min(axis=1)
    if (edge >= clearances.OUTLET - 1e-3).all():
        return []
    near = centre < clearances.OUTLET - 1e-6
    k = int(np.argmin(centre if near.any() else edge))
    return [check("pad-near-outlet", "caution" if near.any() else "ok", value=float(centre[k]),
                  limit=clearances.OUTLET, where=supports[k].member, count=int(near.sum()),
                  edges=int((edge < clearances.OUTLET - 1e-3).sum()), away=length.write(float(centre[k])),
                  edge=length.write(float(edge[k])))]


def _by_wall_water(supports: Sequence[Support], pads: Shapes, ground: Ground) -> list[Check]:
    """Pads nearer than 2 in to a wall that the roof under them falls to or along: water runs there."""
    if not len(ground.walls):
        return []
    at = np.array([s.at for s in supports])
    facets = ground.roof.facets
    fall = -12 * np.array([[f.sx, f.sy] for f in facets])[ground.roof.facet_at(at)]  # downhill [in/ft]
    run = ground.walls[:, 1] - ground.walls[:, 0]
    square = np.stack([-run[:, 1], run[:, 0]], axis=1) / np.hypot(*run.T)[:, None]
    off = ((at[:, None] - ground.walls[None, :, 0]) * square).sum(axis=2)
    toward = -np.sign(off) * (fall @ square.T)  # fall toward each wall, (pads, walls)
    away = shapely.distance(pads[:, None], shapely.linestrings(ground.walls))
    away = np.where(toward > -clearances.FALLS_AWAY, away, np.inf).min(axis=1)
    near = away < clearances.WALL_WATER - 1e-3
    if not near.any():
        return []
    k = int(np.argmin(away))
    return [check("pad-by-wall-water", "caution", value=float(away[k]), limit=clearances.WALL_WATER,
                  where=supports[k].member, count=int(near.sum()))]


def _overhangs(supports: Sequence[Support], members: Mapping[str, Member]) -> list[Check]:
    """Ends that run past their last pad by more than a quarter of the span beside it; an end on its pad does not."""
    worst, words = 0.0, ("", 0.0, 0.0)
    rows: dict[str, list[Support]] = {}
    for s in supports:
        rows.setdefault(s.member, []).append(s)
    for name, row in rows.items():
        run = members[name].line.length
        for end, past, back in ((row[0], row[0].s, row[1].s - row[0].s),
                                (row[-1], run - row[-1].s, row[-1].s - row[-2].s)):
            more = past - clearances.OVERHANG * back
            if past > end.pad_size[0] / 2 + ON_ITS_PAD and more > max(worst, TOUCH):
                worst, words = more, (name, past, back)
    if not worst:
        return []
    name, past, back = words
    return [check("overhang", "caution", value=past, limit=clearances.OVERHANG * back, where=name,
                  back=f"{back:.1f}")]


def strength_checks(pieces: Sequence[Piece], solution: Solution, strong: Strength, weak: Strength,
                     build: Build) -> list[Check]:
    """Strength at the stamped grade and at No. 3, which ripped wood falls back to until it is graded again."""
    found = []
    joists = build.joists
    for rule, ratio in strong.ratios.items():
        k = int(np.argmax(ratio))
        ok = bool(ratio[k] <= 1 + 1e-9)
        if rule == "tip_load" or (rule == "notch" and not ratio.any()):  # told below; no end is notched
            continue
        found.append(check(f"strength-{rule.replace('_', '-')}", "ok" if ok else "stop", value=float(ratio[k]),
                           limit=1.0, unit="C62", where=pieces[k].member.id, grade=joists.grade,
                           species=joists.species, percent=100 * float(ratio[k])))
    found += tip_checks(pieces, solution, strong, min(a for a, _ in build.supports.pad_sizes))
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


def tip_checks(pieces: Sequence[Piece], solution: Solution, strong: Strength, pad_length: float) -> list[Check]:
    """A person's weight on every free tip: what it uses of the wood there, and whether a pad behind it lifts."""
    tip = solution.tip
    free = free_tips(tip.overhang, np.full(len(pieces), pad_length))
    if not free.any():
        return []
    ratio = strong.tip_load.ratio
    k = int(np.argmax(ratio))
    side = int(strong.tip_load.s[k] > 0)
    pull = np.where(free > 0, -tip.lift, 0.0).max(axis=1)
    tips = (pull > 1) & np.array([len(p.pads) == 2 for p in pieces])  # with a third pad it stays on two
    i = int(np.argmax(np.where(tips, pull, 0.0) if tips.any() else pull))
    passes, lifts = bool(ratio[k] <= 1 + 1e-9), pull[i] > 1
    return [check("tip-load", "stop" if not passes else "caution" if tips.any() else "note" if lifts else "ok",
                  value=float(ratio[k]), limit=1.0,
                  unit="C62", where=pieces[k].member.id, source=loads.TIP_SOURCE, pounds=f"{tip.load:.0f}",
                  overhang=length.write(float(tip.overhang[k, side])), percent=100 * float(ratio[k]),
                  lifts=f" On {pieces[i].member.id} it lifts a pad behind it by {pull[i]:.0f} lb, "
                  + ("which tips it: hold it down." if tips.any() else "which decking and rim hold down.")
                  if lifts else "")]


def load_path(supports: Sequence[Support], load: Load, net_sqft: float) -> Check:
    """What the pads carry together against what the deck weighs and bears: nothing lost, nothing counted twice."""
    carried, asked = sum(s.reaction for s in supports), (load.dead + load.live) * net_sqft
    return check("load-path", "ok" if abs(carried / asked - 1) <= 0.02 else "stop", value=carried, limit=asked,
                 unit="LBR", where="deck")
