"""Wood that is not deep enough stood on packers, what a deck leaves its plane by as it dries, and where end A lies."""

from __future__ import annotations

import math

import numpy as np
import pytest

from framing.engine.design import frame
from framing.engine.documents import parse_build
from framing.engine.drying import drying
from framing.engine.layout import Line
from framing.engine.members import Member, end_a, named_sides, saw_members
from framing.engine.plane import most_gap
from framing.engine.shims import close_stack, most_shims, packers, packing
from framing.reference.lumber import DRESSED
from tests.framing.odd_roofs import L_SHAPE, RECTANGLE, odd_build, odd_survey
from tests.framing.staged import stages

SLIP, PAD = 0.125, 0.5  # slip sheet and pad of these builds [in]
TIGHT = {"least": 0.75, "target": 0.75, "most": 1.25}
DEEP = odd_survey(RECTANGLE, lambda x, y: -8 - 0.4 / 12 * y)  # 7 9/16 in of wood wanted at the far side


def deep_build(packer_most=0.0, **more):
    return odd_build(joists__sizes=["2x4", "2x6"], supports__clear_gap=TIGHT, supports__shim_most=1,
                     supports__packer_most=packer_most, **more)


@pytest.fixture(scope="module")
def packed():
    return frame(DEEP, deep_build(2.25)).document


def found(document, code):
    return [c for c in document["checks"] if c["code"] == code]


def test_wood_too_shallow_offers_the_least_packing_that_serves():
    stop, = found(frame(DEEP, deep_build()).document, "stick-too-shallow")
    offer, = (c for c in stop["clears"] if c["change"] == "supports.packer_most")
    assert offer["to"] * 4 == round(offer["to"] * 4)
    assert stop["limit"] - stop["value"] <= offer["to"] < stop["limit"] - stop["value"] + 0.25
    assert not found(frame(DEEP, deep_build(offer["to"])).document, "stick-too-shallow")
    assert found(frame(DEEP, deep_build(offer["to"] - 0.25)).document, "stick-too-shallow")


def test_every_packed_stack_closes(packed):
    z, under = packed["plane"]["z0"], 1.0
    depth = {m["id"]: m for m in packed["members"]}
    assert any(v["packer"] > 0 for v in packed["supports"]) and any(v["packer"] == 0 for v in packed["supports"])
    for v in packed["supports"]:
        m = depth[v["member"]]
        wood = float(np.interp(v["s"], *np.array(m["profile"]).T))
        left = z - under - wood - v["pad"] - v["shim"] - v["base"]
        assert left == pytest.approx(v["roof_z"] + v["residual"], abs=1e-6)
        assert v["clear_gap"] == pytest.approx(v["pad"] + v["shim"] + v["base"])
        assert v["packer"] * 4 == round(v["packer"] * 4) and 0 <= v["packer"] <= 2.25
        assert v["base"] == pytest.approx(SLIP + v["packer"]) and v["shim"] <= 1 + 1e-9
        if v["packer"]:
            assert v["shim"] < 0.25 + 1 / 32 or v["packer"] == 2.25
            assert v["clear_gap"] > SLIP + PAD + 1  # pad and all shims do not reach


def test_wood_on_packers_is_as_deep_as_its_stick_there(packed):
    deepest = DRESSED["2x6"][1]
    for v in packed["supports"]:
        if v["packer"]:
            profile = np.array(next(m["profile"] for m in packed["members"] if m["id"] == v["member"]))
            # a straight cut is as near the stick's depth as the fewest cuts allow
            assert deepest - 0.75 < float(np.interp(v["s"], *profile.T)) <= deepest + 1e-9


def test_packers_are_told_and_bought(packed):
    caution, = found(packed, "packed-up")
    thick = [v["packer"] for v in packed["supports"] if v["packer"]]
    assert caution["status"] == "caution" and caution["value"] == max(thick) and caution["limit"] == 2.25
    assert str(len(thick)) in caution["text"]
    bought = {q["item"]: q for q in packed["quantities"] if q["item"].startswith("lumber/packer/")}
    assert sum(q["net"] for q in bought.values()) == len(thick)
    assert set(bought) == {f"lumber/packer/{v:g}" for v in thick}


def test_members_that_fit_without_packers_do_not_change():
    plain = stages(odd_survey(RECTANGLE), odd_build(supports__clear_gap=TIGHT))
    allowed = stages(odd_survey(RECTANGLE), odd_build(supports__clear_gap=TIGHT, supports__packer_most=3))
    assert [m.profile.tolist() for m in plain.members] == [m.profile.tolist() for m in allowed.members]
    assert all(s.packer == 0 for s in allowed.frame().supports)


@pytest.mark.parametrize("over", np.linspace(-0.3, 2.24, 40))
def test_a_packer_leaves_a_thin_shim_and_is_not_used_where_shims_reach(over):
    build = stages(DEEP, deep_build(2.3)).build
    assert packing(build) == 2.25
    gap = np.array([most_gap(build) + over])
    packer = packers(gap, build)
    shim, _ = close_stack(gap - packer, build)
    left = gap[0] - SLIP - PAD - packer[0] - shim[0]
    assert abs(left) <= min(build.supports.shim_sizes) / 2 + 1e-9
    assert (packer[0] > 0) == (gap[0] > SLIP + PAD + build.supports.shim_most + 1e-6)
    assert packer[0] == 0 or shim[0] < 0.25 + 1 / 32 or packer[0] == 2.25


# --- no room for any profile


def test_a_pad_that_fills_more_than_the_most_gap_asks_for_a_greater_gap_and_not_for_less_shim():
    build = odd_build(supports__pad_thickness=1.5, supports__clear_gap={"least": 0.75, "target": 0.75, "most": 1.25})
    stop, = stages(odd_survey(RECTANGLE, lambda x, y: -8.1), build).sawn[1]
    assert (stop.code, stop.status) == ("no-profile", "stop")
    change, = stop.clears
    assert (change.change, change.from_, change.to) == ("supports.clear_gap.most", 1.25, 1.625)
    build["supports"]["clear_gap"]["most"] = 1.625
    assert not stages(odd_survey(RECTANGLE, lambda x, y: -8.1), build).sawn[1]


def test_shims_that_do_not_reach_the_least_gap_ask_for_more_of_them():
    build = odd_build(supports__shim_most=0.0625, supports__clear_gap={"least": 0.75, "target": 1, "most": 1.25})
    stop, = stages(odd_survey(RECTANGLE, lambda x, y: -8.1), build).sawn[1]
    change, = stop.clears
    assert (change.change, change.to) == ("supports.shim_most", 0.125)


def test_shims_reach_as_far_as_those_at_hand_add_up_and_no_further():
    build = parse_build(odd_build(supports__shim_sizes=[0.3], supports__shim_most=1.0))
    stack = build.supports.pad_thickness + build.supports.base_thickness
    assert most_shims(build) == pytest.approx(0.9) and most_gap(build) == pytest.approx(stack + 0.9)  # three shims
    metric = parse_build(odd_build(supports__shim_sizes=["1.5 mm", "3 mm", "6 mm"], supports__shim_most="76.2 mm"))
    assert most_shims(metric) == pytest.approx(75 / 25.4)  # twelve of 6 and one of 3
    # the least that reaches is told: three of 0.3, not the 0.7 that is lacking
    short = odd_build(supports__shim_sizes=[0.3], supports__shim_most=0.5, supports__pad_thickness=0.125,
                      supports__base_thickness=0, supports__clear_gap={"least": 0.825, "target": 1, "most": 1.5})
    stop, = stages(odd_survey(RECTANGLE, lambda x, y: -8.1), short).sawn[1]
    assert [(c.change, c.to) for c in stop.clears] == [("supports.shim_most", 0.9375)]


@pytest.mark.parametrize(("typed", "meant"), [(1.374996, 1.375), (1.375, 1.375), (1.3739, 1.3739), (1.4, 1.4)])
def test_a_most_gap_typed_as_a_decimal_of_a_foot_keeps_its_last_step(typed, meant):
    build = odd_build(supports__pad_thickness=1.25, supports__clear_gap={"least": 0.75, "target": 0.75, "most": typed})
    assert SLIP + 1.25 == 1.375 and most_gap(parse_build(build)) == pytest.approx(meant, abs=1e-9)


@pytest.mark.parametrize(("depth", "written"), [(7.96874998, "8"), (7.96875, "8"), (7.9687, "7 15/16")])
def test_a_depth_that_rounding_puts_off_a_tie_is_still_a_tie(depth, written):
    assert member((depth, depth)).stations([])[0][1] == written


# --- drying


def member(depths, at=(0.0, 0.0), name="J1"):
    return Member(Line(name, "joist", at, (at[0] + 100, at[1])), "2x8", np.array([[0, depths[0]], [100, depths[1]]]))


@pytest.mark.parametrize(("moisture", "shrink"), [
    # FPL-RP-489: 6.031 - 0.215 M % from green: 28 % 0.011, 19 % 1.946, 12 % 3.451
    ("wet", 1 - (1 - 0.03451) / (1 - 0.00011)), ("kdat", 1 - (1 - 0.03451) / (1 - 0.01946)),
    ("dry", 1 - (1 - 0.03451) / (1 - 0.01946)), (None, 1 - (1 - 0.03451) / (1 - 0.00011)),
])
def test_a_deck_leaves_its_plane_by_what_deep_wood_shrinks_more_than_thin(moisture, shrink):
    build = stages(odd_survey(RECTANGLE), odd_build(joists__moisture=moisture)).build
    told = drying([member((2.0, 3.0)), member((4.0, 7.0), (0.0, 50.0), "J2")], build, (10.0, 48.0))
    assert told.value == pytest.approx(5 * shrink)
    assert told.where == "J2, 100 in from end A"
    assert told.status == ("caution" if 5 * shrink > 1 / 16 else "ok")
    assert f"At the door it sinks {4.3 * shrink:.3f} in" in told.text
    assert ("not given" in told.text) == (moisture is None)


def test_a_rule_for_another_species_is_called_a_judgement():
    pine, fir = (stages(odd_survey(RECTANGLE), odd_build(joists__species=s)).build for s in ("SYP", "hem-fir"))
    assert "judgement" not in drying([member((2, 3))], pine, (0, 0)).text
    assert "judgement" in drying([member((2, 3))], fir, (0, 0)).text


def test_every_framed_deck_tells_of_its_drying(packed):
    told, = found(packed, "drying")
    depths = [d for m in packed["members"] for _, d in m["profile"]]
    assert told["value"] == pytest.approx((max(depths) - min(depths)) * (1 - 0.96549 / (1 - 0.01946)), abs=1e-3)


# --- end A, splices


def test_end_a_is_called_by_the_side_that_it_lies_at():
    staged = stages(odd_survey(L_SHAPE), odd_build())
    sides = named_sides(staged.survey, staged.adjusted)
    assert [s.words for s in sides] == ["house side A-B", "parapet side B-C", "parapet side C-D", "parapet side D-E",
                                        "parapet side E-F", "parapet side F-A"]
    for start, end, words in [((60, 2), (60, 210), "house side A-B"), ((60, 210), (60, 2), "parapet side E-F"),
                              ((2, 2), (238, 2), "parapet side F-A"), ((238, 3), (2, 3), "parapet side B-C"),
                              ((180, 94), (180, 2), "parapet side C-D"), ((118, 150), (2, 150), "parapet side D-E")]:
        assert end_a(Line("J1", "joist", start, end), sides) == words


def test_every_member_says_where_its_end_a_lies(packed):
    assert all("side" in m["end_a"] for m in packed["members"])


def spliced(role, run, longest, joists, **build):
    """A line of `run` along y at x = 60 with joist ends at s in `joists`, cut into pieces up to `longest`. [in]"""
    survey = odd_survey([(0, 0), (120, 0), (120, 480), (0, 480)], **build.pop("survey", {}))
    staged = stages(survey, odd_build(joists__stock_lengths=[72, 96, 120, 144, 192], **build))
    lines = [Line("R1", role, (60, 4), (60, 4 + run)), *(Line(f"J{i}", "joist", (60, 4 + s), (110, 4 + s))
                                                         for i, s in enumerate(joists))]
    members, checks = saw_members(lines, staged.build, staged.plane, staged.roof, longest, staged.ground.outlets)
    return next(m for m in members if m.id == "R1"), checks


def test_a_rim_is_cut_over_joist_ends_in_the_fewest_pieces():
    joists = np.arange(16.0, 380, 16)
    rim, checks = spliced("rim", 380, 143.75, joists)
    assert len(rim.pieces) == math.ceil(380 / 143.75) and not checks
    assert all(np.abs(joists - s).min() < 1e-6 for s in rim.splices)


def test_a_rim_takes_a_piece_more_rather_than_a_splice_off_its_joists():
    rim, checks = spliced("rim", 200, 120, [70.0, 95.0, 130.0, 190.0])
    assert rim.splices == (95.0,) and not checks
    rim, checks = spliced("rim", 200, 120, [60.0, 150.0])  # one cut in 80..120 would do, but no joist ends there
    assert rim.splices == (60.0, 150.0) and not checks


def test_a_rim_without_a_joist_end_in_reach_is_cut_all_the_same_and_told():
    rim, checks = spliced("rim", 300, 119.75, [30.0, 270.0])
    assert max(b - a for a, b in rim.pieces) <= 119.76 and len(rim.pieces) == 3
    caution, = checks
    assert (caution.code, caution.status) == ("rim-splice", "caution")
    assert caution.value == pytest.approx(max(min(abs(s - j) for j in (30, 270)) for s in rim.splices))


def test_a_joist_is_spliced_where_its_cut_turns_if_that_takes_no_piece_more():
    survey = {"height": lambda x, y: -8 - 0.02 * abs(y - 180), "lines": [("ridge", [(3, 180), (117, 180)])]}
    joist, _ = spliced("joist", 300, 191.75, [], survey=survey, supports__clear_gap=TIGHT)
    assert joist.splices == pytest.approx((176.0,), abs=0.6) and joist.profile[1:-1, 0] == pytest.approx([176], abs=0.6)


def test_a_joist_takes_a_piece_more_rather_than_a_splice_in_a_valley_or_near_an_outlet():
    # two sticks of 144 could only meet within 12 in of the outlet, which stands 144 in along a run of 284
    joist, _ = spliced("joist", 284, 144, [], survey={"outlets": [(60, 146)]})
    assert len(joist.pieces) == 3
    assert all(abs(4 + s - 146) >= 12 for s in joist.splices)
    valley = {"height": lambda x, y: -8 - 0.02 * y + 0.04 * max(y - 146, 0),
              "lines": [("valley", [(3, 146), (117, 146)])]}
    joist, _ = spliced("joist", 284, 144, [], survey=valley)
    assert len(joist.pieces) == 3
    assert all(abs(4 + s - 146) >= 3 + 2 for s in joist.splices)
