"""Lift-out panels: where the decking must come up again without tools, so that outlets can be reached and cleaned.

Stage: layout -> panels -> boards. Every outlet in the deck or close to it has one unless the build refuses it with a
reason; obstacles have one where the build asks.
"""

from __future__ import annotations

from dataclasses import dataclass

from shapely import Point, Polygon
from shapely.ops import nearest_points

from framing.engine.adjustment import Adjustment
from framing.engine.checks import Check, check
from framing.engine.documents import Build, Survey
from framing.engine.layout import Deck, obstacle_shape
from framing.engine.openings import STICK
from framing.reference import clearances


@dataclass(frozen=True)
class Panel:
    """One panel asked for: over what, its middle in plan and its size along x and y [in]."""

    over: str
    at: tuple[float, float]
    size: tuple[float, float]


def find_panels(survey: Survey, build: Build, adjusted: Adjustment, deck: Deck) -> tuple[list[Panel], list[Check]]:
    """The panels of the deck. An outlet just outside the deck has its panel at the deck's nearest edge."""
    asked = {p.over: p for p in build.access_panels}
    outlets = {o.point: Point(adjusted.points[o.point].x, adjusted.points[o.point].y) for o in survey.outlets
               if o.point in adjusted.points}
    near = {name: at for name, at in outlets.items() if deck.outline.distance(at) <= clearances.PANEL_REACH}
    sizes = {name: (clearances.PANEL, clearances.PANEL) for name in near}
    places: dict[str, Point] = dict(near)
    for o in survey.obstacles:
        if o.name in asked and asked[o.name].none is None:
            shape = obstacle_shape(o, adjusted)
            if deck.outline.intersects(shape):
                places[o.name] = shape.centroid
                x0, y0, x1, y1 = shape.bounds
                sizes[o.name] = (x1 - x0 + clearances.PANEL / 2, y1 - y0 + clearances.PANEL / 2)
    panels, checks = [], []
    for name, at in places.items():
        wish = asked.get(name)
        if wish is not None and wish.none is not None:
            checks.append(check("panel-refused", "caution", value=0, limit=1, unit="EA", where=name, reason=wish.none,
                                size=clearances.PANEL))
            continue
        if not deck.net.contains(at):
            at = nearest_points(deck.net, at)[0]
        panels.append(Panel(name, (at.x, at.y), (wish.size if wish and wish.size else sizes[name])))
    beyond = [name for name, p in asked.items() if p.none is None and name not in places]
    if beyond:
        checks.append(check("panel-off-deck", "caution", value=len(beyond), limit=0, unit="EA",
                            where=", ".join(beyond), reach=clearances.PANEL_REACH))
    if panels:
        checks.append(check("panels", "note", value=len(panels), unit="EA", size=clearances.PANEL,
                            where=", ".join(p.over for p in panels)))
    return panels, checks


def drain_bowls(survey: Survey, adjusted: Adjustment, deck: Deck, spacing: float) -> tuple[list[Polygon], list[Check]]:
    """The drains inside the deck, each with the ring round it that wood keeps out of as far as the spacing [in] lets
    it; a bowl wider than what is free between two joists is told."""
    bowls, wide = [], []
    for o in survey.outlets:
        p = adjusted.points.get(o.point)
        if o.kind != "drain" or p is None or not deck.outline.contains(Point(p.x, p.y)):
            continue
        across = o.diameter or clearances.BOWL
        beside = min(max((spacing - STICK - across) / 2, 0.0), clearances.BESIDE_BOWL)
        bowls.append(Point(p.x, p.y).buffer(across / 2 + beside))
        if across + STICK > spacing + 1e-9:
            wide.append((across + STICK, o.point))
    if not wide:
        return bowls, []
    apart, where = max(wide)
    return bowls, [check("bowl-span", "caution", value=apart, limit=spacing, where=where)]
