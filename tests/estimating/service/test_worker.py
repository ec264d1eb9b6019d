"""A real Celery worker on Redis and the other database: told of a run, and killed in the middle of one."""

import os
import secrets
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from datetime import timedelta
from pathlib import Path

import pytest
from celery import current_app
from django.conf import settings
from django.core.cache.backends.redis import RedisCache
from django.db import connection, transaction
from django.utils import timezone

from estimating.models import Run, Supplier
from estimating.service import runs, throttles
from tests.estimating.service import worker_kinds

pytestmark = [pytest.mark.worker, pytest.mark.django_db(transaction=True)]
ROOT = Path(__file__).resolve().parents[3]
PATIENCE = 60  # s, for a busy machine


@pytest.fixture
def worker() -> Iterator[Callable[[], subprocess.Popen[bytes]]]:
    """Starts Celery workers that see the tests' database; ends those that are left."""
    with current_app.connection_for_write() as broker:  # what an earlier test left behind is not ours
        broker.default_channel.queue_purge("compute")
    entry = connection.settings_dict
    where = f"{entry['USER']}:{entry['PASSWORD']}@{entry['HOST']}:{entry['PORT'] or 5432}/{entry['NAME']}"
    env = os.environ | {"DJANGO_SETTINGS_MODULE": "tests.settings", "DATABASE_URL": f"postgresql://{where}"}
    command = ["-A", "estimating.config", "worker", "-I", worker_kinds.__name__, "-Q", "compute", "-c", "1"]
    started = []

    def start() -> subprocess.Popen[bytes]:
        started.append(
            subprocess.Popen([sys.executable, "-m", "celery", *command], cwd=ROOT, env=env, start_new_session=True)
        )
        return started[-1]

    yield start
    for process in started:
        if process.poll() is None:
            os.killpg(process.pid, signal.SIGTERM)
            try:
                process.wait(20)
            except subprocess.TimeoutExpired:
                os.killpg(process.pid, signal.SIGKILL)
                process.wait()


def until(condition: Callable[[], bool]) -> None:
    deadline = time.monotonic() + PATIENCE
    while not condition():
        assert time.monotonic() < deadline, f"not after {PATIENCE} s"
        time.sleep(0.1)


def state(run: Run) -> str:
    return Run.objects.values_list("state", flat=True).get(pk=run.pk)


def start(subject: str) -> Run:
    with transaction.atomic():
        return runs.start_run("test-worker", subject, by=None, now=timezone.now())


def test_a_committed_run_reaches_the_worker_and_is_done(worker):
    assert settings.REDIS_URL, "the tests marked worker need REDIS_URL"
    worker()
    run = start("Yard")
    until(lambda: state(run) == "done")
    assert Supplier.objects.get().name == "Yard"


def test_requests_are_counted_together_by_every_process_on_redis(monkeypatch):
    cache = RedisCache(settings.REDIS_URL, {"KEY_PREFIX": "tests"})
    monkeypatch.setattr(throttles, "cache", cache)
    monkeypatch.setattr(throttles.time, "time", lambda: 1_000_040.0)  # a third into a minute, and it stands still
    name = secrets.token_hex()
    assert [throttles.over_limit(name, 2) for _ in range(4)] == [None, None, 40, 40]


def test_a_run_is_announced_when_it_is_committed_and_never_when_it_is_rolled_back(worker):
    def announced() -> int:
        with current_app.connection_for_read() as broker:
            return broker.default_channel.client.llen("compute")

    with pytest.raises(RuntimeError), transaction.atomic():
        runs.start_run("test-worker", "Yard", by=None, now=timezone.now())
        raise RuntimeError("something else went wrong")
    assert announced() == 0
    start("Mill")
    assert announced() == 1


def test_a_run_whose_worker_was_killed_is_done_by_the_next_and_once(worker):
    first = worker()
    run = start("slow Yard")
    until(lambda: state(run) == "running")
    os.killpg(first.pid, signal.SIGKILL)  # power off: no clean-up of any kind
    first.wait()

    worker()
    assert state(run) == "running"  # nobody has missed its heartbeat yet
    Run.objects.filter(pk=run.pk).update(heartbeat_at=timezone.now() - runs.LEASE - timedelta(seconds=1))
    runs.renudge(now=timezone.now() + timedelta(minutes=1))

    until(lambda: state(run) == "done")
    run.refresh_from_db()
    assert run.attempts == 2
    assert Supplier.objects.get().name == "slow Yard"
