"""An offer to try a homeowner's link on: the demo's revision with options and notices, and an honest person."""

from __future__ import annotations

import re
import secrets
from datetime import UTC, datetime
from typing import Any

from django.test import Client

from estimating.models import Job
from framing.records import canonical
from quotes.demonstration import NOW
from quotes.models import Acceptance, Offer, OfferEvent, OfferLink, Revision, Signature
from quotes.offers import _hashed, _token, end_of_day, token_of
from quotes.paper.files import PDF, Paper, keep_papers
from quotes.snapshots import snapshot_sha256

SIGNED_AT = datetime(2026, 3, 18, 15, 0, tzinfo=UTC)  # a Wednesday, 11:00 in the demo's office
CANCEL_BY = "March 21, 2026"  # three business days on, the Saturday counted (16 CFR 429.0(f))
OPTIONS = [
    {"key": "A", "name": "Ipe boards", "words": "Hardwood in place of cedar.", "quote": "Q00090",
     "price": "31250.00", "difference": "8222.80", "notes": []},
    {"key": "B", "name": "Picture frame", "words": "", "quote": "Q00091", "price": "22000.10",
     "difference": "-1027.10", "notes": []},
]
NOTICE = {
    "kind": "cancellation", "title": "Notice of cancellation", "jurisdiction": "", "placement": "acceptance",
    "copies": 2, "point_size": 10, "bold": True, "source": "an example", "said_by": "nobody",
    "valid_from": "2026-01-01", "review_by": "2027-01-01", "blanks": ["transaction_date", "cancel_by", "buyer_name"],
    "missing": [], "text": "Date of the transaction: {{transaction_date}}.\n\nYou may cancel until {{cancel_by}}.\n\n"
                           "Buyer: {{buyer_name}}",
}
ANSWERS = {"option": "base", "agreed_where": "buyer-home", "over_65": "no", "disaster": "no", "consent": "yes"}
OWNER, SECOND = "Odette Marlowe", "Ruben Marlowe"


def revised(revision: Revision, *, number: int | None = None, **more: Any) -> Revision:
    """The revision as the next one of its quote, with more in its snapshot."""
    last = Revision.objects.filter(quote=revision.quote).order_by("number").last()
    text = canonical({**revision.document, **more})
    kept = {name: getattr(revision, name) for name in ("plan_svg", "section_svg", "proposal_html", "cut_sheets_html",
                                                       "more_html")}
    return Revision.objects.create(
        quote=revision.quote, number=number or last.number + 1, snapshot=text, price=revision.price,
        sha256=snapshot_sha256(text, **kept), valid_until=revision.valid_until, issued_at=NOW, **kept)


def offered(revision: Revision, *, second: bool = False, names: tuple[str, str] = (OWNER, SECOND)) -> Offer:
    """The revision with its paper, offered to its owner, and to a second one."""
    keep_papers(revision, {"proposal": Paper(PDF, b"%PDF of the proposal")}, now=NOW)
    offer = Offer.objects.create(revision=revision, agreed_where="buyer-home", created_at=NOW,
                                 expires_at=end_of_day(revision.valid_until, "America/New_York"))
    for role, name in zip(OfferLink.Role.values[: 1 + second], names, strict=False):
        seed = secrets.token_hex(32)
        OfferLink.objects.create(offer=offer, role=role, name=name, email=f"{role}@example.com", seed=seed,
                                 token_sha256=_hashed(_token(seed)), created_at=NOW)
    return offer


def address(link: OfferLink, place: str = "") -> str:
    return f"/proposal/{token_of(link)}" + (f"/{place}" if place else "")


def answers(link: OfferLink, **more: str) -> dict[str, str]:
    """The first step as an honest person fills it in."""
    sha256 = link.offer.revision.sha256
    return {**ANSWERS, "revision_sha256": sha256, "code": sha256[:8], **more}


def hidden(page: str) -> dict[str, str]:
    """The hidden fields of a page's forms."""
    return dict(re.findall(r'<input type="hidden" name="(\w+)" value="([^"]*)">', page))


def second_step(client: Client, link: OfferLink, **more: str) -> dict[str, str]:
    """What the second step's form holds after an honest first step, with the name typed."""
    answer = client.post(address(link, "choices"), answers(link, **more))
    assert answer.status_code == 200, answer.content.decode()
    found = hidden(answer.content.decode())
    return {name: found[name] for name in ("choices", "revision_sha256", "deed_sha256")} | {"name": link.name}


def sign(client: Client, link: OfferLink, **more: str):
    """Both steps, as an honest person takes them."""
    return client.post(address(link, "accept"), second_step(client, link, **more))


def written() -> dict[str, int]:
    """How much there is of what an acceptance writes."""
    kinds = (OfferEvent.Kind.DECLINED, OfferEvent.Kind.CANCELLED, OfferEvent.Kind.QUESTION)
    return {"accepted jobs": Job.objects.exclude(accepted_on=None).count(), "acceptances": Acceptance.objects.count(),
            "signatures": Signature.objects.count(), "events": OfferEvent.objects.filter(kind__in=kinds).count()}
