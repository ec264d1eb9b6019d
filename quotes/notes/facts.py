"""What the rules of the notes may ask: the survey, the build, the framing, and what is agreed with the customer."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from functools import cached_property
from typing import Any, Literal

import shapely
from shapely import LineString, Point, Polygon

from framing.engine import length
from framing.reference.guards import GUARD_REACH

ON_ROOF = ("roof", "ridge", "valley", "outlet", "paver", "ballast", "old-deck")
ON_EDGE = 0.5  # a roof's corner this near to a side lies on it [in]


@dataclass(frozen=True)
class Contract:
    """What only the office knows of a contract. What is not known is empty or None.

    `agreed_where`: a key of `consumer_law.WHERE_AGREED`. `financed`: against the home. `overburden_approved`:
    whoever made the membrane and holds the roof's warranty agreed in writing to what is laid on it.
    """

    jurisdiction: str = ""
    price: Decimal | None = None
    license_number: str = ""
    roof_owner: Literal["unknown", "customer", "board", "landlord"] = "unknown"
    consent_needed: bool | None = None
    consent_given_on: str = ""
    agreed_where: str = "unknown"
    financed: bool | None = None
    year_built: int | None = None
    electronic: bool = True
    overburden_approved: bool = False


@dataclass(frozen=True)
class Facts:
    """What the rules may ask: the three documents as they were stored, lengths read into inches."""

    survey: Mapping[str, Any]
    build: Mapping[str, Any]
    framing: Mapping[str, Any]
    priced: frozenset[str] = frozenset()  # kinds of recipes that the price holds
    contract: Contract | None = None

    def inches(self, value: Any, document: Mapping[str, Any] | None = None) -> float:
        return float(length.read(value, (self.survey if document is None else document).get("unit", "in")))

    @property
    def adjustment(self) -> Mapping[str, Any]:
        return self.framing.get("survey_adjustment") or {}

    @property
    def roof(self) -> Mapping[str, Any]:
        return self.survey.get("roof") or {}

    @property
    def site(self) -> Mapping[str, Any]:
        return self.survey.get("site") or {}

    @property
    def jurisdiction(self) -> str:
        """Who issues the permit, as surveyed, else as the job has it; empty where nobody said."""
        return str(self.site.get("jurisdiction") or (self.contract.jurisdiction if self.contract else ""))

    @property
    def rain(self) -> Mapping[str, Any]:
        return self.build.get("rain") or {}

    @property
    def outlets(self) -> list[Mapping[str, Any]]:
        return list(self.survey.get("outlets") or ())

    @property
    def edges(self) -> list[Mapping[str, Any]]:
        return list(self.survey.get("edges") or ())

    @property
    def level_sigma(self) -> float:
        """Standard error of a level reading; 1/16 in where the survey gives none. [in]"""
        return self.inches(self.survey["level_sigma"]) if "level_sigma" in self.survey else 0.0625

    @property
    def supports(self) -> list[Mapping[str, Any]]:
        return list(self.framing.get("supports") or ())

    @cached_property
    def gaps(self) -> list[tuple[float, Mapping[str, Any]]]:
        """Clearance over the roof at every support, least first. [in]"""
        return sorted(((float(s["clear_gap"]), s) for s in self.supports), key=lambda pair: pair[0])

    @cached_property
    def points(self) -> dict[str, tuple[float, float]]:
        """Where the survey's points lie. [in]"""
        return {name: (float(p["x"]), float(p["y"])) for name, p in (self.adjustment.get("points") or {}).items()}

    @cached_property
    def facets(self) -> list[tuple[Polygon, Mapping[str, float]]]:
        """The roof's planes and where each lies."""
        found = (self.framing.get("roof") or {}).get("facets") or ()
        return [(Polygon(facet["polygon"]), facet["plane"]) for facet in found]

    @cached_property
    def deck(self) -> Polygon | None:
        """The deck's outline; None where nothing was laid out."""
        outline = self.framing.get("outline") or ()
        return Polygon(outline) if len(outline) > 2 else None

    def facet_at(self, x: float, y: float) -> Mapping[str, float]:
        """The plane of the roof at a place, or the nearest."""
        return min(self.facets, key=lambda facet: facet[0].distance(Point(x, y)))[1]

    def surface_over_roof(self, x: float, y: float) -> float | None:
        """How high the finished surface lies over the roof's plane at a place. [in]"""
        plane = self.framing.get("plane")
        if not plane or not self.facets:
            return None
        return _height(plane, x, y) - _height(self.facet_at(x, y), x, y)

    def side(self, edge: Mapping[str, Any]) -> LineString | None:
        """A side of the roof; None where a corner of it has no place."""
        ends = [self.points.get(edge.get("from", "")), self.points.get(edge.get("to", ""))]
        return LineString(ends) if all(ends) and ends[0] != ends[1] else None

    def surface_along(self, edge: Mapping[str, Any]) -> list[float]:
        """How high the finished surface lies over the roof at each place where either bends along a side. [in]"""
        side = self.side(edge)
        if side is None:
            return []
        corners = {corner for facet, _ in self.facets for corner in facet.exterior.coords}
        on_it = [xy for xy in sorted(corners) if side.distance(Point(xy)) < ON_EDGE]
        found = (self.surface_over_roof(x, y) for x, y in [*side.coords, *on_it])
        return [height for height in found if height is not None]

    def is_near_deck(self, edge: Mapping[str, Any]) -> bool:
        """Whether a side lies within a guard's reach of the deck; also where that is not known."""
        side = self.side(edge)
        return side is None or self.deck is None or self.deck.distance(side) <= GUARD_REACH

    @cached_property
    def shots(self) -> shapely.MultiPoint:
        """Places whose height on the roof was read."""
        read = {level["point"] for level in self.survey.get("levels") or () if level.get("on") in ON_ROOF}
        return shapely.MultiPoint([self.points[name] for name in sorted(read & self.points.keys())])

    def most(self, field: str) -> Mapping[str, Any] | None:
        return max((s for s in self.supports if s.get(field) is not None), key=lambda s: s[field], default=None)


def _height(plane: Mapping[str, float], x: float, y: float) -> float:
    return float(plane["z0"]) + float(plane["sx"]) * x + float(plane["sy"]) * y


def edge_name(edge: Mapping[str, Any]) -> str:
    return f"{edge.get('from')}–{edge.get('to')}"
