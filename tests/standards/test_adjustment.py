"""The adjustment against closed forms, another solver, and the theory of least squares."""

import itertools

import numpy as np
import pytest
from scipy.optimize import brentq, least_squares

from framing.engine.adjustment import adjust
from framing.engine.documents import parse_survey


def survey(corners, tapes, **fields):
    return parse_survey({
        "format": "roof-survey/1", "name": "check", "corners": list(corners), "tapes": tapes, "levels": [],
        "threshold": [corners[0]], **fields,
    })  # fmt: skip


def read_at(point):
    return [{"point": point, "drop": 1, "on": "roof"}]


def cayley_menger(d):
    """Cayley-Menger determinant of four points (K. Menger, Mathematische Annalen 100, 1928); 0 if they are coplanar."""
    matrix = np.ones((5, 5))
    matrix[0, 0] = 0
    matrix[1:, 1:] = np.asarray(d) ** 2
    return np.linalg.det(matrix)


@pytest.mark.parametrize("seed", range(12))
def test_misclosure_of_six_tapes_is_what_cayley_and_menger_leave_of_the_longest(seed):
    rng = np.random.default_rng(seed)
    xy = np.array([(0, 0), (240, 0), (250, 160), (-10, 170)]) + rng.uniform(-25, 25, (4, 2))
    d = np.linalg.norm(xy[:, None] - xy[None], axis=-1)
    pairs = list(itertools.combinations(range(4), 2))
    noise = rng.normal(0, 0.125, 6)
    for (i, j), e in zip(pairs, noise, strict=True):
        d[i, j] = d[j, i] = d[i, j] + e
    i, j = max(pairs, key=lambda pair: d[pair])

    scaled = d / 100  # keeps the determinant near 1

    def determinant(length):
        trial = scaled.copy()
        trial[i, j] = trial[j, i] = length / 100
        return cayley_menger(trial)

    given = brentq(determinant, d[i, j] - 3, d[i, j] + 3, xtol=1e-11)
    done = adjust(survey("ABCD", [["ABCD"[p], "ABCD"[q], float(d[p, q])] for p, q in pairs]))
    assert done.misclosure == pytest.approx(abs(d[i, j] - given), abs=1e-6)


@pytest.mark.parametrize("seed", range(12))
def test_residuals_equal_those_of_a_general_least_squares_solver(seed):
    rng = np.random.default_rng(100 + seed)
    names = "ABCDEF"
    turn = np.arange(6) * np.pi / 3 + rng.uniform(-0.2, 0.2, 6)
    xy = rng.uniform(130, 220, 6)[:, None] * np.column_stack([np.cos(turn), np.sin(turn)])
    pairs = [pair for pair in itertools.combinations(range(6), 2) if pair != (0, 1) or seed % 2]
    a, b = np.array(pairs).T
    read = np.linalg.norm(xy[a] - xy[b], axis=1) + rng.normal(0, 0.1, len(pairs))

    def misfit(p):
        q = p.reshape(6, 2)
        return read - np.linalg.norm(q[a] - q[b], axis=1)

    free = least_squares(misfit, xy.ravel(), xtol=1e-15, ftol=1e-15, gtol=1e-15)  # no frame: residuals need none
    done = adjust(survey(names, [[names[p], names[q], float(r)] for (p, q), r in zip(pairs, read, strict=True)]))
    assert done.suspects == ()
    assert [tape.residual for tape in done.tapes] == pytest.approx(misfit(free.x), abs=1e-6)


@pytest.mark.parametrize("corners", ["ABCD", "ABCDE"])
def test_redundancy_numbers_add_up_to_the_readings_left_over(corners):
    # trace of the residuals' cofactors = degrees of freedom (Baarda 1968): tapes less two a point, plus the frame's 3
    n = len(corners)
    turn = np.arange(n) * 2 * np.pi / n
    xy = 180 * np.column_stack([np.cos(turn), np.sin(turn)])
    tapes = [[corners[i], corners[j], float(np.hypot(*(xy[i] - xy[j])))]
             for i, j in itertools.combinations(range(n), 2)]  # fmt: skip
    done = adjust(survey(corners, tapes))
    assert sum(tape.redundancy for tape in done.tapes) == pytest.approx(len(tapes) - (2 * n - 3), abs=1e-9)


def test_square_with_both_diagonals_shares_a_misclosure_by_the_textbook_condition():
    # One condition for a square: k = v(AC) + v(BD) - (v of the four sides) / sqrt 2 = its misclosure. Equal weights
    # share it as (1, 1, -1/sqrt2 ...) / 4: condition adjustment, any textbook (from memory).
    side, slip = 120.0, 0.2
    diagonal = float(side * np.sqrt(2))
    tapes = [["A", "B", side], ["B", "C", side], ["C", "D", side], ["D", "A", side],
             ["A", "C", diagonal], ["B", "D", diagonal + slip]]  # fmt: skip
    done = adjust(survey("ABCD", tapes))
    expected = [-slip / 4 / np.sqrt(2)] * 4 + [slip / 4] * 2
    assert [tape.residual for tape in done.tapes] == pytest.approx(expected, abs=5e-4)  # the condition is linearised
    assert done.misclosure == pytest.approx(slip, abs=1e-3)


def test_standard_errors_and_area_error_are_those_of_repeated_surveys():
    rng = np.random.default_rng(4)
    xy = np.array([(0, 0), (240, 0), (250, 160), (-10, 170)], dtype=float)
    pairs = list(itertools.combinations(range(4), 2))
    exact = [float(np.hypot(*(xy[i] - xy[j]))) for i, j in pairs]
    surveys = []
    for _ in range(300):
        read = np.add(exact, rng.normal(0, 0.125, 6))
        tapes = [["ABCD"[i], "ABCD"[j], float(d)] for (i, j), d in zip(pairs, read, strict=True)]
        surveys.append(adjust(survey("ABCD", tapes)))
    for name in "BCD":
        spread = np.cov([(s.points[name].x, s.points[name].y) for s in surveys], rowvar=False)
        # 300 surveys tell a standard deviation to 4 %: four of those
        assert np.sqrt(np.linalg.eigvalsh(spread)[-1]) == pytest.approx(surveys[0].points[name].se, rel=0.16)
    assert np.std([s.area_sqft for s in surveys]) == pytest.approx(surveys[0].area_se, rel=0.16)


@pytest.mark.parametrize("seed", range(12))
def test_positions_with_an_error_of_their_own_and_tapes_agree_with_a_general_least_squares_solver(seed):
    rng = np.random.default_rng(300 + seed)
    names = "ABCDE"
    turn = np.arange(5) * 2 * np.pi / 5 + rng.uniform(-0.2, 0.2, 5)
    xy = rng.uniform(130, 220, 5)[:, None] * np.column_stack([np.cos(turn), np.sin(turn)])
    a, b = np.array(list(itertools.combinations(range(5), 2))).T
    read = np.linalg.norm(xy[a] - xy[b], axis=1) + rng.normal(0, 0.1, len(a))
    seen = np.sort(rng.permutation(5)[: 3 + seed % 3])  # two would fit mirrored as well
    place = xy[seen] + rng.normal(0, 0.3, (len(seen), 2))

    def misfit(p):
        q = p.reshape(5, 2)
        return np.concatenate([(read - np.linalg.norm(q[a] - q[b], axis=1)) / 0.1, ((place - q[seen]) / 0.3).ravel()])

    free = least_squares(misfit, xy.ravel(), xtol=1e-15, ftol=1e-15, gtol=1e-15)
    spread = np.linalg.inv(free.jac.T @ free.jac)
    done = adjust(survey(
        names, [[names[p], names[q], float(r)] for p, q, r in zip(a, b, read, strict=True)], tape_sigma=0.1,
        positions={names[k]: p.tolist() for k, p in zip(seen, place, strict=True)}, position_sigma=0.3,
    ))  # fmt: skip
    for k, name in enumerate(names):
        point, block = done.points[name], spread[2 * k : 2 * k + 2, 2 * k : 2 * k + 2]
        assert (point.x, point.y) == pytest.approx(free.x[2 * k : 2 * k + 2], abs=1e-6)
        assert [point.ellipse.b, point.ellipse.a] == pytest.approx(np.sqrt(np.linalg.eigvalsh(block)), rel=1e-4)


# --- a published figure ---------------------------------------------------------------------------------------------

# C. D. Ghilani, Adjustment Computations: Spatial Data Analysis, ch. 14, example of one station U from three control
# stations: their coordinates and the three distances, in feet (here taken as inches: the unit is the same throughout).
# The first coordinates of U, where the distances from A and B cross, are the book's from memory; it rounds an azimuth
# to the second, 0.02 ft over 6,000 ft. Its final coordinates are not at hand: those are worked below by its own
# method, the linearised observation equations of a distance, iterated.
CONTROL = {"A": [865.40, 4527.15], "B": [2432.55, 2047.25], "C": [2865.22, 27.15]}
DISTANCES = {"A": 6049.00, "B": 4736.83, "C": 5446.49}
FIRST_U = (6861.325, 3727.596)


def test_station_from_three_control_stations_is_the_book_s():
    outline = {"K": [0, 0], "L": [9000, 0], "M": [9000, 6000]}  # round U, so that of the two crossings it is taken
    tapes = [[name, "U", d] for name, d in DISTANCES.items()]
    first = adjust(survey("KLM", tapes[:2], positions={**CONTROL, **outline}))
    assert (first.points["U"].x, first.points["U"].y) == pytest.approx(FIRST_U, abs=0.02)

    u, control, d = np.array(FIRST_U), np.array(list(CONTROL.values())), np.array(list(DISTANCES.values()))
    for _ in range(6):
        step = u - control
        computed = np.hypot(*step.T)
        j, k = step / computed[:, None], d - computed
        u = u + np.linalg.solve(j.T @ j, j.T @ k)
    done = adjust(survey("KLM", tapes, positions={**CONTROL, **outline}))
    assert (done.points["U"].x, done.points["U"].y) == pytest.approx(u, abs=1e-5)
    assert [tape.residual for tape in done.tapes] == pytest.approx(d - np.hypot(*(u - control).T), abs=1e-5)


# --- ellipses -------------------------------------------------------------------------------------------------------

@pytest.mark.parametrize("angle", [90, 60, 30, 120, 150])
@pytest.mark.parametrize("turned", [0, 25, 110])
def test_ellipse_of_two_tapes_is_the_textbook_s(angle, turned):
    # Two distances that cross at the angle g: semi-axes s / sqrt(1 - |cos g|) and s / sqrt(1 + |cos g|), the longer
    # at right angles to the line that halves the sharp angle between the tapes; a circle of radius s where they cross
    # at right angles (any textbook of adjustment: the inverse of u u' + v v'; from memory).
    bearing = np.radians([turned, turned + angle])
    given = {name: (200 * np.array([np.cos(b), np.sin(b)])).tolist() for name, b in zip("AB", bearing, strict=True)}
    away = np.radians(turned + angle / 2 + np.array([60, 180, 300]))  # a triangle about P, clear of its mirror image
    corners = {name: [float(15 * np.cos(t)), float(15 * np.sin(t))] for name, t in zip("KLM", away, strict=True)}
    done = adjust(survey("KLM", [["A", "P", 200], ["B", "P", 200]], positions={**corners, **given},
                         levels=read_at("P"), tape_sigma=0.1))  # fmt: skip
    point, cosine = done.points["P"], abs(np.cos(np.radians(angle)))
    assert point.ellipse.a == pytest.approx(0.1 / np.sqrt(1 - cosine), rel=1e-6)
    assert point.ellipse.b == pytest.approx(0.1 / np.sqrt(1 + cosine), rel=1e-6)
    assert point.se == point.ellipse.a
    assert np.hypot(point.x, point.y) < 1  # the crossing at the origin: the outline holds that one alone
    if angle != 90:
        longer = turned + angle / 2 + (90 if angle < 90 else 0)
        assert (point.ellipse.direction - longer + 90) % 180 - 90 == pytest.approx(0, abs=1e-4)


def test_ellipses_are_those_of_repeated_surveys():
    rng = np.random.default_rng(8)
    xy = np.array([(0, 0), (240, 0), (250, 160), (-10, 170), (110, 60)], dtype=float)
    pairs = [(0, 1), (1, 2), (2, 3), (3, 0), (0, 2), (1, 4), (0, 4)]
    exact = [float(np.hypot(*(xy[i] - xy[j]))) for i, j in pairs]
    surveys = []
    for _ in range(400):
        read = np.add(exact, rng.normal(0, 0.125, len(pairs)))
        tapes = [["ABCDP"[i], "ABCDP"[j], float(d)] for (i, j), d in zip(pairs, read, strict=True)]
        surveys.append(adjust(survey("ABCD", tapes, levels=read_at("P"))))
    for name in "CDP":
        size, axes = np.linalg.eigh(np.cov([(s.points[name].x, s.points[name].y) for s in surveys], rowvar=False))
        ellipse = surveys[0].points[name].ellipse
        # 400 surveys tell a standard deviation to 3.5 %: four of those
        assert np.sqrt(size[::-1]) == pytest.approx([ellipse.a, ellipse.b], rel=0.14)
        found = np.degrees(np.arctan2(axes[1, 1], axes[0, 1]))
        assert abs((found - ellipse.direction + 90) % 180 - 90) < 12


# --- levelling ------------------------------------------------------------------------------------------------------

def test_loop_of_levels_shares_its_misclosure_by_the_number_of_set_ups():
    # A loop closes 0.24 low on its bench mark after six set-ups; each point takes the share of the set-ups up to it:
    # C. D. Ghilani and P. R. Wolf, Elementary Surveying, adjustment of simple level circuits (from memory).
    rises = [1.10, -0.40, 2.35, 0.80, -3.15]  # the sixth set-up reads the bench mark again
    heights = np.cumsum(rises)
    corners = {"A": [0, 0], "B": [100, 0], "C": [100, 100], "D": [0, 100]}
    done = adjust(parse_survey({
        "format": "roof-survey/1", "name": "loop", "corners": list("ABCD"), "threshold": ["A"],
        "positions": {**corners, **{f"L{k}": [10 * k, 50] for k in range(1, 7)}},
        "levels": [*({"point": f"L{k}", "drop": float(-h), "on": "roof"} for k, h in enumerate(heights, 1)),
                   {"point": "L6", "drop": 0.24, "on": "roof"}],
        "datum_checks": [{"after": 6, "drop": 0.24}],
    }))  # fmt: skip
    assert [level.z for level in done.levels[:5]] == pytest.approx(heights + 0.24 * np.arange(1, 6) / 6)
    assert done.levels[5].z == pytest.approx(0)
    assert done.datum_drift == pytest.approx(0.24)
