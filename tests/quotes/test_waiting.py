"""The waiting list: what stands on it, why, since when, and when it leaves it."""

from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from estimating.models import PriceFetch, Run
from estimating.service import runs
from quotes.demonstration import NOW
from quotes.mail import mailing, outbox, sending
from quotes.models import Acceptance, OfferEvent, OutboxMail, Quote, Revision, Signature
from quotes.offers import Standing, standing, withdraw_offer
from quotes.waiting import waiting_list
from tests.quotes.conftest import PDF
from tests.quotes.offered import offered, revised

pytestmark = pytest.mark.django_db


def kinds(at=NOW) -> list[str]:
    return [one.kind for one in waiting_list(at)]


@pytest.fixture
def mails(offer):
    """Both owners' mails, posted."""
    return [mailing.post_proposal(link, PDF, "p.pdf", now=NOW) for link in offer.links.all()]


def refuse(mail, words="550 5.1.1 no such mailbox here") -> None:
    OutboxMail.objects.filter(pk=mail.pk).update(state="refused", words=words)


def sign(offer, *links, cancel_by="2026-03-19") -> None:
    made, _ = Acceptance.objects.get_or_create(offer=offer, defaults={
        "price": offer.revision.price, "revision_sha256": offer.revision.sha256, "created_at": NOW})
    for link in links:
        Signature.objects.create(acceptance=made, link=link, role=link.role, name=link.name, signed_sha256="0" * 64,
                                 transaction_date="2026-03-16", cancel_by=cancel_by, created_at=NOW)


def test_a_refused_mail_waits_with_the_servers_words_until_it_is_seen_or_sent_again(mails, owner):
    assert kinds() == []
    for mail in mails:
        refuse(mail)
    found = waiting_list(NOW)
    assert [one.kind for one in found] == ["mail-refused"] * 2
    assert "to owner@example.com did not arrive: 550 5.1.1 no such mailbox here" in found[0].sentence
    assert (found[0].since, found[0].job, found[0].act) == (NOW, mails[0].job, f"/api/v1/mails/{mails[0].pk}/resend")
    outbox.see_mail(mails[0].pk, by=owner, now=NOW)
    outbox.resend_mail(mails[1].pk, to="co@example.org", by=owner, now=NOW)
    assert kinds() == []


def test_a_mail_that_was_given_up_says_so(mails):
    refuse(mails[0], "Given up after 5 days. [Errno 111] Connection refused")
    [one] = waiting_list(NOW)
    assert one.kind == "mail-given-up"
    assert "did not arrive: [Errno 111] Connection refused It was tried for 5 days." in one.sentence


def test_a_question_waits_until_it_is_answered(offer, mails, owner):
    question = OfferEvent.objects.create(offer=offer, kind="question", link=offer.links.first(), text="Ipe?",
                                         created_at=NOW)
    [one] = waiting_list(NOW)
    assert (one.kind, one.sentence) == ("question", f"Odette Marlowe asks about {offer.revision}: Ipe?")
    mailing.answer_question(question.pk, "Cedar.", by=owner, now=NOW)
    assert kinds() == []


def test_an_offer_that_was_not_sent_waits_with_the_reason(offer, monkeypatch):
    run = sending.start_again(offer.pk, by=None, now=NOW)
    assert kinds() == []  # the run is about to be done
    runs.cancel_run(run, now=NOW)
    [one] = waiting_list(NOW)
    assert one.kind == "offer-not-sent" and "the run was cancelled" in one.sentence
    Run.objects.filter(pk=run.pk).update(state="failed", problem={"detail": "A defect on our side"})
    [one] = waiting_list(NOW)
    assert "has not gone: A defect on our side. It is tried again by itself" in one.sentence
    sending.start_again(offer.pk, by=None, now=NOW)
    assert kinds() == ["offer-not-sent"]
    for link in offer.links.all():
        mailing.post_proposal(link, PDF, "p.pdf", now=NOW)
    assert kinds() == []


@pytest.mark.parametrize(("before", "waits"), [
    (timedelta(days=7, seconds=1), False), (timedelta(days=7), True), (timedelta(seconds=1), True),
    (timedelta(0), False),
])
def test_an_offer_waits_in_the_week_before_it_lapses(offer, mails, before, waits):
    found = waiting_list(offer.expires_at - before)
    assert [one.kind for one in found] == ["offer-lapses"] * waits
    assert not waits or "lapses at the end of 2026-04-15" in found[0].sentence


def of_another_quote(revision: Revision) -> Revision:
    """The same revision, of a quote of its own."""
    quote = Quote.objects.get(pk=revision.quote_id)
    quote.pk, quote._state.adding = None, True
    quote.save()
    kept = {field.attname: getattr(revision, field.attname) for field in Revision._meta.concrete_fields}
    return Revision.objects.create(**{**kept, "id": None, "quote_id": quote.pk})


def test_open_offers_are_those_that_stand_open_one_by_one(scenario, site):
    """The query for many against the sentence about one, in every standing."""
    made = [offered(revised(scenario.revision), second=True) for _ in range(2)]  # the second supersedes the first
    others = [(offered(of_another_quote(scenario.revision), second=True), state)
              for state in ("withdrawn", "declined", "cancelled", "signed", "signed-in-part", "open")]
    for offer, state in others:
        links = list(offer.links.all())
        if state in ("signed", "cancelled"):
            sign(offer, *links)
        if state == "signed-in-part":
            sign(offer, links[0])
        if state in ("withdrawn", "declined", "cancelled"):
            OfferEvent.objects.create(offer=offer, kind=state, created_at=NOW)
    everything = [*made, *(offer for offer, _ in others)]
    found = {str(standing(offer, NOW)) for offer in everything}
    assert found == set(Standing) - {"expired"}
    for at in (NOW, made[0].expires_at - timedelta(seconds=1), made[0].expires_at):
        open_now = {offer.pk for offer in everything if standing(offer, at) in ("open", "signed-in-part")}
        assert set(sending.open_offers(at).values_list("pk", flat=True)) == open_now
    assert open_now == set()


def test_goods_wait_to_be_ordered_once_the_sale_can_no_longer_be_cancelled(offer, mails):
    sign(offer, *offer.links.all())
    job = offer.revision.quote.job
    job.status = "accepted"
    job.save()
    assert kinds(NOW + timedelta(days=3)) == []  # the 19th itself
    [one] = waiting_list(NOW + timedelta(days=4))
    assert (one.kind, one.job) == ("goods-to-order", job)
    assert "Until 2026-03-19 nothing was to be ordered" in one.sentence
    assert one.since.isoformat() == "2026-03-20T00:00:00-04:00"
    job.status = "scheduled"
    job.save()
    assert kinds(NOW + timedelta(days=4)) == []


def test_a_price_list_whose_last_file_could_not_be_had_waits(scenario):
    listed = scenario.version.price_list
    listed.source_url, listed.every_hours = "https://prices.example.com/list.csv", 24
    listed.save()
    for outcome, waits in (("failed", True), ("unchanged", False), ("refused", True), ("approved", False)):
        PriceFetch.objects.create(price_list=listed, at=NOW, outcome=outcome, detail="404", url=listed.source_url)
        assert kinds() == ["price-list-not-fetched"] * waits, outcome


def test_what_has_waited_longest_comes_first_and_queries_do_not_grow(offer, mails):
    def counted() -> int:
        with CaptureQueriesContext(connection) as queries:
            waiting_list(NOW)
        return len(queries)

    refuse(mails[0])
    OfferEvent.objects.create(offer=offer, kind="question", link=offer.links.first(), text="?", created_at=NOW)
    few = counted()
    for days in range(5):
        OfferEvent.objects.create(offer=offer, kind="question", link=offer.links.first(), text="?",
                                  created_at=NOW - timedelta(days=days))
    refuse(mails[1])
    assert counted() == few
    found = waiting_list(NOW)
    assert [one.since for one in found] == sorted(one.since for one in found) and len(found) == 8


def test_a_withdrawn_offer_waits_for_nobody(offer):
    runs.cancel_run(sending.start_again(offer.pk, by=None, now=NOW), now=NOW)
    assert kinds() == ["offer-not-sent"]
    withdraw_offer(offer.pk, "a mistake", by=None, now=NOW)
    assert kinds() == []
