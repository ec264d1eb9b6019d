"""A job moves on by what happens to it: what was framed or offered brings it to that state, never back."""

from datetime import datetime

from django.db import transaction

from estimating.models import Job, User
from estimating.service.history import note
from estimating.steps import STATES


def move_on(job_id: int, to: str, *, by: User | None, now: datetime) -> None:
    """Bring a job that stands before a state to it, and note that; a job further on, or lost, stays where it is."""
    with transaction.atomic():
        job = Job.objects.select_for_update().get(pk=job_id)
        if job.status in STATES[: STATES.index(to)]:
            note(job, "change", {"status": [job.status, to]}, by=by, now=now)
            job.status = to
            job.save(update_fields=["status"])
