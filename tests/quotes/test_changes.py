"""Tests of what a revision tells of the one before it."""

import copy

import pytest

from quotes.changes import MOST, changes


@pytest.fixture
def snapshot(scenario):
    return scenario.revision.document


def told(before, after):
    return {change.what: (change.before, change.after) for change in changes(before, after)}


def test_the_same_snapshot_has_no_changes(snapshot):
    assert changes(snapshot, copy.deepcopy(snapshot)) == []


def test_price_parts_payments_and_the_last_day_are_told(snapshot):
    after = copy.deepcopy(snapshot)
    after["estimate"]["chain"]["price"] = "20000.00"
    after["estimate"]["groups"][0]["amount"] = "1.00"
    after["estimate"]["payments"][0]["amount"] = "6000.00"
    after["quote"]["valid_until"] = "2026-05-01"
    found = told(snapshot, after)
    assert found["Price"][1] == "$20,000.00" and found["Valid until"] == ("2026-04-15", "2026-05-01")
    assert found[after["estimate"]["groups"][0]["title"]][1] == "$1.00"
    assert found["Progress payments"][1].startswith("$6,000.00")
    assert len(found) == 4


def test_what_is_built_is_told_by_the_fields_of_the_build_and_by_counts(snapshot):
    after = copy.deepcopy(snapshot)
    after["build"]["decking"]["species"] = "ipe"
    after["build"]["border"] = {"courses": 2}
    after["build"]["decking"]["stock_prices"] = {"120": "1.00"}  # changes nothing that is built
    after["framing"]["supports"] = after["framing"]["supports"][1:]
    found = told(snapshot, after)
    assert found["Build: decking species"] == ("cumaru", "ipe") and found["Build: border courses"] == ("none", "2")
    count = len(snapshot["framing"]["supports"])
    assert found["Pads"] == (str(count), str(count - 1)) and len(found) == 3


def test_options_allowances_and_discounts_come_and_go(snapshot):
    before, after = copy.deepcopy(snapshot), copy.deepcopy(snapshot)
    before["options"] = [{"name": "Ipe", "price": "100.00"}]
    after["options"] = [{"name": "Border", "price": "200.00"}]
    after["agreed"]["allowances"] = [{"name": "Flashings", "amount": "1500.00"}]
    found = told(before, after)
    assert found == {"Option Ipe": ("$100.00", "none"), "Option Border": ("none", "$200.00"),
                     "Allowance Flashings": ("none", "$1,500.00")}


def test_a_new_caution_is_told_and_a_number_that_changed_in_one_is_not(snapshot):
    after = copy.deepcopy(snapshot)
    note = next(note for note in after["notes"] if note["section"] == "drainage")
    note["text"] += " More of it."
    assert changes(snapshot, after) == []
    gone = after["notes"].pop(after["notes"].index(note))
    assert [(c.what, c.before) for c in changes(after, snapshot)] == [("New to know", "")]
    assert [c.what for c in changes(snapshot, after)] == ["No longer so"] and gone


def test_very_many_changes_are_counted_in_the_last_row(snapshot):
    after = copy.deepcopy(snapshot)
    after["build"] |= {f"field_{number}": number for number in range(MOST + 5)}
    found = changes(snapshot, after)
    assert len(found) == MOST and found[-1].after.startswith("6,")
