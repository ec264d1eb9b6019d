"""Tests of an acceptance by link: what is signed, by whom, under which dates, and what the records say afterwards."""

from datetime import date, timedelta
from decimal import Decimal
from email import message_from_bytes
from email.policy import SMTP
from io import BytesIO

import pytest
from django.core.files.storage import default_storage
from django.test import Client
from pypdf import PdfReader

from estimating.customers import erase_customer
from estimating.jobs import blockers_of
from estimating.models import History, Job, Notice, Office, Run
from estimating.service import runs
from quotes import sales
from quotes.acceptance import receipts as acceptance_tasks
from quotes.acceptance import signing as acceptance
from quotes.acceptance.consent import VERSION
from quotes.demonstration import NOW
from quotes.models import Acceptance, OfferEvent, OfferLink, OutboxMail, RenderedFile, Signature
from quotes.offers import Standing, standing, withdraw_offer
from tests.quotes.offered import (
    CANCEL_BY,
    NOTICE,
    OPTIONS,
    OWNER,
    SECOND,
    SIGNED_AT,
    address,
    answers,
    offered,
    revised,
    second_step,
    sign,
    written,
)


@pytest.fixture
def at(monkeypatch):
    """Sets the views' clock."""
    clock = {"now": SIGNED_AT}
    monkeypatch.setattr("quotes.acceptance.pages.timezone.now", lambda: clock["now"])
    return lambda moment: clock.update(now=moment)


@pytest.fixture
def offer(scenario, at):
    return offered(revised(scenario.revision, options=OPTIONS, notices=[NOTICE]), second=True)


@pytest.fixture
def link(scenario, at):
    """The link of one who is the only owner."""
    return offered(revised(scenario.revision, options=OPTIONS, notices=[NOTICE])).links.get()


@pytest.fixture
def owner_link(offer):
    return offer.links.get(role="owner")


@pytest.fixture
def second_link(offer):
    return offer.links.get(role="co-owner")


def text_of(link: OfferLink) -> str:
    return Client().get(address(link)).content.decode()


def test_one_owner_signs_and_everything_that_was_shown_and_asked_is_kept(link, scenario):
    answer = sign(Client(HTTP_USER_AGENT="A browser"), link, option="A", over_65="unsaid", disaster="unknown")
    assert answer.status_code == 303 and answer.headers["Location"] == address(link)
    accepted = Acceptance.objects.get()
    assert (accepted.offer_id, accepted.option, accepted.price) == (link.offer_id, "A", Decimal("31250.00"))
    assert accepted.revision_sha256 == link.offer.revision.sha256
    row = Signature.objects.get()
    assert (row.role, row.link_id, row.name, row.created_at) == ("owner", link.pk, OWNER, SIGNED_AT)
    assert (row.remote_address, row.user_agent) == ("127.0.0.1", "A browser")
    # Nothing was answered, and the place is in no state: seven business days, the longest on file.
    assert (row.transaction_date, row.cancel_by) == (date(2026, 3, 18), date(2026, 3, 26))
    assert (row.over_65, row.disaster, row.agreed_where) == (None, None, "buyer-home")
    assert row.access_shown == link.offer.revision.sha256[:8]
    assert row.consent["version"] == VERSION and "on paper" in row.consent["text"] and row.consent["method"]
    assert row.consent["at"] == SIGNED_AT.isoformat()
    assert (row.cancel_rule["day"], row.cancel_rule["days"]) == ("2026-03-26", 7) and row.cancel_rule["source"]
    [notice] = row.notices
    assert "Date of the transaction: March 18, 2026." in notice["text"] and "until March 26, 2026." in notice["text"]
    assert OWNER not in notice["text"] and notice["copies"] == 2


def test_the_job_moves_on_when_the_last_owner_has_signed(owner_link, second_link, scenario):
    sign(Client(), owner_link, option="B")
    job = Job.objects.get(pk=scenario.job.pk)
    assert (job.status, job.accepted_on) == ("quoted", None)
    assert standing(owner_link.offer, SIGNED_AT) == Standing.SIGNED_IN_PART
    sign(Client(), second_link, option="B")
    job.refresh_from_db()
    assert (job.status, job.accepted_on) == ("accepted", date(2026, 3, 18))
    assert standing(owner_link.offer, SIGNED_AT) == Standing.ACCEPTED
    changes = [entry.changes for entry in History.objects.filter(subject="job", subject_id=job.pk, action="change")]
    assert {"accepted_on": [None, "2026-03-18"]} in changes and {"status": ["quoted", "accepted"]} in changes


def test_the_day_of_acceptance_is_the_day_in_the_offices_zone(link, scenario, at):
    at(SIGNED_AT.replace(day=19, hour=2))  # still the evening of the 18th in New York
    sign(Client(), link)
    assert Job.objects.get(pk=scenario.job.pk).accepted_on == date(2026, 3, 18)


def test_answers_decide_the_last_day_and_the_notice_shows_it(link):
    for over_65, disaster, day in (("no", "no", "March 21"), ("yes", "no", "March 24"), ("no", "yes", "March 26")):
        page = Client().post(address(link, "choices"), answers(link, over_65=over_65, disaster=disaster))
        assert f"You may cancel until {day}, 2026." in page.content.decode()


def test_both_copies_stand_filled_in_before_the_name_is_typed(link):
    page = Client().post(address(link, "choices"), answers(link)).content.decode()
    for words in ("copy 1 of 2", "copy 2 of 2", "Sign and accept", link.offer.revision.sha256, "$23,0"):
        assert words in page, words
    assert page.count("Date of the transaction: March 18, 2026.") == 2
    assert page.count(f"You may cancel until {CANCEL_BY}.") == 2 and page.count(f"Buyer: {OWNER}") == 2
    assert page.index("copy 2 of 2") < page.index('name="name"')
    assert not Signature.objects.exists()


def test_the_consent_tells_all_that_the_statute_asks_for_before_it_is_given(link):
    page = text_of(link)
    for words in ("Paper instead", "What it covers", "Taking it back", "There is no fee", "A new address",
                  "Paper copies later", "What you need", "a program that opens PDF files"):
        assert words in page, words
    assert page.index("What you need") < page.index('name="consent"')
    assert link.offer.revision.sha256[:8] not in page.replace(f'value="{link.offer.revision.sha256}"', "")


def test_the_second_owner_waits_for_the_first_and_then_signs_the_same(owner_link, second_link):
    assert "first owner chooses and signs first" in text_of(second_link)
    sign(Client(), owner_link, option="A")
    page = text_of(second_link)
    assert "option A, Ipe boards" in page and 'type="radio" id="option-' not in page
    sign(Client(), second_link, option="A")
    first, second = Signature.objects.order_by("pk")
    assert (first.name, second.name) == (OWNER, SECOND)
    assert first.acceptance_id == second.acceptance_id


def test_each_owner_has_dates_of_their_own_and_the_latest_counts(owner_link, second_link, scenario, at):
    sign(Client(), owner_link)
    at(SIGNED_AT + timedelta(days=1))
    sign(Client(), second_link)
    ends = [row.cancel_by for row in Signature.objects.order_by("pk")]
    assert ends == [date(2026, 3, 21), date(2026, 3, 23)]  # the 22nd is a Sunday
    [sale] = sales.sales_of([scenario.job.pk]).values()
    assert (sale.accepted_on, sale.cancel_by, sale.cancelled) == (date(2026, 3, 19), date(2026, 3, 23), False)


def test_the_hash_covers_revision_option_price_consent_notices_and_dates(link):
    sign(Client(), link, option="A")
    row = Signature.objects.get()
    chosen = acceptance.Choices("A", "buyer-home", False, False, "", SIGNED_AT)
    deed = acceptance.deed_for(link, chosen, now=SIGNED_AT)
    assert row.signed_sha256 == deed.sha256
    others = [
        acceptance.deed_for(link, acceptance.Choices("B", *("buyer-home", False, False, "", SIGNED_AT)), now=SIGNED_AT),
        acceptance.deed_for(link, chosen, now=SIGNED_AT + timedelta(days=1)),
    ]
    link.offer.revision.sha256 = "0" * 64
    others.append(acceptance.deed_for(link, chosen, now=SIGNED_AT))
    assert len({deed.sha256, *(other.sha256 for other in others)}) == 4


def test_the_receipt_shows_signatures_hash_and_how_to_cancel(link):
    sign(Client(), link)
    page = text_of(link)
    for words in (OWNER, link.offer.revision.sha256, f"Until the end of {CANCEL_BY} you may cancel", "not signed yet",
                  "No goods are ordered and no work begins"):
        assert words in page, words
    assert "Sign and accept" not in page and 'action="' + address(link, "choices") not in page


def test_the_receipts_run_keeps_the_signed_paper_and_brings_it_to_all_who_signed(owner_link, second_link, monkeypatch,
                                                                                 django_capture_on_commit_callbacks):
    sent = []
    monkeypatch.setattr(acceptance_tasks, "post_receipt", lambda link, **mail: sent.append((link.role, mail)))
    monkeypatch.setattr(acceptance_tasks, "html_to_pdf", lambda page: b"%PDF " + page.encode())
    sign(Client(), owner_link, option="A")
    sign(Client(), second_link, option="A")
    while runs.sweep(clock=lambda: SIGNED_AT):
        pass
    [file] = RenderedFile.objects.filter(kind="signed")  # made for both runs from the same signatures
    assert {(role, mail["kind"]) for role, mail in sent} == {("owner", "receipt"), ("co-owner", "receipt")}
    words = " ".join(sent[0][1]["words"])
    assert "$31,250.00" in words and CANCEL_BY in words and "option A" in words
    paper = Client().get(address(second_link, "signed"))
    assert paper.content == sent[0][1]["pdf"] and paper.headers["Content-Type"] == "application/pdf"
    assert SECOND in paper.content.decode() and paper.content.decode().count("Date of the transaction") >= 2
    assert "The signed paper as a PDF" in text_of(owner_link)
    assert file.name.endswith("-signed.pdf")


def test_a_run_that_finds_a_newer_signature_keeps_nothing(owner_link, second_link, monkeypatch):
    sent = []
    monkeypatch.setattr(acceptance_tasks, "post_receipt", lambda link, **mail: sent.append(link.role))

    def slow(page):
        if not Signature.objects.filter(link=second_link).exists():
            sign(Client(), second_link)
        return b"%PDF " + page.encode()

    monkeypatch.setattr(acceptance_tasks, "html_to_pdf", slow)
    sign(Client(), owner_link)
    first = Run.objects.filter(kind="receipt").earliest("pk")
    runs.perform(first.pk, clock=lambda: SIGNED_AT)
    assert not RenderedFile.objects.filter(kind="signed").exists() and not sent
    runs.sweep(clock=lambda: SIGNED_AT)
    assert RenderedFile.objects.filter(kind="signed").count() == 1 and sorted(sent) == ["co-owner", "owner"]


def test_the_office_signs_under_what_all_owners_have_signed(owner_link, second_link, owner, monkeypatch):
    sign(Client(), owner_link)
    with pytest.raises(acceptance.NotOpen, match="the other has still to sign"):
        acceptance.countersign(owner_link.offer_id, "Pat Harrow", by=owner, now=SIGNED_AT)
    sign(Client(), second_link)
    row = acceptance.countersign(owner_link.offer_id, "Pat Harrow", by=owner, now=SIGNED_AT)
    assert (row.role, row.link, row.created_by, row.consent) == ("office", None, owner, None)
    with pytest.raises(acceptance.AlreadySigned):
        acceptance.countersign(owner_link.offer_id, "Pat Harrow", by=owner, now=SIGNED_AT)
    assert "Pat Harrow" in text_of(owner_link) and "not signed yet" not in text_of(second_link)
    kinds = []
    monkeypatch.setattr(acceptance_tasks, "post_receipt", lambda link, **mail: kinds.append(mail["kind"]))
    monkeypatch.setattr(acceptance_tasks, "html_to_pdf", lambda page: b"%PDF")
    runs.sweep(clock=lambda: SIGNED_AT)
    assert set(kinds) == {"signed"}


def test_a_sale_is_cancelled_until_the_end_of_its_last_day_and_not_a_moment_later(link, scenario, at):
    sign(Client(), link)
    midnight = SIGNED_AT.replace(day=22, hour=4, minute=0)  # of the 21st to the 22nd in New York
    at(midnight)
    late = Client().post(address(link, "cancel"), {"sure": "yes"})
    assert late.status_code == 409 and f"last day to cancel here was {CANCEL_BY}" in late.content.decode()
    at(midnight - timedelta(seconds=1))
    assert Client().post(address(link, "cancel"), {"sure": "yes"}).status_code == 303
    event = OfferEvent.objects.get(kind="cancelled")
    assert (event.link_id, standing(link.offer, SIGNED_AT)) == (link.pk, Standing.CANCELLED)
    assert "it was cancelled" in text_of(link)
    codes = [blocker.code for blocker in blockers_of(Job.objects.get(pk=scenario.job.pk), now=midnight)]
    assert "sale-cancelled" in codes


def test_a_cancellation_has_to_be_meant(link):
    sign(Client(), link)
    answer = Client().post(address(link, "cancel"), {})
    assert answer.status_code == 422 and "Tick the box" in answer.content.decode()
    assert not OfferEvent.objects.filter(kind="cancelled").exists()


def test_no_work_is_set_and_nothing_ordered_before_the_last_day_to_cancel_has_passed(link, scenario):
    sign(Client(), link)
    job = Job.objects.get(pk=scenario.job.pk)

    def codes(day):
        return [blocker.code for blocker in blockers_of(job, now=SIGNED_AT.replace(day=day), to="scheduled")]

    assert "may-be-cancelled" in codes(21) and "may-be-cancelled" not in codes(22)
    held = sales.orders_held_until(job, date(2026, 3, 21))
    assert held.until == date(2026, 3, 21) and "may be cancelled" in held.text
    assert sales.orders_held_until(job, date(2026, 3, 22)) is None


def test_the_office_may_hold_orders_longer_and_never_shorter(link, scenario):
    sign(Client(), link)
    job = Job.objects.get(pk=scenario.job.pk)
    for days, until in ((0, 21), (10, 28)):
        Office.objects.update(ordering_held_days=days)
        assert sales.orders_held_until(job, date(2026, 3, 20)).until == date(2026, 3, until)
    assert sales.orders_held_until(job, date(2026, 3, 29)) is None


def test_nothing_is_ordered_for_a_job_that_is_not_accepted_or_was_cancelled(link, scenario):
    job = Job.objects.get(pk=scenario.job.pk)
    assert sales.orders_held_until(job, date(2030, 1, 1)).until is None
    sign(Client(), link)
    Client().post(address(link, "cancel"), {"sure": "yes"})
    assert "cancelled" in sales.orders_held_until(job, date(2030, 1, 1)).text


def test_a_paper_acceptance_typed_by_the_office_is_held_as_well(scenario, api):
    job = api.get(f"/api/v1/jobs/{scenario.job.pk}")
    changed = api.patch(f"/api/v1/jobs/{scenario.job.pk}", {"accepted_on": "2026-07-02"},
                        headers={"If-Match": job.headers["ETag"]})
    assert changed.status_code == 200
    [sale] = sales.sales_of([scenario.job.pk]).values()
    # Thursday; Friday the 3rd stands for the 4th, the 5th and the 12th are Sundays: seven days, counted carefully.
    assert (sale.accepted_on, sale.cancel_by) == (date(2026, 7, 2), date(2026, 7, 13))


def test_a_paper_acceptance_is_held_as_long_as_the_offices_own_notice_gives(scenario):
    for began, days in (("2026-01-01", 10), ("2026-07-01", 12), ("2026-07-03", 20)):
        Notice.objects.create(kind="cancellation", jurisdiction=scenario.job.jurisdiction, cancel_days=days,
                              title="To cancel", body="As we agreed.", source="the office", said_by="counsel",
                              valid_from=began, review_by="2027-01-01", created_at=SIGNED_AT)
    Job.objects.filter(pk=scenario.job.pk).update(accepted_on="2026-07-02")
    [sale] = sales.sales_of([scenario.job.pk]).values()
    assert (sale.accepted_on, sale.cancel_by) == (date(2026, 7, 2), date(2026, 7, 18))  # twelve days, the 3rd left out


def test_after_a_cancellation_another_offer_may_be_accepted(link, scenario):
    sign(Client(), link)
    Client().post(address(link, "cancel"), {"sure": "yes"})
    again = offered(revised(scenario.revision, notices=[NOTICE])).links.get()
    assert sign(Client(), again).status_code == 303
    [sale] = sales.sales_of([scenario.job.pk]).values()
    assert not sale.cancelled


def test_a_job_accepted_on_paper_is_not_accepted_by_link_besides(link, scenario):
    Job.objects.filter(pk=scenario.job.pk).update(accepted_on=date(2026, 3, 17))
    answer = Client().post(address(link, "choices"), answers(link))
    assert answer.status_code == 409 and "accepted on March 17, 2026 already" in answer.content.decode()


def test_sales_of_many_jobs_take_no_more_queries(link, scenario, django_assert_max_num_queries):
    sign(Client(), link)
    with django_assert_max_num_queries(6):
        assert len(sales.sales_of([scenario.job.pk, *range(1000, 1100)])) == 1


def test_declining_ends_the_offer_with_its_reason(link):
    answer = Client().post(address(link, "decline"), {"sure": "yes", "reason": "Too dear.\r\nPerhaps next year."})
    assert answer.status_code == 303
    event = OfferEvent.objects.get(kind="declined")
    assert (event.text, event.link_id) == ("Too dear.\nPerhaps next year.", link.pk)
    assert "was declined" in text_of(link)


def test_a_question_and_its_answer_stand_on_the_page_of_who_asked(owner_link, second_link):
    answer = Client().post(address(owner_link, "question"), {"text": "Is ipe <heavier>?"})
    assert answer.status_code == 303 and answer.headers["Location"].endswith("#questions")
    question = OfferEvent.objects.get(kind="question")
    OfferEvent.objects.create(offer=owner_link.offer, kind="answer", link=owner_link, answers=question,
                              text="Yes, by a third.", created_at=SIGNED_AT)
    page = text_of(owner_link)
    assert "Is ipe &lt;heavier&gt;?" in page and "Yes, by a third." in page
    assert "heavier" not in text_of(second_link)


@pytest.mark.parametrize("end", ["withdrawn", "superseded", "expired", "declined"])
def test_an_offer_that_has_ended_says_so_and_still_takes_a_question(link, scenario, at, end):
    if end == "withdrawn":
        withdraw_offer(link.offer_id, "a slip in the price", by=None, now=SIGNED_AT)
    elif end == "superseded":
        offered(revised(scenario.revision))
    elif end == "expired":
        at(link.offer.expires_at)
    else:
        acceptance.decline(link.pk, "", now=SIGNED_AT)
    page = text_of(link)
    told = {"withdrawn": "has withdrawn this proposal", "superseded": "A newer proposal has taken the place",
            "expired": "was valid until the end of April 15, 2026", "declined": "This proposal was declined"}
    assert told[end] in page and "a slip in the price" not in page
    assert address(link, "choices") not in page and "Send the question" in page
    assert Client().post(address(link, "question"), {"text": "May I have a new one?"}).status_code == 303


def test_an_offer_is_open_to_the_last_moment_of_its_last_day(link, at):
    at(link.offer.expires_at - timedelta(seconds=1))
    assert sign(Client(), link).status_code == 303


def test_openings_are_noted_once_an_hour_and_not_by_programs(link, at):
    client = Client()
    client.head(address(link))
    client.get(address(link), HTTP_SEC_PURPOSE="prefetch;prerender")
    assert not OfferEvent.objects.exists()
    for minutes, count in ((0, 1), (59, 1), (61, 2)):
        at(SIGNED_AT + timedelta(minutes=minutes))
        client.get(address(link))
        assert OfferEvent.objects.filter(kind="opened", link=link).count() == count


def test_erasing_the_customer_takes_names_and_the_page_and_leaves_hashes_and_dates(link, scenario, monkeypatch,
                                                                                django_capture_on_commit_callbacks):
    monkeypatch.setattr(acceptance_tasks, "html_to_pdf", lambda page: b"%PDF " + page.encode())
    Client().post(address(link, "question"), {"text": "My name is Odette"})
    sign(Client(HTTP_USER_AGENT="A browser"), link)
    runs.sweep(clock=lambda: SIGNED_AT)
    signed = RenderedFile.objects.get(kind="signed")
    where, before = address(link), Signature.objects.get()
    with django_capture_on_commit_callbacks(execute=True):
        erase_customer(Job.objects.get(pk=scenario.job.pk).customer, by=None, now=NOW)
    row = Signature.objects.get()
    assert (row.name, row.remote_address, row.user_agent) == ("", "", "") and row.erased_at == NOW
    assert (row.signed_sha256, row.cancel_by, row.notices) == (before.signed_sha256, before.cancel_by, before.notices)
    assert not default_storage.exists(signed.path)
    assert not OfferEvent.objects.exclude(text="").exists() and not OfferLink.objects.exclude(name="").exists()
    assert Client().get(where).status_code == 404


def test_a_name_that_is_code_is_words_on_the_page_and_in_the_paper(scenario, at):
    rude = "<script>alert(1)</script> O'Neil & Sons"
    link = offered(revised(scenario.revision, notices=[NOTICE]), names=(rude, "")).links.get()
    shown = Client().post(address(link, "choices"), answers(link)).content.decode()
    assert "<script" not in shown and "&lt;script&gt;alert(1)&lt;/script&gt; O&#x27;Neil &amp; Sons" in shown
    form = {**second_step(Client(), link), "name": "Ann O'Neil & Sons"}
    assert Client().post(address(link, "accept"), form).status_code == 303
    row = Signature.objects.get()
    assert row.name == "Ann O'Neil & Sons" and "<script" not in text_of(link)
    page = acceptance_tasks.signed_paper(row.acceptance, [row])
    assert "<script" not in page and "&lt;script&gt;" in page and "O&#x27;Neil &amp; Sons" in page


def test_a_name_that_is_code_is_words_in_the_pdf_and_in_the_mail(scenario, at, site):
    rude = "<script>alert(1)</script> O'Neil & Sons"
    link = offered(revised(scenario.revision, notices=[NOTICE]), names=(rude, "")).links.get()
    form = {**second_step(Client(), link), "name": "Ann O'Neil & Sons"}
    assert Client().post(address(link, "accept"), form).status_code == 303
    run = Run.objects.get(kind="receipt")
    assert runs.perform(run.pk, clock=lambda: SIGNED_AT).state == Run.State.DONE
    pages = PdfReader(BytesIO(Client().get(address(link, "signed")).content)).pages
    text = " ".join(" ".join(page.extract_text() for page in pages).split())
    assert f"Buyer: {rude}" in text and "Ann O'Neil & Sons" in text
    mails = OutboxMail.objects.filter(kind="receipt")
    assert mails
    for mail in mails:
        parts = {part.get_content_type(): part for part in message_from_bytes(bytes(mail.message), policy=SMTP).walk()}
        page = parts["text/html"].get_content()
        assert "<script" not in page and "&lt;script&gt;" in page


def test_a_person_without_forms_of_their_own_writes_nothing(link):
    before = written()
    for place in ("question", "decline", "choices", "accept", "cancel"):
        for method in ("get", "head"):
            answer = getattr(Client(), method)(address(link, place))
            assert answer.status_code == 302 and answer.headers["Location"] == address(link)
    assert written() == before


def test_the_second_owner_is_told_of_their_turn_once_and_both_of_a_cancellation(owner_link, second_link, site):
    sign(Client(), owner_link)
    [turn] = OutboxMail.objects.filter(key__endswith="/turn")
    assert (turn.link_id, turn.recipient) == (second_link.pk, second_link.email)
    assert b"now yours to read" in turn.message
    sign(Client(), second_link)
    assert OutboxMail.objects.filter(key__endswith="/turn").count() == 1
    Client().post(address(second_link, "cancel"), {"sure": "yes"})
    told = OutboxMail.objects.filter(key__endswith="/cancelled").values_list("link", flat=True)
    assert set(told) == {owner_link.pk, second_link.pk}


def test_a_cancellation_by_post_counts_by_the_day_it_was_sent(link, site, owner):
    sign(Client(), link)
    offer, late = link.offer, SIGNED_AT + timedelta(days=5)
    with pytest.raises(acceptance.NotOpen, match="last day"):
        acceptance.note_cancellation(offer.pk, "", posted_on=date(2026, 3, 22), by=owner, now=late)
    with pytest.raises(acceptance.NotOpen):
        acceptance.note_cancellation(offer.pk, "", posted_on=date(2026, 3, 20), by=owner, now=SIGNED_AT)
    acceptance.note_cancellation(offer.pk, "a letter", posted_on=date(2026, 3, 21), by=owner, now=late)
    assert standing(offer, late) == Standing.CANCELLED
    with pytest.raises(acceptance.NotOpen):
        acceptance.note_cancellation(offer.pk, "again", posted_on=date(2026, 3, 21), by=owner, now=late)


def test_a_receipt_whose_run_failed_is_brought_by_a_later_one_and_only_once(link, site, monkeypatch):
    sign(Client(), link)
    with monkeypatch.context() as broken:
        broken.setattr(acceptance_tasks, "html_to_pdf", lambda _: 1 / 0)
        assert runs.perform(Run.objects.get(kind="receipt").pk, clock=lambda: SIGNED_AT).state == Run.State.FAILED
    assert acceptance_tasks.start_left_behind(now=SIGNED_AT + runs.LEASE - timedelta(seconds=1)) == 0
    later = SIGNED_AT + runs.LEASE
    assert acceptance_tasks.start_left_behind(now=later) == 1
    assert acceptance_tasks.start_left_behind(now=later + timedelta(days=1)) == 0  # the one that waits is enough
    run = runs.perform(Run.objects.filter(kind="receipt").latest("pk").pk, clock=lambda: later)
    assert run.state == Run.State.DONE and OutboxMail.objects.filter(kind="receipt", link=link).count() == 1
    assert acceptance_tasks.start_left_behind(now=later + timedelta(days=1)) == 0
