"""Pieces that hang between joists: headers, which carry joist tails and trimmers, and those under border courses.

Stage: supports -> headers. They stand on no pad, so the supports stage does not see them.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray
from shapely import Point

from framing.engine.checks import Check, check
from framing.engine.layout import Line
from framing.engine.members import Member
from framing.engine.openings import STICK
from framing.engine.structure import AdjustedValues, Beam, Load, MemberDesign, Solution, solve, strength
from framing.reference.loads import POINT_LOAD

Array = NDArray[np.float64]


def header_checks(members: Sequence[Member], spacing: float, load: Load, strong: Mapping[str, AdjustedValues],
                  weak: Mapping[str, AdjustedValues]) -> list[Check]:
    """What the headers carry, held against their wood at the stamped grade (`strong`) and at No. 3 (`weak`).

    A piece that ends on a header brings it half of a strip as wide as the joists' spacing [in].
    """
    headers = [m for m in members if m.line.header]
    if not headers:
        return []
    hung = [m.line for m in members if m.role == "blocking"]
    beams = [Beam(m.line.length, m.profile, np.array([0.0, m.line.length]), np.zeros(1), m.thickness,
                  _brought(m.line, hung, spacing)) for m in headers]
    solution = solve(beams, load, np.array([strong[m.id].E for m in headers]))
    used = [_used(solution, beams, [MemberDesign(values[m.id], STICK) for m in headers]) for values in (strong, weak)]
    most = max(float(r.max()) for r in solution.reaction_most)
    k = int(np.argmax(used[0]))
    regrade = bool(used[1][k] > 1) and any(m.ripped for m in headers)
    return [check("strength-header", "stop" if used[0][k] > 1 + 1e-9 else "caution" if regrade else "ok",
                  value=float(used[0][k]), limit=1.0, unit="C62", where=headers[k].id, count=len(headers),
                  pounds=f"{most:.0f}", percent=100 * float(used[0][k]), weak=100 * float(used[1].max()))]


def border_checks(members: Sequence[Member], spacing: float, load: Load, strong: Mapping[str, AdjustedValues],
                  weak: Mapping[str, AdjustedValues]) -> list[Check]:
    """The pieces under border courses as simple spans between what they hang on, held against their wood.

    Each carries the dead and live load of a strip as wide as the joists' spacing [in], which is more than comes to it,
    or a person's weight alone at its middle. Where only that person is too much, though the load basis asks for no
    single load, it is a caution: such a piece is doubled, or has another beside it.
    """
    pieces = [m for m in members if m.role == "border"]
    if not pieces:
        return []
    beams = [Beam(m.line.length, m.profile, np.array([0.0, m.line.length]), np.array([spacing]), m.thickness)
             for m in pieces]
    person = replace(load, point=max(load.point, POINT_LOAD))
    stiffness = np.array([strong[m.id].E for m in pieces])
    asked, solution = (solve(beams, given, stiffness) for given in (load, person))
    used = [_used(solution, beams, [MemberDesign(values[m.id], STICK) for m in pieces]) for values in (strong, weak)]
    as_asked = _used(asked, beams, [MemberDesign(strong[m.id], STICK) for m in pieces])
    k = int(np.argmax(used[0]))
    regrade = bool((used[1] > 1)[[m.ripped for m in pieces]].any())
    over = regrade or used[0][k] > 1 + 1e-9
    return [check("strength-border", "stop" if as_asked.max() > 1 + 1e-9 else "caution" if over else "ok",
                  value=float(used[0][k]), limit=1.0, unit="C62", where=pieces[k].id, count=len(pieces),
                  span=max(m.line.length for m in pieces), point=person.point, percent=100 * float(used[0][k]),
                  weak=100 * float(used[1].max()),
                  remedy=" Double those that are over it, or hang another beside." if used[0][k] > 1 + 1e-9 else "")]


def _brought(header: Line, hung: Sequence[Line], spacing: float) -> Array:
    """(s [in], area [sq in]) of the pieces that end on a header, (n, 2)."""
    found = []
    for line in hung:
        for end in (line.start, line.end):
            s = float(np.clip(header.shape.project(Point(end)), 0, header.length))
            if np.hypot(*(header.at(np.array([s]))[0] - end)) < STICK:
                found.append((s, line.length * spacing / 2))
    return np.array(found, float).reshape(-1, 2)


def _used(solution: Solution, beams: Sequence[Beam], designs: Sequence[MemberDesign]) -> Array:
    """The most that each header's wood is used, its fixings apart."""
    ratios = strength(solution, beams, designs).ratios
    return np.asarray(np.max([v for name, v in ratios.items() if name != "bearing"], axis=0))
