"""Places on the roof in words that a carpenter finds with a tape.

Stage: roof -> places, for the height budget.
"""

from __future__ import annotations

import math
from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray
from shapely import Point

from framing.engine import length
from framing.engine.roof import Roof

Array = NDArray[np.float64]

AT = 0.5  # a place this near a survey point is that point [in]
IN_LINE = 0.5  # a place this near the line from one point to another is on it [in]
ON_FOLD = 1.0  # a place this near a ridge or valley is on it [in]
LEAST_ANGLE = math.radians(30)  # two tapes that meet flatter than this find no place


def coordinates(at: tuple[float, float]) -> str:
    """The place in the survey's frame, to the inch."""
    return f"x {round(at[0])}, y {round(at[1])}"


def in_words(at: tuple[float, float], roof: Roof, named: Mapping[str, tuple[float, float]]) -> str:
    """Where `at` [in] lies from the survey points `named` [in], and whether on a ridge or in a valley.

    From the nearest point along the line to another, or past it, where one lies so; else by two tapes from points that
    meet there at a good angle.
    """
    words = [w for w in (_from_points(np.array(at), named), _on_fold(at, roof)) if w]
    return ", ".join(words)


def from_points(at: tuple[float, float], named: Mapping[str, tuple[float, float]]) -> str:
    """Where a place given to the inch lies from the survey points `named` [in], to the inch; empty where none is."""
    return _from_points(np.array(at), named, whole=True)


def _from_points(at: Array, named: Mapping[str, tuple[float, float]], *, whole: bool = False) -> str:
    if not named:
        return ""
    names = list(named)
    to = np.array([named[n] for n in names], float) - at
    away = np.hypot(*to.T)
    order = np.argsort(away, kind="stable")
    near = order[0]
    if away[near] <= AT:
        return f"at {names[near]}"
    run = to - to[near]  # from the nearest point to the others
    reach = np.hypot(*run.T)
    with np.errstate(invalid="ignore", divide="ignore"):
        along = (run @ -to[near]) / reach
        off = np.abs(run[:, 0] * -to[near][1] + run[:, 1] * to[near][0]) / reach
    if whole:
        away = np.maximum(np.round(away), 1.0)
    run_words = f"{length.write(float(away[near]))} in"
    from_near = f"{run_words} from {names[near]}"
    in_line = (reach > AT) & (off <= IN_LINE)
    for lies, words in ((along > 0, f"{from_near} toward"),
                        (-along > 0, f"{run_words} past {names[near]} as seen from")):
        on = np.flatnonzero(in_line & lies & (reach >= away[near]))
        if len(on):
            return f"{words} {names[min(on, key=lambda i: (round(float(off[i]), 3), reach[i]))]}"
    for i in order[1:]:
        across = abs(to[near][0] * to[i][1] - to[near][1] * to[i][0]) / (away[near] * away[i])
        if across >= math.sin(LEAST_ANGLE):
            return f"{from_near} and {length.write(float(away[i]))} in from {names[i]}"
    return from_near


def _on_fold(at: tuple[float, float], roof: Roof) -> str:
    kinds = {b.kind for b in roof.breaks if b.line.distance(Point(at)) <= ON_FOLD}
    return "on the ridge" if "ridge" in kinds else "in the valley" if "valley" in kinds else ""
