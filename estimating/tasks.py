"""What a Celery worker does; the work itself stands in `service.runs` and in the modules of its subjects."""

from celery import shared_task
from django.utils import timezone

from estimating import files, price_sync
from estimating.service import idempotency, runs, sweeping

runs.run_kind(price_sync.KIND, queue="sync")(price_sync.sync)

sweeping.on_sweep(lambda now: price_sync.start_due_syncs(now=now))
sweeping.on_sweep(lambda now: runs.sweep(), lambda now: runs.renudge(now=now), name="run")
sweeping.on_sweep(idempotency.forget_old_keys)
sweeping.on_sweep(files.remove_erased)


@shared_task(name="estimating.tasks.perform_run")
def perform_run(run_id: int) -> None:
    runs.perform(run_id)


@shared_task(name="estimating.tasks.sweep_runs")
def sweep_runs() -> None:
    """Start what is due, announce what lost messages left waiting, forget what is past its life. Beat calls it."""
    sweeping.announce(timezone.now())
