"""roof-survey/1 and deck-build/1: the one definition of each, from which reading, faults and JSON Schema are made."""

from __future__ import annotations

import datetime
import hashlib
import itertools
import json
import math
import re
from collections import Counter, defaultdict
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from decimal import Decimal
from functools import cache
from types import UnionType
from typing import Annotated, Any, Literal, TypeVar, Union, get_args, get_origin

import numpy as np
from pydantic import AfterValidator, BaseModel, ConfigDict, Field, TypeAdapter, ValidationError, model_validator
from pydantic_core import CoreSchema, PydanticCustomError, core_schema
from scipy.sparse import csr_array
from scipy.sparse.csgraph import shortest_path

from framing.engine import length
from framing.engine.json_reading import MOST_FAULTS, DocumentRefused, Fault, pointer, read_json, shown
from framing.reference.lumber import DRESSED

__all__ = [
    "Access", "Breakline", "Build", "ClearGap", "CoverBoard", "Datum", "DatumCheck", "Decking", "DocumentRefused",
    "Door", "Edge", "Fault", "Heavy", "Joists", "Labor", "Level", "Loads", "Obstacle", "Outlet", "Panel", "Photo", "Rain",
    "Rate", "Roof", "Saw", "Site", "Supports", "Surface", "Survey", "Tape", "canonical_sha256", "check_together",
    "json_schema", "parse_build", "parse_survey",
]

LONGEST = 12_000.0  # [in]: no terrace is 1,000 ft long; a longer reading is a slip of the unit
MOST = {  # how many of each a document may hold; more is refused as too large
    "corners": 200, "tapes": 2_000, "positions": 5_000, "levels": 5_000, "datum_checks": 5_000, "breaklines": 200,
    "doors": 100, "outlets": 200, "obstacles": 500, "edges": 400, "photos": 2_000, "access_panels": 500,
}

# ---------------------------------------------------------------------------------------------- kinds of value


def _refusal(expected: str, detail: str = "", *, read: Any = None, at: tuple[str | int, ...] = ()) -> PydanticCustomError:
    """The fault of a value, or of the field `at` inside it, in words for a carpenter."""
    return PydanticCustomError("trade", "refused", {"expected": expected, "detail": detail, "read": read, "at": at})


@dataclass(frozen=True, eq=False)
class _Kind:
    """A kind of value: how it is read (raising `_refusal`), and its JSON Schema."""

    read: Callable[[Any, dict[str, Any]], Any]
    schema: Mapping[str, Any]

    def __get_pydantic_core_schema__(self, source: Any, handler: Any) -> CoreSchema:
        return core_schema.with_info_plain_validator_function(lambda value, info: self.read(value, info.context or {}))

    def __get_pydantic_json_schema__(self, schema: CoreSchema, handler: Any) -> dict[str, Any]:
        return dict(self.schema)


def _bounds(value: float, above: float | None, least: float | None, most: float, write: Callable[[float], str]) -> None:
    if above is not None and not value > above:
        raise _refusal(f"more than {write(above)}")
    if least is not None and value < least:
        raise _refusal(f"at least {write(least)}")
    if abs(value) > most:
        raise _refusal(f"at most {write(most)}")


def _length(*, above: float | None = None, least: float | None = None, most: float = LONGEST) -> _Kind:
    """A length [in], from a number in the document's unit or from text."""

    def read(value: Any, context: dict[str, Any]) -> float:
        try:
            inches = length.read(value, context.get("unit", "in"))
        except length.LengthError as error:
            place = f" at character {error.position + 1}" if isinstance(value, str) else ""
            raise _refusal(error.expected, f"not a length{place}") from None
        _bounds(inches, above, least, most, lambda limit: f"{limit:g} in")
        return inches

    said = "a length: a number in the document's unit, or text such as 5 5/8, 12' 3 1/2\" or 143 mm"
    return _Kind(read, {"type": ["number", "string"], "description": said})


def _number(
    *, above: float | None = None, least: float | None = None, most: float = 1e9, whole: bool = False, unit: str = ""
) -> _Kind:
    what = "a whole number" if whole else "a number"
    what += f" [{unit}]" if unit else ""

    def read(value: Any, context: dict[str, Any]) -> float:
        if isinstance(value, bool) or not isinstance(value, int if whole else (int, float)):
            raise _refusal(what, "not a number" if not isinstance(value, float) else "not a whole number")
        if not math.isfinite(value):
            raise _refusal(what, "not a finite number")
        _bounds(value, above, least, most, lambda limit: f"{limit:g}{' ' + unit if unit else ''}")
        return value if whole else float(value)

    schema: dict[str, Any] = {"type": "integer" if whole else "number", "description": what}
    schema |= {"exclusiveMinimum": above} if above is not None else {}
    schema |= {"minimum": least} if least is not None else {}
    return _Kind(read, schema)


def _text(most: int, what: str) -> _Kind:
    def read(value: Any, context: dict[str, Any]) -> str:
        if not isinstance(value, str):
            raise _refusal(what, "not text")
        if not value.strip() or value != value.strip():
            raise _refusal(f"{what} without blanks before or after", "empty" if not value.strip() else "blanks round it")
        if len(value) > most:
            raise _refusal(f"at most {most} characters", f"{len(value)} characters")
        return value

    return _Kind(read, {"type": "string", "minLength": 1, "maxLength": most, "description": what})


def _read_date(value: Any, context: dict[str, Any]) -> str:
    try:
        if isinstance(value, str) and len(value) == 10 and datetime.date.fromisoformat(value):
            return value
    except ValueError:
        pass
    raise _refusal("a date such as 2026-03-14", "not a date")


def _read_money(value: Any, context: dict[str, Any]) -> Decimal:
    # A JSON number goes through its shortest text, never through binary arithmetic.
    text = value if isinstance(value, str) else repr(value)
    if isinstance(value, bool) or not re.fullmatch(r"[0-9]{1,9}(\.[0-9]{1,4})?", text):
        raise _refusal('an amount of money such as "18.88"', "not an amount of money")
    return Decimal(text)


def _read_size(value: Any, context: dict[str, Any]) -> str:
    if not isinstance(value, str) or value not in DRESSED:
        raise _refusal("one of " + ", ".join(DRESSED), "not a size of lumber")
    return value


def _read_after(value: Any, context: dict[str, Any]) -> int:
    """The 1-based number of a reading, from that number or from the point where it was read once."""
    readings: list[Any] = context.get("readings", [])
    if isinstance(value, str):
        numbers = [number for number, point in enumerate(readings, 1) if point == value]
        if not numbers:
            raise _refusal("the number of a reading, or a point of levels", f"no reading stands at {value}")
        if len(numbers) > 1:
            found = ", ".join(map(str, numbers))
            raise _refusal(f"the number of the reading: {found}", f"{value} was read {len(numbers)} times")
        return numbers[0]
    if isinstance(value, bool) or not isinstance(value, int) or not 1 <= value <= len(readings):
        raise _refusal(f"the number of a reading, 1 to {len(readings)}, or its point", "no such reading")
    return value


def _auto_or(kind: _Kind) -> _Kind:
    def read(value: Any, context: dict[str, Any]) -> Any:
        if value == "auto":
            return value
        try:
            return kind.read(value, context)
        except PydanticCustomError as error:
            words = error.context or {}
            raise _refusal(f'"auto" or {words["expected"]}', words["detail"]) from None

    return _Kind(read, {"anyOf": [{"const": "auto"}, dict(kind.schema)]})


def _pair(kind: _Kind, value: Any, context: dict[str, Any], what: str) -> tuple[float, float]:
    """[a, b], or a for a square."""
    if not isinstance(value, tuple):
        side = kind.read(value, context)
        return side, side
    if len(value) != 2:
        raise _refusal(what, f"{len(value)} numbers")
    return kind.read(value[0], context), kind.read(value[1], context)


_SIDE = _length(above=0, least=0.25)


def _read_extent(value: Any, context: dict[str, Any]) -> tuple[float, float]:
    return _pair(_SIDE, value, context, "a length, or two: [along x, along y]")


def _read_pad_sizes(value: Any, context: dict[str, Any]) -> tuple[tuple[float, float], ...]:
    what = "a length (a square pad), [a, b] (one pad), or a list of such pairs to choose from"
    if value == ():
        raise _refusal(what, "no pad size is given")
    if isinstance(value, tuple) and all(isinstance(item, tuple) for item in value):
        return tuple(_pair(_SIDE, item, context, what) for item in value)
    return (_pair(_SIDE, value, context, what),)


def _read_point(value: Any, context: dict[str, Any]) -> tuple[float, float]:
    what = "[x, y], two lengths"
    if not isinstance(value, tuple) or len(value) != 2:
        raise _refusal(what, "not a pair of coordinates")
    found = []
    for place, part in enumerate(value):
        try:
            found.append(_COORDINATE.read(part, context))
        except PydanticCustomError as error:
            words = error.context or {}
            raise _refusal(words["expected"], words["detail"], read=part, at=(place,)) from None
    return found[0], found[1]


def _read_place(value: Any, context: dict[str, Any]) -> str | tuple[float, float]:
    if isinstance(value, tuple):
        return _read_point(value, context)
    name: str = _NAME.read(value, context)
    return name


def _read_crew(value: Any, context: dict[str, Any]) -> int | tuple[str, ...]:
    if isinstance(value, tuple) and value and all(isinstance(trade, str) and trade.strip() for trade in value):
        return value
    if isinstance(value, int) and not isinstance(value, bool) and 1 <= value <= 100:
        return value
    raise _refusal("how many people, or a list of their trades")


_COORDINATE = _length()
_NAME = _text(60, "a name")
_LENGTH_SCHEMA = _COORDINATE.schema
_PAIR_SCHEMA = {"type": "array", "items": _LENGTH_SCHEMA, "minItems": 2, "maxItems": 2}

Name = Annotated[str, _NAME]
Words = Annotated[str, _text(2000, "text")]
Day = Annotated[str, _Kind(_read_date, {"type": "string", "format": "date"})]
Money = Annotated[Decimal, _Kind(_read_money, {"type": ["string", "number"], "description": "money, as text"})]
Size = Annotated[str, _Kind(_read_size, {"enum": list(DRESSED)})]
Drop = Annotated[float, _COORDINATE]
Span = Annotated[float, _length(above=0)]  # longer than nothing
Reach = Annotated[float, _length(least=0)]  # nothing or longer
Sigma = Annotated[float, _length(least=0.001, most=24)]
Stick = Annotated[float, _length(least=12, most=960)]
Degrees = _number(least=-360, most=360, unit="degrees")
Direction = Annotated[Literal["auto"] | float, _auto_or(Degrees)]
Pressure = Annotated[float, _number(least=0, most=10_000, unit="psf")]
RainRate = Annotated[float, _number(above=0, most=40, unit="in/h")]
Hours = Annotated[float, _number(least=0, most=10_000)]
Extent = Annotated[
    tuple[float, float],
    _Kind(_read_extent, {"anyOf": [_LENGTH_SCHEMA, _PAIR_SCHEMA], "description": "one side, or [along x, along y]"}),
]
PadSizes = Annotated[
    tuple[tuple[float, float], ...],
    _Kind(_read_pad_sizes, {"anyOf": [_LENGTH_SCHEMA, _PAIR_SCHEMA, {"type": "array", "items": _PAIR_SCHEMA}]}),
]
Point = Annotated[tuple[float, float], _Kind(_read_point, _PAIR_SCHEMA)]
Place = Annotated[
    str | tuple[float, float],
    _Kind(_read_place, {"anyOf": [{"type": "string"}, _PAIR_SCHEMA], "description": "a survey point, or [x, y]"}),
]
Crew = Annotated[int | tuple[str, ...], _Kind(_read_crew, {"type": ["integer", "array"], "items": {"type": "string"}})]
ReadingNumber = Annotated[int, _Kind(_read_after, {"type": ["integer", "string"], "description": "reading, or its point"})]


def _ascending(values: tuple[float, ...]) -> tuple[float, ...]:
    return tuple(sorted(set(values)))


Sticks = Annotated[tuple[Stick, ...], Field(min_length=1, max_length=50), AfterValidator(_ascending)]


def _different(values: tuple[str, ...]) -> tuple[str, ...]:
    for place, value in enumerate(values):
        if value in values[:place]:
            raise _refusal("each name once", f"{value} is named twice", read=value, at=(place,))
    return values


class _Part(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid", strict=True, validate_by_alias=True)


# ---------------------------------------------------------------------------------------------- roof-survey/1


class Datum(_Part):
    """The mark that heights are measured from, so that the crew will find it again."""

    what: Words | None = None
    where: Words | None = None
    photo: Words | None = None


class Tape(_Part):
    """One taped distance [in], written [from, to, length]."""

    model_config = ConfigDict(
        json_schema_extra=lambda schema: schema.update(
            {"type": "array", "prefixItems": list(schema["properties"].values()), "minItems": 3, "maxItems": 3},
            properties={}, required=[], additionalProperties=False,
        )
    )
    from_: Name = Field(alias="from")
    to: Name
    length: Span

    @model_validator(mode="before")
    @classmethod
    def _from_list(cls, value: Any) -> Any:
        if not isinstance(value, tuple) or len(value) != 3:
            raise _refusal("[from, to, length]", "not a taped distance")
        return dict(zip(("from", "to", "length"), value, strict=True))

    @model_validator(mode="after")
    def _two_points(self) -> Tape:
        if self.from_ == self.to:
            raise _refusal("two different points", f"a tape from {self.to} to itself", read=self.to, at=("to",))
        return self


On = Literal["roof", "ridge", "valley", "outlet", "threshold", "parapet", "paver", "ballast", "old-deck"]
_LYING_ON_THE_ROOF = ("paver", "ballast", "old-deck")


class Level(_Part):
    """One reading of height: `drop` below the datum [in], on what, and how deep the membrane lies under that [in]."""

    point: Name
    drop: Drop
    on: On
    depth_to_membrane: Reach | None = None

    @model_validator(mode="after")
    def _membrane(self) -> Level:
        if self.on in _LYING_ON_THE_ROOF and self.depth_to_membrane is None:
            what = f"read on {self.on}, so the depth to the membrane is needed"
            raise _refusal("the depth from what was read down to the membrane", what, at=("depth_to_membrane",))
        return self


class DatumCheck(_Part):
    """The datum read again: `drop` [in] after the reading of that 1-based number."""

    after: ReadingNumber
    drop: Drop


class Breakline(_Part):
    """A ridge or a valley through two points or more."""

    kind: Literal["ridge", "valley"]
    points: Annotated[tuple[Name, ...], Field(min_length=2, max_length=200), AfterValidator(_different)]


ThresholdPoints = Annotated[tuple[Name, ...], Field(min_length=1, max_length=100), AfterValidator(_different)]


class Door(_Part):
    """One door: its threshold points left to right seen from inside; widths and flashing height [in]."""

    name: Name
    points: ThresholdPoints
    clear_width: Span | None = None
    swing: Literal["in", "out", "slide"] | None = None
    egress: bool | None = None
    flashing_top: Drop | None = None
    governs: bool = False


class Outlet(_Part):
    """A scupper or drain; sizes [in]; `invert_drop` below the datum [in], else the reading at `point` is the invert."""

    kind: Literal["scupper", "drain"]
    purpose: Literal["primary", "overflow"]
    point: Name
    width: Span | None = None
    height: Span | None = None
    diameter: Span | None = None
    invert_drop: Drop | None = None


class Obstacle(_Part):
    """A vent, hatch or unit: an outline of points, or a point and a size [in]; `clearance` [in] from its faces."""

    name: Name
    points: Annotated[tuple[Name, ...], Field(min_length=3, max_length=100), AfterValidator(_different)] | None = None
    point: Name | None = None
    size: Extent | None = None
    clearance: Reach = 0.0

    @model_validator(mode="after")
    def _outline(self) -> Obstacle:
        if (self.points is None) == (self.point is None):
            raise _refusal("either points, or point and size", "where it stands is given twice or not at all")
        if self.point is not None and self.size is None:
            raise _refusal("a length, or two: [along x, along y]", "an obstacle at a point needs a size", at=("size",))
        if self.points is not None and self.size is not None:
            raise _refusal("no size beside points", "the size is given twice", read=self.size, at=("size",))
        return self


class Edge(_Part):
    """What the roof meets along one side; `height` of the parapet and `drop_beyond` [in] from the roof beside it."""

    from_: Name = Field(alias="from")
    to: Name
    against: Literal["house", "parapet", "open"]
    height: Reach | None = None
    drop_beyond: Reach | None = None


class CoverBoard(_Part):
    material: Words | None = None
    thickness: Span | None = None


class Roof(_Part):
    """What the roof is made of; `age` in years, `insulation_strength` as rated [psi]."""

    membrane: Words | None = None
    age: Annotated[float, _number(least=0, most=200, unit="years")] | None = None
    insulation: Words | None = None
    insulation_strength: Annotated[float, _number(above=0, most=1000, unit="psi")] | None = None
    cover_board: CoverBoard | None = None
    warranty_holder: Words | None = None
    inspected_on: Day | None = None


class Site(_Part):
    """What deferrals and cautions turn on; heights and distances [in]."""

    height_above_grade: Annotated[float, _length(least=0, most=40_000)] | None = None
    exposure: Words | None = None
    stories: Annotated[float, _number(above=0, most=200)] | None = None
    occupancy: Words | None = None
    construction_type: Words | None = None
    lot_line_distance: Annotated[float, _length(least=0, most=100_000)] | None = None
    jurisdiction: Words | None = None
    code_edition: Words | None = None
    accessible_route: bool | None = None


class Access(_Part):
    """How material reaches the roof; `longest_stick` [in]."""

    floor: Annotated[int, _number(least=-10, most=200, whole=True)] | None = None
    longest_stick: Span | None = None
    lift: Literal["stair", "elevator", "hoist", "boom"] | None = None


class Photo(_Part):
    point: Name | None = None
    file: Words
    note: Words | None = None


def _in_order(checks: tuple[DatumCheck, ...]) -> tuple[DatumCheck, ...]:
    return tuple(sorted(checks, key=lambda check: check.after))


class Survey(_Part):
    """roof-survey/1: what was measured. Every length in inches, heights as drops below the survey datum."""

    format: Literal["roof-survey/1"]
    name: Name
    unit: length.Unit = "in"
    surveyed_on: Day | None = None
    surveyor: Words | None = None
    datum: Datum | None = None
    corners: Annotated[tuple[Name, ...], Field(min_length=3), AfterValidator(_different)]
    positions: dict[Name, Point] = {}
    position_sigma: Annotated[float, _length(least=0, most=24)] | None = None
    tapes: tuple[Tape, ...] = ()
    tape_sigma: Sigma = 0.125
    level_sigma: Sigma = 0.0625
    closure_tolerance: Span = 0.1875
    levels: tuple[Level, ...]
    datum_checks: Annotated[tuple[DatumCheck, ...], AfterValidator(_in_order)] = ()
    breaklines: tuple[Breakline, ...] = ()
    threshold: ThresholdPoints | None = None
    doors: Annotated[tuple[Door, ...], Field(min_length=1)] | None = None
    outlets: tuple[Outlet, ...] = ()
    obstacles: tuple[Obstacle, ...] = ()
    edges: tuple[Edge, ...] = ()
    roof: Roof | None = None
    site: Site | None = None
    access: Access | None = None
    photos: tuple[Photo, ...] = ()

    @property
    def all_doors(self) -> tuple[Door, ...]:
        """The doors; a bare `threshold` is one door of that name's points that governs."""
        if self.doors is not None:
            return self.doors
        return (Door(name="door", points=self.threshold or (), governs=True),)


# ---------------------------------------------------------------------------------------------- deck-build/1


class Surface(_Part):
    """The finished surface: `reveal` [in] below the threshold, `fall_per_ft` [in/ft], `toward` [degrees]."""

    mode: Literal["level", "follow-threshold", "fall"]
    reveal: Drop
    fall_per_ft: Annotated[float, _length(above=0, most=3)] | None = None
    toward: Annotated[float, Degrees] | None = None

    @model_validator(mode="after")
    def _fall(self) -> Surface:
        for field in ("fall_per_ft", "toward"):
            given = getattr(self, field)
            if self.mode == "fall" and given is None:
                expected = "inches of fall in a foot" if field == "fall_per_ft" else "a direction in degrees"
                raise _refusal(expected, f"a surface with a fall needs {field}", at=(field,))
            if self.mode != "fall" and given is not None:
                raise _refusal(f"no {field} with mode {self.mode}", "contradicts the mode", read=given, at=(field,))
        return self


class Decking(_Part):
    """The boards; sizes and gaps [in], `direction` [degrees] the boards run, `stock_prices` by stock length [in]."""

    item: Name
    species: Words | None = None
    thickness: Annotated[float, _length(least=0.25, most=6)]
    width: Annotated[float, _length(least=0.5, most=48)]
    gap: Annotated[float, _length(least=0, most=3)]
    direction: Direction = "auto"
    border_courses: Annotated[int, _number(least=0, most=20, whole=True)] = 0
    edge_gaps: dict[Name, Reach] = {}
    fastening: Literal["face", "hidden"]
    stock_lengths: Sticks
    stock_prices: dict[Stick, Money] | None = None


class Joists(_Part):
    """The joists; spacing, depth and tape [in], `stock_prices` by size and stock length [in]."""

    species: Words
    grade: Words
    moisture: Literal["kdat", "dry", "wet"] | None = None
    sizes: Annotated[tuple[Size, ...], Field(min_length=1), AfterValidator(_different)]
    stock_lengths: Sticks
    stock_prices: dict[Size, dict[Stick, Money]] | None = None
    spacing: Annotated[float, _length(least=3, most=48)]
    direction: Direction = "auto"
    minimum_depth: Annotated[float, _length(above=0, most=24)] = 1.5
    tape_thickness: Annotated[float, _length(least=0, most=1)] = 0.0
    splice: Literal["over-support", "lapped"] = "over-support"


class ClearGap(_Part):
    """The gap between roof and joist [in]."""

    least: Reach
    target: Reach
    most: Reach

    @model_validator(mode="after")
    def _order(self) -> ClearGap:
        if not self.least <= self.target <= self.most:
            name, worst = ("target", self.target) if self.target < self.least else ("most", self.most)
            order = f"least {self.least:g}, target {self.target:g}, most {self.most:g} in"
            raise _refusal("least, target and most in this order", f"out of order: {order}", read=worst, at=(name,))
        return self


class Supports(_Part):
    """Pads and shims under the joists; every length [in]."""

    base_thickness: Annotated[float, _length(least=0, most=12)] = 0.0
    pad_thickness: Annotated[float, _length(least=0, most=24)]
    pad_sizes: PadSizes = Field(alias="pad_size")
    clear_gap: ClearGap
    shim_sizes: Annotated[
        tuple[Annotated[float, _length(least=1 / 64, most=12)], ...], Field(min_length=1), AfterValidator(_ascending)
    ]
    shim_most: Annotated[float, _length(least=0, most=48)]
    maximum_spacing: Annotated[Literal["auto"] | float, _auto_or(_length(least=3, most=240))] = "auto"


class Heavy(_Part):
    """Planters, tubs, stacked material: an outline of survey points or [x, y] [in], and its load [psf]."""

    points: Annotated[tuple[Place, ...], Field(min_length=3, max_length=100)]
    psf: Pressure


class Loads(_Part):
    """Loads on the deck [psf] and what the live load stands on."""

    live: Annotated[float, _number(above=0, most=10_000, unit="psf")]
    dead_extra: Pressure = 0.0
    snow: Pressure = 0.0
    drift: Pressure = 0.0
    basis: Words | None = None
    heavy: Annotated[tuple[Heavy, ...], Field(max_length=200)] = ()


class Rain(_Part):
    """Design rain [in/h] and its source."""

    primary: RainRate
    secondary: RainRate | None = None
    source: Words | None = None


class Saw(_Part):
    """Kerf and end trim of a stick [in]."""

    kerf: Annotated[float, _length(least=0, most=1)] = 0.125
    trim: Annotated[float, _length(least=0, most=11)] = 0.25


class Panel(_Part):
    """A lift-out panel over an outlet or obstacle, `size` [in], or the reason why there is `none`."""

    over: Name
    size: Extent | None = None
    none: Words | None = None

    @model_validator(mode="after")
    def _one(self) -> Panel:
        if self.size is not None and self.none is not None:
            raise _refusal("either size or none", "a panel that is refused has no size", read=self.none, at=("none",))
        return self


class Rate(_Part):
    """Person-hours for one `unit` of a task."""

    low: Hours
    typical: Hours
    high: Hours
    unit: Name

    @model_validator(mode="after")
    def _order(self) -> Rate:
        if not self.low <= self.typical <= self.high:
            raise _refusal("low, typical and high in this order", "out of order", read=self.typical, at=("typical",))
        return self


class Labor(_Part):
    """Difficulty factors by name, rates by task, and who comes."""

    difficulty: dict[Name, Annotated[float, _number(above=0, most=10)]] = {}
    rates: dict[Name, Rate] | None = None
    crew: Crew | None = None


class Build(_Part):
    """deck-build/1: what is to be built. Every length in inches."""

    format: Literal["deck-build/1"]
    name: Name | None = None
    unit: length.Unit = "in"
    surface: Surface
    decking: Decking
    joists: Joists
    supports: Supports
    loads: Loads
    rain: Rain | None = None
    saw: Saw = Saw()
    access_panels: tuple[Panel, ...] = ()
    labor: Labor | None = None


# ---------------------------------------------------------------------------------------------- reading


def parse_survey(source: bytes | str | Mapping[str, Any]) -> Survey:
    """The survey in `source`; raises DocumentRefused with every fault of the JSON, its fields and their relations."""
    return _parse(Survey, source, _survey_faults)


def parse_build(source: bytes | str | Mapping[str, Any]) -> Build:
    """The build in `source`; raises DocumentRefused with every fault of the JSON, its fields and their relations."""
    return _parse(Build, source, _build_faults)


_Document = TypeVar("_Document", Survey, Build)
_FORMATS: dict[str, type[BaseModel]] = {"roof-survey/1": Survey, "deck-build/1": Build}


def _parse(
    model: type[_Document],
    source: bytes | str | Mapping[str, Any],
    relations: Callable[[Any, dict[str, Any]], Iterable[Fault]],
) -> _Document:
    expected = next(name for name, kind in _FORMATS.items() if kind is model)
    try:
        raw, faults = read_json(source)
        _check_counts(raw)
        given = raw.get("format")
        if given != expected and isinstance(given, str) and given in {*_FORMATS, "deck-framing/1"}:
            # A document of another kind: its fields would only be reported one by one as unknown.
            raise DocumentRefused([Fault("/format", shown(given), expected, "a document of another kind")])
        context = _context(raw)
        try:
            document = model.model_validate(raw, context=context)
        except ValidationError as error:
            faults += _translated(model, error, raw)
            document = _partial(model, raw, context)
        faults += relations(document, raw)
    except DocumentRefused as refused:
        named = (replace(fault, document=expected) for fault in refused.faults)
        raise DocumentRefused(named, too_large=refused.too_large) from None
    if faults:
        first = {fault.pointer: fault for fault in reversed(faults)}  # one fault a place: the first found
        ordered = [fault for fault in dict.fromkeys(faults) if first[fault.pointer] is fault or fault.pointer == "/tapes"]
        raise DocumentRefused(replace(fault, document=expected) for fault in ordered[:MOST_FAULTS])
    return document


def _check_counts(raw: dict[str, Any]) -> None:
    over = [(field, most) for field, most in MOST.items() if isinstance(raw.get(field), (tuple, dict)) and len(raw[field]) > most]
    if over:
        raise DocumentRefused(
            [Fault(pointer([f]), f"{len(raw[f]):,} {f}", f"at most {most:,}", "too many to work on") for f, most in over],
            too_large=True,
        )


def _context(raw: dict[str, Any]) -> dict[str, Any]:
    """What fields need of their neighbours: the unit (inches where it is wrong itself) and the points read, in order."""
    unit = raw.get("unit")
    levels = raw.get("levels")
    readings = [item.get("point") if isinstance(item, dict) else None for item in levels] if isinstance(levels, tuple) else []
    return {"unit": unit if isinstance(unit, str) and unit in length.UNITS else "in", "readings": readings}


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


def _items(model: type[BaseModel], name: str, value: tuple[Any, ...], error: ValidationError, context: dict[str, Any]) -> Any:
    bad = {e["loc"][0] for e in error.errors(include_url=False) if e["loc"]}
    item = get_args(model.model_fields[name].annotation)[0]
    adapter = _item_adapter(item)
    return tuple(None if place in bad else adapter.validate_python(part, context=context) for place, part in enumerate(value))


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


def _translated(model: type[BaseModel], error: ValidationError, raw: dict[str, Any]) -> list[Fault]:
    """The faults that pydantic found, in a carpenter's words."""
    return [_fault(model, found, raw) for found in error.errors(include_url=False)]


_KINDS = {
    "tuple_type": "a list [ … ]", "dict_type": "a group { … }", "model_type": "a group { … }",
    "model_attributes_type": "a group { … }", "bool_type": "true or false", "string_type": "text",
}


def _fault(model: type[BaseModel], found: Any, raw: dict[str, Any]) -> Fault:
    kind, words = found["type"], found.get("ctx", {})
    path = _path(found["loc"], raw)
    name = str(path[-1]) if path else "document"
    read, expected, detail = shown(found["input"]), "a value that this field can hold", f"{name} cannot be read"
    if kind == "trade":
        path += tuple(_path(words["at"], found["input"])) if words["at"] else ()
        if words["at"]:
            read = "nothing" if words["read"] is None else shown(words["read"])
        expected, detail = words["expected"], words["detail"] or f"{path[-1] if path else 'value'} is out of bounds"
    elif kind == "missing":
        read, expected, detail = "nothing", _said(model, found["loc"]), f"{name} is missing"
    elif kind == "extra_forbidden":
        known = ", ".join(field.alias or key for key, field in _model_at(model, found["loc"][:-1]).model_fields.items())
        expected, detail = f"one of these fields: {known}", f"{name} is a field that the format does not know"
    elif kind == "literal_error":
        expected, detail = f"{words['expected']}", f"{name} is none of the known words"
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
    schema = json_schema_of(owner)["properties"].get(str(loc[-1]), {})
    if "enum" in schema:
        return " or ".join(map(str, schema["enum"]))
    if "const" in schema:
        return str(schema["const"])
    kinds = {"array": "a list [ … ]", "object": "a group { … }", "string": "text"}
    return str(schema.get("description") or kinds.get(str(schema.get("type")), "a group { … }"))


# ---------------------------------------------------------------------------------------------- relations


def _each(items: Iterable[Any] | None) -> Iterator[tuple[int, Any]]:
    """The items that could be read, with their places."""
    return ((place, item) for place, item in enumerate(items or ()) if item is not None)


def _names(raw: Any, *path: str) -> list[str]:
    """The texts in a list of the raw document, so that a fault beside a name does not make the name unknown."""
    for part in path:
        raw = raw.get(part) if isinstance(raw, dict) else None
    return [name for name in raw if isinstance(name, str)] if isinstance(raw, (tuple, dict)) else []


def _survey_faults(survey: Survey, raw: dict[str, Any]) -> Iterator[Fault]:
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
    located = set(_names(raw, "corners")) | set(_names(raw, "positions"))
    others: dict[str, set[str]] = defaultdict(set)
    for tape in raw["tapes"] if isinstance(raw.get("tapes"), tuple) else ():
        if isinstance(tape, tuple) and len(tape) >= 2 and isinstance(tape[0], str) and isinstance(tape[1], str):
            others[tape[0]].add(tape[1])
            others[tape[1]].add(tape[0])
    # A tie needs tapes to two other points; one that fails takes those down that hang on it.
    ties = {name for name in others if name not in located}
    while hanging := {name for name in ties if len(others[name] & (located | ties) - {name}) < 2}:
        ties -= hanging
    known = located | ties
    names = sorted(known)
    listed = ", ".join(names[:40]) + (", …" if len(names) > 40 else "")

    for path, name in _uses(raw):
        if name not in known:
            tapes = len(others.get(name, ()))
            why = f"{name} is no corner, has no position" + (f" and only {tapes} tape" if tapes else " and no tapes")
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
                found += [((field, place, "points", at), name) for at, name in enumerate(points)] if isinstance(points, tuple) else []
    threshold = raw.get("threshold")
    found += [(("threshold", at), name) for at, name in enumerate(threshold if isinstance(threshold, tuple) else ())]
    return ((path, name) for path, name in found if isinstance(name, str))


def _door_faults(survey: Survey, raw: dict[str, Any]) -> Iterator[Fault]:
    if ("threshold" in raw) == ("doors" in raw):
        twice = "doors" in raw
        detail = "both threshold and doors are given" if twice else "neither threshold nor doors is given"
        path, read = ("/doors", shown(raw["doors"])) if twice else ("/threshold", "nothing")
        yield Fault(path, read, "either threshold or doors", detail)
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
    corners = list(dict.fromkeys(_names(raw, "corners")))
    sides = {frozenset(side) for side in zip(corners, corners[1:] + corners[:1], strict=True)}
    seen: set[frozenset[str]] = set()
    for place, edge in _each(survey.edges):
        side = frozenset((edge.from_, edge.to))
        listed = ", ".join(f"{a}-{b}" for a, b in zip(corners, corners[1:] + corners[:1], strict=True))
        if side not in sides:
            detail = f"{edge.from_} and {edge.to} are no neighbouring corners"
            yield Fault(pointer(["edges", place]), f"{edge.from_}-{edge.to}", f"a side of the outline: {listed}", detail)
        elif side in seen:
            detail = f"the side {edge.from_}-{edge.to} is given twice"
            yield Fault(pointer(["edges", place]), f"{edge.from_}-{edge.to}", "each side once", detail)
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


def _build_faults(build: Build, raw: dict[str, Any]) -> Iterator[Fault]:
    seen = Counter[str]()
    for place, panel in _each(build.access_panels):
        seen[panel.over] += 1
        if seen[panel.over] > 1:
            detail = f"the panel over {panel.over} is given twice"
            yield Fault(pointer(["access_panels", place, "over"]), shown(panel.over), "each place once", detail)
    yield from _prices_twice(raw, build.unit or "in")


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


def check_together(survey: Survey, build: Build) -> None:
    """Raises DocumentRefused for what only survey and build together show, with pointers into the build.

    Edge gaps that name no side, panels over nothing, heavy loads at unknown points, a surface that follows a
    threshold of one point.
    """
    faults: list[Fault] = []
    corners = survey.corners
    sides = {f"{a}-{b}": f"{a}-{b}" for a, b in zip(corners, corners[1:] + corners[:1], strict=True)}
    either_way = sides | {f"{b}-{a}": f"{a}-{b}" for a, b in zip(corners, corners[1:] + corners[:1], strict=True)}
    seen: dict[str, str] = {}
    for key in build.decking.edge_gaps:
        at = pointer(["decking", "edge_gaps", key])
        side = either_way.get(key)
        if side is None:
            faults.append(Fault(at, shown(key), f"a side of the outline: {', '.join(sides)}", f"{key} is no side"))
        elif side in seen:
            faults.append(Fault(at, shown(key), "each side once", f"{seen[side]} and {key} are the same side"))
        else:
            seen[side] = key
    places = [o.point for o in survey.outlets] + [o.name for o in survey.obstacles]
    for place, panel in enumerate(build.access_panels):
        if panel.over not in places:
            listed = ", ".join(places) or "none in the survey"
            at = pointer(["access_panels", place, "over"])
            expected = f"an outlet's point or an obstacle's name: {listed}"
            faults.append(Fault(at, shown(panel.over), expected, f"{panel.over} is neither"))
    known = {*corners, *survey.positions, *(name for tape in survey.tapes for name in (tape.from_, tape.to))}
    for place, heavy in enumerate(build.loads.heavy):
        for i, point in enumerate(heavy.points):
            if isinstance(point, str) and point not in known:
                at = pointer(["loads", "heavy", place, "points", i])
                faults.append(Fault(at, shown(point), "a point of the survey, or [x, y]", f"{point} is not known"))
    if build.surface.mode == "follow-threshold" and all(len(door.points) < 2 for door in survey.all_doors):
        detail = "a threshold of one point has no line to follow"
        faults.append(Fault("/surface/mode", shown(build.surface.mode), "two threshold points or more", detail))
    if faults:
        raise DocumentRefused(replace(fault, document="deck-build/1") for fault in faults[:MOST_FAULTS])


# ---------------------------------------------------------------------------------------------- schemas and hashes


@cache
def json_schema_of(model: type[BaseModel]) -> dict[str, Any]:
    return model.model_json_schema(by_alias=True, mode="validation")


def json_schema(name: str) -> dict[str, Any]:
    """The JSON Schema (draft 2020-12) of "roof-survey/1", "deck-build/1" or "deck-framing/1"; KeyError for others."""
    from framing.engine.framing_document import FramingDocument

    model = {**_FORMATS, "deck-framing/1": FramingDocument}[name]
    return {"$schema": "https://json-schema.org/draft/2020-12/schema", "title": name, **json_schema_of(model)} | {"title": name}


def canonical_sha256(document: Any) -> str:
    """The hash of a document: of its JSON with sorted keys, without spaces, in UTF-8."""
    text = json.dumps(document, sort_keys=True, separators=(",", ":"), ensure_ascii=False)
    return hashlib.sha256(text.encode("utf-8")).hexdigest()
