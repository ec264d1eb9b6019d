"""Loads on single places of the deck, drifted snow and heavy things, shared out to the members that carry them.

Stage: layout -> loads -> supports. The tributary strips that share out the deck share these out too.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from shapely import LineString, Polygon, make_valid
from shapely.affinity import rotate
from shapely.geometry.base import BaseGeometry
from shapely.ops import unary_union

from framing.engine import length
from framing.engine.adjustment import Adjustment
from framing.engine.checks import Check, check
from framing.engine.documents import Build, Survey
from framing.engine.layout import Layout
from framing.engine.tributary import Added
from framing.reference import loads as reference

Array = NDArray[np.float64]

DRIFT_STEPS = 12  # even layers that a drift's triangle is made of; its whole weight is exact
SCRAP = 1.0  # less than this on the deck is nothing [lb]


@dataclass(frozen=True)
class Heavy:
    """One heavy thing: where, how much of it lies on the deck [sq in], its load [psf]."""

    where: str
    area: float
    psf: float

    @property
    def pounds(self) -> float:
        return self.area / 144 * self.psf


@dataclass(frozen=True)
class Placed:
    """What lies on single places: the heavy things, and snow that drifts `against` a wall, its reach [in] and weight
    on the deck [lb]."""

    heavy: tuple[Heavy, ...] = ()
    against: str = ""
    reach: float = 0.0
    drift: float = 0.0


def add_loads(survey: Survey, build: Build, adjusted: Adjustment, layout: Layout) -> tuple[Added, Placed]:
    """Heavy things and drifted snow, shared out to the members of a layout; nothing where the build has neither.

    Drifted snow is a triangle, most at the wall, made of even layers that reach further and further; it comes on top
    of the greater of live load and snow.
    """
    shapes: list[tuple[BaseGeometry, float, int]] = []  # each evenly loaded [psf], staying (0) or not (1)
    heavy = []
    deck = rotate(layout.tributary.net, layout.direction, origin=(0, 0))
    for number, thing in enumerate(build.loads.heavy, 1):
        points = [(adjusted.points[p].x, adjusted.points[p].y) if isinstance(p, str) else p for p in thing.points]
        shape = make_valid(Polygon(points))
        heavy.append(Heavy(f"heavy load {number}", float(shape.intersection(deck).area), thing.psf))
        shapes.append((shape, thing.psf, 0))
    peak, reach, against = build.loads.drift, 0.0, ""
    if peak > 0:
        walls, against = _walls(survey, adjusted)
        reach = reference.drift_width(peak, build.loads.snow)
        layers = (np.arange(DRIFT_STEPS) + 0.5) * reach / DRIFT_STEPS
        shapes += [(walls.buffer(float(far)), peak / DRIFT_STEPS, 1) for far in layers]
    snow = sum(float(s.intersection(deck).area) / 144 * psf for s, psf, kind in shapes if kind == 1)
    return _shared(layout, shapes), Placed(tuple(heavy), against, reach, snow)


def _walls(survey: Survey, adjusted: Adjustment) -> tuple[BaseGeometry, str]:
    """What snow drifts against: the house; where the survey has none, every parapet; else every side."""
    ring = [*survey.corners, survey.corners[0]]
    sides, words = list(zip(ring[:-1], ring[1:], strict=True)), "every side, none being told"
    for kind, of in (("parapet", "every parapet, no house wall being told"), ("house", "the house wall")):
        told = [(e.from_, e.to) for e in survey.edges if e.against == kind]
        sides, words = (told, of) if told else (sides, words)
    lines = [LineString([(adjusted.points[n].x, adjusted.points[n].y) for n in side]) for side in sides
             if all(n in adjusted.points for n in side)]
    return unary_union(lines), words


def _shared(layout: Layout, shapes: Iterable[tuple[BaseGeometry, float, int]]) -> Added:
    line: dict[str, Array] = {}
    hung: dict[str, list[tuple[float, float, float]]] = {}
    for shape, psf, kind in shapes:
        width, points = layout.carried(shape)
        for member, w in width.items():
            line.setdefault(member, np.zeros((2, len(w))))[kind] += psf * w / 144
            hung.setdefault(member, []).extend(
                (s, *((psf * area / 144, 0.0) if kind == 0 else (0.0, psf * area / 144))) for s, area in points[member])
    return Added(line, {member: np.array(rows).reshape(-1, 3) for member, rows in hung.items()})


def basis_checks(build: Build) -> list[Check]:
    """What the live load stands on."""
    asked, live = build.loads.basis, build.loads.live
    if asked is None:
        return [check("not-measured", "caution", unit="EA", where="build",
                      what=f"what the live load of {live:g} psf stands on (loads.basis): not given; dwelling-40, "
                      "occupiable-60 and assembly-100 are known, or say which rule and where it is written")]
    basis = reference.BASES.get(asked)
    if basis is None:
        return [check("live-load-basis", "note", value=live, unit="psf", where="build", source=asked,
                      words=f"it stands on: {asked}", acknowledge=False)]
    low = live < basis.live - 1e-9
    return [check("live-load-basis", "caution" if low else "ok", value=live, limit=basis.live, unit="psf",
                  where="build", source=basis.source, acknowledge=low,
                  words=f"{basis.words} is designed for {basis.live:g} psf or more")]


def placed_checks(placed: Placed, worst: str, most: float) -> list[Check]:
    """What heavy things and drifted snow weigh, where, and the pad that carries most, `worst` with `most` [lb]."""
    found = []
    if placed.heavy:
        off = [h.where for h in placed.heavy if h.pounds < SCRAP]
        total, heaviest = sum(h.pounds for h in placed.heavy), max(placed.heavy, key=lambda h: h.pounds)
        found.append(check(
            "heavy-load", "caution", value=total, unit="LBR", where=heaviest.where, acknowledge=True,
            count=len(placed.heavy), most=f"{heaviest.pounds:.0f}", psf=f"{heaviest.psf:g}",
            area=f"{heaviest.area / 144:.1f}", worst=worst, pounds=f"{most:.0f}",
            off=f" {', '.join(off)} not on the deck." if off else ""))
    if placed.reach:
        found.append(check(
            "snow-drift", "caution", value=placed.drift, unit="LBR", where=placed.against, acknowledge=True,
            source=reference.DRIFT_SOURCE, reach=length.write(placed.reach), worst=worst, pounds=f"{most:.0f}"))
    return found
