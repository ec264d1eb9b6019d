"""Two cases from common practice (no published source): what a framer expects of a low door over a ridged roof."""

import numpy as np
import pytest

from framing.engine.layout import Line
from framing.engine.members import saw_members
from framing.engine.profiles import Corridor, fewest_cuts
from framing.reference.lumber import DRESSED
from tests.framing.odd_roofs import RECTANGLE, odd_build, odd_survey
from tests.framing.staged import stages

FLOORING, GAP, MOST = 0.75, 0.75, 1.0
LEAST_JOIST = 7.25  # [in] what a usual deck wants of a joist


def ridged(s):
    """The roof below the sill: 5.6 in at the ridge, 6.2 and 6.5 at the two sides of a rim 192 in long. [in]"""
    return np.interp(s, [0, 96, 192], [6.2, 5.6, 6.5])


def test_a_rim_over_a_ridge_is_one_v_of_the_depths_that_a_framer_reckons():
    s = np.array([0.0, 96, 192])
    height = ridged(s) - FLOORING  # flush with the sill
    profile = fewest_cuts(Corridor(s, height, height - MOST, height - GAP), GAP)
    assert profile == pytest.approx(np.array([[0, 4.7], [96, 4.1], [192, 5.0]]))


def test_the_same_rim_from_a_survey_is_cut_from_a_2x6():
    survey = odd_survey(RECTANGLE, lambda x, y: float(-ridged(x)), sill=0.0, lines=[("ridge", [(96, 3), (96, 117)])])
    build = odd_build(surface__reveal=0.0, decking__thickness=FLOORING, joists__sizes=["2x4", "2x6", "2x8"],
                      supports__clear_gap={"least": GAP, "target": GAP, "most": MOST})
    staged = stages(survey, build)
    rim, = saw_members([Line("R1", "rim", (0.0, 2.0), (192.0, 2.0))], staged.build, staged.plane, staged.roof, 192.0,
                       np.zeros((0, 2)))[0]
    assert rim.size == "2x6"
    assert rim.profile == pytest.approx(np.array([[0, 4.7], [96, 4.1], [192, 5.0]]), abs=1 / 16)
    assert [depth for _, depth in rim.stations([])] == ["4 11/16", "4 1/8", "5"]


def test_six_inches_of_height_rule_a_2x8_out_and_a_ripped_2x6_in():
    """A usual deck wants joists 7 1/4 in deep; 6 in from sill to roof leave 4 1/2 under 3/4 of boards and gap."""
    staged = stages(odd_survey(RECTANGLE, lambda x, y: -6.0, sill=0.0),
                    odd_build(surface__reveal=0.0, decking__thickness=FLOORING, joists__sizes=["2x6", "2x8"],
                              supports__clear_gap={"least": GAP, "target": GAP, "most": MOST}))
    assert DRESSED["2x8"][1] == LEAST_JOIST
    assert {(m.size, m.ripped) for m in staged.members} == {("2x6", True)}
    assert all(m.profile[:, 1] == pytest.approx(4.5) for m in staged.members)
