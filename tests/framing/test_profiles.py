"""The fewest cuts, proved from outside: no profile with one corner less exists, nor one nearer the target.

That none exists is shown by branch and bound with linear programs: wherever the corners are taken to lie, to within a
cell, the straights between them would have to satisfy a program that has no answer.
"""

from __future__ import annotations

import itertools
import time

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy.optimize import linprog

from framing.engine.layout import Line
from framing.engine.members import corridor, corridor_under, heights, saw_members
from framing.engine.plane import least_gap, most_gap
from framing.engine.profiles import SPARE, Corridor, fewest_cuts, wanted
from framing.reference.lumber import DRESSED
from tests.framing.odd_roofs import LARGE, RECTANGLE, odd_build, odd_survey
from tests.framing.staged import stages
from tests.framing.terraces import terrace

RUN = 120.0
TARGET = 0.75
CELL = 1 / 32  # corners are followed up to this [in]
BORDERLINE = 1 / 32  # a corridor this much wider would do with a corner less [in]
PROGRAMS = 4000
ROOF = 1e-5  # facets of a fitted roof agree along their folds to within this [in]


def random_corridor(rng: np.random.Generator, kinks: int, play: float | None = None) -> Corridor:
    """As a roof with so many bends makes it under a level deck: 0.03 of slope at most, least depth, deepest stick."""
    s = np.array([0.0, *np.sort(rng.uniform(2, RUN - 2, kinks)), RUN])
    height = 5.0 + np.r_[0, np.cumsum(rng.uniform(-0.03, 0.03, kinks + 1) * np.diff(s))]
    play = rng.uniform(0.02, 0.8) if play is None else play
    low, high = np.maximum(height - TARGET - play, 1.5), np.minimum(height - TARGET, 9.25)
    return Corridor(s, height, low, np.maximum(high, low))


def limits(c: Corridor, s: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    return np.interp(s, c.s, c.low), np.interp(s, c.s, c.high)


def may_be(c: Corridor, cells: tuple[tuple[float, float], ...], signs: tuple[int, ...]) -> bool:
    """Whether straights may exist that cross within `cells`, the path being their greater (1) or lesser (-1) there.

    What it leaves out (the path's own limit at a corner) only makes it say yes more often.
    """
    n = len(cells) + 1
    rows, bounds = [], []

    def add(link: int, s: float, sign: int, bound: float) -> None:
        """sign (a + m s) <= sign bound."""
        row = np.zeros(2 * n)
        row[2 * link : 2 * link + 2] = sign, sign * s / RUN
        rows.append(row)
        bounds.append(sign * bound)

    edges = [0.0, *itertools.chain(*cells), RUN]
    for link in range(n):
        a, b = edges[2 * link], edges[2 * link + 1]
        if a > b:
            continue
        at = np.union1d(c.s[(c.s > a) & (c.s < b)], [a, b])
        for s, low, high in zip(at, *limits(c, at), strict=True):
            add(link, s, 1, high)
            add(link, s, -1, low)
    for k, ((a, b), sign) in enumerate(zip(cells, signs, strict=True)):
        for s, way in ((a, -sign), (b, sign)):  # at a the straight before is the greater, at b the one after
            row = np.zeros(2 * n)
            row[2 * k : 2 * k + 4] = way, way * s / RUN, -way, -way * s / RUN
            rows.append(row)
            bounds.append(0.0)
        if (k == 0 or cells[k - 1][1] <= a) and (k == n - 2 or cells[k + 1][0] >= b):
            at = np.union1d(c.s[(c.s > a) & (c.s < b)], [a, b])
            for s, low, high in zip(at, *limits(c, at), strict=True):
                for link in (k, k + 1):
                    add(link, s, sign, high if sign > 0 else low)
    answer = linprog(np.zeros(2 * n), A_ub=np.array(rows), b_ub=np.array(bounds), bounds=[(None, None)] * (2 * n),
                     method="highs")
    return answer.status != 2


def none_with(c: Corridor, corners: int) -> bool:
    """Whether it is proved that no profile with so many corners fits; False: not to within `CELL`."""
    if corners < 0:
        return True
    left, programs = [((0.0, RUN),) * corners], 0
    while left:
        cells = left.pop()
        programs += 1
        if programs > PROGRAMS:
            return False
        if not any(may_be(c, cells, signs) for signs in itertools.product((1, -1), repeat=corners)):
            continue
        k = max(range(corners), key=lambda i: cells[i][1] - cells[i][0], default=-1)
        if k < 0 or cells[k][1] - cells[k][0] < CELL:
            return False
        a, b = cells[k]
        for half in ((a, (a + b) / 2), ((a + b) / 2, b)):
            halves = (*cells[:k], half, *cells[k + 1 :])
            if all(halves[i][0] < halves[i + 1][1] for i in range(corners - 1)):  # in order along the member
                left.append(halves)
    return True


def wider(c: Corridor, by: float) -> Corridor:
    return Corridor(c.s, c.height, c.low - by, c.high + by)


def check_inside(c: Corridor, profile: np.ndarray) -> None:
    s = np.union1d(np.linspace(0, c.s[-1], 2000), np.r_[c.s, profile[:, 0]])
    low, high = limits(c, s)
    depth = np.interp(s, *profile.T)
    assert profile[0, 0] == 0 and profile[-1, 0] == c.s[-1] and (np.diff(profile[:, 0]) > 0).all()
    assert (depth - low).min() >= -1e-9 and (high - depth).min() >= -1e-9


@pytest.mark.parametrize("seed", range(120))
def test_no_profile_has_fewer_corners(seed):
    rng = np.random.default_rng(seed)
    c = random_corridor(rng, int(rng.integers(0, 7)))
    profile = fewest_cuts(c, TARGET)
    check_inside(c, profile)
    corners = len(profile) - 2
    if corners > 2:  # the proof takes too long: its first step only, that 0 and 1 do not serve
        assert none_with(c, 0) and none_with(c, 1)
    elif not none_with(c, corners - 1):  # a hair more room and one corner less would serve
        assert len(fewest_cuts(wider(c, BORDERLINE), TARGET)) - 2 < corners


@pytest.mark.parametrize("seed", range(6))
def test_no_profile_of_two_corners_serves_where_three_are_taken(seed):
    rng = np.random.default_rng(100 + seed)
    while True:
        c = random_corridor(rng, 5)
        corners = len(fewest_cuts(c, TARGET)) - 2
        if corners == 3 and len(fewest_cuts(wider(c, BORDERLINE), TARGET)) - 2 == 3:
            break
    assert none_with(c, 2)


def test_the_proof_is_no_proof_where_a_profile_exists():
    for seed in range(20):
        c = random_corridor(np.random.default_rng(seed), 3)
        corners = len(fewest_cuts(c, TARGET)) - 2
        if corners < 2:
            assert not none_with(c, corners)


@pytest.mark.parametrize("seed", range(300))
def test_a_corridor_turned_end_for_end_takes_as_many_corners(seed):
    rng = np.random.default_rng(500 + seed)
    c = random_corridor(rng, int(rng.integers(1, 14)))
    back = Corridor(c.s[-1] - c.s[::-1], c.height[::-1], c.low[::-1], c.high[::-1])
    there, again = fewest_cuts(c, TARGET), fewest_cuts(back, TARGET)
    check_inside(c, there)
    check_inside(back, again)
    assert len(there) == len(again)


@pytest.mark.parametrize("seed", range(200))
def test_a_corridor_wider_somewhere_never_takes_more_corners(seed):
    rng = np.random.default_rng(1500 + seed)
    c = random_corridor(rng, int(rng.integers(1, 10)))
    roomy = Corridor(c.s, c.height, c.low - rng.uniform(0, 0.2, len(c.s)), c.high + rng.uniform(0, 0.2, len(c.s)))
    assert len(fewest_cuts(roomy, TARGET)) <= len(fewest_cuts(c, TARGET))


# --- nearness to the target gap


def least_departure(c: Corridor, target: float, corners: np.ndarray) -> float | None:
    """The least largest departure from the wanted depths with these corners, by a linear program."""
    want = wanted(c, target)
    s = np.union1d(c.s, corners)
    (low, high), ideal = limits(c, s), np.interp(s, c.s, want)
    hat = np.stack([np.interp(s, corners, row) for row in np.eye(len(corners))], axis=1)
    one, none = np.ones((len(s), 1)), np.zeros((len(s), 1))
    answer = linprog(np.r_[np.zeros(len(corners)), 1], A_ub=np.block([[hat, none], [-hat, none], [hat, -one],
                     [-hat, -one]]), b_ub=np.r_[high, -low, ideal, -ideal] + 1e-9,
                     bounds=[(None, None)] * len(corners) + [(0, None)], method="highs")
    return float(answer.fun) if answer.success else None


def departure(c: Corridor, target: float, profile: np.ndarray) -> float:
    s = np.union1d(c.s, profile[:, 0])
    return float(np.abs(np.interp(s, *profile.T) - np.interp(s, c.s, wanted(c, target))).max())


@pytest.mark.parametrize("seed", range(60))
def test_with_its_corners_the_depths_are_as_near_as_can_be(seed):
    rng = np.random.default_rng(3000 + seed)
    c = random_corridor(rng, int(rng.integers(0, 6)))
    target = TARGET + rng.uniform(0, 0.3)
    profile = fewest_cuts(c, target)
    assert departure(c, target, profile) == pytest.approx(least_departure(c, target, profile[:, 0]), abs=1e-6)


@pytest.mark.parametrize("seed", range(25))
def test_no_other_corners_come_much_nearer(seed):
    """The least departure that a grid of corners finds is at most the spare below what was taken."""
    rng = np.random.default_rng(4000 + seed)
    while len(profile := fewest_cuts(c := random_corridor(rng, 3, play=0.4), TARGET)) > 4:
        pass  # more than two corners are too many for a grid
    corners = len(profile) - 2
    grid = np.union1d(np.arange(6.0, RUN, 6.0), c.s[1:-1])
    others = (least_departure(c, TARGET, np.r_[0, pick, RUN]) for pick in itertools.combinations(grid, corners))
    nearest = min(d for d in others if d is not None)
    assert departure(c, TARGET, profile) <= nearest + SPARE + 1 / 256


# --- tight, short and crooked corridors


def test_a_corridor_that_closes_to_a_point_is_passed_through_it():
    s, height = np.array([0.0, 40, 90, 120]), np.array([5.0, 4.2, 4.9, 4.3])
    for width in (0.0, 1e-14, -1e-12, 1e-9):
        low, high = height - 1.1, height - 0.75
        low[1], high[1] = 3.4, 3.4 + width
        profile = fewest_cuts(Corridor(s, height, low, high), TARGET)
        assert profile is not None
        assert np.interp(40.0, *profile.T) == pytest.approx(3.4, abs=2e-9)


def test_a_corridor_without_any_width_is_its_own_profile():
    s, depth = np.array([0.0, 30, 31, 80, 120]), np.array([3.0, 4.0, 3.9, 2.5, 3.3])
    assert_allclose(fewest_cuts(Corridor(s, depth + TARGET, depth, depth), TARGET), np.c_[s, depth], atol=1e-9)


@pytest.mark.parametrize("run", [0.5, 3.0, 8.0])
def test_a_member_shorter_than_a_foot_has_its_profile(run):
    s = np.array([0, run / 3, run])
    height = np.array([4.0, 3.7, 4.0])
    profile = fewest_cuts(Corridor(s, height, height - 0.8, height - 0.75), TARGET)
    assert_allclose(profile, np.c_[s, height - 0.75])


@pytest.mark.parametrize("seed", range(30))
def test_many_kinks_close_together_take_no_more_corners_than_kinks(seed):
    rng = np.random.default_rng(7000 + seed)
    s = np.unique(np.r_[0, np.cumsum(rng.choice([1e-5, 1e-3, 0.1, 2.0, 9.0], 40)), 300.0])
    height = 5 + np.r_[0, np.cumsum(rng.uniform(-0.05, 0.05, len(s) - 1) * np.diff(s))]
    c = Corridor(s, height, height - TARGET - rng.uniform(0, 0.3), height - TARGET)
    profile = fewest_cuts(c, TARGET)
    check_inside(c, profile)
    back = fewest_cuts(Corridor(s[-1] - s[::-1], height[::-1], c.low[::-1], c.high[::-1]), TARGET)
    assert len(profile) == len(back) <= len(s)


def ugly_corridor(rng: np.random.Generator) -> Corridor:
    """Any run, slope and play, closed to a point or all along, kinks a hair apart, heights on a grid of 1/16 in."""
    run = float(rng.choice([0.3, 5, 60, 400, 1500]))
    s = np.sort(rng.uniform(0, run, int(rng.integers(0, 12))))
    if rng.random() < 0.3:
        s = np.r_[s, s + rng.choice([1e-5, 1e-3], len(s))]
    s = np.unique(np.r_[0, s[(s > 1e-6) & (s < run - 1e-6)], run])
    height = 6 + np.r_[0, np.cumsum(rng.uniform(-1, 1, len(s) - 1) * rng.choice([0.003, 0.03, 0.25]) * np.diff(s))]
    if rng.random() < 0.3:
        height = np.round(height * 16) / 16
    low, high = height - TARGET - rng.choice([0, 1e-12, 1e-3, 0.05, 0.25, 3.0]), height - TARGET
    if rng.random() < 0.3:
        k = rng.integers(0, len(s))
        low[k] = high[k] = (low[k] + high[k]) / 2
    return Corridor(s, height, low, high)


@pytest.mark.parametrize("seed", range(250))
def test_whatever_the_corridor_a_profile_keeps_to_it_from_either_end(seed):
    c = ugly_corridor(np.random.default_rng(9000 + seed))
    there = fewest_cuts(c, TARGET + 0.2 * (seed % 3))
    check_inside(c, there)
    back = fewest_cuts(Corridor(c.s[-1] - c.s[::-1], c.height[::-1], c.low[::-1], c.high[::-1]), TARGET)
    assert len(there) == len(back)


def test_corners_stand_at_the_ridge_where_that_costs_next_to_nothing():
    """A roof that bends by 1/2 in at a ridge 47.3 in along and hardly at all elsewhere."""
    s = np.array([0.0, 20, 47.3, 96])
    height = np.array([5.0, 4.79, 4.5, 5.0])
    profile = fewest_cuts(Corridor(s, height, height - 0.85, height - 0.75), TARGET)
    assert_allclose(profile[:, 0], [0, 47.3, 96])


def test_a_corner_off_every_bend_stands_where_a_tape_finds_it():
    """The deepest stick meets the wood 55.36 in along: a corner there is set out at a whole inch, or a quarter."""
    s = np.array([0.0, 120.0])
    build = parsed_build(joists__sizes=["2x4"], supports__clear_gap={"least": 0.75, "target": 0.75, "most": 1.0})
    c = corridor_under(s, np.array([3.6, 4.5]), build, DRESSED["2x4"][1])
    inner = fewest_cuts(c, TARGET)[1:-1, 0]
    assert all(v * 4 == round(v * 4) for v in inner)
    check_inside(c, fewest_cuts(c, TARGET))


def parsed_build(**more):
    return stages(odd_survey(RECTANGLE), odd_build(**more)).build


# --- under real roofs


def roofs():
    for seed in range(12):
        drawn = terrace(seed)
        yield stages(drawn.survey, drawn.build, longest=1e6)
    def hump(x, y):
        return -8 - 0.02 * y + (0.4 if abs(x - 80) < 9 and abs(y - 60) < 9 else 0)

    yield stages(odd_survey(RECTANGLE, hump, step=8),
                 odd_build(supports__clear_gap={"least": 0.75, "target": 0.75, "most": 1.0}), longest=1e6)


@pytest.mark.parametrize("staged", list(roofs()), ids=lambda s: s.survey.name)
def test_members_anywhere_on_a_roof_keep_to_their_corridor(staged):
    """Lines at random over the deck: straight between points, in the stick, and off the roof as asked, all along."""
    rng = np.random.default_rng(9)
    x0, y0, x1, y1 = staged.deck.outline.bounds
    ends = rng.uniform([x0, y0], [x1, y1], (40, 2, 2))
    lines = [Line(f"J{i}", "joist", tuple(a), tuple(b)) for i, (a, b) in enumerate(ends.tolist())
             if np.hypot(*np.subtract(a, b)) > 1]
    build = staged.build
    members, _ = saw_members(lines, build, staged.plane, staged.roof, 1e6, np.zeros((0, 2)))
    deepest = max(DRESSED[k][1] for k in build.joists.sizes)
    seen = {m.id for m in members}
    for line in lines:
        c = corridor(line, build, staged.plane, staged.roof, deepest)
        assert (line.id in seen) == bool((c.low <= c.high + 1e-9).all())
    over = build.decking.thickness + build.joists.tape_thickness
    for m in members:
        check_inside(corridor(m.line, build, staged.plane, staged.roof, deepest), m.profile)
        s = np.linspace(0, m.line.length, 500)
        gap = staged.plane.height(m.line.at(s)) - over - m.depth(s) - staged.roof.height(m.line.at(s))
        assert gap.min() >= least_gap(build) - ROOF and gap.max() <= most_gap(build) + ROOF
        assert build.joists.minimum_depth - 1e-9 <= m.depth(s).min() and m.depth(s).max() <= DRESSED[m.size][1] + 1e-9


@pytest.mark.parametrize("staged", list(roofs()), ids=lambda s: s.survey.name)
def test_heights_are_straight_between_kinks(staged):
    x0, y0, x1, y1 = staged.deck.outline.bounds
    lines = [Line("J1", "joist", (x0, y0), (x1, y1)), Line("J2", "joist", (x0, (y0 + y1) / 2), (x1, y1))]
    over = staged.build.decking.thickness + staged.build.joists.tape_thickness
    for line, (s, height) in zip(lines, heights(lines, staged.build, staged.plane, staged.roof), strict=True):
        at = np.linspace(0, line.length, 997)
        true = staged.plane.height(line.at(at)) - over - staged.roof.height(line.at(at))
        assert_allclose(np.interp(at, s, height), true, atol=ROOF, rtol=0)


def test_a_plaza_of_ninety_members_is_sawn_in_half_a_second():
    def height(x, y):
        return -8 - 0.0026 * min(abs(x - 720), 400) - 0.0026 * abs(y - 360)

    survey = odd_survey(LARGE, height, lines=[("ridge", [(720, 3), (720, 717)]), ("ridge", [(3, 360), (1437, 360)])])
    staged = stages(survey, odd_build(supports__clear_gap={"least": 0.75, "target": 0.75, "most": 1.1}))
    lines = [Line(f"J{i}", "joist", (10.0, 7.0 * i + 8), (1430.0, 7.0 * i + 9)) for i in range(100)]
    arguments = lines, staged.build, staged.plane, staged.roof, 1e6, np.zeros((0, 2))
    start = time.perf_counter()
    members, _ = saw_members(*arguments)
    assert len(members) == 100
    assert time.perf_counter() - start < 0.5
