"""What there is to draw: the results of every stage, as far as the chain came.

Stage: everything -> drawings.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import Polygon

from framing.engine.adjustment import Adjustment
from framing.engine.documents import Build, Door, Survey
from framing.engine.layout import Deck, Layout
from framing.engine.plane import Budget, Layers, Plane, height_budget
from framing.engine.roof import Roof
from framing.engine.supports import Frame

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Sheet:
    """What there is to draw; later stages are None where a stop ended the chain before them."""

    survey: Survey
    build: Build
    adjusted: Adjustment
    roof: Roof | None
    deck: Deck | None
    plane: Plane | None
    layout: Layout | None
    frame: Frame | None
    budget: Budget | None = None
    panels: tuple[Polygon, ...] = ()  # outlines of the boards that lift out

    @property
    def above(self) -> float:
        """What lies on the members: decking and joist tape [in]."""
        return self.build.decking.thickness + self.build.joists.tape_thickness

    def sills(self, door: Door) -> Array:
        """Threshold points (n, 2) of a door that are placed, left to right seen from inside [in]."""
        placed = [self.adjusted.points[p] for p in door.points if p in self.adjusted.points]
        return np.array([[p.x, p.y] for p in placed]).reshape(-1, 2)

    @cached_property
    def governing(self) -> Layers | None:
        """The place where the height over the roof is least, and what lies there; None before there is a plane."""
        if self.plane is None or self.roof is None or self.deck is None:
            return None
        named = {name: (p.x, p.y) for name, p in self.adjusted.points.items()}
        budget = self.budget or height_budget(self.build, self.plane, self.roof, self.deck.net, named)
        return budget.governing if budget.places else None


def panel_outlines(boards: Sequence[Polygon], gap: float) -> tuple[Polygon, ...]:
    """The outlines of lift-out panels, each from the boards in it, which lie `gap` apart [in]."""
    grown = shapely.union_all(shapely.buffer(np.array(boards, object), gap * 0.51, join_style="mitre"))
    parts = shapely.get_parts(shapely.buffer(grown, -gap * 0.51, join_style="mitre"))
    return tuple(p for p in parts.tolist() if isinstance(p, Polygon) and not p.is_empty)
