"""Candidates: builds made from one build by single changes, each in words, and the search through them.

Stage: before all others, over many builds. What is varied is what a contractor may settle himself: which way the joists
run and how far apart, how deep they are at most, pads, how the surface lies, lengths of boards, a border. What the
client or the building asks for (reveal, decking, loads, clear gap) stays. The search frames every single change, then
changes of the builds that no other beats; `design.py` hands in the function that frames.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from itertools import zip_longest
from typing import Any

import numpy as np

from framing.engine import length
from framing.engine.assembly import Built, Setting, directions, door_wall
from framing.engine.checks import Change
from framing.engine.clearing import applied
from framing.engine.documents import Build
from framing.engine.falls import unit_vectors
from framing.engine.keep_outs import Ground
from framing.engine.ranking import Figures, LeftOut, Tried, beats, losses, table
from framing.engine.structure import bearing_area
from framing.engine.support_checks import pressure_limits
from framing.reference.decking import joist_spacing
from framing.reference.lumber import DRESSED

SPACINGS = (24.0, 19.2, 16.0, 12.0)  # what tapes and panels are marked for [in]
NEARLY = 0.5  # a spacing this near the one asked for is the same [in]
FALL = 1 / 8  # of a surface that is let fall from the door [in/ft]: common practice
ALONG = 5.0  # joists within this of the wall's direction run along it [degrees]
WAVE = 8  # framed at a time, whoever frames them: the search must go the same way on any machine
ALL_BEAR = 0.98  # what all reactions together are of all loads at least

At = tuple[int, ...]  # which choice is taken on each axis; the first is the build as given
AS_GIVEN = "as given"


@dataclass(frozen=True)
class Choice:
    """One setting of a build: in words, and as the JSON merge patch that makes it (RFC 7396). [in]"""

    words: str
    patch: Mapping[str, Any]


GIVEN = Choice("", {})


@dataclass(frozen=True)
class Grid:
    """All builds that differ from `build` by one choice on each axis."""

    build: Build
    axes: tuple[tuple[Choice, ...], ...]

    @property
    def origin(self) -> At:
        return (0,) * len(self.axes)

    def choices(self, at: At) -> tuple[Choice, ...]:
        return tuple(axis[k] for axis, k in zip(self.axes, at, strict=True) if k)

    def name(self, at: At) -> str:
        return "; ".join(c.words for c in self.choices(at)) or AS_GIVEN

    def made(self, at: At) -> Build | None:
        """The build at a place of the grid, None where it would be refused."""
        build: Build | None = self.build
        for c in self.choices(at):
            build = build and applied(build, Change("", "", "", c.patch))
        return build

    def beside(self, at: At) -> Iterator[At]:
        """The places that differ from `at` by one choice."""
        for axis, choices in enumerate(self.axes):
            for k in range(len(choices)):
                if k != at[axis]:
                    yield (*at[:axis], k, *at[axis + 1:])


def vary(setting: Setting, given: Build, built: Built | None) -> tuple[Grid, list[LeftOut]]:
    """What can be varied of a build that came out as `built`, and the choices that are left out at once."""
    joists, boards = (built.layout.direction, built.board_direction) if built else directions(setting, given)[0]
    wall = door_wall(setting)
    spacing, left_out = _spacings(given, boards - joists)
    axes = (_ways(joists, boards, wall), spacing, _depths(given), _pads(given), _surfaces(given, _out(setting, wall)),
            _lengths(given), _borders(given))
    fixed = given.model_copy(update={"joists": given.joists.model_copy(update={"direction": joists % 180}),
                                     "decking": given.decking.model_copy(update={"direction": boards % 180})})
    return Grid(fixed, tuple((GIVEN, *choices) for choices in axes)), left_out


def _out(setting: Setting, wall: float) -> float:
    """The direction square out from the door's wall, whose own is given [degrees]."""
    door = np.array(setting.plane.threshold)[:, :2].mean(axis=0)
    inward = np.array([setting.deck.net.centroid.x, setting.deck.net.centroid.y]) - door
    out = wall + 90
    return (out if float(unit_vectors([out])[0] @ inward) >= 0 else out + 180) % 360


def _ways(joists: float, boards: float, wall: float) -> list[Choice]:
    """The other way for the joists, the boards turned with them."""
    turned = (joists + 90) % 180
    off = abs((turned - wall + 90) % 180 - 90)
    words = "along" if off <= ALONG else "square to" if off >= 90 - ALONG else f"{off:.0f} degrees off"
    return [Choice(f"joists {words} the door's wall",
                   {"joists": {"direction": turned}, "decking": {"direction": (boards + 90) % 180}})]


def _spacings(build: Build, crossing: float) -> tuple[list[Choice], list[LeftOut]]:
    """Other spacings of joists, none wider than the decking spans where it crosses them at an angle [degrees]."""
    asked, board = build.joists.spacing, build.decking
    widest = joist_spacing(board.species or "", board.thickness, abs((crossing + 90) % 180 - 90))
    most = asked if widest.most is None else widest.most
    choices, left_out = [], []
    for v in SPACINGS:
        words = f"joists {v:g} in apart"
        if abs(v - asked) <= NEARLY:
            continue
        if v <= most + 1e-9:
            choices.append(Choice(words, {"joists": {"spacing": v}}))
        elif widest.most is None:
            left_out.append(LeftOut(words, f"How far the boards span is not known: {widest.source}."))
        else:
            left_out.append(LeftOut(words, f"The boards span {most:g} in ({widest.source})."))
    return choices, left_out


def _depths(build: Build) -> list[Choice]:
    """The deepest sizes of lumber left out, one after the other."""
    sizes = sorted(build.joists.sizes, key=lambda k: DRESSED[k][1])
    return [Choice(f"no lumber deeper than {sizes[n - 1]}", {"joists": {"sizes": sizes[:n]}})
            for n in range(len(sizes) - 1, 0, -1)]


def _pads(build: Build) -> list[Choice]:
    """One size of pad for all, of those at hand."""
    sizes = build.supports.pad_sizes
    return [Choice(f"pads {a:g} x {b:g} in only", {"supports": {"pad_size": [[a, b]]}})
            for a, b in sizes] if len(sizes) > 1 else []


def _surfaces(build: Build, out: float) -> list[Choice]:
    """The other ways for the surface to lie, at the same reveal."""
    none = {"fall_per_ft": None, "toward": None}
    ways = {
        "level": Choice("surface level", {"surface": {"mode": "level", **none}}),
        "follow-threshold": Choice("surface along the threshold", {"surface": {"mode": "follow-threshold", **none}}),
        "fall": Choice(f"surface falls {length.write(FALL)} in a foot from the door",
                       {"surface": {"mode": "fall", "fall_per_ft": FALL, "toward": out}}),
    }
    return [choice for mode, choice in ways.items() if mode != build.surface.mode]


def _lengths(build: Build) -> list[Choice]:
    """Boards of one length, of those at hand, long ones first."""
    lengths = sorted(build.decking.stock_lengths, reverse=True)
    return [Choice(f"boards of {v / 12:g} ft only", {"decking": {"stock_lengths": [v]}})
            for v in lengths] if len(lengths) > 1 else []


def _borders(build: Build) -> list[Choice]:
    courses = build.decking.border_courses
    return [Choice("no border" if courses else "one border course", {"decking": {"border_courses": int(not courses)}})]


TryEach = Callable[[Sequence[tuple[str, tuple[str, ...], Build]]], Iterable[Tried]]


def search(grid: Grid, given: Tried, try_each: TryEach, refused: Callable[[Build], str], ground: Ground, *,
           most: int, prices: Mapping[str, Decimal]) -> tuple[list[Tried], list[LeftOut]]:
    """Up to `most` builds of the grid, the given one first, and those that were left out on the way.

    Goes on from the builds that no other beats, a wave at a time; of their neighbours first those whose choices stand
    in many of them. A build is left out where `refused` has a reason, where pads too small to bear the loads make it
    worse than its neighbour, or where it comes out as one before it.
    """
    found: dict[At, Tried] = {grid.origin: given}
    left_out: list[LeftOut] = []
    seen = {grid.origin}
    tried = 1
    while tried < most:
        wave: list[tuple[At, Build]] = []
        for parent, at in _onward(grid, found, prices):
            if len(wave) == min(WAVE, most - tried):
                break
            if at in seen:
                continue
            seen.add(at)
            build = grid.made(at)
            why = "The build would be refused." if build is None else refused(build) or _overloaded(
                build, grid.made(parent), found[parent], prices, ground)
            if why or build is None:
                left_out.append(LeftOut(grid.name(at), why))
            else:
                wave.append((at, build))
        if not wave:
            break
        tried += len(wave)
        names = [(grid.name(at), tuple(c.words for c in grid.choices(at)), build) for at, build in wave]
        for (at, _), one in zip(wave, try_each(names), strict=True):
            twin = next((t for t in found.values() if _alike(t, one)), None)
            if twin is None:
                found[at] = one
            else:
                left_out.append(LeftOut(one.name, f"Comes out as \"{twin.name}\" does."))
    return list(found.values()), left_out


def _onward(grid: Grid, found: Mapping[At, Tried], prices: Mapping[str, Decimal]) -> Iterator[tuple[At, At]]:
    """Where to look next, each place with the one it is beside: the single changes of the build as given, then what is
    beside those that none beats, in turn.

    Where the build as given stands, a choice goes on only if by itself it stood there, changed something and was not
    beaten by it: what only loses there is not looked for elsewhere.
    """
    singles = list(grid.beside(grid.origin))
    yield from ((grid.origin, at) for at in singles)
    framed = {at: t.figures for at, t in found.items() if t.figures is not None}
    if not framed:
        return
    counts, values, _ = table(list(framed.values()), prices)
    beating = beats(losses(counts, values))
    places = list(framed)
    best = [at for k, at in enumerate(places) if not beating[:, k].any()]
    fair = singles
    if grid.origin in framed:
        behind = beating[places.index(grid.origin)].tolist()
        fair = [at for at, beaten in zip(places, behind, strict=True) if len(grid.choices(at)) == 1 and not beaten]
    often = {choice: sum(at[choice[0]] == choice[1] for at in best)
             for at in (grid.origin, *fair) for choice in enumerate(at)}

    def beside(at: At) -> list[At]:
        open_ = [v for v in grid.beside(at) if all(choice in often for choice in enumerate(v))]
        return sorted(open_, key=lambda v: -sum(often[choice] for choice in enumerate(v)))

    for row in zip_longest(*map(beside, best)):
        yield from ((parent, at) for parent, at in zip(best, row, strict=True) if at is not None)


def _alike(one: Tried, other: Tried) -> bool:
    """Whether two framed builds come out the same, to the last stick and pad."""
    return one.figures is not None and other.figures is not None and one.figures == other.figures


def fewest_pads(figures: Figures, build: Build, ground: Ground) -> int:
    """Pads that the loads of a framed build ask for at least, were all pads the largest of `build` and borne alike."""
    limits = pressure_limits(ground)
    area = max(bearing_area(size, ground.cover) for size in build.supports.pad_sizes)
    need = max(figures.dead / limits[0], figures.load / limits[1]) / area
    return math.ceil(ALL_BEAR * need) if np.isfinite(need) else 0


def _overloaded(build: Build, own: Build | None, neighbour: Tried, prices: Mapping[str, Decimal],
                ground: Ground) -> str:
    """Why a build whose pads alone differ from those of its neighbour, framed from `own`, can only be worse; empty
    where it may not be.

    Its wood is the same, so that more pads mean more hours and nothing less: unless pads have a price, by which small
    ones may cost less.
    """
    alone = own is not None and build.model_copy(update={"supports": own.supports}) == own
    if not alone or neighbour.figures is None or any(item.startswith("support/pad/") for item in prices):
        return ""
    stand, need = int(neighbour.figures.counts["pads"]), fewest_pads(neighbour.figures, build, ground)
    if need <= stand:
        return ""
    return (f"{need} pads of that size at least would bear the loads on this insulation, where \"{neighbour.name}\" "
            f"stands on {stand}: it would be beaten on pads and hours and no better on anything else.")
