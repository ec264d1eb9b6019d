"""Where acceptance hands over to the mail: what a person did is told to the office, and to the other owner."""

from __future__ import annotations

from datetime import datetime

from quotes.mail.mailing import post_cancelled, post_event, post_question, post_turn
from quotes.models import Acceptance, OfferEvent


def tell_office(event: OfferEvent, *, now: datetime) -> None:
    """Put the mail that tells the office of an event into the outbox, in the event's own transaction."""
    post = post_question if event.kind == OfferEvent.Kind.QUESTION else post_event
    post(event, now=now)


def tell_others(acceptance: Acceptance, *, now: datetime) -> None:
    """Tell every owner who has not signed yet that the first one has."""
    for link in acceptance.offer.links.filter(signature=None, erased_at=None).exclude(email=""):
        post_turn(link, now=now)


def tell_owners(event: OfferEvent, *, now: datetime) -> None:
    """Tell every owner that the sale was cancelled."""
    for link in event.offer.links.filter(erased_at=None).exclude(email=""):
        post_cancelled(link, now=now)
