"""The fewest straight cuts through a member's corridor, worked out again from the answer alone.

The corridor is the depths that a member may have along its length: no deeper than the least clear gap and the deepest
stick at hand let it, no thinner than the most clear gap and the least depth ask. A profile is a chain of straight
links inside it. Which depths a chain of k links can reach at a place is an interval; it is handed on from place to
place, so a chain that is found is one that can be sawn.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from framing.reference.lumber import DRESSED
from tests.framing.deck_reading import Run
from tests.framing.identities import Answer

Floats = NDArray[np.float64]
Spans = list[tuple[float, float]]  # depths that can be reached, (least, most) of each stretch

INSIDE = 1e-5  # a chain keeps this far inside the corridor, so that rounding never finds one that is not there [in]
APART = 2.0  # corners are sought at the kinks and this far apart between them [in]
MOST_PLACES = 90


def corridor(a: Answer, r: Run) -> tuple[Floats, Floats, Floats]:
    """Places along a member and the least and most depth there, straight between them [in]."""
    gap = {k: a.asked(v) for k, v in a.build["supports"]["clear_gap"].items()}
    under = a.want("supports", "pad_thickness") + a.want("supports", "base_thickness")
    least, most = max(gap["least"], under), min(gap["most"], under + a.most_shims)
    thin, deepest = a.want("joists", "minimum_depth", 1.5), max(DRESSED[k][1] for k in a.build["joists"]["sizes"])
    s = np.unique(np.clip([0.0, r.length, *((a.bends(r.line) - r.start) @ r.along)], 0, r.length))
    s = s[np.r_[True, np.diff(s) > 1e-6]]
    height = a.surface(r.at(s)) - a.over - a.roof(r.at(s))
    if (height - most > deepest + INSIDE).any():  # not deep enough anywhere in the trade's way: on packers
        most += a.packing
    crossed = [np.interp(0, h, p) for level in (thin + most, deepest + least)
               for h, p in zip(np.c_[height[:-1], height[1:]] - level, np.c_[s[:-1], s[1:]], strict=True)
               if h[0] < 0 < h[1]]
    crossed += [np.interp(0, h[::-1], p[::-1]) for level in (thin + most, deepest + least)
                for h, p in zip(np.c_[height[:-1], height[1:]] - level, np.c_[s[:-1], s[1:]], strict=True)
                if h[1] < 0 < h[0]]
    places = np.union1d(s, crossed)
    height = np.interp(places, s, height)
    return places, np.maximum(height - most, thin), np.minimum(height - least, deepest)


def reach(d: Floats, low: Floats, high: Floats) -> tuple[float, float]:
    """Least and most value at 0 of the straight lines that pass every window low..high at d <= 0, (nan, nan) if none.

    A line p + q d passes two windows where p (e_l - e_m) <= high_m e_l - low_l e_m, e = -d: every pair bounds p.
    """
    e = -d
    rate = e[None, :] - e[:, None]  # rows m bound from above, columns l from below
    bound = high[:, None] * e[None, :] - low[None, :] * e[:, None]
    level = np.abs(rate) < 1e-9
    if (bound[level] < 0).any():
        return np.nan, np.nan
    up, down = rate > 1e-9, rate < -1e-9
    most = float((bound[up] / rate[up]).min()) if up.any() else np.inf
    least = float((bound[down] / rate[down]).max()) if down.any() else -np.inf
    return (least, most) if least <= most else (np.nan, np.nan)


def fewest_links(s: Floats, low: Floats, high: Floats, at_most: int) -> int:
    """The fewest links of a chain through the corridor, or `at_most` where none with fewer was found."""
    low, high = low + INSIDE, high - INSIDE
    if at_most <= 1 or (low > high).any():
        return at_most
    between = [np.linspace(p, q, min(12, max(2, int((q - p) / APART) + 1)))[1:-1]
               for p, q in zip(s[:-1], s[1:], strict=True)]
    places = np.union1d(s, np.concatenate(between) if len(s) * 10 < MOST_PLACES * 4 else [])
    # both limits bend the safe way between kinks of the roof, so chords of them are inside: never too kind
    lo, hi = np.interp(places, s, low), np.interp(places, s, high)
    kink = np.isin(places, s)
    n = len(places)
    ends: list[Spans] = [[] for _ in range(n)]
    ends[0] = [(float(lo[0]), float(hi[0]))]
    for links in range(1, at_most):
        following: list[Spans] = [[] for _ in range(n)]
        last = links == at_most - 1  # then only the far end matters any more
        for j in (n - 1,) if last else range(1, n):
            for i in (i for i in range(j) if ends[i]):
                window = np.flatnonzero(kink[i + 1:j]) + i + 1
                d = np.r_[places[i], places[window], places[j]] - places[j]
                following[j] += [reach(d, np.r_[a, lo[window], lo[j]], np.r_[b, hi[window], hi[j]]) for a, b in ends[i]]
            following[j] = _joined(following[j])
        if following[-1]:
            return links
        ends = following
    return at_most


def _joined(spans: Spans) -> Spans:
    """Spans that overlap as one; those that are none left out."""
    found: Spans = []
    for low, high in sorted(v for v in spans if not np.isnan(v[0])):
        if found and low <= found[-1][1]:
            found[-1] = found[-1][0], max(found[-1][1], high)
        else:
            found.append((low, high))
    return found
