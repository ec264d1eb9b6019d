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
