"""What one person signs under an offer: everything that its hash covers, made of what was frozen and what they chose.

Nobody's form says what is signed: revision, option and price come from the revision, dates from the day and the
answers. A form only has to name the hash of what comes of these, so that nobody signs what was not shown.
"""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from typing import Any

from estimating.notices import days_given
from estimating.office import local_day, the_office
from estimating.right_to_cancel import cancel_by_for
from estimating.service.problems import refusal
from framing.records import canonical
from quotes.acceptance.consent import Consent, consent_to
from quotes.acceptance.signed_notices import completed_notices, unfilled
from quotes.models import Offer, OfferLink

AS_OFFERED = ""  # key of the deck as first offered, where no option is chosen

# How and where it was agreed, as the person who signs is asked: what decides which rules of sales away from a seller's
# place may be meant (16 CFR 429.0(a)). It is kept; nothing is concluded from it.
AGREED_WHERE = {
    "buyer-home": "At my home or on the roof, with somebody from the office there, invited or not",
    "elsewhere": "Somewhere else in person: a fair, my place of work, a café",
    "seller-place": "At the office's own place of business, where I went",
    "remote": "By mail, telephone or online alone; we never met",
    "unknown": "I am not sure",
}


@refusal(409)
class AcceptanceRefused(Exception):
    """What was asked for cannot be done; the sentence tells the person who asked."""


@refusal(409)
class NotTheSame(AcceptanceRefused):
    """What would be signed is not what was shown."""


@refusal(409)
class NotComplete(AcceptanceRefused):
    """A notice that has to go with the acceptance is not filled in."""


@refusal(422)
class NotAnOption(AcceptanceRefused):
    """There is no such option in this proposal."""


@dataclass(frozen=True)
class Choices:
    """What a person chose and answered before signing. None: not answered, or not known."""

    option: str
    agreed_where: str
    over_65: bool | None
    disaster: bool | None
    access_shown: str
    consented_at: datetime


@dataclass(frozen=True)
class Deed:
    """What one person signs: everything that its hash covers, and the rule that the last day was counted by."""

    revision_sha256: str
    option: str
    price: Decimal
    consent: Consent
    notices: tuple[Mapping[str, Any], ...]
    transaction_date: date
    cancel_by: date
    cancel_rule: Mapping[str, Any]

    @property
    def sha256(self) -> str:
        """Over the canonical JSON of revision, option, price, consent, notices and both dates."""
        text = canonical({
            "revision": self.revision_sha256, "option": self.option, "price": str(self.price),
            "consent": {"version": self.consent.version, "text": self.consent.text},
            "notices": [dict(notice) for notice in self.notices],
            "transaction_date": self.transaction_date.isoformat(), "cancel_by": self.cancel_by.isoformat(),
        })
        return hashlib.sha256(text.encode()).hexdigest()


def deed_for(link: OfferLink, choices: Choices, *, now: datetime) -> Deed:
    """What the person of a link would sign at a moment. Raises NotAnOption, or NotComplete for an unfilled notice."""
    revision, office = link.offer.revision, the_office()
    snapshot = revision.document
    day = local_day(office, now)
    last = cancel_by_for(revision.quote.job.jurisdiction, day, over_65=choices.over_65, disaster=choices.disaster,
                         at_least=days_given(snapshot.get("notices") or ()))
    notices = completed_notices(snapshot, transaction_date=day, cancel_by=last.day)
    if missing := unfilled(notices):
        raise NotComplete(f"A notice that goes with the acceptance is not filled in ({missing}), so nothing can be "
                          "signed here yet. Please tell the office.")
    return Deed(
        revision_sha256=revision.sha256, option=choices.option, price=price_of(link.offer, choices.option),
        consent=consent_to(str(revision), snapshot["office"]), notices=tuple(notices), transaction_date=day,
        cancel_by=last.day, cancel_rule=last.as_json(),
    )


def price_of(offer: Offer, option: str) -> Decimal:
    """The price of an option, as it was frozen. Raises NotAnOption."""
    if option == AS_OFFERED:
        return offer.revision.price
    for row in offer.revision.document.get("options") or ():
        if row["key"] == option:
            return Decimal(row["price"])
    raise NotAnOption("There is no such option in this proposal; choose one of those that stand in it.")
