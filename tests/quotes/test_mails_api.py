"""Outbox and waiting list through the interface and the office's page."""

from email import message_from_bytes, policy

import pytest
from django.test import Client
from django.utils import timezone

from estimating.customers import erase_customer
from quotes.demonstration import NOW
from quotes.mail import mailing
from quotes.models import OutboxMail
from quotes.offers import token_of
from tests.quotes.conftest import PDF

pytestmark = pytest.mark.django_db
API = "/api/v1"


@pytest.fixture(autouse=True)
def _on_the_day_of_the_offer(monkeypatch):
    monkeypatch.setattr(timezone, "now", lambda: NOW)


@pytest.fixture
def mail(offer) -> OutboxMail:
    mails = [mailing.post_proposal(link, PDF, "p.pdf", now=NOW) for link in offer.links.all()]
    OutboxMail.objects.filter(pk=mails[0].pk).update(state="refused", words="550 no such mailbox")
    mails[0].refresh_from_db()
    return mails[0]


def resend(api, mail, body=None, **headers):
    where = f"{API}/mails/{mail.pk}"
    tag = api.get(where)["ETag"]
    return api.post(f"{where}/resend", body or {}, **{"HTTP_IF_MATCH": tag, "HTTP_IDEMPOTENCY_KEY": "one", **headers})


def test_mails_are_listed_by_job_and_state_without_their_message(api, mail):
    found = api.get(f"{API}/mails?job={mail.job_id}&state=refused").json()["results"]
    assert [row["id"] for row in found] == [mail.pk]
    assert found[0]["words"] == "550 no such mailbox" and "message" not in found[0] and "link" not in found[0]
    assert len(api.get(f"{API}/mails").json()["results"]) == 2
    assert api.get(f"{API}/mails?job=abc").status_code == 422


def test_the_message_is_for_the_office_and_holds_no_token(api, mail, as_user, reader, crew):
    answer = api.get(f"{API}/mails/{mail.pk}/message")
    assert answer["Content-Type"] == "message/rfc822"
    message = message_from_bytes(answer.content, policy=policy.default)
    assert message["Message-ID"] == mail.message_id
    assert token_of(mail.link) not in message.get_body(("plain",)).get_content()
    assert as_user(reader).get(f"{API}/mails/{mail.pk}/message").status_code == 403
    assert as_user(reader).get(f"{API}/mails/{mail.pk}").status_code == 200
    assert as_user(crew).get(f"{API}/mails").status_code == 403


def test_a_mail_is_sent_again_once_to_a_corrected_address(api, mail):
    first = resend(api, mail, {"to": "odette@example.org"})
    assert first.status_code == 201 and first.json()["recipient"] == "odette@example.org"
    assert first.json()["resend_of"] == mail.pk and first["Location"] == f"{API}/mails/{first.json()['id']}"
    again = resend(api, mail, {"to": "odette@example.org"})
    assert again.json() == first.json() and again["Idempotency-Replayed"] == "true"
    assert OutboxMail.objects.count() == 3


@pytest.mark.parametrize(("headers", "body", "status", "said"), [
    ({"HTTP_IDEMPOTENCY_KEY": ""}, {}, 400, "Idempotency-Key"), ({"HTTP_IF_MATCH": ""}, {}, 428, "If-Match"),
    ({"HTTP_IF_MATCH": '"outboxmail-1-99"'}, {}, 412, "changed"), ({}, {"to": "odette"}, 422, "valid email"),
    ({}, {"to": "zoë@example.com"}, 422, "valid email"), ({}, {"too": "x"}, 422, "no such field"),
    ({}, {"to": "a@b.example\nBcc: c@d.example"}, 422, "valid email"),
])
def test_sending_again_is_refused_with_the_reason(api, mail, headers, body, status, said):
    answer = resend(api, mail, body, **headers)
    assert answer.status_code == status and said in str(answer.json())
    assert OutboxMail.objects.count() == 2


def test_what_is_on_its_way_is_not_sent_again(api, mail):
    other = OutboxMail.objects.exclude(pk=mail.pk).get()
    answer = resend(api, other)
    assert answer.status_code == 409 and "on its way" in answer.json()["detail"]


def test_a_refused_mail_leaves_the_waiting_list_once_a_person_has_seen_to_it(api, mail, as_user, reader):
    [item] = api.get(f"{API}/waiting").json()["items"]
    assert item == {"kind": "mail-refused", "sentence": item["sentence"], "since": "2026-03-16T14:00:00Z",
                    "job": mail.job_id, "page": f"/jobs/{mail.job_id}/", "act": f"{API}/mails/{mail.pk}/resend"}
    where = f"{API}/mails/{mail.pk}"
    tag = {"HTTP_IF_MATCH": api.get(where)["ETag"]}
    assert as_user(reader).post(f"{where}/seen", **tag).status_code == 403
    assert api.post(f"{where}/seen", **tag).json()["seen_at"]
    assert api.get(f"{API}/waiting").json() == {"items": []}


def test_an_offer_is_sent_again_by_the_run_that_is_at_it(api, offer):
    where = f"{API}/offers/{offer.pk}/send"
    tag = {"HTTP_IF_MATCH": f'"offer-{offer.pk}-1"'}
    assert api.post(where, {}, **tag).status_code == 400
    first = api.post(where, {}, HTTP_IDEMPOTENCY_KEY="a", **tag)
    other = api.post(where, {}, HTTP_IDEMPOTENCY_KEY="b", **tag)
    assert first.status_code == other.status_code == 202
    assert first.json()["run"]["id"] == other.json()["run"]["id"]


def test_an_erased_message_is_gone(api, mail):
    erase_customer(mail.job.customer, by=None, now=NOW)
    assert api.get(f"{API}/mails/{mail.pk}/message").status_code == 410
    assert api.get(f"{API}/mails/{mail.pk}").json()["recipient"] == ""


def browser(person) -> Client:
    client = Client()
    client.force_login(person)
    return client


def test_the_page_shows_what_waits_and_sends_it_again(mail, owner, reader, crew):
    page = browser(owner).get("/waiting/").content.decode()
    assert "550 no such mailbox" in page and 'value="owner@example.com"' in page and "1 thing waits" in page
    assert "style=" not in page and "<script" not in page
    assert "Send again" not in browser(reader).get("/waiting/").content.decode()
    assert browser(crew).get("/waiting/").status_code == 403
    assert "Waiting list" not in browser(crew).get("/").content.decode()
    assert Client().get("/waiting/").status_code == 302
    assert browser(reader).post(f"/waiting/mails/{mail.pk}/again", {"to": "x@example.org"}).status_code == 403
    for to, words in (("odette@", "expected name@example.com"), ("odette@example.org", "It goes again"),
                      ("odette@example.org", "dealt with already")):
        shown = browser(owner).post(f"/waiting/mails/{mail.pk}/again", {"to": to}, follow=True).content.decode()
        assert words in shown
    assert OutboxMail.objects.get(resend_of=mail).recipient == "odette@example.org"


def test_the_page_puts_a_mail_aside(mail, owner):
    shown = browser(owner).post(f"/waiting/mails/{mail.pk}/seen", follow=True).content.decode()
    assert "Nothing waits for a person" in shown
    assert browser(owner).post("/waiting/mails/999/seen").status_code == 404
