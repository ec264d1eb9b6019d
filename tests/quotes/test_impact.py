"""Tests of what new prices do to open quotes: ranked, as a requote gives it, and nothing changed by it."""

from datetime import date
from decimal import Decimal

import pytest

from estimating import price_lists
from estimating.models import Job, LaborRate
from estimating.service.runs import perform
from quotes import drafts
from quotes.demonstration import DATA, NOW
from quotes.impact import changes_of, open_quotes
from quotes.models import Quote, QuoteLine

D = Decimal
TODAY = NOW.date()
EARLIER = date(2026, 2, 1)  # before the list begins
BOARD = b'CU-54X6-14,"Cumaru 5/4x6 S4S, 14 ft",LF,LF,,LF,'
CLIPS = b'FX-CLIP-175,"Hidden clip, stainless, with screws",BX,XBX,'


def approved(scenario, *changes):
    """The demo's list again, with changes of its text, approved."""
    content = (DATA / "price-list.csv").read_bytes()
    for old, new in changes:
        assert content.count(old), old
        content = content.replace(old, new)
    staged = price_lists.stage_price_file(scenario.version.price_list_id, content, source_name="", by=None, now=NOW)
    return price_lists.approve_version(staged.pk, by=None, now=NOW)


def quote_of(scenario) -> Quote:
    return Quote.objects.get(pk=scenario.revision.quote_id)


@pytest.fixture
def dearer(scenario):
    """14-ft boards at 8.11 a foot instead of 7.85."""
    return approved(scenario, (BOARD + b"7.85", BOARD + b"8.11"))


def changes_on(version, on=TODAY):
    return changes_of(version, on)


def test_a_dearer_board_changes_its_line_and_the_price_through_the_chain(scenario, dearer):
    quote = quote_of(scenario)
    [found] = changes_on(dearer)
    [line] = found.lines
    board = quote.lines.get(revision=None, position=line.position)
    each = (D("8.11") * 14).quantize(D("0.01")) - (D("7.85") * 14).quantize(D("0.01"))
    assert line.item == board.item and line.before == board.cost
    assert line.after - line.before == board.quantity * each  # sticks are rounded to the cent each
    terms = quote.estimate["terms"]
    cost = found.after - found.before
    rough = (line.after - line.before) * (1 + D(terms["tax_rate"])) * (1 + D(terms["contingency"])) \
        * (1 + D(terms["overhead"])) * (1 + D(terms["profit"]))
    assert terms["tax_place"] == "cost" and abs(cost - rough) < D("0.05")


def test_looking_changes_nothing_and_a_requote_gives_the_price_that_was_told(scenario, dearer):
    quote = quote_of(scenario)
    lines = list(quote.lines.filter(revision=None).values())
    [found] = changes_on(dearer)
    seen = Quote.objects.get(pk=quote.pk)
    assert (seen.version, seen.price, list(seen.lines.filter(revision=None).values())) == (
        quote.version, quote.price, lines)
    anew = drafts.requote(quote.pk, dearer.pk, priced_on=NOW.date(), by=None, now=NOW)
    assert (anew.price, found.before) == (found.after, quote.price) and anew.price != quote.price
    assert [found.quote_id for found in changes_on(dearer)] == []  # it is priced from that version now


def test_a_pack_that_holds_less_is_counted_anew(scenario):
    version = approved(scenario, (CLIPS + b"175,", CLIPS + b"100,"))
    [found] = changes_on(version)
    anew = drafts.requote(found.quote_id, version.pk, priced_on=NOW.date(), by=None, now=NOW)
    assert found.after == anew.price > found.before
    [line] = found.lines
    assert line.after == anew.lines.get(revision=None, position=line.position).cost


def test_lines_of_an_earlier_program_are_counted_from_their_framing(scenario):
    quote = quote_of(scenario)
    for line in quote.lines.filter(revision=None, kind="material"):
        line.came_from = {name: value for name, value in line.came_from.items()
                          if name not in ("unit", "order", "order_unit", "pack")}
        line.save()
    version = approved(scenario, (CLIPS + b"175,", CLIPS + b"100,"))
    [found] = changes_on(version)
    assert found.after == drafts.requote(quote.pk, version.pk, priced_on=NOW.date(), by=None, now=NOW).price


def test_goods_that_are_gone_block_the_price_and_say_so(scenario):
    version = approved(scenario, (b"FX-CLIP-175,", b"FX-CLIP-NEW,"))
    [found] = changes_on(version)
    [line] = [line for line in found.lines if line.after is None]
    assert found.is_blocked and found.after is None and found.change is None
    assert "FX-CLIP-175" in line.reason


def test_prices_that_do_not_hold_on_the_day_are_told(scenario, dearer):
    [found] = changes_on(dearer, EARLIER)
    assert found.is_blocked and any("2026-02-01" in line.reason for line in found.lines)


@pytest.mark.parametrize("status", [Job.Status.ACCEPTED, Job.Status.BUILDING, Job.Status.CLOSED, Job.Status.LOST])
def test_a_job_that_is_agreed_on_or_lost_is_left_alone(scenario, dearer, status):
    assert open_quotes(dearer).count() == 1
    Job.objects.update(status=status)
    assert changes_on(dearer) == []


def test_a_changed_wage_is_not_told_as_the_prices_doing(scenario, dearer):
    [before] = changes_on(dearer)
    LaborRate.objects.create(grade="lead", rate=D("99"), valid_from=date(2026, 1, 1), created_at=NOW)
    assert changes_on(dearer) == [before]


def test_a_version_that_is_only_staged_can_be_looked_at_but_not_quoted_from(scenario, api):
    content = (DATA / "price-list.csv").read_bytes().replace(b"89.00", b"91.00")
    staged = price_lists.stage_price_file(scenario.version.price_list_id, content, source_name="", by=None, now=NOW)
    [found] = changes_on(staged)
    assert found.change > 0
    with pytest.raises(drafts.NotApproved):
        drafts.requote(found.quote_id, staged.pk, priced_on=NOW.date(), by=None, now=NOW)


def test_over_the_interface_from_the_impact_to_a_new_price(scenario, dearer, api):
    answer = api.post("/api/v1/price-impacts", {"price_list_version": dearer.pk, "on": "2026-03-16"}, format="json")
    assert answer.status_code == 202, answer.data
    run = perform(answer.data["run"]["id"])
    where = run.result["url"]
    told = api.get(where)
    assert told.status_code == 200 and told.data["quotes_touched"] == 1
    [row] = api.get(f"{where}/quotes").data["results"]
    quote = api.get(f"/api/v1/quotes/{row['quote']}")
    assert quote.data["price"] == row["before"]
    body = {"price_list_version": dearer.pk, "priced_on": "2026-03-16"}
    assert api.post(f"/api/v1/quotes/{row['quote']}/requote", body, format="json").status_code == 428
    anew = api.post(f"/api/v1/quotes/{row['quote']}/requote", body, format="json", HTTP_IF_MATCH=quote["ETag"])
    assert anew.status_code == 200 and anew.data["price"] == row["after"]


def test_what_cannot_be_asked_for_is_refused_with_its_place(scenario, api, as_user, crew):
    for body, place in (({}, "/price_list_version"), ({"price_list_version": 10**6}, "/price_list_version"),
                        ({"price_list_version": scenario.version.pk, "on": "March"}, "/on"),
                        ({"price_list_version": scenario.version.pk, "wheel": 1}, "/wheel")):
        answer = api.post("/api/v1/price-impacts", body, format="json")
        assert answer.status_code == 422 and [e["pointer"] for e in answer.data["errors"]] == [place]
    assert as_user(crew).get("/api/v1/price-impacts").status_code == 403


def test_a_list_that_the_quote_is_not_priced_from_is_refused(scenario):
    supplier = scenario.version.price_list.supplier
    other = price_lists.PriceList.objects.create(supplier=supplier, name="another")
    staged = price_lists.stage_price_file(other.pk, (DATA / "price-list.csv").read_bytes(), source_name="", by=None,
                                          now=NOW)
    version = price_lists.approve_version(staged.pk, by=None, now=NOW)
    with pytest.raises(drafts.NotApproved, match="no version of"):
        drafts.requote(scenario.revision.quote_id, version.pk, priced_on=NOW.date(), by=None, now=NOW)
    assert QuoteLine.objects.filter(quote=scenario.revision.quote_id, revision=None).exists()
