"""How clear wood and pads stand of roof, outlets, valleys and walls. Common practice, no published source."""

from __future__ import annotations

from typing import Final

SOURCE: Final = "common practice"

CLEAR_GAP: Final = 0.75  # [in] usual under all wood, so that water and dirt reach the outlets
PAD_SPACING: Final = 48.0  # [in] pads no further apart where nothing else asks for less
OUTLET: Final = 12.0  # [in] no pad this near an outlet
VALLEY: Final = 3.0  # [in] no pad within half a pad and this of a valley line

PANEL: Final = 24.0  # [in] side of a lift-out panel over an outlet
PANEL_REACH: Final = 24.0  # [in] an outlet this near the deck has one too
BOWL: Final = 8.0  # [in] across a drain's bowl where its size was not measured
BESIDE_BOWL: Final = 1.0  # [in] wood keeps this far from a bowl

# What may run past the last pad, of the span beside it: DCA 6 figures and IRC R507.6 allow joists a quarter, V2.
OVERHANG: Final = 0.25
WALL_WATER: Final = 2.0  # [in] no pad nearer to a wall along which water runs
FALLS_AWAY: Final = 1 / 16  # [in/ft] a roof that falls off a wall by less leaves its water along it

# Joists that run within so many degrees of the roof's contour lie across the water's way. What is open under them is
# their clearance less what pads fill of their length.
ACROSS: Final = 30.0  # [degrees]
OPEN_UNDER: Final = 0.5  # [in]
