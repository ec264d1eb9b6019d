"""Tests of a new version held against the one in force, and of what a person is shown."""

from datetime import date
from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from estimating.price_changes import (
    BadLimits,
    Offer,
    Surroundings,
    beyond,
    compare,
    findings_of,
    limits_from,
    ratio_of,
)
from estimating.units import Piece

DAY = date(2026, 3, 1)
LF = ("LF", None, "LF")
EA = ("EA", None, "EA")
MBF = ("MBF", None, "EA")
BOX = ("XBX", Decimal(175), "EA")
LARGE = ("XBX", Decimal(350), "EA")


def row(
    sku="B-1", price="7.85", sold=LF, line=2, first=DAY, last=None, status="active", tier="", freight=None, after=""
):
    unit, pack, base = sold
    return Offer(line, sku, tier, unit, pack, base, Decimal(price), freight, first, last, status, after)


@pytest.mark.parametrize(
    ("old", "new", "kind", "ratio"),
    [
        (row(), row(price="8.24"), "dearer", Fraction(824, 785)),
        (row(), row(price="7.00"), "cheaper", Fraction(700, 785)),
        (row(price="89", sold=BOX), row(price="100", sold=LARGE), "pack-changed", Fraction(50, 89)),
        (row(price="89", sold=BOX), row(price="0.60", sold=EA), "unit-changed", Fraction(60, 100) * 175 / 89),
        (row(price="785", sold=("CEN", None, "CEN")), row(price="7.85", sold=EA), "unit-changed", Fraction(1)),
        (row(sold=LF), row(price="25.754593", sold=("MTR", None, "MTR")), "unit-changed",
         Fraction("25.754593") * Fraction("0.3048") / Fraction("7.85")),
        (row(sold=LF), row(sold=EA), "unit-changed", None),
        (row(), row(status="discontinued"), "status-changed", Fraction(1)),
        (row(), row(freight=Decimal("0.15")), "dearer", Fraction(800, 785)),
    ],
)  # fmt: skip
def test_a_change_is_told_by_its_kind_and_by_what_one_base_unit_costs(old, new, kind, ratio):
    (change,) = compare([old], [new]).changes
    assert (change.kind, change.ratio) == (kind, ratio)


def test_sizes_of_a_piece_join_board_feet_and_pieces():
    stick = Piece(Decimal(144), Decimal(2), Decimal(10))  # 2x10x12 is 20 board feet
    assert ratio_of(row(price="1320", sold=MBF), row(price="26.40", sold=EA), stick) == 1
    assert ratio_of(row(price="1320", sold=MBF), row(price="26.40", sold=EA)) is None


def test_what_is_new_and_what_is_gone_is_told_and_the_same_is_counted():
    found = compare([row("A"), row("B")], [row("A"), row("C")])
    assert [(change.kind, change.sku) for change in found.changes] == [("new", "C"), ("gone", "B")]
    assert (found.counts["same"], found.counts["new"], found.counts["gone"]) == (1, 1, 1)


def test_a_row_stands_against_the_one_that_holds_on_its_first_day():
    march, april = row(price="7.85", last=date(2026, 3, 31)), row(price="8.24", first=date(2026, 4, 1), line=3)
    found = compare([march, april], [row(price="8.24", first=date(2026, 4, 1))])
    assert found.counts["same"] == 1 and not found.changes
    (change,) = compare([march, april], [row(price="8.24")]).changes
    assert change.kind == "dearer" and change.old == march


def test_one_of_several_packs_that_is_left_out_is_gone():
    small, large = row(price="89", sold=BOX), row(price="150", sold=("XBX", Decimal(350), "EA"), line=3)
    found = compare([small, large], [small])
    assert [(change.kind, change.old) for change in found.changes] == [("gone", large)]


def test_tiers_are_compared_each_with_its_own():
    old = [row(price="7.85", tier="A"), row(price="8.85", tier="B", line=3)]
    assert compare(old, [row(price="7.85", tier="A"), row(price="9.00", tier="B", line=3)]).counts["dearer"] == 1


prices = st.decimals("0.01", "9999", places=2)
sold = st.sampled_from([LF, EA, BOX, MBF])


@given(st.dictionaries(st.sampled_from("ABCDEFGH"), st.tuples(prices, sold)),
       st.dictionaries(st.sampled_from("ABCDEFGH"), st.tuples(prices, sold)))
def test_every_item_of_both_sides_is_counted_once(before, after):
    old = [row(sku, price, kind) for sku, (price, kind) in before.items()]
    new = [row(sku, price, kind) for sku, (price, kind) in after.items()]
    found = compare(old, new)
    assert sum(found.counts.values()) == len(before.keys() | after.keys())
    back = compare(new, old)
    assert found.counts["new"] == back.counts["gone"] and found.counts["dearer"] == back.counts["cheaper"]
    for change in found.changes:
        if change.ratio is not None:
            assert change.ratio * ratio_of(change.new, change.old) == 1


# What to look at


def look(old, new, **around):
    found = compare(old, new)
    return {finding.code: finding for finding in findings_of(found, old, new, Surroundings(DAY, **around))}


@pytest.mark.parametrize(
    ("old", "new", "code", "holds"),
    [
        ([row(price="1320", sold=LF)], [row(price="659", sold=LF)], "implausible", True),
        ([row(price="10")], [row(price="20.01")], "implausible", True),
        ([row(price="196", sold=("MIL", None, "EA"))], [row(price="196", sold=("CEN", None, "EA"))], "implausible",
         True),
        ([row(sold=LF)], [row(sold=EA)], "not-comparable", True),
        ([row(str(n), line=n) for n in range(10)], [row(str(n), line=n) for n in range(4)], "partial", True),
        ([row("000417")], [row("417")], "look-alike", True),
        ([row("ab-1")], [row("AB 1")], "look-alike", True),
        ([row(price="89", sold=BOX)], [row(price="89", sold=("XBX", Decimal(150), "EA"))], "pack-changed", False),
        ([row()], [row(first=date(2026, 4, 1))], "future", False),
        ([row()], [row(last=date(2026, 2, 1), first=date(2026, 1, 1))], "past", False),
        ([row()], [row(last=date(2026, 3, 9)), row(first=date(2026, 3, 20), line=3)], "gap", False),
    ],
)
def test_a_pitfall_is_a_finding_and_holds_where_approval_has_to_name_it(old, new, code, holds):
    found = look(old, new)
    assert code in found and found[code].holds is holds and found[code].count >= 1


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ([row(price="10")], [row(price="20")]), ([row(price="10")], [row(price="5")]),
        ([row(str(n), line=n) for n in range(10)], [row(str(n), line=n) for n in range(5)]),
        ([row(last=date(2026, 3, 9))], [row(last=date(2026, 3, 9)), row(first=date(2026, 3, 10), line=3)]),
    ],
)
def test_what_just_passes_holds_nothing(old, new):
    assert not any(finding.holds or finding.code == "gap" for finding in look(old, new).values())


def test_goods_of_the_office_that_are_gone_or_discontinued_are_named_with_what_takes_their_place():
    old = [row("A"), row("B"), row("C")]
    found = look(old, [row("B", status="discontinued", after="B-2"), row("C")], in_use=frozenset("AB"))
    assert found["gone-in-use"].named == ("A",)
    assert found["discontinued-in-use"].named == ("B, superseded by B-2",)
    assert set(look(old, [row("C"), row("A")], in_use=frozenset("C"))) == set()


LIMITS = {"most_rise": "5", "most_fall": "10.5", "most_new": 1, "most_gone": 1, "most_rejected": 0}


@pytest.mark.parametrize(
    ("new", "passes"),
    [
        ([row(price="8.2425")], True), ([row(price="8.2426")], False), ([row(price="7.02575")], True),
        ([row(price="7.0257")], False), ([row(), row("N1")], True), ([row(), row("N1"), row("N2")], False),
    ],
)
def test_a_version_passes_by_itself_only_inside_every_limit(new, passes):
    old = [row()]
    found = compare(old, new)
    findings = findings_of(found, old, new, Surroundings(DAY))
    assert (beyond(limits_from(LIMITS), found, findings, first=False) == ()) is passes


def test_a_first_version_one_with_rejected_rows_and_a_list_without_limits_wait_for_a_person():
    found = compare([], [row()])
    assert beyond(limits_from(LIMITS | {"most_new": 9}), found, (), first=True)
    same = compare([row()], [row()])
    rejected = findings_of(same, [row()], [row()], Surroundings(DAY, rejected=1))
    assert "rejected" in beyond(limits_from(LIMITS), same, rejected, first=False)[0]
    assert beyond(None, same, (), first=False)


@pytest.mark.parametrize(
    "values", [{"most_rise": 5}, {"most_rise": "-1"}, {"most_rise": "101"}, {"most_new": "3"}, {"most_gone": True},
               {"most_rejected": -1}, {"colour": 1}, {"most_fall": "1e1"}, {"most_fall": "٣"}],
)  # fmt: skip
def test_limits_that_cannot_be_used_are_refused(values):
    with pytest.raises(BadLimits):
        limits_from(LIMITS | values)
