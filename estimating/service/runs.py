"""Background work: a run is a row before it is a message, so that losing the broker or a worker loses nothing.

An app registers what a kind of run does:

    @run_kind("render", queue="render")
    def render(run, report):
        report(10, "drawing")          # heartbeat; raises RunLost where the run was cancelled or taken over
        pdf = slow_work(run.subject)   # outside any transaction
        def store():                   # the effect: committed together with the run's end, or not at all
            return {"file": save(pdf)}
        return store

The work may be done twice, so it must give the same rows and files; the effect of only one of them is kept.
"""

import logging
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import partial
from typing import Any

from django.conf import settings
from django.db import DatabaseError, InterfaceError, OperationalError, connection, transaction
from django.db.models import F, Q
from django.utils import timezone

from estimating.models import Run, User
from estimating.service.broker import tell
from estimating.service.problems import describe, refusal

logger = logging.getLogger(__name__)

LEASE = timedelta(seconds=settings.RUN_LEASE_SECONDS)  # a run without a heartbeat for so long was cut off
BEAT = settings.RUN_LEASE_SECONDS / 4  # s between heartbeats while the work itself has nothing to report
ATTEMPTS = 3  # a run cut off so often is at fault itself
ENDED = (Run.State.DONE, Run.State.FAILED, Run.State.CANCELLED)

Report = Callable[[int, str], None]
Store = Callable[[], dict[str, Any]]
Work = Callable[[Run, Report], Store]


@dataclass(frozen=True)
class Kind:
    work: Work
    queue: str


class RunLost(Exception):
    """The run was cancelled, or taken over by another worker: stop, and keep nothing."""


class RunRefused(Exception):
    """The work cannot be done as asked; the sentence tells the person who asked."""


@refusal(409)
class RunHasEnded(Exception):
    """A run that has ended cannot be cancelled."""


_kinds: dict[str, Kind] = {}


def run_kind(name: str, *, queue: str) -> Callable[[Work], Work]:
    """Decorator: `work` does the runs of this kind, on this queue where there is a broker."""

    def register(work: Work) -> Work:
        _kinds[name] = Kind(work, queue)
        return work

    return register


def start_run(kind: str, subject: str, *, by: User | None, now: datetime) -> Run:
    """Write the run's row; once it is committed a worker is told, or the sweep finds it."""
    if kind not in _kinds:
        raise KeyError(f"no app registered runs of kind {kind!r}; there are {', '.join(sorted(_kinds)) or 'none'}")
    run = Run.objects.create(kind=kind, subject=subject, created_by=by, created_at=now)
    transaction.on_commit(partial(nudge, run.pk, kind), robust=True)
    return run


def cancel_run(run: Run, *, now: datetime) -> Run:
    """End a run that is waiting or at work; its worker notices at its next report. Raises RunHasEnded."""
    waiting = Run.objects.filter(pk=run.pk).exclude(state__in=ENDED)
    if not waiting.update(state=Run.State.CANCELLED, finished_at=now, doing="", version=F("version") + 1):
        run.refresh_from_db()
        raise RunHasEnded(f"The run is {run.state} already")
    run.refresh_from_db()
    return run


def nudge(run_id: int, kind: str) -> None:
    """Tell a worker that there is a run."""
    tell("estimating.tasks.perform_run", run_id, queue=_kinds[kind].queue)


def claimable(now: datetime) -> Q:
    """Runs that wait, and runs whose worker was cut off."""
    return Q(state=Run.State.QUEUED) | Q(state=Run.State.RUNNING, heartbeat_at__lt=now - LEASE)


def claim_run(run_id: int, *, now: datetime) -> Run | None:
    """Take a run: one conditional UPDATE, so that of all who try only one gets it. None where another has it."""
    taken = Run.objects.filter(claimable(now), pk=run_id).update(
        state=Run.State.RUNNING, heartbeat_at=now, attempts=F("attempts") + 1, version=F("version") + 1
    )
    return Run.objects.get(pk=run_id) if taken else None


def perform(run_id: int, *, clock: Callable[[], datetime] = timezone.now) -> Run | None:
    """Claim a run and do it to its end. None where there was nothing to claim."""
    run = claim_run(run_id, now=clock())
    if run is None:
        return None
    try:
        if run.attempts > ATTEMPTS:
            raise RunRefused(f"The work was cut off {ATTEMPTS} times, so it is not tried again")
        if run.kind not in _kinds:
            raise RunRefused(f"This version of the program knows no work of kind {run.kind!r}")
        with beating(lambda: _mine(run).update(heartbeat_at=clock()), f"run {run_id}"):
            store = _kinds[run.kind].work(run, partial(_report, run, clock))
        with transaction.atomic():
            result = store()
            _end(run, clock(), state=Run.State.DONE, percent=100, result=result)
    except RunLost:
        logger.info("run %s (%s) was cancelled or taken over", run_id, run)
    except RunRefused as exc:
        _fail(run, clock(), describe(422, str(exc)))
    except (OperationalError, InterfaceError):  # the database is away or busy: no fault of the work, so it is not over
        logger.warning("run %s (%s) was cut off by the database; it is taken up again", run_id, run, exc_info=True)
        return run
    except Exception:
        logger.exception("run %s (%s) failed", run_id, run)
        _fail(run, clock(), describe(500, f"A defect on our side; the log tells it under run {run_id}"))
    run.refresh_from_db()
    return run


def _mine(run: Run) -> Any:
    """The run's row as long as this claim holds it."""
    return Run.objects.filter(pk=run.pk, state=Run.State.RUNNING, attempts=run.attempts)


@contextmanager
def beating(beat: Callable[[], object], what: str) -> Iterator[None]:
    """Keeps a claim alive, by `beat` from a thread of its own, while the work computes."""
    stop = threading.Event()

    def go_on() -> None:
        while not stop.wait(BEAT):
            try:
                beat()
            except DatabaseError:
                logger.warning("no heartbeat of %s", what, exc_info=True)
            finally:
                connection.close()

    thread = threading.Thread(target=go_on, daemon=True)
    thread.start()
    try:
        yield
    finally:
        stop.set()
        thread.join()


def _report(run: Run, clock: Callable[[], datetime], percent: int, doing: str) -> None:
    if not _mine(run).update(percent=percent, doing=doing, heartbeat_at=clock(), version=F("version") + 1):
        raise RunLost


def _end(run: Run, now: datetime, **values: Any) -> None:
    if not _mine(run).update(finished_at=now, heartbeat_at=now, doing="", version=F("version") + 1, **values):
        raise RunLost


def _fail(run: Run, now: datetime, problem: dict[str, Any]) -> None:
    try:
        _end(run, now, state=Run.State.FAILED, problem=problem)
    except RunLost:
        logger.info("run %s (%s) was cancelled or taken over", run.pk, run)


def sweep(*, clock: Callable[[], datetime] = timezone.now) -> int:
    """Do every run that waits, oldest first, in this process; how many were done."""
    waiting = Run.objects.filter(claimable(clock())).order_by("pk").values_list("pk", flat=True)
    return sum(perform(run_id, clock=clock) is not None for run_id in list(waiting))


def renudge(*, now: datetime, after: timedelta = LEASE / 2) -> int:
    """Announce again every run that a lost message left waiting; how many there were."""
    stale = Run.objects.filter(claimable(now), created_at__lt=now - after).order_by("pk").values_list("pk", "kind")
    for run_id, kind in (found := [(pk, kind) for pk, kind in stale if kind in _kinds]):
        nudge(run_id, kind)
    return len(found)
