"""Tests of quotes and revisions: what was issued stays, what cannot be priced is not issued, nothing by halves."""

import json
import re
from datetime import date, timedelta
from decimal import Decimal

import pytest
from django.db import DatabaseError, transaction

from estimating import price_lists
from estimating.customers import erase_customer
from estimating.models import Job, Office, Price, PriceListVersion
from estimating.models.base import RecordIsFinal
from estimating.records import create_record
from quotes import drafts, revisions, snapshots
from quotes.demonstration import DATA, NOW
from quotes.models import Quote, QuoteLine, Revision


def issue(quote, **more):
    return revisions.issue_revision(quote.pk, why="asked for again", by=None, now=more.get("now", NOW))


def without_hoist(scenario):
    """A quote that asks for something which the list does not have."""
    extras = [drafts.Extra("service/helicopter", Decimal(1), "LS", "no crane reaches it")]
    return drafts.draft_quote(scenario.job.pk, scenario.framing.pk, extras=extras, by=None, now=NOW)


@pytest.fixture
def ending(scenario):
    """The demo's quote priced from a list whose pads cost what they cost until the end of March."""
    content = (DATA / "price-list.csv").read_bytes()
    changed = content.replace(b"per box,2026-03-01,,active", b"per box,2026-03-01,2026-03-31,active")
    assert changed != content
    staged = price_lists.stage_price_file(scenario.version.price_list_id, changed, source_name="", by=None, now=NOW)
    version = price_lists.approve_version(staged.pk, by=None, now=NOW)
    return drafts.reprice_quote(scenario.revision.quote_id, version_ids=[version.pk], by=None, now=NOW)


def test_a_revision_keeps_all_that_it_was_made_from(scenario):
    snapshot = scenario.revision.document
    framing = scenario.framing
    assert snapshot["survey"] == framing.survey.document and snapshot["build"] == framing.build.document
    assert snapshot["framing"] == framing.document
    assert Decimal(snapshot["estimate"]["chain"]["price"]) == scenario.revision.price
    assert snapshot["price_lists"][0]["sha256"] == scenario.version.source_sha256
    assert all(line["came_from"] for line in snapshot["estimate"]["lines"])
    assert snapshot["notes"] and snapshot["office"]["license_number"] == "DEMO-0000"
    assert (scenario.revision.plan_svg, scenario.revision.section_svg) == (framing.plan_svg, framing.section_svg)


def test_a_revisions_hash_covers_everything_that_it_keeps(scenario):
    revision = Revision.objects.get(pk=scenario.revision.pk)
    assert snapshots.is_intact(revision)
    for field in ("snapshot", "plan_svg", "section_svg", "proposal_html", "cut_sheets_html"):
        changed = Revision.objects.get(pk=revision.pk)
        setattr(changed, field, getattr(changed, field) + " ")
        assert not snapshots.is_intact(changed), field


def test_an_issued_revision_cannot_be_changed_or_deleted(scenario):
    revision = scenario.revision
    revision.price = Decimal("1.00")
    with pytest.raises(RecordIsFinal):
        revision.save()
    with pytest.raises(RecordIsFinal):
        revision.delete()
    with pytest.raises(DatabaseError), transaction.atomic():
        Revision.objects.filter(pk=revision.pk).update(price=Decimal("1.00"))
    with pytest.raises(DatabaseError), transaction.atomic():
        QuoteLine.objects.filter(revision=revision).update(cost=Decimal("1.00"))
    assert snapshots.is_intact(Revision.objects.get(pk=revision.pk))


def test_lines_add_up_to_the_cost_that_the_price_was_made_of(scenario):
    lines = list(scenario.revision.lines.all())
    net = Decimal(scenario.revision.document["estimate"]["chain"]["net"])
    assert lines and sum(line.cost for line in lines) == net
    assert {line.price_id for line in lines if line.kind != "labor"} <= set(
        Price.objects.filter(list_version=scenario.version).values_list("pk", flat=True)
    )


def test_payments_add_up_to_the_price(scenario):
    payments = scenario.revision.document["estimate"]["payments"]
    assert sum(Decimal(payment["amount"]) for payment in payments) == scenario.revision.price


def test_pricing_anew_leaves_what_was_issued_as_it_was(scenario):
    quote = scenario.revision.quote
    before = [(line.item, line.cost) for line in scenario.revision.lines.all()]
    changed = drafts.reprice_quote(quote.pk, extras=[], by=None, now=NOW)
    assert changed.price < scenario.revision.price
    assert [(line.item, line.cost) for line in scenario.revision.lines.all()] == before
    assert sum(line.cost for line in changed.lines.filter(revision=None)) < sum(cost for _, cost in before)


def test_the_next_revision_has_the_next_number_and_the_first_stays(scenario):
    second = issue(scenario.revision.quote)
    assert (second.number, second.quote_id) == (2, scenario.revision.quote_id)
    assert second.sha256 != scenario.revision.sha256
    assert Revision.objects.filter(quote=second.quote).count() == 2


def test_the_same_quote_priced_anew_costs_the_same(scenario):
    assert drafts.reprice_quote(scenario.revision.quote_id, by=None, now=NOW).price == scenario.revision.price


def test_a_quote_that_lacks_a_price_is_kept_and_says_what_is_missing(scenario):
    quote = without_hoist(scenario)
    assert quote.price is None
    assert [finding["about"] for finding in quote.estimate["findings"]] == ["service/helicopter"]


def test_a_blocked_quote_is_not_issued_and_nothing_is_written(scenario):
    quote = without_hoist(scenario)
    counts = Revision.objects.count(), QuoteLine.objects.count()
    with pytest.raises(drafts.QuoteBlocked, match="service/helicopter") as blocked:
        issue(quote)
    assert blocked.value.findings[0].code == "no-price"
    assert (Revision.objects.count(), QuoteLine.objects.count()) == counts


def test_a_proposal_holds_as_long_as_the_office_says(scenario):
    assert Office.objects.get().quote_valid_days == 30
    assert scenario.revision.valid_until == date(2026, 3, 16) + timedelta(days=30)


def test_a_proposal_holds_no_longer_than_the_shortest_price_in_it(scenario, ending):
    assert issue(ending).valid_until == date(2026, 3, 22)  # seven business days on, goods are ordered on the 31st


@pytest.mark.parametrize(("days", "last"), [(0, 22), (10, 20), (14, 16)])
def test_it_holds_as_long_as_orders_are_held_by_the_office_or_by_the_right_to_cancel(scenario, ending, days, last):
    Office.objects.update(ordering_held_days=days)
    assert issue(ending).valid_until == date(2026, 3, last)  # whichever is longer, then ordered on the 31st at latest


def test_a_quote_whose_prices_have_ended_is_not_issued(scenario, ending):
    with pytest.raises(revisions.PricesEnded, match="2026-03-31"):
        issue(ending, now=NOW + timedelta(days=20))


def test_the_day_of_issue_is_the_day_in_the_offices_time_zone(scenario):
    # 02:30 UTC on the 18th is still the evening of the 17th in New York.
    late = issue(scenario.revision.quote, now=NOW.replace(day=18, hour=2, minute=30))
    assert late.document["quote"]["issued_on"] == "2026-03-17"


def test_a_persons_name_and_address_stand_in_nothing_that_is_kept(scenario):
    revision = scenario.revision
    kept = revision.snapshot + revision.proposal_html + revision.cut_sheets_html
    for word in ("Odette", "Marlowe", "odette@example.com", "555-0142", "418 Fictional Quay"):
        assert word not in kept


def test_erasing_a_customer_leaves_the_hash_true(scenario):
    erase_customer(scenario.job.customer, by=None, now=NOW)
    assert snapshots.is_intact(Revision.objects.get(pk=scenario.revision.pk))


def test_a_framing_of_another_job_is_refused(scenario):
    other = create_record(Job, {"name": "other", "customer": scenario.job.customer}, by=None, now=NOW)
    with pytest.raises(drafts.FramingElsewhere):
        drafts.draft_quote(other.pk, scenario.framing.pk, by=None, now=NOW)
    assert not Quote.objects.filter(job=other).exists()


def test_a_list_that_is_not_approved_is_not_priced_from(scenario):
    staged = PriceListVersion.objects.create(
        price_list=scenario.version.price_list, source_sha256="0" * 64, line_count=1, valid_from=date(2026, 3, 1),
        staged_at=NOW,
    )
    with pytest.raises(drafts.NotApproved):
        drafts.draft_quote(scenario.job.pk, scenario.framing.pk, version_ids=[staged.pk], by=None, now=NOW)


def test_the_snapshot_is_text_that_any_json_reader_takes(scenario):
    assert json.loads(scenario.revision.snapshot)["format"] == "quote-snapshot/1"


def test_issuing_moves_the_job_on(scenario):
    assert Job.objects.get(pk=scenario.job.pk).status == Job.Status.QUOTED


def test_an_allowance_is_written_as_all_other_money(scenario):
    told = [note["text"] for note in scenario.revision.document["notes"] if note["key"] == "allowance"]
    assert told and all(re.search(r": \$[\d,]+\.\d\d before overhead", text) for text in told)
    assert not any("USD" in text for text in told)
