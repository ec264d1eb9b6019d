"""Where acceptance hands over to the mail: what a person did is told to the office."""

from __future__ import annotations

from datetime import datetime

from quotes.mail.mailing import post_event, post_question
from quotes.models import OfferEvent


def tell_office(event: OfferEvent, *, now: datetime) -> None:
    """Put the mail that tells the office of an event into the outbox, in the event's own transaction."""
    post = post_question if event.kind == OfferEvent.Kind.QUESTION else post_event
    post(event, now=now)
