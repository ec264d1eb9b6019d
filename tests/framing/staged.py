"""The engine's stages one after another on documents, so that a test can start where its module does."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np

from framing.engine.adjustment import Adjustment, adjust
from framing.engine.checks import Check
from framing.engine.documents import Build, Survey, parse_build, parse_survey
from framing.engine.footing import find_footing
from framing.engine.keep_outs import Ground, find_ground
from framing.engine.layout import Deck, Layout, lay_deck, lay_members
from framing.engine.members import Member, saw_members
from framing.engine.plane import Plane, find_plane
from framing.engine.roof import Roof, fit_roof
from framing.engine.structure import Load
from framing.engine.supports import Frame, support

DEAD = 8.0  # taken for every deck here [psf]


@dataclass(frozen=True)
class Staged:
    """What each stage hands on, worked out when asked for; joists along `direction` in pieces up to `longest` [in]."""

    survey: Survey
    build: Build
    direction: float = 0.0
    longest: float = math.inf

    @cached_property
    def adjusted(self) -> Adjustment:
        return adjust(self.survey)

    @cached_property
    def roof(self) -> Roof:
        return fit_roof(self.survey, self.adjusted)

    @cached_property
    def deck(self) -> Deck:
        deck, _ = lay_deck(self.survey, self.build, self.adjusted)
        assert deck is not None
        return deck

    @cached_property
    def plane(self) -> Plane:
        plane = self.plane_and_checks[0]
        assert plane is not None
        return plane

    @cached_property
    def plane_and_checks(self) -> tuple[Plane | None, list[Check]]:
        return find_plane(self.survey, self.build, self.adjusted, self.deck.net)

    @cached_property
    def layout(self) -> Layout:
        door = np.mean([[self.adjusted.points[p].x, self.adjusted.points[p].y] for p in self.plane.door.points], axis=0)
        return lay_members(self.build, self.deck, self.direction, roof=self.roof.outline,
                           anchor=(float(door[0]), float(door[1])),
                           footing=find_footing(self.build, self.plane, self.roof, self.ground))

    @cached_property
    def ground(self) -> Ground:
        return find_ground(self.survey, self.adjusted, self.roof, self.deck.holes)

    @cached_property
    def sawn(self) -> tuple[list[Member], list[Check]]:
        return saw_members(self.layout.lines, self.build, self.plane, self.roof, self.longest, self.ground.outlets)

    @property
    def members(self) -> list[Member]:
        return self.sawn[0]

    def frame(self, live: float | None = None) -> Frame:
        """The members on their pads under `live` [psf], or the build's own."""
        load = Load(DEAD, self.build.loads.live if live is None else live)
        return support(self.members, self.layout, self.build, self.plane, self.ground, load, self.deck.net_sqft)


def fitted(survey: Mapping[str, Any]) -> Roof:
    """The roof of a survey document."""
    parsed = parse_survey(survey)
    return fit_roof(parsed, adjust(parsed))


def stages(survey: Mapping[str, Any], build: Mapping[str, Any], direction: float = 0.0,
           longest: float = math.inf) -> Staged:
    """The stages on a survey and a build document."""
    return Staged(parse_survey(survey), parse_build(build), direction, longest)
