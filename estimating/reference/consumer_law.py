"""Deposits and the right to cancel as statutes put them: dated data for cautions, never advice.

A row says what its source said at the time given; whether it holds today and for this contract, counsel decides.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from fractions import Fraction
from typing import Final, Literal

Which = Literal["lesser", "greater", "share"]


@dataclass(frozen=True)
class DepositRule:
    """The most that may be asked before work begins: `share` of the price and `amount`, the lesser or the greater.

    `amount` None with "greater" stands for what special-order materials cost. `over`: contracts up to this price are
    not meant. `valid_from` None: the source does not say since when.
    """

    state: str
    name: str
    which: Which
    share: Fraction
    amount: Decimal | None
    over: Decimal
    words: str
    source: str
    read_as: str
    status: str
    valid_from: date | None = None


_THIRD: Final = Fraction(1, 3)

DEPOSIT_RULES: Final[dict[str, DepositRule]] = {rule.state: rule for rule in (
    DepositRule("CA", "California", "lesser", Fraction(1, 10), Decimal(1000), Decimal(500),
                "1,000 dollars or 10 % of the contract price, whichever is less",
                "California Business and Professions Code 7159 and 7159.5",
                "as quoted by the Contractors State License Board (bulletin 22-14) and law firms' pages; in its "
                "present form since 2005-07-01", "V", date(2005, 7, 1)),
    DepositRule("MA", "Massachusetts", "greater", _THIRD, None, Decimal(1000),
                "one third of the contract price, or what special-order materials cost, whichever is greater",
                "Massachusetts General Laws chapter 142A, section 2", "as quoted by a law page", "V"),
    DepositRule("MD", "Maryland", "share", _THIRD, None, Decimal(0),
                "one third of the contract price, and nothing before signing",
                "Maryland Business Regulation Article 8-617", "code of 2005", "V", date(2005, 1, 1)),
    DepositRule("PA", "Pennsylvania", "greater", _THIRD, None, Decimal(1000),
                "one third of the contract price, with special-order materials beside it",
                "73 P.S. 517.7 and 517.9", "from memory; the act is of 2009-07-01", "M", date(2009, 7, 1)),
    DepositRule("NJ", "New Jersey", "greater", _THIRD, None, Decimal(500),
                "one third of the contract price, with special-order materials beside it",
                "N.J.A.C. 13:45A-16", "from memory", "M"),
)}

# 16 CFR 429.0(a) and 429.1: a sale made away from the seller's place may be cancelled until midnight of the third
# business day; business day: any day but Sunday and federal holidays, so that Saturdays count (429.0(f)). V, ecfr.gov
# as of 2021-02-25.
COOLING_OFF_DAYS: Final = 3
COOLING_OFF_SOURCE: Final = "16 CFR 429"
