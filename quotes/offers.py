"""Offering a revision: what stands in its way, the link of each person who may accept it, and how the offer stands.

An offer and what happened to it are rows that are only added to; how it stands is read from them, at a moment.
"""

from __future__ import annotations

import hashlib
import hmac
import secrets
from base64 import urlsafe_b64encode
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from enum import StrEnum
from zoneinfo import ZoneInfo

from django.conf import settings
from django.db import transaction
from django.db.models import Count, Q, QuerySet

from estimating import notices
from estimating.models import User
from estimating.office import local_day, the_office
from estimating.service.history import note
from estimating.service.problems import refusal
from estimating.service.runs import start_run
from estimating.steps import consent_blocker
from quotes.models import Acceptance, Offer, OfferEvent, OfferLink, Revision
from quotes.offer_checks import Reason, Surroundings, reasons
from quotes.snapshots import is_intact


@dataclass(frozen=True)
class Recipient:
    """Who gets a link: `role` is one of `OfferLink.Role`."""

    role: str
    name: str
    email: str


class Standing(StrEnum):
    """How an offer stands at a moment; only an open one can be accepted."""

    OPEN = "open"
    SIGNED_IN_PART = "signed-in-part"  # accepted by one owner, the other has not signed
    ACCEPTED = "accepted"
    CANCELLED = "cancelled"
    DECLINED = "declined"
    WITHDRAWN = "withdrawn"
    SUPERSEDED = "superseded"
    EXPIRED = "expired"


@refusal(409)
class OfferRefused(Exception):
    """Something stands in the way of offering a revision; `reasons` says all of it."""

    def __init__(self, revision: Revision, found: Sequence[Reason]) -> None:
        self.reasons = tuple(found)
        super().__init__(f"{revision} cannot be offered: " + " ".join(reason.text for reason in found))


@refusal(409)
class OfferEnded(Exception):
    """The offer is no longer open."""


@transaction.atomic
def offer_revision(revision_id: int, recipients: Sequence[Recipient], *, agreed_where: str, by: User | None,
                   now: datetime) -> Offer:
    """Offer a revision to its recipients, each by a link of their own; a run makes the papers and posts the mail.

    Raises OfferRefused with everything that stands in the way.
    """
    revision = Revision.objects.select_for_update(of=("self",)).select_related("quote__job__customer").get(
        pk=revision_id)
    if found := reasons_against(revision, recipients, agreed_where=agreed_where, now=now):
        raise OfferRefused(revision, found)
    offer = Offer.objects.create(revision=revision, agreed_where=agreed_where, created_at=now, created_by=by,
                                 expires_at=end_of_day(revision.valid_until, the_office().time_zone))
    for recipient in recipients:
        seed = secrets.token_hex(32)
        OfferLink.objects.create(
            offer=offer, role=recipient.role, name=recipient.name, email=recipient.email, seed=seed,
            token_sha256=_hashed(_token(seed)), created_at=now, created_by=by,
        )
    note(offer, "offer", {"revision": [None, str(revision)], "agreed_where": [None, agreed_where]}, by=by, now=now)
    start_run("offer", f"offer/{offer.pk}", by=by, now=now)
    return offer


def reasons_against(revision: Revision, recipients: Sequence[Recipient], *, agreed_where: str = "unknown",
                    now: datetime) -> tuple[Reason, ...]:
    """Everything that stands in the way of offering a revision at a moment; empty where nothing does."""
    office, quote = the_office(), revision.quote
    today, snapshot = local_day(office, now), revision.document
    consent = consent_blocker(quote.job)
    found = notices.blockers(snapshot.get("notices") or (), quote.job.jurisdiction, today, agreed_where)
    return reasons(snapshot, Surroundings(
        today=today, intact=is_intact(revision), offered_before=Offer.objects.filter(revision=revision).exists(),
        newest=not quote.revisions.filter(number__gt=revision.number).exists(), job_status=quote.job.status,
        erased=quote.job.customer.erased_at is not None, consent=consent.text if consent else "",
        notices=[blocker.text for blocker in found], site_url=settings.SITE_URL, office_email=office.email,
        addresses=[recipient.email for recipient in recipients],
    ))


def customer_of(revision: Revision) -> list[Recipient]:
    """The customer as the first owner."""
    customer = revision.quote.job.customer
    return [Recipient(OfferLink.Role.OWNER, customer.name, customer.email)]


def links_of(offer: Offer) -> QuerySet[OfferLink]:
    """The links of an offer, each with how often it was opened and its signature."""
    opened = Count("events", filter=Q(events__kind=OfferEvent.Kind.OPENED))
    return offer.links.select_related("signature").annotate(times_opened=opened).order_by("pk")


def end_of_day(day: date, zone: str) -> datetime:
    """The moment when a day has passed in a time zone."""
    return datetime.combine(day + timedelta(days=1), time(), ZoneInfo(zone))


def token_of(link: OfferLink) -> str:
    """The token of a link, 256 bits, for the mail that carries it."""
    return _token(link.seed)


def address_with(token: str) -> str:
    """Where the person of a link reads the proposal; `token` is the link's, or what stands for it."""
    return f"{settings.SITE_URL}/proposal/{token}"


def link_of(token: str) -> OfferLink | None:
    """The link that a token opens."""
    rows = OfferLink.objects.select_related("offer__revision__quote__job__customer")
    return rows.filter(token_sha256=_hashed(token)).first()


def standing(offer: Offer, now: datetime) -> Standing:
    """How an offer stands at a moment."""
    events = set(offer.events.exclude(kind=OfferEvent.Kind.OPENED).values_list("kind", flat=True))
    accepted = Acceptance.objects.filter(offer=offer).prefetch_related("signatures").first()
    if OfferEvent.Kind.CANCELLED in events:
        return Standing.CANCELLED
    if OfferEvent.Kind.WITHDRAWN in events:
        return Standing.WITHDRAWN
    if OfferEvent.Kind.DECLINED in events:
        return Standing.DECLINED
    if accepted is not None and is_signed_by_owners(accepted):
        return Standing.ACCEPTED
    if superseded_by(offer) is not None:
        return Standing.SUPERSEDED
    if now >= offer.expires_at:
        return Standing.EXPIRED
    return Standing.SIGNED_IN_PART if accepted is not None else Standing.OPEN


def is_signed_by_owners(acceptance: Acceptance) -> bool:
    """Whether everybody who got a link has signed."""
    signed = {signature.link_id for signature in acceptance.signatures.all()}
    return all(link in signed for link in acceptance.offer.links.values_list("pk", flat=True))


def superseded_by(offer: Offer) -> Offer | None:
    """The offer of a later revision of the same quote, if there is one."""
    return Offer.objects.filter(revision__quote=offer.revision.quote_id, pk__gt=offer.pk).order_by("pk").last()


@transaction.atomic
def withdraw_offer(offer_id: int, reason: str, *, by: User | None, now: datetime) -> OfferEvent:
    """Take an offer back; its links say so from then on. Raises OfferEnded where it is accepted or has ended."""
    offer = locked_offer(offer_id)
    found = standing(offer, now)
    if found not in (Standing.OPEN, Standing.SIGNED_IN_PART, Standing.EXPIRED):
        raise OfferEnded(f"The {offer} is {found} already.")
    event = OfferEvent.objects.create(offer=offer, kind=OfferEvent.Kind.WITHDRAWN, text=reason, created_at=now,
                                      created_by=by)
    note(offer, "withdraw", {}, by=by, now=now)
    return event


def locked_offer(offer_id: int) -> Offer:
    """The offer, nobody else adding to it until the transaction ends."""
    return Offer.objects.select_for_update(of=("self",)).select_related("revision__quote__job__customer").get(
        pk=offer_id)


def _token(seed: str) -> str:
    made = hmac.new(settings.SECRET_KEY.encode(), f"offer-link:{seed}".encode(), hashlib.sha256).digest()
    return urlsafe_b64encode(made).decode().rstrip("=")


def _hashed(token: str) -> str:
    return hashlib.sha256(token.encode()).hexdigest()
