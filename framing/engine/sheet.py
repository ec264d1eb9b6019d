"""What there is to draw: the results of every stage, as far as the chain came.

Stage: everything -> drawings.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from framing.engine.adjustment import Adjustment
from framing.engine.documents import Build, Door, Survey
from framing.engine.layout import Deck, Layout
from framing.engine.plane import Plane, corner_places
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

    @property
    def above(self) -> float:
        """What lies on the members: decking and joist tape [in]."""
        return self.build.decking.thickness + self.build.joists.tape_thickness

    def sills(self, door: Door) -> Array:
        """Threshold points (n, 2) of a door that are placed, left to right seen from inside [in]."""
        placed = [self.adjusted.points[p] for p in door.points if p in self.adjusted.points]
        return np.array([[p.x, p.y] for p in placed]).reshape(-1, 2)

    def governing(self) -> tuple[Array, float] | None:
        """Where the height over the roof is least, (2,) [in], and that height [in]; None before there is a plane."""
        if self.plane is None or self.roof is None or self.deck is None:
            return None
        xy = corner_places(self.roof, self.deck.net)
        if not len(xy):
            return None
        height = self.plane.height(xy) - self.roof.height(xy)
        i = int(np.argmin(height))
        return xy[i], float(height[i])
