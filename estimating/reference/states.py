"""The states by their two letters, and which one a jurisdiction lies in."""

from __future__ import annotations

import re
from typing import Final

# Two-letter abbreviations of the United States Postal Service (Publication 28, appendix B); from memory, the states
# and the District of Columbia.
STATES: Final[dict[str, str]] = {
    "AL": "Alabama", "AK": "Alaska", "AZ": "Arizona", "AR": "Arkansas", "CA": "California", "CO": "Colorado",
    "CT": "Connecticut", "DE": "Delaware", "DC": "District of Columbia", "FL": "Florida", "GA": "Georgia",
    "HI": "Hawaii", "ID": "Idaho", "IL": "Illinois", "IN": "Indiana", "IA": "Iowa", "KS": "Kansas", "KY": "Kentucky",
    "LA": "Louisiana", "ME": "Maine", "MD": "Maryland", "MA": "Massachusetts", "MI": "Michigan", "MN": "Minnesota",
    "MS": "Mississippi", "MO": "Missouri", "MT": "Montana", "NE": "Nebraska", "NV": "Nevada", "NH": "New Hampshire",
    "NJ": "New Jersey", "NM": "New Mexico", "NY": "New York", "NC": "North Carolina", "ND": "North Dakota",
    "OH": "Ohio", "OK": "Oklahoma", "OR": "Oregon", "PA": "Pennsylvania", "RI": "Rhode Island", "SC": "South Carolina",
    "SD": "South Dakota", "TN": "Tennessee", "TX": "Texas", "UT": "Utah", "VT": "Vermont", "VA": "Virginia",
    "WA": "Washington", "WV": "West Virginia", "WI": "Wisconsin", "WY": "Wyoming",
}  # fmt: skip


def state_in(jurisdiction: str) -> str | None:
    """The state that a jurisdiction ends with, by its two letters (before a ZIP code, perhaps) or its name."""
    words = re.sub(r"\s+\d{5}(-\d{4})?$", "", " ".join(jurisdiction.split()))
    last = re.split(r"[\s,]", words)[-1]
    if last in STATES:
        return last
    ends = [code for code, name in STATES.items() if re.search(rf"(^|[\s,]){name}$", words, re.IGNORECASE)]
    return max(ends, key=lambda code: len(STATES[code]), default=None)  # West Virginia ends with Virginia too
