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
        "threshold": ["t1", "t2"], "outlets": outlets,
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
    assert "about 0.9 ft up the slope" in check.text and "10 support(s)" in check.text  # the row at y = 4
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
