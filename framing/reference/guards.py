"""Guards at the edge of a walking surface: when the residential code asks for one.

Status of a number: V = read in the source or a public body's reprint.
"""

from __future__ import annotations

from typing import Final

# IRC 2018 R312.1.1, V (Jefferson County, Colorado, reprint): a drop of more than 30 in within 36 in of the edge.
GUARD_DROP: Final = 30.0  # [in]
GUARD_REACH: Final = 36.0  # [in]
GUARD_SOURCE: Final = "IRC 2018 R312.1"

# Height of a guard: IRC 2018 R312.1.2, V (same reprint); IBC 1015.3, V2, for what the residential code does not cover.
GUARD_HEIGHT: Final = 36.0  # [in]
GUARD_HEIGHT_OTHER: Final = 42.0  # [in]
GUARD_HEIGHT_SOURCE: Final = "IRC 2018 R312.1.2; IBC 1015.3"

# People at work at an unprotected edge this high or more are protected from falling: 29 CFR 1926.501(b)(1), V
# (interpretation of 2003-09-26).
FALL_PROTECTION: Final = 72.0  # [in]
FALL_PROTECTION_SOURCE: Final = "29 CFR 1926.501(b)(1)"
