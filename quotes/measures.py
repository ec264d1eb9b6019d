"""Measures: a short closed list of numbers that a quantity may be taken from, read off a framing and its survey.

Pure. Each straight length is worked out to a hundredth of an inch and an area to a hundredth of a square foot, once and
half up; from there on everything is exact, whatever unit it is turned into. A length along sides is that of the deck's
own outline, after the gaps along its sides, not that of the roof.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Any, Literal

import numpy as np

from estimating import money

Documents = tuple[Mapping[str, Any], Mapping[str, Any]]  # deck-framing/1, roof-survey/1
AGAINST = ("house", "parapet", "open")
ROLES = ("joist", "rim", "edge", "blocking", "border")
OUTLETS = ("primary", "overflow", "scupper", "drain")
PARALLEL, HAIR = 1e-6, 1e-3  # sine of an angle; [in]


class MeasureError(ValueError):
    """What was asked cannot be read off this framing; says what was read and what was expected."""


@dataclass(frozen=True)
class Measured:
    """One number that was read off. `runs` are its straight pieces in order, `ends` how many runs of sides end."""

    amount: Decimal
    unit: str
    runs: tuple[Decimal, ...] = ()
    ends: int = 0
    basis: str = ""


@dataclass(frozen=True)
class Measure:
    """A named measure: its unit (UN/ECE Rec 20), what it is, what `of` may name, and how it is read off."""

    unit: Literal["INH", "FTK", "EA"]
    what: str
    of: Sequence[str] | Literal["sides"] | None
    needs_of: bool
    read: Callable[[Documents, Sequence[str]], Measured]


def measure(name: str, framing: Mapping[str, Any], survey: Mapping[str, Any], of: Sequence[str] = ()) -> Measured:
    """The measure `name` of a framing. Raises MeasureError where it is not on the list or cannot be read off."""
    if name not in MEASURES:
        raise MeasureError(f"there is no measure {name!r}; expected one of {', '.join(MEASURES)}")
    if wrong := wrong_choice(name, of):
        raise MeasureError(wrong)
    return MEASURES[name].read((framing, survey), of)


def wrong_choice(name: str, of: Sequence[str]) -> str:
    """What is wrong about `of` for this measure, whatever the framing; empty where nothing is."""
    known = MEASURES[name]
    if len(set(of)) < len(of):
        return "the same is named twice; expected each once"
    if known.of is None and of:
        return f"{name} is of the whole deck; expected nothing named"
    if known.needs_of and not of:
        return f"{name} is of {'sides' if known.of == 'sides' else 'one or more of ' + ', '.join(known.of or ())}; " \
               "expected them named"
    if known.of not in (None, "sides") and (unknown := [word for word in of if word not in known.of]):
        return f"{unknown[0]!r} is not among them; expected {', '.join(known.of)}"
    return ""


def outline_sides(framing: Mapping[str, Any], survey: Mapping[str, Any]) -> dict[tuple[str, str], tuple[float, ...]]:
    """The straight pieces of the deck's outline along each side of the roof, sides in the survey's order. [in]

    A piece lies along the nearest side that runs with it; one that spans sides in one line is parted at their corners.
    """
    ring = np.array(_outline(framing), dtype=float)
    names = list(survey.get("corners") or ())
    points = (framing.get("survey_adjustment") or {}).get("points") or {}
    if not names or any(name not in points for name in names):
        raise MeasureError("the framing has no places of the roof's corners; expected an adjusted survey")
    corners = np.array([[points[name]["x"], points[name]["y"]] for name in names])
    if _twice_area(corners) < 0:
        names, corners = names[::-1], corners[::-1]
    if _twice_area(ring) < 0:
        ring = ring[::-1]
    pairs = list(zip(names, [*names[1:], names[0]], strict=True))
    starts, runs = corners, np.roll(corners, -1, axis=0) - corners
    lengths = np.hypot(*runs.T)
    along = runs / lengths[:, None]
    found: dict[tuple[str, str], list[float]] = {pair: [] for pair in pairs}
    for p, q in zip(ring, np.roll(ring, -1, axis=0), strict=True):
        run = float(np.hypot(*(q - p)))
        if run <= HAIR:
            continue
        u = (q - p) / run
        s0, s1 = ((p - starts) * along).sum(axis=1), ((q - starts) * along).sum(axis=1)
        offset = along[:, 0] * (p - starts)[:, 1] - along[:, 1] * (p - starts)[:, 0]
        # How far two outlines agree in direction is what nine decimals of a short piece leave.
        parallel = np.abs(along[:, 0] * u[1] - along[:, 1] * u[0]) < PARALLEL + 1e-8 / run
        overlap = np.minimum(s1, lengths) - np.maximum(s0, 0)
        beside = np.flatnonzero(parallel & (along @ u > 0) & (offset > -HAIR) & (overlap > HAIR))
        if not beside.size:
            continue
        line = sorted(beside[offset[beside] < offset[beside].min() + HAIR], key=lambda i: -s0[i])
        cuts = [0.0, *(float(-s0[i]) for i in line[1:]), run]  # where the next side of the same line begins
        for i, (start, end) in zip(line, zip(cuts, cuts[1:], strict=False), strict=True):
            found[pairs[i]].append(end - start)
    return {pair: tuple(pieces) for pair, pieces in found.items()}


def _sides(documents: Documents, of: Sequence[str]) -> Measured:
    framing, survey = documents
    sides = outline_sides(framing, survey)
    chosen = set()
    for word in of:
        pair = next((pair for pair in sides if word in (f"{pair[0]}-{pair[1]}", f"{pair[1]}-{pair[0]}")), None)
        if pair is None:
            raise MeasureError(f"the roof has no side {word}; expected one of {', '.join(map('-'.join, sides))}")
        if not sides[pair]:
            raise MeasureError(f"no side of the deck lies along {word}; expected a side that the deck reaches")
        chosen.add(pair)
    return _along(sides, chosen)


def _against(documents: Documents, of: Sequence[str]) -> Measured:
    framing, survey = documents
    wanted = {frozenset((edge["from"], edge["to"])) for edge in survey.get("edges") or () if edge.get("against") in of}
    sides = outline_sides(framing, survey)
    chosen = {pair for pair, pieces in sides.items() if frozenset(pair) in wanted and pieces}
    if not chosen:
        raise MeasureError(f"no side of the deck stands against {' or '.join(of)}; expected one that the survey names")
    return _along(sides, chosen)


def _along(sides: Mapping[tuple[str, str], tuple[float, ...]], chosen: set[tuple[str, str]]) -> Measured:
    order = list(sides)
    runs = tuple(_length(piece) for pair in order if pair in chosen for piece in sides[pair])
    # A run of sides ends where the next side round the roof is not among them.
    ends = sum(pair in chosen and order[(i + 1) % len(order)] not in chosen for i, pair in enumerate(order))
    words = ", ".join(f"{a}-{b} {sum(map(_length, sides[a, b]), Decimal(0))} in" for a, b in order if (a, b) in chosen)
    return Measured(sum(runs, Decimal(0)), "INH", runs, ends, f"deck's outline along {words}")


def _perimeter(documents: Documents, of: Sequence[str]) -> Measured:
    ring = np.array(_outline(documents[0]), dtype=float)
    runs = tuple(_length(float(run)) for run in np.hypot(*(np.roll(ring, -1, axis=0) - ring).T) if run > HAIR)
    return Measured(sum(runs, Decimal(0)), "INH", runs, 0, f"deck's outline, {len(runs)} sides")


def _net_area(documents: Documents, of: Sequence[str]) -> Measured:
    framing = documents[0]
    holes = framing.get("holes") or ()
    twice = _exact_twice_area(_outline(framing)) - sum((_exact_twice_area(ring) for ring in holes), Decimal(0))
    less = f" less {len(holes)} holes" if holes else ""
    return Measured(money.rounded(money.exact(twice) / 288), "FTK", basis=f"deck's outline{less}")


def _roof_area(documents: Documents, of: Sequence[str]) -> Measured:
    area = (documents[0].get("survey_adjustment") or {}).get("area_sqft")
    if area is None:
        raise MeasureError("the framing has no area of the roof; expected an adjusted survey")
    return Measured(money.rounded(Decimal(str(area))), "FTK", basis="roof within the surveyed corners")


def _members(documents: Documents, of: Sequence[str]) -> Measured:
    members = _of_roles(documents[0], of)
    return Measured(Decimal(len(members)), "EA", basis=f"members: {', '.join(of) or 'all'}")


def _member_length(documents: Documents, of: Sequence[str]) -> Measured:
    ends = np.array([[m["start"], m["end"]] for m in _of_roles(documents[0], of)], dtype=float).reshape(-1, 2, 2)
    runs = tuple(_length(float(run)) for run in np.hypot(*(ends[:, 1] - ends[:, 0]).T))
    return Measured(sum(runs, Decimal(0)), "INH", runs, len(runs), f"members in plan: {', '.join(of) or 'all'}")


def _pads(documents: Documents, of: Sequence[str]) -> Measured:
    return Measured(Decimal(len(documents[0].get("supports") or ())), "EA", basis="pads under the frame")


def _outlets(documents: Documents, of: Sequence[str]) -> Measured:
    found = [outlet for outlet in documents[1].get("outlets") or ()
             if all(word in (outlet.get("purpose", "primary"), outlet.get("kind")) for word in of)]
    return Measured(Decimal(len(found)), "EA", basis=f"outlets of the survey: {', '.join(of) or 'all'}")


# The whole list. Nothing else of a framing becomes a quantity.
MEASURES: dict[str, Measure] = {
    "sides": Measure("INH", "the deck's outline along named sides of the roof, such as B-C", "sides", True, _sides),
    "sides-against": Measure("INH", "the deck's outline along the sides that stand against house, parapet or open air",
                             AGAINST, True, _against),
    "perimeter": Measure("INH", "the deck's whole outline", None, False, _perimeter),
    "net-area": Measure("FTK", "the deck's outline less its holes, panels included", None, False, _net_area),
    "roof-area": Measure("FTK", "the roof within its surveyed corners", None, False, _roof_area),
    "members": Measure("EA", "count of members, of all roles or of those named", ROLES, False, _members),
    "member-length": Measure("INH", "length in plan of members, of all roles or of those named", ROLES, False,
                             _member_length),
    "pads": Measure("EA", "count of pads", None, False, _pads),
    "outlets": Measure("EA", "count of outlets, all or those that are everything named", OUTLETS, False, _outlets),
}


def _of_roles(framing: Mapping[str, Any], roles: Sequence[str]) -> list[Mapping[str, Any]]:
    members = framing.get("members") or ()
    return [member for member in members if not roles or member["role"] in roles]


def _outline(framing: Mapping[str, Any]) -> Sequence[Sequence[float]]:
    if not (outline := framing.get("outline")):
        raise MeasureError("the framing has no outline; expected one that could be framed")
    return outline


def _length(inches: float) -> Decimal:
    return money.rounded(Decimal(repr(float(inches))))


def _twice_area(ring: np.ndarray) -> float:
    ahead = np.roll(ring, -1, axis=0)
    return float((ring[:, 0] * ahead[:, 1] - ahead[:, 0] * ring[:, 1]).sum())


def _exact_twice_area(ring: Sequence[Sequence[float]]) -> Decimal:
    """Twice the area of a ring as it is written in the document, exact. [sq in]"""
    return abs(sum(_cross_products([(Decimal(str(x)), Decimal(str(y))) for x, y in ring]), Decimal(0)))


def _cross_products(ring: Sequence[tuple[Decimal, Decimal]]) -> Iterator[Decimal]:
    for (x0, y0), (x1, y1) in zip(ring, [*ring[1:], ring[0]], strict=True):
        yield x0 * y1 - x1 * y0
