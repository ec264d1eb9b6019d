"""Tests of the supports: shim stacks against every combination, pads that close, keep off outlets and carry it all."""

import itertools
import math

import numpy as np
import pytest
import shapely
from numpy.testing import assert_allclose
from shapely.geometry import box

from framing.engine.documents import parse_build
from framing.engine.shims import close_stack, nearest_sum, packing, shim_sums
from tests.framing.odd_roofs import FALL, RECTANGLE, odd_build, odd_survey
from tests.framing.staged import DEAD, stages
from tests.framing.terraces import terrace

ROOM = [(0, 0), (192, 0), (192, 128), (0, 128)]


# --- shims


def every_sum(sizes, most):
    """Every sum up to `most` with the fewest shims that make it, by trying all counts."""
    best = {}
    counts = [range(math.floor(most / size + 1e-9) + 1) for size in sizes]
    for pick in itertools.product(*counts):
        total = sum(n * size for n, size in zip(pick, sizes, strict=True))
        if total <= most + 1e-9:
            key = round(total, 6)
            best[key] = min(best.get(key, 10**6), sum(pick))
    return best


@pytest.mark.parametrize(("sizes", "most"), [
    ((1 / 16, 1 / 8, 1 / 4), 1.125), ((1 / 8, 1 / 4), 1.0), ((3 / 16, 1 / 4), 1.5), ((0.25, 0.5, 0.75), 2.0),
    ((1.0,), 0.5), ((1 / 25.4, 3 / 25.4, 5 / 25.4), 0.9), ((1 / 16,), 0.0), ((0.1, 0.16, 0.35), 1.2),
])  # fmt: skip
def test_shims_make_every_sum_and_with_the_fewest(sizes, most):
    sums, counts = shim_sums(sizes, most)
    expected = every_sum(sizes, most)
    assert_allclose(sums, sorted(expected), atol=1e-4)
    assert_allclose(counts @ np.array(sizes), sums)
    assert list(counts.sum(axis=1)) == [expected[k] for k in sorted(expected)]


@pytest.mark.parametrize("seed", range(5))
def test_random_shims_make_every_sum_and_with_the_fewest(seed):
    rng = np.random.default_rng(seed)
    sizes = tuple(sorted(float(v) for v in rng.choice(np.arange(1, 24), 3, replace=False) / 32))
    sums, counts = shim_sums(sizes, 1.25)
    expected = every_sum(sizes, 1.25)
    assert_allclose(sums, sorted(expected), atol=1e-6)
    assert list(counts.sum(axis=1)) == [expected[k] for k in sorted(expected)]


@pytest.mark.parametrize(("most", "packed"), [(1.75, 1.75), (0.145833 * 12, 1.75), (44.45 / 25.4, 1.75), (1.74, 1.5)])
def test_packers_come_in_quarter_inches_however_their_limit_was_typed(most, packed):
    assert packing(parse_build(odd_build(supports__packer_most=most))) == packed


def test_the_nearest_sum_is_taken_and_the_lesser_of_two_as_near():
    have = np.array([0, 0.25, 0.5, 1.0])
    wanted = np.array([-3, 0.1, 0.125, 0.13, 0.75, 0.76, 9])
    assert list(have[nearest_sum(have, wanted)]) == [0, 0, 0, 0.25, 0.5, 1, 1]


def test_a_stack_fills_the_gap_over_pad_and_base():
    build = parse_build(odd_build(supports__pad_thickness=0.375, supports__base_thickness=0.125,
                                  supports__shim_sizes=[0.0625, 0.125, 0.25]))
    shim, made = close_stack(np.array([0.5, 0.94, 1.2]), build)
    assert_allclose(shim, [0, 0.4375, 0.6875])
    assert made == [(), (0.25, 0.125, 0.0625), (0.25, 0.25, 0.125, 0.0625)]


# --- stacks that close


@pytest.mark.parametrize("seed", range(8))  # terraces that can be sawn
def test_every_stack_closes_between_roof_and_wood(seed):
    drawn = terrace(seed)
    staged = stages(drawn.survey, drawn.build, 90.0, longest=143.75)
    assert staged.sawn[1] == []
    frame, build = staged.frame(), staged.build
    members = {m.id: m for m in staged.members}
    half = max(min(build.supports.shim_sizes) / 2, 1 / 32)
    for p in frame.supports:
        at = np.array([p.at])
        under = (staged.plane.height(at) - build.decking.thickness - build.joists.tape_thickness
                 - members[p.member].depth(np.array([p.s])))[0]
        assert under - p.pad - p.shim - p.base == pytest.approx(p.roof_z + p.residual, abs=1e-9)
        assert p.roof_z == pytest.approx(staged.roof.height(at)[0])
        assert p.clear_gap == pytest.approx(p.pad + p.shim + p.base)
        assert sum(p.shims) == pytest.approx(p.shim)
        assert abs(p.residual) <= half + 1e-6
        assert_allclose(members[p.member].line.at(np.array([p.s]))[0], p.at, atol=1e-9)


# --- pads


def pad_box(p, member):
    (ax, ay), (bx, by) = member.line.start, member.line.end
    along = np.array([bx - ax, by - ay]) / math.dist((ax, ay), (bx, by))
    across = np.array([-along[1], along[0]])
    a, b = along * p.pad_size[0] / 2, across * p.pad_size[1] / 2
    return shapely.Polygon([np.array(p.at) + v for v in (-a - b, a - b, a + b, b - a)])


@pytest.mark.parametrize("seed", range(10))
def test_no_pad_stands_on_an_outlet(seed):
    """Drains planted right under joist lines and near their ends, at random."""
    rng = np.random.default_rng(seed)
    spots = [(float(x), float(y)) for x, y in zip(rng.uniform(3, 189, 6), rng.choice([3.25, 19.25, 51.25, 83.25], 6),
                                                  strict=True)]
    staged = stages(odd_survey(ROOM, outlets=spots), odd_build(supports__pad_size=[[4, 4], [6, 6]]), longest=143.75)
    members = {m.id: m for m in staged.members}
    for p in staged.frame().supports:
        assert not any(pad_box(p, members[p.member]).covers(shapely.Point(spot)) for spot in spots)


def test_pads_keep_a_foot_from_an_outlet_in_the_field_where_they_can():
    staged = stages(odd_survey(ROOM, outlets=[(96, 51.25)]), odd_build(supports__pad_size=[6, 6]))
    away = [math.dist(p.at, (96, 51.25)) for p in staged.frame().supports]
    assert min(away) >= 12 - 1e-6


def test_pads_keep_off_the_valley_as_far_as_their_spacing_lets_them():
    """Half a pad and 3 in; 48 in is the widest that pads ever stand apart."""
    survey = odd_survey(ROOM, lambda x, y: -12 + FALL * abs(x - 96), lines=[("valley", [(96, 3), (96, 125)])])
    staged = stages(survey, odd_build(supports__pad_size=[6, 6]))
    frame = staged.frame()
    for m in staged.members:
        row = frame.on(m.id)
        for one, here, other in zip(row, row[1:], row[2:], strict=False):
            near = abs(here.at[0] - 96) < 6 - 1e-6
            assert not near or max(here.s - one.s, other.s - here.s) == pytest.approx(48, abs=0.3)


def test_no_two_pads_overlap():
    staged = stages(odd_survey(ROOM), odd_build(supports__pad_size=[[4, 4], [6, 6], [8, 8]]), longest=95.75)
    members = {m.id: m for m in staged.members}
    boxes = [pad_box(p, members[p.member]) for p in staged.frame().supports]
    for one, other in itertools.combinations(boxes, 2):
        assert one.intersection(other).area < 1e-6


def test_pads_stand_inside_the_roof():
    staged = stages(odd_survey(ROOM), odd_build(supports__pad_size=[6, 6]))
    members = {m.id: m for m in staged.members}
    room = box(0, 0, 192, 128)
    assert all(room.covers(pad_box(p, members[p.member])) for p in staged.frame().supports)


@pytest.mark.parametrize("widest", [16, 24, 36])
def test_neighbouring_pads_stand_no_further_apart_than_asked(widest):
    staged = stages(odd_survey(ROOM), odd_build(supports__maximum_spacing=widest, supports__pad_size=[4, 4]))
    frame = staged.frame()
    for m in staged.members:
        if m.role in ("joist", "edge"):
            assert np.diff([p.s for p in frame.on(m.id)]).max() <= widest + 1e-6


def gaps(widest, outlets=()):
    """Between neighbouring 10 in pads under each member of the room."""
    frame = stages(odd_survey(ROOM, outlets=outlets), odd_build(
        supports__maximum_spacing=widest, supports__pad_size=[10, 10])).frame()
    rows = {m.id: np.diff([p.s for p in frame.on(m.id)]) for m in frame.members if m.role in ("joist", "edge")}
    return rows, [(c.value, c.limit) for c in frame.checks if c.code == "pad-spacing"]


def test_a_tight_spacing_is_kept_beside_a_drain_too():
    """Pads of 10 in, 2 in apart at least, have 4 in of play; over the drain at 93.5 along one joist none may stand."""
    rows, told = gaps(16, [(96, 51.25)])
    assert max(v.max() for v in rows.values()) <= 16 + 1e-6 and told == []


def test_a_spacing_that_pads_have_no_room_for_is_exceeded_by_as_little_as_may_be_and_told():
    """177 in between end pads of 10 in, no nearer than 12: fourteen spans at most, of 12.64; 12.5 cannot be kept."""
    rows, told = gaps(12.5)
    widest = max(v.max() for v in rows.values())
    assert 177 / 14 <= widest < 12.64 + 0.3 and told == [(pytest.approx(widest), 12.5)]


def test_every_splice_stands_on_a_pad_and_every_end_near_one():
    staged = stages(odd_survey(ROOM), odd_build(), longest=95.75)
    frame = staged.frame()
    for m in staged.members:
        if m.role in ("joist", "edge"):
            s = np.array([p.s for p in frame.on(m.id)])
            for splice in m.splices:
                assert np.abs(s - splice).min() < 1e-6
            assert s.min() <= 8 and m.line.length - s.max() <= 8


# --- loads


@pytest.mark.parametrize("live", [40, 60, 100])
def test_pads_carry_dead_and_live_load_of_the_whole_deck(live):
    staged = stages(odd_survey(ROOM), odd_build(), longest=143.75)
    carried = sum(p.reaction for p in staged.frame(live).supports)
    assert carried == pytest.approx((DEAD + live) * 190 * 126.5 / 144, rel=0.02)


def test_the_worst_pattern_is_never_lighter_than_the_full_load():
    for p in stages(odd_survey(ROOM), odd_build()).frame().supports:
        assert p.reaction_most >= p.reaction - 1e-6
        assert p.pressure == pytest.approx(p.reaction_most / (p.pad_size[0] * p.pad_size[1]))


def test_heavier_loads_never_take_fewer_pads():
    staged = stages(odd_survey(ROOM), odd_build())
    counts = [len(staged.frame(live).supports) for live in (40, 100, 250)]
    assert counts == sorted(counts) and counts[-1] > counts[0]


def test_weak_insulation_takes_more_pad():
    """A fifth of the rated strength is the limit: 25 psi allows 5, 10 psi 2."""
    areas = []
    for rated in (60, 25, 10):
        survey = odd_survey(ROOM, roof={"insulation_strength": rated})
        staged = stages(survey, odd_build(supports__pad_size=[[4, 4], [6, 6], [8, 8]]))
        frame = staged.frame()
        areas.append(sum(p.pad_size[0] * p.pad_size[1] for p in frame.supports))
        bearing = next(c for c in frame.checks if c.code == "bearing")
        assert bearing.limit == pytest.approx(rated / 5)
        assert bearing.status == "ok" and max(p.pressure for p in frame.supports) <= rated / 5 + 1e-9
    assert areas == sorted(areas) and areas[-1] > areas[0]


def test_unknown_insulation_is_a_caution_that_says_what_is_needed():
    frame = stages(odd_survey(ROOM, roof={"membrane": "TPO"}), odd_build()).frame()
    bearing = next(c for c in frame.checks if c.code == "bearing")
    assert bearing.status == "caution" and bearing.decided_by == "roofer"
    assert bearing.value == pytest.approx(max(p.pressure for p in frame.supports))


def test_insulation_that_no_pad_spares_is_a_caution_and_no_stop():
    frame = stages(odd_survey(ROOM, roof={"insulation_strength": 1}), odd_build()).frame()
    bearing = next(c for c in frame.checks if c.code == "bearing")
    assert (bearing.status, bearing.decided_by) == ("caution", "roofer") and bearing.value > bearing.limit
    assert [c.code for c in frame.checks if c.status == "stop"] == []


def test_a_clear_gap_under_three_quarters_is_told():
    low = stages(odd_survey(RECTANGLE), odd_build(
        supports__pad_thickness=0.375, supports__base_thickness=0,
        supports__clear_gap={"least": 0.375, "target": 0.375, "most": 0.75})).frame()
    told = next(c for c in low.checks if c.code == "clear-gap")
    assert (told.status, told.limit) == ("caution", 0.75)
    assert told.value == pytest.approx(min(p.clear_gap for p in low.supports))
    usual = stages(odd_survey(RECTANGLE), odd_build()).frame()
    assert next(c for c in usual.checks if c.code == "clear-gap").status == "ok"


def test_shims_too_coarse_for_the_roof_are_told():
    frame = stages(odd_survey(ROOM), odd_build(supports__shim_sizes=[0.5])).frame()
    told = next(c for c in frame.checks if c.code == "shim-too-coarse")
    assert told.value == pytest.approx(max(abs(p.residual) for p in frame.supports))
    assert told.status == ("caution" if told.value > 1 / 32 else "ok") and told.limit == 1 / 32


def test_supports_come_member_by_member_in_order_along_each():
    staged = stages(odd_survey(ROOM), odd_build())
    order = [m.id for m in staged.members]
    seen = [(order.index(p.member), p.s) for p in staged.frame().supports]
    assert seen == sorted(seen)


def test_rims_hang_and_have_no_pads():
    staged = stages(odd_survey(ROOM), odd_build())
    roles = {m.id: m.role for m in staged.members}
    assert {roles[p.member] for p in staged.frame().supports} == {"joist", "edge"}


def wall_water(survey):
    staged = stages(survey, odd_build(supports__pad_size=[6, 6]))
    frame, members = staged.frame(), {m.id: m for m in staged.members}
    pads = [pad_box(p, members[p.member]) for p in frame.supports]
    return [c for c in frame.checks if c.code == "pad-by-wall-water"], pads


def test_pads_by_a_wall_that_the_roof_falls_to_or_along_are_told_with_their_distance():
    """Falls to the far parapet and along the side ones; from the house it falls away."""
    found, pads = wall_water(odd_survey(ROOM))
    walls = [shapely.LineString(w) for w in ([ROOM[1], ROOM[2]], [ROOM[2], ROOM[3]], [ROOM[3], ROOM[0]])]
    away = np.array([min(w.distance(p) for w in walls) for p in pads])
    assert (away < 2).any()
    assert found[0].status == "caution" and found[0].limit == 2
    assert found[0].value == pytest.approx(away.min(), abs=1e-6)
    assert f"{(away < 2).sum()} pads" in found[0].text


def test_pads_by_a_wall_that_the_roof_falls_off_are_not_told():
    """The roof falls off the house; its other sides are open."""
    survey = odd_survey(ROOM)
    for edge in survey["edges"][1:]:
        edge["against"] = "open"
        edge.pop("height")
    found, pads = wall_water(survey)
    assert min(shapely.LineString(ROOM[:2]).distance(p) for p in pads) < 2 and not found
