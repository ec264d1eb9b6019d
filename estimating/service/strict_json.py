"""JSON read strictly: a key given twice, NaN, infinity, and text that no database can keep are refused."""

import json
import math
from collections.abc import Iterator
from typing import Any

from estimating.service.problems import Problem, pointer, refused

DEEPEST = 100  # brackets within brackets


class _Twice(dict[str, Any]):
    """An object in which a key stood twice, until the walk finds it and says where."""

    key: str


def read(source: bytes) -> Any:
    """The value that `source` holds.

    Raises Problem: 400 where it is not JSON in UTF-8, with line and column; 422 where it is JSON but must not be kept.
    """
    try:
        text = source.decode("utf-8-sig")
    except UnicodeDecodeError as exc:
        raise Problem(400, f"The body is not UTF-8: byte {exc.start} is 0x{source[exc.start]:02x}") from None
    try:
        value = json.loads(text, object_pairs_hook=_object, parse_int=_integer)
    except json.JSONDecodeError as exc:
        raise Problem(400, f"The body is not JSON: {exc.msg} at line {exc.lineno}, column {exc.colno}") from None
    except RecursionError:
        raise _too_deep() from None
    for where, fault, expected, what in _walk(value, ()):
        raise refused(pointer(*where), fault, expected, what)
    return value


def _object(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    found = dict(pairs)
    if len(found) == len(pairs):
        return found
    twice = _Twice(found)
    seen: set[str] = set()
    twice.key = next(key for key, _ in pairs if key in seen or seen.add(key))  # type: ignore[func-returns-value]
    return twice


def _integer(text: str) -> int | float:
    return int(text) if len(text) <= 400 else math.inf  # more digits than any number here; told with its place


def _walk(value: Any, where: tuple[str | int, ...]) -> Iterator[tuple[tuple[str | int, ...], Any, str, str]]:
    """Everything in a value that must not be kept: place, what was read, what was expected, the sentence."""
    if len(where) > DEEPEST:
        raise _too_deep()
    if isinstance(value, _Twice):
        yield (*where, value.key), value.key, "each key once", f"the key {value.key!r} stands twice"
    if isinstance(value, dict):
        for key, inner in value.items():
            if fault := _unfit(key):
                yield where, key, "a key of whole characters", fault
            yield from _walk(inner, (*where, key))
    elif isinstance(value, list):
        for i, inner in enumerate(value):
            yield from _walk(inner, (*where, i))
    elif isinstance(value, str) and (fault := _unfit(value)):
        yield where, value, "text of whole characters", fault
    elif isinstance(value, float) and not math.isfinite(value):
        yield where, str(value), "a finite number", "the number is not finite"


def _unfit(text: str) -> str:
    if "\x00" in text:
        return "the text holds a NUL character"
    try:
        text.encode()
    except UnicodeEncodeError:
        return "the text holds half a surrogate pair"
    return ""


def _too_deep() -> Problem:
    return refused("", None, f"at most {DEEPEST} brackets within brackets", "the body is nested too deep")
