"""The run that sends an offer: its papers and the mail of every link, all or nothing, once, and never forgotten."""

from datetime import timedelta

import pytest
from django.core.files.storage import default_storage

from estimating.customers import erase_customer
from estimating.models import Run
from estimating.service import runs
from quotes.demonstration import NOW
from quotes.mail import sending
from quotes.models import OutboxMail, RenderedFile
from quotes.offers import withdraw_offer
from quotes.paper import files as papers
from quotes.paper.files import Paper
from tests.quotes.conftest import PDF
from tests.quotes.offered import offered

pytestmark = pytest.mark.django_db


@pytest.fixture
def made(monkeypatch):
    """Papers that are quick to make; how often they were."""
    calls = []

    def make(revision, report):
        report(10, "proposal")
        calls.append(revision.pk)
        return {"proposal": Paper("application/pdf", PDF)}

    monkeypatch.setattr(sending, "make_papers", make)
    return calls


@pytest.fixture
def fresh(scenario, site):
    """An offer whose papers are not there: the storage has lost them."""
    offer = offered(scenario.revision)
    for file in RenderedFile.objects.filter(revision=offer.revision):
        default_storage.delete(file.path)
    sending.start_again(offer.pk, by=None, now=NOW)
    return offer


def perform(offer, at=NOW) -> Run:
    run = Run.objects.filter(kind="offer", subject=f"offer/{offer.pk}").last()
    return runs.perform(run.pk, clock=lambda: at)


@pytest.fixture(autouse=True)
def _then(monkeypatch):
    monkeypatch.setattr(sending.timezone, "now", lambda: NOW)


def test_a_run_makes_what_is_missing_and_posts_a_mail_a_link(fresh, made):
    run = perform(fresh)
    assert run.state == "done", run.problem
    [mail] = OutboxMail.objects.all()
    assert (mail.kind, mail.state, mail.recipient) == ("proposal", "waiting", "owner@example.com")
    assert run.result == {"offer": fresh.pk, "mails": [mail.pk]} and len(made) == 1
    assert papers.read_paper(RenderedFile.objects.filter(kind="proposal").last()) == PDF


def test_papers_that_are_stored_are_not_made_again_and_both_owners_are_written_to(offer, made):
    sending.start_again(offer.pk, by=None, now=NOW)
    assert perform(offer).state == "done"
    assert made == [] and OutboxMail.objects.count() == 2
    sending.start_again(offer.pk, by=None, now=NOW)
    assert perform(offer).state == "done"
    assert OutboxMail.objects.count() == 2


def test_a_cancelled_run_posts_nothing_and_is_not_started_by_itself(fresh, made, monkeypatch):
    def cancelled_meanwhile(revision, report):
        runs.cancel_run(Run.objects.get(kind="offer"), now=NOW)
        report(50, "cut sheets")

    monkeypatch.setattr(sending, "make_papers", cancelled_meanwhile)
    assert perform(fresh).state == "cancelled"
    assert not OutboxMail.objects.exists() and sending.stored_proposal(fresh.revision) is None
    assert sending.start_left_behind(now=NOW + timedelta(days=1)) == 0


def test_a_withdrawn_offer_is_not_sent_and_not_started_again(fresh, made):
    withdraw_offer(fresh.pk, "a mistake", by=None, now=NOW)
    run = perform(fresh)
    assert run.state == "failed" and "withdrawn" in run.problem["detail"]
    assert not OutboxMail.objects.exists()
    assert sending.start_left_behind(now=NOW + timedelta(days=1)) == 0


def test_what_a_failed_run_left_behind_is_started_again_later_each_time(fresh, made, monkeypatch):
    monkeypatch.setattr(sending, "make_papers", lambda *_: 1 / 0)
    at, waits = NOW, []
    for _ in range(10):
        assert perform(fresh, at).state == "failed"
        low, high = 0, 24 * 3600
        assert sending.start_left_behind(now=at) == 0
        while high - low > 1:  # seconds until it is started again
            middle = (low + high) // 2
            last = Run.objects.latest("pk")
            if sending.start_left_behind(now=at + timedelta(seconds=middle)):
                Run.objects.filter(pk__gt=last.pk).delete()
                high = middle
            else:
                low = middle
        waits.append(high)
        at += timedelta(seconds=high)
        sending.start_left_behind(now=at)
        assert sending.start_left_behind(now=at) == 0  # the run that waits is enough
    assert waits == [60, 120, 240, 480, 960, 1920, 3840, 7680, 15360, 21600]


def test_an_offer_whose_run_is_gone_is_found_by_the_sweep(fresh, made):
    Run.objects.all().delete()
    assert sending.start_left_behind(now=NOW) == 1
    assert perform(fresh).state == "done"
    assert sending.start_left_behind(now=NOW + timedelta(days=1)) == 0


def test_a_customer_who_was_erased_while_papers_were_made_is_written_no_mail(fresh, monkeypatch):
    def erased_meanwhile(revision, report):
        erase_customer(fresh.revision.quote.job.customer, by=None, now=NOW)
        return {"proposal": Paper("application/pdf", PDF)}

    monkeypatch.setattr(sending, "make_papers", erased_meanwhile)
    assert perform(fresh).state == "failed"
    assert not OutboxMail.objects.exists() and sending.stored_proposal(fresh.revision) is None
