"""roof-survey/1, deck-build/1 and deck-framing/1: read whole or refused with every fault; their schemas."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable, Iterable, Iterator, Mapping
from functools import cache
from itertools import islice
from typing import Annotated, Any, TypeVar, get_args, get_origin

from pydantic import BaseModel, TypeAdapter, ValidationError

from framing.engine import length
from framing.engine.document_faults import build_faults, schema_of, survey_faults, translated
from framing.engine.document_models import (
    Access,
    Breakline,
    Build,
    ClearGap,
    CoverBoard,
    Datum,
    DatumCheck,
    Decking,
    Door,
    Edge,
    Heavy,
    Joists,
    Labor,
    Level,
    Loads,
    Obstacle,
    Outlet,
    Panel,
    Photo,
    Rain,
    Rate,
    Roof,
    Saw,
    Site,
    Supports,
    Surface,
    Survey,
    Tape,
)
from framing.engine.framing_document import FramingDocument
from framing.engine.json_reading import MOST_FAULTS, DocumentRefused, Fault, cut, pointer, read_json, shown, standing

__all__ = [
    "Access", "Breakline", "Build", "ClearGap", "CoverBoard", "Datum", "DatumCheck", "Decking", "DocumentRefused",
    "Door", "Edge", "Fault", "Heavy", "Joists", "Labor", "Level", "Loads", "Obstacle", "Outlet", "Panel", "Photo",
    "Rain", "Rate", "Roof", "Saw", "Site", "Supports", "Surface", "Survey", "Tape", "canonical_sha256",
    "check_together", "json_schema", "parse_build", "parse_survey",
]

MOST = {  # how many of each a document may hold; more is refused as too large
    "corners": 200, "tapes": 2_000, "positions": 5_000, "levels": 5_000, "datum_checks": 5_000, "breaklines": 200,
    "doors": 100, "outlets": 200, "obstacles": 500, "edges": 400, "photos": 2_000, "access_panels": 500,
}


Source = bytes | str | Mapping[str, Any]  # JSON as text, as bytes in UTF-8, or read already


def parse_survey(source: Source) -> Survey:
    """The survey in `source`; raises DocumentRefused with every fault of the JSON, its fields and their relations."""
    return _parse(Survey, source, survey_faults)


def parse_build(source: Source) -> Build:
    """The build in `source`; raises DocumentRefused with every fault of the JSON, its fields and their relations."""
    return _parse(Build, source, build_faults)


_Document = TypeVar("_Document", Survey, Build)
_FORMATS: dict[str, type[BaseModel]] = {"roof-survey/1": Survey, "deck-build/1": Build}
_ANSWER = "deck-framing/1"


def _parse(
    model: type[_Document],
    source: Source,
    relations: Callable[[Any, dict[str, Any]], Iterable[Fault]],
) -> _Document:
    expected = next(name for name, kind in _FORMATS.items() if kind is model)
    raw: dict[str, Any] = {}
    try:
        raw, faults = read_json(source)
        _check_counts(raw)
        given = raw.get("format")
        if given != expected and given in (*_FORMATS, _ANSWER):
            # A document of another kind: its fields would only be reported one by one as unknown.
            raise DocumentRefused([Fault("/format", shown(given), expected, "a document of another kind")])
        context = _context(raw)
        try:
            document = model.model_validate(raw, context=context)
        except ValidationError as error:
            faults += _further(faults, translated(model, error, raw))
            if len(faults) >= MOST_FAULTS:  # no more are told, so none are looked for
                raise DocumentRefused(faults[:MOST_FAULTS]) from None
            document = _partial(model, raw, context)
        faults += _further(faults, relations(document, raw))
        if faults:
            raise DocumentRefused(faults[:MOST_FAULTS])
    except DocumentRefused as refused:
        told = (_told(standing(fault, raw), expected) for fault in refused.faults)
        raise DocumentRefused(told, too_large=refused.too_large) from None
    return document


def _told(fault: Fault, document: str) -> Fault:
    """The fault with its document's name and words of bounded length."""
    return Fault(fault.pointer, cut(fault.read), cut(fault.expected), cut(fault.detail), document)


def _further(faults: list[Fault], found: Iterable[Fault]) -> list[Fault]:
    """Those found that do not merely follow from a fault already known at the same place or inside it."""
    known: set[str] = set()
    for fault in faults:
        parts = fault.pointer.split("/")
        known |= {"/".join(parts[:end]) for end in range(1, len(parts) + 1)}
    return [fault for fault in found if fault.pointer not in known]


def _check_counts(raw: dict[str, Any]) -> None:
    counts = {field: len(raw[field]) for field in MOST if isinstance(raw.get(field), (tuple, dict))}
    over = [
        Fault(pointer([field]), f"{count:,} {field}", f"at most {MOST[field]:,}", "too many to work on")
        for field, count in counts.items() if count > MOST[field]
    ]
    if over:
        raise DocumentRefused(over, too_large=True)


def _context(raw: dict[str, Any]) -> dict[str, Any]:
    """What fields need of their neighbours: the unit (inches where that is wrong) and the points read, in order."""
    unit, levels = raw.get("unit"), raw.get("levels")
    return {
        "unit": unit if unit in length.UNITS else "in",
        "readings": [item.get("point") if isinstance(item, dict) else None for item in levels]
        if isinstance(levels, tuple) else None,
    }


def _partial(model: type[_Document], raw: dict[str, Any], context: dict[str, Any]) -> _Document:
    """The document with what could be read: a faulty list item is None, a faulty or missing field its empty value."""
    found: dict[str, Any] = {}
    for name, field in model.model_fields.items():
        value = raw.get(field.alias or name)
        is_list = get_origin(field.annotation) is tuple
        try:
            found[name] = _adapter(model, name).validate_python(value, context=context)
        except ValidationError as error:
            if name not in raw and not field.is_required():
                found[name] = field.default
            elif is_list and isinstance(value, tuple):
                found[name] = _items(model, name, value, error, context)
            else:
                found[name] = () if is_list else None
    return model.model_construct(**found)


def _items(
    model: type[BaseModel], name: str, value: tuple[Any, ...], error: ValidationError, context: dict[str, Any]
) -> tuple[Any, ...]:
    bad = {found["loc"][0] for found in error.errors(include_url=False) if found["loc"]}
    adapter = _item_adapter(get_args(model.model_fields[name].annotation)[0])
    return tuple(
        None if place in bad else adapter.validate_python(item, context=context) for place, item in enumerate(value)
    )


@cache
def _adapter(model: type[BaseModel], name: str) -> TypeAdapter[Any]:
    field = model.model_fields[name]
    kind: Any = field.annotation
    for meaning in field.metadata:
        kind = Annotated[kind, meaning]
    return TypeAdapter(kind)


@cache
def _item_adapter(item: Any) -> TypeAdapter[Any]:
    return TypeAdapter(item)


def check_together(survey: Survey, build: Build) -> None:
    """Raises DocumentRefused for what only survey and build together show, with pointers into the build.

    Edge gaps that name no side, panels over nothing, heavy loads at unknown points, a surface that follows a
    threshold of one point.
    """
    if faults := tuple(islice(_faults_together(survey, build), MOST_FAULTS)):
        raise DocumentRefused(_told(fault, "deck-build/1") for fault in faults)


def _faults_together(survey: Survey, build: Build) -> Iterator[Fault]:
    corners = survey.corners
    sides = {f"{a}-{b}": f"{a}-{b}" for a, b in zip(corners, corners[1:] + corners[:1], strict=True)}
    either_way = sides | {f"{b}-{a}": f"{a}-{b}" for a, b in zip(corners, corners[1:] + corners[:1], strict=True)}
    listed = cut(", ".join(sides))
    seen: dict[str, str] = {}
    for key in build.decking.edge_gaps:
        at = pointer(["decking", "edge_gaps", key])
        side = either_way.get(key)
        if side is None:
            yield Fault(at, shown(key), f"a side of the outline: {listed}", f"{key} is no side")
        elif side in seen:
            yield Fault(at, shown(key), "each side once", f"{seen[side]} and {key} are the same side")
        else:
            seen[side] = key
    places = [o.point for o in survey.outlets] + [o.name for o in survey.obstacles]
    listed = cut(", ".join(places)) or "none in the survey"
    for place, panel in enumerate(build.access_panels):
        if panel.over not in places:
            at = pointer(["access_panels", place, "over"])
            expected = f"an outlet's point or an obstacle's name: {listed}"
            yield Fault(at, shown(panel.over), expected, f"{panel.over} is neither")
    known = {*corners, *survey.positions, *(name for tape in survey.tapes for name in (tape.from_, tape.to))}
    for place, heavy in enumerate(build.loads.heavy):
        for i, point in enumerate(heavy.points):
            if isinstance(point, str) and point not in known:
                at = pointer(["loads", "heavy", place, "points", i])
                yield Fault(at, shown(point), "a point of the survey, or [x, y]", f"{point} is not known")
    if build.surface.mode == "follow-threshold" and all(len(door.points) < 2 for door in survey.all_doors):
        detail = "a threshold of one point has no line to follow"
        yield Fault("/surface/mode", shown(build.surface.mode), "two threshold points or more", detail)


def json_schema(name: str) -> dict[str, Any]:
    """The JSON Schema (draft 2020-12) of "roof-survey/1", "deck-build/1" or "deck-framing/1"; KeyError for others."""
    model = {**_FORMATS, _ANSWER: FramingDocument}[name]
    return {"$schema": "https://json-schema.org/draft/2020-12/schema", **schema_of(model), "title": name}


def canonical_sha256(document: Any) -> str:
    """The hash of a document: of its JSON with sorted keys, without spaces, in UTF-8."""
    text = json.dumps(document, sort_keys=True, separators=(",", ":"), ensure_ascii=False)
    return hashlib.sha256(text.encode("utf-8")).hexdigest()
