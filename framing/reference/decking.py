"""Decking: weight by species, widest joist spacing by thickness, movement with moisture.

Status of a number: V = read in the source or a public body's reprint; V2 = read in a third party's
restatement; C = computed from such; M = from memory, to be compared with a copy of the source.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from framing.reference.lumber import plain_words

LEAST_RIP: Final = 1.5  # [in] no strip narrower than this where the outline leaves a choice: common practice


@dataclass(frozen=True)
class Density:
    """Weight [pcf] in service: as usually given, and the heavy end that loads are computed with."""

    usual: float
    most: float
    source: str


DENSITY: Final[dict[str, Density]] = {
    "ipe": Density(64.0, 75.0, "Wood Handbook GTR-190 Ch. 2 (usual); Chudnoff AH-607 (most): V"),
    "cumaru": Density(67.4, 81.0, "mill sheet, V2 (usual); Chudnoff AH-607, V (most)"),
    "garapa": Density(51.8, 51.8, "importer quoting a tropical wood atlas, V2"),
    "white ash": Density(41.9, 41.9, "specific gravity 0.60 at 12 %, V2; C"),
    "thermally modified ash": Density(38.0, 40.0, "M; the supplier's figure decides"),
    "western redcedar": Density(22.4, 22.4, "Wood Handbook specific gravity 0.32, M; C"),
    "southern pine": Density(41.2, 50.0, "longleaf dry, M (usual); treated and wet, M (most)"),
    "douglas fir": Density(34.2, 34.2, "NDS gravity 0.50 at 19 %, V2; C"),
    "composite": Density(60.0, 60.0, "trade pages for solid wood-plastic boards, V2"),
}
# A decking that is not listed weighs as much as the heaviest that is.
HEAVIEST: Final = max(d.most for d in DENSITY.values())

_SPECIES_WORDS: Final[dict[str, str]] = {
    "ipe": "ipe",
    "ipé": "ipe",
    "cumaru": "cumaru",
    "brazilian teak": "cumaru",
    "garapa": "garapa",
    "ash": "white ash",
    "white ash": "white ash",
    "thermally modified ash": "thermally modified ash",
    "thermal ash": "thermally modified ash",
    "thermo ash": "thermally modified ash",
    "western redcedar": "western redcedar",
    "western red cedar": "western redcedar",
    "cedar": "western redcedar",
    "wrc": "western redcedar",
    "southern pine": "southern pine",
    "southern yellow pine": "southern pine",
    "syp": "southern pine",
    "pt southern pine": "southern pine",
    "pressure treated southern pine": "southern pine",
    "douglas fir": "douglas fir",
    "douglas fir larch": "douglas fir",
    "composite": "composite",
    "wood plastic composite": "composite",
    "wpc": "composite",
    "pvc": "composite",
}


def decking_key(species: str) -> str | None:
    """The key of a decking species however written, None where it is not listed."""
    return _SPECIES_WORDS.get(plain_words(species))


@dataclass(frozen=True)
class DeckingWeight:
    """Weight [psf] of laid decking; `known` is False where the species is not listed and the heaviest stands in."""

    psf: float
    known: bool
    source: str


def decking_weight(species: str, thickness: float, width: float, gap: float) -> DeckingWeight:
    """Weight of decking boards of a thickness, width and gap [in], at the heavy end of its species.

    Raises ValueError where thickness or width is not positive or the gap is negative.
    """
    if not (thickness > 0 and width > 0 and gap >= 0):
        raise ValueError(
            f"decking {thickness} thick, {width} wide with a gap of {gap} in; "
            "thickness and width must be positive, the gap not negative"
        )
    key = decking_key(species)
    most = DENSITY[key].most if key else HEAVIEST
    source = DENSITY[key].source if key else "species not listed: the heaviest decking listed stands in"
    return DeckingWeight(most * thickness / 12 * width / (width + gap), key is not None, source)


# IRC Table R507.7 (2018), V. Boards by actual thickness [in] at least: widest joist spacing [in] with the
# boards square to the joists, and at an angle down to 45 degrees. "1 1/4 in" is nominal 5/4, 1 in dressed.
JOIST_SPACING: Final[tuple[tuple[float, float, float], ...]] = (
    (1.5, 24.0, 16.0),
    (1.0, 16.0, 12.0),
)
JOIST_SPACING_SOURCE: Final = "IRC 2018 Table R507.7"
SQUARE_WITHIN: Final = 5.0  # degrees off square that still count as square; a judgement, the table has no limit


@dataclass(frozen=True)
class JoistSpacing:
    """Widest spacing [in] of joists under a decking; None where the table does not have it. `source` says why."""

    most: float | None
    source: str


def joist_spacing(species: str, thickness: float, angle: float) -> JoistSpacing:
    """Widest spacing of joists under boards of a thickness [in], `angle` degrees between board and joist.

    Composite boards go by their evaluation label, thin hardwood by its maker (`most` is None).
    """
    off_square = abs(90.0 - abs(angle) % 180.0)
    if decking_key(species) == "composite":
        return JoistSpacing(None, "composite decking: by its label to ASTM D7032 (IRC 2018 R507.2)")
    if off_square > 45.0 + 1e-9:
        return JoistSpacing(None, f"{JOIST_SPACING_SOURCE} ends at 45 degrees: the maker or an engineer decides")
    for least, square, diagonal in JOIST_SPACING:
        if thickness >= least - 1e-9:
            return JoistSpacing(square if off_square <= SQUARE_WITHIN else diagonal, JOIST_SPACING_SOURCE)
    return JoistSpacing(None, f"boards under 1 in are not in {JOIST_SPACING_SOURCE}: the maker or an engineer decides")


@dataclass(frozen=True)
class Movement:
    """Shrinkage of flat-sawn boards: CT [1/%] between 6 and 14 % moisture, S [%] green to ovendry (None: not held)."""

    CT: float
    S: float | None
    source: str


# Wood Handbook (FPL-GTR-190, 2010) Table 13-5 (CT) and Table 4-3 (S, tangential), and others as noted.
MOVEMENT: Final[dict[str, Movement]] = {
    "ipe": Movement(0.00280, 8.0, "S from a Forest Products Laboratory sheet, V2; CT from S, C"),
    "cumaru": Movement(0.00265, 7.6, "S Chudnoff AH-607, V; CT from S, C"),
    "garapa": Movement(0.00262, 7.5, "S from an importer, V2; CT from S, C"),
    "southern pine": Movement(0.00265, 7.4, "CT NWFA A200 quoting the Wood Handbook, V2; S loblolly, M"),
    "douglas fir": Movement(0.00267, 7.6, "CT NWFA A200 quoting the Wood Handbook, V2; S coast, Table 4-3, V"),
    "white ash": Movement(0.00274, 7.8, "Wood Handbook Tables 13-5 and 4-3, V"),
    "western redcedar": Movement(0.00234, 5.0, "CT Wood Handbook Table 13-5, M; S Table 4-3, V"),
}


def movement(species: str, width: float, moisture_from: float, moisture_to: float) -> float | None:
    """Change [in] of a flat-sawn board's width [in] between two moistures [%]; None for a species without figures.

    Within 6 to 14 %: D CT (to - from) (Wood Handbook, FPL-GTR-190, Eq. 13-2, V); wider: D (to - from) /
    (3000/S - 30 + from) (Eq. 13-3: its text V, its form M). Wood does not move above its green 30 %.
    """
    key = decking_key(species)
    figures = MOVEMENT.get(key) if key else None
    if figures is None:
        return None
    moisture_from, moisture_to = min(moisture_from, 30.0), min(moisture_to, 30.0)
    within = min(moisture_from, moisture_to) >= 6.0 and max(moisture_from, moisture_to) <= 14.0
    if within or figures.S is None:
        return width * figures.CT * (moisture_to - moisture_from)
    return width * (moisture_to - moisture_from) / (3000.0 / figures.S - 30.0 + moisture_from)


# Moisture of decking [%]: kiln-dried as it is laid, and the driest and wettest that it comes to out of doors in most of
# the United States. M, after Wood Handbook Table 13-1, whose towns lie from 8 to 16 % in most months (Burlington, VT,
# 11.7 to 14.2 %: V2); in the desert it is drier. The mill's or the meter's figure decides.
DECKING_LAID: Final = 12.0
DECKING_DRIEST: Final = 8.0
DECKING_WETTEST: Final = 16.0


# Depth of southern pine framing with moisture, S = 6.031 - 0.215 M [% from green] for M from 8 to 19 %.
# FPL-RP-489, V.
_DEPTH_SHRINKAGE: Final = (6.031, 0.215)


def depth_after_drying(depth: float, moisture_from: float, moisture_to: float) -> float:
    """Depth [in] of a southern pine joist after its moisture [%] changes. FPL-RP-489, stated for 8 to 19 %.

    Raises ValueError outside 8 to 28 % (28 % is green: no shrinkage yet).
    """
    for moisture in (moisture_from, moisture_to):
        if not 8.0 <= moisture <= 28.0:
            raise ValueError(f"moisture {moisture} %; shrinkage is known from 8 to 28 %")
    most, rate = _DEPTH_SHRINKAGE
    before, after = (1 - max(most - rate * m, 0.0) / 100 for m in (moisture_from, moisture_to))
    return depth * after / before


# Moisture of framing [%] as it is bought, by the word that the build uses, and in service out of doors. M: wood in the
# open comes to 12 to 15 %, the drier is taken; treated stock is sold wet, or dried after treatment to 19 % or less.
STOCK_MOISTURE: Final[dict[str, float]] = {"wet": 28.0, "dry": 19.0, "kdat": 19.0}
SERVICE_MOISTURE: Final = 12.0


def least_thickness(spacing: float, species: str = "", angle: float = 90.0) -> float:
    """The least board thickness [in] that the table lets span joists at `spacing` [in], `angle` degrees between them.

    Infinite where no thickness in the table does, and for decking that the table leaves to its maker: then no
    thinner board may be offered.
    """
    enough = (least for least, _, _ in JOIST_SPACING
              if (most := joist_spacing(species, least, angle).most) is not None and spacing <= most + 1e-9)
    return min(enough, default=float("inf"))
