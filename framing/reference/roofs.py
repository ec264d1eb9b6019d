"""Roofs under a deck: what must not touch their membranes, their age, wind on what lies loose, fire.

Status of a number: V = read in the source or a public body's reprint; V2 = read in a third party's restatement;
M = from memory, to be compared with a copy of the source.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

OLD: Final = 10.0  # [years] a roof older than this is looked at by a roofer before it is covered; common practice

# Wind on what lies loose. 30 ft: height up to which the low-rise tables of roof practice begin, common practice. Pavers
# laid loose as ballast weigh at least 22 psf: ANSI/SPRI RP-4 2008, V2, which is written for ballasted roofs only.
WIND_HEIGHT: Final = 360.0  # [in]
BALLAST: Final = 22.0  # [psf]
WIND_SOURCE: Final = "ANSI/SPRI RP-4 2008 for ballasted roofs; none for loose-laid decking is known to us"

# Fire: a roof covering nearer than 6 ft to the lot line is rated, IBC 1505.1 (2015), V2. New York City lets wood decks
# cover a fifth of a roof's level, V2 (two firms' articles).
LOT_LINE: Final = 72.0  # [in]
CITY_SHARE: Final = 0.20
FIRE_SOURCE: Final = "IBC 1505.1 rates the assembly"

# Words by which a survey or a build names a material, as regular expressions.
MEMBRANES: Final[dict[str, str]] = {
    "PVC": r"\bpvc\b|\bkee\b|\bvinyl\b",
    "TPO": r"\btpo\b",
    "EPDM": r"\bepdm\b",
    "bitumen": r"bitum|asphalt|\bsbs\b|\bapp\b|\bbur\b|built-?up|cap sheet",
}
MATERIALS: Final[dict[str, str]] = {
    "bitumen": r"bitum|asphalt|\bfelt\b|cap sheet|\btar\b",
    "rubber": r"rubber|\bepdm\b|\bsbr\b|neoprene",
    "oil": r"\boil|grease|petrol",
}


@dataclass(frozen=True)
class Pair:
    """A membrane that a material of pads or slip sheets harms."""

    membrane: str
    material: str
    words: str
    source: str


PAIRS: Final[tuple[Pair, ...]] = (
    Pair("PVC", "bitumen", "bitumen draws the plasticizer out of PVC, which turns brittle",
         "Professional Roofing, November 2017"),  # V
    Pair("EPDM", "bitumen", "bitumen softens EPDM", "common practice, from memory"),  # M
    Pair("EPDM", "oil", "oil swells EPDM", "common practice, from memory"),  # M
    Pair("TPO", "rubber", "dark rubber may stain TPO and leach into it", "common practice, from memory"),  # M
    Pair("PVC", "rubber", "dark rubber may stain PVC and leach into it", "common practice, from memory"),  # M
)
