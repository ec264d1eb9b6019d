"""What is written to homeowners and to the office: what it says, to whom, and once."""

from email import message_from_bytes, policy

import pytest

from estimating.customers import erase_customer
from estimating.models import Office
from quotes.demonstration import NOW
from quotes.mail import mailing, outbox
from quotes.mail.letters import PLACE, Person
from quotes.models import OfferEvent, OfferLink, OutboxMail
from quotes.offers import token_of, withdraw_offer
from quotes.revisions import issue_revision
from tests.quotes.conftest import PDF
from tests.quotes.offered import offered

pytestmark = pytest.mark.django_db
NAME = "Q00001-1-proposal.pdf"


def read(mail):
    return message_from_bytes(bytes(mail.message), policy=policy.default)


def body(mail, kind="plain") -> str:
    """The text as it was written: CRLF as line ends, and each paragraph in one line."""
    return read(mail).get_body((kind,)).get_content().replace("\r\n", "\n")


@pytest.fixture
def link(offer) -> OfferLink:
    return offer.links.first()


def ask(link, text="May the planters stay?") -> OfferEvent:
    return OfferEvent.objects.create(offer=link.offer, kind="question", link=link, text=text, created_at=NOW)


def test_a_proposal_says_what_it_is_where_until_when_how_to_ask_and_that_the_link_is_personal(link):
    mail = mailing.post_proposal(link, PDF, NAME, now=NOW)
    message = read(mail)
    assert message["Subject"] == mail.subject == f"Your proposal {link.offer.revision.quote.number}, revision 1"
    assert message["To"] == "Odette Marlowe <owner@example.com>"
    assert message["From"].addresses[0].addr_spec == message["Reply-To"].addresses[0].addr_spec == "office@example.com"
    assert message["Auto-Submitted"] is None  # a person sent it
    assert message["Message-ID"] == mail.message_id and mail.message_id.endswith("@quotes.harrow-finch.example.com>")
    for kind in ("plain", "html"):
        text = body(mail, kind)
        for said in ("Dear Odette Marlowe", "418 Fictional Quay #4R", "revision 1", "April 15, 2026", "555-0117",
                     f"https://quotes.harrow-finch.example.com/proposal/{PLACE}", "answer this mail",
                     "The link is yours alone", "Ruben Marlowe gets a link of their own", "attached to this mail",
                     "Harrow &amp; Finch" if kind == "html" else "Harrow & Finch"):
            assert said in text, said
        assert token_of(link) not in text and "{{" not in text and "{%" not in text
    assert "&amp;" not in body(mail) and "\n\n\n" not in body(mail)
    [paper] = message.iter_attachments()
    assert (paper.get_content(), paper.get_filename()) == (PDF, NAME)


def test_html_shows_what_people_wrote_and_runs_none_of_it(link):
    office = Office.objects.get()
    office.name = 'A & B <script>alert("x")</script>'
    office.save()
    html = body(mailing.post_proposal(link, PDF, NAME, now=NOW), "html")
    assert "<script" not in html and "&lt;script&gt;" in html
    assert "http://" not in html.replace("http://www.w3.org", "") and "src=" not in html  # nothing is fetched


def test_the_same_mail_is_written_once(link):
    first = mailing.post_proposal(link, PDF, NAME, now=NOW)
    again = mailing.post_proposal(link, PDF + b"other", NAME, now=NOW)
    assert (again.pk, again.message_id) == (first.pk, first.message_id)
    assert OutboxMail.objects.count() == 1


@pytest.mark.parametrize(("size", "attached"), [(8_000_000, True), (8_000_001, False)])
def test_a_paper_that_is_too_heavy_goes_as_the_link_only(link, size, attached):
    mail = mailing.post_proposal(link, b"%" * size, NAME, now=NOW)
    assert len(list(read(mail).iter_attachments())) == attached
    assert ("attached to this mail" in body(mail)) == attached
    assert ("too large for a mail" in body(mail)) == (not attached) and PLACE in body(mail)


def test_a_later_revision_says_what_it_replaces(link, scenario):
    quote = scenario.revision.quote
    later = issue_revision(quote.pk, by=None, now=NOW, why="other boards")
    offer = offered(later)
    mail = mailing.post_proposal(offer.links.get(), PDF, NAME, now=NOW)
    assert "It takes the place of revision 1, which we sent you before." in body(mail)
    assert "gets a link of their own" not in body(mail)


def test_a_preview_is_the_mail_as_it_would_go_without_a_token(link):
    revision = link.offer.revision
    seen = mailing.preview(revision, Person(link.name, link.email), others=["Ruben Marlowe"], paper_size=len(PDF))
    sent = mailing.post_proposal(link, PDF, NAME, now=NOW)
    assert (seen.subject, seen.text, seen.html) == (sent.subject, body(sent), body(sent, "html"))
    assert "too large for a mail" in mailing.preview(revision, Person("", ""), paper_size=8_000_001).text


def test_a_receipt_goes_to_who_signed_and_to_the_office_which_never_gets_the_link(link):
    words = ["You accepted the deck as first offered, at $23,027.20.", "You may cancel until March 19, 2026."]
    paper = {"file_name": "signed.pdf", "kind": "receipt", "words": words, "now": NOW}
    theirs, ours = mailing.post_receipt(link, pdf=PDF, **paper)
    assert (theirs.recipient, ours.recipient) == ("owner@example.com", "office@example.com")
    assert (theirs.link, ours.link) == (link, None)
    for mail in (theirs, ours):
        assert all(sentence in body(mail) for sentence in words) and read(mail)["Auto-Submitted"] == "auto-generated"
        assert [paper.get_content() for paper in read(mail).iter_attachments()] == [PDF]
    assert PLACE in body(theirs) and PLACE not in body(ours)
    assert "Odette Marlowe signed proposal" in body(ours) and "Odette Marlowe is told:" in body(ours)
    assert read(ours)["Reply-To"].addresses[0].addr_spec == "owner@example.com"
    assert mailing.post_receipt(link, pdf=PDF, **paper) == [theirs, ours]
    assert mailing.post_receipt(link, pdf=PDF + b"and the second owner's name", **paper)[0] != theirs


def test_of_a_signed_paper_the_office_gets_one_copy_and_each_owner_one(offer):
    for link in offer.links.all():
        mailing.post_receipt(link, pdf=PDF, file_name="signed.pdf", kind="signed", words=["Work begins in May."],
                             now=NOW)
    assert sorted(OutboxMail.objects.values_list("recipient", flat=True)) == [
        "co-owner@example.com", "office@example.com", "owner@example.com"]


@pytest.mark.parametrize(("kind", "said"), [("declined", "has declined proposal"), ("cancelled", "has cancelled")])
def test_the_office_is_told_of_what_a_homeowner_did(link, kind, said):
    event = OfferEvent.objects.create(offer=link.offer, kind=kind, link=link, text="Too dear.", created_at=NOW)
    mail = mailing.post_event(event, now=NOW)
    assert (mail.recipient, mail.kind, mail.link) == ("office@example.com", "notice", None)
    assert mail.subject.startswith(kind.capitalize()) and PLACE not in body(mail)
    for text in (body(mail), body(mail, "html")):
        assert f"Odette Marlowe {said}" in text and "Too dear." in text
    assert mailing.post_event(event, now=NOW) == mail


def test_a_question_comes_to_the_office_and_an_answer_to_it_goes_to_who_asked(link):
    mail = mailing.post_question(ask(link, "Is the <old> deck taken up?\nAnd when?"), now=NOW)
    assert mail.recipient == "office@example.com" and mail.link is None
    assert read(mail)["Reply-To"].addresses[0].addr_spec == "owner@example.com"
    assert "Is the <old> deck taken up?\nAnd when?" in body(mail) and "Odette Marlowe asks" in body(mail)
    assert "Is the &lt;old&gt; deck" in body(mail, "html")
    assert f"/jobs/{mail.job_id}/" in body(mail) and PLACE not in body(mail)
    assert mailing.post_question(OfferEvent.objects.get(kind="question"), now=NOW) == mail


def test_an_answer_stands_under_its_question_and_goes_by_mail(link, owner):
    question = ask(link)
    answer = mailing.answer_question(question.pk, " They may. ", by=owner, now=NOW)
    assert (answer.text, answer.answers, answer.link, answer.created_by) == ("They may.", question, link, owner)
    mail = OutboxMail.objects.get(kind="answer")
    assert mail.recipient == "owner@example.com" and mail.link == link
    assert "They may." in body(mail) and "You had asked on March 16, 2026: May the planters stay?" in body(mail)
    [asked] = mailing.questions_of([mail.job_id])
    assert asked == question and [given.text for given in asked.answered_by.all()] == ["They may."]


def test_what_is_no_question_is_not_answered_and_an_answer_has_words(link):
    with pytest.raises(mailing.NoSuchQuestion):
        mailing.answer_question(0, "Yes.", by=None, now=NOW)
    question = ask(link)
    with pytest.raises(mailing.NothingSaid):
        mailing.answer_question(question.pk, " \n", by=None, now=NOW)
    answer = mailing.answer_question(question.pk, "Yes.", by=None, now=NOW)
    with pytest.raises(mailing.NoSuchQuestion):
        mailing.answer_question(answer.pk, "Yes.", by=None, now=NOW)
    assert OutboxMail.objects.count() == 1


def test_an_office_without_an_address_is_told_so_by_its_mail_and_sends_it_again_once_it_has_one(link):
    office = Office.objects.get()
    office.email = ""
    office.save()
    mail = mailing.post_proposal(link, PDF, NAME, now=NOW)
    assert (mail.state, mail.words) == ("refused", "There is no address.")
    office.email = "desk@example.com"
    office.save()
    again = outbox.resend_mail(mail.pk, by=None, now=NOW)
    assert again.state == "waiting" and read(again)["From"].addresses[0].addr_spec == "desk@example.com"
    assert read(again)["To"] == "Odette Marlowe <owner@example.com>" and PLACE in body(again)


def refused(link) -> OutboxMail:
    mail = mailing.post_proposal(link, PDF, NAME, now=NOW)
    OutboxMail.objects.filter(pk=mail.pk).update(state="refused", words="550 no such mailbox")
    return mail


def test_a_refused_mail_goes_again_to_a_corrected_address_as_a_new_message(link, owner):
    old = refused(link)
    new = outbox.resend_mail(old.pk, to="odette@example.org", by=owner, now=NOW)
    assert (new.recipient, new.state, new.resend_of, new.link) == ("odette@example.org", "waiting", old, link)
    assert new.message_id != old.message_id and read(new)["Message-ID"] == new.message_id
    assert read(new)["To"] == "Odette Marlowe <odette@example.org>"
    assert body(new) == body(old)
    assert [paper.get_content() for paper in read(new).iter_attachments()] == [PDF]
    old.refresh_from_db()
    assert (old.state, old.seen_at) == ("refused", NOW)


def test_what_is_on_its_way_withdrawn_or_badly_addressed_is_not_sent_again(link):
    mail = mailing.post_proposal(link, PDF, NAME, now=NOW)
    with pytest.raises(outbox.CannotResend, match="on its way"):
        outbox.resend_mail(mail.pk, by=None, now=NOW)
    old = refused(link)
    with pytest.raises(outbox.BadAddress, match="expected name@example.com"):
        outbox.resend_mail(old.pk, to="odette@", by=None, now=NOW)
    withdraw_offer(link.offer_id, "a mistake", by=None, now=NOW)
    with pytest.raises(outbox.CannotResend, match="withdrawn"):
        outbox.resend_mail(old.pk, by=None, now=NOW)
    assert OutboxMail.objects.count() == 1


def test_a_person_sees_to_a_refused_mail_and_to_no_other(link, owner):
    mail = mailing.post_proposal(link, PDF, NAME, now=NOW)
    with pytest.raises(outbox.NothingToSee):
        outbox.see_mail(mail.pk, by=owner, now=NOW)
    refused(link)
    assert outbox.see_mail(mail.pk, by=owner, now=NOW).seen_at == NOW


def test_erasing_a_customer_blanks_mails_links_and_what_was_asked_and_keeps_that_it_was(
        link, site, django_capture_on_commit_callbacks):
    from quotes.mail.delivery import deliver

    mail = mailing.post_proposal(link, PDF, NAME, now=NOW)
    deliver(mail.pk, clock=lambda: NOW)
    question = ask(link)
    unsent = mailing.post_question(question, now=NOW)
    assert len(list(site.MAIL["folder"].iterdir())) == 1
    with django_capture_on_commit_callbacks(execute=True):
        erase_customer(link.offer.revision.quote.job.customer, by=None, now=NOW)
    for row in (mail, unsent, link, question):
        row.refresh_from_db()
    assert (mail.state, unsent.state) == ("sent", "stopped")
    for row in (mail, unsent):
        assert (row.recipient, row.subject, bytes(row.message), row.words) == ("", "", b"", "")
    assert (link.name, link.email, question.text, link.erased_at) == ("", "", "", NOW)
    assert mail.message_id and mail.sent_at == NOW
    assert list(site.MAIL["folder"].iterdir()) == []
