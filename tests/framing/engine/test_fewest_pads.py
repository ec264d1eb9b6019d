"""Tests of the search for pads: the fewest that every combination of places on a grid finds, and what it keeps to."""

import itertools
from types import SimpleNamespace

import numpy as np
import pytest
import shapely

from framing.engine.documents import parse_build
from framing.engine.keep_outs import Ground
from framing.engine.layout import Line
from framing.engine.members import Member
from framing.engine.structure import (
    Beam,
    Load,
    MemberDesign,
    allowable_pressure,
    solve,
    strength,
)
from framing.engine.supports import member_values, stand
from framing.engine.tributary import Added
from tests.framing.odd_roofs import odd_build

GRID = 2.0  # places that the exhaustive search tries [in]
BETWEEN = 2.0  # water between two pads [in]
SETS = {  # pads at hand, insulation [psi], live load [psf]
    "bearing": ([[4, 4], [6, 6]], 20.0, 60.0),
    "strength": ([[6, 6]], 60.0, 100.0),
    "both": ([[4, 4], [6, 6], [8, 8]], 10.0, 40.0),
}


def small_members(rng, count):
    """Members 60 to 84 in long, 1.5 to 5.5 in deep, tapers and Vs, far apart; widths and what hangs on each."""
    members, width, hung = [], {}, {}
    for k in range(count):
        run, y = float(rng.uniform(60, 84)), 400.0 * k
        depth = rng.uniform(1.5, 5.5, 3)
        profile = [[0, depth[0]], [run, depth[1]]] if k % 2 else [[0, depth[0]], [run * rng.uniform(0.3, 0.7), 1.5],
                                                                  [run, depth[2]]]
        m = Member(Line(f"J{k + 1}", "joist", (0.0, y), (run, y)), "2x6", np.array(profile))
        along = np.linspace(-0.5, 0.5, round(run))
        members.append(m)
        width[m.id] = rng.uniform(10, 18) * (1 + rng.uniform(-0.5, 0.5) * along)
        hung[m.id] = ((0.0, float(rng.uniform(0, 60))), (run, float(rng.uniform(0, 60))))
        if k % 3 == 0:
            hung[m.id] += ((run * float(rng.uniform(0.2, 0.8)), float(rng.uniform(50, 250))),)
    return members, SimpleNamespace(width=width, hung=hung, added=Added())


def flat_ground(strength_psi, **more):
    return Ground(None, shapely.box(-50, -50, 400, 12000), np.zeros((0, 2)), (), strength_psi, np.zeros((0, 4, 2)),
                  **more)


def widths_of(m, layout, run):
    bins = max(1, round(run / 3))
    have = layout.width[m.id]
    so_far = np.r_[0, np.cumsum(have) * (run / len(have))]
    return np.diff(np.interp(np.linspace(0, run, bins + 1), np.linspace(0, run, len(have) + 1), so_far)) / (run / bins)


def exhaustive(m, layout, build, load, values, strength_psi):
    """The fewest pads on a grid with which every check passes, by trying all combinations; solved in batches."""
    run, sizes = m.line.length, sorted(build.supports.pad_sizes)
    least = sizes[0][0] + BETWEEN
    inset = max([a / 2 for a, _ in sizes if a <= 6], default=sizes[0][0] / 2)
    places = np.unique(np.r_[np.arange(inset, run - inset, GRID), run - inset])
    beam = Beam(run, m.profile, np.zeros(0), widths_of(m, layout, run), 1.5, np.array(layout.hung[m.id]))
    stays, total = allowable_pressure(strength_psi)
    carried = (load.dead + load.live) / 144 * (beam.width.mean() * run + beam.point_loads[:, 1].sum())
    for n in range(2, 8):
        if n * max(a * b for a, b in sizes) * total < carried:
            continue  # all of the load is more than so many pads may press with
        pads = places[np.array(list(itertools.combinations(range(len(places)), n)))]
        gap = np.diff(pads, axis=1)
        fair = (gap >= least - 1e-9).all(axis=1) & (gap <= 48).all(axis=1)
        for out, back in ((pads[:, 0], gap[:, 0]), (run - pads[:, -1], gap[:, -1])):
            fair &= (out <= inset + 0.01) | (out <= back / 4)
        pads = pads[fair]
        # a pad alone can bear no more than the largest for it, and carries at least half of the load beside it
        middle = (pads[:, 2:] - pads[:, :-2]) / 2
        pads = pads[(middle.max(axis=1, initial=0) * beam.width.min() * (load.dead + load.live) / 144 * 0.6
                     <= max(a * b for a, b in sizes) * total)]
        order = np.argsort(np.diff(pads, axis=1).max(axis=1), kind="stable")  # the likeliest first
        for part in np.array_split(pads[order], max(1, len(pads) // 200)):
            if len(part) and passes(part, beam, load, values, sizes, stays, total).any():
                return n
    return 8


def passes(pads, beam, load, values, sizes, stays, total):
    beams = [Beam(beam.length, beam.profile, p, beam.width, 1.5, beam.point_loads) for p in pads]
    solved = solve(beams, load, values.E)
    held = strength(solved, beams, MemberDesign(values, min(a for a, _ in sizes)))
    gap = np.diff(pads, axis=1)
    wall = np.full((len(pads), 1), np.inf)
    room = np.minimum(np.c_[wall, gap], np.c_[gap, wall])
    area = np.max([np.where(a + BETWEEN <= room + 1e-6, a * b, 0) for a, b in sizes], axis=0)
    need = np.maximum(np.array(solved.reaction_dead) / stays, np.array(solved.reaction_most) / total)
    return held.passes & (need <= area * (1 + 1e-9)).all(axis=1)


@pytest.mark.parametrize("name", SETS)
def test_pads_are_as_few_as_every_combination_finds(name):
    """Within 5 % in all, and alike for most members."""
    pads, psi, live = SETS[name]
    build, load = parse_build(odd_build(supports__pad_size=pads)), Load(8.0, live)
    members, layout = small_members(np.random.default_rng(11), 8)
    values = member_values(members, build, "No.2")
    stood = stand(members, layout, build, flat_ground(psi), load, values)
    found = np.array([len(p.pads) for p in stood.pieces])
    fewest = np.array([exhaustive(m, layout, build, load, values[m.id], psi) for m in members])
    print(f"{name}: {found.tolist()} pads found, {fewest.tolist()} the fewest on a {GRID:g} in grid")
    assert (fewest < 8).all()
    assert found.sum() <= 1.05 * fewest.sum()
    assert (found <= fewest).mean() >= 0.75
    strong = strength(stood.solution, stood.beams, [MemberDesign(values[m.id], min(pads)[0]) for m in members])
    assert strong.passes.all()


def test_no_end_runs_out_further_than_a_quarter_of_the_span_beside_it():
    build, load = parse_build(odd_build(supports__pad_size=[[4, 4], [6, 6]])), Load(8.0, 60.0)
    members, layout = small_members(np.random.default_rng(4), 30)
    stood = stand(members, layout, build, flat_ground(20.0), load, member_values(members, build, "No.2"))
    for p in stood.pieces:
        for past, back in ((p.pads[0], p.pads[1] - p.pads[0]), (p.end - p.pads[-1], p.pads[-1] - p.pads[-2])):
            assert past <= max(3.05, back / 4 + 1e-6)  # an end within its own pad does not run out


def test_pads_stay_off_a_valley_and_a_foot_off_a_drain_from_their_edge():
    """Hard rules wherever any place passes: here both lie across the middle of long members."""
    build, load = parse_build(odd_build(supports__pad_size=[6, 6])), Load(8.0, 40.0)
    members = [Member(Line(f"J{k + 1}", "joist", (0.0, 16.0 * k), (150.0, 16.0 * k)), "2x8",
                      np.array([[0, 6.0], [150, 6.0]])) for k in range(8)]
    layout = SimpleNamespace(width={m.id: np.full(150, 16.0) for m in members}, hung={m.id: () for m in members},
                             added=Added())
    valley, drain = shapely.LineString([(60, -20), (90, 140)]), np.array([[40.0, 50.0]])
    ground = Ground(None, shapely.box(-10, -10, 160, 140), drain, (valley,), 40.0, np.zeros((0, 4, 2)))
    stood = stand(members, layout, build, ground, load, member_values(members, build, "No.2"))
    for p in stood.pieces:
        for at in p.member.line.at(p.pads):
            pad = shapely.box(at[0] - 3, at[1] - 3, at[0] + 3, at[1] + 3)
            assert valley.distance(shapely.Point(at)) >= 6 - 1e-3
            assert pad.distance(shapely.Point(drain[0])) >= 12 - 1e-3
