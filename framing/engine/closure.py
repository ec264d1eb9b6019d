"""Closure: readings that disagree with all others, figures that do not close, and the tape that would settle it."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import combinations

import numpy as np
import shapely
from scipy.sparse.csgraph import connected_components
from scipy.special import ndtri

from framing.engine.network import Bools, Floats, Network, cofactors, fit, misfits, slopes
from framing.reference import surveying

CHECKED = 1e-6  # redundancy number from which other readings check this one at all
MISCLOSURE_FROM = 0.05  # and from which what the others give is worth calling a misclosure
_TIED = 1 - 1e-6  # correlation of residuals that rise and fall as one


def critical_value(readings: int) -> float:
    """Standardised residual that one of so many sound readings passes with a chance of 1 % in all.

    Two-sided normal, the risk shared out after Sidak (Journal of the American Statistical Association 62, 1967).
    """
    risk = 1 - (1 - surveying.FAMILY_RISK) ** (1 / max(readings, 1))
    return float(ndtri(1 - risk / 2))


def correlation(cofactor: Floats) -> Floats:
    """Size of the correlation between standardised residuals, 0 to 1; 0 where nothing checks a reading."""
    size = np.sqrt(np.clip(np.diagonal(cofactor, axis1=-2, axis2=-1), 0.0, None))
    size = np.where(size**2 > CHECKED, size, np.inf)
    return np.asarray(np.abs(cofactor) / size[..., :, None] / size[..., None, :])


# --- suspects --------------------------------------------------------------------------------------------------

@dataclass(frozen=True)
class Fit:
    """The network as finally fitted.

    Attributes
    ----------
    xy : ndarray, shape (n, 2)
        Adjusted coordinates. [in]
    used : ndarray of bool, shape (rows,)
        Readings that were not left out.
    covariance : ndarray, shape (free, free)
        Of the free coordinates. [in2]
    cofactor : ndarray, shape (rows, rows)
        Covariance of the residuals over that of the readings; its diagonal is the redundancy numbers.
    misfit : ndarray, shape (rows,)
        (measured - adjusted) / sigma, of readings left out too.
    named : tuple of tuple of int
        Rows of suspect readings, worst first, each with those that tie with it.
    """

    net: Network
    xy: Floats
    used: Bools
    covariance: Floats
    cofactor: Floats
    misfit: Floats
    named: tuple[tuple[int, ...], ...]

    @cached_property
    def redundancy(self) -> Floats:
        """Share of a slip in each reading that its residual shows, 0 to 1; 0 for readings left out."""
        return np.clip(np.diag(self.cofactor), 0.0, 1.0)

    @cached_property
    def standardised(self) -> Floats:
        """Residual of each reading over that residual's standard error; 0 where nothing checks it."""
        return _standardised(self.misfit, self.redundancy)

    @cached_property
    def slip(self) -> Floats:
        """What each tape misses from the distance that the others give [in]; 0 where they hardly give one."""
        tapes = len(self.net.length)
        checked = self.redundancy[:tapes] > MISCLOSURE_FROM
        misses = self.misfit[:tapes] * self.net.sigma / np.where(checked, self.redundancy[:tapes], 1.0)
        return np.where(checked, misses, 0.0)

    def names(self, rows: Iterable[int]) -> list[str]:
        return ["-".join(self.net.reading(row)) for row in rows]


def _standardised(misfit: Floats, redundancy: Floats) -> Floats:
    checked = redundancy > CHECKED
    return np.where(checked, misfit / np.sqrt(np.where(checked, redundancy, 1.0)), 0.0)


def snoop(net: Network, xy: Floats, critical: float) -> Fit:
    """Data snooping: the worst reading that fails its test goes out, and the rest is adjusted again.

    Parameters
    ----------
    xy : ndarray, shape (n, 2)
        Coordinates near the fit. [in]
    critical : float
        Standardised residual from which a reading fails. [-]

    Notes
    -----
    W. Baarda, A Testing Procedure for Use in Geodetic Networks, 1968, one reading at a time. Where readings tie,
    one of them is set aside only to look for further suspects; the final fit keeps them all.
    """
    used, aside = np.ones(net.rows, dtype=bool), np.zeros(net.rows, dtype=bool)
    named: list[tuple[int, ...]] = []
    at = fit(net, xy[None], used)[0]
    while True:
        _, cofactor = cofactors(net, at, used & ~aside)
        w = np.abs(_standardised(misfits(net, at), np.diag(cofactor)))
        if not len(w) or w.max() <= critical:
            break
        worst = int(w.argmax())
        group = tuple(int(k) for k in np.flatnonzero(correlation(cofactor)[worst] >= _TIED))
        named.append(group)
        if len(group) == 1:
            used[worst] = False
        else:
            aside[worst] = True
        at = fit(net, at[None], used & ~aside)[0]
    at = fit(net, at[None], used)[0]
    covariance, cofactor = cofactors(net, at, used)
    return Fit(net, at, used, covariance, cofactor, misfits(net, at), tuple(named))


def gross_slips(found: Fit) -> tuple[int, ...]:
    """Tapes still in the fit that miss the others by more than any reading of them could be misread.

    Where tapes tie, one slip that is small enough in any of them explains them all.
    """
    tapes = len(found.net.length)
    foot, share = surveying.GROSS_SLIP
    over = np.abs(found.slip) / np.maximum(foot, share * found.net.length)
    alike = correlation(found.cofactor)[:tapes, :tapes] >= _TIED
    return tuple(int(k) for k in np.flatnonzero(over > 1) if over[alike[k]].min() > 1)


# --- figures ---------------------------------------------------------------------------------------------------

@dataclass(frozen=True)
class Figure:
    """What one tape (`row`) misses from the others of its figure (`rows`), measured less given by them. [in]"""

    misses: float
    row: int
    rows: tuple[int, ...]


def worst_figure(found: Fit) -> Figure | None:
    """The figure that closes worst: four points with all six tapes; in a network without any, one tape and all others.

    In a figure of six the longest tape is compared with what the other five give. Where a distance was read more
    than once its first reading stands for it. None where no reading is checked by others.
    """
    row_of: dict[tuple[int, int], int] = {}
    for row, (a, b) in enumerate(np.sort(found.net.ends, axis=1).tolist()):
        row_of.setdefault((a, b), row)
    after: dict[int, set[int]] = {}
    for a, b in row_of:
        after.setdefault(a, set()).add(b)
    fours = [
        tuple(row_of[pair] for pair in combinations((a, b, c, d), 2))
        for a, b in row_of
        for c in after[a] & after.get(b, set())
        for d in after[a] & after[b] & after.get(c, set())
    ]
    if fours:
        return max((_six(found, rows) for rows in fours), key=lambda figure: abs(figure.misses))
    if not found.slip.any():
        return None
    row, tapes = int(np.abs(found.slip).argmax()), len(found.net.length)
    alike = np.flatnonzero(correlation(found.cofactor)[row, :tapes] >= surveying.INSEPARABLE)
    return Figure(float(found.slip[row]), row, tuple(int(k) for k in alike))


def _six(found: Fit, rows: tuple[int, ...]) -> Figure:
    """The longest of six tapes against the distance that the other five give (law of cosines from the opposite side).

    Of the two distances that five tapes allow, the one on the side where the adjusted points lie counts.
    """
    net, xy = found.net, found.xy
    last = max(rows, key=lambda row: net.length[row])
    p, q = net.ends[last].tolist()
    r, s = sorted({k for row in rows for k in net.ends[row].tolist()} - {p, q})
    distance = {frozenset(net.ends[row].tolist()): float(net.length[row]) for row in rows}
    base = distance[frozenset((r, s))]
    place = []
    for k in (p, q):
        to_r, to_s = distance[frozenset((k, r))], distance[frozenset((k, s))]
        along = (base**2 + to_r**2 - to_s**2) / (2 * base)
        step, arm = xy[s] - xy[r], xy[k] - xy[r]
        side = np.sign(step[0] * arm[1] - step[1] * arm[0])
        place.append((along, side * np.sqrt(max(to_r**2 - along**2, 0.0))))
    given = float(np.hypot(place[0][0] - place[1][0], place[0][1] - place[1][1]))
    return Figure(float(net.length[last]) - given, last, rows)


# --- one more tape ---------------------------------------------------------------------------------------------

@dataclass(frozen=True)
class Extra:
    """One more tape: its ends, whether it repeats one, the groups into which it would part the doubtful readings.

    A slip under `least` [in] would still stay hidden, whichever reading it is in.
    """

    ends: tuple[str, str]
    repeat: bool
    groups: tuple[tuple[int, ...], ...]
    least: float


def best_extra(
    found: Fit,
    doubtful: Sequence[int],
    candidates: Sequence[tuple[str, str]],
    points: dict[str, tuple[float, float]],
    given: set[str],
    *,
    outside_sigma: float,
    readings: int,
) -> Extra | None:
    """The one further tape after which the doubtful readings can best be told from each other.

    Each candidate is added to the normal equations in thought. It is better the fewer doubtful readings it leaves
    unchecked, the fewer pairs of them inseparable, the smaller the slips that show; then if it runs to a `given`
    point, which needs no walk over the roof, then the shorter it is.

    Parameters
    ----------
    doubtful : rows of `found`
    candidates : pairs of names of `points`
    points : name to x, y [in]
    given : names of points with a position
    outside_sigma : standard error of positions outside the network [in]
    readings : readings tested together, the new one left out
    """
    if not candidates or not len(doubtful):
        return None
    net = found.net
    at = {name: k for k, name in enumerate(net.names)}
    ends = np.array([[points[name] for name in pair] for pair in candidates])
    step = ends[:, 0] - ends[:, 1]
    length = np.hypot(*step.T)
    full = np.zeros((len(candidates), len(net.names), 2))
    variance = np.full(len(candidates), net.sigma**2)
    for k, pair in enumerate(candidates):
        for name, sign in zip(pair, (1.0, -1.0), strict=True):
            if name in at:
                full[k, at[name]] = sign * step[k] / length[k]
            else:
                variance[k] += outside_sigma**2
    rows = full[:, net.free]
    shift = rows @ found.covariance @ slopes(net, found.xy)[list(doubtful)].T
    scale = variance + np.einsum("ki,ij,kj->k", rows, found.covariance, rows)
    after = found.cofactor[np.ix_(doubtful, doubtful)] + shift[:, :, None] * shift[:, None, :] / scale[:, None, None]
    mixed = (correlation(after) >= surveying.INSEPARABLE) & ~np.eye(len(doubtful), dtype=bool)
    redundancy = np.clip(np.diagonal(after, axis1=1, axis2=2), 1e-9, 1.0)

    def worth(k: int) -> tuple[int, int, float, bool, float]:
        unchecked = int((redundancy[k] < MISCLOSURE_FROM).sum())
        to_given = bool(set(candidates[k]) & given)
        return unchecked, int(mixed[k].sum()), -round(float(redundancy[k].min()), 1), not to_given, float(length[k])

    best = min(range(len(candidates)), key=worth)
    power = critical_value(readings + 1) + surveying.POWER_QUANTILE
    return Extra(
        candidates[best],
        frozenset(candidates[best]) in net.taped,
        _connected(doubtful, mixed[best]),
        power * net.sigma / float(np.sqrt(redundancy[best].max())),
    )


def _connected(rows: Sequence[int], linked: Bools) -> tuple[tuple[int, ...], ...]:
    """Rows that hang together by links, smallest group first."""
    _, label = connected_components(linked, directed=False)
    groups = [tuple(row for row, k in zip(rows, label, strict=True) if k == g) for g in range(label.max() + 1)]
    return tuple(sorted(groups, key=len))


def reachable(
    names: Sequence[str], points: dict[str, tuple[float, float]], outline: Sequence[str], found: Fit
) -> list[tuple[str, str]]:
    """Pairs of names that a tape can run between and that are not both fixed.

    A tape that was read can be read again; another one must stay over the roof and be a foot long.
    """
    at = {name: k for k, name in enumerate(found.net.names)}
    fixed = {name for name in names if name not in at or not found.net.free[at[name]].any()}
    pairs = [pair for pair in combinations(names, 2) if not set(pair) <= fixed]
    if not pairs:
        return []
    ends = np.array([[points[name] for name in pair] for pair in pairs])
    ok = np.hypot(*(ends[:, 0] - ends[:, 1]).T) >= 12.0
    if set(outline) <= set(points):
        roof = shapely.Polygon([points[name] for name in outline]).buffer(3.0)
        shapely.prepare(roof)
        ok &= shapely.covers(roof, shapely.linestrings(ends))
    return [pair for pair, free in zip(pairs, ok, strict=True) if free or frozenset(pair) in found.net.taped]
