"""Background work: a row first, claimed by one, finished once, and never lost."""

import itertools
import os
import socket
import subprocess
import sys
import threading
import time
from datetime import UTC, datetime, timedelta

import pytest
from django.core.management import call_command
from django.db import connection

from estimating.models import Run, Supplier
from estimating.service import runs

pytestmark = pytest.mark.django_db
NOW = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)


@pytest.fixture
def kind():
    """Registers a kind of run for one test: `kind(work)` gives its name."""
    names = []

    def register(work) -> str:
        name = f"test-{len(names)}"
        runs.run_kind(name, queue="compute")(work)
        names.append(name)
        return name

    yield register
    for name in names:
        del runs._kinds[name]


def makes_supplier(run, report):
    report(50, "looking")
    return lambda: {"supplier": Supplier.objects.create(name=run.subject).pk}


def start(name: str, subject: str = "Yard", *, now: datetime = NOW) -> Run:
    return runs.start_run(name, subject, by=None, now=now)


def at(moment: datetime):
    return lambda: moment


def test_a_run_waits_as_a_row_until_the_sweep_does_it(kind):
    run = start(kind(makes_supplier))
    assert (run.state, run.percent, run.result) == ("queued", 0, None)

    assert runs.sweep(clock=at(NOW)) == 1

    run.refresh_from_db()
    assert (run.state, run.percent, run.doing, run.finished_at) == ("done", 100, "", NOW)
    assert run.result == {"supplier": Supplier.objects.get(name="Yard").pk}
    assert runs.sweep(clock=at(NOW)) == 0


def test_runs_are_done_oldest_first(kind):
    done = []
    name = kind(lambda run, report: lambda: done.append(run.subject) or {})
    for subject in ("first", "second", "third"):
        start(name, subject)
    runs.sweep()
    assert done == ["first", "second", "third"]


def test_a_run_of_a_kind_that_nobody_registered_is_not_started():
    with pytest.raises(KeyError, match="juggle"):
        start("juggle")
    assert not Run.objects.exists()


def test_a_claimed_run_is_not_claimed_again_while_its_heart_beats(kind):
    run = start(kind(makes_supplier))
    assert runs.claim_run(run.pk, now=NOW) is not None
    assert runs.claim_run(run.pk, now=NOW + runs.LEASE) is None


def test_a_run_whose_worker_was_cut_off_is_done_by_another_and_only_once(kind):
    run = start(kind(makes_supplier))
    lost = runs.claim_run(run.pk, now=NOW)

    later = NOW + runs.LEASE + timedelta(seconds=1)
    assert runs.sweep(clock=at(later)) == 1

    run.refresh_from_db()
    assert (run.state, run.attempts) == ("done", 2)
    with pytest.raises(runs.RunLost):  # the first worker was only slow; it comes back and may keep nothing
        runs._end(lost, later, state="done", result={})
    assert Supplier.objects.count() == 1


def test_the_effect_and_the_end_of_a_run_are_one(kind):
    """A worker that is taken over while it works keeps nothing of its effect."""

    def slow(run, report):
        Run.objects.filter(pk=run.pk).update(attempts=run.attempts + 1)  # another worker took it over
        return lambda: {"supplier": Supplier.objects.create(name="twice").pk}

    run = start(kind(slow))
    runs.perform(run.pk)
    run.refresh_from_db()
    assert run.state == "running" and run.result is None
    assert not Supplier.objects.exists()


def test_a_run_that_is_cut_off_again_and_again_is_given_up_and_says_so(kind):
    run = start(kind(makes_supplier))
    moment = NOW
    for _ in range(runs.ATTEMPTS):
        runs.claim_run(run.pk, now=moment)
        moment += runs.LEASE + timedelta(seconds=1)
    runs.sweep(clock=at(moment))
    run.refresh_from_db()
    assert run.state == "failed"
    assert "3 times" in run.problem["detail"]


def test_a_refusal_reaches_the_person_and_a_defect_does_not(kind):
    def refuses(run, report):
        raise runs.RunRefused("Revision 4 has no framing to draw")

    def breaks(run, report):
        return lambda: {"supplier": Supplier.objects.create(name="x").pk, "secret": 1 / 0}

    refused, broken = start(kind(refuses)), start(kind(breaks))
    runs.sweep()
    refused.refresh_from_db()
    broken.refresh_from_db()
    assert refused.problem["detail"] == "Revision 4 has no framing to draw"
    assert broken.state == "failed" and broken.problem["status"] == 500
    assert "division" not in str(broken.problem)
    assert not Supplier.objects.exists()


def test_a_cancelled_run_stops_at_its_next_report_and_keeps_nothing(kind):
    def cancelled_meanwhile(run, report):
        runs.cancel_run(run, now=NOW)
        report(50, "half way")
        raise AssertionError("it went on")

    run = start(kind(cancelled_meanwhile))
    runs.perform(run.pk)
    run.refresh_from_db()
    assert run.state == "cancelled" and run.problem is None
    with pytest.raises(runs.RunHasEnded, match="cancelled already"):
        runs.cancel_run(run, now=NOW)


def test_a_report_shows_how_far_it_is_and_changes_the_tag(kind):
    seen = {}

    def watched(run, report):
        report(30, "drawing the plan")
        row = Run.objects.get(pk=run.pk)
        seen.update(percent=row.percent, doing=row.doing, grew=row.version > run.version)
        return dict

    runs.perform(start(kind(watched)).pk)
    assert seen == {"percent": 30, "doing": "drawing the plan", "grew": True}


@pytest.mark.django_db(transaction=True)
def test_the_heart_beats_while_the_work_computes(kind, monkeypatch):
    monkeypatch.setattr(runs, "BEAT", 0.02)
    ticks = itertools.count()

    def slow(run, report):
        deadline = time.monotonic() + 10
        while Run.objects.get(pk=run.pk).heartbeat_at < NOW + timedelta(seconds=3) and time.monotonic() < deadline:
            time.sleep(0.01)
        beaten = Run.objects.get(pk=run.pk).heartbeat_at
        return lambda: {"beaten": beaten.isoformat()}

    run = runs.perform(start(kind(slow)).pk, clock=lambda: NOW + timedelta(seconds=next(ticks)))
    assert datetime.fromisoformat(run.result["beaten"]) >= NOW + timedelta(seconds=3)


@pytest.mark.django_db(transaction=True)
def test_of_many_workers_at_once_one_does_the_run(kind):
    run = start(kind(makes_supplier))
    ready = threading.Barrier(6)

    def worker() -> None:
        ready.wait()
        runs.perform(run.pk)
        connection.close()

    threads = [threading.Thread(target=worker) for _ in range(6)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    run.refresh_from_db()
    assert (run.state, run.attempts) == ("done", 1)
    assert Supplier.objects.count() == 1


def test_looking_first_and_claiming_then_would_do_it_twice(kind):
    """The damage that the conditional update prevents: two who looked before either wrote both go to work."""
    run = start(kind(makes_supplier))
    looked = [Run.objects.filter(runs.claimable(NOW), pk=run.pk).exists() for _ in range(2)]
    assert looked == [True, True]
    claims = [runs.claim_run(run.pk, now=NOW) for _ in range(2)]
    assert [claim is not None for claim in claims] == [True, False]


NUDGE = """
import time, django; django.setup()
from estimating.service import runs
runs.run_kind("k", queue="compute")(lambda run, report: dict)
began = time.monotonic()
runs.nudge(1, "k")
print(time.monotonic() - began)
"""


@pytest.mark.parametrize("broker", ["closed", "mute"])
def test_a_broker_that_is_away_or_does_not_answer_is_no_harm_and_no_long_wait(broker):
    with socket.socket() as listener:
        listener.bind(("127.0.0.1", 0))
        if broker == "mute":
            listener.listen()
        env = os.environ | {
            "DJANGO_SETTINGS_MODULE": "tests.settings",
            "REDIS_URL": f"redis://127.0.0.1:{listener.getsockname()[1]}/0",
        }
        done = subprocess.run([sys.executable, "-c", NUDGE], env=env, capture_output=True, text=True, timeout=30)
    assert float(done.stdout) < 8  # s: 3 for a broker that does not answer, the rest for a busy machine
    assert "was not announced" in done.stderr


def test_the_sweep_command_does_what_waits_and_says_how_much(kind, capsys):
    start(kind(makes_supplier))
    call_command("sweep")
    assert capsys.readouterr().out == "1 run done\n"
    assert Supplier.objects.exists()


class TestInterface:
    def test_a_run_is_read_with_its_tag_and_asks_to_come_back(self, kind, api):
        run = start(kind(makes_supplier))
        response = api.get(f"/api/v1/runs/{run.pk}")
        assert response.json()["state"] == "queued"
        assert response["Retry-After"] == "1" and response["ETag"]
        runs.sweep()
        response = api.get(f"/api/v1/runs/{run.pk}")
        assert response.json()["state"] == "done" and response.json()["result"]["supplier"]
        assert "Retry-After" not in response

    def test_a_run_is_cancelled_once(self, kind, api):
        run = start(kind(makes_supplier))
        address = f"/api/v1/runs/{run.pk}"
        assert api.post(f"{address}/cancel").status_code == 428
        cancelled = api.post(f"{address}/cancel", HTTP_IF_MATCH=api.get(address)["ETag"])
        assert (cancelled.status_code, cancelled.json()["state"]) == (200, "cancelled")
        again = api.post(f"{address}/cancel", HTTP_IF_MATCH=cancelled["ETag"])
        assert again.status_code == 409 and "cancelled already" in again.json()["detail"]
        assert runs.sweep() == 0

    def test_crew_may_look_and_not_cancel_and_a_stranger_may_nothing(self, kind, as_user, crew, stranger):
        run = start(kind(makes_supplier))
        address = f"/api/v1/runs/{run.pk}"
        tag = as_user(crew).get(address)["ETag"]
        assert as_user(crew).post(f"{address}/cancel", HTTP_IF_MATCH=tag).status_code == 403
        assert stranger.get(address).status_code == 401
