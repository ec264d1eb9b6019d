"""What a frame must be beyond the documents' identities: wood where the deck is, clear of the roof as it truly is.

Read from the three documents alone, and from the truth behind the survey where that is asked. Lengths in inches.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, field

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import LineString, Point, Polygon
from shapely.ops import unary_union

from framing.reference.decking import joist_spacing
from tests.framing.decks import Deck
from tests.framing.identities import NEAR, STICK, WITHIN_SIDE, Answer, Document

Floats = NDArray[np.float64]

SLACK = 0.01  # what the least clearance may be under by between the places where it is worked out [in]
STEP = 1.0  # members are looked at this often [in]
BESIDE = STICK / 2  # deck is carried this far beyond half a spacing from a member's line: half its breadth [in]
END_PAD = 3.0  # an end pad's middle stands this near the end of its member where it can [in]
SET_OUT = 0.1  # joists are set out within this [in]
BARE = 4.0  # a piece of deck not carried that is smaller than this is a corner that rounding left [sq in]
PROBES, FINE = 4.0, 0.25  # lines across the joists stand this far apart; and where the first find something [in]
ENDS = 2 * STICK  # square ends of members at skewed sides are trimmed to them on site within this [in]
OUTLET, VALLEY = 12.0, 3.0  # keep-outs that the check list of documents.md names [in]
OVERHANG = 1 / 4  # of the back span
WATER = 2.0  # two pads leave so much between them [in]
SEEN = 1.0  # less of a member, open to a pad, may be missed [in]
RIP = 0.5  # a side of a board that rises less to its run is a rip [dy/dx]
SQUARE_TO = 89.0  # boards less than this from the joists' way cross them at a skew [degrees]
SQUARE = 18.0  # a shorter side of the deck needs no member of its own [in]


@dataclass
class Reading:
    """What one answer shows. `broken` holds (kind, words)."""

    broken: list[tuple[str, str]] = field(default_factory=list)
    margin: float = math.inf  # least clearance less the least that was asked
    places: int = 0  # places under members that were held against the true roof
    within: int = 0  # ... where the clearance is within two standard errors of the one to the adjusted roof
    told: set[str] = field(default_factory=set)  # keep-outs that could not be kept and were told


@dataclass(frozen=True)
class Run:
    """A member's centre line: start, unit vector, length; `profile` of depths."""

    member: Document
    start: Floats
    along: Floats
    length: float

    @property
    def name(self) -> str:
        return str(self.member["id"])

    @property
    def line(self) -> LineString:
        return LineString([self.member["start"], self.member["end"]])

    def at(self, s: Floats) -> Floats:
        return np.asarray(self.start + np.asarray(s)[:, None] * self.along)

    def depth(self, s: Floats) -> Floats:
        profile = np.array(self.member["profile"])
        return np.asarray(np.interp(s, profile[:, 0], profile[:, 1]))

    def body(self, beyond: float = 0.0, trim: float = 0.0) -> shapely.Geometry:
        """The outline of its wood in plan, run on by `beyond` or trimmed by `trim` at both ends."""
        n = np.array([-self.along[1], self.along[0]])
        half = n * self.member["thickness"] / 2
        found = []
        for p, q, off in self.member.get("pieces") or [(0.0, self.length, 0.0)]:
            a = self.start + self.along * (p - (beyond - trim) * (p == 0)) + off * n
            b = self.start + self.along * (q + (beyond - trim) * (q > self.length - NEAR)) + off * n
            found.append(Polygon([a - half, b - half, b + half, a + half]))
        return unary_union(found) if len(found) > 1 else found[0]

    def kinks(self, answer: Answer) -> Floats:
        """Where roof or profile may bend under it, and places between."""
        found = [0.0, self.length, *(s for s, _ in self.member["profile"])]
        found += ((answer.bends(self.line) - self.start) @ self.along).tolist()
        found += np.arange(0, self.length, STEP).tolist()
        return np.unique(np.clip(found, 0, self.length))


def runs(answer: Answer) -> list[Run]:
    found = []
    for m in answer.framing["members"]:
        a, b = np.array(m["start"]), np.array(m["end"])
        length = float(np.hypot(*(b - a)))
        found.append(Run(m, a, (b - a) / length, length))
    return found


def read(drawn: Deck, framing: Document) -> Reading:
    """Everything that this module knows, of a frame without a stop."""
    answer = Answer(drawn.survey, drawn.build, framing)
    found = Reading()
    members = runs(answer)
    found.broken += [("inside", words) for words in inside(answer, members)]
    clearance(answer, drawn, members, found)
    found.broken += [("cover", words) for words in covered(answer, members)]
    found.broken += [("spacing", words) for words in spacing(answer, members)]
    found.broken += [("board ends", words) for words in board_ends(answer, members)]
    for kind, words in keep_outs(answer, members, found.told):
        found.broken.append((kind, words))
    found.broken += [("pads far apart", words) for words in far_apart(answer, members, found.told)]
    found.broken += [("overhang", words) for words in overhangs(answer, members, found.told)]
    return found


def inside(a: Answer, members: list[Run]) -> Iterator[str]:
    """Bodies of members within the deck and clear of obstacles; their ends may be trimmed to a skewed side."""
    room = a.net.buffer(NEAR)
    bodies = [(r, _obstacle(a, o), o["name"]) for o in a.survey.get("obstacles", ()) for r in members]
    for r in members:
        trimmed = r.body(trim=min(ENDS, r.length / 3)).difference(room)
        if trimmed.area > 0.01 * STICK:
            yield f"{r.name}: {trimmed.area:.2f} sq in of its body outside the deck"
        if (deep := _farthest(r.body().difference(room), a.net)) > STICK:
            yield f"{r.name}: an end stands {deep:.2f} in out of the deck"
    for r, shape, name in bodies:
        if shape.intersection(r.body()).area > 0.01:
            yield f"{r.name} runs into {name}"


def _obstacle(a: Answer, o: Document) -> Polygon:
    if o.get("points"):
        return Polygon([a.points[p] for p in o["points"]])
    size = o["size"] if isinstance(o["size"], (list, tuple)) else (o["size"], o["size"])
    half = np.array([a.measured(v) for v in size]) / 2
    return shapely.box(*(a.points[o["point"]] - half), *(a.points[o["point"]] + half))


def _farthest(out: shapely.Geometry, net: Polygon) -> float:
    return max((float(net.distance(Point(p))) for p in shapely.get_coordinates(out)), default=0.0)


def clearance(a: Answer, drawn: Deck, members: list[Run], found: Reading) -> None:
    """The gap under every member to the adjusted roof, and to the true one."""
    least = a.asked(a.build["supports"]["clear_gap"]["least"])
    pads = a.framing["supports"]
    reading = a.measured(a.survey.get("level_sigma", "1/16"))  # of one level, where a pad does not say how sure it is
    at, se = np.array([s["at"] for s in pads]), np.array([s.get("roof_se", reading) for s in pads])
    for r in members:
        s = r.kinks(a)
        xy = r.at(s)
        top = a.surface(xy) - a.over - r.depth(s)
        gap = top - a.roof(xy)
        found.margin = min(found.margin, float(gap.min()) - least)
        if gap.min() < least - SLACK:
            found.broken.append(("clearance", f"{r.name} at {s[gap.argmin()]:.1f}: {gap.min():.3f} in clear of the "
                                              f"adjusted roof, {least} asked"))
        own = sorted((p["s"], p.get("roof_se", reading)) for p in a.on_member.get(r.name, ()))
        if own:
            sigma = np.interp(s, *np.array(own).T)
        else:
            sigma = np.full(len(s), se[np.argmin(np.hypot(*(at - xy.mean(axis=0)).T))])
        off = np.abs(drawn.height(xy) - a.roof(xy))
        found.places += len(s)
        found.within += int((off <= 2 * sigma).sum())


def _across(members: list[Run]) -> tuple[Floats, Floats] | None:
    joist = next((r for r in members if r.member["role"] == "joist"), None)
    return None if joist is None else (joist.along, np.array([-joist.along[1], joist.along[0]]))


def _probes(a: Answer, along: Floats, across: Floats, step: float = PROBES) -> NDArray[np.object_]:
    """Lines across the joists over the whole deck, clipped to it; one a piece."""
    t = shapely.get_coordinates(a.net) @ along
    return _lines_at(a, np.arange(t.min() + step / 2, t.max(), step), along, across)


def _middles(a: Answer, along: Floats, across: Floats) -> NDArray[np.object_]:
    """The middle lines of all boards, which lie across the joists, run on over the whole deck and clipped to it."""
    t = [np.array(b["polygon"]) @ along for b in a.framing["boards"]]
    return _lines_at(a, np.unique(np.round([(v.min() + v.max()) / 2 for v in t], 3)), along, across)


def _lines_at(a: Answer, at: Floats, along: Floats, across: Floats) -> NDArray[np.object_]:
    v = shapely.get_coordinates(a.net) @ across
    lines = shapely.linestrings(np.stack([at[:, None] * along + (v.min() - 1) * across,
                                          at[:, None] * along + (v.max() + 1) * across], axis=1))
    parts = shapely.get_parts(shapely.intersection(lines, a.net))
    return np.asarray(parts[shapely.get_type_id(parts) == 1])


def covered(a: Answer, members: list[Run]) -> Iterator[str]:
    """Every place of the deck within half a spacing, and half a member's breadth, of a member across the joists."""
    ways = _across(members)
    if ways is None:
        return
    along, across = ways
    reach = a.want("joists", "spacing") / 2 - STICK / 2 + BESIDE
    wood = unary_union([r.body(beyond=STICK) for r in members])
    for step in (PROBES, FINE):  # a line that happens to lie in a narrow tip stands for more than there is
        bare = []
        for line in _probes(a, along, across, step):
            on = line.intersection(wood)
            near = on.buffer(reach) if not on.is_empty else Polygon()
            left = line.difference(near)
            if left.length > NEAR:
                bare.append(left)
        area = step * sum(v.length for v in bare)
        if area <= BARE:
            return
    at = np.round(shapely.get_coordinates(max(bare, key=lambda v: v.length).centroid)[0], 1)
    yield f"{area / 144:.2f} sq ft of deck over {reach:.2f} in from wood, most at {at}"


def spacing(a: Answer, members: list[Run]) -> Iterator[str]:
    """Joists no further apart than the table lets the decking span, whatever was asked.

    Boards that all cross the joists squarely are read along their middles: what each of them spans there. Beside a
    skewed edge the bay gets wider toward the rim, and a place that the rim carries may else be read.
    """
    ways, directions = _across(members), a.framing.get("directions")
    if ways is None or not directions:
        return
    angle = abs((directions["boards"] - directions["joists"] + 90) % 180 - 90)
    widest = joist_spacing(a.build["decking"].get("species") or "", a.want("decking", "thickness"), angle)
    asked = a.want("joists", "spacing")
    most = asked if widest.most is None else widest.most
    # the lines of lapped pieces lie as asked, the pieces beside them as far apart as is told, as boards may span
    told = [c["value"] for c in a.framing["checks"] if c["code"] == "lap-spacing"]
    limit = max([min(asked, most), *(min(v, most) for v in told)])
    along, across = ways
    wood = unary_union([r.body(beyond=STICK) for r in members])
    level = unary_union([r.body() for r in members if abs(float(r.along @ across)) < 1e-3])
    worst, words = 0.0, ""
    square = angle > SQUARE_TO and all(b["kind"] != "border" for b in a.framing["boards"])
    for line in _middles(a, along, across) if square else _probes(a, along, across):
        bare = line.difference(wood)
        for part in getattr(bare, "geoms", [bare]):
            ends = shapely.points(shapely.get_coordinates(part))
            if part.length + STICK <= limit or (shapely.distance(ends, line.boundary) < NEAR).any():
                continue
            # beside a skewed edge joist a row ends at its face, half a stick before their lines meet
            over = part.length + STICK - limit - SET_OUT - (
                0 if (shapely.distance(ends, level) < NEAR).all() else STICK / 2)
            if over > worst:
                worst, at = over, np.round(shapely.get_coordinates(part.centroid)[0], 1)
                words = f"{part.length + STICK:.2f} in from member to member at {at}, {limit:g} at most"
    if words:
        yield words


def board_ends(a: Answer, members: list[Run]) -> Iterator[str]:
    """Ends of boards over wood; at a side of the deck, wood under the board within 6 in of its end.

    A side of a board that is flatter than 1 in 2 to its run is a rip and no end.
    """
    boards = [b for b in a.framing["boards"] if b["kind"] in ("field", "panel")]
    directions = a.framing.get("directions")
    if not boards or not directions:
        return
    turn = math.radians(directions["boards"])
    u = np.array([math.cos(turn), math.sin(turn)])
    n = np.array([-u[1], u[0]])
    wood = unary_union([r.body(beyond=STICK).buffer(NEAR) for r in members])
    edge = unary_union([a.outline.boundary, *(h.boundary for h in a.holes)])
    loose, first = 0, ""
    for b in boards:
        shape = Polygon(b["polygon"])
        xy = np.array(b["polygon"])
        low, high = (xy @ n).min(), (xy @ n).max()
        middle = (low + high) / 2
        t = xy @ u
        probe = LineString([(t.min() - 1) * u + middle * n, (t.max() + 1) * u + middle * n]).intersection(shape)
        if probe.is_empty or probe.geom_type != "LineString":
            continue
        sides = shapely.linestrings(np.stack([xy, np.roll(xy, -1, axis=0)], axis=1))
        for end in np.array(probe.coords):
            cut_at = sides[shapely.distance(sides, Point(end)).argmin()]
            cut = np.diff(shapely.get_coordinates(cut_at), axis=0)[0]
            if abs(cut @ n) < RIP * abs(cut @ u):
                continue
            if edge.distance(Point(end)) < WITHIN_SIDE:  # cut along a side, which runs to either hand of its middle
                on, reach = shape.intersection(wood), WITHIN_SIDE + (high - low) / 2 + NEAR
            else:  # wood along the board, or under the cut where that runs along a border
                on, reach = probe.union(cut_at).intersection(wood), STICK / 2 + NEAR
            if on.is_empty or on.distance(Point(end)) > reach:
                loose += 1
                first = first or f"{b['id']} at {np.round(end, 1)}"
    if loose:
        yield f"{loose} ends of boards on no wood, the first {first}"


def keep_outs(a: Answer, members: list[Run], told: set[str]) -> Iterator[tuple[str, str]]:
    """Pads off valley lines by half a pad and 3 in, off outlets by 12 in, unless a check says so."""
    said = {c["code"] for c in a.framing["checks"] if c["status"] in ("caution", "stop")}
    at = np.array([s["at"] for s in a.framing["supports"]])
    outlets = np.array([a.points[o["point"]] for o in a.survey.get("outlets", ()) if o["point"] in a.points])
    if len(outlets):
        away = np.hypot(*(at[:, None] - outlets[None]).transpose(2, 0, 1)).min(axis=1)
        if (away < OUTLET - NEAR).any():
            told.add("pad near an outlet")
            if "pad-near-outlet" not in said:
                yield "outlet", f"{(away < OUTLET - NEAR).sum()} pads near an outlet, {away.min():.1f} in, and no check"
    if a.valleys:
        half = np.array([max(s["pad_size"]) / 2 if "pad_size" in s else min(a.pads)[0] / 2
                         for s in a.framing["supports"]])
        off = shapely.distance(shapely.points(at)[:, None], np.array(a.valleys)[None]).min(axis=1) - half
        if (off < VALLEY - NEAR).any():
            told.add("pad in a valley")
            if "pad-in-valley" not in said:
                yield "valley", f"{(off < VALLEY - NEAR).sum()} pads in a valley line, {off.min():.1f} in, and no check"


def far_apart(a: Answer, members: list[Run], told: set[str]) -> Iterator[str]:
    """Pads no further apart than was asked, save, and then told, where no other pad has room between them.

    Room has a pad that stands off both and not over an outlet.
    """
    asked = a.build["supports"].get("maximum_spacing", "auto")
    if asked == "auto":
        return
    limit = a.asked(asked)
    said = max((c["value"] for c in a.framing["checks"] if c["code"] == "pad-spacing"), default=0.0)
    outlets = np.array([a.points[o["point"]] for o in a.survey.get("outlets", ()) if o["point"] in a.points])
    for r in members:
        row = np.sort([p["s"] for p in a.on_member.get(r.name, ())])
        for one, other in zip(row[:-1], row[1:], strict=True):
            if other - one <= limit + NEAR:
                continue
            told.add("pads further apart than asked")
            if other - one > said + NEAR:
                yield f"{r.name}: pads {other - one:.2f} in apart, {limit:g} asked, and no check says so"
            room = 0.0
            for along, across in a.pads:
                s = np.arange(one + along + WATER, other - along - WATER + NEAR, SEEN / 8)
                off = (r.at(s)[:, None] - outlets.reshape(1, -1, 2))
                over = (np.abs(off @ r.along) <= along / 2) & (
                    np.abs(off @ [-r.along[1], r.along[0]]) <= across / 2)
                room = max(room, SEEN / 8 * float((~over.any(axis=1)).sum()))
            if room > SEEN:
                yield (f"{r.name}: pads {other - one:.2f} in apart, {limit:g} asked, and {room:.1f} in between that a "
                       "pad could stand on")


def overhangs(a: Answer, members: list[Run], told: set[str]) -> Iterator[str]:
    """No end runs past its last pad by more than a quarter of the span behind it, unless a check says so."""
    said = {c["code"] for c in a.framing["checks"] if c["status"] in ("caution", "stop")}
    worst, words = 0.0, ""
    for r in members:
        row = sorted(a.on_member.get(r.name, ()), key=lambda s: float(s["s"]))
        if len(row) < 2:
            continue
        pads, half = (np.array(v) for v in zip(*((s["s"], s["pad_size"][0] / 2) for s in row), strict=True))
        for over, back, on in ((pads[0], pads[1] - pads[0], half[0]),
                               (r.length - pads[-1], pads[-1] - pads[-2], half[-1])):
            # an end over its pad does not run past it, nor does one that lies all but on it
            if over > max(END_PAD, on) + NEAR and over - OVERHANG * back > max(worst, NEAR):
                worst, words = over - OVERHANG * back, f"{r.name} runs {over:.1f} in past its pad, back span {back:.1f}"
    if words:
        told.add("overhang over a quarter")
        if not any("overhang" in code for code in said):
            yield words
