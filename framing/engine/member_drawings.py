"""The profile that one member is sawn to, seen from its side, with its stations: what the saw follows.

A part of the drawings. Made from a member and its supports as they stand in a deck-framing/1 document, so that papers
of an old framing draw the same.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from framing.engine import length
from framing.engine.svg import INK, QUIET, Place, line, rings_path, strokes_path, svg, text, width_of

WIDE = 980.0  # a drawing fills a landscape letter page of 9.8 in: 100 to the inch
LEFT, RIGHT = 74.0, 968.0  # the drawing lies between; row titles left of it
WORDS, DEPTH_WORDS = 8.6, 10.6  # text heights: 6.2 and 7.6 points
TALL, PLAIN = 46.0, 24.0  # the deepest place of a member is drawn no taller; of one that is not sawn, than this
TOP = 14.0  # the top edge lies so far down its strip
PADS = 10.0  # room under the wood for pads and shims
LEADERS = 12.0  # ... and for leaders from the stations to their figures
MOST = 14  # stations in a strip
BETWEEN = 7.0  # figures side by side keep so far apart
SAME_PLACE = 0.02  # a support and a station this near are one [in]
TIMBER, PAD, SHIM = "#e6dcc8", "#8d887d", "#3f3c37"


@dataclass(frozen=True)
class Station:
    """One place on the member: s [in], and the figures under it."""

    s: float
    figures: tuple[str, str, str]
    support: Mapping[str, Any] | None

    @property
    def wide(self) -> float:
        at, depth, pad = self.figures
        return max(width_of(at) * WORDS, width_of(depth, bold=True) * DEPTH_WORDS, width_of(pad) * WORDS) + BETWEEN


def profile_svg(member: Mapping[str, Any], supports: Sequence[Mapping[str, Any]]) -> str:
    """A member's profile with its stations, end A at the left; in strips one below another where one has no room.

    `supports` are those of the document that stand under this member.
    """
    stations = [
        Station(s, (length.sixteenths(s), depth, stack(found)), found)
        for s, depth in member.get("stations") or () for found in [_nearest(supports, s)]
    ]
    strips = _strips(stations)
    rows = 3 if supports else 2
    parts: list[str] = []
    foot = 0.0
    factors = []
    for i, strip in enumerate(strips):
        start = strips[i - 1][-1].s if i else strip[0].s  # it goes on where the strip before ended
        drawn, foot, factor = _strip(member, supports, strip, start, foot, rows, last=i == len(strips) - 1)
        parts += drawn
        factors.append(factor)
    told = ", ".join(f"{s.figures[1]} at {s.figures[0]}" for s in stations)
    splices = ", ".join(length.sixteenths(s) for s in member.get("splices") or ())
    kind = "laps" if member.get("pieces") else "splices"
    about = (f"Top edge above, as it comes, crown up; {_bottom(member)}. {len(supports)} pads under it; "
             f"{f'{kind} at {splices}' if splices else 'no splice'}. {_scale(factors)}.")
    return svg(WIDE, foot, f"profile-{member['id']}", f"{member['id']} from its side, end A at the left. Depth {told}.",
               about, parts)


def stack(support: Mapping[str, Any] | None) -> str:
    """Pad and shim under a station, in words short enough for a column."""
    if support is None:
        return ""
    shim = support.get("shim") or 0
    return pad_name(support) + (f" + {length.write(shim, 32)}" if shim else "")


def pad_name(support: Mapping[str, Any]) -> str:
    sides = [length.write(side) for side in support.get("pad_size") or ()]
    return "×".join(sides) or "pad"


def _nearest(supports: Sequence[Mapping[str, Any]], s: float) -> Mapping[str, Any] | None:
    return next((support for support in supports if abs(support["s"] - s) <= SAME_PLACE), None)


def _bottom(member: Mapping[str, Any]) -> str:
    return "saw the bottom edge" if member.get("ripped", True) else "not ripped: the stick serves as it comes"


def _scale(factors: Sequence[int]) -> str:
    most = max(factors, default=1)
    return "Heights and lengths to one scale" if most == 1 else f"Heights drawn {most} times as large as lengths"


def _strips(stations: Sequence[Station]) -> list[list[Station]]:
    """The stations in strips, as many in each as have room for their figures side by side."""
    strips: list[list[Station]] = []
    room = 0.0
    for s in stations:
        if not strips or room < s.wide or len(strips[-1]) == MOST:
            strips.append([])
            room = RIGHT - LEFT + 14.0
        strips[-1].append(s)
        room -= s.wide
    return strips


def _strip(member: Mapping[str, Any], supports: Sequence[Mapping[str, Any]], stations: Sequence[Station], start: float,
           head: float, rows: int, *, last: bool) -> tuple[list[str], float, int]:
    """One strip of a member: its drawing, where it ends, and how many times heights are drawn larger."""
    first, end = start == stations[0].s, stations[-1].s
    deepest = max(depth for _, depth in member["profile"])
    tall = TALL if member.get("ripped", True) else PLAIN
    along = min((RIGHT - LEFT) / max(end - start, 1e-6), tall / deepest)
    factor = max(1, math.floor(tall / deepest / along + 1e-9))
    up = along * factor
    top = head + TOP

    def at(s: float, down: float) -> Place:
        return LEFT + (s - start) * along, top + down * up

    places = [start, *(s for s, _ in member["profile"] if start < s < end), end]
    bottom = [at(s, depth_at(member, s)) for s in places]
    parts = [rings_path([[at(start, 0), at(end, 0), *bottom[::-1]]], f'fill="{TIMBER}"'),
             *_pads(member, [p for p in supports if start - SAME_PLACE <= p["s"] <= end + SAME_PLACE], at, up),
             strokes_path([[at(start, 0), at(end, 0)], bottom], f'fill="none" stroke="{INK}" stroke-width="1.6"')]
    ends = [[at(s, 0), at(s, depth_at(member, s))] for s, true in ((start, first), (end, last)) if true]
    torn = [[at(s, 0), at(s, depth_at(member, s))] for s, true in ((start, first), (end, last)) if not true]
    parts.append(strokes_path(ends, f'fill="none" stroke="{INK}" stroke-width="1.6"'))
    if torn:
        parts.append(strokes_path(torn, f'fill="none" stroke="{INK}" stroke-width="0.6" stroke-dasharray="3 2"'))
    for splice in member.get("splices") or ():
        if start - SAME_PLACE <= splice <= end + SAME_PLACE:
            (x, y0), (_, y1) = at(splice, 0), at(splice, depth_at(member, splice))
            parts.append(strokes_path([[(x, y0 - 5), (x, y1)]], f'class="splice" fill="none" stroke="{INK}" '
                                      'stroke-width="2.4"'))
            parts.append(rings_path([[(x, y0), (x + w * 4, y0 - 5), (x + w * 4, y0 + 5)] for w in (1, -1)],
                                    f'fill="{INK}"'))
    laid = member.get("pieces") or ()
    hidden = [s for s in [a for a, _, _ in laid[1:]] + [b for _, b, _ in laid[:-1]] if start < s < end]
    if hidden:  # the ends of lapped pieces, each beside another piece
        parts.append(strokes_path([[at(s, 0), at(s, depth_at(member, s))] for s in hidden],
                                  f'class="lap-end" fill="none" stroke="{INK}" stroke-width="1.2" '
                                  'stroke-dasharray="4 2"'))
    foot = top + deepest * up + PADS
    if first:
        told = ["A", "crown and factory edge up", _bottom(member), *([f"heights ×{factor}"] if factor > 1 else [])]
        parts += [line((LEFT, head + 3), (LEFT, top), f'stroke="{INK}" stroke-width="0.8"'),
                  text(LEFT + 3, top - 4, " · ".join(told), WORDS)]
    if last:
        x = at(end, 0)[0]
        parts.append(text(x + 3, top + WORDS, "B", WORDS))
    middles = columns(stations, [at(s.s, 0)[0] for s in stations])
    leaders = [[(at(s.s, 0)[0], at(s.s, depth_at(member, s.s))[1]), (at(s.s, 0)[0], foot), (x, foot + LEADERS - 2)]
               for s, x in zip(stations, middles, strict=True)]
    parts.append(strokes_path(leaders, f'fill="none" stroke="{QUIET}" stroke-width="0.5"'))
    y = foot + LEADERS + WORDS * 0.8
    titles = ("from end A" if first else "on from A", "depth", "pad, shim")
    for row, (title, size) in enumerate(zip(titles[:rows], (WORDS, DEPTH_WORDS, WORDS), strict=False)):
        parts.append(text(0, y, title, WORDS, QUIET))
        parts += [text(x, y, s.figures[row], size, INK, "middle", bold=row == 1)
                  for s, x in zip(stations, middles, strict=True) if s.figures[row]]
        y += (DEPTH_WORDS + WORDS) / 2 + 2.4
    return parts, y - WORDS * 0.6, factor


def _pads(member: Mapping[str, Any], supports: Sequence[Mapping[str, Any]], at: Any, up: float) -> list[str]:
    """Pads light and shims dark under the wood, their thickness drawn as heights are."""
    pads, shims = [], []
    for p in supports:
        half = (p.get("pad_size") or [6.0])[0] / 2
        (left, foot), (right, _) = at(p["s"] - half, depth_at(member, p["s"])), at(p["s"] + half, 0)
        left, right = max(left, LEFT - 6), min(right, RIGHT + 6)
        shim = min((p.get("shim") or 0.0) * up, PADS / 2)
        under = min(((p.get("base") or 0.0) + p["pad"]) * up, PADS - shim)
        if shim > 0:
            shims.append([(left, foot), (right, foot), (right, foot + shim), (left, foot + shim)])
        low = foot + shim + under
        pads.append([(left, foot + shim), (right, foot + shim), (right, low), (left, low)])
    found = [rings_path(pads, f'class="pads" fill="{PAD}" stroke="{INK}" stroke-width="0.4"')] if pads else []
    return [*found, rings_path(shims, f'fill="{SHIM}"')] if shims else found


def depth_at(member: Mapping[str, Any], s: float) -> float:
    """Depth of a member at s [in], straight between the points of its profile."""
    profile = member["profile"]
    for (s0, d0), (s1, d1) in zip(profile, profile[1:], strict=False):
        if s0 <= s <= s1 and s1 > s0:
            return float(d0 + (d1 - d0) * (s - s0) / (s1 - s0))
    return float(profile[0][1] if s < profile[0][0] else profile[-1][1])


def columns(stations: Sequence[Station], wanted: Sequence[float]) -> list[float]:
    """Middles of the figures' columns: as near under their stations as leaves none over another.

    Columns that crowd are pushed apart as one block about the mean of where its members want to be.
    """
    blocks: list[tuple[float, float, list[int]]] = []  # middle of the block, its width, its columns
    for i, (s, x) in enumerate(zip(stations, wanted, strict=True)):
        middle, wide, of = x, s.wide, [i]
        while True:
            middle = min(max(middle, LEFT - 8 + wide / 2), RIGHT + 6 - wide / 2)
            if not blocks or blocks[-1][0] + blocks[-1][1] / 2 <= middle - wide / 2 + 1e-9:
                break
            before = blocks.pop()
            of = before[2] + of
            wide = before[1] + wide
            left, wish = 0.0, []
            for k in of:
                wish.append(wanted[k] - left - stations[k].wide / 2)
                left += stations[k].wide
            middle = sum(wish) / len(wish) + wide / 2
        blocks.append((middle, wide, of))
    found = [0.0] * len(stations)
    for middle, wide, of in blocks:
        left = middle - wide / 2
        for k in of:
            found[k] = left + stations[k].wide / 2
            left += stations[k].wide
    return found
