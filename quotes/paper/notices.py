"""Notices as they are printed: in the size and weight that was asked for, with what is unfilled named."""

from __future__ import annotations

from collections.abc import Mapping
from math import ceil
from typing import Any

from estimating.notice_text import BLANK

SIZES = range(8, 25)  # point sizes that the paper's style sheet has classes for


def printed(notice: Mapping[str, Any]) -> dict[str, Any]:
    """A notice with its text as lines of pieces, and the classes of its type.

    A size between two whole points is printed in the larger, since what is asked for is a least.
    """
    size = ceil(float(notice.get("point_size") or 10))
    if size not in SIZES:
        raise ValueError(f"{notice.get('title')}: a point size of {notice['point_size']} was read; expected "
                         f"{SIZES[0]} to {SIZES[-1]}")
    return {
        **notice,
        "type": f"pt-{size}" + (" bold" if notice.get("bold") else ""),
        "lines": [_pieces(line) for line in notice["text"].splitlines() if line.strip()],
        "copies": int(notice.get("copies") or 1),
        "missing": list(notice.get("missing") or ()),
        "is_form": notice.get("placement") == "acceptance",
    }


def _pieces(line: str) -> list[dict[str, Any]]:
    """Words of a line, and between them the names of what is still blank."""
    parts = BLANK.split(line.strip())
    return [{"words": part.replace("_", " ") if place % 2 else part, "is_blank": bool(place % 2)}
            for place, part in enumerate(parts) if part]
