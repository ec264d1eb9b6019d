"""Line work and words of a drawing as SVG, and the places on a page that words have taken.

Ink is black: what must be told apart is told by dashes and symbols, since papers are copied without colour.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from xml.sax.saxutils import escape

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Place = tuple[float, float]

INK, QUIET, WATER, WOOD, PALE = "#1b1916", "#5a554c", "#1d506b", "#c9a877", "#f3eee2"
FONT = "font-family=\"'DejaVu Sans', Verdana, sans-serif\""

# Advance widths of DejaVu Sans 2.37 from its own metrics table, signs 32 to 126, rounded up [hundredths of an em].
_WIDTHS = (
    32, 41, 46, 84, 64, 96, 78, 28, 40, 40, 50, 84, 32, 37, 32, 34, 64, 64, 64, 64, 64, 64, 64, 64, 64, 64, 34, 34, 84,
    84, 84, 54, 100, 69, 69, 70, 77, 64, 58, 78, 76, 30, 30, 66, 56, 87, 75, 79, 61, 79, 70, 64, 62, 74, 69, 99, 69, 62,
    69, 40, 34, 40, 84, 50, 50, 62, 64, 55, 64, 62, 36, 64, 64, 28, 28, 58, 28, 98, 64, 62, 64, 64, 42, 53, 40, 64, 60,
    82, 60, 60, 53, 64, 34, 64, 84,
)
OFF_PAGE = 1e9  # what being cut off counts as, against area covered [sq in]
_ANY_OTHER = 100  # a sign outside that range [hundredths of an em]
_BOLD = 1.13  # how much wider the bold face runs, at most


def width_of(words: str, *, bold: bool = False) -> float:
    """How wide words are in DejaVu Sans [ems]."""
    total = sum(_WIDTHS[i] if 0 <= (i := ord(c) - 32) < len(_WIDTHS) else _ANY_OTHER for c in words) / 100
    return total * (_BOLD if bold else 1.0)


def svg(width: float, height: float, key: str, title: str, about: str, parts: Iterable[str]) -> str:
    """A whole drawing; `key` sets its title's id apart from those of other drawings on the same page."""
    key = "".join(c if c.isascii() and c.isalnum() else "-" for c in key)
    return (f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width:.1f} {height:.1f}" role="img" '
            f'aria-labelledby="{key}-title {key}-desc" {FONT}>'
            f'<title id="{key}-title">{escape(title)}</title><desc id="{key}-desc">{escape(about)}</desc>'
            + "".join(parts) + "</svg>\n")


def ring(points: Iterable[Place], style: str) -> str:
    return f'<polygon points="{" ".join(f"{x:.2f},{y:.2f}" for x, y in points)}" {style}/>'


def polyline(points: Iterable[Place], style: str) -> str:
    return f'<polyline points="{" ".join(f"{x:.2f},{y:.2f}" for x, y in points)}" {style}/>'


def line(a: Place, b: Place, style: str) -> str:
    return f'<line x1="{a[0]:.2f}" y1="{a[1]:.2f}" x2="{b[0]:.2f}" y2="{b[1]:.2f}" {style}/>'


def rings_path(rings: Iterable[Sequence[Place]], style: str) -> str:
    """Many closed rings in one element."""
    return (f'<path d="{"".join("M" + "L".join(f"{x:.2f} {y:.2f}" for x, y in r) + "z" for r in rings)}" {style}/>')


def strokes_path(strokes: Iterable[Sequence[Place]], style: str) -> str:
    """Many open lines in one element."""
    return f'<path d="{"".join("M" + "L".join(f"{x:.2f} {y:.2f}" for x, y in r) for r in strokes)}" {style}/>'


def text(x: float, y: float, words: str, size: float, fill: str = INK, anchor: str = "start", *, turn: float = 0.0,
         halo: bool = False, bold: bool = False) -> str:
    """Words at a place, turned by `turn` degrees; a halo is a white ground that keeps them readable over lines."""
    spin = f' transform="rotate({turn:.1f} {x:.2f} {y:.2f})"' if turn else ""
    around = ""
    if halo:
        wide = size * width_of(words, bold=bold)
        left = x - {"start": 0.0, "middle": wide / 2, "end": wide}[anchor]
        around = (f'<rect x="{left:.2f}" y="{y - 0.82 * size:.2f}" width="{wide:.2f}" height="{1.06 * size:.2f}" '
                  f'fill="#ffffff" fill-opacity="0.88"{spin}/>')
    weight = ' font-weight="bold"' if bold else ""
    return (f'{around}<text x="{x:.2f}" y="{y:.2f}" font-size="{size:.2f}" fill="{fill}" text-anchor="{anchor}"'
            f"{weight}{spin}>{escape(words)}</text>")


def upright(degrees: float) -> float:
    """The angle at which words along a line of this angle are read from below or from the right, clockwise.

    What leans a little off the upright is read from the right too, whichever way it leans.
    """
    return (degrees + 100) % 180 - 100


class Words:
    """Words on a page, each put where it covers nothing that was put before it."""

    def __init__(self, size: float, wide: float = math.inf, high: float = math.inf) -> None:
        self.size = size
        self._page = np.array([wide, high])
        self.parts: list[str] = []
        self._taken = np.empty((256, 4))
        self._count = 0

    def take(self, boxes: Array) -> None:
        """Keep words off (n, 4) boxes left, top, right, foot."""
        boxes = np.atleast_2d(boxes)
        while self._count + len(boxes) > len(self._taken):
            self._taken = np.vstack([self._taken, np.empty_like(self._taken)])
        self._taken[self._count:self._count + len(boxes)] = boxes
        self._count += len(boxes)

    def is_free(self, box: Array) -> bool:
        """Whether nothing stands in a box left, top, right, foot."""
        return not bool((self._covered(np.atleast_2d(box)) > 0).any())

    def put(self, places: Sequence[Place], words: str, *, size: float = 1.0, fill: str = INK, anchor: str = "middle",
            turn: float = 0.0, bold: bool = False, halo: bool = True, must: bool = True) -> int | None:
        """Write words at the first free of some places; where none is, at the one that covers least, if they must.

        Sizes are in the page's text heights. Gives back which place was taken.
        """
        boxes = self._boxes(places, width_of(words, bold=bold) * size, size, anchor, turn)
        covered = self._covered(boxes.reshape(-1, 4)).reshape(len(places), -1).sum(axis=1)
        off = ((boxes[..., :2] < 0) | (boxes[..., 2:] > self._page)).any(axis=(1, 2))
        covered = covered + np.where(off, OFF_PAGE, 0.0)  # rather over another than cut off
        i = int(np.argmax(covered <= 0)) if (covered <= 0).any() else int(np.argmin(covered))
        if covered[i] > 0 and not must:
            return None
        self.take(boxes[i])
        self.parts.append(text(*places[i], words, size * self.size, fill, anchor, turn=turn, halo=halo, bold=bold))
        return i

    def _boxes(self, places: Sequence[Place], wide: float, high: float, anchor: str, turn: float) -> Array:
        """The boxes (n, k, 4) that words of this width and height [ems] would take at some places.

        Words that run askew take a chain of small boxes, since one round all of them would be mostly empty.
        """
        high, wide = high * self.size, wide * self.size
        left = {"start": 0.0, "middle": -wide / 2, "end": -wide}[anchor]
        askew = abs(math.sin(math.radians(2 * turn))) > 0.05
        x = np.linspace(left, left + wide, 1 + (max(1, math.ceil(wide / high)) if askew else 1))
        one, zero = np.ones(len(x) - 1), -0.8 * high
        corners = np.array([[x[:-1], zero * one], [x[1:], zero * one], [x[1:], 0.24 * high * one],
                            [x[:-1], 0.24 * high * one]]).transpose(2, 0, 1)
        a = math.radians(turn)
        corners = corners @ np.array([[math.cos(a), math.sin(a)], [-math.sin(a), math.cos(a)]])
        at = np.asarray(places, float)[:, None]
        return np.concatenate([at + corners.min(axis=1), at + corners.max(axis=1)], axis=2)

    def _covered(self, boxes: Array) -> Array:
        """How much of each box (n, 4) is taken already, (n,)."""
        taken = self._taken[:self._count]
        over = np.minimum(boxes[:, None, 2:], taken[None, :, 2:]) - np.maximum(boxes[:, None, :2], taken[None, :, :2])
        return np.asarray(np.prod(np.maximum(over, 0.0), axis=2).sum(axis=1))
