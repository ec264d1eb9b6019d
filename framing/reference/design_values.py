"""Reference design values of framing lumber and the factors that adjust them (NDS and its Supplement).

Status of a number: V = read in the source or a public body's reprint; V2 = read in a third party's
restatement; M = from memory, to be compared with a copy of the source before anyone quotes it.
Every No. 2 value below reproduces the span tables of AWC DCA 6 (tests/standards/test_spans.py) save the
bearing and shear values, which those tables do not test.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from framing.reference.lumber import DRESSED, plain_words, species_key

SOURCE: Final = "NDS 2018 and NDS Supplement 2018, Tables 4A and 4B"


@dataclass(frozen=True)
class ReferenceValues:
    """Bending, shear, bearing across the grain, stiffness [psi], before any adjustment."""

    Fb: float
    Fv: float
    Fcp: float
    E: float
    Emin: float


# NDS Supplement Table 4A, 2 to 4 in thick. No. 2: V2, the last two species M.
# No. 3: Fb of the first three V2, all else M.
_BY_GRADE: Final[dict[str, dict[str, ReferenceValues]]] = {
    "douglas fir-larch": {
        "No.2": ReferenceValues(900, 180, 625, 1.6e6, 0.58e6),
        "No.3": ReferenceValues(525, 180, 625, 1.4e6, 0.51e6),
    },
    "hem-fir": {
        "No.2": ReferenceValues(850, 150, 405, 1.3e6, 0.47e6),
        "No.3": ReferenceValues(500, 150, 405, 1.2e6, 0.44e6),
    },
    "spruce-pine-fir": {
        "No.2": ReferenceValues(875, 135, 425, 1.4e6, 0.51e6),
        "No.3": ReferenceValues(500, 135, 425, 1.2e6, 0.44e6),
    },
    "western cedars": {
        "No.2": ReferenceValues(700, 155, 425, 1.0e6, 0.37e6),
        "No.3": ReferenceValues(400, 155, 425, 0.9e6, 0.33e6),
    },
    "northern species": {
        "No.2": ReferenceValues(625, 110, 350, 1.1e6, 0.40e6),
        "No.3": ReferenceValues(350, 110, 350, 1.0e6, 0.37e6),
    },
}

# NDS Supplement Table 4B (2013 and later): southern pine's Fb by the width of the piece as graded. V2.
_SOUTHERN_PINE_FB: Final[dict[str, dict[str, float]]] = {
    "No.2": {"2x2": 1100, "2x3": 1100, "2x4": 1100, "2x6": 1000, "2x8": 925, "2x10": 800, "2x12": 750},
    "No.3": {"2x2": 650, "2x3": 650, "2x4": 650, "2x6": 575, "2x8": 525, "2x10": 475, "2x12": 450},
}
# Its other values do not go by width. No. 2: V2; No. 3 E and Emin: M.
_SOUTHERN_PINE: Final[dict[str, ReferenceValues]] = {
    "No.2": ReferenceValues(0, 175, 565, 1.4e6, 0.51e6),
    "No.3": ReferenceValues(0, 175, 565, 1.3e6, 0.47e6),
}

# Size factor on Fb, Supplement Table 4A, V2 (2x2 and 2x3: M). Southern pine's table holds it already (M).
CF: Final[dict[str, float]] = {
    "2x2": 1.5, "2x3": 1.5, "2x4": 1.5, "2x6": 1.3, "2x8": 1.2, "2x10": 1.1, "2x12": 1.0,
}  # fmt: skip

# Flat use factor on Fb, members 2 and 3 in thick laid flat, Supplement Table 4A, V2 (2x2 and 2x3: M).
CFU: Final[dict[str, float]] = {
    "2x2": 1.0, "2x3": 1.0, "2x4": 1.1, "2x6": 1.15, "2x8": 1.15, "2x10": 1.2, "2x12": 1.2,
}  # fmt: skip

# Repetitive members, NDS 4.3.9: three or more (V2), no more than 24 in apart under decking that shares load (M).
CR: Final = 1.15
CR_MEMBERS: Final = 3
CR_SPACING: Final = 24.0


@dataclass(frozen=True)
class Factors:
    """One factor for each design value."""

    Fb: float
    Fv: float
    Fcp: float
    E: float


# Wet service (over 19 %), Supplement Tables 4A and 4B: Fv, Fcp, E V2; Fb M, confirmed by DCA 6's spans.
CM: Final = Factors(Fb=0.85, Fv=0.97, Fcp=0.67, E=0.90)
CM_FB_EXEMPT: Final = 1150.0  # Fb CF up to this [psi] is not reduced; M, confirmed by DCA 6's spans

# Incised for preservative, NDS 4.3.8, V2.
CI: Final = Factors(Fb=0.80, Fv=0.80, Fcp=1.00, E=0.95)
# Species that are incised when treated for decks: DCA 6 Table 2, footnote, V.
INCISED: Final = frozenset({"douglas fir-larch", "hem-fir", "spruce-pine-fir"})

# Load duration on Fb and Fv, NDS Table 2.3.2, V2.
CD: Final[dict[str, float]] = {
    "permanent": 0.9,
    "ten years": 1.0,  # occupancy live load
    "two months": 1.15,  # snow
    "seven days": 1.25,  # construction
    "ten minutes": 1.6,  # wind, earthquake
    "impact": 2.0,
}

# Creep under long-lasting load, NDS 3.5.2, M: by the moisture of the stock when it is built in.
KCR: Final[dict[str, float]] = {"kdat": 1.5, "dry": 1.5, "wet": 2.0}

# Limits of deflection, span over deflection: DCA 6 Table 2 (live, V); IBC Table 1604.3 (total, M). An
# overhang counts twice its length (IBC Table 1604.3, footnote, M; DCA 6's L/180 is the same limit).
LIVE_DEFLECTION: Final = 360.0
TOTAL_DEFLECTION: Final = 240.0

# NDS 4.1.7.1, V2: ripped lumber is graded anew; the mill's stamp no longer stands for its values.
REGRADE: Final = (
    "Structural lumber that is ripped shall be graded again and the values of its new grade used (NDS 4.1.7.1)."
)

# Tension across the grain where a tapered edge is in tension: a third of Fv. NDS 5.2.8 gives this for
# glued laminated timber (M); for sawn lumber it is a judgement. It hardly counts at a deck's slopes.
TENSION_ACROSS_OVER_FV: Final = 1 / 3

# Notches: at an end no deeper than a quarter of the member (NDS 4.4.3, V2); at one on the side in tension a square
# cut leaves (2/3) Fv b dn (dn/d)2 (NDS 3.4.3.2, V2), a gradual taper (2/3) Fv b dn (NDS 3.4.3.2(d), M); on the side
# in compression (2/3) Fv b (d - (d - dn) e / dn), e no more than dn (NDS 3.4.3.2(e), M). How steep a taper may be
# to count as gradual is not said there: 1 in 4 is a judgement.
END_NOTCH: Final = 1 / 4
GRADUAL: Final = 1 / 4

GRADES: Final = ("No.2", "No.3")  # those that design values are held for above
_GRADE_WORDS: Final[dict[str, str]] = {
    "2": "No.2",
    "2 btr": "No.2",
    "2 and better": "No.2",
    "2 & better": "No.2",
    "2 prime": "No.2",
    "3": "No.3",
}


def grade_key(text: str, species: str = "") -> str:
    """The key of a grade however a person writes it: "No.2", "No. 2", "#2", "2 & Btr".

    Spruce-pine-fir (Canada) is graded No.1/No.2 as one. Raises KeyError naming the grades known.
    """
    words = " ".join(plain_words(text).replace("#", " ").replace("number", " ").replace("no ", " ").split())
    if species and species_key(species) == "spruce-pine-fir" and words in {"1 2", "1"}:
        return "No.2"
    words = words.replace("& btr", "btr").replace("grade", "").strip()
    if words not in _GRADE_WORDS:
        raise KeyError(
            f"no design values are held for the grade {text!r}; they are held for No.2 and No.3 "
            "(stock of a higher grade may be entered as No.2)"
        )
    return _GRADE_WORDS[words]


def size_key(text: str) -> str:
    """The key of a nominal size however written: "2x8", "2 X 8". Raises KeyError naming the sizes known."""
    key = text.casefold().replace("\N{MULTIPLICATION SIGN}", "x").replace(" ", "").replace('"', "")
    if key not in DRESSED:
        raise KeyError(f"lumber size {text!r} is not known; known are {', '.join(DRESSED)}")
    return key


def reference_values(species: str, grade: str, size: str) -> ReferenceValues:
    """Design values [psi] of a species and grade; `size` is the size it was graded at, before any rip.

    Raises KeyError for an unknown species, grade or size.
    """
    species, grade, size = species_key(species), grade_key(grade, species), size_key(size)
    if species != "southern pine":
        return _BY_GRADE[species][grade]
    rest = _SOUTHERN_PINE[grade]
    return ReferenceValues(_SOUTHERN_PINE_FB[grade][size], rest.Fv, rest.Fcp, rest.E, rest.Emin)


def size_factor(species: str, size: str) -> float:
    """CF on Fb. Raises KeyError for an unknown species or size."""
    return 1.0 if species_key(species) == "southern pine" else CF[size_key(size)]
