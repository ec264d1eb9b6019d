"""Tests of the cut sheets: the order of sawing, what each piece is, and what the crew is told."""

import re

from framing.papers import cut_sheets_html, sawing_order

BUILD = {
    "joists": {"species": "southern pine", "grade": "No.2", "moisture": "kdat"},
    "saw": {"kerf": "1/8", "trim": "1/4"},
}


def stick(size, length, *cuts, item="lumber"):
    return {"item": f"{item}/{size}", "size": size, "length": length, "cuts": list(cuts), "offcut": 0.0}


def cut(member, length, piece=1, nested_with=None):
    return {"member": member, "piece": piece, "length": length, "nested_with": nested_with}


def member(**more):
    return {"id": "J1", "role": "joist", "start": [0, 10], "end": [240, 10], "size": "2x8", "thickness": 1.5,
            "profile": [[0, 5.6875], [120, 3.125], [240, 5.9375]], "splices": [120],
            "stations": [[0, "5 11/16"], [2, "5 5/8"], [120, "3 1/8"], [240, "5 15/16"]], **more}


SUPPORT = {"member": "J1", "s": 2, "at": [2, 10], "roof_z": -10, "pad": 0.375, "shim": 0.1875, "pad_size": [6, 6]}
FRAMING = {
    "members": [member()],
    "supports": [SUPPORT],
    "boards": [{"id": "B1", "kind": "field", "polygon": [], "length": 140, "rip": [5.5, 3.25]}],
    "stock_plan": [
        stick("5/4x6", 168.0, {"board": "B1", "piece": 1, "length": 140.0, "nested_with": None}, item="decking"),
        stick("2x10", 144.0, cut("J9", 100.0)),
        stick("2x8", 144.0, cut("J1", 120.0, piece=2), cut("J8", 20.0)),
        stick("2x8", 144.0, cut("J1", 120.0, piece=1)),
        stick("2x8", 192.0, cut("J7", 50.0)),
    ],
    "checks": [],
}


def words(framing=FRAMING, build=BUILD, survey=None):
    page = cut_sheets_html(framing, survey or {"name": "terrace"}, build, paper="Cut sheets", mark="0" * 64)
    body = re.sub(r"<style>.*?</style>", "", page, flags=re.S)
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", body))


def test_sticks_are_sawn_size_by_size_the_longest_first_and_numbered_through():
    rips, boards = sawing_order(FRAMING["stock_plan"])
    assert [(number, s["size"], s["length"]) for number, s in rips] == [
        (1, "2x8", 192.0), (2, "2x8", 144.0), (3, "2x8", 144.0), (4, "2x10", 144.0)]
    assert [(number, s["size"]) for number, s in boards] == [(5, "5/4x6")]


def test_each_piece_gives_the_depths_at_its_own_ends_end_a_first():
    said = words()
    assert "J1/1 120 (5 11/16 → 3 1/8)" in said
    assert "J1/2 120 (3 1/8 → 5 15/16)" in said


def test_a_member_tells_its_sticks_splices_stations_and_pads():
    said = words()
    assert "J1 2x8, 240 in long, splice at 120" in said
    assert "piece 1: 120 from stick 3 (2x8, 12'-0\")" in said.replace("&#x27;", "'").replace("&quot;", '"')
    assert "from end A 0 2 120 240 depth 5 11/16 5 5/8 3 1/8 5 15/16" in said
    assert "6×6 + 3/16" in said


def straight(name, depth, *, run=100.0):
    return member(id=name, profile=[[0, depth], [run, 3.0]], splices=[], stations=[[0, "?"], [run, "3"]], end=[run, 10])


def test_a_nested_taper_names_the_piece_beside_it_and_both_are_drawn_as_they_lie():
    """Both fall from end A, so that they lie end for end: 6 + 3 of the 9 1/4 in that a 2x10 is wide."""
    plan = [stick("2x10", 144.0, cut("J1", 90.0, nested_with="J2/1"), cut("J2", 100.0, nested_with="J1/1"))]
    framing = {**FRAMING, "members": [straight("J1", 6.0, run=90.0), straight("J2", 6.0)], "stock_plan": plan}
    said = words(framing)
    assert "beside J2/1" in said and "beside J1/1" in said
    assert said.count("Stick 1 2x10") == 1, "a pair is drawn once, the longer one from the upper edge"
    assert "J2/1, 100 in long, from the upper edge · J1/1, 90 in, from the lower edge" in said
    assert "the other way round; between them at least 1/4 in for kerf and waste" in said
    assert "the kerf of 1/8 in and 1/8 in at least" in said


def test_tapers_that_fall_opposite_ways_lie_the_same_way_round():
    plan = [stick("2x10", 144.0, cut("J1", 100.0, nested_with="J2/1"), cut("J2", 100.0, nested_with="J1/1"))]
    rising = member(id="J2", profile=[[0, 3.0], [100, 6.0]], splices=[], stations=[[0, "3"], [100, "6"]])
    said = words({**FRAMING, "members": [straight("J1", 6.0), rising], "stock_plan": plan})
    assert "the same way round; between them at least 1/4 in" in said


def test_a_sheet_without_nested_tapers_says_nothing_of_them():
    assert "Side by side" not in words()


def test_border_members_and_boards_are_told_apart():
    border = member(id="N1", role="border", size="2x4", profile=[[0, 3.5], [14.5, 3.25]], splices=[],
                    stations=[[0, "3 1/2"], [14.5, "3 1/4"]], end=[14.5, 10])
    boards = [{"id": "C1", "kind": "border", "polygon": [], "length": 140, "rip": None}]
    plan = [stick("2x4", 96.0, cut("N1", 14.5)), stick("5/4x6", 168.0, {"board": "C1", "piece": 1, "length": 140.0},
                                                       item="decking")]
    said = words({**FRAMING, "members": [border], "boards": boards, "stock_plan": plan})
    assert "Border members" in said and "N1 2x4 14 1/2 3 1/2 3 1/4 1" in said
    assert "C1 140 (border)" in said


def test_the_crew_reads_what_goes_up_in_which_lift_and_what_is_delivered():
    lifts = {"by": "hoist", "most": 200.0, "weight": 1250.4, "count": 1, "basis": "rope hoist",
             "bundles": [{"order": "frame", "items": {"lumber/2x8/144": 6}, "weight": 198.7, "length": 144.0}],
             "deliveries": [{"order": "frame", "weight": 1250.4, "longest": 144.0, "loads": 2}]}
    quantities = [{"item": "lumber/2x8/144", "description": "2x8 12 ft"}]
    said = words({**FRAMING, "lifts": lifts, "quantities": quantities}).replace("&#x27;", "'").replace("&quot;", '"')
    assert "by hoist, 200 lb at once; together 1,250 lb" in said
    assert "1 frame 6 × 2x8 12 ft 12'-0\" 199" in said
    assert "frame 1,250 12'-0\" 2" in said
    assert "Bringing it up" not in words()


def test_a_ripped_board_gives_both_its_widths():
    assert "B1 140 (ripped 5 1/2 → 3 1/4)" in words()


def test_the_crew_is_told_what_sawing_does_to_the_wood():
    said = words()
    for warning in ("Mark end A", "Crown up", "bottom edge is sawn", "Field-treat", "ends the stamped grade",
                    "Saw dry stock only", "Kerf 1/8 in, trim 1/4 in"):
        assert warning in said, warning
    wet = {**BUILD, "joists": {**BUILD["joists"], "moisture": "wet"}}
    assert "depths shrink as it dries" in words(build=wet)


def test_cautions_of_the_framing_reach_the_crew_with_who_decides():
    check = {"code": "misclosure", "status": "caution", "text": "B-D reads 0.21 in more", "decided_by": "contractor",
             "source": "computed"}
    assert "B-D reads 0.21 in more Decides: contractor. Source: computed." in words({**FRAMING, "checks": [check]})


def test_names_from_a_survey_are_text_and_never_markup():
    page = cut_sheets_html(FRAMING, {"name": "<script>x</script>"}, BUILD, paper="p", mark="m")
    assert "<script>" not in page


def test_a_long_row_of_stations_goes_on_in_a_second_row():
    many = member(stations=[[s, "3"] for s in range(20)])
    said = words({**FRAMING, "members": [many]})
    assert "from end A 0 1" in said and "on from A 14 15" in said


def test_an_answer_that_holds_little_still_makes_a_sheet():
    assert "How to read and saw these" in words({"checks": []})


def test_a_rip_that_runs_out_is_told_as_a_point():
    said = words({**FRAMING, "boards": [{**FRAMING["boards"][0], "rip": [0.0001, 4.855]}]})
    assert "ripped a point → 4 7/8" in said and "ripped 0" not in said


def test_a_border_board_says_the_angle_of_each_end_cut_by_the_corner_it_lies_at():
    """45 degrees at A, where the deck is square; 40 at B, where 5 1/2 in across go with 5.5 tan 40 = 4.615 in along."""
    shape = [[0, 0], [140, 0], [140 - 4.615, 5.5], [5.5, 5.5]]
    points = {"A": {"x": -1, "y": -1}, "B": {"x": 141, "y": -1}, "C": {"x": 141, "y": 150}}
    told = {"boards": [{"id": "B1", "kind": "border", "polygon": shape, "length": 140, "rip": None}],
            "survey_adjustment": {"points": points}}
    ends = re.search(r"border, ends (.*?) off square", words({**FRAMING, **told}))[1]
    assert sorted(ends.split(" and ")) == ["40.0° by B", "45.0° by A"]
    away = {**told, "survey_adjustment": {"points": {}}}
    assert "45.0°" in words({**FRAMING, **away}) and " by A" not in words({**FRAMING, **away})
