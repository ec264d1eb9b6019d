"""Races for one offer: whoever comes at the same moment, it is signed once by each person and accepted once."""

from concurrent.futures import ThreadPoolExecutor
from threading import Barrier

import pytest
from django.db import connection
from django.test import Client

from estimating.models import Job, Run
from quotes import demonstration
from quotes.acceptance import signing as acceptance
from quotes.models import Acceptance, Offer, OfferEvent, Signature
from quotes.offers import OfferEnded, withdraw_offer
from tests.quotes.offered import NOTICE, OPTIONS, SIGNED_AT, address, offered, revised, second_step

pytestmark = pytest.mark.django_db(transaction=True)
PEOPLE = 6


@pytest.fixture
def house(transactional_db, framed_once, monkeypatch):
    monkeypatch.setattr("quotes.acceptance.pages.timezone.now", lambda: SIGNED_AT)
    return demonstration.set_up()


@pytest.fixture
def offer(house) -> Offer:
    return offered(revised(house.revision, options=OPTIONS, notices=[NOTICE]), second=True)


def at_once(works) -> list:
    """What each work gave, or the refusal that it raised, all begun together."""
    start = Barrier(len(works))

    def one(work):
        try:
            start.wait()
            return work()
        except (acceptance.AcceptanceRefused, OfferEnded) as refused:
            return refused
        finally:
            connection.close()

    with ThreadPoolExecutor(len(works)) as pool:
        return list(pool.map(one, works))


def signing(link, form):
    return lambda: acceptance_by(link, form)


def acceptance_by(link, form):
    return Client().post(address(link, "accept"), form).status_code


@pytest.mark.parametrize("locked", [True, False], ids=["locked", "past-the-lock"])
def test_one_form_sent_by_many_at_once_signs_once(offer, monkeypatch, locked):
    """Past the lock too: the rows that may exist once hold by themselves."""
    if not locked:
        plain = Offer.objects.select_related("revision__quote__job__customer")
        monkeypatch.setattr(acceptance, "locked_offer", lambda pk: plain.all().get(pk=pk))
        monkeypatch.setattr(acceptance.Job.objects, "select_for_update", lambda **_: Job.objects.all())
    link = offer.links.get(role="owner")
    form = second_step(Client(), link, option="A")
    answers = at_once([signing(link, form)] * PEOPLE)
    assert sorted(answers) == [303] + [409] * (PEOPLE - 1)
    assert (Acceptance.objects.count(), Signature.objects.count()) == (1, 1)
    assert Run.objects.filter(kind="receipt").count() == 1


def test_different_options_signed_at_once_leave_one(offer):
    link = offer.links.get(role="owner")
    forms = [second_step(Client(), link, option=option) for option in ("base", "A", "B")] * 2
    answers = at_once([signing(link, form) for form in forms])
    assert sorted(answers) == [303] + [409] * 5
    assert Acceptance.objects.count() == Signature.objects.count() == 1


def test_two_offers_of_one_job_accepted_at_once_leave_one(house):
    from quotes import drafts, revisions

    quote = house.revision.quote
    another = drafts.draft_quote(house.job.pk, quote.framing_id, version_ids=[house.version.pk], by=None,
                                 now=demonstration.NOW)
    other = revisions.issue_revision(another.pk, by=None, now=demonstration.NOW)
    links = [offered(revised(revision, notices=[NOTICE])).links.get() for revision in (house.revision, other)]
    forms = [(link, second_step(Client(), link)) for link in links]
    answers = at_once([signing(link, form) for link, form in forms] * 2)
    assert sorted(answers) == [303, 409, 409, 409]
    assert Acceptance.objects.count() == 1


def test_signing_and_withdrawing_at_once_leave_one_of_both(offer):
    link = offer.links.get(role="owner")
    form = second_step(Client(), link)
    signed, withdrawn = at_once([signing(link, form),
                                 lambda: withdraw_offer(offer.pk, "", by=None, now=SIGNED_AT)])
    assert isinstance(withdrawn, OfferEvent)
    assert signed in (303, 409) and Signature.objects.count() == (signed == 303)


def test_signing_and_declining_at_once_leave_one_of_both(house):
    link = offered(revised(house.revision, notices=[NOTICE])).links.get()
    form = second_step(Client(), link)
    signed, declined = at_once([signing(link, form), lambda: acceptance.decline(link.pk, "", now=SIGNED_AT)])
    assert (signed == 303) != isinstance(declined, OfferEvent)
    assert Signature.objects.count() + OfferEvent.objects.filter(kind="declined").count() == 1


def test_a_sale_is_cancelled_once_by_many_at_once(house):
    link = offered(revised(house.revision, notices=[NOTICE])).links.get()
    assert acceptance_by(link, second_step(Client(), link)) == 303
    answers = at_once([lambda: acceptance.cancel_sale(link.pk, now=SIGNED_AT)] * PEOPLE)
    assert sum(isinstance(answer, OfferEvent) for answer in answers) == 1


def test_many_openings_at_once_are_noted_once(offer):
    link = offer.links.get(role="owner")
    at_once([lambda: acceptance.note_opening(link, now=SIGNED_AT)] * PEOPLE)
    assert OfferEvent.objects.filter(kind="opened").count() == 1
