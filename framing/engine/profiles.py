"""The profile with the fewest straight cuts: a path with the fewest corners through a corridor of depths.

A part of the members stage. Along a member the wood's depth must stay between two limits, each straight between the
corridor's places. What one straight can pass is a convex set of straights; cut down place by place until none is
left, it gives the straight that reaches farthest, and the stretch of it (the window) that every longer path must
cross. Going on from window to window no path has fewer corners (S. Suri, A linear time algorithm for minimum link
paths inside a simple polygon, 1986; H. Imai and M. Iri, An optimal algorithm for approximating a piecewise linear
function, 1986). Corners may stand anywhere, so the count is the least there is, not the least of those tried.
"""

from __future__ import annotations

import math
from bisect import bisect_left, bisect_right
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

DUST = 1e-10  # a limit passed by less than this is not passed [in]
HAIR = 3e-10  # how much wider every corridor is taken [in]; with the dust it is less than what is close
CLOSE = 1e-9  # what a profile may be off its limits, rounding only [in]
SPARE = 1 / 32  # the departure given away for a corner that the crew can find [in]: half of what depths are marked to
COARSE = 1 / 512  # how finely the least departure of free corners is sought [in]; it is less than the spare
FINE = 1e-8  # ... and that of the corners taken [in]
TAPE = (6.0, 1.0, 1 / 4, 1 / 16)  # places between kinks, the easiest to find on a tape first [in]
SWEEPS = 3

Straight = tuple[float, float, float]  # place o [in], depth there [in], slope
Bundle = list[tuple[float, float]]  # corners of a convex set of straights: (depth at its place o [in], slope)


@dataclass(frozen=True)
class Corridor:
    """Where a profile may run: depths `low`..`high` at the places `s` (k,) [in], all straight between them."""

    s: Array
    height: Array  # top edge over the roof [in]
    low: Array
    high: Array


@dataclass(frozen=True)
class Window:
    """The straight that gets farthest, and the stretch of it on which every path that gets farther turns off [in]."""

    straight: Straight
    near: float
    far: float


@dataclass(frozen=True)
class Tunnel:
    """The corridor, no further than `off` from the wanted depths; `floors` and `ceilings` are straight between `s`."""

    s: list[float]
    floors: tuple[list[float], ...]
    ceilings: tuple[list[float], ...]

    @cached_property
    def low(self) -> list[float]:
        return [max(v) for v in zip(*self.floors, strict=True)]

    @cached_property
    def high(self) -> list[float]:
        return [min(v) for v in zip(*self.ceilings, strict=True)]

    @cached_property
    def steepest(self) -> float:
        """A slope that no straight in question exceeds: well over those of the limits themselves."""
        runs = [b - a for a, b in zip(self.s, self.s[1:], strict=False)]
        rises = [abs(row[i + 1] - row[i]) / run for row in (*self.floors, *self.ceilings) for i, run in enumerate(runs)]
        return 1.0 + 10 * max(rises, default=0.0)

    def limits(self, s: float) -> tuple[float, float]:
        """Least and greatest depth at a place [in]."""
        i = max(bisect_right(self.s, s) - 1, 0)
        if self.s[i] == s or i + 1 == len(self.s):
            return self.low[i], self.high[i]
        t = (s - self.s[i]) / (self.s[i + 1] - self.s[i])
        return (max(row[i] + t * (row[i + 1] - row[i]) for row in self.floors),
                min(row[i] + t * (row[i + 1] - row[i]) for row in self.ceilings))


def tunnel(c: Corridor, want: Array | None = None, off: float = math.inf) -> Tunnel:
    """The corridor as it is, or what of it lies within `off` of the depths `want` (k,) [in]."""
    floors, ceilings = (c.low.tolist(),), (c.high.tolist(),)
    if want is None or off == math.inf:
        return Tunnel(c.s.tolist(), floors, ceilings)
    return Tunnel(c.s.tolist(), (*floors, (want - off).tolist()), (*ceilings, (want + off).tolist()))


def wanted(c: Corridor, target: float) -> Array:
    """The depths of the target gap, or the nearest that the corridor allows, (k,) [in]."""
    return np.asarray(np.clip(c.height - target, c.low, c.high))


def fewest_cuts(c: Corridor, target: float) -> Array | None:
    """Profile (k, 2) with the fewest corners that the corridor allows; None where none fits.

    Among those the one that strays least from the target gap, to within 1/32 in; that much is given for corners where
    the roof bends, or at places easy to find on a tape. With its corners set, its depths stray least at their worst.
    """
    if (c.low > c.high + CLOSE).any():
        return None
    middle = (c.low + c.high) / 2
    sound = Corridor(c.s, c.height, np.minimum(c.low, middle), np.maximum(c.high, middle))
    want = wanted(sound, target)
    every: Array = np.c_[c.s, want]  # a corner at every place: always inside
    folds, own = _bends(c.s, c.height), _bends(c.s, want)
    # a hair wider, so that rounding does not shut a corridor that closes to a point
    wide = Corridor(c.s, c.height, sound.low - HAIR, sound.high + HAIR)
    whole = tunnel(wide)
    windows = _windows(whole, whole.s[0], whole.low[0], whole.high[0], most=len(c.s))
    if windows is None:
        return _fewer(c, every)
    count = len(windows[0])
    if len(own) <= count and set(own) <= set(folds) and _inside(c, every[[0, *own, -1]]):
        return every[[0, *own, -1]]
    off, free = _least_departure(wide, want, count)
    for corners in (_findable(wide, want, off + SPARE, count, folds), free):
        if corners is not None:
            least, depth = _depths(wide, want, corners)
            profile = np.c_[corners, _evened(wide, want, least, corners, depth)]
            if _inside(c, profile):
                return _fewer(c, profile)
    return _fewer(c, every)


def _fewer(c: Corridor, profile: Array) -> Array:
    """The profile without the corners at which it does not turn, where it stays inside so."""
    straight: Array = profile[[0, *_bends(*profile.T), -1]]
    return straight if _inside(c, straight) else profile


def _bends(s: Array, v: Array) -> list[int]:
    """The inner places at which a line through (s, v) is not straight."""
    if len(s) < 3:
        return []
    t = (s[1:-1] - s[:-2]) / (s[2:] - s[:-2])
    return [int(i) + 1 for i in np.flatnonzero(np.abs(v[:-2] + t * (v[2:] - v[:-2]) - v[1:-1]) > CLOSE)]


def _inside(c: Corridor, profile: Array) -> bool:
    """Whether a profile keeps to the corridor all along: it does where it does at every place and corner."""
    s = np.union1d(c.s, profile[:, 0])
    depth, low, high = np.interp(s, *profile.T), np.interp(s, c.s, c.low), np.interp(s, c.s, c.high)
    return bool((depth >= low - CLOSE).all() and (depth <= high + CLOSE).all() and (np.diff(profile[:, 0]) > 0).all())


# --- straights: one at a time, and all that pass


def _cut(bundle: Bundle, run: float, depth: float, side: int) -> Bundle:
    """The straights of a bundle that pass `run` on from its place at `depth` or deeper (side 1) or higher (-1)."""
    room = [side * (a + m * run - depth) for a, m in bundle]
    kept: Bundle = []
    for k, (a, m) in enumerate(bundle):
        before, here = room[k - 1], room[k]
        if (before < -DUST) != (here < -DUST) and max(before, here) > 0:
            b, n = bundle[k - 1]
            t = before / (before - here)
            kept.append((b + t * (a - b), n + t * (m - n)))
        if here >= -DUST:
            kept.append((a, m))
    return kept


def _passing(t: Tunnel, o: float, low: float, high: float, to: float) -> Bundle:
    """The straights from depths low..high at `o` that keep to the tunnel until `to`; empty where none does."""
    bundle: Bundle = [(low, -t.steepest), (high, -t.steepest), (high, t.steepest), (low, t.steepest)]
    for i in range(bisect_right(t.s, o), bisect_left(t.s, to)):
        bundle = _cut(_cut(bundle, t.s[i] - o, t.low[i], 1), t.s[i] - o, t.high[i], -1)
    low, high = t.limits(to)
    return _cut(_cut(bundle, to - o, low, 1), to - o, high, -1)


def _windows(t: Tunnel, o: float, low: float, high: float, most: int) -> tuple[list[Window], Straight] | None:
    """The windows of the path with the fewest corners from depths low..high at `o` to the tunnel's end, and its last
    straight; None where it has over `most` corners."""
    found: list[Window] = []
    lows, highs = [(o, low)], [(o, high)]
    i = bisect_right(t.s, o)
    while True:
        bundle: Bundle = [(low, -t.steepest), (high, -t.steepest), (high, t.steepest), (low, t.steepest)]
        for side, points in ((1, lows), (-1, highs)):
            for s, depth in points:
                bundle = _cut(bundle, s - o, depth, side)
        first = i
        while i < len(t.s) and bundle:
            run = t.s[i] - o
            at = [a + m * run for a, m in bundle]
            if min(at) > t.high[i] + DUST or max(at) < t.low[i] - DUST:
                break
            bundle = _cut(_cut(bundle, run, t.low[i], 1), run, t.high[i], -1)
            lows.append((t.s[i], t.low[i]))
            highs.append((t.s[i], t.high[i]))
            i += 1
        if not bundle or (found and i == first < len(t.s)):
            return None  # rounding left nothing to go on with
        if i == len(t.s):
            return found, (o, sum(a for a, _ in bundle) / len(bundle), sum(m for _, m in bundle) / len(bundle))
        if len(found) == most:
            return None
        over = min(at) > t.high[i]
        best, far = _farthest(t, bundle, o, i, over)
        straight = (o, *best)
        # the last touch of the other limit: before it no path turns off
        touched = [abs(_at(straight, s) - depth) for s, depth in (lows if over else highs)]
        k = max(k for k, v in enumerate(touched) if v <= min(touched) + CLOSE)
        near = (lows if over else highs)[k][0]
        found.append(Window(straight, near, far))
        depth, (low, high) = _at(straight, far), t.limits(far)
        low, high = (min(low, depth), depth) if over else (depth, max(high, depth))
        lows, highs = (lows[k:] + [(far, low)], [(far, high)]) if over else ([(far, low)], highs[k:] + [(far, high)])
        o = far


def _farthest(t: Tunnel, bundle: Bundle, o: float, i: int, over: bool) -> tuple[tuple[float, float], float]:
    """Of straights that all leave the tunnel before its place i, the one that leaves it last, and where [in]."""
    here = max(o, t.s[i - 1])
    share = (here - t.s[i - 1]) / (t.s[i] - t.s[i - 1])
    side, rows = (1, t.ceilings) if over else (-1, t.floors)
    best, far = bundle[0], -math.inf
    for a, m in bundle:
        out = math.inf
        for row in rows:
            now = side * (row[i - 1] + share * (row[i] - row[i - 1]) - a - m * (here - o))
            then = side * (row[i] - a - m * (t.s[i] - o))
            if then < 0:
                out = min(out, max(now, 0.0) / (max(now, 0.0) - then))
        if out > far:
            best, far = (a, m), out
    return best, here + min(far, 1.0) * (t.s[i] - here)


def _at(straight: Straight, s: float) -> float:
    o, depth, slope = straight
    return depth + slope * (s - o)


def _crossing(one: Straight, other: Straight, near: float, far: float) -> float:
    """Where two straights cross, within near..far [in]."""
    turn = one[2] - other[2]
    return far if turn == 0 else min(max(far + (_at(other, far) - _at(one, far)) / turn, near), far)


def _turns(windows: Sequence[Window], last: Straight) -> list[float]:
    """Where the path through the windows has its corners [in]."""
    straights = [*(w.straight for w in windows), last]
    return [_crossing(w.straight, n, w.near, w.far) for w, n in zip(windows, straights[1:], strict=True)]


# --- the one nearest the target


def _least_departure(c: Corridor, want: Array, count: int) -> tuple[float, list[float]]:
    """The least departure from the wanted depths that `count` corners anywhere allow, a hair over, and such corners."""
    def trial(off: float) -> list[float] | None:
        t = tunnel(c, want, off)
        found = _windows(t, t.s[0], t.low[0], t.high[0], count)
        return None if found is None else [t.s[0], *_turns(*found), t.s[-1]]

    low, high = 0.0, float(np.maximum(want - c.low, c.high - want).max())
    corners = trial(high) or trial(math.inf) or [*c.s.tolist()]
    while high - low > COARSE:
        middle = (low + high) / 2
        found = trial(middle)
        low, high, corners = (middle, high, corners) if found is None else (low, middle, found)
    return high, corners


def _findable(c: Corridor, want: Array, off: float, count: int, folds: Sequence[int]) -> list[float] | None:
    """Corners within `off` of the wanted depths, each where the roof bends most, else at a place easy to tape."""
    t = tunnel(c, want, off)
    turn = np.abs(np.diff(np.diff(c.height) / np.diff(c.s)))
    kinks = [float(c.s[i]) for i in sorted(folds, key=lambda i: -turn[i - 1])]
    corners = [t.s[0]]
    low, high = t.low[0], t.high[0]
    for left in range(count, 0, -1):
        o = corners[-1]
        ahead = _windows(t, o, low, high, left)
        if ahead is None:
            return None
        if not ahead[0]:  # the rest is straight
            break
        latest = ahead[0][0].far
        turned = _turns(*ahead)[0]
        for s in (*(k for k in kinks if o < k <= latest + DUST), *_on_tape(ahead[0][0]), turned):
            bundle = _passing(t, o, low, high, s) if s > o else []
            if not bundle:
                continue
            depths = [a + m * (s - o) for a, m in bundle]
            if _windows(t, s, min(depths), max(depths), left - 1) is not None:
                low, high = min(depths), max(depths)
                corners.append(s)
                break
        else:
            return None
    return [*corners, t.s[-1]]


def _on_tape(w: Window) -> Iterator[float]:
    """Places in a window from its middle outwards: whole inches before quarters before sixteenths [in]."""
    middle = (w.near + w.far) / 2
    for step in TAPE:
        nearest = round(middle / step) * step
        yield from (s for s in (nearest, nearest - step, nearest + step) if w.near < s < w.far)


def _depths(c: Corridor, want: Array, corners: Sequence[float]) -> tuple[float, list[float]]:
    """The least departure that these corners allow, and depths at them that keep to it [in]."""
    low, high = 0.0, float(np.maximum(want - c.low, c.high - want).max()) + CLOSE
    best = _chain(tunnel(c, want, high), c, want, corners) or np.interp(corners, c.s, want).tolist()
    while high - low > FINE:
        middle = (low + high) / 2
        found = _chain(tunnel(c, want, middle), c, want, corners)
        low, high, best = (middle, high, best) if found is None else (low, middle, found)
    return high, best


def _chain(t: Tunnel, c: Corridor, want: Array, corners: Sequence[float]) -> list[float] | None:
    """Depths at the corners that keep to the tunnel, from the far end back each nearest the wanted; None: none do."""
    reach = [t.limits(corners[0])]
    if reach[0][0] > reach[0][1] + DUST:
        return None
    for o, to in zip(corners, corners[1:], strict=False):
        bundle = _passing(t, o, *reach[-1], to)
        if not bundle:
            return None
        at = [a + m * (to - o) for a, m in bundle]
        reach.append((min(at), max(at)))
    ideal = np.interp(corners, c.s, want).tolist()
    depth = [min(max(ideal[-1], reach[-1][0]), reach[-1][1])]
    for k in range(len(corners) - 2, -1, -1):
        o, to = corners[k], corners[k + 1]
        bundle = _passing(t, o, *reach[k], to)
        bundle = _cut(_cut(bundle, to - o, depth[0], 1), to - o, depth[0], -1)
        if not bundle:
            return None
        at = [a for a, _ in bundle]
        depth.insert(0, min(max(ideal[k], min(at)), max(at)))
    return depth


def _evened(c: Corridor, want: Array, off: float, corners: Sequence[float], depth: Sequence[float]) -> Array:
    """The depths moved, one corner at a time, nearer to the wanted all along (least squares), none past `off`."""
    s = np.union1d(c.s, corners)
    places = np.array(corners)
    low, high, ideal = (np.interp(s, c.s, v) for v in (c.low, c.high, want))
    low, high = np.maximum(low, ideal - off), np.minimum(high, ideal + off)
    hat = np.stack([np.interp(s, places, row) for row in np.eye(len(places))])
    now = np.array(depth)
    for _ in range(SWEEPS):
        for k, h in enumerate(hat):
            on = h > CLOSE
            rest = (now @ hat)[on] - now[k] * h[on]
            least, most = ((low[on] - rest) / h[on]).max(), ((high[on] - rest) / h[on]).min()
            if least <= most:
                now[k] = np.clip((h[on] @ (ideal[on] - rest)) / (h[on] @ h[on]), least, most)
    return now
