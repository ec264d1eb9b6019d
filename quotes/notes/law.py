"""Notes on the contract itself: what consumer law and a roof's owner may ask. Counsel decides; none is advice.

Deposits against a state's limit are cautions of the office's own (`quotes.cautions`) and stand on no proposal; the
wording of notices comes from the office's counsel.
"""

from __future__ import annotations

from collections.abc import Iterator

from estimating.reference.consumer_law import COOLING_OFF_FROM, COOLING_OFF_FROM_SOURCE
from estimating.reference.home_contracts import (
    CONTRACT_RULES,
    ELECTRONIC_SOURCE,
    LEAD_PAINT_BEFORE,
    LEAD_PAINT_SOURCE,
    LICENSE_SOURCE,
    RESCISSION_SOURCE,
)
from estimating.reference.states import state_in
from quotes.notes.facts import Facts
from quotes.notes.rule import PRACTICE, Rule, Words

PLACES_AGREED = {"buyer-home": "at the buyer's home", "elsewhere": "away from the seller's place"}
OWNERS = {"board": "A board", "landlord": "A landlord"}


def _cooling_off(facts: Facts) -> Iterator[Words]:
    contract = facts.contract
    if contract is None or contract.price is None or contract.agreed_where not in (*PLACES_AGREED, "unknown"):
        return
    where = contract.agreed_where if contract.agreed_where in PLACES_AGREED else "buyer-home"
    limit = COOLING_OFF_FROM[where]
    if contract.price >= limit:
        yield {"told": PLACES_AGREED[where], "least": f"{limit:g}",
               "unknown": " Where this one is agreed is not recorded yet." if where != contract.agreed_where else "",
               "value": float(contract.price), "limit": float(limit), "unit": "USD"}


def _rescission(facts: Facts) -> Iterator[Words]:
    if facts.contract is not None and facts.contract.financed:
        yield {}


def _electronic(facts: Facts) -> Iterator[Words]:
    if facts.contract is not None and facts.contract.electronic:
        yield {}


def _lead_paint(facts: Facts) -> Iterator[Words]:
    if facts.contract is None:
        return
    built = facts.contract.year_built
    if built is None or built < LEAD_PAINT_BEFORE:
        yield {"built": "The year in which the building was built is not recorded" if built is None
               else f"The building is of {built}", "value": None if built is None else float(built),
               "limit": float(LEAD_PAINT_BEFORE), "unit": "year", "status": "note" if built is None else "caution"}


def _roof_owner(facts: Facts) -> Iterator[Words]:
    contract = facts.contract
    if contract is None or contract.consent_given_on:
        return
    if contract.roof_owner == "unknown":
        yield {"told": "Who owns and controls the roof is not recorded yet; if it is not the customer, its owner's "
                       "consent in writing is needed", "status": "caution"}
    elif contract.roof_owner != "customer" or contract.consent_needed:
        yield {"told": f"{OWNERS.get(contract.roof_owner, 'Another than the customer')} has a say over the roof and "
                       "has not yet given consent in writing", "status": "caution"}


def _license(facts: Facts) -> Iterator[Words]:
    if facts.contract is not None and not facts.contract.license_number.strip():
        yield {"status": "caution"}


def _state(facts: Facts) -> Iterator[Words]:
    contract = facts.contract
    if contract is None or contract.price is None:
        return
    for rule in CONTRACT_RULES:
        if state_in(contract.jurisdiction) == rule.state and contract.price > rule.over:
            yield {"name": rule.name, "words": rule.words, "source": rule.source, "value": float(contract.price),
                   "over": f" of more than {rule.over:,} dollars" if rule.over else "",
                   "limit": float(rule.over), "unit": "USD", "where": rule.name}


def _liens(facts: Facts) -> Iterator[Words]:
    if facts.contract is not None:
        yield {}


LAW: tuple[Rule, ...] = (
    Rule("roof-owner", "deferral", "{told}. No material is ordered before that.",
         "job", PRACTICE, "the roof's owner", _roof_owner),
    Rule("lead-paint", "deferral",
         f"{{built}}. In homes from before {LEAD_PAINT_BEFORE} a federal rule asks for certified, lead-safe work where "
         "old paint is disturbed, such as at the door; paint is tested or taken to hold lead.",
         "job", LEAD_PAINT_SOURCE, "certified renovator", _lead_paint),
    Rule("license-missing", "deferral",
         "The contractor's license or registration number is not filled in. Several states ask for it on contracts and "
         "proposals; ask for it before signing.",
         "office", LICENSE_SOURCE, "licensing board", _license),
    Rule("cooling-off", "deferral",
         "Where a sale of {least} dollars or more is agreed {told}, also on invitation, federal law lets the buyer "
         "cancel until midnight of the third business day, Saturdays counted.{unknown}",
         "contract", COOLING_OFF_FROM_SOURCE, "counsel", _cooling_off),
    Rule("rescission", "deferral",
         "The work is to be financed against the home: federal law then gives three business days to cancel the "
         "credit, which the lender's papers set out.",
         "contract", RESCISSION_SOURCE, "lender and counsel", _rescission),
    Rule("electronic-records", "deferral",
         "This proposal goes out electronically. What the law wants in writing needs the owner's consent to that "
         "first; a paper copy is given on asking.",
         "contract", ELECTRONIC_SOURCE, "owner and counsel", _electronic),
    Rule("home-contract", "deferral",
         "For home improvement contracts{over} {name}'s law names {words}. Whether it holds here, counsel decides.",
         "contract", "", "counsel", _state),
    Rule("liens", "deferral",
         "In most states those who supply labor or materials and are not paid may claim a lien on the property. Ask "
         "for releases with each payment.",
         "contract", "state lien laws, from memory", "counsel", _liens),
)
