"""Sending an offer: a run makes the papers that are not there yet and posts the mail of every link, all or nothing."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timedelta
from typing import Any

from django.core.files.storage import default_storage
from django.db import transaction
from django.db.models import Exists, OuterRef, QuerySet
from django.utils import timezone

from estimating.models import Run, User
from estimating.service import runs
from estimating.service.runs import Report, RunRefused, Store
from quotes.mail.mailing import post_proposal
from quotes.models import Offer, OfferEvent, OfferLink, OutboxMail, RenderedFile, Revision
from quotes.offers import Standing, locked_offer, standing
from quotes.paper.files import Paper, check_not_erased, keep_papers, make_papers, read_paper

KIND = "offer"
LONGEST_WAIT = timedelta(hours=6)  # between two runs of an offer that fail
CAN_GO = (Standing.OPEN, Standing.SIGNED_IN_PART)


def subject_of(offer: Offer | int) -> str:
    return f"offer/{getattr(offer, 'pk', offer)}"


def send(run: Run, report: Report) -> Store:
    """The work of a run of this kind. Done again it finds the papers and the mails that are there."""
    offer = Offer.objects.select_related("revision__quote__job__customer").get(pk=run.subject.partition("/")[2])
    made = make_papers(offer.revision, report) if stored_proposal(offer.revision) is None else {}
    report(97, "mail")
    return lambda: _post(offer.pk, offer.revision, made, now=timezone.now())


def stored_proposal(revision: Revision) -> RenderedFile | None:
    """The proposal that was made of a revision, where the storage has it."""
    files = revision.files.filter(kind=RenderedFile.Kind.PROPOSAL).select_related("revision__quote").order_by("-pk")
    return next((file for file in files if default_storage.exists(file.path)), None)


def _post(offer_id: int, revision: Revision, made: dict[str, Paper], *, now: datetime) -> dict[str, Any]:
    offer = locked_offer(offer_id)
    check_not_erased(revision)
    keep_papers(revision, made, now=now)
    if (found := standing(offer, now)) not in CAN_GO:
        raise RunRefused(f"The offer is {found}, so no mail is sent.")
    file = stored_proposal(revision)
    if file is None:
        raise FileNotFoundError(f"no proposal of {revision} is stored")
    pdf = read_paper(file)
    mails = [post_proposal(link, pdf, file.name, now=now) for link in offer.links.filter(erased_at=None)]
    return {"offer": offer.pk, "mails": [mail.pk for mail in mails]}


def open_offers(now: datetime) -> QuerySet[Offer]:
    """Offers that somebody may still sign at a moment (`offers.standing` says it of one)."""
    ended = OfferEvent.objects.filter(kind__in=("declined", "withdrawn", "cancelled")).values("offer")
    later = Offer.objects.filter(revision__quote=OuterRef("revision__quote"), pk__gt=OuterRef("pk"))
    unsigned = OfferLink.objects.filter(offer=OuterRef("pk"), signature=None, erased_at=None)
    return Offer.objects.filter(~Exists(later), Exists(unsigned), expires_at__gt=now).exclude(pk__in=ended)


def without_mail(now: datetime) -> QuerySet[OfferLink]:
    """Links of offers that can still go, whose mail has not been posted."""
    posted = OutboxMail.objects.filter(kind=OutboxMail.Kind.PROPOSAL, link__isnull=False).values("link")
    return OfferLink.objects.filter(offer__in=open_offers(now), erased_at=None).exclude(pk__in=posted).order_by("pk")


def runs_of(offers: list[int]) -> dict[int, list[Run]]:
    """The runs of each offer, oldest first."""
    found: dict[int, list[Run]] = {pk: [] for pk in offers}
    for run in Run.objects.filter(kind=KIND, subject__in=[subject_of(pk) for pk in offers]).order_by("pk"):
        found[int(run.subject.partition("/")[2])].append(run)
    return found


def start_left_behind(*, now: datetime) -> int:
    """Send again what a run that failed left behind, later each time; how many offers.

    A run that a person cancelled stays so; the waiting list tells of it.
    """
    offers = sorted(set(without_mail(now).values_list("offer", flat=True)))
    started = 0
    for offer, made in runs_of(offers).items():
        if may_start_again(made, now):
            started += start_again(offer, by=None, now=now).created_at == now
    return started


def may_start_again(made: Sequence[Run], now: datetime) -> bool:
    """Whether work whose runs (oldest first) have all ended without it is due again; later after each of them."""
    if any(run.state not in runs.ENDED for run in made) or (made and made[-1].state == Run.State.CANCELLED):
        return False
    last = made[-1].finished_at if made else None
    return last is None or now >= last + min(runs.LEASE * 2 ** min(len(made) - 1, 20), LONGEST_WAIT)


@transaction.atomic
def start_again(offer_id: int, *, by: User | None, now: datetime) -> Run:
    """Start sending an offer, or hand back the run that is at it."""
    locked_offer(offer_id)
    going = Run.objects.filter(kind=KIND, subject=subject_of(offer_id)).exclude(state__in=runs.ENDED).first()
    return going or runs.start_run(KIND, subject_of(offer_id), by=by, now=now)
