"""Cut sheets: what the crew saws, in the order in which it is sawn, with every height to 1/16 in."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
from django.template.loader import render_to_string
from django.utils.safestring import mark_safe

from framing.engine import length
from framing.engine.cutting import Piece
from framing.engine.member_drawings import depth_at, pad_name, profile_svg
from framing.engine.nesting import SAW_MARGIN
from framing.engine.pair_drawings import pair_svg
from framing.engine.svg import FONT

ROLES = {"rim": "Rims", "edge": "Edge joists", "joist": "Joists", "border": "Border members", "blocking": "Blocking"}
DRAWN = ("rim", "edge", "joist")  # each has its profile; short pieces have one where they stand on pads
WAYS_UP = {"stair": "up the stairs", "elevator": "by the elevator", "hoist": "by hoist", "boom": "by boom truck"}
POINT = 1 / 32  # a rip that ends narrower ends in a point [in]
PAPER_FONT = "font-family=\"'Deck Sans', 'Deck Serif', 'DejaVu Sans', sans-serif\""
BY_POINT = 24.0  # an end cut this near a survey point is named by it [in]
Numbered = list[tuple[int, Mapping[str, Any]]]


def cut_sheets_html(framing: Mapping[str, Any], survey: Mapping[str, Any], build: Mapping[str, Any], *, paper: str,
                    mark: str, plan_svg: str = "", paper_size: str = "letter") -> str:
    """The crew's papers of a framing.

    `paper` names them in the footer; `mark` is the hash that says which framing they belong to; `plan_svg` is the plan
    to put behind the members; `paper_size` is letter or a4.
    """
    rips, boards = sawing_order(framing.get("stock_plan") or ())
    members = framing.get("members") or ()
    points = (framing.get("survey_adjustment") or {}).get("points") or {}
    boards_laid = [_with_mitres(board, points) for board in framing.get("boards") or ()]
    shapes = {shape["id"]: shape for shape in (*members, *boards_laid)}
    cuts = _cuts_by_piece(rips)
    supports: dict[str, list[Mapping[str, Any]]] = {}
    for support in framing.get("supports") or ():
        supports.setdefault(support["member"], []).append(support)
    return render_to_string("paper/cut_sheets.html", {
        "paper": paper,
        "paper_size": paper_size,
        "mark": mark,
        "name": survey.get("name", ""),
        "surveyed_on": survey.get("surveyed_on", ""),
        "datum": (survey.get("datum") or {}).get("what", ""),
        "kerf": _saw(build, "kerf", 0.125),
        "trim": _saw(build, "trim", 0.25),
        "dry": (build.get("joists") or {}).get("moisture") in ("kdat", "dry"),
        "grade": f"{build['joists'].get('species', '')} {build['joists'].get('grade', '')}".strip(),
        "rips": [_stick(number, stick, shapes) for number, stick in rips],
        "pairs": [pair for number, stick in rips for pair in _pairs(number, stick, shapes)],
        "saw_margin": length.write(SAW_MARGIN),
        "plan": mark_safe(on_paper(plan_svg)),  # the engine's own drawing: every word in it is escaped
        "roles": [
            {"title": title, "drawn": [m for m in told if m["profile"]], "plain": [m for m in told if not m["profile"]]}
            for role, title in ROLES.items()
            if (told := [_member(m, cuts, supports.get(m["id"], [])) for m in _of(members, role)])
        ],
        "regrade": [check for check in framing.get("checks") or () if check["code"] == "regrade-required"],
        "boards": [_stick(number, stick, shapes) for number, stick in boards],
        "pads": _pads(framing.get("supports") or ()),
        "lifts": lifts_in_words(framing),
        "warnings": [check for check in framing.get("checks") or () if _for_the_crew(check)],
    })


def on_paper(svg: str) -> str:
    """A drawing with its words in the papers' own face, which goes into the PDF with them."""
    return svg.replace(FONT, PAPER_FONT)


def _saw(build: Mapping[str, Any], what: str, usual: float) -> str:
    value = (build.get("saw") or {}).get(what)
    return length.write(usual if value is None else length.read(value, build.get("unit", "in")))


def _of(members: Sequence[Mapping[str, Any]], role: str) -> list[Mapping[str, Any]]:
    return [member for member in members if member["role"] == role]


def _for_the_crew(check: Mapping[str, Any]) -> bool:
    return check["status"] in ("caution", "stop")


def sawing_order(sticks: Sequence[Mapping[str, Any]]) -> tuple[Numbered, Numbered]:
    """The sticks of members and those of boards, numbered from 1 as they are sawn.

    Size by size, the longest stick and the longest cut first; the numbers go on from the frame to the boards.
    """
    def order(stick: Mapping[str, Any]) -> tuple[Any, ...]:
        size = [int(digits) for digits in re.findall("[0-9]+", stick["size"] or "")]
        return stick["item"].split("/")[0], size, -stick["length"], -max(cut["length"] for cut in stick["cuts"])

    members, boards = ([stick for stick in sticks if any(cut.get(what) for cut in stick["cuts"])]
                       for what in ("member", "board"))
    rips = list(enumerate(sorted(members, key=order), start=1))
    return rips, list(enumerate(sorted(boards, key=order), start=len(rips) + 1))


def _cuts_by_piece(sticks: Numbered) -> dict[str, list[tuple[int, Mapping[str, Any], Any]]]:
    """Of every member its pieces in order: (piece, cut, (stick's number, stick))."""
    found: dict[str, list[tuple[int, Mapping[str, Any], Any]]] = {}
    for number, stick in sticks:
        for cut in stick["cuts"]:
            if cut.get("member"):
                found.setdefault(cut["member"], []).append((int(cut.get("piece") or 1), cut, (number, stick)))
    return {member: sorted(pieces, key=lambda piece: piece[0]) for member, pieces in found.items()}


def _stick(number: int, stick: Mapping[str, Any], shapes: Mapping[str, Mapping[str, Any]]) -> dict[str, Any]:
    cuts = sorted(stick["cuts"], key=lambda cut: -cut["length"])
    return {
        "number": number, "item": stick["item"], "size": stick["size"],
        "length": length.write(stick["length"], feet=True), "count": stick.get("count") or 1,
        "cuts": [
            {"name": _piece_name(cut), "length": length.sixteenths(cut["length"]),
             "ends": _ends(shapes.get(cut.get("member") or cut.get("board")), cut),
             "nested_with": cut.get("nested_with")}
            for cut in cuts
        ],
        "offcut": length.sixteenths(stick["offcut"]) if stick.get("offcut") is not None else "",
    }


def _pairs(number: int, stick: Mapping[str, Any], shapes: Mapping[str, Mapping[str, Any]]) -> list[dict[str, Any]]:
    """Tapers that lie side by side in a stick, the longer first; without its members' profiles there is no drawing."""
    cuts = {_piece_name(cut): cut for cut in sorted(stick["cuts"], key=lambda cut: -cut["length"])}
    names = list(cuts)
    found = []
    for name, cut in cuts.items():
        other = cut.get("nested_with")
        if other not in cuts or names.index(other) < names.index(name):
            continue
        pieces = [_taper(cuts[n], shapes) for n in (name, other)]
        found.append({"stick": number, "size": stick["size"], "stick_length": length.write(stick["length"], feet=True),
                      "long": name, "short": other, "length": length.sixteenths(cut["length"]),
                      "short_length": length.sixteenths(cuts[other]["length"]),
                      "drawing": mark_safe(on_paper(pair_svg(*pieces, stick["size"]))) if all(pieces) else ""})
    return found


def _taper(cut: Mapping[str, Any], shapes: Mapping[str, Mapping[str, Any]]) -> Piece | None:
    """A piece with its profile from its own end A."""
    member = shapes.get(cut.get("member") or "")
    if member is None or not member.get("profile"):
        return None
    start, end = _span(member, int(cut.get("piece") or 1))
    places = [start, *(s for s, _ in member["profile"] if start < s < end), end]
    return Piece(member["id"], "member", int(cut.get("piece") or 1), end - start,
                 tuple((s - start, depth_at(member, s)) for s in places))


def lifts_in_words(framing: Mapping[str, Any]) -> dict[str, Any] | None:
    """What goes up in which bundle and comes to the curb in which order, in words."""
    lifts = framing.get("lifts")
    if not lifts:
        return None
    names = {row["item"]: row["description"] for row in framing.get("quantities") or ()}
    return {
        "by": WAYS_UP.get(lifts["by"], lifts["by"]), "most": lifts["most"], "weight": lifts["weight"],
        "basis": lifts["basis"],
        "bundles": [
            {"order": bundle["order"], "weight": bundle["weight"], "longest": _long(bundle["length"]),
             "items": [f"{count:,}\u00a0×\u00a0{names.get(item, item)}" for item, count in bundle["items"].items()]}
            for bundle in lifts["bundles"]
        ],
        "deliveries": [{**delivery, "longest": _long(delivery["longest"])} for delivery in lifts["deliveries"]],
    }


def _long(inches: float) -> str:
    return length.write(inches, feet=True) if inches else ""


def _piece_name(cut: Mapping[str, Any]) -> str:
    return f"{cut['member']}/{cut.get('piece') or 1}" if cut.get("member") else str(cut.get("board", "?"))


def _ends(shape: Mapping[str, Any] | None, cut: Mapping[str, Any]) -> str:
    """Depths of a member's piece at its two ends, end A first; of a board what it is for and its widths if ripped."""
    if shape is None:
        return ""
    if cut.get("board"):
        told = [shape["kind"]] if shape["kind"] != "field" else []
        if rip := shape.get("rip"):
            told.append(f"ripped {_width(rip[0])} → {_width(rip[1])}")
        if mitres := shape.get("mitres"):
            told.append(f"ends {' and '.join(mitres)} off square")
        return ", ".join(told)
    if not shape.get("profile"):
        return ""
    start, end = _span(shape, int(cut.get("piece") or 1))
    return f"{length.sixteenths(depth_at(shape, start))} → {length.sixteenths(depth_at(shape, end))}"


def _width(inches: float) -> str:
    return length.sixteenths(inches) if inches >= POINT else "a point"


def _with_mitres(board: Mapping[str, Any], points: Mapping[str, Mapping[str, Any]]) -> Mapping[str, Any]:
    """A border board with the angle of its two end cuts off square, each by the survey point that it lies at."""
    if board["kind"] != "border" or len(board["polygon"]) < 4:
        return board
    xy = np.array(board["polygon"], float)
    sides = np.roll(xy, -1, axis=0) - xy
    run = np.hypot(*sides.T)
    along = sides[np.argmax(run)] / run.max()
    across = np.abs(sides @ np.array([-along[1], along[0]]))
    ends = np.sort(np.argsort(-across, kind="stable")[:2])  # the two sides that cross the board
    words = []
    for k in ends:
        angle = math.degrees(math.atan2(abs(float(sides[k] @ along)), float(across[k])))
        middle = xy[k] + sides[k] / 2
        near = min(points, key=lambda n: math.dist(middle, (points[n]["x"], points[n]["y"])), default=None)
        by = f" by {near}" if near and math.dist(middle, (points[near]["x"], points[near]["y"])) <= BY_POINT else ""
        words.append(f"{angle:.1f}°{by}")
    return {**board, "mitres": words}


def _span(member: Mapping[str, Any], piece: int) -> tuple[float, float]:
    """Where a piece begins and ends along its member, with its laps. [in]"""
    if pieces := member.get("pieces"):
        start, end, _ = pieces[min(max(piece, 1), len(pieces)) - 1]
        return float(start), float(end)
    profile = member["profile"]
    joints = [profile[0][0], *sorted(member.get("splices") or ()), profile[-1][0]]
    last = len(joints) - 2
    index = min(max(piece - 1, 0), last)
    return joints[index], joints[index + 1]


def _member(member: Mapping[str, Any], cuts: Mapping[str, Any],
            supports: Sequence[Mapping[str, Any]]) -> dict[str, Any]:
    pieces = cuts.get(member["id"], [])
    stations = member.get("stations") or ()
    is_drawn = (member["role"] in DRAWN or supports or len(stations) > 2) and stations
    (x0, y0), (x1, y1) = member["start"], member["end"]
    return {
        "id": member["id"],
        "size": member["size"],
        "length": length.sixteenths(((x1 - x0) ** 2 + (y1 - y0) ** 2) ** 0.5),
        "pieces": [
            {"number": piece, "length": length.sixteenths(cut["length"]), "stick": number, "size": stick["size"],
             "stick_length": length.write(stick["length"], feet=True), "lies": _lies(member, piece)}
            for piece, cut, (number, stick) in pieces
        ],
        "splices": [length.sixteenths(s) for s in member.get("splices") or ()],
        "depths": [depth for _, depth in stations],
        "profile": mark_safe(on_paper(profile_svg(member, supports))) if is_drawn else "",  # as above
    }


def _lies(member: Mapping[str, Any], piece: int) -> str:
    """From where to where a lapped piece lies, how far past its splices, and on which side seen from end A."""
    pieces = member.get("pieces") or ()
    if piece > len(pieces):
        return ""
    start, end, beside = pieces[piece - 1]
    splices = sorted(member["splices"])
    laps = [abs(s - at) for s, at in zip(splices[max(piece - 2, 0):piece], ([start] if piece > 1 else []) + [end],
                                         strict=False)]
    past = " and ".join(length.sixteenths(v) for v in laps)
    return (f"lies {length.sixteenths(start)} to {length.sixteenths(end)}, laps {past} past its "
            f"splice{'s' * (len(laps) > 1)}, {length.sixteenths(abs(beside))} {'left' if beside > 0 else 'right'} of "
            "the line")


def _pads(supports: Sequence[Mapping[str, Any]]) -> list[dict[str, Any]]:
    """How many pads stand with how much shim, thinnest first."""
    counts: dict[tuple[str, float, float], int] = {}
    for support in supports:
        key = pad_name(support), round(float(support["pad"]), 4), round(float(support.get("shim") or 0), 4)
        counts[key] = counts.get(key, 0) + 1
    return [{"name": name, "pad": length.write(pad), "shim": length.write(shim, 32) if shim else "", "count": count}
            for (name, pad, shim), count in sorted(counts.items())]
