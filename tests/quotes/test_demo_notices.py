"""Tests of the demo's notices: whole and in date on the demo's day, and marked as samples that counsel replaces."""

from datetime import date

import pytest

from estimating.models import Notice, Office
from estimating.notice_text import blanks_of, fill
from estimating.notices import AT_ACCEPTANCE, as_written, blockers, facts_of, faults_of, printed_on
from estimating.right_to_cancel import cancel_by_for
from quotes.demonstration import NOW, notices_of, records_of, told

pytestmark = pytest.mark.django_db
TODAY = NOW.date()


@pytest.fixture
def printed():
    words = told()
    records_of(words)
    for _ in range(2):  # twice changes nothing
        notices_of(words)
    facts = facts_of(Office.objects.get(), contract_price="$22,219.78", first_payment="$6,665.93")
    return printed_on(words["job"]["jurisdiction"], TODAY, facts)


def test_nothing_is_missing_in_them_and_nothing_in_the_way(printed):
    assert [notice["kind"] for notice in printed] == ["cancellation", "lien", "licensing", "insurance", "deposit",
                                                      "electronic-records"]
    assert Notice.objects.count() == 6 and not any(notice["missing"] for notice in printed)
    assert blockers(printed, told()["job"]["jurisdiction"], TODAY) == ()
    assert not any(faults_of(row) for row in Notice.objects.values())


def test_each_says_that_its_words_are_a_sample(printed):
    for notice in printed:
        assert notice["text"].endswith("Sample wording for an invented place, to be replaced by counsel's.")
        assert "sample wording" in notice["source"] and set(blanks_of(notice["text"])) <= set(AT_ACCEPTANCE)
        assert "complies" not in notice["text"] and "compliance" not in notice["text"]


def test_the_cancellation_notice_holds_what_the_rule_names(printed):
    """16 CFR 429.1 (b): no penalty, ten business days, twenty days, whom to write to, until when, a place to sign."""
    last = cancel_by_for(told()["job"]["jurisdiction"], date(2026, 3, 16), over_65=False, disaster=False).day
    whole = printed[0]
    text = fill(whole["text"], {"transaction_date": as_written(date(2026, 3, 16)), "cancel_by": as_written(last),
                                "buyer_name": "Odette Marlowe"})
    assert text.count("midnight of March 19, 2026") == 2 and "Date of transaction: March 16, 2026" in text
    for words in ("ten business days", "twenty days", "mail or deliver", "12 Fictional Wharf", "I CANCEL", "signature",
                  "Harrow & Finch"):
        assert words in text
    assert (whole["copies"], whole["bold"], whole["placement"]) == (2, True, "acceptance")
    assert whole["title"].casefold() in ("notice of cancellation", "notice of right to cancel")
