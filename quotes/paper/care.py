"""Care of a deck: what its survey, build and framing say that an owner has to do, keep free and leave off.

Intervals and upkeep are common practice, with no published source; every number is that of the snapshot.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

from framing.engine import length, places
from framing.reference.decking import decking_key
from quotes.notes import listed

HARDWOODS = {"ipe", "cumaru", "garapa", "white ash", "thermally modified ash"}  # keys of the reference's decking


def care(snapshot: Mapping[str, Any]) -> dict[str, Any]:
    """What the care sheet says of this deck."""
    framing, build = snapshot["framing"], snapshot["build"]
    gaps = [float(support["clear_gap"]) for support in framing.get("supports") or ()]
    loads = framing.get("loads") or {}
    return {
        "outlets": _outlets(snapshot),
        "gap": {"least": length.write(min(gaps)), "count": len(gaps)} if gaps else None,
        "edges": _edges(snapshot["survey"]),
        "loads": {"live": f"{loads['live']:g}", "dead": f"{loads['dead']:.1f}",
                  "basis": (build.get("loads") or {}).get("basis") or "not stated"} if loads else None,
        "heavy": [{"psf": f"{place['psf']:g}", "where": listed([str(point) for point in place.get("points") or ()])}
                  for place in (build.get("loads") or {}).get("heavy") or ()],
        "wood": _wood(build),
        "membrane": (snapshot["survey"].get("roof") or {}).get("membrane"),
        "warranty_holder": (snapshot["survey"].get("roof") or {}).get("warranty_holder"),
    }


def _outlets(snapshot: Mapping[str, Any]) -> list[dict[str, str]]:
    """Every outlet: what and where it is, and which boards lift out over it."""
    survey, build, framing = snapshot["survey"], snapshot["build"], snapshot["framing"]
    named = {name: (float(point["x"]), float(point["y"]))
             for name, point in ((framing.get("survey_adjustment") or {}).get("points") or {}).items()}
    outlets = [outlet for outlet in survey.get("outlets") or () if outlet.get("point") in named]
    corners = {name: named[name] for name in survey.get("corners") or () if name in named}
    panels: dict[str, list[str]] = {}
    for board in framing.get("boards") or ():
        if board["kind"] == "panel" and outlets:
            middle = _middle(board["polygon"])
            nearest = min(outlets, key=lambda outlet: math.dist(middle, named[outlet["point"]]))
            panels.setdefault(nearest["point"], []).append(board["id"])
    refused = {asked["over"]: asked["none"] for asked in build.get("access_panels") or () if asked.get("none")}
    return [
        {"name": f"{outlet['kind'].capitalize()} {outlet['point']}", "purpose": outlet.get("purpose") or "primary",
         "where": places.from_points(named[outlet["point"]], corners) or "as on the plan",
         "panel": _panel(panels.get(outlet["point"], []), refused.get(outlet["point"]))}
        for outlet in outlets
    ]


def _panel(boards: list[str], refused: str | None) -> str:
    if boards:
        return f"{len(boards)} board{'s lift' if len(boards) > 1 else ' lifts'} out: {', '.join(boards)}"
    return f"none: {refused}" if refused else "none; reached from beside the deck"


def _middle(ring: Any) -> tuple[float, float]:
    return sum(x for x, _ in ring) / len(ring), sum(y for _, y in ring) / len(ring)


def _edges(survey: Mapping[str, Any]) -> list[dict[str, str]]:
    """Edges that people could fall from: how far down, and how high the parapet stands."""
    unit = survey.get("unit", "in")
    return [
        {"name": f"{edge.get('from')}–{edge.get('to')}",
         "drop": f"{length.read(edge['drop_beyond'], unit) / 12:.0f} ft" if edge.get("drop_beyond") is not None
         else "not measured",
         "parapet": f"{length.write(length.read(edge['height'], unit))} in" if edge.get("height") is not None
         else "none measured"}
        for edge in survey.get("edges") or () if edge.get("against") != "house"
    ]


def _wood(build: Mapping[str, Any]) -> dict[str, Any]:
    decking = build["decking"]
    key = decking_key(decking.get("species") or "")
    return {
        "species": decking.get("species") or "the boards",
        "is_hardwood": key in HARDWOODS, "is_composite": key == "composite",
        "is_wet": (build["joists"].get("moisture") or "") not in ("kdat", "dry"),
        "hidden": decking.get("fastening") == "hidden",
    }
