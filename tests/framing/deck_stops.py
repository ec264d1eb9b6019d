"""Whether a stop is true: nothing of the engine's is used to decide that no frame can be, nor that a change clears it.

What a stop claims is decided from the documents and the answer's own roof and plane, as linear programs over the
depths of a member or as heights at places. A change is put into the build document and the whole framed again.
"""

from __future__ import annotations

import copy
import math
import re
from collections.abc import Callable, Mapping
from typing import Any

import numpy as np
import shapely
from scipy.optimize import linprog
from shapely import LineString, Point
from shapely.ops import polygonize

from framing.engine.design import frame
from framing.reference.design_values import reference_values
from framing.reference.lumber import DRESSED
from tests.framing.deck_reading import Floats
from tests.framing.identities import UNITS, Answer, Document

CLOSE = 1e-6
OUTLET, VALLEY = 12.0, 3.0  # a pad's middle keeps off an outlet, its side off a valley line [in]
TIP = 220.0  # on a free end [lb]
SOFT = 0.5  # simple spans used to less than this show that pads could have carried it; no wood factor is as large
LENGTHS = {"surface.reveal", "surface.fall_per_ft", "decking.thickness", "joists.minimum_depth", "joists.spacing",
           "joists.tape_thickness", "supports.pad_thickness", "supports.base_thickness", "supports.shim_most",
           "supports.clear_gap.least", "supports.clear_gap.target", "supports.clear_gap.most", "supports.pad_size",
           "joists.stock_lengths", "decking.stock_lengths", "supports.maximum_spacing", "supports.packer_most"}


def stops(framing: Document) -> list[Document]:
    return [c for c in framing["checks"] if c["status"] == "stop"]


def _heights(a: Answer) -> tuple[Floats, Floats]:
    """Places (n, 2) that the roof under the deck is highest or lowest at, and a net of others; the height over each."""
    x0, y0, x1, y1 = a.net.bounds
    x, y = np.meshgrid(np.linspace(x0, x1, 90), np.linspace(y0, y1, 90))
    spread = np.c_[x.ravel(), y.ravel()]
    spread = spread[shapely.contains_xy(a.net, spread)]
    bends = shapely.union_all([a.net.boundary, *a.creases])  # a line wherever one crosses another
    xy = np.concatenate([spread, shapely.get_coordinates(bends.intersection(a.net))])
    return xy, a.surface(xy) - a.roof(xy)


def _limits(a: Answer) -> tuple[float, float, float, float]:
    """Least and most gap that can be built, least depth, deepest stick [in]."""
    gap = {k: a.asked(v) for k, v in a.build["supports"]["clear_gap"].items()}
    under = a.want("supports", "pad_thickness") + a.want("supports", "base_thickness")
    return (max(gap["least"], under), min(gap["most"], under + a.most_shims) + a.packing,
            a.want("joists", "minimum_depth", 1.5), max(DRESSED[k][1] for k in a.build["joists"]["sizes"]))


def no_depth(height: Floats, limits: tuple[float, float, float, float]) -> bool:
    """Whether no depths at all lie in the corridor over these heights of the framing plane over the roof: a linear
    program in one depth a place, with slack; a profile may bend anywhere, so places do not bind one another."""
    least, most, thin, deep = limits
    low, high = np.maximum(height - most, thin), np.minimum(height - least, deep)
    n = len(height)
    cost = np.r_[np.zeros(n), 1.0]
    eye, one = np.eye(n), np.ones((n, 1))
    answer = linprog(cost, A_ub=np.block([[eye, -one], [-eye, -one]]), b_ub=np.r_[high, -low],
                     bounds=[(None, None)] * n + [(0, None)])
    return bool(answer.x[-1] > CLOSE)


def height_short(a: Answer, stop: Document) -> str | None:
    """Nowhere lower than decking, tape, least wood and least gap need."""
    _, height = _heights(a)
    least, _, thin, _ = _limits(a)
    needed = a.over + thin + least
    if height.min() >= needed - CLOSE:
        return f"the height is {height.min():.4f} at the least, {needed:.4f} needed"
    if abs(stop["value"] - height.min()) > 0.02:
        return f"the height is said to be {stop['value']:.4f}, found {height.min():.4f}"
    return None


def no_member(a: Answer, stop: Document) -> str | None:
    """Somewhere under the deck no depth lies in the corridor."""
    _, height = _heights(a)
    least, most, thin, deep = _limits(a)
    height = height - a.over
    worst = np.argsort(np.minimum(height - least, deep) - np.maximum(height - most, thin))[:40]
    return None if no_depth(height[worst], (least, most, thin, deep)) else "every place has a depth that fits"


def too_short(a: Answer, stop: Document) -> str | None:
    """Longer than any stick that is asked for and reaches the roof."""
    sticks = [a.asked(v) for kind in ("joists", "decking") for v in a.build[kind]["stock_lengths"]]
    usable = [v for v in sticks if v <= a.reach + CLOSE]
    if stop["limit"] <= max(usable, default=0.0) - CLOSE:
        return f"{stop['limit']} is needed and a stick of {max(usable)} is at hand"
    return None


def strength(a: Answer, stop: Document) -> str | None:
    """The member named, on simple spans between the places where a pad may stand at all, would be hard used.

    Statics of its own: w L^2 / 8 and 5 w L^4 / 384 EI at the member's least depth, w o^2 / 2 with 220 lb at the tip of
    an end that has no place near it. Far under what the wood carries on all of them, pads would have made it pass.
    """
    if stop["value"] <= stop["limit"] + 1e-9:
        return f"{stop['value']} is within {stop['limit']}"
    m = a.members.get(str(stop["where"]).split(",")[0].split(" ")[0])
    if m is None or m["role"] not in ("joist", "edge"):
        return None
    start, end = np.array(m["start"]), np.array(m["end"])
    run = float(np.hypot(*(end - start)))
    s = np.arange(0, run + 0.25, 0.5)
    xy = start + s[:, None] * (end - start) / run
    pad = min(max(size) for size in a.pads)
    open_ = shapely.contains_xy(a.gross.buffer(-pad / 2), xy) & ~shapely.contains_xy(
        shapely.union_all(a.holes).buffer(pad / 2) if a.holes else shapely.Polygon(), xy)
    for o in a.survey.get("outlets", ()):
        open_ &= np.hypot(*(xy - a.points[o["point"]]).T) >= OUTLET
    for line in a.valleys:
        open_ &= shapely.distance(shapely.points(xy), line) >= pad / 2 + VALLEY
    places = s[open_]
    if len(places) < 2:
        return None
    span = max(float(np.diff(places).max()), pad + 2)
    thick, depth = m["thickness"], min(d for _, d in m["profile"])
    tips = [(max(places[0], pad / 2), m["profile"][0][1]), (max(run - places[-1], pad / 2), m["profile"][-1][1])]
    load = sum(a.framing["loads"][k] for k in ("dead", "live")) * a.want("joists", "spacing") / 144  # [lb/in]
    wood = reference_values(a.build["joists"]["species"], a.build["joists"]["grade"], m["size"])
    bends = [(load * span**2 / 8, depth), *((load * tip**2 / 2 + TIP * tip, d) for tip, d in tips)]
    shears = [(load * span / 2, depth), *((load * tip + TIP, d) for tip, d in tips)]
    use = {"bending": max(6 * moment / (thick * d**2) for moment, d in bends) / wood.Fb,
           "shear": max(1.5 * force / (thick * d) for force, d in shears) / wood.Fv,
           "deflection": 5 * load * span**3 * 360 / (384 * wood.E * thick * depth**3 / 12)}
    if max(use.values()) < SOFT:
        return (f"{m['id']}: simple spans of {span:.1f} in, {depth:.2f} in deep, and tips of "
                f"{max(t for t, _ in tips):.1f} in are used to "
                + ", ".join(f"{v:.0%} in {k}" for k, v in use.items()))
    return None


def not_measured(a: Answer, stop: Document) -> str | None:
    """No reading lies on the part that the break lines, run on to the walls, cut off about the place named.

    What is read on a break line fixes its height and slope along the line; only a reading beside it tells the fall.
    """
    at = Point([float(v) for v in re.findall(r"-?\d+", str(stop["where"]))[:2]])
    lines = []
    for b in a.survey.get("breaklines", ()):
        ends = np.array([a.points[b["points"][0]], a.points[b["points"][-1]]])
        run = (ends[1] - ends[0]) * 1e3 / np.hypot(*(ends[1] - ends[0]))
        within = LineString([ends[0] - run, ends[1] + run]).intersection(a.gross.buffer(0.1))
        lines += [p for p in getattr(within, "geoms", [within]) if p.distance(LineString(ends)) < CLOSE]
    cells = [c for c in polygonize(shapely.union_all([a.gross.exterior, *lines])) if c.contains(at)]
    read = [p for p, on, _ in a.heights() if on == "roof" and p in a.points
            and any(c.buffer(-1.0).contains(Point(a.points[p])) for c in cells)]
    return f"{', '.join(read)} was read there" if read or not cells else None


JUDGES: dict[str, Callable[[Answer, Document], str | None]] = {
    "height-short": height_short, "stick-too-shallow": no_member, "no-profile": no_member, "stick-too-short": too_short,
    "roof-not-measured": not_measured, "roof-too-steep": not_measured,  # only readings beside a line fix the fall
}


def judged(a: Answer, stop: Document) -> str | None:
    """Why a stop is not true, in words; None where it is."""
    if stop["code"].startswith("strength-") or stop["code"] == "tip-load":
        return strength(a, stop)
    judge = JUDGES.get(stop["code"])
    return judge(a, stop) if judge else "a stop that nothing about a sound survey and build should cause"


def applied(build: Document, change: Document) -> dict[str, Any]:
    """The build with one change made: a merge patch where it has one, else `to` at its dotted path, in its unit."""
    made: dict[str, Any] = copy.deepcopy(dict(build))
    if change.get("patch") is not None:
        return _merged(made, change["patch"])
    *path, last = change["change"].split(".")
    part = made
    for name in path:
        part = part.setdefault(name, {})
    to, unit = change["to"], build.get("unit", "in")
    if isinstance(to, (int, float)) and change["change"] in LENGTHS:
        to = round(to / UNITS[unit], 6)  # as it would be typed
    if last == "pad_size":
        part[last] = [to, to] if isinstance(to, (int, float)) else [v / UNITS[unit] for v in to]
    elif isinstance(part.get(last), list):
        part[last] = [*part[last], to]
    else:
        part[last] = to
    return made


def _merged(target: Any, patch: Any) -> Any:
    """RFC 7396."""
    if not isinstance(patch, Mapping):
        return patch
    found = dict(target) if isinstance(target, Mapping) else {}
    for key, value in patch.items():
        if value is None:
            found.pop(key, None)
        else:
            found[key] = _merged(found.get(key), value)
    return found


def uncleared(survey: Document, build: Document, stop: Document) -> list[str]:
    """The changes that a stop offers and that do not leave the build without a stop, in words."""
    found = []
    for change in stop["clears"]:
        words = f"{stop['code']}: {change['change']} {change['from']} to {change['to']}"
        try:
            left = stops(frame(survey, applied(build, change)).document)
        except Exception as error:  # a build that cannot be read is no offer
            found.append(f"{words} raises {type(error).__name__}: {error}"[:300])
            continue
        if left:
            found.append(f"{words} leaves {', '.join(sorted({c['code'] for c in left}))}")
        elif isinstance(change["to"], float) and math.isnan(change["to"]):
            found.append(f"{words} is no number")
    return found
