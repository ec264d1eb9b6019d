"""Surveying: how far readings may disagree, and the risks that their tests take."""

from __future__ import annotations

FAMILY_RISK = 0.01
"""Chance that sound readings, all tested together, see one of them called a suspect. [-]

Source: this project's survey format (two-sided normal tests shared out after Sidak 1967).
"""

POWER_QUANTILE = 2.05
"""Normal quantile of a 98 % chance of noticing a slip: the power in the least slip a reading's test can find. [-]

Source: W. Baarda, A Testing Procedure for Use in Geodetic Networks, 1968, the form; the 98 % is common practice
(from memory).
"""

INSEPARABLE = 0.9
"""Correlation of two standardised residuals from which a slip in one reading cannot be told from one in the other. [-]

Source: common practice in network design (from memory).
"""

DATUM_DRIFT = 0.125
"""Most that the datum may have moved by the last time it is read. [in]

Source: common practice for level rounds: survey again over 1/8 in, share out by reading order under it.
"""

LARGE_SLIP = 1.0
"""A slip this large that the tapes would not show is worth a note. [in] Source: common practice."""

WEAK_POINT = 1.0
"""Standard error from which a point counts as weakly fixed. [in] Source: common practice."""

LOST_POINT = 6.0
"""Standard error, within the figure where that alone gives the frame, from which a point counts as not fixed. [in]

Source: common practice.
"""

GROSS_SLIP = (12.0, 0.05)
"""Most that one tape may miss from the others and still be taken for a slip of the reading: the greater of a
foot misread [in] and a share of the length [-]. Source: common practice."""

SHOT_REACH = 48.0
"""Most from a pad to the nearest height reading on the roof. [in] Source: common practice, a reading every 4 ft."""

SHOT_MARGIN = 12.0
"""How far pads may stand outside the area that the height readings span. [in]

Source: common practice; a rod does not stand in the angle of wall and roof.
"""
