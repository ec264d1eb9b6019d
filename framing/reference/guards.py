"""Guards at the edge of a walking surface: when the residential code asks for one.

Status of a number: V = read in the source or a public body's reprint.
"""

from __future__ import annotations

from typing import Final

# IRC 2018 R312.1.1, V (Jefferson County, Colorado, reprint): a drop of more than 30 in within 36 in of the edge.
GUARD_DROP: Final = 30.0  # [in]
GUARD_REACH: Final = 36.0  # [in]
GUARD_SOURCE: Final = "IRC 2018 R312.1"
