"""Jobs step by step: what is known of them, what blocks the next step, and the step itself."""

from collections.abc import Callable, Collection, Mapping, Sequence
from datetime import date, datetime
from typing import Any

from django.db import transaction

from estimating.models import Job, Office, Role, User
from estimating.office import local_day
from estimating.service.history import note
from estimating.service.problems import refusal
from estimating.steps import Blocker, JobFacts, blockers

# Of many jobs at once, by the job's number: fields of JobFacts.
Source = Callable[[Collection[int]], Mapping[int, Mapping[str, Any]]]
SOURCES: list[Source] = []
OWN = ("roof_owner", "consent_needed", "consent_asked_on", "consent_given_on", "accepted_on", "deposit_received_on",
       "starts_on", "built_on", "handed_over_on", "paid_on")  # fmt: skip


@refusal(409)
class StepRefused(Exception):
    """Something stands between the job and the state; `blockers` says all of it."""

    def __init__(self, job: Job, to: str, found: Sequence[Blocker]) -> None:
        self.blockers = tuple(found)
        super().__init__(f"{job.number} cannot be {to} yet: " + " ".join(blocker.text for blocker in found))


@refusal(403)
class OverrideRefused(Exception):
    """A step over what blocks it is the owner's to take."""


def facts_from(source: Source) -> Source:
    """Register whoever knows something of jobs that the office's records do not: surveys, framings, quotes."""
    if source not in SOURCES:
        SOURCES.append(source)
    return source


def facts_of(jobs: Sequence[Job], today: date) -> dict[int, JobFacts]:
    """What is known of each job, by its number; as many queries for many jobs as for one."""
    found: dict[int, dict[str, Any]] = {job.pk: {name: getattr(job, name) for name in OWN} for job in jobs}
    for source in SOURCES:
        for pk, facts in source(list(found)).items():
            found[pk].update(facts)
    return {job.pk: JobFacts(state=job.status, today=today, **found[job.pk]) for job in jobs}


def blockers_of(job: Job, *, now: datetime, to: str | None = None) -> tuple[Blocker, ...]:
    """What stands between a job and a state, the next one unless told."""
    return blockers(facts_of([job], today_at(now))[job.pk], to)


def take_step(job: Job, to: str, *, reason: str = "", by: User | None, now: datetime) -> Job:
    """Bring a job, which the caller has locked, to another state.

    With a reason the owner takes the step whatever blocks it, and reason and blockers stand in the history for good.
    Raises StepRefused, or OverrideRefused where another than the owner gives a reason.
    """
    if to == job.status:
        return job
    if reason and (by is None or by.role != Role.OWNER):
        raise OverrideRefused("Only the owner takes a step that something blocks; leave the reason out, or ask them.")
    found = blockers_of(job, now=now, to=to)
    if found and not reason:
        raise StepRefused(job, to, found)
    changes: dict[str, Any] = {"status": [job.status, to]}
    if found:
        changes |= {"reason": [None, reason], "blockers": [None, [blocker.code for blocker in found]]}
    with transaction.atomic():
        job.status = to
        job.save(update_fields=["status"])
        note(job, "override" if found else "change", changes, by=by, now=now)
    return job


def today_at(now: datetime) -> date:
    """The day in the office's time zone; in UTC until the office is described."""
    office = Office.objects.first()
    return local_day(office, now) if office else now.date()
