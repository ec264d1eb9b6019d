"""The roof's drainage as a crew and a homeowner are told of it, before and after the frame."""

import json
import math
from pathlib import Path

import numpy as np
import pytest

from framing.engine.adjustment import adjust
from framing.engine.documents import Rain, parse_survey
from framing.engine.drainage import against_frame, drain
from framing.engine.roof import fit_roof

ROOT = Path(__file__).parents[3]
FALL = 0.25 / 12
RAIN = Rain(primary=4, secondary=8, source="test value")


def shots(drop):
    """Readings of a 240 x 120 in roof on a grid that its walls contain."""
    places = {f"r{i}{j}": (x, y) for i, x in enumerate((6, 90, 150, 234)) for j, y in enumerate((6, 60, 114))}
    return places, [{"point": p, "drop": drop(x, y), "on": "roof"} for p, (x, y) in places.items()]


def survey(outlets, drop=lambda x, y: 10 - FALL * y, places=(), **fields):
    """House along y = 120; the roof falls 1/4 in/ft away from it to a parapet at y = 0, 10 in under the datum there."""
    spots, levels = shots(drop)
    doors = {"t1": (100, 120), "t2": (140, 120)}
    levels += [{"point": "t1", "drop": 2, "on": "threshold"}, {"point": "t2", "drop": 2.25, "on": "threshold"}]
    at = {"A": (0, 0), "B": (240, 0), "C": (240, 120), "D": (0, 120), **spots, **doors, **dict(places)}
    return parse_survey({
        "format": "roof-survey/1", "name": "drainage", "datum": {"what": "nail", "where": "jamb"},
        "corners": list("ABCD"), "positions": {k: list(v) for k, v in at.items()}, "levels": levels,
        "outlets": outlets, **({} if "doors" in fields else {"threshold": ["t1", "t2"]}),
        "edges": [{"from": "C", "to": "D", "against": "house"},
                  *({"from": a, "to": b, "against": "parapet", "height": 20} for a, b in ("AB", "BC", "DA"))],
        **fields,
    })  # fmt: skip


def scupper(point="s", purpose="primary", **fields):
    return {"kind": "scupper", "purpose": purpose, "point": point, "width": 6, "height": 4, "invert_drop": 10} | fields


def drained(surveyed, rain=RAIN):
    adjusted = adjust(surveyed)
    return drain(surveyed, adjusted, fit_roof(surveyed, adjusted), rain)


def found(checks, code, where=""):
    return [c for c in checks if c.code == code and where in c.where]


def one(checks, code, where=""):
    check, = found(checks, code, where)
    return check


ONE = {"s": (120, 0)}
WITH_OVERFLOW = {"s": (120, 0), "o": (60, 0)}


@pytest.fixture(scope="module")
def demo():
    surveyed = parse_survey(json.loads((ROOT / "quotes/demo/survey.json").read_text()))
    return drained(surveyed, Rain(primary=4, secondary=7.2))


def test_the_demo_roof_gives_its_two_scuppers_their_areas_and_flows(demo):
    # Worked demo: S1 152 sq ft and 6.3 gpm, S2 148 and 6.1; 6.3 gpm over a 6 in scupper needs 0.51 in of head.
    s1, s2 = demo.primary
    assert (s1.point, s2.point) == ("S1", "S2")
    assert (s1.area_sqft, s2.area_sqft) == (pytest.approx(152, abs=0.5), pytest.approx(148, abs=0.5))
    assert (s1.flow_gpm, s2.flow_gpm) == (pytest.approx(6.3, abs=0.05), pytest.approx(6.1, abs=0.05))
    assert s1.head == pytest.approx(0.51, abs=0.005)
    assert s1.area_sqft + s2.area_sqft == pytest.approx(299.6, abs=0.1)


def test_the_demo_roof_is_cautioned_where_its_walls_hardly_fall(demo):
    # Worked demo: about 0.01 in/ft along both side walls; left facet 0.240 in/ft; nothing ponds, R15 drains.
    for wall in ("D-A", "B-C"):
        check = one(demo.checks, "ponding-along-edge", wall)
        assert (check.status, check.decided_by) == ("caution", "roofer")
        assert check.value == pytest.approx(0.01, abs=0.01)
    slope = one(demo.checks, "roof-slope-low")
    assert (slope.status, slope.value) == ("caution", pytest.approx(0.240, abs=0.01))
    assert demo.ponds == ()


def test_the_demo_door_stands_under_eight_inches_over_its_membrane(demo):
    # Worked demo: 5.45, 4.83 and 5.49 in at the threshold points.
    upturn = one(demo.checks, "membrane-upturn")
    assert (upturn.status, upturn.acknowledge) == ("caution", False)
    assert upturn.value == pytest.approx(4.83, abs=1 / 16)


def test_one_scupper_takes_the_whole_roof_and_its_blockage_is_told():
    answer = drained(survey([scupper()], places=ONE))
    s, = answer.primary
    assert s.area_sqft == pytest.approx(200)
    assert s.flow_gpm == pytest.approx(0.0104 * 200 * 4)
    assert s.depth == pytest.approx(s.head, abs=0.01)
    blockage = one(answer.checks, "single-outlet")
    assert blockage.status == "caution" and "there is no other" in blockage.text and blockage.value is None
    missing = one(answer.checks, "no-overflow")
    assert (missing.status, missing.acknowledge) == ("caution", True)


def test_an_overflow_two_inches_up_answers_for_the_blocked_scupper():
    over = scupper("o", "overflow", invert_drop=8, width=18)
    answer = drained(survey([scupper(), over], places=WITH_OVERFLOW))
    assert not found(answer.checks, "single-outlet") and not found(answer.checks, "no-overflow")
    assert one(answer.checks, "overflow-height").status == "ok"
    assert one(answer.checks, "overflow-opening").status == "ok"
    size = one(answer.checks, "overflow-size")
    assert (size.status, size.value, size.limit, size.unit) == ("ok", 72, 72, "sq in")
    o, = answer.overflow
    assert o.flow_gpm == pytest.approx(0.0104 * 200 * 8)
    load = one(answer.checks, "blocked-primary-load")
    assert (load.status, load.decided_by) == ("note", "engineer")
    # 2 in up to the overflow and 16.64 gpm over 18 in: (16.64 / 52.2)^(2/3) = 0.466 in; 5.2 x 2.466.
    assert load.value == pytest.approx(5.2 * (2 + 0.466), abs=0.1)


@pytest.mark.parametrize("fields, code, value", [
    ({"invert_drop": 9}, "overflow-height", 1.0), ({"invert_drop": 6.5}, "overflow-height", 3.5),
    ({"height": 3}, "overflow-opening", 3.0), ({"width": 6}, "overflow-size", 24.0),
])
def test_an_overflow_too_low_too_high_or_too_small_is_cautioned(fields, code, value):
    over = scupper("o", "overflow", invert_drop=8, width=18) | fields
    check = one(drained(survey([scupper(), over], places=WITH_OVERFLOW)).checks, code)
    assert check.status == "caution"
    assert check.value == pytest.approx(value, abs=0.02)
    assert check.decided_by == "building official"


def test_scuppers_open_at_the_top_are_compared_by_width_and_says_so():
    over = scupper("o", "overflow", invert_drop=8, width=12)
    for outlet in (first := scupper(), over):
        outlet.pop("height")
    size = one(drained(survey([first, over], places=WITH_OVERFLOW)).checks, "overflow-size")
    assert (size.value, size.limit, size.unit, size.status) == (12, 18, "in", "caution")
    assert "by width" in size.text


def test_an_outlet_too_small_for_its_flow_is_cautioned():
    # 200 sq ft at 20 in/h are 41.6 gpm; a 2 in scupper with 2 in of head carries 2.9 x 2 x 2^1.5 = 16.4.
    answer = drained(survey([scupper(width=2)], places=ONE), Rain(primary=20, secondary=20))
    check = one(answer.checks, "outlet-capacity")
    assert check.status == "caution"
    assert (check.value, check.limit) == (pytest.approx(41.6, abs=0.1), pytest.approx(16.4, abs=0.05))


def test_water_stands_below_a_scupper_that_sits_too_high():
    # Invert 1/2 in over the low edge of a 1/4 in/ft roof: 24 in back, along 240 in.
    answer = drained(survey([scupper(invert_drop=9.5)], places=ONE))
    pond, = answer.ponds
    assert (pond.depth, pond.area_sqft) == (pytest.approx(0.5, abs=0.01), pytest.approx(40, rel=0.02))
    assert one(answer.checks, "pond").value == pytest.approx(0.5, abs=0.01)
    shallow = drained(survey([scupper(invert_drop=9.9)], places=ONE))
    assert shallow.ponds == ()  # a tenth of an inch is within two standard errors of a reading


def test_a_reading_at_the_outlet_is_its_invert_where_no_drop_is_given():
    outlet = scupper()
    outlet.pop("invert_drop")
    read = survey([outlet], places=ONE, levels=[
        *shots(lambda x, y: 10 - FALL * y)[1], {"point": "s", "drop": 10.25, "on": "outlet"},
        {"point": "s", "drop": 10.125, "on": "outlet"}, {"point": "t1", "drop": 2, "on": "threshold"},
        {"point": "t2", "drop": 2, "on": "threshold"},
    ])  # fmt: skip
    assert drained(read).primary[0].invert_z == pytest.approx(-10.1875)


def test_what_was_not_measured_is_said_and_not_guessed():
    bare = {"kind": "scupper", "purpose": "primary", "point": "s"}
    answer = drained(survey([bare], places=ONE))
    said = [c.text for c in found(answer.checks, "not-measured")]
    assert any("invert" in t for t in said) and any("width" in t for t in said)
    s, = answer.primary
    assert s.invert_z == pytest.approx(-10, abs=0.01)
    assert (s.head, s.capacity, s.depth) == (None, None, None)
    assert s.area_sqft == pytest.approx(200)
    assert not found(answer.checks, "outlet-capacity")
    drains = drained(survey([bare | {"kind": "drain"}], places={"s": (120, 30)}))
    assert any("diameter" in c.text for c in found(drains.checks, "not-measured"))


def test_without_rain_areas_are_given_and_no_flow():
    answer = drained(survey([scupper()], places=ONE), rain=None)
    assert one(answer.checks, "rain-not-given").status == "caution"
    assert answer.primary[0].area_sqft == pytest.approx(200)
    assert answer.primary[0].flow_gpm is None


def test_without_a_secondary_rain_the_primary_one_is_used_and_said():
    over = scupper("o", "overflow", invert_drop=8)
    answer = drained(survey([scupper(), over], places=WITH_OVERFLOW), Rain(primary=4))
    assert "4 in/h, the primary rain, was used" in one(answer.checks, "rain-not-given").text
    assert answer.overflow[0].flow_gpm == pytest.approx(0.0104 * 200 * 4)


def test_a_roof_without_any_way_out_must_be_acknowledged():
    answer = drained(survey([]))
    assert one(answer.checks, "no-outlet").acknowledge
    assert (answer.outlets, answer.ponds, answer.water) == ((), (), None)


def test_a_roof_that_runs_off_an_open_edge_needs_no_overflow():
    edges = [{"from": "A", "to": "B", "against": "open"}, {"from": "C", "to": "D", "against": "house"}]
    answer = drained(survey([], edges=edges))
    assert answer.edge_sqft == pytest.approx(200)
    assert not found(answer.checks, "no-overflow") and not found(answer.checks, "no-outlet")
    assert not found(answer.checks, "ponding-along-edge")


def test_a_wall_that_water_runs_along_to_its_outlet_is_well_at_an_eighth_of_an_inch_a_foot():
    falling = survey([scupper(point="s", invert_drop=12.5)], drop=lambda x, y: 10 - FALL * y + x / 96,
                     places={"s": (240, 0)})
    wall = one(drained(falling).checks, "ponding-along-edge", "A-B")
    assert (wall.status, wall.value) == ("ok", pytest.approx(0.125, abs=1e-6))
    level = one(drained(survey([scupper()], places=ONE)).checks, "ponding-along-edge", "A-B")
    assert (level.status, level.value) == ("caution", pytest.approx(0, abs=1e-6))


def test_a_flat_roof_is_drained_and_not_divided_by_zero():
    answer = drained(survey([scupper(kind="drain", diameter=4)], drop=lambda x, y: 10, places={"s": (120, 60)}))
    assert answer.primary[0].area_sqft == pytest.approx(200)
    assert one(answer.checks, "roof-slope-low").value == pytest.approx(0, abs=1e-9)


def frame_over(answer, gap, deck=-3.0):
    """A level deck on supports 24 in apart, all with one clear gap."""
    x, y = np.meshgrid(np.arange(12, 240, 24.0), np.arange(4, 120, 16.0))
    xy = np.stack([x.ravel(), y.ravel()], axis=1)
    return against_frame(
        answer, supports_xy=xy, supports_roof_z=-10 + FALL * xy[:, 1], clear_gaps=np.full(len(xy), gap),
        deck_top=lambda at: np.full(len(at), deck),
    )


def test_joists_stand_in_the_design_storm_where_the_head_exceeds_the_clear_gap():
    # 8.32 gpm over 6 in: (8.32 / 17.4)^(2/3) = 0.611 in. Over a gap of 3/8 in it reaches 0.236 / 0.25 = 0.94 ft back.
    answer = drained(survey([scupper()], places=ONE))
    check = one(frame_over(answer, 0.375), "water-under-joists")
    assert (check.status, check.limit) == ("caution", 0.375)
    assert check.value == pytest.approx(0.611, abs=0.01)
    assert "about 0.9 ft up the slope" in check.text and "10 supports" in check.text  # the row at y = 4
    assert one(frame_over(answer, 0.75), "water-under-joists").status == "ok"


def test_blocked_outlets_are_measured_against_joists_deck_and_sill():
    over = scupper("o", "overflow", invert_drop=8, width=18)
    answer = drained(survey([scupper(), over], places=WITH_OVERFLOW))
    checks = frame_over(answer, 1.0)
    surface = -8 + (0.0104 * 200 * 8 / (2.9 * 18)) ** (2 / 3)
    joists = one(checks, "blocked-primary-joists")
    assert (joists.status, joists.limit) == ("caution", 1.0)
    assert joists.value == pytest.approx(surface + 10 - FALL * 4, abs=0.01)  # deepest in the lowest row
    # wet where the roof is under surface - gap: y < 12 x 1.466 / 0.25 = 70 in, five rows of ten
    assert "50 of 80" in joists.text
    assert one(checks, "blocked-primary-deck").status == "ok"
    sill = one(answer.checks, "blocked-primary-sill")
    assert (sill.status, sill.acknowledge) == ("ok", False)
    assert sill.value == pytest.approx(-2.25 - surface, abs=0.01)


def test_water_over_the_deck_or_near_the_sill_is_cautioned_and_the_sill_acknowledged():
    over = scupper("o", "overflow", invert_drop=3, width=18)
    answer = drained(survey([scupper(), over], places=WITH_OVERFLOW))
    deck = one(frame_over(answer, 1.0, deck=-4.0), "blocked-primary-deck")
    assert (deck.status, deck.acknowledge) == ("caution", True)
    sill = one(answer.checks, "blocked-primary-sill")
    assert (sill.status, sill.acknowledge) == ("caution", True)
    assert sill.value == pytest.approx(-2.25 + 3 - (16.64 / 52.2) ** (2 / 3), abs=0.01)


def test_a_frame_without_supports_and_a_roof_without_outlets_raise_nothing():
    answer = drained(survey([]))
    assert against_frame(answer, supports_xy=np.zeros((0, 2)), supports_roof_z=np.zeros(0), clear_gaps=np.zeros(0),
                         deck_top=lambda at: at[:, 0]) == ()
    assert frame_over(answer, 1.0) == ()


def test_every_finding_has_a_source_and_a_decider_and_none_stops_the_work():
    over = scupper("o", "overflow", invert_drop=9, height=3)
    answer = drained(survey([scupper(invert_drop=9.5), over], places=WITH_OVERFLOW))
    for check in (*answer.checks, *frame_over(answer, 0.5)):
        assert check.status in ("ok", "note", "caution")
        assert check.source and check.decided_by and "compl" not in check.text.lower()
        assert check.value is None or math.isfinite(check.value)


# -- blocked water: how deep, over what, near which door ---------------------------------------------------------

BLOCKED = -8 + (0.0104 * 200 * 8 / (2.9 * 18)) ** (2 / 3)  # water over an 18 in overflow at -8 in 8 in/h


def with_overflow(**fields):
    return survey([scupper(), scupper("o", "overflow", invert_drop=8, width=18)], places=WITH_OVERFLOW, **fields)


def parapets(height):
    return [{"from": "C", "to": "D", "against": "house"},
            *({"from": a, "to": b, "against": "parapet", "height": height} for a, b in ("AB", "BC", "DA"))]


def test_without_an_overflow_water_rises_to_the_lowest_sill_and_that_must_be_acknowledged():
    # Sill at -2.25, low edge at -10: 7.75 in, 5.2 psf an inch.
    answer = drained(survey([scupper()], places=ONE))
    deep = one(answer.checks, "blocked-primary-depth")
    assert (deep.status, deep.acknowledge, deep.decided_by) == ("caution", True, "engineer")
    assert deep.value == pytest.approx(7.75, abs=0.01)
    assert "over the sill of the door at t2" in deep.text and f"{7.75 * 5.2:.1f} psf" in deep.text
    assert not found(answer.checks, "blocked-primary-sill")  # said once


def test_a_parapet_lower_than_the_sill_lets_water_over_first_and_the_door_has_the_rest_to_spare():
    # 4 in over the roof beside it is -6 along A-B, where the roof is lowest; 7 in is -3, the sill -2.25.
    for height, spare, risk in ((4, 3.75, False), (7, 0.75, True)):
        answer = drained(survey([scupper()], places=ONE, edges=parapets(height)))
        deep = one(answer.checks, "blocked-primary-depth")
        assert (deep.status, deep.acknowledge, deep.value) == ("caution", True, pytest.approx(height, abs=0.01))
        assert "over the top of the parapet" in deep.text
        sill = one(answer.checks, "blocked-primary-sill")
        assert (sill.acknowledge, sill.value) == (risk, pytest.approx(spare, abs=0.01))


def test_a_parapet_of_unknown_height_and_a_house_wall_are_no_way_out():
    edges = [{k: v for k, v in e.items() if k != "height"} for e in parapets(1)]
    checks = drained(survey([scupper()], places=ONE, edges=edges)).checks
    assert one(checks, "blocked-primary-depth").value == pytest.approx(7.75, abs=0.01)


@pytest.mark.parametrize("top, risk", [(3.5, False), (6.4, False), (6.6, True), (7.8, True)])
def test_a_flashing_lower_than_the_sill_is_what_the_water_is_measured_to(top, risk):
    doors = [{"name": "terrace door", "points": ["t1", "t2"], "flashing_top": top}]
    sill = one(drained(with_overflow(doors=doors)).checks, "blocked-primary-sill")
    assert sill.where.startswith("flashing top of the terrace door")
    assert sill.value == pytest.approx(-top - BLOCKED, abs=0.01)
    assert (sill.status, sill.acknowledge) == (("caution", True) if risk else ("ok", False))
    assert ("above the flashing" in sill.text) == (-top < BLOCKED)


def test_every_door_is_measured_and_a_flashing_above_the_sill_leaves_the_sill():
    doors = [{"name": "left door", "points": ["t1"], "flashing_top": 1},
             {"name": "right door", "points": ["t2"], "flashing_top": 7}]
    checks = drained(with_overflow(doors=doors)).checks
    left = one(checks, "blocked-primary-sill", "sill of the left door at t1")
    assert left.value == pytest.approx(-2 - BLOCKED, abs=0.01)
    assert one(checks, "blocked-primary-sill", "flashing top of the right door at t2").acknowledge


def test_an_overflow_that_tells_its_load_leaves_nothing_deeper_to_tell():
    assert not found(drained(with_overflow()).checks, "blocked-primary-depth")
    dry = one(drained(with_overflow(), rain=None).checks, "blocked-primary-depth")  # no rain, so no load was told
    assert (dry.status, dry.acknowledge) == ("note", False)
    assert dry.value == pytest.approx(2, abs=0.01) and "leaves over the scupper o" in dry.text


def ridged(outlets, places, **fields):
    """A ridge at x = 120, 10 in under the datum, 1/4 in/ft to both sides: 12.5 in down at the walls."""
    return survey(outlets, drop=lambda x, y: 10 + FALL * abs(x - 120), places={"p": (120, 0), "q": (120, 120)} | places,
                  breaklines=[{"kind": "ridge", "points": ["p", "q"]}], **fields)


def test_water_behind_a_ridge_stands_deeper_than_at_the_overflow_beyond_it():
    # The overflow 1 in up serves the left; the right fills to the ridge, 2.5 in, before it runs there.
    outlets = [scupper(at, purpose, invert_drop=drop)
               for at, purpose, drop in (("s", "primary", 12.5), ("r", "primary", 12.5), ("o", "overflow", 11.5))]
    places = {"s": (0, 60), "r": (240, 60), "o": (0, 30)}
    deep = one(drained(ridged(outlets, places), Rain(primary=0.1, secondary=0.1)).checks, "blocked-primary-depth")
    assert (deep.status, deep.acknowledge) == ("caution", False)
    assert deep.value == pytest.approx(2.5, abs=0.01)
    assert "over higher roof and then over the scupper o" in deep.text


def test_a_door_behind_a_ridge_is_measured_to_the_water_behind_it():
    # An open edge at the left; a door of a low sill at the right, 11 in down: the ridge at 10 in floods it first.
    doors = [{"name": "low door", "points": ["d"]}]
    edges = [{"from": "D", "to": "A", "against": "open"}]
    places = {"s": (240, 60), "d": (230, 120)}
    spots, levels = shots(lambda x, y: 10 + FALL * abs(x - 120))
    levels.append({"point": "d", "drop": 11, "on": "threshold"})
    answer = drained(ridged([scupper(invert_drop=12.5)], places, doors=doors, edges=edges, levels=levels))
    deep = one(answer.checks, "blocked-primary-depth")
    assert deep.acknowledge and deep.value == pytest.approx(1.5, abs=0.01) and "sill of the low door" in deep.text


def test_water_that_leaves_over_an_open_edge_beside_a_door_is_not_said_to_leave_over_its_sill():
    # The roof falls from the open side at x = 0, where a door stands too, to a drain in the far corner.
    doors = [{"name": "side door", "points": ["d"]}]
    edges = [{"from": "D", "to": "A", "against": "open"}]
    levels = [*shots(lambda x, y: 10 + FALL * x)[1], {"point": "d", "drop": 8, "on": "threshold"}]
    answer = drained(survey([scupper(invert_drop=15)], places={"s": (240, 60), "d": (0, 60)}, doors=doors, edges=edges,
                            levels=levels))
    deep = one(answer.checks, "blocked-primary-depth")
    within = answer.water.grid.size * FALL  # an open edge is as high as the lowest roof in its cell
    assert (deep.status, deep.acknowledge, deep.value) == ("note", False, pytest.approx(5, abs=within))
    assert "over an open edge" in deep.text
    assert not any(c.acknowledge for c in found(answer.checks, "blocked-primary-sill"))


# -- outlets: where they stand, what they carry ------------------------------------------------------------------

@pytest.mark.parametrize("kind, drop, off", [
    ("scupper", 8.9, 1.1), ("scupper", 9.1, None), ("scupper", 10.9, None), ("scupper", 11.1, 1.1),
    ("drain", 8.9, 1.1), ("drain", 11.9, None), ("drain", 12.1, 2.1),
])
def test_an_invert_far_off_the_roof_beside_it_is_to_be_read_again(kind, drop, off):
    size = {"diameter": 4} if kind == "drain" else {}
    checks = drained(survey([scupper(kind=kind, invert_drop=drop) | size], places=ONE)).checks
    doubted = found(checks, "outlet-off-roof")
    assert bool(doubted) == (off is not None)
    for check in doubted:
        assert (check.status, check.decided_by, check.acknowledge) == ("caution", "surveyor", False)
        assert check.value == pytest.approx(off, abs=0.01) and check.value > check.limit
        assert ("above" if drop < 10 else "below") in check.text


def test_an_overflow_may_stand_over_the_roof():
    assert not found(drained(with_overflow()).checks, "outlet-off-roof")


@pytest.mark.parametrize("diameter, rain, status", [(2, 10, "ok"), (2, 12, "caution"), (3, 12, "ok")])
def test_a_drain_is_measured_against_a_leader_of_its_diameter(diameter, rain, status):
    # 200 sq ft: 20.8 gpm at 10 in/h, 25.0 at 12; a vertical leader of 2 in carries 23, of 3 in 67.
    drain_ = {"kind": "drain", "purpose": "primary", "point": "s", "diameter": diameter, "invert_drop": 10}
    leader = one(drained(survey([drain_], places=ONE), Rain(primary=rain)).checks, "leader-capacity")
    assert (leader.status, leader.unit, leader.decided_by) == (status, "gpm", "plumbing official")
    assert leader.value == pytest.approx(0.0104 * 200 * rain, rel=1e-3)
    assert not found(drained(survey([scupper()], places=ONE)).checks, "leader-capacity")


def test_a_drowned_scupper_needs_the_head_of_an_orifice_and_one_that_is_not_the_head_of_a_weir():
    # 41.6 gpm through 6 in: as a weir (41.6 / 17.4)^(2/3) = 1.79 in; 1 in high, 1/2 + (41.6 / 25.8)^2 = 3.10 in.
    rain = Rain(primary=20)
    tall, = drained(survey([scupper(height=4)], places=ONE), rain).primary
    low, = drained(survey([scupper(height=1)], places=ONE), rain).primary
    assert tall.head == pytest.approx((41.6 / 17.4) ** (2 / 3), rel=1e-3)
    assert low.head == pytest.approx(0.5 + (41.6 / 25.8) ** 2, rel=1e-3)
    assert one(drained(survey([scupper(height=1)], places=ONE), rain).checks, "outlet-capacity").status == "caution"
    assert one(drained(survey([scupper(height=4)], places=ONE), rain).checks, "outlet-capacity").status == "ok"


def test_a_drowned_drain_needs_the_head_of_an_orifice_and_a_wide_one_the_head_of_a_weir():
    # 41.6 gpm: 2 in, (41.6 / (4.33 pi))^2 = 9.35 in as an orifice; 6 in, (41.6 / (2.9 pi 6))^(2/3) = 0.83 in as a weir.
    def head(diameter):
        drain_ = {"kind": "drain", "purpose": "primary", "point": "s", "diameter": diameter, "invert_drop": 10}
        return drained(survey([drain_], places=ONE), Rain(primary=20)).primary[0].head

    assert head(2) == pytest.approx((41.6 / (4.33 * math.pi)) ** 2, rel=1e-3)
    assert head(6) == pytest.approx((41.6 / (2.9 * math.pi * 6)) ** (2 / 3), rel=1e-3)


def test_a_roof_too_flat_or_under_water_is_an_engineers_to_judge_for_stiffness():
    flat = one(drained(survey([scupper()], drop=lambda x, y: 10 - y / 60, places=ONE)).checks, "ponding-stability")
    assert (flat.status, flat.decided_by, flat.value) == ("note", "engineer", pytest.approx(0.2, abs=1e-6))
    steep = {"drop": lambda x, y: 10 - y / 40, "places": ONE}
    assert not found(drained(survey([scupper()], **steep)).checks, "ponding-stability")
    assert one(drained(survey([scupper(invert_drop=9.5)], **steep)).checks, "ponding-stability")
