"""Mail on its way to real mail servers: taken, refused, put off, broken off, and never altered."""

from datetime import timedelta
from email import message_from_bytes, policy

import pytest
from django.db import OperationalError, connection

from estimating.customers import erase_customer
from estimating.service import runs
from quotes.demonstration import NOW
from quotes.mail import delivery, letters, outbox, transport
from quotes.mail.mailing import post_proposal
from quotes.models import OutboxMail
from quotes.offers import address_with, token_of, withdraw_offer
from tests.quotes.conftest import PDF
from tests.quotes.mail_servers import CERTIFICATE, DROP, OK, Server, free_port, serving

pytestmark = pytest.mark.django_db


@pytest.fixture
def mail(offer) -> OutboxMail:
    return post_proposal(offer.links.first(), PDF, "Q00001-1-proposal.pdf", now=NOW)


@pytest.fixture
def to(site):
    """Mail goes to this server, or to a port where there is none."""
    def point(server: Server | None = None) -> None:
        port = server.port if server else free_port()
        site.MAIL = {"host": "127.0.0.1", "port": port, "user": "", "password": "", "tls": "none"}

    return point


def deliver(mail, after=timedelta(0)):
    found = delivery.deliver(mail.pk, clock=lambda: NOW + after)
    mail.refresh_from_db()
    return found


def test_a_server_that_answers_250_has_the_exact_message_and_the_row_says_so(mail, to):
    with serving(Server()) as server:
        to(server)
        assert deliver(mail).state == "sent"
        assert deliver(mail, timedelta(days=1)) is None
    [taken] = server.taken
    assert taken.content == letters.completed(bytes(mail.message), token_of(mail.link))
    assert (taken.mail_from, taken.rcpt_tos) == ("office@example.com", ["owner@example.com"])
    assert (mail.sent_at, mail.words, mail.attempts) == (NOW, OK, 1)
    message = message_from_bytes(taken.content, policy=policy.default)
    assert message.defects == [] and message["Message-ID"] == mail.message_id
    assert address_with(token_of(mail.link)) in message.get_body(("plain",)).get_content()
    assert [paper.get_content() for paper in message.iter_attachments()] == [PDF]


def test_the_rows_message_and_words_never_hold_the_token(mail, to):
    with serving(Server()) as server:
        to(server)
        deliver(mail)
    row = OutboxMail.objects.filter(pk=mail.pk).values().get()
    assert not any(token_of(mail.link) in str(bytes(value) if isinstance(value, memoryview) else value)
                   for value in row.values())


@pytest.mark.parametrize("server", [
    Server(lambda nth: "550 5.1.1 no such mailbox here"), Server(to_recipient="550 5.1.1 no such mailbox here"),
])
def test_a_refusal_for_good_is_kept_in_the_servers_words_and_not_tried_again(mail, to, server):
    with serving(server):
        to(server)
        deliver(mail)
        assert (mail.state, mail.words) == ("refused", "550 5.1.1 no such mailbox here")
        assert deliver(mail, timedelta(days=1)) is None
    assert server.taken == [] and mail.attempts == 1


def test_a_refusal_for_now_is_put_off_each_time_longer_up_to_a_day(mail, to):
    waits, at = [], timedelta(0)
    with serving(Server(lambda nth: "451 4.7.1 try again later" if nth < 13 else OK)) as server:
        to(server)
        while deliver(mail, at) and mail.state == "waiting":
            assert (mail.words, deliver(mail, at)) == ("451 4.7.1 try again later", None)
            waits.append((mail.due_at - NOW - at) / timedelta(minutes=1))
            assert deliver(mail, at + timedelta(minutes=waits[-1] - 0.01)) is None
            at = mail.due_at - NOW
    assert waits == [1, 2, 5, 15, 30, 60, 120, 240, 480, 960, 1440, 1440, 1440]
    assert mail.state == "sent" and len(server.taken) == 1
    assert {envelope.content for envelope in server.seen} == {server.taken[0].content}


def test_after_five_days_it_is_given_up_and_says_so(mail, to):
    to(None)
    deliver(mail, timedelta(days=5) - timedelta(seconds=1))
    assert mail.state == "waiting" and "refused" in mail.words.lower()
    deliver(mail, timedelta(days=6))
    assert mail.state == "refused" and mail.words.startswith("Given up after 5 days. ")
    assert "refused" in mail.words.lower()  # the connection was, in the system's words


def test_a_connection_that_drops_after_the_message_brings_the_same_message_again(mail, to):
    with serving(Server(lambda nth: DROP if nth == 0 else OK)) as server:
        to(server)
        deliver(mail)
        assert mail.state == "waiting"
        deliver(mail, timedelta(minutes=1))
    assert mail.state == "sent"
    one, other = server.taken
    assert one.content == other.content and mail.message_id.encode() in one.content


def test_a_server_that_wants_no_one_in_puts_mail_off(mail, to, site):
    with serving(Server()) as server:
        to(server)
        site.MAIL = {**site.MAIL, "user": "office", "password": "wrong"}
        deliver(mail)
        assert (mail.state, server.seen) == ("waiting", [])
        site.MAIL = {**site.MAIL, "user": "", "tls": "starttls"}  # which this server does not know
        deliver(mail, timedelta(hours=1))
    assert (mail.state, server.seen) == ("waiting", []) and "STARTTLS" in mail.words


@pytest.mark.filterwarnings("ignore:Requiring AUTH")  # the server's: it does not see that the line is encrypted
@pytest.mark.parametrize("tls", ["starttls", "tls"])
def test_mail_goes_encrypted_with_the_password_and_only_to_a_server_that_shows_who_it_is(
        mail, to, site, monkeypatch, tls):
    with serving(Server(), tls=tls, password="seven tall ladders") as server:
        to(server)
        site.MAIL = {**site.MAIL, "tls": tls, "user": "office", "password": "seven tall ladders"}
        deliver(mail)
        assert (mail.state, server.seen) == ("waiting", []) and "CERTIFICATE_VERIFY_FAILED" in mail.words
        monkeypatch.setenv("SSL_CERT_FILE", str(CERTIFICATE))
        deliver(mail, timedelta(hours=1))
        assert mail.state == "sent", mail.words
        assert len(server.taken) == 1
        OutboxMail.objects.filter(pk=mail.pk).update(state="waiting", sent_at=None)
        site.MAIL = {**site.MAIL, "password": "guess"}
        deliver(mail, timedelta(hours=2))
        assert (mail.state, len(server.seen)) == ("waiting", 1) and mail.words.startswith("535")


def test_of_two_who_claim_one_gets_the_mail_until_its_lease_is_over(mail):
    assert delivery.claim_mail(mail.pk, now=NOW).attempts == 1
    assert delivery.claim_mail(mail.pk, now=NOW + runs.LEASE) is None
    assert delivery.claim_mail(mail.pk, now=NOW + runs.LEASE + timedelta(seconds=1)).attempts == 2


def test_who_lost_the_mail_on_the_way_sends_no_dot(mail, to, monkeypatch):
    """Another takes the mail over while the first is held up in the middle of the message."""
    real, asked = delivery._is_ours, []

    def held_up(claimed, clock):
        if not asked:
            asked.append(claimed)
            later = NOW + runs.LEASE + timedelta(seconds=1)
            assert delivery.deliver(mail.pk, clock=lambda: later).state == "sent"
        return real(claimed, clock)

    monkeypatch.setattr(delivery, "_is_ours", held_up)
    with serving(Server()) as server:
        to(server)
        assert delivery.deliver(mail.pk, clock=lambda: NOW) is None
    assert len(server.taken) == 1
    mail.refresh_from_db()
    assert (mail.state, mail.attempts) == ("sent", 2)


def test_without_the_question_before_the_dot_the_mail_would_arrive_twice(mail, to, monkeypatch):
    asked = []

    def trusting(claimed, clock):
        if not asked:
            asked.append(claimed)
            delivery.deliver(mail.pk, clock=lambda: NOW + runs.LEASE + timedelta(seconds=1))
        return True

    monkeypatch.setattr(delivery, "_is_ours", trusting)
    with serving(Server()) as server:
        to(server)
        delivery.deliver(mail.pk, clock=lambda: NOW)
    assert len(server.taken) == 2


def test_a_database_that_is_away_before_the_dot_keeps_the_mail_from_going(mail, to, monkeypatch):
    def away(claimed, clock):
        raise OperationalError("the database system is shutting down")

    monkeypatch.setattr(connection, "close", lambda: None)  # the test's own transaction lives in it
    monkeypatch.setattr(delivery, "_hold", away)
    with serving(Server()) as server:
        to(server)
        assert deliver(mail) is None
    assert server.taken == [] and mail.state == "sending"


def test_a_database_that_is_away_after_the_250_is_waited_for(mail, to, monkeypatch):
    real, failures = delivery._tell, [OperationalError("gone"), OperationalError("starting up")]

    def comes_back(*args):
        if failures:
            raise failures.pop()
        real(*args)

    monkeypatch.setattr(connection, "close", lambda: None)
    monkeypatch.setattr(delivery, "_tell", comes_back)
    with serving(Server()) as server:
        to(server)
        deliver(mail)
    assert mail.state == "sent" and len(server.taken) == 1


def test_a_proposal_that_was_withdrawn_before_it_went_is_stopped(mail, offer, to):
    with serving(Server()) as server:
        to(server)
        withdraw_offer(offer.pk, "a mistake in the price", by=None, now=NOW)
        deliver(mail)
    assert (mail.state, mail.words, server.seen) == ("stopped", "The offer is withdrawn.", [])


@pytest.mark.parametrize(("moment", "state"), [(timedelta(seconds=-1), "sent"), (timedelta(0), "stopped")])
def test_a_proposal_that_has_lapsed_does_not_go(mail, offer, site, moment, state):
    delivery.deliver(mail.pk, clock=lambda: offer.expires_at + moment)
    mail.refresh_from_db()
    assert mail.state == state


def test_mail_of_a_lost_job_and_of_an_erased_customer_is_stopped(mail, offer, site):
    other = post_proposal(offer.links.last(), PDF, "p.pdf", now=NOW)
    mail.job.status = "lost"
    mail.job.save()
    deliver(mail)
    assert (mail.state, mail.words) == ("stopped", "The job stands as lost.")
    erase_customer(mail.job.customer, by=None, now=NOW)
    other.refresh_from_db()
    assert (other.state, bytes(other.message)) == ("stopped", b"")


def test_a_link_that_cannot_be_made_anew_is_not_sent(mail, site):
    site.SECRET_KEY = "another one, since the old one was lost or changed"
    deliver(mail)
    assert mail.state == "refused" and "SECRET_KEY" in mail.words


def test_a_folder_takes_each_mail_as_one_file_however_often_it_is_written(mail, site):
    for after in (timedelta(0), timedelta(hours=1)):
        OutboxMail.objects.filter(pk=mail.pk).update(state="waiting", sent_at=None)
        deliver(mail, after)
    [file] = site.MAIL["folder"].iterdir()
    assert file.read_bytes() == letters.completed(bytes(mail.message), token_of(mail.link))
    assert file.suffix == ".eml" and mail.state == "sent"


def test_what_is_due_is_delivered_oldest_first_and_one_that_fails_holds_up_none(offer, to):
    first, second = (post_proposal(link, PDF, "p.pdf", now=NOW) for link in offer.links.all())
    with serving(Server(lambda nth: "451 later" if nth == 0 else OK)) as server:
        to(server)
        assert delivery.deliver_due(clock=lambda: NOW) == 2
    states = dict(OutboxMail.objects.values_list("pk", "state"))
    assert states == {first.pk: "waiting", second.pk: "sent"}
    assert server.taken[0].rcpt_tos == ["co-owner@example.com"]


def test_a_message_with_lines_that_begin_with_a_dot_arrives_as_it_was(to):
    raw = b"From: a@example.com\r\nTo: b@example.com\r\n\r\n.\r\n..\r\n.hidden\r\nend\r\n"
    with serving(Server()) as server:
        to(server)
        answer = transport.hand_over(raw, name="x", sender="a@example.com", recipient="b@example.com",
                                     is_ours=lambda: True)
    assert answer == (transport.Outcome.TAKEN, OK) and server.taken[0].content == raw


def test_a_mail_that_nobody_can_be_written_to_waits_for_a_person(offer, site):
    letter = outbox.letters.Letter(letters.Person("Office", "office@example.com"), letters.Person("Odette", "odette"),
                                   "Hello", "text", "<p>html</p>")
    mail = outbox.post("one", letter, kind="notice", job=offer.revision.quote.job, now=NOW)
    assert mail.state == "refused" and "expected name@example.com" in mail.words
    assert deliver(mail) is None
