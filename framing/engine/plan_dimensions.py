"""What stands round a plan for the tape: lengths of sides, what the deck keeps from them, running dimensions of joists.

A part of the drawings. It also chooses the scale, since these words need room outside the roof.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray
from shapely import Polygon

from framing.engine import length
from framing.engine.layout import edge_gap
from framing.engine.plan_page import Page, lowered, outward
from framing.engine.setting_out import Rows, Run, beside, first_from_wall
from framing.engine.sheet import Sheet
from framing.engine.svg import INK, strokes_path, upright, width_of

Array = NDArray[np.float64]

# A letter page with the margins of our papers leaves 6.6 by 8.3 in; words of 6.2 points are so many to its sides.
EMS_WIDE, EMS_HIGH = 6.6 * 72 / 6.2, 8.3 * 72 / 6.2
ROUND_ROOF = 5.6  # room outside the roof for names, lengths and gaps [ems]
DIMENSION_LINE, DIMENSION_WORDS = 5.4, 6.2  # where the joists' running dimensions stand, and the room they take [ems]
LEGEND = 17.0  # room for the legend when the page's scale is chosen [ems]
FARTHEST_WALL = 60.0  # the first joist is held to no wall further off [in]


def page_extent(xy: Array, rows: Rows | None, legend: float = LEGEND) -> tuple[Array, Array, float]:
    """The page's corners in survey coordinates, and the text height that is readable on it [in].

    `legend` is the room that the legend under the plan takes [ems].
    """
    low, high = xy.min(axis=0), xy.max(axis=0)
    size = float(max((high[0] - low[0]) / EMS_WIDE, (high[1] - low[1]) / (EMS_HIGH - legend), 0.5))
    for _ in range(6):
        far = [xy]
        if rows is not None:
            line_, out = _dimension_line(rows, xy, size)
            far.append(np.vstack([line_, line_ + out * DIMENSION_WORDS * size]))
        ends = np.vstack([xy - ROUND_ROOF * size, xy + ROUND_ROOF * size, *far[1:]])
        low, high = ends.min(axis=0), ends.max(axis=0)
        size = max(float(high[0] - low[0]) / EMS_WIDE, float(high[1] - low[1]) / (EMS_HIGH - legend))
    return low - 0.02 * size, high + 0.02 * size, size


def _dimension_line(rows: Rows, xy: Array, size: float) -> tuple[Array, Array]:
    """Where the running dimensions stand: a point (k, 2) for each row, and the way out from the roof."""
    out = -rows.along
    far = float((xy @ out).max()) + DIMENSION_LINE * size
    base = rows.first + out * (far - float(rows.first @ out))
    return base + rows.offsets[:, None] * rows.across, np.asarray(out)


def every_so_many(rows: Rows, size: float) -> int:
    """Every how many rows are named, so that names do not run into one another."""
    closest = float(np.diff(rows.offsets).min()) if len(rows.offsets) > 1 else math.inf
    return max(1, math.ceil(1.08 * size / closest))


def corner_names(names: Sequence[str], xy: Array, page: Page) -> None:
    out = outward(xy)
    for name, p, n, before in zip(names, xy, out, np.roll(out, 1, axis=0), strict=True):
        way = n + before
        way = way / max(float(np.hypot(*way)), 1e-9)
        page.words.put([lowered(page, p + way * page.size * r, 0.0, 1.3) for r in (1.6, 2.6, 3.6)], name, size=1.3,
                       bold=True)


def side_lengths(sheet: Sheet, names: Sequence[str], xy: Array, runs: Sequence[Run], page: Page) -> None:
    """On every side its length, and nearer the wall what the deck and its members keep from it."""
    e = page.size
    for name, after, a, b, n in zip(names, [*names[1:], names[0]], xy, np.roll(xy, -1, axis=0), outward(xy),
                                    strict=True):
        run = math.dist(a, b)
        turn = upright(-math.degrees(math.atan2(b[1] - a[1], b[0] - a[0])))
        middle = (a + b) / 2
        gap = "" if sheet.deck is None else \
            f"deck {length.write(edge_gap(sheet.survey, sheet.build, name, after))} off"
        kept = [f"{i} {length.write(v)}" for i, v in beside(runs, a, b)]
        told = [" · ".join([gap, *kept[:k]]) for k in range(min(2, len(kept)), -1, -1) if gap]
        near = next((w for w in told if width_of(w) * e < run - e), None)
        for words, lanes in ((near, (1.5, 2.7, 3.9)), (length.write(run, feet=True), (2.7, 1.5, 3.9) if near else
                                                       (1.5, 2.7, 3.9))):
            if words:
                slack = max(0.0, run - (width_of(words) + 1) * e)
                shifts = [(lane, share) for share in (0.0, -0.25, 0.25, -0.5, 0.5) for lane in lanes]
                if words == near:  # rather beside the middle than away from the wall
                    shifts.sort(key=lambda shift: shift[0])
                page.words.put([lowered(page, middle + (b - a) / run * slack * share + n * e * lane, turn)
                                for lane, share in shifts], words, turn=turn)


def running_dimensions(rows: Rows, xy: Array, page: Page) -> None:
    """One line square to the joists beside the roof, with every row's distance from the first."""
    places, out = _dimension_line(rows, xy, page.size)
    e, every = page.size, every_so_many(rows, page.size)
    thin = f'fill="none" stroke="{INK}" stroke-width="{e / 12:.2f}"'
    slash = (rows.across + rows.along) * 0.35 * e
    page.lines.append(strokes_path(
        [page.all([places[0], places[-1]]), *(page.all([p - slash, p + slash]) for p in places),
         *(page.all([p - out * 0.8 * e, p + out * 0.8 * e]) for p in places)], thin))
    turn = upright(-math.degrees(math.atan2(out[1], out[0])))
    a = math.radians(turn)
    ahead = float(np.array([math.cos(a), -math.sin(a)]) @ out) > 0
    for k, (p, offset) in enumerate(zip(places, rows.offsets, strict=True)):
        if k % every and k != len(places) - 1:
            continue
        if k == len(places) - 1 and k % every and offset - rows.offsets[k - k % every] < 1.05 * e:
            continue
        words = f"{rows.ids[0][0]} = 0" if k == 0 else length.write(float(offset))
        page.words.put([lowered(page, p + out * e, turn)], words, turn=turn, anchor="start" if ahead else "end",
                       halo=False)


def first_joist(sheet: Sheet, rows: Rows, runs: Sequence[Run], xy: Array, page: Page) -> None:
    """The first joist held to its wall, near both its ends."""
    e = page.size
    for tape in first_from_wall(runs, rows, Polygon(xy), FARTHEST_WALL):
        u = (tape.wall - tape.at) / max(tape.length, 1e-9)
        side = np.array([-u[1], u[0]]) * 0.3 * e
        ends = [page.all([p - u * w * 0.7 * e + side, p, p - u * w * 0.7 * e - side]) for p, w in
                ((tape.wall, 1), (tape.at, -1))]
        page.words.parts.append(strokes_path([page.all([tape.at, tape.wall]), *ends],
                                             f'class="tape" fill="none" stroke="{INK}" stroke-width="{e / 9:.2f}"'))
        words = length.write(tape.length)
        beside_ = (width_of(words) / 2 + 0.4) * e
        middle = (tape.at + tape.wall) / 2
        flat = np.array([1.0, 0.0]) * beside_ if abs(u[1]) > 0.5 else np.array([0.0, 1.0]) * e
        page.words.put([lowered(page, middle + flat * k, 0.0) for k in (1, -1, 2, -2)], words)
