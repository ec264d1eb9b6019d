"""What federal rules and states name for contracts on a home, beside deposits and notices: for notes, never advice.

A row says what its source said when it was read; whether it holds today and for this contract, counsel decides.
Status: V = read in the source or a public reprint; V2 = read in a restatement; M = from memory, to be verified.
"""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from typing import Final

# 12 CFR 1026.23: three business days where credit is secured by the home; V (a state's manual).
RESCISSION_SOURCE: Final = "12 CFR 1026.23"

# 15 U.S.C. 7001(c): consent before what must be in writing goes out electronically; V.
ELECTRONIC_SOURCE: Final = "15 U.S.C. 7001(c)"

# 40 CFR 745 subpart E (renovation, repair and painting): housing built before 1978; M.
LEAD_PAINT_BEFORE: Final = 1978
LEAD_PAINT_SOURCE: Final = "40 CFR 745 subpart E (from memory, to be verified)"

LICENSE_SOURCE: Final = ("California Business and Professions Code 7030.5 (read in a restatement), as one of several "
                         "states' laws")


@dataclass(frozen=True)
class ContractRule:
    """What a state's law names for a home improvement contract of more than `over` dollars."""

    state: str
    name: str
    over: Decimal
    words: str
    source: str


CONTRACT_RULES: Final[tuple[ContractRule, ...]] = (
    ContractRule("CA", "California", Decimal(500),
                 "a written contract with the price in dollars and cents, payments in dollars and none ahead of the "
                 "work done, and notices on liens, insurance and the licensing board",
                 "California Business and Professions Code 7159 (read as quoted by the licensing board)"),  # V
    ContractRule("MA", "Massachusetts", Decimal(1000),
                 "a written contract with the registration number, dates of start and completion, a schedule of "
                 "payments, and no last payment until both are satisfied",
                 "Massachusetts General Laws chapter 142A, section 2 (read on a law page)"),  # V
    ContractRule("NY", "New York", Decimal(500),
                 "a signed contract with dates of start and completion, materials with make and model, a lien notice, "
                 "and deposits held in trust or bonded",
                 "New York General Business Law 770 and 771 (read in the source; its 500 dollars from memory)"),  # V, M
    ContractRule("MD", "Maryland", Decimal(0),
                 "no payment before the contract is signed, and the commission's license number, phone and address",
                 "Maryland Business Regulation Article 8-617 (code of 2005)"),  # V
    ContractRule("PA", "Pennsylvania", Decimal(500),
                 "a signed contract with the registration number",
                 "73 P.S. 517.7 (from memory, to be verified)"),  # M
    ContractRule("NJ", "New Jersey", Decimal(500),
                 "a signed contract with the registration number displayed",
                 "N.J.A.C. 13:45A-16 (from memory, to be verified)"),  # M
)
