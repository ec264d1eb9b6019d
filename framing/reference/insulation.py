"""Compressive strength of roof insulation and cover boards, and what part of it a pad may use.

Status of a number: V = read in the source or a public body's reprint; M = from memory.
The strengths are tested at yield or 10 % strain; a load that stays may use a part of them only.
"""

from __future__ import annotations

from typing import Final

# Least compressive strength [psi] by type.
STRENGTH: Final[dict[str, float]] = {
    # ASTM C1289 Type II, Class 1 and 2 (facers), V
    "polyiso grade 1": 16.0,
    "polyiso grade 2": 20.0,
    "polyiso grade 3": 25.0,
    # ASTM C1289 Type II, Class 4 (high-density cover board), V
    "hd polyiso grade 1": 80.0,
    "hd polyiso grade 2": 110.0,
    "hd polyiso grade 3": 140.0,
    # ASTM C578-10 polystyrene, converted from kPa, V
    "polystyrene type xi": 5.0,
    "polystyrene type i": 10.0,
    "polystyrene type viii": 13.0,
    "polystyrene type ii": 15.0,
    "polystyrene type x": 15.0,
    "polystyrene type iv": 25.0,
    "polystyrene type ix": 25.0,
    "polystyrene type vi": 40.0,
    "polystyrene type xiv": 40.0,
    "polystyrene type vii": 60.0,
    "polystyrene type xv": 60.0,
    "polystyrene type v": 100.0,
}

# Part of the strength for load that stays and for load that comes and goes: an extruded polystyrene
# maker's foundation table, V. For polyiso no published fraction was found; that the same parts are taken
# (1/3 for dead load alone, 1/5 for dead and live load together) is a judgement that the maker may replace.
SUSTAINED: Final = 1 / 3
TOTAL: Final = 1 / 5
SOURCE: Final = (
    "1/3 of rated strength for dead load, 1/5 for dead and live load together: polystyrene maker's table; "
    "a judgement for other insulation unless its maker states otherwise"
)

# A rigid cover board spreads a pad at 45 degrees, its own thickness on every side: a judgement. No more than this
# [in], so that what two pads 2 in apart press on does not overlap.
MOST_SPREAD: Final = 1.0
