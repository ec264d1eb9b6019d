"""The adjustment: corners from tapes, suspects, misclosure, and what a survey lacks."""

import itertools
import json
import time

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from framing.engine import network
from framing.engine.adjustment import adjust, critical_value
from framing.engine.documents import DocumentRefused, parse_survey
from tests.framing.run_networks import grid, mesh, plant

SIDES = [["A", "B", "258 1/2"], ["B", "C", "155 7/8"], ["C", "D", "270 5/8"], ["D", "A", "170 5/8"]]
TERRACE = [*SIDES, ["A", "C", "306 1/2"], ["B", "D", "315 1/8"]]
THRESHOLD = {"T1": [96, 0], "T2": [132, 0], "T3": [168, 0]}
SPOTS = {f"R{k}": [x, y] for k, (x, y) in enumerate(itertools.product((4, 66, 128, 196, 254), (8, 80, 148)), 1)}


def survey(tapes, *, corners="ABCD", positions=None, levels=None, **fields):
    positions = {**THRESHOLD, **SPOTS} if positions is None else positions
    on = {"T": "threshold", "R": "roof"}
    if levels is None:
        levels = [{"point": name, "drop": 9, "on": on[name[0]]} for name in positions if name[0] in on]
    return parse_survey({
        "format": "roof-survey/1", "name": "terrace", "datum": {"what": "nail", "where": "door jamb"},
        "corners": list(corners), "positions": positions, "tapes": tapes, "levels": levels,
        "threshold": ["T1", "T2", "T3"] if "T1" in positions else [corners[0]], **fields,
    })  # fmt: skip


def found(adjustment, code):
    return [check for check in adjustment.checks if check.code == code]


def distances(xy, pairs):
    return [float(np.hypot(*(np.subtract(xy[a], xy[b])))) for a, b in pairs]


# --- the worked terrace: values of the worked example of the estimating reference, by hand --------------------------

def test_worked_terrace_has_the_corners_angles_and_area_worked_by_hand():
    done = adjust(survey(TERRACE))
    for name, place in {"A": (0, 0), "B": (258.54, 0), "C": (263.88, 155.81), "D": (-6.39, 170.53)}.items():
        assert (done.points[name].x, done.points[name].y) == pytest.approx(place, abs=0.05)
    assert done.angles == pytest.approx({"A": 92.2, "B": 92.0, "C": 91.2, "D": 84.7}, abs=0.1)
    assert done.area_sqft == pytest.approx(299.6, abs=0.1)


def test_misclosure_over_the_tolerance_is_a_caution_that_names_its_tapes_and_one_more_to_take_but_no_suspect():
    done = adjust(survey(TERRACE))
    assert done.misclosure == pytest.approx(0.21, abs=0.01)
    assert done.suspects == ()
    assert max(abs(tape.standardised) for tape in done.tapes) == pytest.approx(0.84, abs=0.01)
    [caution] = found(done, "misclosure")
    assert (caution.status, caution.limit) == ("caution", 0.1875)
    for name in ("A-B", "B-C", "C-D", "D-A", "A-C", "B-D"):
        assert name in caution.where
    assert caution.text.count("One tape more would settle most: ") == 1


def test_extra_tape_runs_to_the_threshold_where_that_parts_the_doubtful_tapes_best():
    [with_door] = found(adjust(survey(TERRACE)), "misclosure")
    assert "D-T" in with_door.text or "C-T" in with_door.text
    [without] = found(adjust(survey(TERRACE, positions={}, levels=[])), "misclosure")
    assert " again" in without.text  # every pair is taped already: only a repeat is left
    assert "could not say in which" in without.text


def test_half_the_tape_error_doubles_the_standardised_residual():
    done = adjust(survey(TERRACE, tape_sigma=0.0625))
    assert max(abs(tape.standardised) for tape in done.tapes) == pytest.approx(1.67, abs=0.01)
    assert done.suspects == ()


def test_one_redundancy_names_all_six_tapes_and_leaves_none_out():
    done = adjust(survey([*TERRACE[:5], ["B", "D", "316 1/8"]]))
    assert set(done.suspects) == {("A", "B"), ("B", "C"), ("C", "D"), ("D", "A"), ("A", "C"), ("B", "D")}
    assert all(tape.suspect for tape in done.tapes)
    assert max(abs(tape.residual) for tape in done.tapes) < 0.5  # a slip of 1.2 in shared by all six
    assert done.misclosure == pytest.approx(1.21, abs=0.01)


def test_tight_survey_within_its_tolerance_is_ok():
    done = adjust(survey([*TERRACE[:5], ["B", "D", "314 15/16"]]))
    [closing] = found(done, "misclosure")
    assert closing.status == "ok"
    assert "settle" not in closing.text


def test_corners_named_the_other_way_round_give_the_same_roof():
    there, back = adjust(survey(TERRACE, positions={}, levels=[])), adjust(
        survey(TERRACE, corners="ADCB", positions={}, levels=[])
    )
    assert back.area_sqft == pytest.approx(there.area_sqft, abs=1e-6)
    assert back.angles == pytest.approx(there.angles, abs=1e-6)
    assert min(back.points[name].y for name in "BC") > 0  # with nothing to go by the roof lies at y > 0


def test_mirror_image_that_holds_the_roof_readings_is_taken():
    below = {name: [x, -y] for name, (x, y) in {**THRESHOLD, **SPOTS}.items()}
    done = adjust(survey(TERRACE, positions=below))
    assert done.points["C"].y == pytest.approx(-155.81, abs=0.05)
    assert done.angles["A"] == pytest.approx(92.2, abs=0.1)


def test_answer_is_plain_json_with_the_fields_of_the_format():
    answer = json.loads(json.dumps(adjust(survey(TERRACE)).as_json(), allow_nan=False))
    fields = {"points", "tapes", "misclosure", "suspects", "angles", "area_sqft", "datum_drift"}
    assert fields <= set(answer)
    assert {"from", "to", "measured", "adjusted", "residual", "suspect"} <= set(answer["tapes"][0])
    ellipse = answer["points"]["C"]["ellipse"]
    assert ellipse["a"] == answer["points"]["C"]["se"] > ellipse["b"] > 0
    assert 0 <= ellipse["direction"] < 180
    assert answer["points"]["A"]["ellipse"] == {"a": 0, "b": 0, "direction": 0}
    for tape in answer["tapes"]:
        assert tape["residual"] == pytest.approx(tape["measured"] - tape["adjusted"], abs=1e-9)


# --- frames --------------------------------------------------------------------------------------------------------

def test_corners_that_all_have_positions_need_no_tape():
    corners = {"A": [0, 0], "B": [100, 0], "C": [100, 100], "D": [0, 100]}
    done = adjust(survey([], positions=corners, levels=[]))
    assert done.area_sqft == pytest.approx(10_000 / 144)
    assert done.area_se == 0
    assert done.misclosure is None
    assert found(done, "no-redundancy")[0].status == "caution"


def test_given_positions_fix_the_frame_and_tapes_place_the_rest():
    xy = {"A": (50, 20), "B": (50, 220), "C": (-110, 230), "D": (-100, 10)}
    pairs = ["BC", "CD", "DA", "AC", "BD"]
    tapes = [[a, b, d] for (a, b), d in zip(pairs, distances(xy, pairs), strict=True)]
    done = adjust(survey(tapes, positions={"A": [50, 20], "B": [50, 220], "M": [-50, 100]},
                         levels=[{"point": "M", "drop": 5, "on": "roof"}]))  # fmt: skip
    for name, place in xy.items():
        assert (done.points[name].x, done.points[name].y) == pytest.approx(place, abs=1e-6)
    assert done.points["A"].se == 0 < done.points["C"].se


def test_positions_with_a_standard_error_are_readings_and_a_wild_one_is_named_by_its_point():
    xy = {"A": (0, 0), "B": (200, 0), "C": (210, 150), "D": (-5, 160)}
    pairs = list(itertools.combinations("ABCD", 2))
    tapes = [[a, b, d] for (a, b), d in zip(pairs, distances(xy, pairs), strict=True)]
    places = {name: list(place) for name, place in xy.items()}
    sound = adjust(survey(tapes, positions=places, levels=[], position_sigma=0.25))
    assert 0 < sound.points["A"].se < 0.25
    assert sound.suspects == ()
    places["C"] = [214, 150]
    wild = adjust(survey(tapes, positions=places, levels=[], position_sigma=0.25))
    assert wild.suspects == (("C",),)
    assert (wild.points["C"].x, wild.points["C"].y) == pytest.approx((210, 150), abs=0.3)


def test_tie_points_are_solved_and_first_side_need_not_be_taped():
    xy = {"A": (0, 0), "B": (200, 0), "C": (210, 150), "D": (-5, 160), "P": (90, 70)}
    pairs = ["AP", "BP", "CP", "DP", "BC", "CD", "DA", "AC"]
    done = adjust(survey([[a, b, d] for (a, b), d in zip(pairs, distances(xy, pairs), strict=True)],
                         positions={}, levels=[]))  # fmt: skip
    for name, place in xy.items():
        assert (done.points[name].x, done.points[name].y) == pytest.approx(place, abs=1e-5)


def test_figure_without_any_triangle_is_still_solved():
    # six points, nine tapes, each of one trio to each of the other: no tape closes a triangle, yet the figure is
    # rigid, since the points lie on no conic (E. D. Bolker and B. Roth, Pacific Journal of Mathematics 90, 1980)
    xy = {"A": (0, 0), "B": (210, 5), "C": (300, 230), "D": (150, 130), "E": (40, 250), "F": (-150, 110)}
    turned = {name: (x * np.cos(t) - y * np.sin(t), x * np.sin(t) + y * np.cos(t))
              for t in [-np.arctan2(5, 210)] for name, (x, y) in xy.items()}  # fmt: skip
    pairs = [(a, b) for a in "ACE" for b in "BDF"]
    tapes = [[a, b, d] for (a, b), d in zip(pairs, distances(xy, pairs), strict=True)]
    done = adjust(survey(tapes, corners="ABCDEF", positions={"R1": [100, 120]},
                         levels=[{"point": "R1", "drop": 3, "on": "roof"}]))  # fmt: skip
    assert [tape.residual for tape in done.tapes] == pytest.approx([0.0] * 9, abs=1e-5)
    assert not found(done, "corner-not-fixed") and not found(done, "point-in-line")
    if not found(done, "shape-not-settled"):
        for name, place in turned.items():
            assert (done.points[name].x, done.points[name].y) == pytest.approx(place, abs=1e-4)


# --- what a survey lacks --------------------------------------------------------------------------------------------

def test_four_sides_alone_leave_two_corners_loose_and_the_stop_names_a_diagonal():
    done = adjust(survey(SIDES))
    [stop] = found(done, "corner-not-fixed")
    assert stop.status == "stop"
    assert stop.where == "C and D"
    assert "tape A-C" in stop.text or "tape B-D" in stop.text
    assert {"A", "B", "T1"} <= set(done.points) and not {"C", "D"} & set(done.points)
    assert done.area_sqft is None and done.angles == {}


def test_one_position_alone_fixes_no_direction():
    done = adjust(survey(TERRACE, positions={"A": [0, 0]}, levels=[]))
    [stop] = found(done, "corner-not-fixed")
    assert stop.where == "B, C and D"
    assert "give the position of" in stop.text


def test_survey_without_tapes_or_positions_says_what_to_tape():
    done = adjust(survey([], positions={}, levels=[]))
    [stop] = found(done, "corner-not-fixed")
    assert all(name in stop.text for name in ("A-B", "B-C", "C-D", "A-D"))
    assert stop.limit == 5  # four corners have five degrees of freedom once the frame is the first side's


def test_five_tapes_of_a_quadrilateral_are_unchecked_and_the_sixth_is_asked_for():
    [caution] = found(adjust(survey(TERRACE[:5])), "no-redundancy")
    assert caution.status == "caution"
    assert "B-D" in caution.text


def test_point_in_line_with_its_tapes_is_not_called_fixed():
    tapes = [*TERRACE, ["A", "K", 100], ["K", "B", 158.55]]
    done = adjust(survey(tapes, levels=[{"point": "K", "drop": 9, "on": "roof"}]))
    [stop] = found(done, "point-in-line")
    assert (stop.status, stop.where) == ("stop", "K")
    assert "C or D" in stop.text
    assert "K" not in done.points and done.area_sqft is not None


def test_tapes_that_fit_two_shapes_are_a_caution_that_names_the_deciding_tape():
    # D may stand on either side of A-C: far out, or inside the triangle A, B, C
    xy = {"A": (0, 0), "B": (240, 0), "C": (240, 200), "D": (60, 160)}
    pairs = ["AB", "BC", "CD", "DA", "AC"]
    tapes = [[a, b, d] for (a, b), d in zip(pairs, distances(xy, pairs), strict=True)]
    done = adjust(survey(tapes, positions={}, levels=[]))
    assert (done.points["D"].x, done.points["D"].y) == pytest.approx((60, 160), abs=1e-6)
    [caution] = found(done, "shape-not-settled")
    assert caution.where == "B-D"


def test_slip_that_would_pass_unseen_is_a_note_with_its_size():
    [note] = found(adjust(survey(TERRACE)), "undetected-slip")
    assert note.status == "note"
    # redundancy of D-A is 0.063 (sixth-distance derivative by hand): (3.5 + 2.05) / 8 / sqrt(0.063)
    assert note.value == pytest.approx(2.7, abs=0.1)


# --- odd networks: what is not fixed is named -----------------------------------------------------------------------

ODD = {"A": (0, 0), "B": (200, 0), "C": (210, 150), "D": (-5, 160), "E": (60, 220), "P": (90, 70), "L": (50, 40)}


def tapes_of(pairs, xy=ODD):
    pairs = [pair.split("-") for pair in pairs.split()]
    return [[a, b, d] for (a, b), d in zip(pairs, distances(xy, pairs), strict=True)]


ROUND = "A-B B-C C-D D-A A-C B-D"


@pytest.mark.parametrize(
    ("pairs", "corners", "code", "names", "lacking"),
    [
        ("A-B B-L A-L C-D D-E C-E", "ABCDE", "corner-not-fixed", "C, D and E", 3),
        ("A-B B-C C-D", "ABCD", "corner-not-fixed", "C and D", 2),
        ("A-B B-C A-C C-D", "ABCD", "corner-not-fixed", "D", 1),
        ("A-B A-B B-C B-C", "ABCD", "corner-not-fixed", "C and D", 3),
    ],
    ids=["two islands", "a chain", "a corner with one tape", "tapes read twice"],
)
def test_what_hangs_loose_is_named_with_the_number_of_readings_it_lacks(pairs, corners, code, names, lacking):
    done = adjust(survey(tapes_of(pairs), corners=corners, positions={}, levels=[]))
    [stop] = found(done, code)
    assert (stop.status, stop.where, stop.limit) == ("stop", names, lacking)
    assert not set(names.replace(" and ", ", ").split(", ")) & set(done.points)


def test_tapes_that_the_stop_asks_for_fix_everything():
    done = adjust(survey(tapes_of("A-B B-L A-L C-D D-E C-E"), corners="ABCDE", positions={}, levels=[]))
    [stop] = found(done, "corner-not-fixed")
    asked = [name for name in stop.text.replace(",", "").replace(".", "").split() if "-" in name]
    assert len(asked) == 3
    again = adjust(survey(tapes_of("A-B B-L A-L C-D D-E C-E " + " ".join(asked)), corners="ABCDE", positions={},
                          levels=[]))  # fmt: skip
    assert not found(again, "corner-not-fixed")
    assert set(again.points) == set("ABCDEL")


def test_corners_all_in_one_line_are_held_along_it_only():
    line = {"A": (0, 0), "B": (100, 0), "C": (200, 0), "D": (300, 0)}
    done = adjust(survey(tapes_of(ROUND, line), positions={}, levels=[]))
    assert {stop.where for stop in found(done, "point-in-line")} == {"C", "D"}


def test_tie_that_two_tapes_leave_on_either_side_is_named_unless_it_was_read_on_the_roof():
    tied = tapes_of(ROUND + " P-A P-C")
    [caution] = found(adjust(survey(tied, positions={}, levels=[])), "shape-not-settled")
    assert "P" in caution.where.split("-")
    across = tapes_of(ROUND + " P-A P-B")
    read = [{"point": "P", "drop": 3, "on": "roof"}]
    done = adjust(survey(across, positions={}, levels=read))
    assert not found(done, "shape-not-settled")
    assert (done.points["P"].x, done.points["P"].y) == pytest.approx(ODD["P"], abs=1e-5)


def test_one_position_with_an_error_still_fixes_no_direction():
    done = adjust(survey(tapes_of(ROUND), positions={"A": [0, 0]}, levels=[], position_sigma=0.25))
    [stop] = found(done, "corner-not-fixed")
    assert (stop.where, stop.limit) == ("B, C and D", 1)


# --- the fewest further tapes ---------------------------------------------------------------------------------------

def with_further(tapes, asked):
    done = adjust(survey(tapes))
    places = {name: (point.x, point.y) for name, point in done.points.items()}
    return [*tapes_of(" ".join("-".join(tape[:2]) for tape in tapes), places), *tapes_of(" ".join(asked), places)]


def test_fewest_further_tapes_let_a_slip_in_any_of_the_six_be_named_alone():
    [caution] = found(adjust(survey(TERRACE)), "misclosure")
    assert "Three more tapes would settle it: " in caution.text
    asked = caution.text.split("would settle it: ")[1].split(";")[0].replace(" and ", ", ").split(", ")
    exact = with_further(TERRACE, asked)
    for k in range(6):
        read = [[a, b, d + (2.5 if row == k else 0.0)] for row, (a, b, d) in enumerate(exact)]
        assert adjust(survey(read)).suspects == ((exact[k][0], exact[k][1]),)


def test_no_pair_of_tapes_would_have_done():
    names = ["C", "D", "A", "B", "T1", "T2", "T3"]
    pairs = ["-".join(pair) for pair in itertools.combinations(names, 2) if set(pair) & {"C", "D"}]
    rng = np.random.default_rng(2)
    for asked in rng.permutation(list(itertools.combinations(pairs, 2)))[:25]:
        exact = with_further(TERRACE, asked)
        named = []
        for k in range(6):
            read = [[a, b, d + (2.5 if row == k else 0.0)] for row, (a, b, d) in enumerate(exact)]
            named.append(adjust(survey(read)).suspects == ((exact[k][0], exact[k][1]),))
        assert not all(named)


def test_where_every_pair_is_taped_no_set_of_three_settles_it_and_the_best_one_is_said():
    [caution] = found(adjust(survey(TERRACE, positions={}, levels=[])), "misclosure")
    assert "more tapes would settle it" not in caution.text


# --- refusals -------------------------------------------------------------------------------------------------------

def test_outline_that_crosses_itself_is_refused_with_an_order_that_does_not():
    with pytest.raises(DocumentRefused) as refused:
        adjust(survey(TERRACE, corners="ACBD", positions={}, levels=[]))
    [fault] = refused.value.faults
    assert fault.pointer == "/corners"
    assert fault.read == "A, C, B, D"
    assert "A, B, C, D" in fault.expected or "A, D, C, B" in fault.expected


def test_tapes_that_cannot_close_are_refused_by_name_with_what_the_others_give():
    with pytest.raises(DocumentRefused) as refused:
        adjust(survey([*TERRACE[:5], ["B", "D", 380]]))
    faults = {fault.pointer: fault for fault in refused.value.faults}
    assert "/tapes/5/2" in faults
    assert "B-D" in faults["/tapes/5/2"].detail


def test_tapes_too_short_to_meet_are_refused():
    with pytest.raises(DocumentRefused) as refused:
        adjust(survey([["A", "C", 150], ["T3", "C", 10], ["C", "D", 100], ["A", "D", 170], ["A", "B", 258]]))
    assert {"/tapes/0/2"} <= {fault.pointer for fault in refused.value.faults} | {"/tapes/1/2"}


# --- random networks ------------------------------------------------------------------------------------------------

def random_network(seed, *, corners, ties):
    """Corners round a roughly regular outline, ties inside, every pair taped; the frame of documents: A, then B."""
    rng = np.random.default_rng(seed)
    names = "ABCDEFGH"[:corners]
    turn = np.arange(corners) * 2 * np.pi / corners + rng.uniform(-0.25, 0.25, corners)
    reach = rng.uniform(120, 220, corners)
    xy = np.column_stack([reach * np.cos(turn), reach * np.sin(turn)])
    xy = np.vstack([xy, rng.uniform(-60, 60, (ties, 2))])
    along = xy[1] - xy[0]
    along /= np.hypot(*along)
    xy = (xy - xy[0]) @ np.array([[along[0], -along[1]], [along[1], along[0]]])
    places = {**{name: xy[k] for k, name in enumerate(names)}, **{f"P{k}": xy[corners + k] for k in range(ties)}}
    return names, places, list(itertools.combinations(places, 2)), rng


@given(st.integers(0, 10**6), st.integers(3, 6), st.integers(0, 2), st.booleans())
@settings(max_examples=40, deadline=None)
def test_random_networks_are_recovered_within_their_standard_errors(seed, corners, ties, clockwise):
    names, xy, pairs, rng = random_network(seed, corners=corners, ties=ties)
    if clockwise:
        xy = {name: (x, -y) for name, (x, y) in xy.items()}
    exact = distances(xy, pairs)
    read = np.add(exact, rng.normal(0, 0.125, len(pairs)))
    order = rng.permutation(len(pairs))
    inside = shapely.Polygon([xy[name] for name in names]).representative_point()
    done = adjust(survey([[*pairs[k], float(read[k])] for k in order], corners=names,
                         positions={"R1": [inside.x, inside.y]},
                         levels=[{"point": "R1", "drop": 2, "on": "roof"}]))  # fmt: skip
    for name, place in xy.items():
        off = np.hypot(done.points[name].x - place[0], done.points[name].y - place[1])
        assert off <= max(5.5 * done.points[name].se, 1e-9)
    assert sum(done.angles.values()) == pytest.approx(180 * (corners - 2), abs=1e-6)
    assert done.area_sqft == pytest.approx(shapely.Polygon([xy[n] for n in names]).area / 144,
                                           abs=6 * done.area_se)  # fmt: skip


def test_planted_slip_of_an_inch_is_named_first_where_others_check_it_well():
    named = 0
    for seed in range(25):
        names, xy, pairs, rng = random_network(seed, corners=6, ties=0)
        read = np.add(distances(xy, pairs), rng.normal(0, 0.0625, len(pairs)))
        slipped = int(rng.integers(len(pairs)))
        read[slipped] += rng.choice([-1.0, 1.0])
        tapes = [[*pair, float(d)] for pair, d in zip(pairs, read, strict=True)]
        done = adjust(survey(tapes, corners=names, positions={}, levels=[], tape_sigma=0.0625))
        named += done.suspects[:1] == (pairs[slipped],)
        if done.tapes[slipped].suspect:  # left out, so its residual is the whole slip
            assert abs(done.tapes[slipped].residual) == pytest.approx(1, abs=0.4)
    assert named >= 23  # the odd one stands where the others hardly check it


def test_sound_networks_rarely_see_a_reading_named():
    wrong = 0
    for seed in range(200):
        names, xy, pairs, rng = random_network(seed + 5000, corners=4, ties=1)
        read = np.add(distances(xy, pairs), rng.normal(0, 0.125, len(pairs)))
        done = adjust(survey([[*pair, float(d)] for pair, d in zip(pairs, read, strict=True)],
                             corners=names, positions={}, levels=[]))  # fmt: skip
        wrong += bool(done.suspects)
    assert wrong <= 7  # 2 expected at 1 % each; more than 7 has a chance of 1 in 1,000


def test_critical_value_of_one_reading_is_the_two_sided_one_percent_point():
    assert critical_value(1) == pytest.approx(2.5758, abs=1e-4)  # normal table
    assert critical_value(26) == pytest.approx(3.55, abs=0.01)  # 1 % / 26 two-sided, normal table


def test_slips_of_an_inch_in_random_terraces_are_named_first_and_sound_ones_seldom_suspected():
    tally = plant(range(1000, 1012), sound=10)
    assert tally.checked > 100
    assert tally.found >= 0.98
    assert tally.hidden_noted == tally.hidden  # what a test cannot find is said with its size
    assert tally.sound_named <= 5  # 1.2 expected of 120 at 1 % each; more than 5 has a chance of 1 in 1,000


# --- large networks -------------------------------------------------------------------------------------------------

@pytest.mark.parametrize("kind", [mesh, grid])
@pytest.mark.parametrize("slips", [0, 4])
def test_two_thousand_tapes_and_five_thousand_levels_take_less_than_two_seconds(kind, slips):
    t, rng = kind(3), np.random.default_rng(5)
    lengths, slipped = t.read(rng), rng.permutation(len(t.pairs))[:slips]
    lengths[slipped] += 6.0
    read = parse_survey(t.document(lengths, levels=5_000))
    assert len(read.tapes) > 1_950 and len(read.levels) == 5_000
    done = adjust(read)
    assert min(_timed(read) for _ in range(2)) < 2.0
    assert {tuple(t.names[k] for k in t.pairs[row]) for row in slipped} <= set(done.suspects)
    assert len(done.suspects) <= 4 * slips + 1
    off = np.array([[done.points[name].x, done.points[name].y] for name in t.names]) - t.xy
    assert (np.hypot(*off.T) <= 5.5 * np.array([done.points[name].se for name in t.names]) + 1e-9).all()


@pytest.mark.parametrize("seed", range(6))
def test_sparse_covariances_are_those_of_the_dense_inverse(seed):
    # a grid whose tapes run along the axes, so that many entries of the normal equations are exactly nought
    rng = np.random.default_rng(seed)
    across = 3 + seed
    xy = 60.0 * np.array(list(itertools.product(range(across), range(across))))
    near = [(i, j) for i, j in itertools.combinations(range(len(xy)), 2) if np.hypot(*(xy[i] - xy[j])) < 90]
    ends = np.array([pair for pair in near if rng.random() < 0.97])
    net = network.Network(
        names=tuple(map(str, range(len(xy)))), known=np.full(xy.shape, np.nan), free=np.ones(xy.shape, dtype=bool),
        ends=ends, place=np.arange(len(ends)), length=np.hypot(*(xy[ends[:, 0]] - xy[ends[:, 1]]).T), sigma=0.125,
        observed=np.array([0, 5, 7]), position_sigma=0.25, axis=None,
    )  # fmt: skip
    normal = network.normal(net, xy)
    a = np.zeros((net.rows, xy.size + 1))
    np.add.at(a, (np.arange(net.rows)[:, None], net.columns), normal.slope)
    a = a[:, :-1]
    covariance = np.linalg.inv(a.T @ a)
    assert normal.redundancy == pytest.approx(1 - np.einsum("ri,ij,rj->r", a, covariance, a), abs=1e-8)
    blocks = covariance.reshape(len(xy), 2, len(xy), 2)[np.arange(len(xy)), :, np.arange(len(xy))]
    assert normal.points == pytest.approx(blocks, rel=1e-6, abs=1e-9)
    assert normal.cofactor([3, 8]) == pytest.approx((np.eye(net.rows) - a @ covariance @ a.T)[:, [3, 8]], abs=1e-8)


def test_terrace_takes_less_than_a_fiftieth_of_a_second():
    read, best = survey(TERRACE), 1.0
    for wait in (0, 1, 2, 4, 8):  # a neighbour may hold the processor's cache and clock for a while, but not each time
        time.sleep(wait)
        best = min(best, *(_timed(read) for _ in range(20)))
        if best < 0.020:
            return
    pytest.fail(f"{best:.4f} s at best, where 0.020 is the most")


def _timed(read):
    """Of the processor, so that whoever shares it is not counted. [s]"""
    start = time.process_time()
    adjust(read)
    return time.process_time() - start
