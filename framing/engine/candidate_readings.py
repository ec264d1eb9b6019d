"""Readings that could be taken, and what each would gain: the choice behind what to measure next.

What a reading gains does not depend on what it will read, so each candidate is added to the covariance in thought: one
with the row a and the variance s2 turns C into C - C a a' C / (s2 + a' C a) (R. E. Kalman, Trans. ASME J. Basic Eng.
82, 1960, the update; from memory).
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from framing.engine import length

Array = NDArray[np.float64]

POWERS = (1, 2, 4, 8)  # of the variances whose sum is made least in the first choice


@dataclass(frozen=True)
class NextReading:
    """One reading to take: a level at `at` [in] or at the point named, or a tape between the two `points`.

    `before` and `after` are the worst standard error of all heights (a level) or all corners in plan (a tape), which
    stands at `place`, without and with this reading, those listed before it taken [in]; of a `missing` shot they are
    those of its own place. None is more than any reading has fixed.
    """

    kind: Literal["level", "tape"]
    at: tuple[float, float] | None
    points: tuple[str, ...]
    place: str = ""
    before: float | None = None
    after: float | None = None
    why: str = ""
    missing: bool = False

    @property
    def words(self) -> str:
        """What to do, as it is said on the roof."""
        if self.kind == "tape":
            return f"tape {'-'.join(self.points)}"
        if self.points:
            return f"read the level at {', '.join(self.points)}"
        return f"read the roof at {in_feet(self.at) if self.at else self.place}"

    def as_json(self) -> dict[str, Any]:
        return {"kind": self.kind, "at": self.at, "points": self.points, "place": self.place, "before": self.before,
                "after": self.after, "why": self.why, "missing": self.missing}


@dataclass(frozen=True)
class Candidates:
    """Readings that could be taken: rows (k, n) over the state, variances (k,) [in2], and what each would be."""

    rows: Array
    variance: Array
    readings: tuple[NextReading, ...]

    def but(self, taken: Sequence[int]) -> list[int]:
        """The numbers of all readings except those taken."""
        return [k for k in range(len(self.readings)) if k not in taken]


@dataclass(frozen=True)
class Known:
    """What is known so far: the state's covariance (n, n) and the places that matter, with their names.

    `places` (m, d, n) are rows that turn the state into a height, d = 1, or into x and y in plan, d = 2. `required`
    [in] is the standard error that counts as much as another kind's.
    """

    covariance: Array
    places: Array
    names: tuple[str, ...]
    required: float

    def spread(self) -> Array:
        """Covariance of every place, (m, d, d) [in2]."""
        return np.asarray(self.places @ self.covariance @ self.places.swapaxes(1, 2))

    @property
    def share(self) -> float:
        """The worst standard error in units of what is required."""
        return self.worst()[0] / self.required

    def worst(self) -> tuple[float, str]:
        """The worst standard error along any direction [in], and the place that has it."""
        if not self.names:
            return 0.0, ""
        error = np.sqrt(_worst_direction(self.spread()))
        return float(error.max()), self.names[int(error.argmax())]

    def with_one(self, among: Candidates, k: int) -> Known:
        gain = self.covariance @ among.rows[k]
        scale = among.variance[k] + max(float(among.rows[k] @ gain), 0.0)
        return replace(self, covariance=self.covariance - np.outer(gain, gain) / scale)

    def with_all(self, among: Candidates, chosen: Iterable[int]) -> Known:
        known = self
        for k in chosen:
            known = known.with_one(among, k)
        return known

    def variances_after(self, among: Candidates, some: Sequence[int]) -> Array:
        """The variance of every place along its worst direction after each of some readings alone, (k, m) [in2]."""
        rows = among.rows[some]
        gain = rows @ self.covariance
        scale = np.sqrt(among.variance[some] + np.maximum((gain * rows).sum(axis=1), 0.0))  # rounding may go below 0
        m, d, n = self.places.shape
        g = ((gain @ self.places.reshape(m * d, n).T) / scale[:, None]).reshape(-1, m, d)
        return _worst_direction(self.spread() - g[..., :, None] * g[..., None, :])

    def best(self, among: Candidates, some: Sequence[int]) -> int:
        """The one of some readings after which the worst error is least, and of equal ones the mean error."""
        error = np.sqrt(self.variances_after(among, some))
        k = np.lexsort((error.mean(axis=1), np.round(error.max(axis=1), 6)))[0]
        return int(some[k])

    def choose(self, among: Candidates, count: int) -> list[int]:
        """The readings that together leave the least worst error, in the order of what each adds.

        They are taken one after the other by the sum of all variances to some power, which looks ahead where no one
        reading lowers the worst of several places, and then exchanged one by one for better ones as long as there are
        any (V. V. Fedorov, Theory of Optimal Experiments, 1972; from memory). No reading is taken twice.
        """
        count = min(count, len(among.readings))
        found = [self._exchanged(among, self._one_by_one(among, count, power)) for power in POWERS]
        chosen = min(found, key=lambda some: self.with_all(among, some).worst()[0])
        known, ordered = self, list[int]()
        while chosen:
            ordered.append(known.best(among, chosen))
            chosen.remove(ordered[-1])
            known = known.with_one(among, ordered[-1])
        return ordered

    def _one_by_one(self, among: Candidates, count: int, power: int) -> list[int]:
        known, chosen = self, list[int]()
        for _ in range(count):
            others = among.but(chosen)
            left = known.variances_after(among, others)
            chosen.append(others[int(((left / max(float(left.max()), 1e-12)) ** power).sum(axis=1).argmin())])
            known = known.with_one(among, chosen[-1])
        return chosen

    def _exchanged(self, among: Candidates, chosen: list[int]) -> list[int]:
        least, tried = self.with_all(among, chosen).worst()[0], 0
        while tried < len(chosen):  # until each in turn has been held against all others in vain
            out, *others = chosen
            known = self.with_all(among, others)
            k = known.best(among, among.but(others))
            worst = known.with_one(among, k).worst()[0]
            better = worst < 0.999 * least
            chosen, least, tried = [*others, k if better else out], min(worst, least), 0 if better else tried + 1
        return chosen


def _worst_direction(b: Array) -> Array:
    """The greater eigenvalue of each of the (..., 1, 1) or (..., 2, 2) covariances, that along the worst direction."""
    xx = b[..., 0, 0]
    if b.shape[-1] == 2:
        xx = (xx + b[..., 1, 1]) / 2 + np.hypot((xx - b[..., 1, 1]) / 2, b[..., 0, 1])
    return np.asarray(np.maximum(xx, 0.0))


def in_feet(at: Sequence[float]) -> str:
    """A place to the nearest inch, as it is measured off on the roof: x 14'-3", y 2'-0"."""
    return ", ".join(f"{axis} {length.write(v, 1, feet=True)}" for axis, v in zip("xy", at, strict=True))
