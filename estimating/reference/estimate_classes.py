"""Classes of estimates by how much is known, and the band of accuracy that goes with each.

AACE International Recommended Practice 18R-97, Cost Estimate Classification System, process industries, rev. of 2016
and 2020: names of the classes, maturity of definition and the outermost range of each class, V2 (three pages agree);
the innermost range, M. The practice gives ranges for process plants; that they are shown for a deck, and which survey
makes which class, is common practice of this house with no published source.
"""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from typing import Final

SOURCE: Final = "AACE International Recommended Practice 18R-97"


@dataclass(frozen=True)
class EstimateClass:
    """One class: maturity of definition [per cent], outermost band, innermost band. Bands are shares of the price."""

    number: int
    definition: tuple[int, int]
    low: Decimal
    high: Decimal
    inner_low: Decimal
    inner_high: Decimal
    known: str
    status: str = "V2"
    inner_status: str = "M"

    @property
    def name(self) -> str:
        return f"Class {self.number}"


def _class(number: int, definition: tuple[int, int], low: str, high: str, inner_low: str, inner_high: str,
           known: str) -> EstimateClass:
    return EstimateClass(number, definition, Decimal(low), Decimal(high), Decimal(inner_low), Decimal(inner_high),
                         known)


ESTIMATE_CLASSES: Final[dict[int, EstimateClass]] = {row.number: row for row in (
    _class(5, (0, 2), "-0.50", "1.00", "-0.20", "0.30", "a call on the phone"),
    _class(4, (1, 15), "-0.30", "0.50", "-0.15", "0.20", "photos and a plan of the roof"),
    _class(3, (10, 40), "-0.20", "0.30", "-0.10", "0.10", "a full survey that does not close within its tolerance, or "
                                                           "that lacks a reading"),
    _class(2, (30, 75), "-0.15", "0.20", "-0.05", "0.05", "a full survey that closes"),
    _class(1, (65, 100), "-0.10", "0.15", "-0.03", "0.03", "a full survey that closes, a cut list, and suppliers' "
                                                            "prices that are fixed until a day"),
)}
