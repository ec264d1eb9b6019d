"""Further tapes: which ones, and how few, would tell readings in doubt from each other.

A part of the adjustment stage.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence, Set
from dataclasses import dataclass
from itertools import combinations

import numpy as np
import shapely
from scipy.sparse.csgraph import connected_components

from framing.engine.closure import MISCLOSURE_FROM, Fit, correlation, critical_value
from framing.engine.network import Bools, Floats, Ints
from framing.reference import surveying

LEAST_TAPE = 12.0  # a shorter tape fixes nothing [in]
OVER_EDGE = 3.0  # a tape may run this far outside the corners' lines [in]
_MOST_TAPES = 3  # further ones asked for together
_CARRIED = 2_000  # sets of them looked at for each size, or four from every candidate


@dataclass(frozen=True)
class Extra:
    """Further tapes, each by its two ends, and the groups into which they would part the doubtful readings.

    They `settle` a doubt if afterwards a slip in each doubtful reading shows, and can be told from one in any other
    reading, the further ones included. A slip under `least` [in] would stay hidden whichever doubtful reading it is
    in, one under `most` [in] in the one checked least, `weakest`.
    """

    tapes: tuple[tuple[str, str], ...]
    groups: tuple[tuple[int, ...], ...]
    settle: bool
    least: float
    most: float
    weakest: int


@dataclass(frozen=True)
class _Trial:
    """Candidates for further tapes and how they bear on the readings, all weighted by their standard errors.

    Attributes
    ----------
    rows : the doubtful readings, then others that cannot be told from one of them; length r
    cofactor : ndarray, shape (r, r)
    bearing : ndarray, shape (r, candidates)
        Covariance of adjusted readings with adjusted candidates.
    among : ndarray, shape (candidates, candidates)
        Covariance of adjusted candidates.
    length : ndarray, shape (candidates,), and walk : ndarray of bool
        Of each tape [in], and whether it needs a walk over the roof, neither end being given.
    """

    rows: tuple[int, ...]
    doubtful: int
    cofactor: Floats
    bearing: Floats
    among: Floats
    length: Floats
    walk: Bools

    def after(self, sets: Ints) -> tuple[Floats, Bools]:
        """Each set of k candidates, shape (s, k), added in thought to the normal equations.

        Returns
        -------
        redundancy : ndarray, shape (s, doubtful)
        mixed : ndarray of bool, shape (s, doubtful, r + k)
            Whether a doubtful reading cannot be told from another one, or from a further tape.
        """
        bearing = self.bearing[:, sets].transpose(1, 0, 2)
        weight = np.linalg.inv(np.eye(sets.shape[1]) + self.among[sets[:, :, None], sets[:, None, :]])
        shared = bearing @ weight
        cofactor = np.concatenate([
            np.concatenate([self.cofactor + shared @ bearing.transpose(0, 2, 1), -shared], axis=2),
            np.concatenate([-shared.transpose(0, 2, 1), weight], axis=2),
        ], axis=1)  # fmt: skip
        mixed = correlation(cofactor)[:, : self.doubtful] >= surveying.INSEPARABLE
        mixed[:, np.arange(self.doubtful), np.arange(self.doubtful)] = False
        redundancy = np.diagonal(cofactor, axis1=1, axis2=2)[:, : self.doubtful]
        return np.clip(redundancy, 1e-9, 1.0), mixed

    def ranked(self, sets: Ints) -> Ints:
        """Sets in order of worth, best first.

        A set is better the fewer doubtful readings it leaves unchecked, the fewer pairs inseparable, the smaller the
        slips that show; then the more of its tapes run to a given point, which needs no walk over the roof, then the
        shorter they are.
        """
        redundancy, mixed = self.after(sets)
        return np.asarray(sets[np.lexsort((
            self.length[sets].sum(axis=1), self.walk[sets].sum(axis=1), -np.round(redundancy.min(axis=1), 1),
            mixed.sum(axis=(1, 2)), (redundancy < MISCLOSURE_FROM).sum(axis=1),
        ))])  # fmt: skip

    def settles(self, chosen: Ints) -> bool:
        """Whether a set leaves no doubtful reading unchecked and none inseparable from another reading."""
        redundancy, mixed = self.after(chosen[None])
        return bool((redundancy >= MISCLOSURE_FROM).all() and not mixed.any())


def further_tapes(
    found: Fit,
    doubtful: Sequence[int],
    candidates: Sequence[tuple[str, str]],
    points: dict[str, tuple[float, float]],
    given: set[str],
    *,
    outside_sigma: float,
    readings: int,
) -> tuple[Extra, ...]:
    """The best one further tape; after it, where that does not settle which reading slipped, the fewest that do.

    Sets of up to three tapes are looked through, each from the best sets of one less; where none of them settles the
    doubt the best one stands alone, and where there is no candidate nothing does.

    Parameters
    ----------
    doubtful : rows of `found`
    candidates : pairs of names of `points`
    points : name to x, y [in]
    given : names of points with a position
    outside_sigma : standard error of positions outside the network [in]
    readings : readings tested together, the new ones left out
    """
    if not candidates or not len(doubtful):
        return ()
    trial = _trial(found, doubtful, candidates, points, given, outside_sigma)

    def extra(chosen: Ints) -> Extra:
        redundancy, mixed = (part[0] for part in trial.after(chosen[None]))
        power = (critical_value(readings + len(chosen)) + surveying.POWER_QUANTILE) * found.net.sigma
        return Extra(
            tuple(candidates[k] for k in chosen),
            _connected(doubtful, mixed[:, : len(doubtful)]),
            trial.settles(chosen),
            power / float(np.sqrt(redundancy.max())),
            power / float(np.sqrt(redundancy.min())),
            doubtful[int(redundancy.argmin())],
        )

    every = np.arange(len(candidates))
    carried = max(_CARRIED // len(every), 4)
    sets = trial.ranked(every[:, None])
    best = extra(sets[0])
    for _ in range(1, _MOST_TAPES):
        if trial.settles(sets[0]):
            break
        sets = np.column_stack([np.repeat(sets[:carried], len(every), axis=0), np.tile(every, len(sets[:carried]))])
        sets = np.sort(sets[(sets[:, :-1] != sets[:, -1:]).all(axis=1)], axis=1)
        if not len(sets):
            return (best,)
        sets = trial.ranked(sets[np.unique(sets @ len(every) ** np.arange(sets.shape[1]), return_index=True)[1]])
    return (best, extra(sets[0])) if not best.settle and trial.settles(sets[0]) else (best,)


def _trial(
    found: Fit,
    doubtful: Sequence[int],
    candidates: Sequence[tuple[str, str]],
    points: dict[str, tuple[float, float]],
    given: set[str],
    outside_sigma: float,
) -> _Trial:
    net, normal = found.net, found.normal
    at = {name: k for k, name in enumerate(net.names)}
    ends = np.array([[points[name] for name in pair] for pair in candidates])
    step = ends[:, 0] - ends[:, 1]
    length = np.hypot(*step.T)
    pull = np.zeros((len(net.names), 2, len(candidates)))
    variance = np.full(len(candidates), net.sigma**2)
    for k, pair in enumerate(candidates):
        for name, sign in zip(pair, (1.0, -1.0), strict=True):
            if name in at:
                pull[at[name], :, k] = sign * step[k] / length[k]
            else:
                variance[k] += outside_sigma**2
    pulls = pull[net.free] / np.sqrt(variance)
    moved = normal.solve(pulls)
    near = (found.alike(doubtful) >= surveying.INSEPARABLE).any(axis=1)
    rows = (*doubtful, *(int(k) for k in np.flatnonzero(near) if k not in set(doubtful)))
    return _Trial(
        rows, len(doubtful), found.cofactor(rows), normal.readings(moved)[list(rows)], pulls.T @ moved, length,
        np.array([not set(pair) & given for pair in candidates]),
    )  # fmt: skip


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
    return that_run(pairs, points, outline, found.net.taped)


def that_run(
    pairs: Sequence[tuple[str, str]],
    points: Mapping[str, tuple[float, float]],
    outline: Sequence[str],
    taped: Set[frozenset[str]],
) -> list[tuple[str, str]]:
    """Those pairs of names that a tape can run between: read before, or over the roof all the way and a foot long."""
    if not pairs:
        return []
    ends = np.array([[points[name] for name in pair] for pair in pairs])
    ok = np.hypot(*(ends[:, 0] - ends[:, 1]).T) >= LEAST_TAPE
    if set(outline) <= set(points):
        roof = shapely.Polygon([points[name] for name in outline]).buffer(OVER_EDGE)
        shapely.prepare(roof)
        ok &= shapely.covers(roof, shapely.linestrings(ends))
    return [pair for pair, free in zip(pairs, ok, strict=True) if free or frozenset(pair) in taped]
