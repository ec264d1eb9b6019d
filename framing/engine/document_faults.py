"""What is wrong with a document: field faults in a carpenter's words, and faults between fields."""

from __future__ import annotations

import itertools
import math
from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator
from functools import cache
from types import UnionType
from typing import Annotated, Any, Union, get_args, get_origin

import numpy as np
from pydantic import BaseModel, ValidationError
from scipy.sparse import csr_array
from scipy.sparse.csgraph import shortest_path

from framing.engine import length
from framing.engine.document_models import Build, Survey
from framing.engine.json_reading import MOST_FAULTS, Fault, cut, pointer, shown
from framing.reference.production import RATES


@cache
def schema_of(model: type[BaseModel]) -> dict[str, Any]:
    """The JSON Schema of one model, as its documents are written."""
    return model.model_json_schema(by_alias=True, mode="validation")


def translated(model: type[BaseModel], error: ValidationError, raw: dict[str, Any]) -> list[Fault]:
    """The faults that pydantic found, as many as are told, in a carpenter's words."""
    return [_fault(model, found, raw) for found in error.errors(include_url=False)[:MOST_FAULTS]]


_KINDS = {
    "tuple_type": "a list [ … ]", "dict_type": "a group { … }", "model_type": "a group { … }",
    "model_attributes_type": "a group { … }", "bool_type": "true or false", "string_type": "text",
}


TAPE_ITEMS = ("the tape's first point", "the tape's second point", "the tape's length")


def _fault(model: type[BaseModel], found: Any, raw: dict[str, Any]) -> Fault:
    kind, words = found["type"], found.get("ctx", {})
    path = _path(found["loc"], raw)
    # a number's place in a list is no name: a tape's third item is its length, anything else is told by its list
    name = next((part if part.strip() else shown(part) for part in reversed(path) if isinstance(part, str)), "document")
    if path and not isinstance(path[-1], str):
        name = f"item {int(path[-1]) + 1} of {name}" if name != "tapes" else TAPE_ITEMS[min(int(path[-1]), 2)]
    read, expected, detail = shown(found["input"]), "a value that this field can hold", f"{name} cannot be read"
    if kind == "trade":
        path += tuple(_path(words["at"], found["input"])) if words["at"] else ()
        if words["at"]:
            read = "nothing" if words["read"] is None else shown(words["read"])
        expected, detail = words["expected"], words["detail"] or f"{name} is out of bounds"
    elif kind == "missing":
        read, expected, detail = "nothing", _said(model, found["loc"]), f"{name} is missing"
    elif kind == "extra_forbidden":
        known = ", ".join(field.alias or key for key, field in _model_at(model, found["loc"][:-1]).model_fields.items())
        expected, detail = f"one of these fields: {known}", f"{name} is a field that the format does not know"
    elif kind == "literal_error":
        expected, detail = words["expected"].replace("'", ""), f"{name} is none of the known words"
    elif kind in ("too_short", "too_long"):
        limit = words.get("min_length", words.get("max_length"))
        count = words["actual_length"]
        expected = f"{'at least' if kind == 'too_short' else 'at most'} {limit}"
        detail = f"{name} holds {count if count is not None else 'too many'}"
    elif kind in _KINDS:
        expected, detail = _KINDS[kind], f"{name} is not {_KINDS[kind]}"
    return Fault(pointer(path), read, expected, detail)


def _path(loc: Iterable[str | int], raw: Any) -> tuple[str | int, ...]:
    """The way through the JSON for a way through the models: a tape's fields are places in a list."""
    path: list[str | int] = []
    for part in loc:
        if part == "[key]":
            break
        if isinstance(raw, tuple) and isinstance(part, str):
            part = ("from", "to", "length").index(part)
        path.append(part)
        if isinstance(raw, dict):
            raw = raw.get(part)
        elif isinstance(raw, tuple) and isinstance(part, int) and part < len(raw):
            raw = raw[part]
    return tuple(path)


def _models(kind: Any) -> Iterator[Any]:
    """The annotation's parts without options and notes."""
    if get_origin(kind) in (Annotated, Union, UnionType):
        for part in get_args(kind):
            yield from _models(part)
    else:
        yield kind


def _model_at(model: Any, loc: Iterable[str | int]) -> type[BaseModel]:
    """The model at a way through the models; the last one met where the way leads into plain values."""
    kind: Any = model
    last: type[BaseModel] = model
    for part in loc:
        for option in _models(kind):
            if isinstance(option, type) and issubclass(option, BaseModel):
                fields = {field.alias or key: field.annotation for key, field in option.model_fields.items()}
                kind = fields.get(str(part))
            elif get_origin(option) in (tuple, dict):
                kind = get_args(option)[0 if get_origin(option) is tuple else 1]
        last = next((o for o in _models(kind) if isinstance(o, type) and issubclass(o, BaseModel)), last)
    return last


def _said(model: type[BaseModel], loc: tuple[str | int, ...]) -> str:
    """What a missing field should hold."""
    owner = _model_at(model, loc[:-1])
    schema = schema_of(owner)["properties"].get(str(loc[-1]), {})
    if "enum" in schema:
        return " or ".join(map(str, schema["enum"]))
    if "const" in schema:
        return str(schema["const"])
    kinds = {"array": "a list [ … ]", "object": "a group { … }", "string": "text"}
    return str(schema.get("description") or kinds.get(str(schema.get("type")), "a group { … }"))


def _each(items: Iterable[Any] | None) -> Iterator[tuple[int, Any]]:
    """The items that could be read, with their places."""
    return ((place, item) for place, item in enumerate(items or ()) if item is not None)


def _names(raw: Any, *path: str) -> list[str]:
    """The texts in a list of the raw document, so that a fault beside a name does not make the name unknown."""
    for part in path:
        raw = raw.get(part) if isinstance(raw, dict) else None
    return [name for name in raw if isinstance(name, str)] if isinstance(raw, (tuple, dict)) else []


def survey_faults(survey: Survey, raw: dict[str, Any]) -> Iterator[Fault]:
    yield from _unknown_points(raw)
    yield from _door_faults(survey, raw)
    yield from _edge_faults(survey, raw)
    yield from _open_tapes(survey)
    yield from _crossed_outline(survey)
    seen: set[str] = set()
    for place, obstacle in _each(survey.obstacles):
        if obstacle.name in seen:
            detail = f"two obstacles are named {obstacle.name}"
            yield Fault(pointer(["obstacles", place, "name"]), shown(obstacle.name), "each name once", detail)
        seen.add(obstacle.name)


def _unknown_points(raw: dict[str, Any]) -> Iterator[Fault]:
    """Every use of a point that is no corner, has no position and too few tapes to be solved for."""
    sources = raw.get("corners"), raw.get("positions", {}), raw.get("tapes", ())
    if [type(source) for source in sources] != [tuple, dict, tuple]:
        return  # refused themselves, so that no name can be called unknown
    located = set(_names(raw, "corners")) | set(_names(raw, "positions"))
    others: dict[str, set[str]] = defaultdict(set)
    for tape in raw.get("tapes", ()):
        if isinstance(tape, tuple) and len(tape) >= 2 and isinstance(tape[0], str) and isinstance(tape[1], str):
            others[tape[0]].add(tape[1])
            others[tape[1]].add(tape[0])
    # A tie needs tapes to two other points; one that fails takes those down that hang on it.
    known = located | set(others)
    hanging = [name for name in others if name not in located]
    while hanging:
        name = hanging.pop()
        if name in known and len(others[name] & known - {name}) < 2:
            known.remove(name)
            hanging += others[name] - located
    names = sorted(known)
    listed = cut(", ".join(names[:40]) + (", …" if len(names) > 40 else ""))

    for path, name in _uses(raw):
        if name not in known:
            tapes = len(others.get(name, ()))
            taped = f"only {tapes} tape" if tapes else "no tapes"
            why = f"{cut(name, 60)} is no corner, has no position and {taped}"
            yield Fault(pointer(path), shown(name), f"a known point: {listed}", why)


def _uses(raw: dict[str, Any]) -> Iterator[tuple[tuple[str | int, ...], str]]:
    """Every place of the raw document that names a point, so that a fault beside a name does not hide the name's."""
    found: list[tuple[tuple[str | int, ...], Any]] = []
    for field in ("tapes", "levels", "outlets", "obstacles", "breaklines", "doors"):
        items = raw.get(field)
        for place, item in enumerate(items if isinstance(items, tuple) else ()):
            if field == "tapes" and isinstance(item, tuple):
                found += [((field, place, end), name) for end, name in enumerate(item[:2])]
            elif field != "tapes" and isinstance(item, dict):
                found.append(((field, place, "point"), item.get("point")))
                points = item.get("points")
                points = points if isinstance(points, tuple) else ()
                found += [((field, place, "points", at), name) for at, name in enumerate(points)]
    threshold = raw.get("threshold")
    found += [(("threshold", at), name) for at, name in enumerate(threshold if isinstance(threshold, tuple) else ())]
    return ((path, name) for path, name in found if isinstance(name, str))


def _door_faults(survey: Survey, raw: dict[str, Any]) -> Iterator[Fault]:
    if ("threshold" in raw) == ("doors" in raw):
        twice = "both threshold and doors are given"
        instead = "the points of the door that governs, or doors instead"
        yield (
            Fault("/doors", shown(raw["doors"]), "either threshold or doors", twice) if "doors" in raw
            else Fault("/threshold", "nothing", instead, "neither threshold nor doors is given")
        )
    elif survey.threshold is None and survey.doors is None and raw.get("threshold", raw.get("doors")) is None:
        path = "/threshold" if "threshold" in raw else "/doors"
        yield Fault(path, "null", "a list of threshold points", "the door's threshold is not given")
    names: set[str] = set()
    governing: list[str] = []
    for place, door in _each(survey.doors):
        if door.name in names:
            detail = f"two doors are named {door.name}"
            yield Fault(pointer(["doors", place, "name"]), shown(door.name), "each name once", detail)
        names.add(door.name)
        if door.governs and governing:
            detail = f"{governing[0]} governs already"
            yield Fault(pointer(["doors", place, "governs"]), "true", "one door that governs", detail)
        governing += [door.name] if door.governs else []


def _edge_faults(survey: Survey, raw: dict[str, Any]) -> Iterator[Fault]:
    corners = _names(raw, "corners")
    if len(corners) < 3 or len(set(corners)) < len(corners):
        return  # the outline is refused itself, so its sides are not known
    sides = list(zip(corners, corners[1:] + corners[:1], strict=True))
    listed = cut(", ".join(f"{a}-{b}" for a, b in sides))
    seen: set[frozenset[str]] = set()
    for place, edge in _each(survey.edges):
        side, read = frozenset((edge.from_, edge.to)), f"{edge.from_}-{edge.to}"
        if side not in map(frozenset, sides):
            detail = f"{edge.from_} and {edge.to} are no neighbouring corners"
            yield Fault(pointer(["edges", place]), read, f"a side of the outline: {listed}", detail)
        elif side in seen:
            yield Fault(pointer(["edges", place]), read, "each side once", f"the side {read} is given twice")
        seen.add(side)


def _open_tapes(survey: Survey) -> Iterator[Fault]:
    """Tapes that no figure can hold: one longer than the way between its ends along other tapes can be.

    The allowance is 6 standard errors of the tapes together, plus the closure tolerance.
    """
    tapes = [(place, tape) for place, tape in _each(survey.tapes) if tape.from_ != tape.to]
    names = sorted({name for _, tape in tapes for name in (tape.from_, tape.to)})
    if not tapes or len(names) > 2_000:
        return
    number = {name: i for i, name in enumerate(names)}
    longest: dict[tuple[int, int], float] = {}
    for _, tape in tapes:
        a, b = sorted((number[tape.from_], number[tape.to]))
        longest[a, b] = max(longest.get((a, b), 0.0), tape.length)
    rows, columns = np.array(list(longest)).T
    graph = csr_array((list(longest.values()), (rows, columns)), shape=(len(names), len(names)))
    ways, before = shortest_path(graph, directed=False, return_predecessors=True)
    sigma, tolerance = survey.tape_sigma or 0.125, survey.closure_tolerance or 0.1875
    for place, tape in tapes:
        a, b = number[tape.from_], number[tape.to]
        way = [b]
        while way[-1] != a:
            way.append(int(before[a, way[-1]]))
        excess = tape.length - ways[a, b]
        if len(way) > 2 and excess > 6 * sigma * math.sqrt(len(way)) + tolerance:
            legs = [f"{names[p]}-{names[q]}" for p, q in itertools.pairwise(reversed(way))]
            detail = (
                f"the tapes {tape.from_}-{tape.to}, {', '.join(legs)} cannot close: {tape.from_}-{tape.to} is "
                f"{length.write(excess)} in longer than the others together"
            )
            most = f"at most {length.write(ways[a, b])} in, the way over {' and '.join(legs)}"
            yield Fault(pointer(["tapes", place, 2]), f"{length.write(tape.length)} in", most, detail)


def _crossed_outline(survey: Survey) -> Iterator[Fault]:
    """Sides that cross and corners that coincide, where every corner stands in `positions`."""
    corners, positions = survey.corners or (), survey.positions or {}
    if len(corners) < 3 or len(set(corners)) < len(corners) or any(name not in positions for name in corners):
        return
    xy = np.array([positions[name] for name in corners])
    count = len(corners)
    for i in range(count):
        j = (i + 1) % count
        if np.hypot(*(xy[j] - xy[i])) < 1e-6:
            yield Fault(pointer(["corners", j]), shown(corners[j]), "corners apart from each other",
                        f"{corners[i]} and {corners[j]} stand at the same place")
            return
    span = np.ptp(xy, axis=0).max()
    twice_area = abs(np.sum(xy[:, 0] * np.roll(xy[:, 1], -1) - xy[:, 1] * np.roll(xy[:, 0], -1)))
    crossing = [
        (i, j) for i, j in itertools.combinations(range(count), 2)
        if (j - i) % count not in (1, count - 1) and _cross(xy[i], xy[(i + 1) % count], xy[j], xy[(j + 1) % count])
    ]
    for i, j in crossing[:5]:
        one, two = (f"{corners[k]}-{corners[(k + 1) % count]}" for k in (i, j))
        yield Fault("/corners", f"{one} and {two}", "sides that do not cross",
                    f"the outline crosses itself where {one} meets {two}; give the corners in order round the roof")
    if not crossing and twice_area < 1e-6 * span * span:
        yield Fault("/corners", ", ".join(corners[:20]), "corners round an area", "the corners stand in one line")


def _cross(a: Any, b: Any, c: Any, d: Any) -> bool:
    """Whether the segments a-b and c-d have a point in common."""

    def side(p: Any, q: Any, r: Any) -> float:
        turn = (q[0] - p[0]) * (r[1] - p[1]) - (q[1] - p[1]) * (r[0] - p[0])
        return 0.0 if abs(turn) < 1e-9 else float(np.sign(turn))

    def within(p: Any, q: Any, r: Any) -> bool:
        return bool(np.all(np.minimum(p, q) <= r) and np.all(r <= np.maximum(p, q)))

    turns = side(a, b, c), side(a, b, d), side(c, d, a), side(c, d, b)
    if turns[0] * turns[1] < 0 and turns[2] * turns[3] < 0:
        return True
    ends = ((a, b, c), (a, b, d), (c, d, a), (c, d, b))
    return any(turn == 0 and within(*end) for turn, end in zip(turns, ends, strict=True))


def build_faults(build: Build, raw: dict[str, Any]) -> Iterator[Fault]:
    seen = Counter[str]()
    for place, panel in _each(build.access_panels):
        seen[panel.over] += 1
        if seen[panel.over] > 1:
            detail = f"the panel over {panel.over} is given twice"
            yield Fault(pointer(["access_panels", place, "over"]), shown(panel.over), "each place once", detail)
    yield from _prices_twice(raw, build.unit or "in")
    for task, rate in ((build.labor and build.labor.rates) or {}).items():
        counted = RATES[task].unit if task in RATES else rate.unit
        if rate.unit != counted:
            detail = f"{task} is counted by {counted}: hours for another unit would be multiplied wrongly"
            yield Fault(pointer(["labor", "rates", task, "unit"]), shown(rate.unit), counted, detail)


def _prices_twice(raw: dict[str, Any], unit: str) -> Iterator[Fault]:
    """Two keys of a price table that are one length, as 12' and 144 are."""
    tables: list[tuple[tuple[str, ...], Any]] = []
    for field in ("decking", "joists"):
        prices = raw[field].get("stock_prices") if isinstance(raw.get(field), dict) else None
        if isinstance(prices, dict):
            tables.append(((field, "stock_prices"), prices))
            tables += [((field, "stock_prices", key), table) for key, table in prices.items()]
    for path, table in tables:
        seen: dict[float, str] = {}
        for key in table if isinstance(table, dict) else ():
            try:
                inches = length.read(key, unit)
            except length.LengthError:
                continue
            if inches in seen:
                detail = f"{key} and {seen[inches]} are the same length"
                yield Fault(pointer((*path, key)), shown(key), "one price for a length", detail)
            seen[inches] = key
