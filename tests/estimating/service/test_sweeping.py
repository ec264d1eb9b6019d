"""What a sweep does: every step in its turn, none kept from it by another."""

from datetime import UTC, datetime

import pytest
from django.core.management import call_command
from django.db import InterfaceError, OperationalError

from estimating import tasks
from estimating.service import sweeping

NOW = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)


@pytest.fixture
def chores(monkeypatch):
    """None yet; what the steps of a test write down."""
    monkeypatch.setattr(sweeping, "_chores", [])
    return []


def step(written, name, count=None):
    return lambda now: written.append((name, now)) or count


def test_steps_come_in_the_order_of_registration_and_their_counts_are_told_by_name(chores):
    sweeping.on_sweep(step(chores, "syncs"))
    sweeping.on_sweep(step(chores, "runs", 2), step(chores, "told of runs"), name="run")
    sweeping.on_sweep(step(chores, "mails", 0), name="mail")
    assert sweeping.sweep(NOW) == {"run": 2, "mail": 0}
    assert chores == [("syncs", NOW), ("runs", NOW), ("mails", NOW)]


def test_where_there_are_workers_they_are_told_in_place_of_doing_it(chores, monkeypatch):
    sweeping.on_sweep(step(chores, "runs", 2), step(chores, "told of runs"))
    sweeping.on_sweep(step(chores, "forget"))
    monkeypatch.setattr(tasks.timezone, "now", lambda: NOW)
    tasks.sweep_runs()
    assert chores == [("told of runs", NOW), ("forget", NOW)]


def test_a_step_with_a_defect_keeps_no_other_from_its_turn(chores, caplog):
    sweeping.on_sweep(lambda now: 1 / 0, name="run")
    sweeping.on_sweep(step(chores, "mails", 1), name="mail")
    assert sweeping.sweep(NOW) == {"mail": 1}
    assert "ZeroDivisionError" in caplog.text


@pytest.mark.parametrize("away", [OperationalError, InterfaceError])
def test_a_database_that_is_away_is_told(chores, away):
    def no_answer(now):
        raise away("no answer")

    sweeping.on_sweep(no_answer)
    with pytest.raises(away):
        sweeping.sweep(NOW)


@pytest.mark.parametrize(("counts", "said"), [
    ((0, 0), "nothing done\n"), ((1, 0), "1 run done\n"), ((2, 1), "2 runs, 1 mail done\n")
])
def test_the_command_says_what_it_did(chores, capsys, counts, said):
    for name, count in zip(("run", "mail"), counts, strict=True):
        sweeping.on_sweep(step(chores, name, count), name=name)
    call_command("sweep")
    assert capsys.readouterr().out == said
