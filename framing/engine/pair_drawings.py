"""Two tapers side by side in one wider stick, as both are drawn on its face before it is ripped.

A part of the drawings. Made from pieces and their profiles as they stand in a deck-framing/1 document.
"""

from __future__ import annotations

import math

from framing.engine import length
from framing.engine.cutting import Piece
from framing.engine.member_drawings import DEPTH_WORDS, LEFT, RIGHT, TIMBER, WIDE, WORDS, Station, columns
from framing.engine.nesting import lay
from framing.engine.svg import INK, PALE, QUIET, Place, rings_path, strokes_path, svg, text
from framing.reference.lumber import DRESSED

TALL = 62.0  # the stick's width is drawn no taller
ROWS = 12.0 + DEPTH_WORDS + WORDS  # room for figures beyond either edge


def pair_svg(a: Piece, b: Piece, size: str) -> str:
    """The stick of a `size` at the longer one's length: the longer from the upper edge, its end A at the left, the
    shorter from the lower edge, as it lies; each with its depths from its own edge at its ends and where it turns."""
    long, short = (a, b) if a.length >= b.length else (b, a)
    depth, offset, turned = lay(long, short)
    wide = DRESSED[size][1]
    along = min((RIGHT - LEFT) / long.length, TALL / wide)
    factor = max(1, math.floor(TALL / wide / along + 1e-9))
    up = along * factor
    top, foot = ROWS, ROWS + wide * up

    def along_short(s: float) -> float:
        return LEFT + (offset + (short.length - s if turned else s)) * along

    upper: list[Place] = [(LEFT + s * along, top + d * up) for s, d in long.profile]
    under: list[Place] = [(along_short(s), foot - d * up) for s, d in short.profile]
    right = LEFT + long.length * along
    parts = [
        rings_path([[(LEFT, top), (right, top), (right, foot), (LEFT, foot)]],
                   f'fill="{PALE}" stroke="{QUIET}" stroke-width="0.6"'),
        *(rings_path([[(cut[0][0], edge), *cut, (cut[-1][0], edge)]],
                     f'fill="{TIMBER}" stroke="{INK}" stroke-width="1.6"')
          for cut, edge in ((upper, top), (under, foot))),
        *_figures(long, [x for x, _ in upper], top, above=True),
        *_figures(short, [x for x, _ in under], foot, above=False),
    ]
    for piece, line, y in ((long, upper, top + WORDS + 2), (short, under, foot - 3.5)):
        (a_end, _), (b_end, _) = line[0], line[-1]
        forward = 1 if b_end > a_end else -1
        parts += [text(x + 4 * way, y, end, WORDS, INK, "start" if way > 0 else "end", bold=True)
                  for x, end, way in ((a_end, "A", forward), (b_end, "B", -forward))]
        parts.append(text((a_end + b_end) / 2, y, piece.name, WORDS, INK, "middle", bold=True))
    lie = "the other way round" if turned else "the same way round"
    told = (f"{long.name} from the upper edge, {short.name} from the lower edge, {lie}; between them at least "
            f"{length.sixteenths(wide - depth)} in for kerf and waste.")
    scale = "Heights and lengths to one scale." if factor == 1 else f"Heights drawn {factor} times as large as lengths."
    return svg(WIDE, foot + ROWS, f"pair-{long.name}", f"{size} with {long.name} and {short.name} side by side.",
               f"{told} {scale}", parts)


def _figures(piece: Piece, xs: list[float], edge: float, *, above: bool) -> list[str]:
    """Places from end A and depths there, in two rows beyond the edge that the piece keeps."""
    stations = [Station(s, (length.sixteenths(s), length.sixteenths(d), ""), None) for s, d in piece.profile]
    if xs[0] > xs[-1]:
        stations, xs = stations[::-1], xs[::-1]
    middles = columns(stations, xs)
    way = -1 if above else 1
    rows = (edge - 9.0 - DEPTH_WORDS, edge - 8.0) if above else (edge + 8.0 + WORDS, edge + 9.0 + WORDS + DEPTH_WORDS)
    parts = [strokes_path([[(x, edge), (x, edge + way * 3), (m, edge + way * 6)] for x, m in
                           zip(xs, middles, strict=True)], f'fill="none" stroke="{QUIET}" stroke-width="0.5"')]
    for row, (y, title, high) in enumerate(zip(rows, ("from end A", "depth"), (WORDS, DEPTH_WORDS), strict=True)):
        parts.append(text(0, y, title, WORDS, QUIET))
        parts += [text(m, y, s.figures[row], high, INK, "middle", bold=row == 1)
                  for s, m in zip(stations, middles, strict=True)]
    return parts
