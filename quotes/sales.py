"""What was agreed of a job: since when, until when it may be cancelled, whether it was, and until when orders wait.

It comes from the newest acceptance that everybody signed, or from the day that the office typed for one on paper.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from datetime import date, timedelta

from django.db.models import Prefetch

from estimating.models import Job, Office
from estimating.notices import own_cancel_days
from estimating.right_to_cancel import cancel_by_for
from quotes.models import Acceptance, OfferEvent, Signature


@dataclass(frozen=True)
class Sale:
    """An accepted offer: the day it was accepted, the last day to cancel it, and whether it was cancelled."""

    accepted_on: date
    cancel_by: date
    cancelled: bool = False


@dataclass(frozen=True)
class Hold:
    """Why no goods are ordered: until the end of `until`, or of no day at all where it is None."""

    until: date | None
    text: str


def sales_of(jobs: Collection[int]) -> dict[int, Sale]:
    """The sale of each job that has one; six queries for any number of jobs.

    A day of acceptance that is later than the last signature was typed for a paper: what was not asked then counts
    as the longer period.
    """
    signed: dict[int, Acceptance] = {}
    cancelled = Prefetch("offer__events", OfferEvent.objects.filter(kind=OfferEvent.Kind.CANCELLED))
    rows = Acceptance.objects.filter(offer__revision__quote__job__in=jobs).select_related("offer__revision__quote")
    for row in rows.order_by("pk").prefetch_related("signatures", "offer__links", cancelled):
        if {link.pk for link in row.offer.links.all()} <= {signature.link_id for signature in row.signatures.all()}:
            signed[row.offer.revision.quote.job_id] = row
    found, own_days = {}, own_cancel_days()
    typed = Job.objects.filter(pk__in=jobs).values_list("pk", "accepted_on", "jurisdiction")
    for pk, accepted_on, jurisdiction in typed:
        last = last_signed(signed[pk]) if pk in signed else None
        if last is not None and (accepted_on is None or accepted_on <= last[0]):
            found[pk] = Sale(last[0], last[1], bool(signed[pk].offer.events.all()))
        elif accepted_on is not None:
            day = cancel_by_for(jurisdiction, accepted_on, over_65=None, disaster=None,
                                at_least=own_days(jurisdiction, accepted_on)).day
            found[pk] = Sale(accepted_on, day)
    return found


def last_signed(acceptance: Acceptance) -> tuple[date, date] | None:
    """The day of the last owner's signature and the latest day to cancel that any of them has."""
    theirs = [(row.transaction_date, row.cancel_by) for row in acceptance.signatures.all()
              if row.role != Signature.Role.OFFICE]
    return (max(day for day, _ in theirs), max(end for _, end in theirs)) if theirs else None


def orders_held_until(job: Job, today: date) -> Hold | None:
    """Why nothing may be ordered for a job on a day of the office's time zone; None where goods may be ordered."""
    sale = sales_of([job.pk]).get(job.pk)
    if sale is None:
        return Hold(None, f"{job.number} is not accepted; nothing is ordered for it.")
    if sale.cancelled:
        return Hold(None, f"The sale of {job.number} was cancelled; nothing is ordered for it.")
    office = Office.objects.first()
    own = office.ordering_held_days if office else None
    until = last_held_day(sale, own)
    if today > until:
        return None
    if until == sale.cancel_by:
        return Hold(until, f"Until the end of {until} the sale may be cancelled; no goods are ordered before.")
    return Hold(until, f"The office orders nothing until the end of {until}, {own} days after acceptance.")


def last_held_day(sale: Sale, own_days: int | None) -> date:
    """The last day on which nothing is ordered yet: to cancel by, or the office's own days after acceptance."""
    return max(sale.cancel_by, sale.accepted_on + timedelta(days=own_days or 0))
