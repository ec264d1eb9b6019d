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
STATUS: Final = {"V": "read in the source", "V2": "read in a restatement", "M": "from memory, to be verified"}


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

# 16 CFR 429, read as of 2021-02-25 (ecfr.gov), V: a sale made away from the seller's place may be cancelled until
# midnight of the third business day after the date of the transaction (429.1 (a), (b)); business day: any day but
# Sunday and federal holidays, so that Saturdays count (429.0(f)).
COOLING_OFF_DAYS: Final = 3
COOLING_OFF_SOURCE: Final = "16 CFR 429"


@dataclass(frozen=True)
class CancelRule:
    """Until when a sale may be cancelled: `days`, or more for a buyer of 65 or over or after a declared disaster.

    Days are counted as business days, also where a source says days only: the later day is the safe one. `state` is
    empty for the federal rule. `valid_from` None: the source does not say since when. `how`: what a cancellation may
    be, as the source has it.
    """

    state: str
    name: str
    days: int
    senior_days: int
    disaster_days: int
    words: str
    counted_from: str
    how: str
    source: str
    read_as: str
    status: str
    valid_from: date | None = None


_CALIFORNIA: Final = ("until midnight of the third business day, of the fifth for a senior citizen (65 or over), of "
                      "the seventh where the work repairs damage of a declared emergency")
_COPY: Final = "the day that the buyer has a signed and dated copy"

# Rows of a state in the order of their days. California's further rules on such contracts stand in its Civil Code
# 1689.5 to 1689.7; its third day is counted from the buyer's copy (digest of AB 2471 of 2020).
CANCEL_RULES: Final[tuple[CancelRule, ...]] = (
    CancelRule("", "The federal rule", COOLING_OFF_DAYS, COOLING_OFF_DAYS, COOLING_OFF_DAYS,
               "until midnight of the third business day after the date of the transaction", "the date of the "
               "transaction", "a signed and dated notice, mailed or delivered", "16 CFR 429.0 and 429.1",
               "as of 2021-02-25", "V"),
    CancelRule("CA", "California", 3, 5, 7, _CALIFORNIA, _COPY, "a signed and dated notice, mailed or delivered",
               "California Business and Professions Code 7159; Civil Code 1689.5 to 1689.7",
               "in digests of the legislature; five days since 2021-01-01", "V2", date(2021, 1, 1)),
    CancelRule("CA", "California", 3, 5, 7, _CALIFORNIA, _COPY, "a signed and dated notice, mailed, delivered or sent "
               "by e-mail; the contract names the e-mail address and a telephone number for help",
               "California Business and Professions Code 7159; Civil Code 1689.5 to 1689.7, as AB 1327 (chapter 348 "
               "of 2025) has them", "in digests of the legislature; from 2026-01-01 as secondary pages have it", "V2",
               date(2026, 1, 1)),
    CancelRule("NY", "New York", 3, 3, 3, "until midnight of the third business day after signing", "the day of "
               "signing", "a written notice", "New York General Business Law 771", "as of 2021-10-29; that business "
               "days are meant is from memory", "V2"),
)

# 16 CFR 429.0(a), V as above: how a sale was agreed decides whether the federal rule means it. The words are the
# office's own question; which answer takes a sale out of the rule, counsel decides.
WHERE_AGREED: Final[dict[str, str]] = {
    "buyer-home": "at the customer's home, invited or not",
    "seller-place": "at our own fixed place of business, after a visit of the customer there",
    "elsewhere": "somewhere else: a fair, a hotel, the customer's place of work",
    "remote": "wholly by mail, telephone or online, with no meeting of any kind before it",
    "emergency-at-buyers-request": "for an emergency at home, called by the customer, who gave up the right in a "
                                   "signed and dated statement of their own",
    "unknown": "not asked yet",
}
# 429.0(a): what a sale must come to before the rule means it, in force since 2015-03-13 (80 FR 1329), V. [USD]
COOLING_OFF_FROM: Final[dict[str, Decimal]] = {"buyer-home": Decimal(25), "elsewhere": Decimal(130)}
COOLING_OFF_FROM_SOURCE: Final = "16 CFR 429.0(a), in force since 2015-03-13 (80 FR 1329)"
# 429.0(a)(1) and (4), which the Commission reads as online too. The emergency of 429.0(a)(3) hangs on a statement in
# the buyer's own hand, so that it is not taken for an exemption here.
EXEMPT_WAYS: Final = frozenset({"seller-place", "remote"})
