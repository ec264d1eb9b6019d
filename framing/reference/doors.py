"""Steps, landings and thresholds at doors; the building official decides.

Status of a number: V2 = read in a third party's copy; M = from memory, to be compared with a copy of the source.
"""

from __future__ import annotations

from typing import Final

LANDING_BELOW: Final = 1.5  # [in] landing below the threshold of a required egress door; V2
LANDING_BELOW_CLEAR: Final = 7.75  # [in] ... outside, where the door does not swing over it, and at other doors; V2
STEP_SOURCE: Final = "IRC 2012 R311.3.1 and R311.3.2"

LANDING_DEPTH: Final = 36.0  # [in] least landing in the direction of travel, at least as wide as the door; M
LANDING_FALL: Final = 0.25  # [in/ft] a landing's most slope, 2 %; M
LANDING_SOURCE: Final = "IRC R311.3"

ACCESSIBLE: Final = 0.5  # [in] change of level at an accessible threshold; M
ACCESSIBLE_SOURCE: Final = "ADA Standards 2010 404.2.5"

FLUSH: Final = 0.5  # [in] a step-down under this lets wind-driven rain and snow reach the sill; common practice
SILL_BACK: Final = 12.0  # [in] a sill lies no further back from the deck than a wall is thick; common practice
