"""What a Celery worker does; the work itself stands in `service.runs`."""

from celery import shared_task
from django.utils import timezone

from estimating import files
from estimating.service import idempotency, runs


@shared_task(name="estimating.tasks.perform_run")
def perform_run(run_id: int) -> None:
    runs.perform(run_id)


@shared_task(name="estimating.tasks.sweep_runs")
def sweep_runs() -> None:
    """Announce what lost messages left waiting, and forget what is past its life. Beat calls it."""
    runs.renudge(now=timezone.now())
    idempotency.forget_old_keys(timezone.now())
    files.remove_erased(timezone.now())
