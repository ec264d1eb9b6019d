"""What the office should look at before a price goes out: deposits against state law, clauses that move the price.

Pure. Each caution gives the number, its basis, the source and who decides; none is advice and none says that
anything meets a law.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import asdict, dataclass
from datetime import date
from decimal import Decimal
from typing import Any

from estimating import money
from estimating.escalation import GUIDE
from estimating.reference.consumer_law import DEPOSIT_RULES, DepositRule

STATUS = {"V": "read in the source", "V2": "read in a restatement", "M": "from memory, to be verified"}


@dataclass(frozen=True)
class Caution:
    """One caution; `amount` and `limit` are money as text, where it has any."""

    key: str
    text: str
    basis: str
    source: str
    decided_by: str
    amount: str | None = None
    limit: str | None = None

    def as_json(self) -> dict[str, Any]:
        return asdict(self)


def state_of(jurisdiction: str) -> DepositRule | None:
    """The deposit rule of the state that a jurisdiction ends with: its two letters (and a ZIP code), or its name."""
    return next((rule for rule in DEPOSIT_RULES.values() if is_in_state(jurisdiction, rule.state, rule.name)), None)


def is_in_state(jurisdiction: str, state: str, name: str) -> bool:
    """Whether a jurisdiction ends with a state's two letters (and a ZIP code) or with its name."""
    words = re.sub(r"\s+\d{5}(-\d{4})?$", "", jurisdiction.strip())
    return bool(re.search(rf"(^|[\s,]){state}$", words) or re.search(rf"(^|[\s,]){name}$", words, re.IGNORECASE))


def deposit_limit(rule: DepositRule, price: Decimal) -> Decimal:
    """The most that the rule lets be asked before work begins, rounded down to the cent as a limit is.

    Of special-order materials nothing is known here, so that of the greater of two only the share is counted.
    """
    share = money.exact(rule.share) * money.exact(price)
    if rule.which == "lesser" and rule.amount is not None:
        share = min(share, money.exact(rule.amount))
    return Decimal(f"{int(share * 100)}E-2")


def deposit_caution(price: Decimal, payments: tuple[money.Payment, ...], jurisdiction: str, on: date
                    ) -> Caution | None:
    """That the first payment is over what a state's law names; None where it is not, or no rule is known."""
    rule = state_of(jurisdiction)
    if rule is None or not payments or price <= rule.over or (rule.valid_from and on < rule.valid_from):
        return None
    first, limit = payments[0], deposit_limit(rule, price)
    if first.amount <= limit:
        return None
    special = " What special-order materials cost is not known here." if rule.which == "greater" else ""
    return Caution(
        "deposit", f"The first payment, {first.amount:,.2f} {first.milestone}, is more than {limit:,.2f}: {rule.name} "
                   f"names {rule.words} as the most before work begins.{special} Which payments count as a deposit, "
                   "and whether the rule holds for this contract, counsel decides.",
        f"the job's jurisdiction, {jurisdiction}; a contract price of {price:,.2f}",
        f"{rule.source}; {rule.read_as} ({STATUS[rule.status]})", "counsel", str(first.amount), str(limit),
    )


def escalation_caution(escalation: Mapping[str, Any] | None) -> Caution | None:
    """That the price is not fixed while a clause lets it move."""
    if escalation is None:
        return None
    return Caution(
        "escalation", f"The price moves with series {escalation['series']}. A consumer contract may need one total in "
                      "dollars and cents and a signed change order for any other; a clause that moves it may not hold. "
                      "Counsel decides.",
        "the quote's escalation clause", f"California Business and Professions Code 7159.5 (a)(1) (read in a "
        f"restatement), as one such law; on the clause itself {GUIDE}", "counsel",
    )
