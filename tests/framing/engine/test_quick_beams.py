"""Tests of the quick look: the search's beams against the solved ones, lifting pads, tips and point loads included."""

import numpy as np
import pytest

from framing.engine.quick_beams import lay_nodes, look
from framing.engine.structure import Beam, Load, MemberDesign, adjusted_values, solve, strength

NODES = 129
VALUES = adjusted_values("Southern Pine", "No.2", "2x6")
DESIGN = MemberDesign(VALUES, 4.0)


def random_beams(rng, count):
    """Tapers and Vs on pads a usual way apart, ends in or out, as (beams without pads, nodes, places, counts)."""
    beams, x, places, counts = [], [], [], []
    for k in range(count):
        run, n = float(rng.uniform(60, 150)), int(rng.integers(2, 7))
        at = np.linspace(0, run, NODES)
        share = np.cumsum(rng.uniform(0.7, 1.3, n - 1))
        hang = rng.uniform(0, 0.2, 2) * (share[-1] / (n - 1)) * [k % 3 > 0, k % 4 > 0]
        s = (hang[0] + np.r_[0, share]) / (hang.sum() + share[-1])
        kinks = [0.0, run * 0.4, run] if k % 2 else [0.0, run]
        profile = np.c_[kinks, rng.uniform(1.75, 5.5, len(kinks))]
        points = np.array([[0, rng.uniform(0, 90)], [at[60], rng.uniform(0, 200)], [run, rng.uniform(0, 90)]])
        beams.append(Beam(run, profile, np.zeros(0), rng.uniform(10, 16, 40), 1.5, points))
        x.append(at)
        places.append(np.r_[np.rint(s * (NODES - 1)).astype(int), np.full(6 - n, NODES - 1)])
        counts.append(n)
    return beams, np.array(x), np.array(places), np.array(counts)


@pytest.mark.parametrize("load", [Load(8, 40), Load(8, 60, 300), Load(30, 30)], ids=["light", "point", "heavy"])
def test_the_quick_look_finds_what_the_solver_finds(load):
    beams, x, places, counts = random_beams(np.random.default_rng(5), 60)
    found = look(lay_nodes(beams, x, load, [DESIGN] * 60), places, counts)
    stood = [Beam(b.length, b.profile, at[p[:n]], b.width, b.thickness, b.point_loads)
             for b, at, p, n in zip(beams, x, places, counts, strict=True)]
    solved = solve(stood, load, VALUES.E)
    true = dict(strength(solved, stood, DESIGN).ratios)
    true["taper"] = np.sqrt(true["taper"])
    pads, notch = true.pop("bearing"), true.pop("notch")
    assert notch.max() == 0
    ratio = found.span.max(axis=1) / np.max(list(true.values()), axis=0)
    assert np.median(np.abs(ratio - 1)) < 0.01  # trapezoids between nodes an inch apart
    assert (np.abs(ratio - 1) < 0.05).mean() > 0.9  # the rest: patterns of lifting pads that are not looked at
    assert np.median(np.abs(found.pad.max(axis=1) / pads - 1)) < 0.01
    for k, n in enumerate(counts):
        whole = (load.dead / 144) * (beams[k].width.mean() * beams[k].length + beams[k].point_loads[:, 1].sum())
        assert found.dead[k, :n].sum() == pytest.approx(whole, rel=1e-6)
        assert found.dead[k, n:].sum() == found.most[k, n:].sum() == 0


def test_beams_looked_at_alone_and_in_company_agree():
    load = Load(8, 60)
    beams, x, places, counts = random_beams(np.random.default_rng(2), 12)
    nodes = lay_nodes(beams, x, load, [DESIGN] * 12)
    together = look(nodes, places, counts)
    for k, n in enumerate(counts):
        alone = look(nodes.pick(np.array([k])), places[k : k + 1, :n], counts[k : k + 1])
        np.testing.assert_allclose(alone.span[0], together.span[k, : n + 1], rtol=1e-9)
        np.testing.assert_allclose(alone.most[0], together.most[k, :n], rtol=1e-9)
