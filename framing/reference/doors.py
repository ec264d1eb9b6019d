"""Steps and thresholds at doors: V2 read in a third party's copy, M from memory; the building official decides."""

from __future__ import annotations

from typing import Final

LANDING_BELOW: Final = 1.5  # [in] landing below the threshold of a required egress door
LANDING_BELOW_CLEAR: Final = 7.75  # [in] ... outside, where the door does not swing over it
STEP_SOURCE: Final = "IRC 2012 R311.3.1 and R311.3.2"  # V2

ACCESSIBLE: Final = 0.5  # [in] change of level at an accessible threshold
ACCESSIBLE_SOURCE: Final = "ADA Standards 2010 404.2.5"  # M

FLUSH: Final = 0.5  # [in] a step-down under this lets wind-driven rain and snow reach the sill; common practice
