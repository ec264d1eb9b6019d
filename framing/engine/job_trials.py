"""Trials of the job: hours within the rates' low and high, sticks that are culled.

A part of the uncertainty stage, from rows of `labor`, `quantities` and `uncertainty` of deck-framing/1, so that whoever
prices a stored framing draws the very trials of the engine.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.special import nbdtr, ndtr

from framing.reference import production
from framing.reference.risk import TASKS_TOGETHER

Array = NDArray[np.float64]
Row = Mapping[str, Any]

TOGETHER = "crew, weather and way up"  # what all tasks share


def triangular(u: Array, low: Array, typical: Array, high: Array) -> Array:
    """The quantiles at `u` of triangular laws with these ends and peaks; arrays of shapes that go together.

    The law of three points that cost guides take by default: low and high are its ends, typical its peak (GAO Cost
    Estimating and Assessment Guide, GAO-20-195G, 2020, the choice; the quantile in closed form, any textbook).
    """
    width = high - low
    peak = np.where(width > 0, (typical - low) / np.where(width > 0, width, 1.0), 0.5)
    return np.where(u <= peak, low + np.sqrt(u * (width * (typical - low))),
                    high - np.sqrt((1 - u) * (width * (high - typical))))


@dataclass(frozen=True)
class Hours:
    """Person-hours of `tasks` in each trial (tasks, trials), and what they come from, each source by itself.

    `sources` are scores (trials,): what all tasks share, each task's own, each difficulty's.
    """

    tasks: tuple[str, ...]
    hours: Array
    sources: dict[str, Array]

    @property
    def total(self) -> Array:
        return np.asarray(self.hours.sum(axis=0))


def draw_hours(labor: Sequence[Row], factors: Sequence[Row], trials: int, seed: int) -> Hours:
    """Hours of every row of `labor`, its rate drawn between its low and high [h a unit].

    Tasks are correlated by `TASKS_TOGETHER`: one normal score for all and one for each, mixed. A task whose quantity
    is hours of the others (unit HUR) goes with theirs. Of `factors` (name, value, low, high) each is drawn for all
    tasks at once; their product is held to the cap, as it is where hours are planned.
    """
    shared, single, hard = (np.random.Generator(np.random.PCG64(s)) for s in np.random.SeedSequence([seed, 1]).spawn(3))
    together, own = shared.standard_normal(trials), single.standard_normal((len(labor), trials))
    score = np.sqrt(TASKS_TOGETHER) * together + np.sqrt(1 - TASKS_TOGETHER) * own
    low, typical, high, factor, quantity = (
        np.array([[float(r[f])] for r in labor]).reshape(-1, 1)
        for f in ("low", "hours_per_unit", "high", "factor", "quantity"))
    rate = triangular(ndtr(score), low, typical, high) * factor
    at_work = hard.random((len(factors), trials))
    low, value, high = (np.array([[float(f[k])] for f in factors]).reshape(-1, 1) for k in ("low", "value", "high"))
    harder = np.minimum(triangular(at_work, low, value, high).prod(axis=0), production.FACTOR_CAP)
    of_hours = np.array([r["unit"] == "HUR" for r in labor], bool)
    hours = rate * quantity
    hours[~of_hours] *= harder / min(float(value.prod()), production.FACTOR_CAP)
    hours[of_hours] = rate[of_hours] * hours[~of_hours].sum(axis=0)
    tasks = tuple(r["task"] for r in labor)
    return Hours(tasks, hours, {TOGETHER: together, **dict(zip(tasks, own, strict=True)),
                                **{f"difficulty {f['name']}": u for f, u in zip(factors, at_work, strict=True)
                                   if f["low"] < f["high"]}})


@dataclass(frozen=True)
class Bought:
    """What each of `items` takes in each trial, (items, trials), in packs: what the job `needs`, and what is `short`.

    Short is what the order with its spares does not cover.
    """

    items: tuple[str, ...]
    needs: Array
    short: Array


def draw_sticks(quantities: Sequence[Row], culls: Mapping[str, float], trials: int, seed: int) -> Bought:
    """Sticks of every item in `culls` {item: share culled}: bought one after another until as many are good as planned.

    So culls follow the negative binomial law. Spare sticks stand in for culls of their own length first, then for
    shorter ones of their kind; a shorter one stands in for none.
    """
    rows = sorted((r for r in quantities if culls.get(r["item"], 0.0) > 0), key=lambda r: (_kind(r), -float(r["pack"])))
    u = np.random.Generator(np.random.PCG64(np.random.SeedSequence([seed, 2]))).random((len(rows), trials))
    needs, short = np.zeros((2, len(rows), trials))
    left, kind = np.zeros(trials), ""
    for j, r in enumerate(rows):
        spare = round(float(r["spare"]) / float(r["pack"]))
        good = int(r["order"]) - spare
        culled = culls_at(u[j], good, culls[r["item"]])
        left = spare + (left if _kind(r) == kind else np.zeros(trials))
        kind = _kind(r)
        needs[j], short[j] = good + culled, np.maximum(culled - left, 0)
        left = np.maximum(left - culled, 0)
    return Bought(tuple(r["item"] for r in rows), needs, short)


def culls_at(u: Array, good: int, share: float) -> NDArray[np.intp]:
    """The quantile at `u` of how many sticks are culled before `good` are found, `share` of all being culled."""
    most = int(good * share / (1 - share) + 20 * np.sqrt(good * share) / (1 - share)) + 20
    return np.asarray(np.searchsorted(nbdtr(np.arange(most), good, 1 - share), u))


def _kind(row: Row) -> str:
    """What an item key of sticks names but for their length."""
    return str(row["item"]).rsplit("/", 1)[0]


def count_shims(quantities: Sequence[Row], needed: Mapping[str, Sequence[int]]) -> Bought:
    """The items of `needed` {item: pieces in each trial}, in whole packs; of what is not ordered every one is short."""
    ordered = {r["item"]: (float(r["pack"]), float(r["order"])) for r in quantities}
    packs = [np.ceil(np.asarray(n, float) / ordered.get(item, (1.0, 0.0))[0] - 1e-6) for item, n in needed.items()]
    short = [np.maximum(n - ordered.get(item, (1.0, 0.0))[1], 0.0) for item, n in zip(needed, packs, strict=True)]
    return Bought(tuple(needed), np.array(packs), np.array(short))


def contributions(answer: Array, sources: Mapping[str, Array]) -> list[tuple[str, float, str]]:
    """The share of an answer's variance (trials,) that each independent source (trials,) explains, greatest first.

    Each is (source, share, "").

    The squared correlation, less what chance alone gives (adjusted coefficient of determination): the first-order
    share where the answer is linear in the source, and then the shares add up to about 1.
    """
    count = len(answer)
    if count < 3 or not answer.std() > 1e-12 * abs(answer).max():
        return []
    found: list[tuple[str, float, str]] = []
    for name, source in sources.items():
        spread = source.std()
        if spread > 0:
            r = float(((answer - answer.mean()) * (source - source.mean())).mean() / (answer.std() * spread))
            found.append((name, max(0.0, 1 - (1 - r * r) * (count - 1) / (count - 2)), ""))
    return sorted(found, key=lambda f: -f[1])
