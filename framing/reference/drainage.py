"""Roof drainage: flow, scupper and drain hydraulics, slopes, overflow and door rules, each with source and edition.

Status of a number: V = read in the source or a public body's reprint; V2 = read in a second-hand copy;
M = from memory, not checked against the printed standard; C = computed or fitted by us, with what it was fitted to.
"""

from __future__ import annotations

from typing import Final

# Flow off a roof: Q [gpm] = 0.0104 x area [sq ft] x intensity [in/h]. ASCE 7-05 Eq. C8-1, V.
# Exact would be 144/231/60 = 0.010390.
FLOW: Final = 0.0104

# Load of standing water: R [psf] = 5.2 (ds + dh), depths in inches. ASCE 7-16 Eq. 8.3-1, V (62.4 lb/cu ft over 12).
RAIN_LOAD: Final = 5.2

# Scupper as a weir: Q [gpm] = 2.9 b h^1.5, width and head in inches. FM 1-54 / ASCE 7 ch. C8, M; its one cell
# read, a 6 in channel at 3 in of head giving 90 gpm, V2, agrees to 0.5 %.
WEIR: Final = 2.9

# Closed scupper under water: Q [gpm] = 4.3 b D sqrt(h - D/2), an orifice to its centre with a discharge
# coefficient of 0.596. C: fitted to cells of ASCE 7-05 Table C8-1 that are M, within 2.5 %.
ORIFICE: Final = 4.3

# A drain as its bare outlet: weir over its rim below, orifice to its full area above, Q [gpm] = 4.33 A sqrt(h),
# A in sq in, discharge coefficient 0.6 (7.22 x 0.6). Standard hydraulics, C. A drain with bowl and strainer takes
# more: the cells of ASCE 7-05 Table C8-1 (M) run up to 2.6 times this. The depth found is on the deep side.
DRAIN_ORIFICE: Final = 4.33

# Least slope of a roof of these kinds [in/ft]: IBC 1507.10 to .15 (2018), as printed in Minn. Rules 1305.1507, V.
LEAST_SLOPE: Final = 1 / 4
LEAST_SLOPE_SOURCE: Final = "IBC 2018 1507.10-.15 (Minn. Rules 1305.1507)"
# The least that any roofing is allowed (coal-tar built-up), 1/8 in/ft: same section, V. Used for the fall along a
# low line, which is always less than the roof's own slope.
LEAST_FALL: Final = 1 / 8

# Overflow: inlet 2 in above the low point of the roof; opening at least 4 in high; scuppers three times the size of
# the roof drains, drains the same size. IRC R903.4.1 (2021), as adopted in Wash. Admin. Code 51-51-0903, V.
# Whether three times means area or width is disputed among building officials: the rule used is said with the number.
OVERFLOW_ABOVE: Final = 2.0
OVERFLOW_HEIGHT: Final = 4.0
OVERFLOW_TIMES: Final = 3.0
OVERFLOW_SOURCE: Final = "IRC 2021 R903.4.1 (Wash. Admin. Code 51-51-0903)"

# Upturn of the membrane at a door, above the roof: 8 in usual, 4 in where reduced, with a metal water stop.
# RCABC Roofing Practices Manual, "SBS Low Door Opening", 2016, V.
UPTURN: Final = 8.0
UPTURN_REDUCED: Final = 4.0
UPTURN_SOURCE: Final = "RCABC Roofing Practices Manual 2016, low door opening"

# Water standing with the primary outlets blocked should stay this far under a sill [in]: judgement, M.
SILL_MARGIN: Final = 1.0

# How far an outlet's invert may stand off the roof beside it before the reading is doubted, and before water that has
# another way runs past it [in]: judgement, M. A drain commonly lies in a sump of 1 to 2 in.
OUTLET_OFF: Final = 1.0
SUMP: Final = 2.0

# A vertical leader runs 7/24 full: Q [gpm] = 27.8 r^(5/3) d^(8/3), d in inches, r the part of its area that is water.
# Wyly and Eaton, NBS Monograph 31 (1961), M; it gives the cells of the 2006 National Standard Plumbing Code, Table
# 13.6.1, V, to the gallon.
LEADER: Final = 27.8
LEADER_FULL: Final = 7 / 24
LEADER_SOURCE: Final = "2006 National Standard Plumbing Code, Table 13.6.1"

# Exact: a US gallon is 231 cu in.
GALLON: Final = 231.0

# A drain's strainer rises so far above the roof; a flat one is for decks that are walked on, where it is serviced.
# La. Admin. Code 51:XIV-1109, V; Chicago 18-29-1105, V.
STRAINER: Final = 4.0  # [in]
STRAINER_SOURCE: Final = "La. Admin. Code 51:XIV-1109"
