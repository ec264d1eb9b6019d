"""The engine's stages one after another on documents, so that a test can start where its module does."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from framing.engine.adjustment import Adjustment, adjust
from framing.engine.checks import Check
from framing.engine.documents import Build, Survey, parse_build, parse_survey
from framing.engine.layout import Deck, Layout, lay_deck, lay_members
from framing.engine.members import Member, saw_members
from framing.engine.plane import Plane, find_plane
from framing.engine.roof import Roof, fit_roof
from framing.engine.structure import Load
from framing.engine.supports import Frame, find_ground, support

DEAD = 8.0  # taken for every deck here [psf]


@dataclass(frozen=True)
class Staged:
    """What every stage up to the members hands on."""

    survey: Survey
    build: Build
    adjusted: Adjustment
    roof: Roof
    deck: Deck
    plane: Plane
    layout: Layout
    members: list[Member]
    checks: list[Check]

    def frame(self, live: float | None = None) -> Frame:
        """The members on their pads under `live` [psf], or the build's own."""
        ground = find_ground(self.survey, self.adjusted, self.roof, self.deck)
        load = Load(DEAD, self.build.loads.live if live is None else live)
        return support(self.members, self.layout, self.build, self.plane, ground, load, self.deck.net_sqft)


def fitted(survey: Mapping[str, Any]) -> Roof:
    """The roof of a survey document."""
    parsed = parse_survey(survey)
    return fit_roof(parsed, adjust(parsed))


def stages(survey: Mapping[str, Any], build: Mapping[str, Any], direction: float = 0.0,
           longest: float = math.inf) -> Staged:
    """Every stage up to the members, with joists along `direction` [degrees] in pieces up to `longest` [in]."""
    s, b = parse_survey(survey), parse_build(build)
    adjusted = adjust(s)
    roof = fit_roof(s, adjusted)
    deck, _ = lay_deck(s, b, adjusted)
    assert deck is not None
    plane, _ = find_plane(s, b, adjusted, deck.outline)
    assert plane is not None
    door = np.mean([[adjusted.points[p].x, adjusted.points[p].y] for p in plane.door.points], axis=0)
    layout = lay_members(b, deck, direction, roof=roof.outline, anchor=(float(door[0]), float(door[1])))
    members, checks = saw_members(layout.lines, b, plane, roof, longest)
    return Staged(s, b, adjusted, roof, deck, plane, layout, members, checks)
