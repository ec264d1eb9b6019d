"""A network of tapes and positions, and its least-squares fit."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csc_array, csc_matrix
from scipy.sparse.linalg import SuperLU, splu

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

_RIDGE = 1e-13  # added to the normal equations, as a share of their greatest diagonal, so that they can be solved


@dataclass(frozen=True)
class Network:
    """Points, what is known of them and what was measured between them.

    Attributes
    ----------
    names : tuple of str, length n
    known : ndarray, shape (n, 2)
        Coordinates given beforehand, NaN where there are none. [in]
    free : ndarray of bool, shape (n, 2)
        Coordinates that the adjustment may move.
    ends : ndarray of int, shape (t, 2)
        The two points of each tape.
    place : ndarray of int, shape (t,)
        Where each tape stands in the survey's list.
    length, sigma : ndarray, shape (t,), and float
        Tape readings and the standard error of one. [in]
    observed : ndarray of int, shape (q,)
        Points whose known coordinates are readings with the standard error `position_sigma`. [in]
    axis : tuple of two int, or None
        Origin and point on the x axis, where the frame is the first side's own.
    """

    names: tuple[str, ...]
    known: Floats
    free: Bools
    ends: Ints
    place: Ints
    length: Floats
    sigma: float
    observed: Ints
    position_sigma: float
    axis: tuple[int, int] | None

    @property
    def rows(self) -> int:
        """Number of readings: tapes, then x and y of each observed position."""
        return len(self.length) + 2 * len(self.observed)

    @cached_property
    def number(self) -> Ints:
        """Place of every coordinate among the free ones, shape (n, 2); the count of those where it is not free."""
        number = np.full(self.free.shape, int(self.free.sum()))
        number[self.free] = np.arange(self.free.sum())
        return number

    @cached_property
    def columns(self) -> Ints:
        """Numbers of the coordinates that each reading depends on, shape (rows, 4): two ends of a tape, or one place.

        The count of free coordinates stands where there is none.
        """
        places = np.full((2 * len(self.observed), 4), int(self.free.sum()))
        places[:, 0] = self.number[self.observed].ravel()
        return np.concatenate([self.number[self.ends].reshape(-1, 4), places])

    @cached_property
    def pattern(self) -> Pattern:
        """Where the normal equations of this network have entries."""
        return _pattern(self.columns, int(self.free.sum()))

    @cached_property
    def near(self) -> tuple[dict[int, float], ...]:
        """For each point the others that a tape ties to it, and the tape's length; the median of repeated ones. [in]"""
        read: dict[tuple[int, int], list[float]] = {}
        for (a, b), tape in zip(np.sort(self.ends, axis=1).tolist(), self.length.tolist(), strict=True):
            read.setdefault((a, b), []).append(tape)
        near: list[dict[int, float]] = [{} for _ in self.names]
        for (a, b), tapes in sorted(read.items()):
            near[a][b] = near[b][a] = float(np.median(tapes)) if len(tapes) > 1 else tapes[0]
        return tuple(dict(sorted(others.items())) for others in near)

    @property
    def two_sided(self) -> bool:
        """Whether nothing but the frame's own first side is given: the mirror image fits every reading as well."""
        return self.axis is not None and int((~np.isnan(self.known[:, 0])).sum()) == 1

    @property
    def taped(self) -> set[frozenset[str]]:
        """Pairs of points that a tape was read between."""
        return {frozenset(self.names[k] for k in pair) for pair in self.ends.tolist()}

    def reading(self, row: int) -> tuple[str, ...]:
        """The two points of a tape, or the one point of an observed position."""
        if row < len(self.length):
            return tuple(self.names[k] for k in self.ends[row])
        return (self.names[self.observed[(row - len(self.length)) // 2]],)

    def without(self, lost: Iterable[int]) -> Network:
        """The network with the `lost` points, and every reading that touches them, taken out."""
        keep = np.ones(len(self.names), dtype=bool)
        keep[list(lost)] = False
        number = np.cumsum(keep) - 1
        tapes = keep[self.ends].all(axis=1)
        axis = self.axis if self.axis is not None and keep[list(self.axis)].all() else None
        return replace(
            self,
            names=tuple(name for name, kept in zip(self.names, keep, strict=True) if kept),
            known=self.known[keep],
            free=self.free[keep],
            ends=number[self.ends[tapes]],
            place=self.place[tapes],
            length=self.length[tapes],
            observed=number[self.observed[keep[self.observed]]],
            axis=None if axis is None else (int(number[axis[0]]), int(number[axis[1]])),
        )


def slopes(net: Network, xy: Floats) -> Floats:
    """Weighted derivatives of every reading by the coordinates in `net.columns`, shape (..., rows, 4). [1/in]"""
    tapes = len(net.length)
    slope = np.zeros((*xy.shape[:-2], net.rows, 4))
    step = xy[..., net.ends[:, 0], :] - xy[..., net.ends[:, 1], :]
    unit = step / np.maximum(np.hypot(step[..., 0], step[..., 1]), 1e-9)[..., None] / net.sigma
    slope[..., :tapes, :2], slope[..., :tapes, 2:] = unit, -unit
    slope[..., tapes:, 0] = 1 / net.position_sigma
    return slope


def misfits(net: Network, xy: Floats) -> Floats:
    """(measured - computed) / sigma of every reading, shape (..., rows)."""
    step = xy[..., net.ends[:, 0], :] - xy[..., net.ends[:, 1], :]
    tapes = (net.length - np.hypot(step[..., 0], step[..., 1])) / net.sigma
    if not len(net.observed):
        return tapes
    places = (net.known[net.observed] - xy[..., net.observed, :]) / net.position_sigma
    return np.concatenate([tapes, places.reshape(*xy.shape[:-2], -1)], axis=-1)


# --- normal equations ------------------------------------------------------------------------------------------

@dataclass(frozen=True)
class Pattern:
    """Compressed columns of a sparse symmetric matrix, size (f, f), that products of readings are summed into.

    Attributes
    ----------
    rows, columns : ndarray of int32, shape (entries,)
        Row and column of each entry.
    starts : ndarray of int32, shape (f + 1,)
        Where each column's entries start.
    slot : ndarray of int, shape (16 readings,)
        Entry that each product of two of a reading's four derivatives belongs to; `entries` for none.
    diagonal : ndarray of int, shape (f,)
    """

    rows: NDArray[np.int32]
    columns: NDArray[np.int32]
    starts: NDArray[np.int32]
    slot: Ints
    diagonal: Ints


def _pattern(columns: Ints, count: int) -> Pattern:
    row, column = np.broadcast_arrays(columns[:, :, None], columns[:, None, :])
    key = np.where((row < count) & (column < count), column * count + row, count * count).ravel()
    on_diagonal = np.arange(count) * (count + 1)
    entries, slot = np.unique(np.concatenate([key, on_diagonal, [count * count]]), return_inverse=True)
    at_column, at_row = np.divmod(entries[:-1], max(count, 1))
    return Pattern(
        at_row.astype(np.int32),
        at_column.astype(np.int32),
        np.searchsorted(at_column, np.arange(count + 1)).astype(np.int32),
        slot[: len(key)],
        slot[len(key) : -1],
    )


def _summed(at: Ints, values: Floats, size: int) -> Floats:
    """Values, shape (m, ...), added up at the places `at` from 0 to `size`; the last is dropped. Shape (m, size)."""
    m = len(values)
    to = (np.arange(m)[:, None] * (size + 1) + at.ravel()).ravel()
    total = np.bincount(to, values.ravel(), m * (size + 1)).astype(np.float64)  # whole numbers where nothing is added
    return total.reshape(m, size + 1)[:, :size]


def products(pattern: Pattern, slope: Floats) -> Floats:
    """Entries of the normal equations of each of m shapes, shape (m, entries)."""
    return _summed(pattern.slot, slope[..., :, None] * slope[..., None, :], len(pattern.rows))


def factored(pattern: Pattern, entries: Floats) -> SuperLU:
    """The normal equations of m shapes, entries (m, entries), as one block diagonal matrix, factored."""
    m, count = len(entries), len(pattern.diagonal)
    shape = np.arange(m, dtype=np.int32)[:, None]
    rows = (pattern.rows + shape * np.int32(count)).ravel()
    starts = np.append(pattern.starts[:-1] + shape * pattern.starts[-1], m * pattern.starts[-1]).astype(np.int32)
    matrix = csc_matrix((entries.ravel(), rows, starts), shape=(m * count, m * count))
    return splu(matrix, permc_spec="MMD_AT_PLUS_A", diag_pivot_thresh=0.0, options={"SymmetricMode": True})


def fit(net: Network, starts: Floats, used: Bools | None = None, *, rounds: int = 60) -> Floats:
    """Least-squares coordinates from each of several starts.

    Parameters
    ----------
    starts : ndarray, shape (m, n, 2)
        Approximate coordinates. [in]
    used : ndarray of bool, shape (rows,)
        Readings that count; all of them by default.

    Returns
    -------
    ndarray, shape (m, n, 2)
        Coordinates where the sum of squared misfits is least near each start. [in]

    Notes
    -----
    Levenberg-Marquardt on the normal equations, all starts at once; each start has its own damping.
    """
    xy = np.array(starts, dtype=float)
    weight = np.ones(net.rows) if used is None else used.astype(float)
    m, count, pattern = len(xy), int(net.free.sum()), net.pattern
    if not count or not net.rows:
        return xy
    damping = np.full(m, 1e-6)
    v = misfits(net, xy) * weight
    cost = (v**2).sum(axis=-1)
    for _ in range(rounds):
        slope = slopes(net, xy) * weight[:, None]
        entries = products(pattern, slope)
        scale = np.maximum(entries[:, pattern.diagonal], 1e-12)
        entries[:, pattern.diagonal] += damping[:, None] * scale + _RIDGE * scale.max(axis=-1, keepdims=True)
        pull = _summed(net.columns, slope * v[..., None], count)
        step = factored(pattern, entries).solve(pull.ravel()).reshape(m, count)
        trial = xy.copy()
        trial[:, net.free] += step
        v_trial = misfits(net, trial) * weight
        cost_trial = (v_trial**2).sum(axis=-1)
        better = cost_trial <= cost * (1 + 1e-12) + 1e-12
        xy, v, cost = (
            np.where(better[:, None, None], trial, xy),
            np.where(better[:, None], v_trial, v),
            np.where(better, cost_trial, cost),
        )
        damping = np.clip(damping * np.where(better, 0.1, 10.0), 1e-12, 1e9)
        if np.abs(step[better]).max(initial=0.0) < 1e-9 and (better.any() or np.abs(step).max(initial=0.0) < 1e-9):
            break
    return xy


@dataclass(frozen=True)
class Normal:
    """The normal equations of one shape, solved: what the readings leave uncertain.

    Attributes
    ----------
    slope : ndarray, shape (rows, 4)
        Weighted derivatives by the coordinates in `net.columns`, 0 for readings left out. [1/in]
    """

    net: Network
    used: Bools
    slope: Floats
    factor: SuperLU

    def solve(self, right: Floats) -> Floats:
        """Covariance of the free coordinates times `right`, shape (free,) or (free, k)."""
        return np.asarray(self.factor.solve(right)) if len(right) else right

    def readings(self, x: Floats) -> Floats:
        """What each reading sees of small movements of the free coordinates, shape (free, k); shape (rows, k)."""
        padded = np.concatenate([x, np.zeros((1, x.shape[1]))])
        return np.asarray(np.einsum("rc,rck->rk", self.slope, padded[self.net.columns]))

    def pulls(self, rows: Sequence[int] | Ints) -> Floats:
        """Derivatives of some readings by all free coordinates, shape (free, k). [1/in]"""
        at, count = np.asarray(rows, dtype=int), int(self.net.free.sum())
        pull = np.zeros((count + 1, len(at)))
        np.add.at(pull, (self.net.columns[at], np.arange(len(at))[:, None]), self.slope[at])
        return pull[:count]

    def cofactor(self, rows: Sequence[int] | Ints) -> Floats:
        """Covariance of the weighted residuals of all readings with those of `rows`, shape (rows, k)."""
        at = np.asarray(rows, dtype=int)
        shared = -self.readings(self.solve(self.pulls(at)))
        shared[at, np.arange(len(at))] += self.used[at]
        return shared

    @cached_property
    def redundancy(self) -> Floats:
        """Share of a slip in each reading that its residual shows, 0 to 1; 0 for readings left out."""
        columns = self.net.columns
        between = self._covariance(columns[:, :, None], columns[:, None, :])
        shares = np.einsum("ri,rij,rj->r", self.slope, between, self.slope)
        return np.asarray(np.clip(self.used - shares, 0.0, 1.0))

    @cached_property
    def points(self) -> Floats:
        """Covariance of each point's x and y, shape (n, 2, 2). [in2]"""
        number = self.net.number
        return self._covariance(number[:, :, None], number[:, None, :])

    def _covariance(self, i: Ints, j: Ints) -> Floats:
        """Covariance of coordinates that some reading ties together, by number; 0 where one is not free. [in2]"""
        count = int(self.net.free.sum())
        i, j = np.broadcast_arrays(i, j)
        if not i.size or not count:
            return np.zeros(i.shape)
        both = (i < count) & (j < count)
        p, q = (self.factor.perm_c[np.where(both, k, 0)] for k in (i, j))
        entry = self._inverse[np.maximum(p, q).ravel(), np.minimum(p, q).ravel()]
        return np.where(both, np.asarray(entry).reshape(i.shape), 0.0)

    @cached_property
    def _inverse(self) -> csc_array:
        """Lower half of the covariance in the order of elimination, at the entries of the factor alone. [in2]

        K. Takahashi, J. Fagan and M. Chen, Proceedings of the 8th PICA Conference, 1973, pp. 63-69: the inverse at
        the entries of a column follows from those of later columns. Each column hands on the dense inverse of its own
        entries to the columns whose first entry it is.
        """
        pattern, pivot = self.net.pattern, self.factor.U.diagonal()
        at_row, at_column = (self.factor.perm_c[k] for k in (pattern.rows, pattern.columns))
        found = self.factor.L.tocoo()
        lower = csc_array((
            np.concatenate([found.data, np.zeros(len(at_row))]),  # entries that happen to be nought were dropped
            (np.concatenate([found.row, np.maximum(at_row, at_column)]),
             np.concatenate([found.col, np.minimum(at_row, at_column)])),
        ), shape=(len(pivot),) * 2)  # fmt: skip
        lower.sort_indices()
        columns = _filled(np.split(lower.indices, lower.indptr[1:-1]))
        waiting = [0] * len(columns)
        for at in columns:
            if len(at) > 1:
                waiting[at[1]] += 1
        known: dict[int, tuple[Ints, Floats]] = {}
        inverse = [np.zeros(0)] * len(columns)
        for j in reversed(range(len(columns))):
            at, own = columns[j], slice(lower.indptr[j], lower.indptr[j + 1])
            share = np.zeros(len(at))
            share[np.searchsorted(at, lower.indices[own])] = lower.data[own]
            dense = np.empty((len(at), len(at)))
            dense[0, 0] = 1 / pivot[j]
            if len(at) > 1:
                above, of_above = known[at[1]]
                place = np.searchsorted(above, at[1:])
                dense[1:, 1:] = of_above[place[:, None], place]
                dense[1:, 0] = dense[0, 1:] = -dense[1:, 1:] @ share[1:]
                dense[0, 0] -= dense[0, 1:] @ share[1:]
                waiting[at[1]] -= 1
                if not waiting[at[1]]:
                    del known[at[1]]
            if waiting[j]:
                known[j] = at, dense
            inverse[j] = dense[:, 0]
        starts = np.cumsum([0, *map(len, columns)])
        return csc_array((np.concatenate(inverse), np.concatenate(columns), starts), shape=(len(pivot),) * 2)


def _filled(columns: list[Ints]) -> list[Ints]:
    """Rows of each column of a factor, and those that fill in from columns before; all of them, nought or not."""
    for at in columns:
        if len(at) > 1:
            above = columns[at[1]]
            place = np.minimum(np.searchsorted(above, at[1:]), len(above) - 1)
            if (above[place] != at[1:]).any():
                columns[at[1]] = np.union1d(above, at[1:])
    return columns


def normal(net: Network, xy: Floats, used: Bools | None = None) -> Normal:
    """The normal equations at the shape `xy`, shape (n, 2), of the readings that are `used`."""
    used = np.ones(net.rows, dtype=bool) if used is None else used
    slope = slopes(net, xy) * used[:, None]
    entries = products(net.pattern, slope[None])
    scale = np.maximum(entries[:, net.pattern.diagonal], 1e-12)
    entries[:, net.pattern.diagonal] += _RIDGE * scale.max(initial=0.0)
    return Normal(net, used, slope, factored(net.pattern, entries) if net.free.any() else None)
