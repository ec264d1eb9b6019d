"""Where acceptance hands over to the mail: what a person did is told to the office, receipts go to those who signed."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import datetime
from importlib.util import find_spec
from typing import Any

from quotes.models import OfferEvent, OfferLink


def tell_office(event: OfferEvent, *, now: datetime) -> None:
    """Put the mail that tells the office of an event into the outbox, in the event's own transaction.

    A question goes as one; that an offer was declined or a sale cancelled goes by `post_event`, where there is one.
    """
    if post := _mailing("post_question" if event.kind == OfferEvent.Kind.QUESTION else "post_event"):
        post(event, now=now)


def post_receipt(link: OfferLink, *, pdf: bytes, file_name: str, kind: str, words: Sequence[str], now: datetime
                 ) -> None:
    """Put the mail with a signed paper into the outbox, once for each link and paper."""
    if post := _mailing("post_receipt"):
        post(link, pdf=pdf, file_name=file_name, kind=kind, words=words, now=now)


def _mailing(name: str) -> Callable[..., Any] | None:
    """A function of `quotes.mailing`, where there is one."""
    if find_spec("quotes.mailing") is None:
        return None
    from importlib import import_module

    return getattr(import_module("quotes.mailing"), name, None)
