"""A reader of what is ordered, brought up and worked, from the documents alone: every count made again from outside."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterator, Mapping
from typing import Any

import numpy as np
from shapely import LineString, Point, Polygon, union_all
from shapely.ops import substring

from framing.reference.lumber import DRESSED
from framing.reference.production import FACTOR_CAP, RATES

Document = Mapping[str, Any]

CLOSE = 1e-4
WRITTEN = 1e-5  # an item's key carries its stick to the thousandth of an inch
HELD = 0.375  # a board is fixed where it comes this near a member's middle line, this far from its ends [in]
ACROSS = 70.0  # ... and crosses the board at 20 degrees or more: so far off square [degrees]
ALONG = 89.9  # an edge of a border's board lies along a side of the deck where it is so far off square to it [degrees]
LEAST_EDGE = 0.1  # a shorter edge has no direction to go by [in]
LIMIT = 2e-3  # a count is sure where this much more or less [in] changes nothing
NEAR = 1.5  # an end this near another member's middle line meets it: its thickness [in]


def orders(build: Document, framing: Document) -> list[str]:
    """What is wrong with quantities, lifts, labor and schedule, in words."""
    return [f"{kind}: {words}" for kind, read in (
        ("quantities", _quantities(framing)), ("counts", _counts(framing)), ("lifts", _lifts(framing)),
        ("labor", _labor(build, framing)), ("schedule", _schedule(framing))) for words in read]


def _quantities(framing: Document) -> Iterator[str]:
    for q in framing["quantities"]:
        need = q["net"] + q["waste"] + q["spare"]
        if not q["order"] * q["pack"] >= need - CLOSE or (q["order"] > 1 and (q["order"] - 1) * q["pack"] >= need):
            yield f"{q['item']}: {q['order']} packs of {q['pack']} for {need}"
        used = q["net"] + q["waste"]
        if abs(q["net"] * (1 + q["waste_added_on"]) - used) > CLOSE:
            yield f"{q['item']}: waste added on {q['waste_added_on']}"
        if abs(q["net"] / (1 - q["waste_yield"]) - used) > CLOSE * max(used, 1):
            yield f"{q['item']}: waste of yield {q['waste_yield']}"
        if q["weight"] <= 0:
            yield f"{q['item']} weighs nothing"
        if q["item"].startswith("lumber/2"):
            _, size, stick = q["item"].split("/")
            thick, wide = (int(v) for v in size.split("x"))
            if abs(q["board_feet"] - q["order"] * thick * wide * float(stick) / 144) > WRITTEN * q["board_feet"]:
                yield f"{q['item']}: {q['board_feet']} board feet"
    bought: Counter[str] = Counter()
    for s in framing["stock_plan"]:
        bought[s["item"]] += s["length"] * s.get("count", 1)
    for item, inches in bought.items():
        got = sum(q["order"] * q["pack"] - q["spare"] for q in framing["quantities"]
                  if q["item"].startswith(item + "/")) * 12
        if abs(got - inches) > CLOSE:
            yield f"{item}: {got} in ordered besides spares, {inches} sawn"


def _counts(framing: Document) -> Iterator[str]:
    """Pads, shims, crossings, rips, splices and board ends, counted again."""
    found = {q["item"]: q["net"] for q in framing["quantities"]}
    tasks = {t["task"]: t for t in framing["labor"]}
    members, boards = framing["members"], framing["boards"]
    for size, n in Counter("{:g}x{:g}".format(*s["pad_size"]) for s in framing["supports"]).items():
        if found.get(f"support/pad/{size}") != n:
            yield f"{n} pads {size}, {found.get(f'support/pad/{size}')} in the takeoff"
    for size, n in Counter(v for s in framing["supports"] for v in s["shims"]).items():
        if found.get(f"support/shim/{size:g}") != n:
            yield f"{n} shims {size:g}, {found.get(f'support/shim/{size:g}')} in the takeoff"
    lines = [LineString([m["start"], m["end"]]) for m in members]
    along = math.radians(framing["directions"]["boards"])
    bodies = [(body, np.subtract(m["end"], m["start"])) for m in members for body in _bodies(m)]
    held = [0, 0]  # what ends at the limit is held or is not, by the last digit: with those and without
    for b in boards:
        if b["kind"] == "panel":
            continue
        shape, way = Polygon(b["polygon"]), np.array([math.cos(along), math.sin(along)])
        if b["kind"] == "border":
            way = _along_side(np.array(b["polygon"]), np.array(framing["outline"]))
        near = [(body, _off_square(run, way)) for body, run in bodies if body.dwithin(shape, NEAR)]
        for i, (more, square) in enumerate(((LIMIT, ACROSS + 0.2), (-LIMIT, ACROSS - 0.2))):
            held[i] += sum(off < square and _body(body, more).intersects(shape) for body, off in near)
    clips = found.get("fixing/hidden", found.get("fixing/face", 0) / 2)
    if not held[1] <= clips <= held[0]:
        yield f"{held[1]} to {held[0]} crossings, {clips} in the takeoff"
    ripped = 0.0
    for m in members:
        for (a, deep), (b, deeper) in zip(m["profile"], m["profile"][1:], strict=False):
            both = [max(0.0, min(b, q) - max(a, p)) for p, q, _ in m.get("pieces") or [(a, b, 0)]]
            ripped += sum(both) * (m["ripped"] and min(deep, deeper) < DRESSED[m["size"]][1] - 1 / 32)
    if abs(tasks.get("rip-tapers", {"quantity": 0})["quantity"] - ripped / 12) > 0.01:
        yield f"{ripped / 12} ft ripped, {tasks.get('rip-tapers')}"
    meets, angled = np.zeros(2, int), np.zeros(2, int)  # at least and at most: an end at the limit meets or does not
    for i, m in enumerate(members):
        run = np.subtract(m["end"], m["start"])
        hung_on = m["role"] != "rim" or m["id"].startswith("H")
        for end in (m["start"], m["end"]):
            point = LineString([end, end]).centroid
            others = [(line.distance(point), k) for k, line in enumerate(lines) if k != i]
            off = [min((_off_square(run, np.subtract(members[k]["end"], members[k]["start"]))
                        for away, k in others if away <= NEAR + more), default=math.inf) for more in (-LIMIT, LIMIT)]
            meets += sorted(v < 89 and hung_on for v in off)
            angled += sorted(2 < v < 89 for v in off)
    run = sum(math.dist(m["start"], m["end"]) + sum(q - p for p, q, _ in m.get("pieces", ()))
              - (m["pieces"][-1][1] if m.get("pieces") else 0) for m in members) / 12
    if abs(tasks["set-members"]["quantity"] - run) > 0.01:
        yield f"{run} ft of members, {tasks['set-members']}"
    spliced = sum(len(m["splices"]) for m in members)
    hung = sum(m["role"] in ("blocking", "border") for m in members)
    packers = sum(s["packer"] > 0 for s in framing["supports"])
    least, most = hung + spliced + packers + meets / 2
    if not least <= (t := tasks["block"]["quantity"]) <= most:
        yield f"blocking {hung}, splices {spliced}, packers {packers}, joints {meets}, in pairs: not {t}"
    if not angled[0] <= (t := tasks.get("cut-angles", {"quantity": 0})["quantity"]) <= angled[1]:
        yield f"{angled} ends off square, not {t}"
    if tasks["seal-ends"]["quantity"] != 2 * len(boards) or tasks["set-pads"]["quantity"] != len(framing["supports"]):
        yield "ends or pads"
    panels = union_all([Polygon(b["polygon"]).buffer(0.51) for b in boards if b["kind"] == "panel"])
    count = len(getattr(panels, "geoms", [panels])) if not panels.is_empty else 0
    if not (count <= tasks.get("panels", {"quantity": 0})["quantity"] <= sum(b["kind"] == "panel" for b in boards)):
        yield f"{count} panels, {tasks.get('panels')}"


def _bodies(m: Document) -> list[LineString]:
    """The middle lines of its wood in plan: of every piece where they lap, else of the whole member."""
    line = LineString([m["start"], m["end"]])
    return [substring(line, p, q).parallel_offset(abs(off), "left" if off > 0 else "right")
            for p, q, off in m.get("pieces", ())] or [line]


def _body(line: LineString, more: float) -> Polygon:
    """The strip of a member in which a board is fixed, wider and longer by `more` [in] all round."""
    return substring(line, HELD - more, line.length - HELD + more).buffer(HELD + more, cap_style="flat")


def _along_side(ring: np.ndarray, outline: np.ndarray) -> np.ndarray:
    """Which way a border's board (n, 2) runs: as the side of the `outline` (m, 2) that an edge of it lies along, of
    several edges as near the longest. The mitre of a short board, longer than the board, lies along no side."""
    edges, sides = (np.roll(xy, -1, axis=0) - xy for xy in (ring, outline))
    lie = [(round(LineString([p, p + side]).distance(Point(a + run / 2)), 2), -float(np.hypot(*run)), k)
           for k, (a, run) in enumerate(zip(ring, edges, strict=True)) if np.hypot(*run) > LEAST_EDGE
           for p, side in zip(outline, sides, strict=True) if _off_square(run, side) > ALONG]
    return np.asarray(edges[min(lie)[2] if lie else np.argmax(np.hypot(*edges.T))])


def _off_square(a: np.ndarray, b: np.ndarray) -> float:
    return math.degrees(math.asin(min(1.0, abs(float(a @ b)) / float(np.hypot(*a) * np.hypot(*b)))))


def _lifts(framing: Document) -> Iterator[str]:
    lifts = framing["lifts"]
    found: Counter[str] = Counter()
    weights = {q["item"]: q["weight"] / q["order"] for q in framing["quantities"]}
    for b in lifts["bundles"]:
        found.update(b["items"])
        if abs(sum(weights[item] * n for item, n in b["items"].items()) - b["weight"]) > CLOSE:
            yield f"bundle {b}"
        if b["weight"] > lifts["most"] + CLOSE and sum(b["items"].values()) > 1:
            yield f"a bundle of {b['weight']} lb, the lift takes {lifts['most']}"
        if lifts["longest"] is not None and b["length"] > lifts["longest"] + CLOSE:
            yield f"a bundle {b['length']} in long, {lifts['longest']} reach the roof"
    if found != {q["item"]: q["order"] for q in framing["quantities"]}:
        yield "what goes up is not what is ordered"
    whole = sum(q["weight"] for q in framing["quantities"])
    if abs(lifts["weight"] - whole) > CLOSE or abs(sum(d["weight"] for d in lifts["deliveries"]) - whole) > CLOSE:
        yield f"{lifts['weight']} lb go up, {whole} are ordered"
    if lifts["count"] != len(lifts["bundles"]) or lifts["count"] < whole / lifts["most"] - CLOSE:
        yield f"{lifts['count']} lifts"


def _labor(build: Document, framing: Document) -> Iterator[str]:
    given = (build.get("labor") or {}).get("rates") or {}
    hard = framing["difficulty"]
    if abs(math.prod(f["value"] for f in hard["factors"]) - hard["product"]) > CLOSE:
        yield f"factors {hard}"
    if abs(min(hard["product"], FACTOR_CAP) - hard["used"]) > CLOSE or hard["cap"] != FACTOR_CAP:
        yield f"cap {hard}"
    if any(not (f["low"] <= f["value"] <= f["high"] and f["why"]) for f in hard["factors"]):
        yield f"a factor out of its band, or nobody knows why: {hard}"
    for t in framing["labor"]:
        rate = given.get(t["task"]) or vars(RATES[t["task"]])
        worked = t["quantity"] * t["factor"]
        if not worked * rate["low"] - CLOSE <= t["hours"] <= worked * rate["high"] + CLOSE:
            yield f"{t['task']}: {t['hours']} h out of its band"
        if (t["low"], t["high"], t["unit"]) != (rate["low"], rate["high"], rate["unit"]):
            yield f"{t['task']}: not its rate {rate}"
        if t["factor"] not in ({1.0} if t["task"] == "clean-up" else {hard["used"]}) or "rate" not in t["basis"]:
            yield f"{t['task']}: factor {t['factor']}"
    way = {"stair": "hoist-stairs", "hoist": "hoist-rope", "elevator": "hoist-elevator", "boom": "hoist"}
    lifts = framing["lifts"]
    floors = max((lifts["floor"] or 1) - 1, 1) if lifts["by"] == "stair" else 1
    hoisted = [t for t in framing["labor"] if t["task"].startswith("hoist")]
    if [t["task"] for t in hoisted] != [way[lifts["by"]]] or abs(
            hoisted[0]["quantity"] - lifts["weight"] / 100 * floors) > CLOSE:
        yield f"hoisting {hoisted}"


def _schedule(framing: Document) -> Iterator[str]:
    s = framing["schedule"]
    hours = sum(t["hours"] for t in framing["labor"])
    if abs(s["person_hours"] - hours) > CLOSE or sum(s["crew"].values()) != s["persons"]:
        yield f"{hours} hours, {s}"
    day = s["persons"] * s["hours_a_day"]
    if abs(s["crew_days"] * day - hours) > CLOSE or not (
            (s["days"] - 1) * day * s["availability"] < hours <= s["days"] * day * s["availability"] + CLOSE):
        yield f"{s['days']} days of {day} h for {hours}"
    if not s["person_hours_low"] <= hours <= s["person_hours_high"] or not s["days_low"] <= s["days"] <= s["days_high"]:
        yield f"not in its band: {s}"
