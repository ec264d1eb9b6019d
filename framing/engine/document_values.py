"""Kinds of value in a document: how each is read, refused in a carpenter's words, and described in JSON Schema."""

from __future__ import annotations

import datetime
import math
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from decimal import Decimal
from typing import Annotated, Any, Literal

from pydantic import AfterValidator, Field
from pydantic_core import CoreSchema, PydanticCustomError, core_schema

from framing.engine import length
from framing.reference.design_values import GRADES, grade_key
from framing.reference.lumber import DRESSED, SPECIFIC_GRAVITY, species_key

MOST_PADS = 50  # to choose from
LONGEST = 12_000.0  # [in]: no terrace is 1,000 ft long; a longer reading is a slip of the unit


def refusal(
    expected: str, detail: str = "", *, read: Any = None, at: tuple[str | int, ...] = ()
) -> PydanticCustomError:
    """The fault of a value, or of the field `at` inside it, in words for a carpenter."""
    return PydanticCustomError("trade", "refused", {"expected": expected, "detail": detail, "read": read, "at": at})


@dataclass(frozen=True, eq=False)
class Kind:
    """A kind of value: how it is read (raising `refusal`), and its JSON Schema."""

    read: Callable[[Any, dict[str, Any]], Any]
    schema: Mapping[str, Any]

    def __get_pydantic_core_schema__(self, source: Any, handler: Any) -> CoreSchema:
        return core_schema.with_info_plain_validator_function(lambda value, info: self.read(value, info.context or {}))

    def __get_pydantic_json_schema__(self, schema: CoreSchema, handler: Any) -> dict[str, Any]:
        return dict(self.schema)


def _bounds(value: float, above: float | None, least: float | None, most: float, write: Callable[[float], str]) -> None:
    if above is not None and not value > above:
        raise refusal(f"more than {write(above)}")
    if least is not None and value < least:
        raise refusal(f"at least {write(least)}")
    if abs(value) > most:
        raise refusal(f"at most {write(most)}")


def length_of(*, above: float | None = None, least: float | None = None, most: float = LONGEST) -> Kind:
    """A length [in], from a number in the document's unit or from text."""

    def read(value: Any, context: dict[str, Any]) -> float:
        try:
            inches = length.read(value, context.get("unit", "in"))
        except length.LengthError as error:
            place = f" at character {error.position + 1}" if isinstance(value, str) else ""
            raise refusal(error.expected, f"not a length{place}") from None
        _bounds(inches, above, least, most, lambda limit: f"{limit:g} in")
        return inches

    said = "a length: a number in the document's unit, or text such as 5 5/8, 12' 3 1/2\" or 143 mm"
    return Kind(read, {"type": ["number", "string"], "description": said})


def number_of(
    *, above: float | None = None, least: float | None = None, most: float = 1e9, whole: bool = False, unit: str = ""
) -> Kind:
    what = "a whole number" if whole else "a number"
    what += f" [{unit}]" if unit else ""

    def read(value: Any, context: dict[str, Any]) -> float:
        if isinstance(value, bool) or not isinstance(value, int if whole else (int, float)):
            raise refusal(what, "not a number" if not isinstance(value, float) else "not a whole number")
        if not math.isfinite(value):
            raise refusal(what, "not a finite number")
        _bounds(value, above, least, most, lambda limit: f"{limit:g}{' ' + unit if unit else ''}")
        return value if whole else float(value)

    schema: dict[str, Any] = {"type": "integer" if whole else "number", "description": what}
    schema |= {"exclusiveMinimum": above} if above is not None else {}
    schema |= {"minimum": least} if least is not None else {}
    return Kind(read, schema)


def text_of(most: int, what: str) -> Kind:
    def read(value: Any, context: dict[str, Any]) -> str:
        if not isinstance(value, str):
            raise refusal(what, "not text")
        if not value.strip():
            raise refusal(what, "empty")
        if value != value.strip():
            raise refusal(f"{what} without blanks before or after", "blanks round it")
        if len(value) > most:
            raise refusal(f"at most {most} characters", f"{len(value)} characters")
        return value

    return Kind(read, {"type": "string", "minLength": 1, "maxLength": most, "description": what})


def _read_date(value: Any, context: dict[str, Any]) -> str:
    try:
        if isinstance(value, str) and len(value) == 10 and datetime.date.fromisoformat(value):
            return value
    except ValueError:
        pass
    raise refusal("a date such as 2026-03-14", "not a date")


def _read_money(value: Any, context: dict[str, Any]) -> Decimal:
    # A JSON number goes through its shortest text, never through binary arithmetic.
    text = value if isinstance(value, str) else repr(value)
    if isinstance(value, bool) or not re.fullmatch(r"[0-9]{1,9}(\.[0-9]{1,4})?", text):
        raise refusal('an amount of money such as "18.88"', "not an amount of money")
    return Decimal(text)


def _read_size(value: Any, context: dict[str, Any]) -> str:
    if not isinstance(value, str) or value not in DRESSED:
        raise refusal("one of " + ", ".join(DRESSED), "not a size of lumber")
    return value


def _read_framing_species(value: Any, context: dict[str, Any]) -> str:
    text: str = _WORDS.read(value, context)
    try:
        species_key(text)
    except KeyError:
        raise refusal("one of " + ", ".join(SPECIFIC_GRAVITY), "not a framing species that is known") from None
    return text


def _read_grade(value: Any, context: dict[str, Any]) -> str:
    text: str = _WORDS.read(value, context)
    return graded(text, "spruce-pine-fir")  # of all species the one with the most words for its grades


def graded(grade: str, species: str, at: tuple[str, ...] = ()) -> str:
    """The grade, where design values of the species are held at it; else refused, `at` where it stands."""
    try:
        grade_key(grade, species)
    except KeyError:
        expected = " or ".join(GRADES) + " (a higher grade may be entered as No.2)"
        raise refusal(expected, "no design values are held for this grade", read=grade, at=at) from None
    return grade


def _read_after(value: Any, context: dict[str, Any]) -> int:
    """The 1-based number of a reading, from that number or from the point where it was read once."""
    readings: list[Any] | None = context.get("readings")
    if readings is None:
        return 0  # levels is refused itself, so that no number can be called wrong
    if isinstance(value, str):
        numbers = [number for number, point in enumerate(readings, 1) if point == value]
        if not numbers:
            raise refusal("the number of a reading, or a point of levels", f"no reading stands at {value[:60]}")
        if len(numbers) > 1:
            found = ", ".join(map(str, numbers))
            raise refusal(f"the number of the reading: {found}", f"{value} was read {len(numbers)} times")
        return numbers[0]
    if isinstance(value, bool) or not isinstance(value, int) or not 1 <= value <= len(readings):
        raise refusal(f"the number of a reading, 1 to {len(readings)}, or its point", "no such reading")
    return value


def auto_or(kind: Kind) -> Kind:
    def read(value: Any, context: dict[str, Any]) -> Any:
        if value == "auto":
            return value
        try:
            return kind.read(value, context)
        except PydanticCustomError as error:
            words = error.context or {}
            raise refusal(f'"auto" or {words["expected"]}', words["detail"]) from None

    return Kind(read, {"anyOf": [{"const": "auto"}, dict(kind.schema)]})


def _pair(kind: Kind, value: Any, context: dict[str, Any], what: str) -> tuple[float, float]:
    """[a, b], or a for a square."""
    if not isinstance(value, tuple):
        side = kind.read(value, context)
        return side, side
    if len(value) != 2:
        raise refusal(what, f"{len(value)} numbers")
    return kind.read(value[0], context), kind.read(value[1], context)


_SIDE = length_of(above=0, least=0.25)


def _read_extent(value: Any, context: dict[str, Any]) -> tuple[float, float]:
    return _pair(_SIDE, value, context, "a length, or two: [along x, along y]")


def _read_pad_sizes(value: Any, context: dict[str, Any]) -> tuple[tuple[float, float], ...]:
    what = "a length (a square pad), [a, b] (one pad), or a list of such pairs to choose from"
    if value == ():
        raise refusal(what, "no pad size is given")
    if isinstance(value, tuple) and len(value) > MOST_PADS:
        raise refusal(f"at most {MOST_PADS} pad sizes", f"{len(value)} are given")
    if isinstance(value, tuple) and all(isinstance(item, tuple) for item in value):
        return tuple(_pair(_SIDE, item, context, what) for item in value)
    return (_pair(_SIDE, value, context, what),)


def _read_point(value: Any, context: dict[str, Any]) -> tuple[float, float]:
    what = "[x, y], two lengths"
    if not isinstance(value, tuple) or len(value) != 2:
        raise refusal(what, "not a pair of coordinates")
    found = []
    for place, part in enumerate(value):
        try:
            found.append(_COORDINATE.read(part, context))
        except PydanticCustomError as error:
            words = error.context or {}
            raise refusal(words["expected"], words["detail"], read=part, at=(place,)) from None
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
    raise refusal("how many people, or a list of their trades", "neither a number of people nor a list of trades")


_COORDINATE = length_of()
_WORDS = text_of(2000, "text")
_NAME = text_of(60, "a name")
_LENGTH_SCHEMA = _COORDINATE.schema
_PAIR_SCHEMA = {"type": "array", "items": _LENGTH_SCHEMA, "minItems": 2, "maxItems": 2}

Name = Annotated[str, _NAME]
Words = Annotated[str, _WORDS]
FramingSpecies = Annotated[str, Kind(_read_framing_species, _WORDS.schema)]
FramingGrade = Annotated[str, Kind(_read_grade, _WORDS.schema)]
Day = Annotated[str, Kind(_read_date, {"type": "string", "format": "date"})]
Money = Annotated[Decimal, Kind(_read_money, {"type": ["string", "number"], "description": "money, as text"})]
Size = Annotated[str, Kind(_read_size, {"enum": list(DRESSED)})]
Drop = Annotated[float, _COORDINATE]
Span = Annotated[float, length_of(above=0)]  # longer than nothing
Reach = Annotated[float, length_of(least=0)]  # nothing or longer
Sigma = Annotated[float, length_of(least=0.001, most=24)]
Stick = Annotated[float, length_of(least=12, most=960)]
DEGREES = number_of(least=-360, most=360, unit="degrees")
Direction = Annotated[Literal["auto"] | float, auto_or(DEGREES)]
Pressure = Annotated[float, number_of(least=0, most=10_000, unit="psf")]
RainRate = Annotated[float, number_of(above=0, most=40, unit="in/h")]
Hours = Annotated[float, number_of(least=0, most=10_000)]
Extent = Annotated[
    tuple[float, float],
    Kind(_read_extent, {"anyOf": [_LENGTH_SCHEMA, _PAIR_SCHEMA], "description": "one side, or [along x, along y]"}),
]
PadSizes = Annotated[
    tuple[tuple[float, float], ...],
    Kind(_read_pad_sizes, {"anyOf": [_LENGTH_SCHEMA, _PAIR_SCHEMA, {"type": "array", "items": _PAIR_SCHEMA}]}),
]
Point = Annotated[tuple[float, float], Kind(_read_point, _PAIR_SCHEMA)]
Place = Annotated[
    str | tuple[float, float],
    Kind(_read_place, {"anyOf": [{"type": "string"}, _PAIR_SCHEMA], "description": "a survey point, or [x, y]"}),
]
Crew = Annotated[int | tuple[str, ...], Kind(_read_crew, {"type": ["integer", "array"], "items": {"type": "string"}})]
_AFTER = {"type": ["integer", "string"], "description": "the number of a reading, or its point"}
ReadingNumber = Annotated[int, Kind(_read_after, _AFTER)]


def ascending(values: tuple[float, ...]) -> tuple[float, ...]:
    return tuple(sorted(set(values)))


Sticks = Annotated[tuple[Stick, ...], Field(min_length=1, max_length=50), AfterValidator(ascending)]


def different(values: tuple[str, ...]) -> tuple[str, ...]:
    for place, value in enumerate(values):
        if value in values[:place]:
            raise refusal("each name once", f"{value} is named twice", read=value, at=(place,))
    return values
