"""Ways to misuse the homeowner's link. Each is refused in plain words, and nothing is written that was not there."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime, timedelta

import pytest
from django.core import signing
from django.core.files.uploadedfile import SimpleUploadedFile
from django.http import HttpResponse
from django.test import Client

from estimating.customers import erase_customer
from estimating.models import Job
from quotes import drafts, revisions
from quotes.acceptance import signing as acceptance
from quotes.acceptance.form import SALT
from quotes.acceptance.pages import FORMS_OF_A_LINK, UNKNOWN_LINKS_OF_AN_ADDRESS
from quotes.demonstration import NOW
from quotes.models import OfferLink
from quotes.offers import token_of, withdraw_offer
from tests.quotes.offered import (
    NOTICE,
    OPTIONS,
    SIGNED_AT,
    address,
    answers,
    offered,
    revised,
    second_step,
    sign,
    written,
)

MINUTE, DAY = timedelta(minutes=1), timedelta(days=1)


@dataclass
class House:
    """A couple with an offer of two options, each with a link, and the clock of the page."""

    owner: OfferLink
    second: OfferLink
    alone: OfferLink  # the only owner of another offer, of another quote of the job
    clock: dict[str, datetime]
    client: Client
    before: dict[str, int]

    def choose(self, link: OfferLink | None = None, **more: str) -> HttpResponse:
        link = link or self.owner
        return self.client.post(address(link, "choices"), answers(link, **more))

    def form(self, link: OfferLink | None = None, **more: str) -> dict[str, str]:
        return second_step(self.client, link or self.owner, **more)

    def accept(self, link: OfferLink | None = None, **form: str) -> HttpResponse:
        return self.client.post(address(link or self.owner, "accept"), form)

    def signed(self, link: OfferLink | None = None, **more: str) -> None:
        """What is done honestly before, and is no part of the misuse."""
        assert sign(self.client, link or self.owner, **more).status_code == 303
        self.before = written()

    def later(self, by: timedelta) -> None:
        self.clock["now"] += by


@pytest.fixture
def house(scenario, monkeypatch) -> House:
    clock = {"now": SIGNED_AT}
    monkeypatch.setattr("quotes.acceptance.pages.timezone.now", lambda: clock["now"])
    quote = scenario.revision.quote
    another = drafts.draft_quote(scenario.job.pk, quote.framing_id, version_ids=[scenario.version.pk], by=None, now=NOW)
    other = revisions.issue_revision(another.pk, by=None, now=NOW)
    offer = offered(revised(scenario.revision, options=OPTIONS, notices=[NOTICE]), second=True)
    third = [*OPTIONS, {**OPTIONS[0], "key": "C", "price": "1.00"}]
    alone = offered(revised(other, options=third, notices=[NOTICE])).links.get()
    assert alone.offer.revision.quote_id != quote.pk
    return House(offer.links.get(role="owner"), offer.links.get(role="co-owner"), alone, clock, Client(), written())


Act = Callable[[House], HttpResponse]
MISUSES: list[tuple[int, str, Act]] = []
UNKNOWN = "There is no proposal behind this link"
NOT_THE_ONE = "The proposal that you read is not the one"
CHANGED = "has changed since it was shown"
NOT_GIVEN = "is not what it was given"
A_NAME = "Type your full name"


def misuse(status: int, words: str) -> Callable[[Act], Act]:
    """What is answered to this misuse: a status, and words that say why."""

    def register(act: Act) -> Act:
        MISUSES.append((status, words, act))
        return act

    return register


def tampered(text: str) -> str:
    """The text with one letter in its middle changed."""
    middle = len(text) // 2
    return text[:middle] + ("A" if text[middle] != "A" else "B") + text[middle + 1 :]


# Guessing a link.


@misuse(404, UNKNOWN)
def a_made_up_token(house):
    return house.client.get("/proposal/" + "A" * 43)


@misuse(404, UNKNOWN)
def no_token(house):
    return house.client.get("/proposal/")


@misuse(404, UNKNOWN)
def a_token_cut_short(house):
    return house.client.get(address(house.owner)[:-1])


@misuse(404, UNKNOWN)
def a_token_with_more_behind_it(house):
    return house.client.get(address(house.owner) + "A")


@misuse(404, UNKNOWN)
def a_token_in_capitals(house):
    return house.client.get("/proposal/" + token_of(house.owner).swapcase())


@misuse(404, UNKNOWN)
def the_hash_that_is_kept_of_a_token(house):
    return house.client.get(f"/proposal/{house.owner.token_sha256}")


@misuse(404, UNKNOWN)
def the_seed_that_a_token_is_made_from(house):
    return house.client.get(f"/proposal/{house.owner.seed}")


@misuse(404, UNKNOWN)
def the_number_of_a_link(house):
    return house.client.get(f"/proposal/{house.owner.pk}")


@misuse(404, UNKNOWN)
def a_query_in_place_of_a_token(house):
    return house.client.get("/proposal/' OR 1=1 --")


@misuse(404, UNKNOWN)
def a_wildcard(house):
    return house.client.get("/proposal/%25")


@misuse(404, UNKNOWN)
def a_path_upwards(house):
    return house.client.get("/proposal/..%2F..%2Fapi/v1/jobs")


@misuse(404, UNKNOWN)
def a_token_of_ten_thousand_letters(house):
    return house.client.get("/proposal/" + "A" * 10_000)


@misuse(404, UNKNOWN)
def a_token_in_no_alphabet_of_tokens(house):
    return house.client.get("/proposal/\u202eé")


@misuse(400, "NUL")
def a_nul_in_the_token(house):
    return house.client.get("/proposal/%00" + "A" * 42)


@misuse(404, UNKNOWN)
def signing_by_a_made_up_token(house):
    return house.client.post("/proposal/" + "A" * 43 + "/accept", house.form())


@misuse(404, UNKNOWN)
def a_page_that_no_link_has(house):
    return house.client.get(address(house.owner, "prices"))


@misuse(429, "Try again in")
def guessing_many_times_a_minute(house):
    for _ in range(UNKNOWN_LINKS_OF_AN_ADDRESS):
        assert house.client.get("/proposal/" + "B" * 43).status_code == 404
    return house.client.get("/proposal/" + "C" * 43)


# Using it again.


@misuse(409, "You signed this proposal on March 18, 2026; it is not signed twice")
def sending_the_signing_form_twice(house):
    form = house.form()
    assert house.accept(**form).status_code == 303
    house.before = written()
    return house.accept(**form)


@misuse(409, "it is not signed twice")
def choosing_again_after_signing(house):
    house.signed()
    return house.choose(option="A")


@misuse(409, "it is not signed twice")
def signing_another_option_beside_the_first(house):
    other = house.form(option="A")
    house.signed(option="base")
    return house.accept(**other)


@misuse(409, NOT_GIVEN)
def signing_with_what_was_sealed_for_nobody(house):
    form = house.form()
    return house.accept(**form | {"choices": "eyJsaW5rIjoxfQ:1:x"})


@misuse(409, NOT_THE_ONE)
def signing_with_what_was_sealed_for_the_other_owner(house):
    form = house.form()
    house.signed()
    return house.accept(house.second, **form)


@misuse(409, NOT_THE_ONE)
def signing_with_what_was_sealed_for_another_offer(house):
    return house.accept(**house.form(house.alone))


@misuse(409, "A day has passed")
def signing_after_midnight_what_was_shown_before_it(house):
    form = house.form()
    house.later(timedelta(hours=13))
    return house.accept(**form)


@misuse(409, "was declined")
def accepting_what_was_declined(house):
    form = house.form()
    acceptance.decline(house.owner.pk, "", now=SIGNED_AT)
    house.before = written()
    return house.accept(**form)


@misuse(409, "was declined")
def declining_twice(house):
    acceptance.decline(house.owner.pk, "", now=SIGNED_AT)
    house.before = written()
    return house.client.post(address(house.owner, "decline"), {"sure": "yes"})


@misuse(409, "within the time for it you may cancel instead")
def declining_what_one_has_signed(house):
    house.signed()
    return house.client.post(address(house.owner, "decline"), {"sure": "yes"})


@misuse(409, "was cancelled within the time for it")
def cancelling_twice(house):
    house.signed()
    acceptance.cancel_sale(house.owner.pk, now=SIGNED_AT)
    house.before = written()
    return house.client.post(address(house.owner, "cancel"), {"sure": "yes"})


@misuse(409, "was cancelled within the time for it")
def signing_after_the_first_owner_cancelled(house):
    house.signed()
    form = house.form(house.second)
    acceptance.cancel_sale(house.owner.pk, now=SIGNED_AT)
    house.before = written()
    return house.accept(house.second, **form)


@misuse(409, "is not signed yet")
def cancelling_what_nobody_has_signed(house):
    return house.client.post(address(house.owner, "cancel"), {"sure": "yes"})


@misuse(409, "You have not signed this proposal")
def cancelling_what_only_the_other_has_signed(house):
    house.signed()
    return house.client.post(address(house.second, "cancel"), {"sure": "yes"})


@misuse(409, "accepted on March 18, 2026 already; a second one is not accepted beside it")
def accepting_two_offers_of_one_job(house):
    house.signed(house.alone)
    return house.choose()


@misuse(409, "a second one is not accepted beside it")
def accepting_a_second_offer_by_a_form_from_before_the_first(house):
    form = house.form()
    house.signed(house.alone)
    return house.accept(**form)


@misuse(409, "20 questions came from this link within a day")
def asking_without_end(house):
    for n in range(acceptance.QUESTIONS_A_DAY):
        acceptance.ask(house.owner.pk, f"question {n}", now=SIGNED_AT)
    house.before = written()
    return house.client.post(address(house.owner, "question"), {"text": "one more"})


# After its end.


@misuse(409, "was valid until the end of April 15, 2026")
def choosing_after_the_last_day(house):
    house.clock["now"] = house.owner.offer.expires_at
    return house.choose()


@misuse(409, "was valid until the end of April 15, 2026")
def signing_after_the_last_day_what_was_chosen_on_it(house):
    house.clock["now"] = house.owner.offer.expires_at - MINUTE
    form = house.form()
    house.later(MINUTE)
    return house.accept(**form)


@misuse(409, "was valid until the end of April 15, 2026")
def the_second_owner_after_the_last_day(house):
    house.clock["now"] = house.owner.offer.expires_at - MINUTE
    house.signed()
    house.later(MINUTE)
    return house.choose(house.second)


@misuse(409, "The last day to cancel here was March 21, 2026")
def cancelling_after_the_last_day_for_it(house):
    house.signed(house.alone)
    house.clock["now"] = SIGNED_AT.replace(day=22, hour=4)
    return house.client.post(address(house.alone, "cancel"), {"sure": "yes"})


@misuse(409, "takes no questions any more")
def asking_long_after_the_end(house):
    house.clock["now"] = house.owner.offer.expires_at + acceptance.QUESTIONS_FOR
    return house.client.post(address(house.owner, "question"), {"text": "still there?"})


@misuse(409, "The office has withdrawn this proposal")
def choosing_what_was_withdrawn(house):
    withdraw_offer(house.owner.offer_id, "", by=None, now=SIGNED_AT)
    return house.choose()


@misuse(409, "The office has withdrawn this proposal")
def signing_what_was_withdrawn_meanwhile(house):
    form = house.form()
    withdraw_offer(house.owner.offer_id, "", by=None, now=SIGNED_AT)
    return house.accept(**form)


@misuse(409, "The office has withdrawn this proposal")
def declining_what_was_withdrawn(house):
    withdraw_offer(house.owner.offer_id, "", by=None, now=SIGNED_AT)
    return house.client.post(address(house.owner, "decline"), {"sure": "yes"})


@misuse(409, "A newer proposal has taken the place of this one")
def signing_what_was_superseded_meanwhile(house):
    form = house.form()
    offered(revised(house.owner.offer.revision))
    return house.accept(**form)


@misuse(404, UNKNOWN)
def the_link_of_somebody_who_was_erased(house):
    where, form = address(house.owner, "accept"), house.form()
    erase_customer(Job.objects.get(pk=house.owner.offer.revision.quote.job_id).customer, by=None, now=NOW)
    return house.client.post(where, form)


# Changing what is signed.


@misuse(409, NOT_THE_ONE)
def another_hash_at_the_first_step(house):
    return house.choose(revision_sha256="0" * 64)


@misuse(409, NOT_THE_ONE)
def no_hash_at_the_first_step(house):
    return house.choose(revision_sha256="")


@misuse(409, NOT_THE_ONE)
def another_hash_at_the_second_step(house):
    form = house.form()
    return house.accept(**form | {"revision_sha256": tampered(form["revision_sha256"])})


@misuse(409, NOT_THE_ONE)
def the_hash_of_another_revision(house):
    return house.accept(**house.form() | {"revision_sha256": house.alone.offer.revision.sha256})


@misuse(409, CHANGED)
def another_hash_of_what_is_signed(house):
    form = house.form()
    return house.accept(**form | {"deed_sha256": tampered(form["deed_sha256"])})


@misuse(409, CHANGED)
def no_hash_of_what_is_signed(house):
    return house.accept(**house.form() | {"deed_sha256": ""})


@misuse(409, CHANGED)
def the_hash_of_the_cheaper_option_under_the_dearer(house):
    return house.accept(**house.form(option="A") | {"deed_sha256": house.form(option="B")["deed_sha256"]})


@misuse(409, NOT_GIVEN)
def a_sealed_choice_with_a_letter_changed(house):
    form = house.form()
    return house.accept(**form | {"choices": tampered(form["choices"])})


@misuse(409, NOT_GIVEN)
def a_choice_without_a_seal(house):
    return house.accept(**house.form() | {"choices": json.dumps({"option": "B"})})


@misuse(409, NOT_GIVEN)
def a_choice_sealed_by_another_key(house):
    form = house.form()
    kept = signing.loads(form["choices"], salt=SALT)
    return house.accept(**form | {"choices": signing.dumps(kept | {"option": "B"}, key="guessed", salt=SALT)})


@misuse(409, NOT_GIVEN)
def a_seal_of_another_purpose(house):
    form = house.form()
    kept = signing.loads(form["choices"], salt=SALT)
    return house.accept(**form | {"choices": signing.dumps(kept, salt="log-in")})


@misuse(409, NOT_GIVEN)
def signing_without_the_first_step(house):
    return house.accept(name="Odette Marlowe", revision_sha256=house.owner.offer.revision.sha256)


# Another's option, and answers that are none.


@misuse(422, "Choose one of the ways to build it that stand in this proposal")
def an_option_of_another_offer(house):
    return house.choose(option="C")


@misuse(422, "Choose one of the ways")
def an_option_in_another_spelling(house):
    return house.choose(option="a")


@misuse(422, "Choose one of the ways")
def no_option_where_there_are_several(house):
    return house.choose(option="")


@misuse(422, "you sign under the same choice")
def the_second_owner_choosing_otherwise(house):
    house.signed(option="A")
    return house.choose(house.second, option="B")


@misuse(409, "The first owner chooses and signs first")
def the_second_owner_before_the_first(house):
    return house.choose(house.second)


@misuse(422, "Say how and where it was agreed")
def a_place_that_is_none(house):
    return house.choose(agreed_where="the moon")


@misuse(422, "rather not say")
def no_answer_about_age(house):
    return house.choose(over_65="")


@misuse(422, "I do not know")
def an_answer_about_disaster_that_is_none(house):
    return house.choose(disaster="True")


@misuse(422, "Without this consent it is signed on paper")
def no_consent(house):
    return house.choose(consent="no")


@misuse(422, "These are not the first 8 characters")
def a_code_that_was_not_read_off_the_paper(house):
    return house.choose(code="00000000")


@misuse(422, "These are not the first 8 characters")
def no_code(house):
    return house.choose(code=" ")


@misuse(422, "These are not the first 8 characters")
def the_code_of_another_paper(house):
    return house.choose(code=house.alone.offer.revision.sha256[:8])


# Names that are none.


@misuse(422, A_NAME)
def a_script_for_a_name(house):
    return house.accept(**house.form() | {"name": "<script>alert(1)</script>"})


@misuse(422, A_NAME)
def a_template_for_a_name(house):
    return house.accept(**house.form() | {"name": "{{ settings.SECRET_KEY }}"})


@misuse(422, A_NAME)
def no_name(house):
    return house.accept(**house.form() | {"name": "   "})


@misuse(422, A_NAME)
def a_name_without_letters(house):
    return house.accept(**house.form() | {"name": "12345 !!"})


@misuse(422, A_NAME)
def a_name_of_201_letters(house):
    return house.accept(**house.form() | {"name": "N" * 201})


@misuse(422, A_NAME)
def a_name_that_turns_the_line_round(house):
    return house.accept(**house.form() | {"name": "Odette \u202emarlowE"})


@misuse(422, A_NAME)
def a_name_with_a_nul(house):
    return house.accept(**house.form() | {"name": "Odette\x00Marlowe"})


@misuse(422, A_NAME)
def a_file_for_a_name(house):
    form = house.form() | {"name": SimpleUploadedFile("name.txt", b"Odette Marlowe")}
    return house.client.post(address(house.owner, "accept"), form)


# Another way than the page's own form.


@misuse(403, "did not come from the page itself")
def a_form_from_elsewhere(house):
    form = house.form()
    house.client = Client(enforce_csrf_checks=True)
    return house.accept(**form)


@misuse(403, "did not come from the page itself")
def a_form_from_another_site_with_this_one_s_cookie(house):
    form = house.form()
    client = Client(enforce_csrf_checks=True)
    client.get(address(house.owner))
    token = client.cookies["csrftoken"].value
    return client.post(address(house.owner, "accept"), form | {"csrfmiddlewaretoken": token},
                       headers={"Origin": "https://elsewhere.example"})


@misuse(302, "")
def signing_by_an_address_alone(house):
    return house.client.get(address(house.owner, "accept"), house.form())


@misuse(302, "")
def a_mail_scanner_that_follows_every_address(house):
    house.form()
    house.client.head(address(house.owner, "decline"))
    return house.client.get(address(house.owner, "decline"), {"sure": "yes"})


@misuse(405, "it takes nothing else")
def sending_to_the_page_itself(house):
    return house.client.post(address(house.owner), house.form())


@misuse(405, "it takes nothing else")
def putting_in_place_of_sending(house):
    return house.client.put(address(house.owner, "accept"), json.dumps(house.form()), content_type="application/json")


@misuse(409, NOT_GIVEN)
def json_in_place_of_a_form(house):
    return house.client.post(address(house.owner, "accept"), json.dumps(house.form()), content_type="application/json")


@misuse(405, "it takes nothing else")
def deleting_the_proposal(house):
    return house.client.delete(address(house.owner))


@misuse(413, "more than this page takes at once")
def a_question_of_a_megabyte(house):
    return house.client.post(address(house.owner, "question"), {"text": "?" * 1_000_000})


@misuse(422, "Please stay within 4000 characters; there are 4001.")
def a_question_that_is_too_long(house):
    return house.client.post(address(house.owner, "question"), {"text": "?" * 4001})


@misuse(422, "Write your question first")
def a_question_that_is_none(house):
    return house.client.post(address(house.owner, "question"), {"text": " \x00\u202e "})


@misuse(422, "Tick the box if you mean to decline")
def declining_by_a_slip(house):
    return house.client.post(address(house.owner, "decline"), {"reason": "no"})


@misuse(429, "Try again in")
def forms_without_end(house):
    for _ in range(FORMS_OF_A_LINK):
        assert house.choose(code="").status_code == 422
    return house.choose()


@misuse(404, "There is no signed paper of yours here")
def fetching_a_signed_paper_that_is_not_theirs(house):
    house.signed()
    return house.client.get(address(house.second, "signed"))


@misuse(400, "Bad Request")
def a_form_of_two_thousand_fields(house):
    body = "&".join(f"f{n}=x" for n in range(2000))
    return house.client.post(address(house.owner, "accept"), body, content_type="application/x-www-form-urlencoded")


@pytest.mark.parametrize(("status", "words", "act"), MISUSES, ids=[act.__name__ for _, _, act in MISUSES])
def test_a_misuse_is_refused_in_plain_words_and_nothing_is_written(house, status, words, act):
    answer = act(house)
    assert answer.status_code == status
    text = answer.content.decode()
    assert words in text
    assert "Traceback" not in text and "Exception" not in text
    assert written() == house.before


def test_there_are_fifty_ways_and_more():
    assert len({act.__name__ for _, _, act in MISUSES}) == len(MISUSES) >= 50


def test_a_guessed_and_a_malformed_link_get_the_same_answer(house):
    pages = {house.client.get(f"/proposal/{token}").content for token in ("A" * 43, "x", "a/b/c", "' OR 1", "é")}
    assert len(pages) == 1


def test_pages_may_not_be_kept_found_framed_or_run_anything(house):
    for place in (address(house.owner), "/proposal/nobody", address(house.owner, "accept")):
        answer = house.client.get(place)
        assert answer.headers["Cache-Control"] == "no-store" and "noindex" in answer.headers["X-Robots-Tag"]
        assert answer.headers["Referrer-Policy"] == "same-origin"
        policy = answer.headers["Content-Security-Policy"]
        assert "default-src 'none'" in policy and "script-src" not in policy and "unsafe" not in policy
        text = answer.content.decode()
        assert "<script" not in text and "<style" not in text and " style=" not in text
        assert "http://" not in text and "https://" not in text


def test_the_price_that_is_signed_is_the_frozen_one_whatever_a_form_says(house):
    form = house.form(option="A", price="1.00")
    house.accept(**form | {"price": "1.00", "option": "B"})
    accepted = acceptance.Acceptance.objects.get()
    assert (accepted.option, str(accepted.price)) == ("A", "31250.00")
