"""Quotes and what becomes of them, one module a subject."""

from quotes.models.impact import PriceImpact, QuoteImpact
from quotes.models.offers import Acceptance, Offer, OfferEvent, OfferLink, Signature
from quotes.models.outbox import OutboxMail
from quotes.models.quotes import Quote, QuoteOption
from quotes.models.revisions import QuoteLine, RenderedFile, Revision

__all__ = [
    "Acceptance", "Offer", "OfferEvent", "OfferLink", "OutboxMail", "PriceImpact", "Quote", "QuoteImpact", "QuoteLine",
    "QuoteOption", "RenderedFile", "Revision", "Signature",
]
