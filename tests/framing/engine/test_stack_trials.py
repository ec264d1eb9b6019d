"""Tests of the trials of heights: against closed forms, a fit for each trial, and the stages run on readings anew."""

import copy
from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import norm

from framing.engine import stack_trials
from framing.engine.shims import nearest_sum, shim_sums
from framing.engine.stack_trials import draw, hung, shares, stacks, threshold_errors, wood
from framing.reference.lumber import DRESSED
from tests.framing.known_roofs import THREE, covered
from tests.framing.odd_roofs import odd_build, odd_survey
from tests.framing.refitted import Case
from tests.framing.run_uncertainty import at_once, one_by_one, terrace
from tests.framing.staged import stages

ROOM = [(0, 0), (192, 0), (192, 128), (0, 128)]
TIGHT = {"least": 0.75, "target": 0.875, "most": 1.5}
ONE = [(96, 0)]


def staged(door=ONE, survey=None, **build):
    return stages(odd_survey(ROOM, door=door, **(survey or {})), odd_build(supports__clear_gap=TIGHT, **build))


def moves(s, trials=4000, roof=None, seed=3):
    return draw(s.survey, s.build, s.adjusted, s.plane, roof or s.roof, trials, seed)


def exact(roof):
    """The roof known without error."""
    return replace(roof, gain=0 * roof.gain, covariance=0 * roof.covariance)


def of_plane(s):
    """Design matrix and inverse normal matrix of one plane through all readings, by hand."""
    xy = np.array([[s.adjusted.points[r.point].x, s.adjusted.points[r.point].y]
                   for r in s.adjusted.levels if r.on == "roof"])
    a = np.c_[np.ones(len(xy)), xy]
    return xy, np.linalg.inv(a.T @ a)


# --- what is drawn


def test_how_far_readings_move_a_plane_is_the_textbooks_covariance():
    s = staged()
    assert s.roof.gain @ s.roof.gain.T == pytest.approx(s.survey.level_sigma**2 * of_plane(s)[1], rel=1e-9)


@pytest.mark.parametrize("place", [(96, 64), (0, 0), (192, 128)])
def test_one_height_in_ten_lies_one_and_a_quarter_standard_errors_low(place):
    """p10 and p90 of a normal height are -+1.2816 of its standard errors; that of a quantile of n trials is
    sqrt(q (1 - q) / n) over the density there, of which four are allowed."""
    s = staged()
    trials, row = 20_000, np.array([1.0, *place])
    error = s.survey.level_sigma * np.sqrt(row @ of_plane(s)[1] @ row + 1)  # the roof's and the sill's one reading
    m = moves(s, trials)
    lift = np.concatenate([v for _, v in m.lifts(m.rows(np.array([place], float)), np.zeros(1))])[:, 0]
    allowed = 4 * np.sqrt(0.09 / trials) / norm.pdf(1.2816) * error
    assert np.percentile(lift, [10, 90]) == pytest.approx([-1.2816 * error, 1.2816 * error], abs=allowed)
    assert m.standard_error(m.rows(np.array([place], float))) == pytest.approx(lift.std(), rel=1e-2)


def test_more_readings_of_a_sill_leave_it_less_in_doubt():
    survey = odd_survey(ROOM, door=[(80, 0), (112, 0)])
    survey["levels"] += [{"point": "t0", "drop": 2, "on": "threshold"}] * 3
    s = stages(survey, odd_build(supports__clear_gap=TIGHT))
    assert threshold_errors(s.survey, s.adjusted, s.plane) == pytest.approx([0.0625 / 2, 0.0625])


@pytest.mark.parametrize("surface", [
    {"mode": "level", "reveal": 0.5}, {"mode": "fall", "reveal": 0.5, "fall_per_ft": 0.125, "toward": 70},
    {"mode": "follow-threshold", "reveal": 0.5},
])
def test_a_trials_plane_hangs_as_the_plane_stage_hangs_it(surface):
    door = [(70, 0), (100, 0), (120, 0)]
    s = stages(odd_survey(ROOM, door=door, sill=[-2, -1.9375, -2.0625]), odd_build(surface=surface))
    anew = np.array([[-2.25, -1.5, -1.875], [-1.5, -2.5, -2.0]])
    at = np.array(s.plane.threshold)
    found = hung(s.build, s.plane, at[:, :2], anew)
    for z, plane in zip(anew, found, strict=True):
        other = stages(odd_survey(ROOM, door=door, sill=list(z)), odd_build(surface=surface)).plane
        assert plane == pytest.approx([other.z0 + 0.5, other.sx, other.sy], abs=1e-12)


# --- one by one


@pytest.mark.parametrize("ridge", [False, True])
def test_trials_at_once_are_those_of_a_fit_for_each(ridge):
    t = terrace(ridge)
    bands, shims, least = at_once(t, 300)
    their_bands, their_shims, their_least = one_by_one(t, 300)
    assert bands[:-1] == their_bands[:-1]
    assert (shims != their_shims).mean() <= (1e-2 if ridge else 0)
    assert least == pytest.approx(their_least, abs=1e-5 if ridge else 1e-9)


def test_the_trials_are_the_same_however_many_are_worked_on_at_a_time(monkeypatch):
    t = terrace(False)
    whole = at_once(t, 700)
    monkeypatch.setattr(stack_trials, "AT_ONCE", 2000)
    parts = at_once(t, 700)
    assert (whole[1] == parts[1]).all() and whole[2] == pytest.approx(parts[2], abs=1e-12)


@pytest.mark.parametrize("sizes", [
    ["1/16"], ["1/16", "1/8", "1/4"], ["1/4", "3/8"], ["1/32", "1/8"], ["1 mm", "3 mm"], [0.1, 0.0625], [0.25, 0.9],
    [0.3, 0.317],
])
def test_every_stack_takes_the_nearest_sum_of_its_shims(sizes):
    s = staged(supports__shim_sizes=sizes, supports__shim_most=1.5)
    frame, m = s.frame(), moves(s, 200)
    sums, made = shim_sums(tuple(s.build.supports.shim_sizes), 1.5)
    at = np.array([p.at for p in frame.supports])
    wanted = np.array([p.shim + p.residual for p in frame.supports]) + m.by @ m.rows(at).T
    found = stacks(m, frame.supports, s.build)
    assert (found.shims == made[nearest_sum(sums, wanted)].sum(axis=1)).all()
    half = max(1 / 32, np.diff(sums).min() / 2)
    beyond = (wanted < -half) | (wanted > sums[-1] + half)
    assert (found.open == beyond.any(axis=1)).all()


# --- the truth


def test_a_roof_whose_truth_is_known_lies_from_p10_to_p90_in_eight_cases_of_ten():
    """Of 60 roofs a share of 0.8 scatters by sqrt(0.16 / 60) = 0.05; three of those are allowed."""
    assert covered(60) == pytest.approx([0.8, 0.8], abs=0.155)


def test_a_straight_sill_read_at_three_points_does_not_stand_too_low_in_the_trials():
    """The lowest of three readings of a level sill is low by error: drawn anew as they stand, the readings' lowest
    would be low twice, and the true sill within p10 to p90 in four cases of ten."""
    assert (covered(40, doors=THREE) > 0.6).all()


# --- chances


def test_the_chance_of_an_open_stack_follows_the_normal_law():
    """With the roof known all stacks move with the sill: one is open where it falls by more than the least stack
    and half a step, or rises by more than is left over the greatest."""
    s = staged(supports__shim_most=0.75, survey={"level_sigma": 0.2})
    frame, trials = s.frame(), 4000
    want = np.array([p.shim + p.residual for p in frame.supports])
    low, high = -1 / 32 - want.min(), 0.75 + 1 / 32 - want.max()
    p = norm.cdf(low / 0.2) + norm.sf(high / 0.2)
    found = stacks(moves(s, trials, exact(s.roof)), frame.supports, s.build).open.mean()
    assert 0.05 < p < 0.95 and found == pytest.approx(p, abs=4 * np.sqrt(p * (1 - p) / trials))


def over(s, m, s_along):
    """Top edge of a member over the roof, by the stages before. [in]"""
    xy = m.line.at(s_along)
    return s.plane.height(xy) - s.build.decking.thickness - s.build.joists.tape_thickness - s.roof.height(xy)


@pytest.mark.parametrize("which", ["deeper", "thinner"])
def test_the_chance_of_another_stick_follows_the_normal_law(which):
    """The sill alone is unsure: no cut of a stick holds where the roof lies lower under its deepest place than the
    most gap, or higher under its shallowest than the least gap leaves of the least depth."""
    sizes = {"deeper": ["2x6"], "thinner": ["2x8"]}[which]
    depth = DRESSED[sizes[0]][1]
    least_depth = {"deeper": 1.5, "thinner": 4.7}[which]
    height = {"deeper": -9.65, "thinner": -8.5}[which]
    s = stages(odd_survey(ROOM, lambda x, y: height - 0.002 * y, door=ONE, level_sigma=0.15),
               odd_build(supports__clear_gap=TIGHT, joists__sizes=sizes, joists__minimum_depth=least_depth))
    members, trials = s.members, 4000
    found = wood(moves(s, trials, exact(s.roof)), members, s.build, s.plane, s.roof)
    along = [(m, np.linspace(0, m.line.length, 200)) for m in members]
    if which == "deeper":
        room = min(depth + 1.5 - over(s, m, a).max() for m, a in along)
    else:
        room = min(over(s, m, a).min() - 0.75 - least_depth for m, a in along)
    p = norm.sf(room / 0.15)
    assert 0.02 < p < 0.98
    assert getattr(found, which).any(axis=1).mean() == pytest.approx(p, abs=4 * np.sqrt(p * (1 - p) / trials))


def test_members_far_from_every_limit_are_not_named():
    s = stages(odd_survey(ROOM), odd_build(supports__clear_gap={"least": 0.75, "target": 2, "most": 4}))
    assert wood(moves(s), s.members, s.build, s.plane, s.roof).members == ()


def test_the_least_gap_is_where_the_wood_comes_lowest():
    s = staged()
    found = wood(moves(s, 50, exact(s.roof)), s.members, s.build, s.plane, s.roof)
    dense = [over(s, m, a) - m.depth(a) for m in s.members for a in [np.linspace(0, m.line.length, 400)]]
    sill = moves(s, 50, exact(s.roof)).by[:, 1]
    assert found.least - sill == pytest.approx(np.concatenate(dense).min(), abs=1e-6)


# --- where it comes from


def test_the_sill_and_the_roofs_readings_share_the_variance_as_their_numbers_say():
    """At the middle of its n readings a plane's height has the variance of one over n; a sill read once that of one."""
    s = staged()
    xy, _ = of_plane(s)
    n = len(xy)
    found = {name: share for name, share, _ in shares(moves(s, 200_000), xy.mean(axis=0)[None])}
    assert found == pytest.approx({"threshold readings": n / (n + 1), "roof readings": 1 / (n + 1)}, rel=2e-2)


def test_shares_add_up_to_one_and_name_the_reading_that_matters_most():
    survey = odd_survey(ROOM, lambda x, y: -8 - 0.02 * abs(x - 96), door=ONE, lines=[("ridge", [(96, 6), (96, 122)])])
    s = stages(survey, odd_build(supports__clear_gap=TIGHT))
    corner = shares(moves(s), np.array([[0.0, 0.0]]))
    assert sum(share for _, share, _ in corner) == pytest.approx(1)
    assert {name for name, _, _ in corner} == {"threshold readings", "roof readings", "places of break lines"}
    named = next(point for name, _, point in corner if name == "roof readings")
    nearest = min((r for r in s.adjusted.levels if r.on == "roof"),
                  key=lambda r: np.hypot(s.adjusted.points[r.point].x, s.adjusted.points[r.point].y))
    assert named == nearest.point


def test_a_hump_moves_the_roof_only_where_it_stands():
    survey = odd_survey(ROOM, door=ONE)
    survey["positions"] |= {"h1": [96.0, 64.0], "h2": [98.0, 64.0]}
    survey["levels"] += [{"point": p, "drop": 8 + 64 / 48 - 0.75, "on": "roof"} for p in ("h1", "h2")]
    s = stages(survey, odd_build())
    assert len(s.roof.mounds) == 1
    names = [[name for name, _, _ in shares(moves(s), np.array([at]))] for at in ([97.0, 64.0], [10.0, 10.0])]
    assert "humps and lows" in names[0] and "humps and lows" not in names[1]


def test_what_is_planned_is_what_the_case_reckons_with_no_error():
    """The loop of tests and the stages agree on the plan itself, so that the loop is a loop over the same deck."""
    s = staged(door=[(80, 0), (112, 0)])
    frame = s.frame()
    case = Case.of(s, frame)
    planes = np.linalg.lstsq(np.c_[np.ones(len(case.xy)), case.xy], case.z, rcond=None)[0]
    shift = case.z - np.c_[np.ones(len(case.xy)), case.xy] @ planes
    counts, _ = replace(case, z=case.z - shift).loop(np.zeros((1, len(case.z))), np.zeros((1, 2)))
    planned = [sum(p.shims.count(size) for p in frame.supports) for size in s.build.supports.shim_sizes]
    assert counts[0].tolist() == planned


def test_the_survey_is_left_as_it_was():
    s = staged()
    before = copy.deepcopy(s.survey)
    moves(s)
    assert s.survey == before
