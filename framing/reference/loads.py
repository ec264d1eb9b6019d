"""Loads on decks: what a live load stands on, point loads, drifted snow.

Status of a number: V = read in the source or a public body's reprint; V2 = read in a third party's restatement;
M = from memory, to be compared with a copy of the source before anyone quotes it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final


@dataclass(frozen=True)
class Basis:
    """What a live load stands on: the least [psf], and the load [lb] that one place must carry by itself."""

    live: float
    point: float
    words: str
    source: str


# A person at work on an occupied roof, ASCE 7 Table 4.3-1, M: 300 lb, not together with the even load.
POINT_LOAD: Final = 300.0
POINT_SPREAD: Final = 30.0  # [in] ... laid evenly on a square of this side, ASCE 7 4.4, M

BASES: Final[dict[str, Basis]] = {
    "dwelling-40": Basis(40.0, 0.0, "a deck of one dwelling", "IRC Table R301.5"),  # V2
    "occupiable-60": Basis(  # V2: 1.5 times the 40 psf of the dwelling served
        60.0, POINT_LOAD, "an occupied roof that serves a dwelling",
        "ASCE 7-16 Table 4.3-1: 1.5 times the load of the area served"),
    "assembly-100": Basis(  # V2
        100.0, POINT_LOAD, "a roof where people gather", "ASCE 7-16 Table 4.3-1, assembly"),
}

# On the free tip of an overhang, alone, sagging no more than a 180th of the overhang: DCA 6 Table 2's footnote, V.
TIP_LOAD: Final = 220.0
TIP_DEFLECTION: Final = 180.0
TIP_UNFELT: Final = 1 / 16  # less sag than this is no one's concern, however short the overhang [in]: common practice
TIP_SOURCE: Final = "AWC DCA 6 Table 2: 220 lb at the tip, L/180"

# Snow that drifts against a wall, ASCE 7-16 7.7.1, M: density 0.13 pg + 14 up to 30 pcf, a triangle four times as
# wide as high, pg being the ground snow load [psf].
DRIFT_DENSITY: Final = (0.13, 14.0, 30.0)
DRIFT_WIDTH: Final = 4.0
DRIFT_SOURCE: Final = "ASCE 7-16 7.7.1 (quoted from memory)"


def drift_width(peak: float, ground_snow: float) -> float:
    """How far from the wall [in] drifted snow of a peak load [psf] reaches, on a ground snow load [psf]."""
    rise, least, most = DRIFT_DENSITY
    return 12 * DRIFT_WIDTH * peak / min(rise * ground_snow + least, most)
