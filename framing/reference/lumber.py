"""Dressed sizes and weight of framing lumber, and the names its species go by.

Status of a number: V = read in the source or a public body's reprint; V2 = read in a third party's
restatement; M = from memory, to be compared with a copy of the source before anyone quotes it.
"""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

# PS 20 American Softwood Lumber Standard, dressed dry (moisture <= 19 %): thickness, depth [in]. V2.
DRESSED: Final[dict[str, tuple[float, float]]] = {
    "2x2": (1.5, 1.5),
    "2x3": (1.5, 2.5),
    "2x4": (1.5, 3.5),
    "2x6": (1.5, 5.5),
    "2x8": (1.5, 7.25),
    "2x10": (1.5, 9.25),
    "2x12": (1.5, 11.25),
}

# PS 20 boards: nominal thickness -> dressed thickness [in]. 3/4 and 1: V2.
DRESSED_BOARD: Final[dict[str, float]] = {"1": 0.75, "5/4": 1.0, "2": 1.5}

# Specific gravity G of the framing species, ovendry weight and volume. NDS Supplement Table 12.3.3A.
# Southern pine V, Douglas fir-larch, hem-fir and spruce-pine-fir V2, the last two M.
SPECIFIC_GRAVITY: Final[dict[str, float]] = {
    "southern pine": 0.55,
    "douglas fir-larch": 0.50,
    "hem-fir": 0.43,
    "spruce-pine-fir": 0.42,
    "western cedars": 0.36,
    "northern species": 0.35,
}

# Fresh treated stock holds far more water than 19 %; trade allowance 45-55 pcf, M. The middle is taken.
FRESH_TREATED_PCF: Final = 50.0

# Words a person may use for a species -> its key.
_SPECIES_WORDS: Final[dict[str, str]] = {
    "southern pine": "southern pine",
    "southern yellow pine": "southern pine",
    "syp": "southern pine",
    "sp": "southern pine",
    "pt southern pine": "southern pine",
    "pressure treated southern pine": "southern pine",
    "douglas fir larch": "douglas fir-larch",
    "douglas fir": "douglas fir-larch",
    "doug fir": "douglas fir-larch",
    "df l": "douglas fir-larch",
    "dfl": "douglas fir-larch",
    "df": "douglas fir-larch",
    "hem fir": "hem-fir",
    "hf": "hem-fir",
    "spruce pine fir": "spruce-pine-fir",
    "s p f": "spruce-pine-fir",
    "spf": "spruce-pine-fir",
    "western cedars": "western cedars",
    "western cedar": "western cedars",
    "western red cedar": "western cedars",
    "western redcedar": "western cedars",
    "cedar": "western cedars",
    "wrc": "western cedars",
    "northern species": "northern species",
}


def plain_words(text: str) -> str:
    """The text in small letters with every run of hyphens, dots, slashes and blanks as one blank."""
    for mark in "-./_,":
        text = text.replace(mark, " ")
    return " ".join(text.casefold().split())


def species_key(text: str) -> str:
    """The key of a framing species however a person writes it: "SYP", "Southern Pine", "Doug-Fir".

    Raises KeyError naming the species known.
    """
    words = plain_words(text)
    if words not in _SPECIES_WORDS:
        known = ", ".join(SPECIFIC_GRAVITY)
        raise KeyError(f"framing species {text!r} is not known; known are {known}")
    return _SPECIES_WORDS[words]


def density_pcf(specific_gravity: float, moisture: float) -> float:
    """Weight [lb/ft3] of wood of ovendry gravity G at a moisture content [%]. NDS Supplement 3.1.3, M."""
    return 62.4 * specific_gravity / (1 + 0.009 * specific_gravity * moisture) * (1 + moisture / 100)


def framing_weight_plf(
    species: str, depth: ArrayLike, thickness: float = 1.5, moisture: float = 19.0
) -> NDArray[np.float64]:
    """Weight [lb/ft] of a member of the given depths [in] and thickness [in], shape of `depth`.

    Raises KeyError for an unknown species.
    """
    pcf = density_pcf(SPECIFIC_GRAVITY[species_key(species)], moisture)
    return pcf * thickness * np.asarray(depth, dtype=float) / 144.0
