"""Tests of the cost's spread: hours at their wage, culls at their price, tax and contingency by hand."""

import json
from decimal import Decimal

import numpy as np
import pytest
from scipy import stats

from estimating import money
from quotes.estimate import LaborRate, Price, estimate
from quotes.spread import cost_spread, how_sure
from quotes.templatetags.paper import often

WAGE = Decimal("50.00")
PADS = {"task": "set-pads", "quantity": 100, "unit": "EA", "hours_per_unit": 0.09, "low": 0.06, "high": 0.15,
        "factor": 1.0, "hours": 9.0}
STICKS = {"item": "lumber/2x8/144", "description": "2x8 12 ft", "unit": "LF", "net": 200, "waste": 40, "spare": 12,
          "order": 21, "pack": 12, "order_unit": "EA", "basis": ""}
SHIMS = {"item": "support/shim/0.125", "description": "shim", "unit": "EA", "net": 10, "waste": 0, "spare": 0,
         "order": 10, "pack": 1, "order_unit": "EA", "basis": ""}


def framing(labor=(), quantities=(), **told):
    return {"labor": list(labor), "quantities": list(quantities), "checks": [], "uncertainty": {
        "trials": 1000, "seed": 8, "hours": {"total": {}}, "culls": {}, "needed": {}, **told}}


def spread(document, costs=None, *, hours="9.0", direct="1000.00", contingency="50.00", tax="0"):
    return cost_spread(document, costs or {}, WAGE, Decimal(hours), Decimal(direct), Decimal(contingency), Decimal(tax))


def figures(found):
    return [float(found["direct"][name]) for name in ("p10", "p50", "p90")]


def test_hours_cost_their_wage():
    """100 pads at a triangular rate of 0.06, 0.09, 0.15 h: 50 a hour more or less than the 9 h that are planned."""
    law = stats.triang(1 / 3, 0.06, 0.09)
    found = spread(framing([PADS]))
    expected = [1000 + 50 * (100 * law.ppf(q) - 9) for q in (0.1, 0.5, 0.9)]
    assert figures(found) == pytest.approx(expected, abs=15)
    p = law.sf(0.09)
    assert found["over"] == pytest.approx(p, abs=4 * np.sqrt(p * (1 - p) / 1000))
    p = law.cdf(0.10)  # 50.00 of contingency pay one hour more
    assert found["covered"] == pytest.approx(p, abs=4 * np.sqrt(p * (1 - p) / 1000))
    assert found["planned"] == "1000.00"


def test_sticks_culled_beyond_the_spare_are_bought_at_their_price_with_their_tax():
    """20 good sticks and a spare at 18.00: whatever is culled after the first costs 18.00 and 7 % of it."""
    found = spread(framing(quantities=[STICKS], culls={"lumber/2x8/144": 0.2}),
                   {"lumber/2x8/144": (Decimal("378.00"), True)}, hours="0", tax="0.07")
    law = stats.nbinom(20, 0.8)
    expected = [1000 + 19.26 * max(law.ppf(q) - 1, 0) for q in (0.1, 0.5, 0.9)]
    assert figures(found) == pytest.approx(expected, abs=19.26 + 0.01)
    p = law.cdf(1)
    assert found["over"] == pytest.approx(1 - p, abs=4 * np.sqrt(p * (1 - p) / 1000))
    assert found["contributions"][0] == {"source": "culls of lumber/2x8", "share": pytest.approx(1)}
    untaxed = spread(framing(quantities=[STICKS], culls={"lumber/2x8/144": 0.2}),
                     {"lumber/2x8/144": (Decimal("378.00"), False)}, hours="0", tax="0.07")
    assert (figures(untaxed)[2] - 1000) * 1.07 == pytest.approx(figures(found)[2] - 1000, abs=0.02)


def test_shims_that_a_trial_takes_beyond_the_order_cost_and_those_left_over_bring_nothing_back():
    pieces = [0] * 500 + [16] * 500
    found = spread(framing(quantities=[SHIMS], needed={"support/shim/0.125": pieces}),
                   {"support/shim/0.125": (Decimal("5.00"), False)}, hours="0")
    assert figures(found) == [1000.0, 1000.0, 1003.0]


def test_what_has_no_price_is_named_and_costs_nothing():
    found = spread(framing(quantities=[], needed={"support/shim/0.25": [3] * 1000}), hours="0")
    assert found["unpriced"] == ["support/shim/0.25"] and figures(found) == [1000.0] * 3
    assert found["contributions"] == [] and found["told"] == ""


def test_shares_of_the_cost_add_up_to_about_one_and_the_greatest_is_said():
    found = spread(framing([PADS], [STICKS], culls={"lumber/2x8/144": 0.2}),
                   {"lumber/2x8/144": (Decimal("378.00"), False)})
    assert sum(s["share"] for s in found["contributions"]) == pytest.approx(1, abs=0.1)
    assert found["contributions"][0]["source"] in found["told"]


def test_a_framing_without_trials_has_no_spread():
    assert spread({"uncertainty": None}) is None
    assert spread({"uncertainty": {"trials": 0, "seed": 0, "shims": {}, "quantities": {}}}) is None


def test_an_estimate_tells_the_spread_of_its_own_direct_cost_and_prices_as_without():
    terms = money.Terms(contingency=Decimal("0.05"), overhead=Decimal("0.2"), profit=Decimal("0.1"),
                        tax_rate=Decimal("0.07"), tax_place="cost")
    price = Price("S", "2x8", Decimal("18.00"), "EA", "USD")
    document = framing([PADS], [STICKS], culls={"lumber/2x8/144": 0.05})

    def worked(document):
        return estimate(document, {"lumber/2x8/144": price}, [LaborRate("carpenter", WAGE, Decimal(1))], terms,
                        currency="USD", schedule=[(Decimal(1), "end")])

    done, plain = worked(document), worked({**document, "uncertainty": None})
    assert done.price == plain.price and plain.spread is None
    told = json.loads(json.dumps(done.as_json()))["spread"]
    assert Decimal(told["planned"]) == done.chain.direct == Decimal("854.46")  # 21 x 18.00 x 1.07 + 9 x 50.00
    assert float(told["direct"]["p10"]) < 854.46 < float(told["direct"]["p90"])
    assert worked(document).as_json() == done.as_json()


def test_a_person_is_told_gaps_shims_orders_and_hours_with_their_chances(scenario):
    told = " ".join(how_sure(scenario.framing.document))
    found = scenario.framing.document["uncertainty"]
    assert f"{found['hours']['total']['planned']:.0f} planned" in told
    assert often(found["gap_below_least"]) in told and "Least clear gap" in told
    assert found["told"]["hours"] in told


def test_what_is_short_is_told_by_its_name_and_shims_by_their_thickness(scenario):
    framing = scenario.framing.document
    short = {"support/shim/0.0625": 0.6, framing["quantities"][0]["item"]: 0.3}
    told = " ".join(how_sure({**framing, "uncertainty": {**framing["uncertainty"], "order_short": short}}))
    assert f"short of shims 1/16 in in 60 of 100 and {framing['quantities'][0]['description']} in 30 of 100" in told


def test_a_framing_of_before_tells_nothing():
    assert how_sure({}) == [] == how_sure({"uncertainty": {"trials": 1000, "seed": 1, "shims": {}}})


def test_chances_are_counted_in_a_hundred():
    assert often(0.617) == "62 of 100"
