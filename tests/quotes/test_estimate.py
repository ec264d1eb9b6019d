"""Tests of the estimate: the worked terrace to the cent, and what must stand in the way of a price."""

import json
from copy import deepcopy
from dataclasses import replace
from decimal import Decimal
from pathlib import Path

import pytest

from estimating import money, units
from quotes.estimate import Allowance, Extra, Finding, LaborRate, Missing, Price, estimate, group_of

FIXTURE = json.loads((Path(__file__).parent / "fixtures" / "worked_terrace.json").read_text())


def _price(entry: dict) -> Price:
    fields = dict(entry)
    thickness, width, length = fields.pop("piece") or (None, None, None)
    pack = fields.pop("pack_quantity")
    return Price(
        **{**fields, "amount": Decimal(fields["amount"])}, currency="USD",
        pack_quantity=Decimal(pack) if pack else None,
        piece=length and units.Piece(Decimal(length), thickness and Decimal(thickness), width and Decimal(width)),
    )


PRICES = {item: _price(entry) for item, entry in FIXTURE["prices"].items()}
RATES = [LaborRate(grade, Decimal(rate), Decimal(1)) for grade, rate in FIXTURE["rates"]]
TERMS = money.Terms(**{k: v if k == "tax_place" else Decimal(v) for k, v in FIXTURE["terms"].items()})
SCHEDULE = [(Decimal(share), milestone) for share, milestone in FIXTURE["schedule"]]
EXTRAS = [Extra(item, Decimal(quantity), unit) for item, quantity, unit in FIXTURE["extras"]]


def work_out(framing=FIXTURE["framing"], prices=PRICES, rates=RATES, terms=TERMS, extras=EXTRAS, schedule=SCHEDULE,
             **more):
    return estimate(framing, prices, rates, terms, currency="USD", schedule=schedule, extras=extras, **more)


def one(item, unit, order, price, **row):
    """The single line of one bought item."""
    framing = {"quantities": [{"item": item, "unit": unit, "net": order, "order": order, **row}]}
    return work_out(framing, {item: price}, extras=())


def test_the_worked_terrace_costs_what_was_worked_by_hand():
    done = work_out()
    assert done.findings == ()
    assert done.cost_of("material") == Decimal("8118.06")  # rounded a stick
    assert done.hours == Decimal("154.0")  # 133.9 h x 1.15, the total rounded to a tenth
    assert done.crew_rate == Decimal("48.26")
    assert done.cost_of("labor") == Decimal("7432.04")
    assert done.cost_of("service") == Decimal("165.00") + Decimal("2080.00")
    assert done.chain.tax_on_cost == Decimal("588.56")
    assert done.chain.direct == Decimal("18383.66")


def test_the_worked_terrace_sells_for_what_was_worked_by_hand():
    done = work_out()
    assert done.chain.contingency == Decimal("919.18")
    assert done.chain.overhead == Decimal("3860.57")
    assert done.chain.profit == Decimal("2316.34")
    assert done.price == Decimal("25479.75")


def test_progress_payments_of_the_worked_terrace_add_up_to_the_cent():
    amounts = [payment.amount for payment in work_out().payments]
    assert amounts == [Decimal("7643.93"), Decimal("7643.93"), Decimal("7643.92"), Decimal("2547.97")]
    assert sum(amounts) == Decimal("25479.75")


def test_dearer_boards_in_april_add_the_worked_amount_to_materials():
    prices = PRICES | {"decking/hardwood/168": replace(PRICES["decking/hardwood/168"], amount=Decimal("8.24"))}
    # 42 boards of 14 ft at 0.39 more a foot
    assert work_out(prices=prices).cost_of("material") - Decimal("8118.06") == Decimal("229.32")


def test_groups_add_up_to_the_sale():
    done = work_out()
    assert sum(group.amount for group in done.groups()) == Decimal("25479.75")
    assert sum(group.cost for group in done.groups()) == done.chain.net


def test_every_line_says_what_it_came_from():
    done = work_out()
    for line in done.lines:
        assert line.came_from["framing"]
        assert line.came_from["sku"] if line.kind != "labor" else line.came_from["rates"]
    tapers = next(line for line in done.lines if line.item == "lumber/2x8/144")
    assert tapers.came_from["framing"] == "/quantities/1"
    assert (tapers.quantity, tapers.unit, tapers.cost) == (Decimal(18), "EA", Decimal("339.84"))


def test_an_item_without_a_price_blocks_the_price_and_is_named():
    prices = {item: price for item, price in PRICES.items() if item != "support/pad"}
    done = work_out(prices=prices)
    assert done.price is None and done.payments == ()
    assert [(f.code, f.about) for f in done.findings] == [("no-price", "support/pad")]
    assert not any(line.item == "support/pad" for line in done.lines)


def test_the_reason_why_a_price_is_missing_is_passed_on():
    done = work_out(prices=PRICES | {"support/pad": Missing("PD-44-38 was last valid on 2026-02-28")})
    assert "PD-44-38 was last valid on 2026-02-28" in done.findings[0].text


def test_every_missing_price_is_named_at_once():
    done = work_out(prices={})
    assert len(done.findings) == len(FIXTURE["framing"]["quantities"]) + len(EXTRAS)


def test_a_price_in_another_currency_blocks_the_price():
    done = work_out(prices=PRICES | {"support/pad": replace(PRICES["support/pad"], currency="CAD")})
    assert [(f.code, f.about) for f in done.findings] == [("other-currency", "support/pad")]


def test_a_price_by_a_unit_that_nothing_joins_blocks_the_price():
    gallons = replace(PRICES["fixing/angle"], unit="GLL", base_unit="GLL")
    done = work_out(prices=PRICES | {"fixing/angle": gallons})
    assert [f.code for f in done.findings] == ["unit-mismatch"]
    assert "EA" in done.findings[0].text and "GLL" in done.findings[0].text


def test_a_stop_of_the_framing_blocks_the_price():
    framing = deepcopy(FIXTURE["framing"])
    framing["checks"] = [{"code": "height", "status": "stop", "text": "1 1/4 in of height are missing at R3"}]
    done = work_out(framing)
    assert done.price is None
    assert done.findings[0].code == "framing-stop" and "1 1/4 in" in done.findings[0].text


def test_an_undecided_place_of_tax_blocks_the_price():
    done = work_out(terms=replace(TERMS, tax_place="unknown"))
    assert done.price is None and [f.code for f in done.findings] == ["tax-place"]


def test_hours_without_a_rate_block_the_price():
    done = work_out(rates=[])
    assert done.price is None and [f.code for f in done.findings] == ["no-labor-rate"]


def test_payments_that_do_not_add_up_to_the_price_block_it():
    done = work_out(schedule=[(Decimal("0.5"), "on signing")])
    assert [f.code for f in done.findings] == ["payment-schedule"] and done.payments == ()


@pytest.mark.parametrize("amount", ["9999999999999.00", "99999999999.0000"])
def test_a_cost_that_no_column_holds_is_refused_and_not_cut(amount):
    dear = replace(PRICES["fixing/angle"], amount=Decimal(amount))
    done = work_out(prices=PRICES | {"fixing/angle": dear}, extras=[Extra("fixing/angle", Decimal("99999999"), "EA")])
    assert done.price is None and "too-large" in [f.code for f in done.findings]
    assert all(line.cost < Decimal(10) ** 13 for line in done.lines)


def test_an_empty_framing_has_no_price_rather_than_a_price_of_nothing():
    done = work_out({}, extras=())
    assert done.price is None and [f.code for f in done.findings] == ["nothing-to-price"]


def test_tax_on_the_sale_comes_after_profit_and_none_falls_on_cost():
    chain = work_out(terms=replace(TERMS, tax_place="sale")).chain
    assert chain.tax_on_cost == 0
    assert chain.direct == Decimal("18383.66") - Decimal("588.56")
    assert chain.tax_on_sale == money.line(chain.sale, Decimal("0.0725"))


def test_sticks_by_the_thousand_board_feet_are_rounded_a_stick():
    # 2x8x8: 10 2/3 board feet at 1.18 = 12.5866..., so 3 sticks are 37.77 and not 37.76
    done = one("lumber/2x8/96", "EA", 3, PRICES["lumber/2x8/96"])
    assert done.lines[0].cost == Decimal("37.77")


def test_screws_by_the_thousand_are_rounded_a_line():
    bulk = Price("FX-M", "screws", Decimal("196.00"), "MIL", "USD")
    # 1,038 at 0.196 = 203.448; a cent a screw would make 207.60
    assert one("fixing/screw", "EA", 1038, bulk).lines[0].cost == Decimal("203.45")


def test_the_suppliers_pack_decides_how_many_packs_are_bought():
    clips = replace(PRICES["fixing/hidden"], pack_quantity=Decimal(100))
    done = one("fixing/hidden", "EA", 4, clips, pack=175, order_unit="XBX", net=519, waste=25.95)
    assert (done.lines[0].quantity, done.lines[0].unit) == (Decimal(6), "XBX")  # 544.95 / 100


def test_allowances_are_marked():
    assert [line.item for line in work_out().lines if line.allowance] == ["service/permit"]


@pytest.mark.parametrize(("key", "part"), [
    ("lumber/2x8/144", "Frame"), ("decking/ipe/168", "Decking"), ("fixing/structural", "Frame"),
    ("fixing/hidden", "Decking"), ("service/permit", "Permits and fees"), ("no such thing", "Other work"),
])
def test_every_item_belongs_to_a_part_of_the_work(key, part):
    assert group_of(key) == part


def test_sticks_counted_by_their_feet_are_still_bought_and_rounded_by_the_stick():
    # 3 sticks of 8 ft: 20 ft of pieces and 4 ft left over, ordered by the stick
    done = one("lumber/2x8/96", "LF", 3, PRICES["lumber/2x8/96"], net=20.0, waste=4.0, pack=8.0, order_unit="EA")
    assert (done.lines[0].quantity, done.lines[0].unit, done.lines[0].cost) == (Decimal(3), "EA", Decimal("37.77"))


def test_a_sheet_counted_by_its_area_is_bought_by_the_sheet():
    done = one("protection/sheet", "FTK", 11, PRICES["support/cover-board"], net=294.6, waste=29.5, pack=32.0,
               order_unit="EA")
    assert done.lines[0].cost == Decimal("257.40")  # 11 x 23.40


def test_what_is_measured_by_area_is_bought_in_the_rolls_that_the_supplier_sells():
    done = one("support/slip-sheet", "FTK", 165, PRICES["support/slip-sheet"], net=150.0, waste=15.0, order_unit="FTK")
    assert (done.lines[0].quantity, done.lines[0].unit) == (Decimal(2), "XRO")  # 165 / 100


ROOFER = Allowance("Flashings by the roofer", Decimal("1500.00"), "two pipes and a drain", "cost-and-markup")


def test_an_allowance_is_a_line_of_its_own_that_says_what_it_includes_and_goes_through_the_chain():
    plain, done = work_out(), work_out(allowances=[ROOFER])
    (line,) = [line for line in done.lines if line.kind == "allowance"]
    assert (line.cost, line.allowance, line.taxable) == (Decimal("1500.00"), True, False)
    assert line.came_from["includes"] == ROOFER.includes and line.came_from["settlement"] == "cost-and-markup"
    assert done.chain.direct - plain.chain.direct == Decimal("1500.00")
    assert done.price - plain.price == Decimal("2079.00")  # 1,500 x 1.05 x 1.2 x 1.1
    taxed = work_out(allowances=[replace(ROOFER, taxable=True)])
    assert taxed.chain.tax_on_cost - plain.chain.tax_on_cost == Decimal("108.75")  # 7.25 % of it


@pytest.mark.parametrize(("taxed_lines", "taxed"), [
    ("marked", Decimal("8118.06")), ("materials", Decimal("8118.06")), ("all", Decimal("17795.10"))])
def test_tax_on_cost_falls_on_the_lines_that_the_rule_names(taxed_lines, taxed):
    done = work_out(terms=replace(TERMS, taxed_lines=taxed_lines))
    assert done.chain.taxed == taxed == sum(line.cost for line in done.lines if line.taxable)


def test_materials_are_taxed_whether_they_are_marked_or_not_where_the_rule_says_so():
    prices = {item: replace(price, taxable=not price.taxable) for item, price in PRICES.items()}
    assert work_out(prices=prices, terms=replace(TERMS, taxed_lines="materials")).chain.taxed == Decimal("8118.06")


def test_a_discount_stands_in_the_chain_and_the_payments_add_up_to_what_is_left():
    done = work_out(discount=money.Discount("ordered in winter", Decimal("479.75")))
    assert done.price == Decimal("25000.00") == sum(payment.amount for payment in done.payments)
    assert sum(group.amount for group in done.groups()) == done.chain.sale == Decimal("25479.75")
    assert done.as_json()["discount"]["reason"] == "ordered in winter"


def test_a_discount_over_the_sale_blocks_the_price():
    done = work_out(discount=money.Discount("too good", Decimal("25479.76")))
    assert done.price is None and [finding.code for finding in done.findings] == ["discount"]


def test_what_stood_in_the_way_before_stands_in_the_way_of_the_price():
    done = work_out(asks=[Finding("no-crew-mix", "boom day", "There is no crew mix boom day.")])
    assert done.price is None and done.findings[0].about == "boom day"


def test_an_unknown_tax_names_the_jurisdiction_that_no_rule_knows():
    done = work_out(terms=replace(TERMS, tax_place="unknown"), tax={"from": "nobody", "jurisdiction": "Elsewhere"})
    assert "Elsewhere" in done.findings[0].text
    done = work_out(terms=replace(TERMS, tax_place="unknown"), tax={"from": "nobody", "jurisdiction": ""})
    assert "names no jurisdiction" in done.findings[0].text


def test_hours_say_which_of_the_offices_production_rates_they_are_by():
    framing = deepcopy(FIXTURE["framing"])
    framing["labor"][0]["rate_record"] = 12
    labor = [line for line in work_out(framing).lines if line.kind == "labor"]
    assert {line.came_from["production_rate"] for line in labor} == {12, None}


def floats(value, at=""):
    """Where floats stand in a JSON value."""
    if isinstance(value, dict):
        return [found for key, inner in value.items() for found in floats(inner, f"{at}/{key}")]
    if isinstance(value, list | tuple):
        return [found for inner in value for found in floats(inner, at)]
    return [at] if isinstance(value, float) else []


def test_no_float_stands_in_an_estimate_but_chances_of_trials(scenario):
    kept = scenario.revision.document["estimate"]
    chances = {"/spread/over", "/spread/covered", "/spread/contributions/share"}
    assert set(floats(kept)) == chances
    assert set(floats(json.loads(json.dumps(work_out(allowances=[ROOFER]).as_json())))) <= chances
