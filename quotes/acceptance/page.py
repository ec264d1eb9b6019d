"""What the homeowner's page shows: the proposal, how it stands, what was asked and answered, and the receipt."""

from __future__ import annotations

import re
from collections.abc import Mapping
from datetime import datetime
from decimal import Decimal
from typing import Any
from zoneinfo import ZoneInfo

from django.utils.safestring import mark_safe

from estimating.notices import as_written
from quotes.acceptance.consent import CODE_LENGTH, consent_to
from quotes.acceptance.deeds import AGREED_WHERE, Choices, Deed
from quotes.acceptance.form import BASE, shown
from quotes.acceptance.signed_notices import copies_of
from quotes.acceptance.signing import SENTENCES, may_cancel, takes_questions
from quotes.models import Acceptance, OfferEvent, OfferLink, RenderedFile, Signature
from quotes.offers import Standing, standing
from quotes.paper.rendering import body_of, filled
from quotes.sales import last_signed

ROLES = {"owner": "Owner", "co-owner": "Second owner", "office": "For the office"}
OVER_65_ANSWERS = {"yes": "Yes", "no": "No", "unsaid": "I would rather not say"}
DISASTER_ANSWERS = {"yes": "Yes", "no": "No", "unknown": "I do not know"}
TO_SIGN = (Standing.OPEN, Standing.SIGNED_IN_PART)


def page_of(link: OfferLink, *, now: datetime) -> dict[str, Any]:
    """Everything that the page of a link shows at a moment."""
    offer, revision = link.offer, link.offer.revision
    snapshot = revision.document
    found = standing(offer, now)
    acceptance = Acceptance.objects.filter(offer=offer).prefetch_related("signatures").first()
    mine = next((row for row in acceptance.signatures.all() if row.link_id == link.pk), None) if acceptance else None
    waits = link.role == OfferLink.Role.CO_OWNER and acceptance is None
    return {
        **frame_of(link), "proposal": proposal_of(link), "standing": found, "may_sign": found in TO_SIGN and not mine
        and not waits, "waits": waits and found in TO_SIGN, "may_decline": found in TO_SIGN and not mine,
        "sentence": SENTENCES[found].format(until=as_written(revision.valid_until)), "is_open": found in TO_SIGN,
        "options": options_of(snapshot, revision.price), "chosen": _chosen(link, acceptance) if acceptance else None,
        "receipt": _receipt(link, acceptance, mine, found, now) if acceptance and mine else None,
        "questions": _questions(link, snapshot), "takes_questions": takes_questions(offer, now),
        "papers": {file.kind: file for file in revision.files.filter(
            kind__in=(RenderedFile.Kind.PROPOSAL, RenderedFile.Kind.SIGNED)).order_by("pk")},
        **form_of(link),
    }


def frame_of(link: OfferLink) -> dict[str, Any]:
    """What every page of a link needs: who the office is, and which proposal it is about."""
    revision = link.offer.revision
    snapshot = revision.document
    office = snapshot["office"]
    return {
        "office": {**office, "address_lines": [line for line in office["address"].splitlines() if line.strip()]},
        "number": f"{revision.quote.number}, revision {revision.number}", "price": revision.price,
        "currency": snapshot["estimate"]["currency"], "valid_until": as_written(revision.valid_until),
        "site": link.offer.revision.quote.job.site_address, "link": link,
    }


def form_of(link: OfferLink, values: Mapping[str, str] | None = None, faults: Mapping[str, str] | None = None
            ) -> dict[str, Any]:
    """What the first step of accepting asks, with what was answered and what is wrong with it."""
    revision = link.offer.revision
    acceptance = Acceptance.objects.filter(offer=link.offer).first()
    return {
        "consent": consent_to(str(revision), revision.document["office"]), "code_length": CODE_LENGTH,
        "where_answers": AGREED_WHERE, "over_65_answers": OVER_65_ANSWERS, "disaster_answers": DISASTER_ANSWERS,
        "values": values or {}, "faults": faults or {}, "revision_sha256": revision.sha256,
        "options": options_of(revision.document, revision.price),
        "chosen": _chosen(link, acceptance) if acceptance else None,
    }


def proposal_of(link: OfferLink) -> str:
    """The frozen proposal as a part of a page: names filled in and escaped, its headings one step down."""
    revision = link.offer.revision
    job = revision.quote.job
    page = filled(revision.proposal_html, name=job.customer.name, site=job.site_address, sha256=revision.sha256)
    body = body_of(page)
    return mark_safe(re.sub(r"<(/?)h([1-5])\b", lambda found: f"<{found[1]}h{int(found[2]) + 1}", body))


def options_of(snapshot: Mapping[str, Any], price: Decimal) -> list[dict[str, Any]]:
    """The ways to build it as they are offered, the first without a key; `value` is what the form calls each."""
    first = {"value": BASE, "key": "", "name": "As described in section 1", "words": "", "price": price,
             "difference": None}
    return [first, *({"value": row["key"], "key": row["key"], "name": row["name"], "words": row["words"],
                      "price": Decimal(row["price"]), "difference": Decimal(row["difference"])}
                     for row in snapshot.get("options") or ())]


def deed_of(link: OfferLink, choices: Choices, deed: Deed) -> dict[str, Any]:
    """What the second step shows: exactly what is signed, the notices in every copy."""
    options = options_of(link.offer.revision.document, link.offer.revision.price)
    return {
        **frame_of(link), "deed": deed, "option": next(row for row in options if row["key"] == deed.option),
        "copies": copies_of(deed.notices, link.name), "transaction_date": as_written(deed.transaction_date),
        "cancel_by": as_written(deed.cancel_by), "agreed_where": AGREED_WHERE[choices.agreed_where],
    }


def moment(at: datetime, zone: str) -> str:
    """A moment as people read it, in a time zone: March 16, 2026 at 10:04 (America/New_York)."""
    local = at.astimezone(ZoneInfo(zone))
    return f"{local:%B} {local.day}, {local.year} at {local:%H:%M} ({zone})"


def _chosen(link: OfferLink, acceptance: Acceptance) -> dict[str, Any]:
    options = options_of(link.offer.revision.document, link.offer.revision.price)
    return next(row for row in options if row["value"] == shown(acceptance.option))


def _receipt(link: OfferLink, acceptance: Acceptance, mine: Signature, found: Standing, now: datetime
             ) -> dict[str, Any]:
    """What was signed, by whom and when, and until when it may be cancelled."""
    zone = link.offer.revision.document["office"]["time_zone"]
    signed = last_signed(acceptance)
    assert signed is not None and mine.transaction_date is not None and mine.cancel_by is not None
    return {
        "revision_sha256": acceptance.revision_sha256, "price": acceptance.price,
        "signatures": [{"role": ROLES[row.role], "name": row.name, "at": moment(row.created_at, zone),
                        "sha256": row.signed_sha256} for row in acceptance.signatures.all()],
        "countersigned": any(row.role == Signature.Role.OFFICE for row in acceptance.signatures.all()),
        "transaction_date": as_written(mine.transaction_date), "cancel_by": as_written(signed[1]),
        "cancelled_at": next((moment(row.created_at, zone) for row in link.offer.events.filter(
            kind=OfferEvent.Kind.CANCELLED)), ""),
        "may_cancel": found in (Standing.ACCEPTED, Standing.SIGNED_IN_PART) and may_cancel(acceptance, now),
        "copies": copies_of(mine.notices, link.name),
    }


def _questions(link: OfferLink, snapshot: Mapping[str, Any]) -> list[dict[str, Any]]:
    """What this person asked and what the office answered, oldest first."""
    zone = snapshot["office"]["time_zone"]
    rows = OfferEvent.objects.filter(link=link, kind=OfferEvent.Kind.QUESTION, erased_at=None)
    return [{"text": row.text, "at": moment(row.created_at, zone),
             "answers": [{"text": answer.text, "at": moment(answer.created_at, zone)}
                         for answer in row.answered_by.all() if answer.kind == OfferEvent.Kind.ANSWER]}
            for row in rows.order_by("pk").prefetch_related("answered_by")]
