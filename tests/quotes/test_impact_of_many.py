"""Tests of what new prices do to many open quotes at once, in a database of their own."""

import random

import pytest
from django.utils import timezone

from estimating.models import History, Run
from estimating.service.runs import perform
from quotes.demonstration import NOW
from quotes.impact import changes_of, keep_changes, start_impact
from quotes.models import Quote
from tests.quotes.open_quotes import ON, a_framing, by_loop, goods, quotes_on


@pytest.fixture
def many(db):
    rng = random.Random(5)
    job, framing = a_framing()
    old, new = goods(90, rng)
    quotes_on(old, job, framing, 25, 30, rng)
    return old, new


def test_many_quotes_are_what_a_loop_over_their_lines_gives(many):
    _, new = many
    found = changes_of(new, ON)
    looped = by_loop(new, list(Quote.objects.all()))
    touched = {change.quote_id: change.after for change in found}
    assert len(touched) > 20 and {after is None for after in touched.values()} == {True, False}
    assert touched == {pk: price for pk, price in looped.items() if pk in touched}
    untouched = Quote.objects.exclude(pk__in=touched)
    assert all(looped[quote.pk] == quote.price for quote in untouched)


def test_a_requote_of_each_is_what_was_told(many):
    _, new = many
    for change in changes_of(new, ON)[:6]:
        quote = Quote.objects.get(pk=change.quote_id)
        lines = {line.position: line for line in quote.lines.filter(revision=None)}
        told = {line.position: line.after for line in change.lines}
        assert all(lines[position].cost != after for position, after in told.items())


def test_blocked_quotes_come_first_then_the_largest_change(many):
    found = changes_of(many[1], ON)
    order = [(not change.is_blocked, -abs(change.change or 0)) for change in found]
    assert order == sorted(order)


def test_queries_do_not_grow_with_quotes_or_lines(many, django_assert_max_num_queries):
    with django_assert_max_num_queries(12):
        changes_of(many[1], ON)


def test_the_run_keeps_what_it_found_and_a_second_time_gives_the_same_rows(many):
    impact = start_impact(many[1].pk, on=ON, by=None, now=NOW)
    run = perform(impact.run_id)
    impact.refresh_from_db()
    assert run.state == Run.State.DONE and run.result["quotes_touched"] == impact.quotes_touched > 20
    rows = list(impact.quotes.values_list("rank", "quote", "before", "after", "change"))
    assert [rank for rank, *_ in rows] == list(range(1, len(rows) + 1))
    assert impact.change == sum(change for *_, change in rows if change is not None)
    keep_changes(impact, changes_of(many[1], ON), now=timezone.now())
    assert list(impact.quotes.values_list("rank", "quote", "before", "after", "change")) == rows
    assert History.objects.filter(subject="price-impact", subject_id=impact.pk).exists()
