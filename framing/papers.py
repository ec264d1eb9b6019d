"""Cut sheets: what the crew saws, in the order in which it is sawn, with every height to 1/16 in."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from typing import Any

from django.template.loader import render_to_string

from framing.engine import length

ROLES = {"rim": "Rims", "edge": "Edge joists", "joist": "Joists", "border": "Border members", "blocking": "Blocking"}
COLUMNS = 14  # stations side by side on a sheet
Numbered = list[tuple[int, Mapping[str, Any]]]
SAME_PLACE = 0.02  # in: a support and a station this close are one column


def cut_sheets_html(framing: Mapping[str, Any], survey: Mapping[str, Any], build: Mapping[str, Any], *, paper: str,
                    mark: str) -> str:
    """The crew's papers of a framing.

    `paper` names them in the footer; `mark` is the hash that says which framing they belong to.
    """
    rips, boards = sawing_order(framing.get("stock_plan") or ())
    members = framing.get("members") or ()
    shapes = {shape["id"]: shape for shape in (*members, *(framing.get("boards") or ()))}
    cuts = _cuts_by_piece(rips)
    supports: dict[str, list[Mapping[str, Any]]] = {}
    for support in framing.get("supports") or ():
        supports.setdefault(support["member"], []).append(support)
    return render_to_string("paper/cut_sheets.html", {
        "paper": paper,
        "mark": mark,
        "name": survey.get("name", ""),
        "surveyed_on": survey.get("surveyed_on", ""),
        "datum": (survey.get("datum") or {}).get("what", ""),
        "kerf": _saw(build, "kerf", 0.125),
        "trim": _saw(build, "trim", 0.25),
        "dry": (build.get("joists") or {}).get("moisture") in ("kdat", "dry"),
        "grade": f"{build['joists'].get('species', '')} {build['joists'].get('grade', '')}".strip(),
        "rips": [_stick(number, stick, shapes) for number, stick in rips],
        "roles": [
            {"title": title, "members": [_member(m, cuts, supports.get(m["id"], [])) for m in _of(members, role)]}
            for role, title in ROLES.items() if _of(members, role)
        ],
        "boards": [_stick(number, stick, shapes) for number, stick in boards],
        "pads": _pads(framing.get("supports") or ()),
        "warnings": [check for check in framing.get("checks") or () if _for_the_crew(check)],
    })


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


def _piece_name(cut: Mapping[str, Any]) -> str:
    return f"{cut['member']}/{cut.get('piece') or 1}" if cut.get("member") else str(cut.get("board", "?"))


def _ends(shape: Mapping[str, Any] | None, cut: Mapping[str, Any]) -> str:
    """Depths of a member's piece at its two ends, end A first; the two widths of a board that is ripped."""
    if shape is None:
        return ""
    if rip := shape.get("rip"):
        return f"ripped {length.sixteenths(rip[0])} → {length.sixteenths(rip[1])}"
    if not shape.get("profile"):
        return ""
    start, end = _span(shape, int(cut.get("piece") or 1))
    return f"{length.sixteenths(_depth(shape, start))} → {length.sixteenths(_depth(shape, end))}"


def _span(member: Mapping[str, Any], piece: int) -> tuple[float, float]:
    """Where a piece begins and ends along its member. [in]"""
    profile = member["profile"]
    joints = [profile[0][0], *sorted(member.get("splices") or ()), profile[-1][0]]
    last = len(joints) - 2
    index = min(max(piece - 1, 0), last)
    return joints[index], joints[index + 1]


def _depth(member: Mapping[str, Any], s: float) -> float:
    profile = member["profile"]
    for (s0, d0), (s1, d1) in zip(profile, profile[1:], strict=False):
        if s0 <= s <= s1 and s1 > s0:
            return float(d0 + (d1 - d0) * (s - s0) / (s1 - s0))
    return float(profile[0][1] if s < profile[0][0] else profile[-1][1])


def _member(member: Mapping[str, Any], cuts: Mapping[str, Any],
            supports: Sequence[Mapping[str, Any]]) -> dict[str, Any]:
    pieces = cuts.get(member["id"], [])
    stations = [{"s": s, "depth": depth, "support": _nearest(supports, s)} for s, depth in member.get("stations") or ()]
    columns = [
        {"s": length.sixteenths(st["s"]), "depth": st["depth"], "pad": _stack(st["support"])} for st in stations
    ]
    (x0, y0), (x1, y1) = member["start"], member["end"]
    return {
        "id": member["id"],
        "size": member["size"],
        "length": length.sixteenths(((x1 - x0) ** 2 + (y1 - y0) ** 2) ** 0.5),
        "pieces": [
            {"number": piece, "length": length.sixteenths(cut["length"]), "stick": number, "size": stick["size"],
             "stick_length": length.write(stick["length"], feet=True)}
            for piece, cut, (number, stick) in pieces
        ],
        "splices": [length.sixteenths(s) for s in member.get("splices") or ()],
        "has_pads": bool(supports),
        "rows": [columns[i:i + COLUMNS] for i in range(0, len(columns), COLUMNS)],
    }


def _nearest(supports: Sequence[Mapping[str, Any]], s: float) -> Mapping[str, Any] | None:
    return next((support for support in supports if abs(support["s"] - s) <= SAME_PLACE), None)


def _stack(support: Mapping[str, Any] | None) -> str:
    """Pad and shim under a station, in words short enough for a column."""
    if support is None:
        return ""
    shim = support.get("shim") or 0
    return _pad_name(support) + (f" + {length.write(shim, 32)}" if shim else "")


def _pad_name(support: Mapping[str, Any]) -> str:
    sides = [length.write(side) for side in support.get("pad_size") or ()]
    return "×".join(sides) or "pad"


def _pads(supports: Sequence[Mapping[str, Any]]) -> list[dict[str, Any]]:
    """How many pads stand with how much shim, thinnest first."""
    counts: dict[tuple[str, float, float], int] = {}
    for support in supports:
        key = _pad_name(support), round(float(support["pad"]), 4), round(float(support.get("shim") or 0), 4)
        counts[key] = counts.get(key, 0) + 1
    return [{"name": name, "pad": length.write(pad), "shim": length.write(shim, 32) if shim else "", "count": count}
            for (name, pad, shim), count in sorted(counts.items())]
