"""The level round: drift, the membrane under what was read, and repeats."""

import time

import pytest

from framing.engine.adjustment import adjust
from framing.engine.documents import parse_survey
from framing.engine.levels import adjust_levels, compare_repeats, datum_drift

CORNERS = {"A": [0, 0], "B": [100, 0], "C": [100, 100], "D": [0, 100], "P": [50, 50], "Q": [60, 50]}


def survey(levels, **fields):
    return parse_survey({
        "format": "roof-survey/1", "name": "level round", "datum": {"what": "nail", "where": "door jamb"},
        "corners": list("ABCD"), "positions": CORNERS, "levels": levels, "threshold": ["A"], **fields,
    })  # fmt: skip


def read(*drops, point="P", on="roof"):
    return [{"point": point, "drop": drop, "on": on} for drop in drops]


def heights(survey):
    return [level.z for level in adjust_levels(survey.levels, survey.datum_checks)]


def test_height_is_the_drop_turned_over():
    assert heights(survey(read(8, 9.5))) == [-8, -9.5]


def test_drift_grows_by_reading_number_between_checks_and_stays_after_the_last():
    round_ = survey(read(10, 10, 10, 10, 10, 10), datum_checks=[{"after": 2, "drop": 0.1}, {"after": 4, "drop": 0.3}])
    # worked by hand: drift 0.05, 0.1 up to the first check, 0.2, 0.3 up to the second, then 0.3
    assert heights(round_) == pytest.approx([-9.95, -9.9, -9.8, -9.7, -9.7, -9.7])
    assert datum_drift(round_.datum_checks) == 0.3


def test_steady_drift_is_taken_out_whole():
    true = [8.0, 9.0, 8.5, 10.0]
    drops = [drop - 0.02 * number for number, drop in enumerate(true, 1)]
    round_ = survey([*read(*drops)], datum_checks=[{"after": 4, "drop": -0.08}])
    assert heights(round_) == pytest.approx([-drop for drop in true])


@pytest.mark.parametrize("on", ["paver", "ballast", "old-deck"])
def test_reading_on_what_lies_on_the_roof_is_brought_down_to_the_membrane(on):
    lying = [{"point": "P", "drop": 6, "on": on, "depth_to_membrane": 2.25}]
    [level] = adjust_levels(survey(lying).levels, ())
    assert level.z == pytest.approx(-8.25)
    assert level.on == on


def test_every_reading_of_a_point_stays_a_level_of_its_own_with_its_number():
    done = adjust(survey(read(8, 8.0625)))
    assert [(level.point, level.number) for level in done.levels] == [("P", 1), ("P", 2)]
    assert done.suspects == ()


def test_wild_reading_among_three_of_one_point_is_marked_alone():
    round_ = survey(read(8, 8.03, 9))
    levels, wild = compare_repeats(adjust_levels(round_.levels, ()), 0.0625, 3.5)
    assert wild == ("P",)
    assert [level.suspect for level in levels] == [False, False, True]


def test_two_readings_that_disagree_are_both_marked_and_named_in_the_adjustment():
    done = adjust(survey([*read(8, 9), *read(7, point="Q")]))
    assert done.suspects == (("P",),)
    assert [level.suspect for level in done.levels] == [True, True, False]


def test_paver_and_membrane_of_one_point_are_no_repeats():
    paver = {"point": "P", "drop": 6, "on": "paver", "depth_to_membrane": 2}
    assert adjust(survey([*read(9), paver])).suspects == ()


@pytest.mark.parametrize(("drop", "status"), [(0.125, "ok"), (-0.125, "ok"), (0.13, "caution"), (-0.2, "caution")])
def test_drift_over_an_eighth_of_an_inch_is_a_caution(drop, status):
    done = adjust(survey(read(8, 9), datum_checks=[{"after": 2, "drop": drop}]))
    [drift] = [check for check in done.checks if check.code == "datum-drift"]
    assert (drift.status, drift.value) == (status, abs(drop))
    assert done.datum_drift == drop


def test_datum_that_was_never_read_again_is_a_note():
    done = adjust(survey(read(8)))
    assert done.datum_drift is None
    assert [check.status for check in done.checks if check.code == "datum-not-checked"] == ["note"]


@pytest.mark.parametrize("datum", [None, {}, {"photo": "nail.jpg"}])
def test_datum_that_nobody_could_find_again_is_a_caution(datum):
    fields = {"datum": datum} if datum is not None else {}
    document = {
        "format": "roof-survey/1", "name": "level round", "corners": list("ABCD"), "positions": CORNERS,
        "levels": read(8), "threshold": ["A"], **fields,
    }  # fmt: skip
    codes = {check.code: check.status for check in adjust(parse_survey(document)).checks}
    assert codes["datum-not-described"] == "caution"


@pytest.mark.parametrize(
    ("unit", "drops"),
    [("in", ["8 1/2", "8-1/2\"", 8.5]), ("mm", [215.9, "215.9", "8 1/2"]), ("ft", [8.5 / 12, "8 1/2", "215.9 mm"])],
)
def test_drops_in_fractions_decimals_and_millimetres_are_one_height(unit, drops):
    round_ = survey([{"point": "P", "drop": drop, "on": "roof"} for drop in drops], unit=unit)
    assert heights(round_) == pytest.approx([-8.5] * 3)


def test_depth_to_the_membrane_and_drift_are_read_in_the_survey_s_unit_too():
    ballast = {"point": "P", "drop": 150, "on": "ballast", "depth_to_membrane": 50}
    levels = [ballast, {"point": "Q", "drop": 200, "on": "roof"}]
    round_ = survey(levels, unit="mm", datum_checks=[{"after": 2, "drop": 4}])
    assert heights(round_) == pytest.approx([-(150 - 2 + 50) / 25.4, -(200 - 4) / 25.4])


def test_datum_read_twice_at_one_place_counts_with_its_mean_and_the_last_is_the_drift():
    round_ = survey(read(10, 10), datum_checks=[{"after": 2, "drop": 0.1}, {"after": 2, "drop": 0.2}])
    assert heights(round_) == pytest.approx([-9.925, -9.85])
    assert datum_drift(round_.datum_checks) == 0.2


def test_round_of_five_thousand_readings_is_compared_at_once():
    drops = [8 + (k % 2) * (1 + k / 100) for k in range(5_000)]  # half of them wild, all at one point
    levels = adjust_levels(survey(read(*drops)).levels, ())
    start = time.process_time()
    marked, wild = compare_repeats(levels, 0.0625, 4.75)
    assert time.process_time() - start < 1.0
    assert wild == ("P",)
    assert {level.z == -8 for level in marked if not level.suspect} == {True}
