"""Production rates, difficulty factors, coverage and spares: the published or customary start of the office's own.

Person-hours a unit as low, typical, high. "Common practice" figures have no published source: an office replaces
them with its own dated rates as soon as it has three jobs of actual hours.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

COMMON: Final = "common practice, no published source"


@dataclass(frozen=True)
class Rate:
    """Person-hours for one `unit` (UN/ECE Rec 20 code) of a task."""

    low: float
    typical: float
    high: float
    unit: str
    what: str
    source: str = COMMON


RATES: Final[dict[str, Rate]] = {
    "check-survey": Rate(4, 6, 10, "E51", "check the survey on the roof, set out lines and the datum"),
    "protect": Rate(0.015, 0.022, 0.035, "FTK", "protect membrane and interior"),
    "hoist-stairs": Rate(0.25, 0.32, 0.40, "CWA", "carry up, a floor"),
    "hoist-rope": Rate(0.50, 0.65, 0.80, "CWA", "hoist by rope or ladder hoist and spread on the roof"),
    "hoist-elevator": Rate(0.30, 0.40, 0.50, "CWA", "cart through the building, bring up by elevator and spread"),
    "hoist": Rate(0.30, 0.35, 0.40, "CWA", "take from the boom and spread on the roof"),
    "rip-tapers": Rate(0.03, 0.045, 0.07, "LF", "lay out, rip, treat and label tapers"),
    "set-pads": Rate(0.06, 0.09, 0.15, "EA", "set pads and shims to level"),
    "set-members": Rate(0.035, 0.05, 0.08, "LF", "set and splice tapered members"),
    "block": Rate(0.08, 0.12, 0.20, "EA", "blocking, packers, splice plates and headers"),
    "cut-angles": Rate(0.03, 0.05, 0.08, "EA", "lay out and cut a member's end at an angle"),
    "tape-joists": Rate(0.004, 0.006, 0.01, "LF", "joist tape"),
    "deck-hidden": Rate(0.08, 0.10, 0.14, "FTK", "decking, hidden clips"),
    "deck-face": Rate(0.07, 0.10, 0.14, "FTK", "decking, face screws, predrilled"),
    "scribe": Rate(0.07, 0.10, 0.18, "LF", "scribe, taper rips and skew ends of boards"),
    "panels": Rate(2, 3, 5, "EA", "make and fit a lift-out panel"),
    "seal-ends": Rate(0.008, 0.012, 0.02, "EA", "seal board ends"),
    "clean-up": Rate(0.03, 0.045, 0.06, "HUR", "clean up daily and at the end, a share of all other hours"),
}


@dataclass(frozen=True)
class Factor:
    """A difficulty factor on all hours: low, typical, high."""

    low: float
    typical: float
    high: float
    what: str
    source: str = COMMON


FACTORS: Final[dict[str, Factor]] = {
    "upper-floor": Factor(1.05, 1.08, 1.15, "third to fifth floor with an outside hoist"),
    "stair-carry": Factor(1.15, 1.25, 1.35, "everything carried up the stairs"),
    "out-of-square": Factor(1.03, 1.06, 1.10, "a corner over 2 degrees off square"),
    "small-job": Factor(1.10, 1.15, 1.25, "under 150 square feet"),
}
FACTOR_CAP: Final = 1.6  # the product of all factors is held to this; common practice
UPPER_FLOOR: Final = 3
OUT_OF_SQUARE: Final = 2.0  # [degrees]
SMALL_JOB: Final = 150.0  # [sq ft]

# Decking rates are for boards 5 1/2 in wide, 3/16 in apart, on joists 16 in apart: 144 / (5 11/16 x 16) crossings of
# board and joist to the square foot. The share of decking hours that goes with crossings, not area, is a judgement.
USUAL_CROSSINGS: Final = 144 / ((5.5 + 3 / 16) * 16)
FIXING_SHARE: Final = 0.5

# Who comes where the build does not say: common practice. Hours of a man-day: NAVEDTRA 14045 (Builder Advanced),
# p. 2-25, V. Share of the assigned people that is at work on the average day: 0.75 (same, p. 2-28 and its example) to
# 0.85 for small detachments (NAVEDTRA 14233, ch. 2), V.
CREW: Final = ("lead", "carpenter", "helper")
HOURS_A_DAY: Final = 8.0
AVAILABILITY: Final = 0.75
AVAILABILITY_SOURCE: Final = "NAVEDTRA 14045, 0.75 to 0.85"


@dataclass(frozen=True)
class Lift:
    """What one lift takes [lb], and in which words it is told."""

    most: float
    what: str
    source: str


# By the survey's word for how material comes up. The posted capacity decides; these stand in until it is given.
LIFTS: Final[dict[str, Lift]] = {
    "stair": Lift(100.0, "two people carry up the stairs", "50 lb each; NIOSH lifting equation, 51 lb at best, V2"),
    "hoist": Lift(200.0, "hand hoist", "Canadian Roofing Reference Manual 2.3.4, V"),
    "elevator": Lift(500.0, "a cart in the elevator",
                     "ASME A17.1 class A, a quarter of a rated load of 2,000 lb in one piece, V2"),
    "boom": Lift(2000.0, "boom truck", COMMON),
}
TRUCKLOAD: Final = 10_000.0  # what one delivery brings to the curb [lb]; common practice

# Coverage and fixings, common practice but where a source is named.
SEALER_SQFT_PER_QUART: Final = 25.0  # 100 sq ft a gallon, nominal; seen on a trade page only
PRESERVATIVE_SQFT_PER_GALLON: Final = 100.0
FASTENER_WASTE: Final = 0.05
TAPE_WASTE: Final = 0.05
PROTECTION_LAPS: Final = 0.10
SCREWS_A_JOINT: Final = 4  # structural screws where a rim or header meets a member, and on each side of a splice
FIXINGS_ACROSS_LAP: Final = 2  # structural screws in each row through two lapped lengths; M
LAP_FIXING_SPACING: Final = 16.0  # ... whose rows stand so far apart at most [in]; common practice, M
SPARE_STICKS_IN: Final = 25  # one spare for so many sticks of the longest length bought, at least one
SPARE_PADS_IN: Final = 25  # one spare for so many pads of a size, at least one: roofs are not as surveyed everywhere

# Weights of what is neither lumber nor decking, to bundle by; from memory of the trade, M.
PAD_PCF: Final = 70.0  # recycled rubber
SHIM_PCF: Final = 60.0  # plastic composite
SLIP_PSF: Final = 0.40  # 60 mil rubber sheet
PROTECTION_PSF: Final = 1.7  # 1/2 in board
TAPE_PLF: Final = 0.02
GALLON_LB: Final = 8.5
FIXING_LB: Final[dict[str, float]] = {"hidden": 0.03, "face": 0.02, "structural": 0.045}
