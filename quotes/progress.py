"""Where a job stands: what surveys, framings and quotes say of it, the next step, and what blocks it."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from datetime import date
from typing import Any

from django.db.models import Count

from estimating.jobs import facts_from
from estimating.models import Job
from estimating.steps import Blocker, next_state
from framing.models import Framing, Survey
from quotes.models import Quote, Revision
from quotes.sales import sales_of

# What is done to bring a job into a state, once nothing blocks it.
STEPS = {
    "surveyed": "look through the survey, and have the job stand as surveyed.",
    "framed": "the framing can be made; have the job stand as framed.",
    "quoted": "hand the offer over, and have the job stand as quoted.",
    "accepted": "the offer is accepted; have the job stand as accepted.",
    "deposit-paid": "the deposit is in; have the job stand as deposit-paid.",
    "scheduled": "the day is set; have the job stand as scheduled.",
    "building": "send the crew with its papers, and have the job stand as building.",
    "punch": "walk the deck, write what is left to do, and have the job stand as punch.",
    "handed-over": "have the job stand as handed-over.",
    "closed": "have the job stand as closed.",
}


@facts_from
def facts_of_quotes(jobs: Collection[int]) -> Mapping[int, Mapping[str, Any]]:
    """What surveys, the newest framing, the newest quote, its newest revision and the sale say; ten queries."""
    facts: dict[int, dict[str, Any]] = {pk: {} for pk in jobs}
    for row in Survey.objects.filter(job__in=jobs).values("job").annotate(count=Count("pk")).order_by():
        facts[row["job"]]["surveys"] = row["count"]
    of_job = "build__survey__job"
    for pk, stops in Framing.objects.filter(**{f"{of_job}__in": jobs}).order_by("pk").values_list(of_job, "stops"):
        facts[pk] |= {"framings": facts[pk].get("framings", 0) + 1, "stops": stops}
    newest: dict[int, int] = {}
    for quote in Quote.objects.filter(job__in=jobs).order_by("pk").only("job", "price", "estimate"):
        newest[quote.job_id] = quote.pk
        ends = quote.estimate.get("prices_valid_to")
        facts[quote.job_id] |= {"quote": quote.number, "priced": quote.price is not None,
                                "prices_valid_to": date.fromisoformat(ends) if ends else None}
    revisions = Revision.objects.filter(quote__in=newest.values()).order_by("pk").annotate(papers=Count("files"))
    for pk, valid_until, papers in revisions.values_list("quote__job", "valid_until", "papers"):
        facts[pk] |= {"offered": True, "valid_until": valid_until, "papers": papers}
    for pk, sale in sales_of(jobs).items():
        facts[pk] |= {"cancel_by": sale.cancel_by, "cancelled": sale.cancelled}
    return facts


def next_step(job: Job, framing: Framing | None, quote: Quote | None, revision: Revision | None,
              blocked: Sequence[Blocker] = ()) -> str:
    """One sentence for the person who opens the job."""
    to = next_state(job.status)
    if to is None:
        return "nothing; the job is " + job.status + "."
    early = job.status in ("lead", "surveyed", "framed", "quoted")
    if framing is None and early:
        surveyed = job.surveys.exists()
        return "choose a build and frame it." if surveyed else "survey the roof and hand the survey in."
    if framing is not None and framing.stops and early:
        return f"the build cannot be made as asked: {framing.stops} stop{'s' * (framing.stops != 1)} below say what " \
               "would clear it."
    if quote is None and early:
        return "price the framing."
    if quote is not None and quote.price is None and early:
        return "the price is blocked; what is missing stands under Price."
    if quote is not None and revision is None and early:
        return f"issue {quote.number} as a revision."
    if revision is not None and any(blocker.code == "offer-ended" for blocker in blocked):
        return f"{revision} is past its last day; price {quote.number} anew and issue it again."
    if revision is not None and not revision.files.exists() and early:
        return f"have the papers of {revision} made."
    if early and any(blocker.code == "not-accepted" for blocker in blocked):
        return f"look through the proposal of {revision} and what must be acknowledged in it."
    return f"clear what blocks {to}." if blocked else STEPS[to]
