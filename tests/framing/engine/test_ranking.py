"""Tests of the ranking: who beats whom by the definition, what a cost holds, and the words each place is given."""

from dataclasses import replace
from decimal import Decimal

import numpy as np
import pytest

from framing.engine.checks import check
from framing.engine.documents import parse_build
from framing.engine.ranking import COST, COUNTS, HOUR, Bought, Figures, Tried, beats, costs, rank, unbeaten
from tests.framing.fixtures import good_build

BUILD = parse_build(good_build())
USUAL = {"hours": 100.0, "pads": 80.0, "gap": 0.5, "cuts": 20.0, "weight": 2400.0, "step": 0.25, "cautions": 5.0,
         "lumber": 400.0, "boards": 700.0}


def tried(name, cost="5000.00", **counts):
    """A framed build of usual figures but those given; `cost` is that of all its sticks, None where they have none."""
    price = None if cost is None else Decimal(cost)
    bill = (Bought("lumber/2x8/144", Decimal(1), price), Bought("decking/board/144", Decimal(1), Decimal(0)),
            Bought(HOUR, Decimal(100)))
    return Tried(name, (), BUILD, Figures({**USUAL, **counts}, bill, 0.0, 0.0))


def placed(*builds, **options):
    found = rank(builds, name="Roof", prices={}, **options)
    return {p.tried.name: p for p in found.builds}


def test_the_set_that_none_beats_is_the_one_of_the_definition():
    rng = np.random.default_rng(6)
    for _ in range(40):
        loss = rng.integers(0, 4, (int(rng.integers(1, 30)), int(rng.integers(1, 6)))).astype(float)
        rows = loss.tolist()

        def better(a, b):
            return all(x <= y for x, y in zip(a, b, strict=True)) and any(x < y for x, y in zip(a, b, strict=True))

        assert beats(loss).tolist() == [[better(a, b) for b in rows] for a in rows]
        assert unbeaten(loss).tolist() == [not any(better(a, b) for a in rows) for b in rows]


def test_a_wider_gap_counts_as_better_and_all_other_counts_when_they_are_less():
    found = placed(tried("usual"), tried("gap", gap=0.75))
    assert found["gap"].state == "unbeaten" and found["gap"].best_on == ("gap",)
    assert found["usual"].state == "beaten"
    for key in ("hours", "pads", "cuts", "weight", "step", "cautions"):
        found = placed(tried("usual"), tried("more", **{key: USUAL[key] + 1}))
        assert (found["usual"].best_on, found["more"].state) == ((key,), "beaten")
    assert {c.key for c in (COST, *COUNTS) if c.more} == {"gap"}


def test_a_beaten_build_is_told_by_which_and_on_what():
    found = placed(tried("dear", cost="5310.25", pads=92.0), tried("cheap"), tried("light", weight=2300.0, hours=104.0))
    assert found["dear"].state == "beaten" and found["dear"].beaten_by == (found["cheap"].number,)
    assert found["dear"].why == (
        f"Beaten by No. {found['cheap'].number}: cost 310.25 less, pads 12 less; the same on hours, least gap, "
        "straight rips, weight, step at the door and cautions.")


def test_an_unbeaten_build_is_told_what_it_gives_and_takes_against_the_first():
    first, other = tried("first"), tried("other", cost="4800.00", hours=103.5)
    why = placed(first, other)["other"].why
    assert "Best of all on cost." in why
    assert "(first): cost 200.00 less; but hours 3.5 more." in why


def test_what_a_single_change_costs_is_told_though_another_build_is_better():
    bordered = replace(tried("one border course", cost="7600.00", hours=150.0), changes=("one border course",))
    found = placed(tried("as given"), tried("cheap", cost="4900.00"), bordered)
    assert found["one border course"].why.endswith(
        f"Against No. {found['as given'].number} (as given): nothing better; but cost 2,600.00 more, hours 50.0 more.")
    assert "Against" not in found["as given"].why


def test_a_build_beside_itself_is_as_good_and_told_to_be_the_same():
    one, two = rank([tried("one"), tried("two")], name="Roof", prices={}).builds
    assert (one.state, two.state) == ("unbeaten", "unbeaten")
    assert "The same on all counts as No. 2." in one.why and "The same on all counts as No. 1." in two.why
    assert one.best_on == two.best_on == ()
    assert set(one.ranks.values()) == set(two.ranks.values()) == {1}


def test_a_difference_below_what_is_shown_is_none():
    found = placed(tried("one", hours=100.0), tried("two", hours=100.04))
    assert {p.state for p in found.values()} == {"unbeaten"}
    assert "The same on all counts" in found["two"].why


def test_the_unbeaten_stand_first_then_the_beaten_by_the_count_asked_for():
    builds = [tried("a", cost="5200.00", hours=90.0), tried("b", cost="5000.00", hours=110.0),
              tried("c", cost="5100.00", hours=120.0), tried("d", cost="5300.00", hours=95.0)]
    by_cost, by_hours = (list(placed(*builds, by=by)) for by in ("cost", "hours"))
    assert by_cost == ["b", "a", "c", "d"]
    assert by_hours == ["a", "b", "d", "c"]


def test_a_build_that_stops_is_listed_last_with_its_stop():
    stop = check("no-joists", "stop", value=0, limit=1, unit="EA", where="frame")
    found = rank([Tried("flat", (), BUILD, None, (stop,)), tried("good")], name="Roof", prices={})
    assert [p.state for p in found.builds] == ["unbeaten", "stopped"]
    assert found.builds[1].tried.name == "flat" and found.builds[1].why == stop.text
    assert found.as_json()["builds"][1]["stops"][0]["code"] == "no-joists"


def test_nothing_framed_is_a_comparison_of_stops_alone():
    found = rank([Tried("flat", (), BUILD, None)], name="Roof", prices={})
    assert [p.state for p in found.builds] == ["stopped"]


def test_a_kind_of_item_that_one_build_has_no_price_for_is_in_no_cost():
    stick = Bought("lumber/2x8/144", Decimal(10), Decimal("18.88"))
    board = Bought("decking/board/144", Decimal(4), Decimal("94.20"))
    bills = [[stick, board, Bought("support/pad/6x6", Decimal(50)), Bought("fixing/hidden", Decimal(300))],
             [stick, board, Bought("support/pad/8x8", Decimal(40)), Bought("fixing/hidden", Decimal(310))]]
    prices = {"support/pad/6x6": Decimal("3.10"), "fixing/hidden": Decimal("0.42")}
    # 10 x 18.88 + 4 x 94.20 = 565.60, and 300 or 310 clips at 0.42
    assert costs(bills, prices) == ([Decimal("691.60"), Decimal("695.80")], ["support/pad"])
    assert costs(bills, {**prices, "support/pad/8x8": Decimal("4.00")}) == (
        [Decimal("846.60"), Decimal("855.80")], [])


def test_the_prices_handed_in_go_before_those_of_the_build():
    bill = [Bought("lumber/2x8/144", Decimal(10), Decimal("18.88")), Bought("decking/b/144", Decimal(1), Decimal(1)),
            Bought(HOUR, Decimal("100.5"))]
    assert costs([bill], {"lumber/2x8/144": Decimal("20"), HOUR: Decimal("48.26")})[0] == [Decimal("5051.13")]


def test_where_a_stick_has_no_price_wood_and_boards_are_counted_instead_of_cost():
    found = rank([tried("one"), tried("two", cost=None, lumber=390.0)], name="Roof", prices={})
    assert [c.key for c in found.counts][:3] == ["lumber", "boards", "hours"]
    assert found.builds[0].tried.name == "two" and found.builds[0].best_on == ("lumber",)


def test_packers_without_a_price_do_not_take_the_cost_away():
    bill = [Bought("lumber/2x8/144", Decimal(1), Decimal(10)), Bought("decking/b/144", Decimal(1), Decimal(5)),
            Bought("lumber/packer/0.5", Decimal(3))]
    assert costs([bill], {}) == ([Decimal("15.00")], ["lumber/packer"])


@pytest.mark.parametrize("field", ["cautions that it adds", "cautions that it is rid of"])
def test_cautions_that_a_build_has_and_the_first_has_not_are_named(field):
    first = Tried("first", (), BUILD, tried("x", hours=110.0).figures, (), ("tip-load",))
    other = Tried("other", (), BUILD, tried("y", pads=81.0).figures, (), ("pads-meet",))
    named = {"cautions that it adds": "pads-meet", "cautions that it is rid of": "tip-load"}[field]
    assert f"{field.capitalize()}: {named}." in placed(first, other)["other"].why
