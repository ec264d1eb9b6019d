"""Tests of notices by jurisdiction and date: which row holds, what is filled, what keeps a proposal from being sent."""

from datetime import UTC, date, datetime, timedelta

import pytest
from django.db import IntegrityError, transaction

from estimating.models import Notice, Office
from estimating.models.base import RecordIsFinal
from estimating.notice_text import fill
from estimating.notices import (
    AT_ACCEPTANCE,
    as_written,
    blockers,
    days_given,
    facts_of,
    faults_of,
    filled,
    notices_on,
    printed_on,
    required_kinds,
)
from estimating.records import create_record
from estimating.reference.consumer_law import WHERE_AGREED
from estimating.right_to_cancel import cancel_by_for

pytestmark = pytest.mark.django_db
NOW = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)
TODAY, DAY = date(2026, 3, 16), timedelta(days=1)
PLACE = "Sampleton, CA"
CANCEL = ("{{seller_name}}, {{seller_address}}. Made on {{transaction_date}}; {{buyer_name}} may cancel until midnight "
          "of {{cancel_by}}.")
OFFICE = Office(name="Test Decks", address="1 Test Street\n Testtown ", phone="555-0100", license_number="DEMO-1")
FACTS = facts_of(OFFICE)


def notice(kind="lien", **changed) -> Notice:
    values = {"jurisdiction": PLACE, "kind": kind, "title": f"About {kind}", "body": "Text.", "source": "Code 1",
              "said_by": "counsel", "valid_from": date(2026, 1, 1), "review_by": date(2026, 12, 31)}
    if kind == "cancellation":
        values |= {"body": CANCEL, "copies": 2, "bold": True, "placement": "acceptance"}
    return create_record(Notice, values | changed, by=None, now=NOW)


def held(jurisdiction=PLACE, on=TODAY):
    return {row.kind: row.pk for row in notices_on(jurisdiction, on)}


def codes(*, printed=None, on=TODAY, where="remote", place=PLACE):
    given = printed_on(place, TODAY, FACTS) if printed is None else printed
    return [blocker.code for blocker in blockers(given, place, on, where)]


# Which row holds


def test_of_a_kind_the_last_that_began_holds_from_its_day_on():
    first = notice(valid_from=date(2026, 1, 1)).pk
    notice(valid_from=TODAY)
    second = notice(valid_from=TODAY).pk  # of one day the later row
    assert held(on=TODAY - DAY) == {"lien": first} and held(on=TODAY) == {"lien": second}
    assert held(on=date(2025, 12, 31)) == {}


def test_a_jurisdictions_own_comes_before_its_states_and_this_before_that_for_everywhere():
    """Also where the further one began later."""
    everywhere = notice(jurisdiction="", valid_from=date(2026, 3, 1)).pk
    state = notice(jurisdiction="california", valid_from=date(2026, 2, 1)).pk
    own = notice(jurisdiction=" sampleton,  ca", valid_from=date(2026, 1, 1)).pk
    assert [held(place)["lien"] for place in (PLACE, "Oakland, CA", "Oakland, California", "Omaha, NE", "")] == [
        own, state, state, everywhere, everywhere]
    assert held(PLACE, date(2025, 12, 31)) == {}


def test_of_a_state_by_its_letters_and_by_its_name_the_later_holds():
    notice(jurisdiction="California", valid_from=date(2026, 1, 1))
    letters = notice(jurisdiction="CA", valid_from=date(2026, 2, 1)).pk
    assert held() == {"lien": letters}


def test_kinds_stand_in_the_order_that_they_are_listed_in():
    for kind in ("other", "lien", "cancellation"):
        notice(kind)
    assert list(held()) == ["cancellation", "lien", "other"]


def test_a_notice_is_final_and_the_database_holds_it_to_its_bounds():
    row = notice()
    with pytest.raises(RecordIsFinal):
        row.save()
    for bad in ({"copies": 3}, {"review_by": date(2025, 12, 31)}, {"not_needed": True, "body": ""},
                {"cancel_days": 3}, {"kind": "cancellation", "cancel_days": 0}):
        with pytest.raises(IntegrityError), transaction.atomic():
            notice(**bad)


# How it reads


def test_blanks_are_filled_from_the_office_the_proposal_and_the_offices_own_values():
    row = notice(body="{{seller_name}} at {{seller_address}}, {{contract_price}}; agent: {{agent}}.",
                 values={"agent": "Fictional Agency"})
    made = filled(row, facts_of(OFFICE, contract_price="$22,000.00"))
    assert made["text"] == "Test Decks at 1 Test Street, Testtown, $22,000.00; agent: Fictional Agency."
    assert (made["missing"], made["blanks"], made["copies"], made["point_size"]) == ([], [], 1, 10)
    assert (made["valid_from"], made["review_by"], made["said_by"]) == ("2026-01-01", "2026-12-31", "counsel")


def test_what_nothing_fills_is_told_blank_by_blank_and_stays_a_blank():
    made = filled(notice(body="{{seller_email}} {{start}} {{agent}} {{cancel_by}}", placement="acceptance"), FACTS)
    assert made["text"] == "{{seller_email}} {{start}} {{agent}} {{cancel_by}}" and made["blanks"] == ["cancel_by"]
    assert [words.split(":")[0] for words in made["missing"]] == ["{{seller_email}}", "{{start}}", "{{agent}}"]
    assert "office's e-mail address is not known" in made["missing"][0]


def test_a_blank_left_open_is_kept_without_room_inside():
    row = notice(body="{{ cancel_by }} {{  start }} {{seller_name }}", placement="acceptance")
    assert filled(row, FACTS)["text"] == "{{cancel_by}} {{start}} Test Decks"


def test_a_notice_in_the_proposal_has_no_blank_that_only_the_acceptance_fills():
    made = filled(notice(body="Until {{cancel_by}}."), FACTS)
    assert made["blanks"] == [] and made["missing"] == ["{{cancel_by}}: the last day to cancel is not known"]
    lien = {"kind": "lien", "body": "Until {{cancel_by}}.", "valid_from": TODAY, "review_by": TODAY}
    assert list(faults_of(lien | {"placement": "proposal"})) == ["placement"]
    assert faults_of(lien | {"placement": "acceptance"}) == {}


def test_a_name_with_braces_in_it_fills_nothing():
    made = filled(notice(body="{{seller_name}}"), facts_of(Office(name="A {{cancel_by}} B")))
    assert made["missing"] and "cancel_by" not in made["text"]


def test_an_empty_wording_is_missing():
    assert filled(notice(body=" "), FACTS)["missing"] == ["its wording is not written yet"]


def test_a_cancellation_notice_is_completed_with_both_dates_and_the_name():
    made = filled(notice("cancellation"), FACTS)
    assert sorted(made["blanks"]) == sorted(AT_ACCEPTANCE) and made["missing"] == [] and made["copies"] == 2
    last = cancel_by_for("Omaha, NE", date(2026, 7, 2), over_65=False, disaster=False).day
    given = {"transaction_date": as_written(date(2026, 7, 2)), "cancel_by": as_written(last), "buyer_name": "O. M."}
    assert fill(made["text"], given) == ("Test Decks, 1 Test Street, Testtown. Made on July 2, 2026; O. M. may cancel "
                                         "until midnight of July 8, 2026.")


def test_a_name_that_looks_like_a_blank_stays_a_name():
    made = filled(notice("cancellation"), FACTS)
    whole = fill(made["text"], {"transaction_date": "x", "cancel_by": "y", "buyer_name": "{{cancel_by}}"})
    assert "{{cancel_by}} may cancel" in whole


# What keeps a proposal from being sent


@pytest.mark.parametrize("where", sorted(WHERE_AGREED))
def test_a_cancellation_notice_is_needed_unless_the_office_states_an_exempt_way(where):
    needed = where not in ("seller-place", "remote")
    assert ("cancellation" in required_kinds(PLACE, TODAY, where)) is needed
    assert codes(where=where) == ["notice-missing"] * needed


def test_a_missing_notice_is_told_with_its_place_the_reason_and_who_clears_it():
    (found,) = blockers([], PLACE, TODAY)
    assert found.text.startswith("No cancellation notice is on file for Sampleton, CA: where and how it was agreed was "
                                 "not asked") and found.who == "counsel"
    (found,) = blockers([], "", TODAY, "buyer-home")
    assert "for everywhere" in found.text and "at the customer's home" in found.text and "16 CFR 429" in found.text


def test_with_every_notice_in_order_nothing_is_in_the_way():
    notice("cancellation", jurisdiction="")
    notice("lien")
    assert codes(where="unknown") == []
    assert set(required_kinds(PLACE, TODAY)) == {"cancellation", "lien"}


def test_a_notice_is_in_date_to_its_last_day_and_out_of_it_the_day_after():
    notice(review_by=TODAY)
    assert codes(on=TODAY) == [] and codes(on=TODAY + DAY) == ["notice-out-of-date"]
    (found,) = blockers(printed_on(PLACE, TODAY, FACTS), PLACE, TODAY + DAY, "remote")
    assert "About lien (lien notice of Sampleton, CA) is out of date" in found.text and "2026-03-16" in found.text
    assert found.who == "counsel"


def test_an_unfilled_blank_is_told_by_its_name():
    notice(body="{{agent}} {{license_number}}")
    (found,) = blockers(printed_on(PLACE, TODAY, FACTS), PLACE, TODAY, "remote")
    assert found.code == "notice-unfilled" and "{{agent}}: the office has given no text for it" in found.text
    assert "license" not in found.text.replace("license_number", "")


def test_a_kind_that_is_needed_and_not_written_yet_is_in_the_way():
    notice("subcontractors", body="")
    assert codes() == ["notice-unfilled"]


def test_a_kind_that_counsel_says_is_not_needed_is_not_asked_for_until_that_is_to_be_looked_at_again():
    notice("cancellation", jurisdiction="")
    notice("cancellation", not_needed=True, body="Why not.", copies=1, bold=False, review_by=TODAY)
    assert printed_on(PLACE, TODAY, FACTS) == [] and required_kinds(PLACE, TODAY) == {}
    assert codes(where="buyer-home") == []
    (found,) = blockers([], PLACE, TODAY + DAY, "buyer-home")
    assert found.code == "notice-out-of-date" and "was said by counsel" in found.text


@pytest.mark.parametrize("after", [{"body": "Other text."}, {"not_needed": True, "body": "Why not."}])
def test_a_revision_with_a_wording_that_was_replaced_is_not_sent(after):
    notice(body="Text.")
    printed = printed_on(PLACE, TODAY, FACTS)
    assert codes(printed=printed) == []
    notice(valid_from=TODAY, **after)
    assert codes(printed=printed, on=TODAY - DAY) == [] and codes(printed=printed) == ["notice-changed"]


def test_a_revision_from_before_a_notice_was_filed_is_not_sent():
    notice("lien")
    assert codes(printed=[]) == ["notice-changed"]


def test_a_revision_with_a_notice_of_another_jurisdiction_is_not_sent():
    notice("lien")
    (found,) = blockers(printed_on(PLACE, TODAY, FACTS), "Omaha, NE", TODAY, "remote")
    assert found.code == "notice-changed" and "not on file" in found.text


def test_a_notice_on_file_prints_however_it_was_agreed():
    notice("cancellation")
    assert [row["kind"] for row in printed_on(PLACE, TODAY, FACTS)] == ["cancellation"]
    assert codes(where="remote") == []


def test_the_days_that_the_offices_own_notice_gives():
    assert days_given([]) == 0 == days_given([{"kind": "lien"}])
    notice("cancellation", cancel_days=5)
    assert days_given(printed_on(PLACE, TODAY, FACTS)) == 5


def test_notices_of_a_day_take_one_query_however_many(django_assert_num_queries):
    for n in range(20):
        notice(jurisdiction=f"place {n}")
    with django_assert_num_queries(1):
        notices_on("place 7", TODAY)


def test_a_cancellation_notice_as_the_rule_has_it_has_no_fault_and_each_departure_one():
    """16 CFR 429.1 (b) and (e): in duplicate, bold, completed with names and dates."""
    good = {"kind": "cancellation", "body": CANCEL, "copies": 2, "bold": True, "placement": "acceptance",
            "valid_from": TODAY, "review_by": TODAY}
    assert faults_of(good) == {} == faults_of(good | {"body": ""})
    for name, value in (("copies", 1), ("bold", False), ("placement", "proposal"), ("review_by", TODAY - DAY),
                        ("body", CANCEL.replace("{{cancel_by}}", "the third day"))):
        assert list(faults_of(good | {name: value})) == [name]
