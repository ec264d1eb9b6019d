"""How far a price may miss by what is known when it is made: the class of the estimate and its band. Pure.

The classes and bands are AACE International's; which knowledge makes which class is common practice of this house.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from estimating import money
from estimating.reference.estimate_classes import ESTIMATE_CLASSES, SOURCE, EstimateClass

OPEN_CHECKS = ("misclosure", "no-redundancy")  # of a survey whose tapes do not bear each other out


@dataclass(frozen=True)
class Known:
    """What an estimate rests on. `complete`: no reading is missing. `closes`: the tapes agree within their tolerance.

    `prices_fixed`: every supplier's price holds until a day that it names, and nothing is an allowance.
    """

    photos_and_plan: bool = False
    survey: bool = False
    complete: bool = False
    closes: bool = False
    cut_list: bool = False
    prices_fixed: bool = False


def class_of(known: Known) -> EstimateClass:
    """The class of an estimate by what is known: 5 a phone call, 4 photos and a plan, 3 and 2 a survey, 1 all of it."""
    if not known.survey:
        return ESTIMATE_CLASSES[4 if known.photos_and_plan else 5]
    if not (known.complete and known.closes):
        return ESTIMATE_CLASSES[3]
    return ESTIMATE_CLASSES[1 if known.cut_list and known.prices_fixed else 2]


def known_of(framing: Mapping[str, Any], lines: Iterable[Any]) -> Known:
    """What is known of a deck that was framed: by the checks of its `deck-framing/1` document and its priced lines."""
    codes = {check["code"] for check in framing.get("checks") or ()}
    adjusted = framing.get("survey_adjustment") or {}
    bought = [line for line in lines if line.kind in ("material", "service", "allowance")]
    return Known(
        photos_and_plan=True, survey=True, complete="not-measured" not in codes,
        closes=not codes.intersection(OPEN_CHECKS) and not adjusted.get("suspects"),
        cut_list=bool(framing.get("stock_plan")),
        prices_fixed=bool(bought) and all(line.came_from.get("valid_to") and not line.allowance for line in bought),
    )


def band(price: Decimal, known: Known) -> dict[str, Any]:
    """The class and its outermost band about a price, as the estimate keeps it; amounts are text."""
    row = class_of(known)
    return {
        "class": row.number, "name": row.name, "low": str(money.line(price, 1 + row.low)),
        "high": str(money.line(price, 1 + row.high)), "shares": [str(row.low), str(row.high)], "known": row.known,
        "source": SOURCE, "status": row.status, "mapping": "common practice, no published source",
        "text": f"{row.name} of {SOURCE} (outermost range, read in restatements), by common practice that of "
                f"{row.known}: {row.low:+.0%} to {row.high:+.0%}.",
    }
