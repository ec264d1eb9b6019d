"""Watersheds: who drains where, and what stays standing."""

import math

import numpy as np
import pytest
from shapely import LineString, Polygon, affinity, box
from skimage.morphology import reconstruction

from framing.engine.roof import Facet
from framing.engine.watershed import lay_grid, shed, standing


def plane(polygon, z0, sx, sy):
    return Facet(polygon, z0, sx, sy)


def drained(facets, outlets, inverts, edges=()):
    return shed(lay_grid(facets), np.array(outlets, float).reshape(-1, 2), np.array(inverts, float), edges)


def sqft(water):
    return water.area / 144


def test_the_demo_terrace_divides_at_its_ridge():
    # Worked demo: ridge at x = 128, 0.240 in/ft to the left and 0.262 to the right; S1 152 and S2 148 sq ft.
    outline = Polygon([(0, 0), (258.54, 0), (263.88, 155.81), (-6.39, 170.53)])
    left, right = outline.intersection(box(-50, -50, 128, 300)), outline.intersection(box(128, -50, 400, 300))
    facets = [plane(left, -8.06 - 0.02 * 128, 0.02, 0), plane(right, -8.06 + 0.262 / 12 * 128, -0.262 / 12, 0)]
    water = drained(facets, [(-4, 158), (262, 146)], [-10.6875, -11.0625])
    assert sqft(water)[:2] == pytest.approx([152, 148], abs=0.5)
    assert sqft(water)[:2] == pytest.approx([left.area / 144, right.area / 144], abs=0.05)
    assert standing(water, 0.125) == ()


def test_areas_add_up_to_the_roof_whatever_its_shape():
    outline = Polygon([(0, 0), (140, 0), (140, 60), (220, 60), (210, 190), (-10, 170)])
    water = drained([plane(outline, 0, 0.011, -0.017)], [(0, 160), (205, 185), (139, 5)], [-3, -3, 2])
    assert sqft(water).sum() == pytest.approx(outline.area / 144, rel=1e-9)


def test_two_scuppers_in_a_level_wall_halve_the_roof_between_them():
    # 240 x 120 in, 1/4 in/ft straight to the wall at y = 0, scuppers at x = 60 and x = 180: half each.
    water = drained([plane(box(0, 0, 240, 120), 0, 0, 0.25 / 12)], [(60, 0), (180, 0)], [0, 0])
    assert sqft(water)[:2] == pytest.approx([100, 100], rel=0.03)


def test_a_wall_that_falls_one_way_sends_the_water_to_the_lower_scupper():
    # Falling to the wall at y = 0 and along it to x = 0: what comes to the wall beyond x = 180 takes the upper scupper,
    # the rest the lower. Fall lines run back at 3 : 1, so the upper one drains 60 x 120 less 40 x 120 / 2.
    # A scupper is one cell wide: which side of it water passes is known to a cell or so, over the 120 in.
    roof = plane(box(0, 0, 240, 120), 0, 0.005, 0.015)
    water = drained([roof], [(0, 0), (180, 0)], [0, 0.9])
    assert sqft(water)[1] == pytest.approx((60 * 120 - 40 * 120 / 2) / 144, abs=water.grid.size * 120 / 144)


@pytest.mark.parametrize("turn", [0, 10, 22.5, 37, 45, 80])
def test_turning_the_roof_on_the_plan_turns_the_areas_with_it(turn):
    # A square of 120 in that falls 1 : 2 towards an open side below and a wall at the left. The wall's water runs down
    # it to a scupper in the corner: a triangle of 60 x 120 / 2 sq in, 25 of 100 sq ft; the rest leaves over the edge.
    c, s = math.cos(math.radians(turn)), math.sin(math.radians(turn))
    sx, sy = 0.01, 0.02
    roof = plane(affinity.rotate(box(0, 0, 120, 120), turn, (0, 0)), 5, c * sx - s * sy, s * sx + c * sy)
    bottom = affinity.rotate(LineString([(0, 0), (120, 0)]), turn, (0, 0))
    water = drained([roof], [(0, 0)], [0], [bottom])
    assert sqft(water).sum() == pytest.approx(100, rel=1e-9)
    # The corner is both scupper and end of the edge: a cell or so is in doubt. Water that only ran along rows, columns
    # and diagonals would give the scupper 50 or nothing at some turns.
    assert sqft(water) == pytest.approx([25, 75], abs=water.grid.size * 120 / 144)


def test_water_stands_in_the_wedge_below_a_high_scupper():
    # Hand geometry: 10 x 10 ft, 1/4 in/ft to a parapet, invert 1/2 in above the low edge: 20 sq ft, 0.41667 cu ft.
    water = drained([plane(box(0, 0, 120, 120), 0, 0.25 / 12, 0)], [(0, 60)], [0.5])
    pond, = standing(water, 0.125)
    assert pond.area_sqft == pytest.approx(20, rel=1e-9)
    assert pond.depth == pytest.approx(0.5, rel=1e-9)
    assert pond.volume_gal == pytest.approx(3.117, abs=0.001)
    assert set(pond.as_json()) == {"polygon", "area_sqft", "depth", "volume_gal"}


def test_water_stands_in_a_valley_that_falls_away_from_its_scupper():
    # A valley along y = 60, 1/4 in/ft from both sides, falling 0.005 in/in to a wall at x = 0, scupper at x = 120:
    # it fills to the scupper, 0.6 in deep at the wall.
    sides = [plane(box(0, 0, 120, 60), 0.25 / 12 * 60, 0.005, -0.25 / 12),
             plane(box(0, 60, 120, 120), -0.25 / 12 * 60, 0.005, 0.25 / 12)]
    pond, = standing(drained(sides, [(120, 60)], [0.6]), 0.125)
    reach = 0.6 / (0.25 / 12)  # either side of the valley, at the wall
    assert pond.depth == pytest.approx(0.6, abs=1e-6)
    assert pond.area_sqft == pytest.approx(120 * reach / 144, rel=1e-3)  # a triangle each side
    # two wedges with a triangle for base: a third of depth times area
    assert pond.volume_gal == pytest.approx(0.6 * 120 * reach / 3 / 231, rel=1e-3)


def test_a_valley_askew_to_the_cells_holds_no_false_ponds():
    # 3 in/ft either side of a valley at 30 degrees that falls to the low corner: steep, so any stair would show.
    u = np.array([math.cos(math.radians(30)), math.sin(math.radians(30))])
    n = np.array([-u[1], u[0]])
    outline = box(0, 0, 200, 160)
    cut = Polygon([(0, 0), tuple(400 * u), tuple(400 * u + 400 * n), tuple(400 * n)])
    above, below = outline.intersection(cut), outline.difference(cut)
    facets = [plane(above, 0, *(0.02 * u + 0.25 * n)), plane(below, 0, *(0.02 * u - 0.25 * n))]
    assert standing(drained(facets, [(0, 0)], [0]), 0.02) == ()


@pytest.mark.parametrize("skew", [3, 11, 40])
def test_a_steep_roof_with_a_skewed_wall_holds_no_false_ponds(skew):
    outline = Polygon([(0, 0), (200, 0), (200, 150), (-skew, 150)])
    # 1 in/ft square to the skewed wall, and a little along it to the scupper at its far end
    out = np.array([-150, -skew]) / math.hypot(150, skew)
    along = np.array([-skew, 150]) / math.hypot(150, skew)
    roof = plane(outline, 0, *(-out / 12 - along * 0.002))
    assert standing(drained([roof], [(-skew, 150)], [-99]), 0.05) == ()


def test_surfaces_agree_with_an_independent_fill():
    # scikit-image's morphological reconstruction, eight neighbours, on the same cells.
    outline = Polygon([(0, 0), (150, 10), (140, 120), (60, 150), (-20, 100)])
    half = box(-50, -50, 70, 300)
    facets = [plane(outline.intersection(half), 1.4, -0.02, 0.004), plane(outline.difference(half), -1.4, 0.02, 0.004)]
    water = drained(facets, [(150, 10)], [0.0])
    grid = water.grid
    z = grid.z.reshape(grid.shape)
    walled = np.where(np.isfinite(z), z, 99.0)
    seed = np.full_like(walled, 99.0)
    at = np.unravel_index(grid.cells(np.array([[150, 10]]))[0], grid.shape)
    seed[at] = walled[at]
    filled = reconstruction(seed, walled, method="erosion", footprint=np.ones((3, 3)))
    on = np.isfinite(z)
    np.testing.assert_allclose(water.level.reshape(grid.shape)[on], filled[on], atol=1e-9)


def test_water_between_a_ridge_and_the_house_stands_up_to_the_ridge():
    # Ridge along y = 60 at 0, 1/2 in/ft to both sides, the only scupper beyond it: 2.5 in deep at the house, a wedge.
    fall = 0.5 / 12
    facets = [plane(box(0, 0, 200, 60), -60 * fall, 0, fall), plane(box(0, 60, 200, 120), 60 * fall, 0, -fall)]
    pond, = standing(drained(facets, [(100, 120)], [-60 * fall]), 0.125)
    assert (pond.surface, pond.depth) == (pytest.approx(0, abs=1e-6), pytest.approx(2.5, abs=1e-6))
    assert pond.volume_gal == pytest.approx(200 * 60 * 2.5 / 2 / 231, rel=1e-6)


def test_open_edges_let_water_off_and_no_way_out_is_said():
    roof = plane(box(0, 0, 120, 120), 0, 0.02, 0)
    assert drained([roof], [], []) is None
    water = drained([roof], [], [], [LineString([(0, 0), (0, 120)])])
    assert sqft(water) == pytest.approx([100])
    assert standing(water, 0.05) == ()


def test_a_level_roof_drains_to_the_nearer_of_its_drains():
    water = drained([plane(box(0, 0, 200, 100), 0, 0, 0)], [(50, 50), (150, 50)], [0, 0])
    assert water.area[:2].sum() == pytest.approx(20_000)
    assert water.area[0] == pytest.approx(10_000, rel=0.04)
    assert int(water.serving(np.array([[10, 50]]))[0]) == 0
    assert int(water.serving(np.array([[190, 50]]))[0]) == 1


def test_a_blocked_basin_runs_over_its_ridge():
    # Ridge at x = 60, level 0; 1/4 in/ft to both walls: each side spills at the ridge.
    fall = 0.25 / 12
    facets = [plane(box(0, 0, 60, 100), -60 * fall, fall, 0), plane(box(60, 0, 120, 100), 60 * fall, -fall, 0)]
    water = drained(facets, [(0, 50), (120, 50)], [-60 * fall] * 2)
    assert water.spill[:2] == pytest.approx([0, 0], abs=1e-9)
    assert sqft(water)[:2] == pytest.approx([41.667, 41.667], rel=1e-3)
