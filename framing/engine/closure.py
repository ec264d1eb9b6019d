"""Closure: readings that disagree with all others, figures that do not close."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from scipy.special import ndtri

from framing.engine.network import Bools, Floats, Ints, Network, Normal, fit, misfits, normal
from framing.reference import surveying

CHECKED = 1e-6  # redundancy number from which other readings check this one at all
MISCLOSURE_FROM = 0.05  # and from which what the others give is worth calling a misclosure
_TIED = 1 - 1e-6  # correlation of residuals that rise and fall as one
_MOST_NAMED = 100  # suspects after which a survey is beyond telling what is wrong with it


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
    normal : Normal
        The normal equations at `xy` of the readings used.
    misfit : ndarray, shape (rows,)
        (measured - adjusted) / sigma, of readings left out too.
    named : tuple of tuple of int
        Rows of suspect readings, worst first, each with those that it cannot be told from. The first of a group is
        left out, unless others tie with it.
    """

    net: Network
    xy: Floats
    used: Bools
    normal: Normal
    misfit: Floats
    named: tuple[tuple[int, ...], ...]

    @property
    def redundancy(self) -> Floats:
        """Share of a slip in each reading that its residual shows, 0 to 1; 0 for readings left out."""
        return self.normal.redundancy

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

    def alike(self, rows: Sequence[int]) -> Floats:
        """Size of the correlation of all readings' standardised residuals with those of `rows`, 0 to 1."""
        return _alike(self.normal, rows)

    def cofactor(self, rows: Sequence[int]) -> Floats:
        """Covariance of the weighted residuals of some readings, shape (k, k)."""
        return self.normal.cofactor(rows)[list(rows)]

    def names(self, rows: Iterable[int]) -> list[str]:
        return ["-".join(self.net.reading(row)) for row in rows]


def _alike(normal: Normal, rows: Sequence[int]) -> Floats:
    size = np.sqrt(np.where(normal.redundancy > CHECKED, normal.redundancy, np.inf))
    return np.asarray(np.abs(normal.cofactor(rows)) / size[:, None] / size[list(rows)])


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
    W. Baarda, A Testing Procedure for Use in Geodetic Networks, 1968, one reading at a time. Others that stand almost
    as bad and are inseparable from it are named with it. Where readings tie, one of them is set aside only to look
    for further suspects; the final fit keeps them all.
    """
    used, aside = np.ones(net.rows, dtype=bool), np.zeros(net.rows, dtype=bool)
    named: list[tuple[int, ...]] = []
    while True:
        xy = fit(net, xy[None], used & ~aside)[0]
        now = normal(net, xy, used & ~aside)
        w = np.abs(_standardised(misfits(net, xy), now.redundancy))
        if w.max(initial=0.0) <= critical or len(named) == _MOST_NAMED:
            break
        worst = int(w.argmax())
        alike = _alike(now, [worst])[:, 0]
        named.append(_doubted(w, alike, critical))
        if (alike >= _TIED).sum() == 1:
            used[worst] = False
        else:
            aside[worst] = True
    if aside.any():
        xy = fit(net, xy[None], used)[0]
        now = normal(net, xy, used)
    return Fit(net, xy, used, now, misfits(net, xy), tuple(named))


def _doubted(w: Floats, alike: Floats, critical: float) -> tuple[int, ...]:
    """The worst reading, and those that fail too and may as well have slipped, worst first.

    Of two standardised residuals with the correlation r the difference has the standard error sqrt(2 - 2 r).
    """
    less = w.max() - w <= surveying.POWER_QUANTILE * np.sqrt(np.maximum(2 - 2 * alike, 0.0)) + 1e-3
    rows = np.flatnonzero((alike >= surveying.INSEPARABLE) & less & ((w > critical) | (alike >= _TIED)))
    return tuple(rows[np.argsort(-np.round(w[rows], 4), kind="stable")].tolist())


def gross_slips(found: Fit) -> tuple[int, ...]:
    """Tapes still in the fit that miss the others by more than any reading of them could be misread.

    Where tapes tie, one slip that is small enough in any of them explains them all.
    """
    tapes = len(found.net.length)
    foot, share = surveying.GROSS_SLIP
    over = np.abs(found.slip) / np.maximum(foot, share * found.net.length)
    wild = np.flatnonzero(over > 1).tolist()
    return tuple(k for k in wild if over[found.alike([k])[:tapes, 0] >= _TIED].min() > 1)


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
    fours = _fours(found.net)
    if len(fours):
        misses, last = _six(found, fours)
        worst = int(np.abs(misses).argmax())
        return Figure(float(misses[worst]), int(last[worst]), tuple(fours[worst].tolist()))
    if not found.slip.any():
        return None
    row, tapes = int(np.abs(found.slip).argmax()), len(found.net.length)
    alike = np.flatnonzero(found.alike([row])[:tapes, 0] >= surveying.INSEPARABLE)
    return Figure(float(found.slip[row]), row, tuple(int(k) for k in alike))


def _fours(net: Network) -> Ints:
    """Rows of the tapes of every four points that have all six, shape (f, 6): ab, ac, ad, bc, bd, cd."""
    row_of: dict[tuple[int, int], int] = {}
    for row, (a, b) in enumerate(np.sort(net.ends, axis=1).tolist()):
        row_of.setdefault((a, b), row)
    local = {k: i for i, k in enumerate(k for k, others in enumerate(net.near) if len(others) > 2)}
    table = np.full((len(local),) * 2, -1)
    for (a, b), row in row_of.items():
        if a in local and b in local:
            table[local[a], local[b]] = row
    after = table >= 0
    fours: list[Ints] = [np.zeros((0, 6), dtype=int)]
    for a, b in np.argwhere(after).tolist():
        both = np.flatnonzero(after[a] & after[b])
        i, j = np.nonzero(after[both[:, None], both])
        c, d = both[i], both[j]
        fours.append(np.column_stack([np.full(len(c), table[a, b]), table[a, c], table[a, d],
                                      table[b, c], table[b, d], table[c, d]]))  # fmt: skip
    return np.concatenate(fours)


def _six(found: Fit, fours: Ints) -> tuple[Floats, Ints]:
    """The longest of six tapes less the distance that the other five give [in], and its row; both of shape (f,).

    Law of cosines from the opposite side. Of the two distances that five tapes allow, the one on the side where the
    adjusted points lie counts.
    """
    net, figure = found.net, np.arange(len(fours))
    longest = net.length[fours].argmax(axis=1)
    last, base = fours[figure, longest], fours[figure, 5 - longest]  # ab lies opposite cd, ac bd, ad bc
    (r, s), at = net.ends[base].T, net.length[base]
    along, side = [], []
    for k in net.ends[last].T:
        to_r, to_s = (_length(net, fours, k, end) for end in (r, s))
        along.append((at**2 + to_r**2 - to_s**2) / (2 * at))
        step, arm = found.xy[s] - found.xy[r], found.xy[k] - found.xy[r]
        sign = np.sign(step[:, 0] * arm[:, 1] - step[:, 1] * arm[:, 0])
        side.append(sign * np.sqrt(np.maximum(to_r**2 - along[-1] ** 2, 0.0)))
    return net.length[last] - np.hypot(along[0] - along[1], side[0] - side[1]), last


def _length(net: Network, fours: Ints, a: Ints, b: Ints) -> Floats:
    """Of each figure the tape between two of its points. [in]"""
    ends = np.sort(net.ends[fours], axis=2)
    pair = np.sort(np.column_stack([a, b]), axis=1)
    which = (ends == pair[:, None]).all(axis=2).argmax(axis=1)
    return np.asarray(net.length[fours[np.arange(len(fours)), which]])
