"""The flood that finds where water stands against an independent library, and ponds against solid geometry.

scikit-image (BSD-3) fills by morphological reconstruction (L. Vincent, IEEE Transactions on Image Processing 2, 1993),
which shares nothing with a priority-flood but the surface that both must find.
"""

import itertools
import math

import numpy as np
import pytest
from scipy.interpolate import LinearNDInterpolator
from shapely import LineString, Polygon, affinity, box
from skimage.morphology import reconstruction

from framing.engine.adjustment import adjust
from framing.engine.documents import parse_survey
from framing.engine.drainage import drain
from framing.engine.roof import Facet, fit_roof
from framing.engine.watershed import flood, lay_grid, shed, standing


def walled(rng):
    """A random roof of cells in a border of walls, some walls inside, with ways out at some cells and levels."""
    rows, columns = rng.integers(6, 40, 2)
    z = np.full((rows + 2, columns + 2), np.inf)
    kind = rng.integers(3)
    inner = rng.uniform(0, 5, (rows, columns)) if kind < 2 else rng.integers(0, 6, (rows, columns)).astype(float)
    if kind == 1:  # a slope with roughness on it
        inner = 0.3 * inner + rng.uniform(-0.2, 0.2) * np.arange(rows)[:, None] + 0.1 * np.arange(columns)
    z[1:-1, 1:-1] = np.where(rng.uniform(size=(rows, columns)) < 0.08, np.inf, inner)
    outs = rng.choice(np.flatnonzero(np.isfinite(z)), rng.integers(1, 5), replace=False)
    return z, outs, rng.uniform(-1, 7, len(outs))


@pytest.mark.parametrize("seed", range(50))
def test_the_flood_is_bit_equal_to_a_reconstruction_by_erosion(seed):
    z, outs, inverts = walled(np.random.default_rng(seed))
    ground = np.where(np.isfinite(z), z, 1e6)
    start = np.full_like(ground, 1e6)
    start.flat[outs] = np.maximum(ground.flat[outs], inverts)
    filled = reconstruction(start, ground, method="erosion", footprint=np.ones((3, 3)))
    level = flood(z, outs.tolist(), inverts.tolist()).level.reshape(z.shape)
    roof = np.isfinite(z)
    assert np.array_equal(np.where(np.isfinite(level), level, 1e6)[roof], filled[roof])
    assert np.isinf(level[~roof]).all()


@pytest.mark.parametrize("seed", range(10))
def test_water_leaves_by_a_way_that_never_climbs_and_ends_at_a_way_out(seed):
    z, outs, inverts = walled(np.random.default_rng(seed))
    run = flood(z, outs.tolist(), inverts.tolist())
    for cell in run.order:
        assert run.way(cell) in outs
        if run.came[cell] >= 0:
            assert run.level[run.came[cell]] <= run.level[cell]


# -- ponds -----------------------------------------------------------------------------------------------------

def corner_volume(length, width, a, b, h):
    """Water [cu in] `h` deep in the low corner of a plane that rises `a` along `length` and `b` along `width`.

    A pyramid h^3 / 6ab, less what would stand past the far walls.
    """
    past = [h, h - a * length, h - b * width, h - a * length - b * width]
    return sum(s * max(d, 0.0) ** 3 for s, d in zip((1, -1, -1, 1), past, strict=True)) / (6 * a * b)


def ponded(facets, outlet, surface, least=0.01):
    return standing(shed(lay_grid(facets), np.array([outlet], float), np.array([surface])), least)


def turned(polygon, z0, sx, sy, degrees):
    """A facet, turned about the origin on the plan."""
    c, s = math.cos(math.radians(degrees)), math.sin(math.radians(degrees))
    return Facet(affinity.rotate(polygon, degrees, (0, 0)), z0, c * sx - s * sy, s * sx + c * sy)


@pytest.mark.parametrize("seed", range(24))
def test_a_pond_in_a_single_low_corner_has_the_volume_of_its_pyramid(seed):
    rng = np.random.default_rng(seed)
    length, width = rng.uniform(80, 400, 2)
    a, b = rng.uniform(0.003, 0.04, 2)
    h = rng.uniform(0.1, 4.0)  # from a puddle in the corner to a roof under water
    pond, = ponded([turned(box(0, 0, length, width), 0, a, b, rng.uniform(0, 360))], (0, 0), h)
    assert pond.depth == pytest.approx(h, abs=1e-6)
    assert pond.volume_gal == pytest.approx(corner_volume(length, width, a, b, h) / 231, rel=2e-5)
    if h < min(a * length, b * width):
        assert pond.area_sqft == pytest.approx(h**2 / (2 * a * b) / 144, rel=2e-5)


@pytest.mark.parametrize("seed", range(12))
def test_a_pond_round_a_raised_drain_in_four_slopes_is_an_upturned_pyramid(seed):
    # Four facets fall to a drain in the middle of a square, cut along its diagonals; its rim stands `h` over them.
    rng = np.random.default_rng(seed)
    half, fall, degrees = rng.uniform(60, 160), rng.uniform(0.01, 0.04), rng.uniform(0, 90)
    h = rng.uniform(0.2, 0.9) * half * fall
    corners = [(half, -half), (half, half), (-half, half), (-half, -half)]
    facets = [turned(Polygon([(0, 0), corners[k], corners[(k + 1) % 4]]), 0, fall * x, fall * y, degrees)
              for k, (x, y) in enumerate(((1, 0), (0, 1), (-1, 0), (0, -1)))]
    pond, = ponded(facets, (0, 0), h)
    side = 2 * h / fall
    assert pond.area_sqft == pytest.approx(side**2 / 144, rel=1e-5)
    assert pond.volume_gal == pytest.approx(side**2 * h / 3 / 231, rel=1e-5)


@pytest.mark.parametrize("seed", range(12))
def test_a_pond_at_the_foot_of_a_valley_is_two_corner_pyramids(seed):
    # Two facets meet in a valley along y = 0 that falls to the wall x = 0; a scupper in it stands `h` over its foot.
    rng = np.random.default_rng(seed)
    along, left, right = rng.uniform(0.004, 0.01), rng.uniform(0.01, 0.04), rng.uniform(0.01, 0.04)
    h, degrees = rng.uniform(0.2, 1.0), rng.uniform(0, 360)
    facets = [turned(box(0, 0, 300, 120), 0, along, left, degrees),
              turned(box(0, -120, 300, 0), 0, along, -right, degrees)]
    pond, = ponded(facets, (0, 0), h)
    volume = corner_volume(300, 120, along, left, h) + corner_volume(300, 120, along, right, h)
    assert (pond.depth, pond.volume_gal) == (pytest.approx(h, rel=1e-6), pytest.approx(volume / 231, rel=1e-5))


@pytest.mark.parametrize("seed", range(8))
def test_without_a_raised_outlet_an_inclined_roof_holds_no_pond(seed):
    rng = np.random.default_rng(seed)
    a, b = rng.uniform(0.003, 0.04, 2)
    assert ponded([turned(box(0, 0, 200, 150), 0, a, b, rng.uniform(0, 360))], (0, 0), -0.5) == ()


# -- the same through the engine, from readings ------------------------------------------------------------------

def surveyed(size, drop, points, outlet, sigma=0.0625, **fields):
    """A walled roof of `size` [in], read exactly at `points` and drained by one scupper (x, y, invert drop)."""
    width, depth = size
    names = {f"r{i}": xy for i, xy in enumerate(points)}
    at = {"A": (0, 0), "B": (width, 0), "C": (width, depth), "D": (0, depth), "s": outlet[:2], "t": (width / 2, depth),
          **names}
    levels = [{"point": name, "drop": drop(*xy), "on": "roof"} for name, xy in names.items()]
    return parse_survey({
        "format": "roof-survey/1", "name": "outside check", "corners": list("ABCD"), "level_sigma": sigma,
        "positions": {name: list(xy) for name, xy in at.items()},
        "levels": [*levels, {"point": "t", "drop": 1, "on": "threshold"}], "threshold": ["t"],
        "outlets": [{"kind": "scupper", "purpose": "primary", "point": "s", "width": 6, "invert_drop": outlet[2]}],
        **fields,
    })  # fmt: skip


def answered(survey):
    adjusted = adjust(survey)
    roof = fit_roof(survey, adjusted)
    return roof, drain(survey, adjusted, roof)


def lattice(width, depth):
    return list(itertools.product(np.linspace(4, width - 4, 4).tolist(), np.linspace(4, depth - 4, 4).tolist()))


def test_the_wedge_below_a_high_scupper_comes_out_of_the_readings():
    # Hand geometry: 10 x 10 ft, 1/4 in/ft to a parapet, scupper invert 1/2 in over the low edge: 20 sq ft,
    # 0.41667 cu ft or 3.117 gal, 1/2 in deep.
    survey = surveyed((120, 120), lambda x, y: 10 - x / 48, lattice(120, 120), (0, 60, 9.5))
    _, found = answered(survey)
    pond, = found.ponds
    assert pond.area_sqft == pytest.approx(20, rel=1e-5)
    assert pond.volume_gal == pytest.approx(3.117, abs=0.0005)
    assert pond.depth == pytest.approx(0.5, rel=1e-5)


@pytest.mark.parametrize("seed", range(12))
def test_a_pond_is_told_from_two_standard_errors_of_a_reading_on(seed):
    rng = np.random.default_rng(seed)
    a, b = rng.uniform(0.005, 0.03, 2).tolist()
    sigma = float(rng.choice([1 / 32, 1 / 16, 1 / 8]))
    for h, told in ((1.9 * sigma, False), (2.1 * sigma, True)):
        survey = surveyed((240, 180), lambda x, y: 12 - a * x - b * y, lattice(240, 180), (0, 0, 12 - h), sigma)
        _, found = answered(survey)
        assert len(found.ponds) == len([c for c in found.checks if c.code == "pond"]) == int(told)
        if told:
            assert found.ponds[0].volume_gal == pytest.approx(corner_volume(240, 180, a, b, h) / 231, rel=1e-4)


def test_a_valley_given_as_a_break_line_makes_no_dam_across_it():
    # 10 x 10 ft, a level valley along y = 5 ft, 0.96 in/ft up from it on both sides; it was read only at its ends.
    # A triangulation that does not know the valley bridges it from side to side.
    sides = [(x, y) for x in (0.5, 59, 119.5) for y in (55, 65)]
    readings = [(x, y) for x in (0.5, 119.5) for y in (0.5, 119.5)] + [(2.0, 60.0), (30.0, 60.0), *sides]
    height = {xy: 0.08 * abs(xy[1] - 60) for xy in readings}
    bridged = LinearNDInterpolator(np.array(readings), np.array(list(height.values())))
    assert float(bridged(96, 60)) == pytest.approx(0.4, abs=0.01)
    survey = surveyed((120, 120), lambda x, y: 12 - height[x, y], readings, (120, 60, 12),
                      breaklines=[{"kind": "valley", "points": ["r4", "r5"]}])
    roof, found = answered(survey)
    assert float(roof.height(np.array([[96.0, 60.0]]))[0]) == pytest.approx(-12, abs=1e-4)
    assert found.ponds == ()


def test_a_way_out_that_water_passes_lower_down_takes_none_of_it():
    # 1/4 in/ft to an open edge; an overflow 2 in over the roof stands in the way of the water and lets it by.
    roof = Facet(box(0, 0, 120, 120), 0, 0, 0.25 / 12)
    edge = LineString([(0, 0), (120, 0)])
    water = shed(lay_grid([roof]), np.array([[60.0, 40.0]]), np.array([40 * 0.25 / 12 + 2]), [edge])
    assert water.area / 144 == pytest.approx([0, 100], abs=1e-6)
    assert standing(water, 0.01) == ()
