"""The waiting list: what waits for a person of the office, each in a sentence that says what to do."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, time, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from django.db.models import OuterRef, QuerySet, Subquery

from estimating.models import Job, Office, PriceFetch, PriceList, Run
from estimating.office import local_day
from quotes.mail import sending
from quotes.mail.delivery import GIVEN_UP
from quotes.models import OfferEvent, OutboxMail, Revision
from quotes.sales import last_held_day, sales_of

LAPSES_WITHIN = timedelta(days=7)
AT_MOST = 200  # of each kind; who has more waiting begins with the oldest
TO_ORDER = (Job.Status.ACCEPTED, Job.Status.DEPOSIT_PAID)


@dataclass(frozen=True)
class Waiting:
    """One thing that waits. `act` is where the interface takes the answer to it; `mail` what can be sent again."""

    kind: str
    sentence: str
    since: datetime
    job: Job | None = None
    act: str = ""
    mail: int | None = None

    @property
    def page(self) -> str:
        """Where a person sees more of it."""
        return f"/jobs/{self.job.pk}/" if self.job is not None else ""


def waiting_list(now: datetime) -> list[Waiting]:
    """All that waits at a moment, what has waited longest first; the number of queries does not grow with it."""
    found = [*_mails(), *_questions(), *_unsent(now), *_lapsing(now), *_to_order(now), *_price_lists()]
    return sorted(found, key=lambda one: one.since)


def _mails() -> Iterator[Waiting]:
    rows = OutboxMail.objects.filter(state=OutboxMail.State.REFUSED, seen_at=None).select_related("job")
    for mail in rows.defer("message").order_by("pk")[:AT_MOST]:
        to = f"to {mail.recipient}" if mail.recipient else "without an address"
        given_up = mail.words.startswith(GIVEN_UP)
        yield Waiting(
            "mail-given-up" if given_up else "mail-refused",
            f"The {mail.get_kind_display()} {to} did not arrive: {mail.words.removeprefix(GIVEN_UP)} "
            f"{'It was tried for 5 days. ' if given_up else ''}Correct the address and send it again, or call.",
            mail.created_at, mail.job, f"/api/v1/mails/{mail.pk}/resend", mail.pk,
        )


def _questions() -> Iterator[Waiting]:
    rows = OfferEvent.objects.filter(kind=OfferEvent.Kind.QUESTION, answered_by=None, erased_at=None)
    rows = _light(rows.select_related("link", "offer__revision__quote__job"), "offer__revision")
    for event in rows.order_by("pk")[:AT_MOST]:
        who = event.link.name if event.link and event.link.name else "The homeowner"
        yield Waiting("question", f"{who} asks about {event.offer.revision}: {event.text}", event.created_at,
                      event.offer.revision.quote.job, f"/api/v1/offers/{event.offer_id}/answers")


def _unsent(now: datetime) -> Iterator[Waiting]:
    """Offers whose run failed or was cancelled, or that no run is at."""
    links = _light(sending.without_mail(now).select_related("offer__revision__quote__job"), "offer__revision")
    offers = {link.offer_id: link.offer for link in links[:AT_MOST]}
    for pk, made in sending.runs_of(list(offers)).items():
        last = made[-1] if made else None
        if last is not None and last.state in (Run.State.QUEUED, Run.State.RUNNING) and len(made) == 1:
            continue  # at it, or about to be
        offer = offers[pk]
        if last is not None and last.state == Run.State.CANCELLED:
            why = "the run was cancelled. Send it, or withdraw the offer."
        else:
            told = next((run.problem["detail"] for run in reversed(made) if run.problem), "no run is at it")
            why = f"{told}. It is tried again by itself; what is in the way has to be cleared.".replace("..", ".")
        yield Waiting("offer-not-sent", f"The mail of {offer.revision} has not gone: {why}",
                      made[0].created_at if made else offer.created_at, offer.revision.quote.job,
                      f"/api/v1/offers/{pk}/send")


def _lapsing(now: datetime) -> Iterator[Waiting]:
    rows = sending.open_offers(now).filter(expires_at__lte=now + LAPSES_WITHIN)
    rows = rows.exclude(revision__quote__job__status=Job.Status.LOST).select_related("revision__quote__job")
    for offer in _light(rows, "revision").order_by("expires_at")[:AT_MOST]:
        yield Waiting(
            "offer-lapses", f"{offer.revision} is not signed and lapses at the end of {offer.revision.valid_until}. "
            "Ask whether anything is unclear, or price it anew.",
            offer.expires_at - LAPSES_WITHIN, offer.revision.quote.job, f"/api/v1/offers/{offer.pk}",
        )


def _to_order(now: datetime) -> Iterator[Waiting]:
    """Jobs whose sale can no longer be cancelled, and that have not been set a day yet."""
    office = Office.objects.first()
    if office is None:
        return
    jobs = {job.pk: job for job in Job.objects.filter(status__in=TO_ORDER).order_by("pk")[:AT_MOST]}
    for pk, sale in sales_of(list(jobs)).items():
        until = last_held_day(sale, office.ordering_held_days)
        if not sale.cancelled and local_day(office, now) > until:
            since = datetime.combine(until + timedelta(days=1), time(), ZoneInfo(office.time_zone))
            yield Waiting("goods-to-order", f"Until {until} nothing was to be ordered for {jobs[pk]}. If its goods are "
                          "not ordered yet, order them and set the day.", since, jobs[pk], f"/api/v1/jobs/{pk}/step")


def _price_lists() -> Iterator[Waiting]:
    """Lists that are fetched by themselves and whose last file could not be had or read."""
    last = PriceFetch.objects.filter(price_list=OuterRef("pk")).order_by("-at", "-pk").values("pk")[:1]
    lists = PriceList.objects.filter(every_hours__isnull=False).annotate(last=Subquery(last)).values("last")
    failed = (PriceFetch.Outcome.FAILED, PriceFetch.Outcome.REFUSED)
    for fetch in PriceFetch.objects.filter(pk__in=lists, outcome__in=failed).select_related("price_list__supplier"):
        yield Waiting("price-list-not-fetched", f"{fetch.price_list} could not be brought up to date: {fetch.detail}",
                      fetch.at, act=f"/api/v1/price-lists/{fetch.price_list_id}/sync")


def _light(rows: QuerySet[Any], revision: str) -> QuerySet[Any]:
    """Rows without what makes a revision heavy."""
    return rows.defer(*(f"{revision}__{name}" for name in Revision.HEAVY))
