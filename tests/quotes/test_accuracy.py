"""Tests of the class of an estimate: the more is known, the narrower its band; and what counts as known."""

from dataclasses import replace
from decimal import Decimal
from types import SimpleNamespace

import pytest

from quotes.accuracy import Known, band, class_of, known_of

ALL = Known(photos_and_plan=True, survey=True, complete=True, closes=True, cut_list=True, prices_fixed=True)


@pytest.mark.parametrize(("known", "number"), [
    (Known(), 5), (Known(photos_and_plan=True), 4), (Known(survey=True), 3), (replace(ALL, closes=False), 3),
    (replace(ALL, complete=False), 3), (replace(ALL, prices_fixed=False), 2), (replace(ALL, cut_list=False), 2),
    (ALL, 1),
])
def test_a_class_is_chosen_by_what_is_known(known, number):
    assert class_of(known).number == number


def bought(valid_to="2026-04-30", *, allowance=False, kind="material"):
    return SimpleNamespace(kind=kind, allowance=allowance, came_from={"valid_to": valid_to})


FRAMED = {"checks": [{"code": "height"}], "survey_adjustment": {"suspects": []}, "stock_plan": [{}]}


def test_a_framed_deck_with_prices_that_hold_to_a_day_is_all_known():
    assert known_of(FRAMED, [bought(), bought(kind="service"), bought(None, kind="labor")]) == ALL


@pytest.mark.parametrize("lines", [[], [bought(None)], [bought(), bought(allowance=True)]])
def test_an_open_price_or_an_allowance_is_not_fixed(lines):
    assert known_of(FRAMED, lines) == replace(ALL, prices_fixed=False)


@pytest.mark.parametrize(("changed", "lacks"), [
    ({"checks": [{"code": "misclosure"}]}, "closes"), ({"checks": [{"code": "no-redundancy"}]}, "closes"),
    ({"survey_adjustment": {"suspects": [["A", "B"]]}}, "closes"), ({"checks": [{"code": "not-measured"}]}, "complete"),
    ({"stock_plan": []}, "cut_list"),
])
def test_a_survey_that_does_not_close_or_lacks_a_reading_is_less_known(changed, lacks):
    assert known_of(FRAMED | changed, [bought()]) == replace(ALL, **{lacks: False})


def test_the_band_is_the_price_times_the_published_shares_and_names_its_source():
    # 18R-97, outermost range of class 3: -20 and +30 per cent.
    found = band(Decimal("25479.75"), Known(survey=True))
    assert (found["class"], found["low"], found["high"]) == (3, "20383.80", "33123.68")
    assert "18R-97" in found["text"] and found["status"] == "V2" and "common practice" in found["mapping"]
