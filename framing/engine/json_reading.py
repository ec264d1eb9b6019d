"""Reading JSON that a stranger sent: every fault with its RFC 6901 pointer, and nothing that can hurt further on."""

from __future__ import annotations

import json
import math
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass, replace
from typing import Any

MOST_BYTES = 5_000_000
MOST_DEPTH = 64
MOST_DIGITS = 15  # a float holds 15 decimal digits exactly
MOST_VALUES = 100_000  # twice what the largest document needs
MOST_FAULTS = 200
MOST_KEY = 200  # characters; the longest name that a document knows has 60
MOST_WORDS = 400  # characters of one fault's words: an answer never echoes a long document
_SHOWN = 80

_STRING = re.compile(r'"(?:[^"\\]++|\\.)*+"?', re.DOTALL)
_BRACKET = re.compile(r"[][{}]")
# What no drawing (XML 1.0, section 2.2) and no database text column can hold.
_UNWRITABLE = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\ud800-\udfff\ufffe\uffff]")


@dataclass(frozen=True)
class Fault:
    """One fault of a document: where (RFC 6901), what was read, what was expected, and what to know about it.

    The pointer leads to a value of the document. A field that is missing is told at the group that lacks it, and
    `expected` begins with its name.
    """

    pointer: str
    read: str
    expected: str
    detail: str
    document: str = ""


class DocumentRefused(ValueError):
    """A document that is not taken, with every fault found. `too_large` where it passes a limit of size or count."""

    def __init__(self, faults: Iterable[Fault], *, too_large: bool = False) -> None:
        self.faults = tuple(faults)
        self.too_large = too_large
        super().__init__("; ".join(f"{f.pointer or 'document'}: {f.detail}" for f in self.faults[:5]))

    def as_json(self) -> dict[str, Any]:
        return {"errors": [asdict(fault) for fault in self.faults]}


class _Object(dict[str, Any]):
    """A JSON object that remembers the keys it was given more than once."""

    repeated: tuple[str, ...] = ()


@dataclass(frozen=True)
class _Unusable:
    """A number that no field can hold: NaN, infinity, or one with too many digits."""

    text: str


def pointer(path: Iterable[str | int]) -> str:
    """The RFC 6901 pointer of a path of keys and places."""
    return "".join("/" + str(part).replace("~", "~0").replace("/", "~1") for part in path)


def standing(fault: Fault, document: Any) -> Fault:
    """The fault at the nearest place that the document has, with the name of what is missing there."""
    parts = [part.replace("~1", "/").replace("~0", "~") for part in fault.pointer.split("/")[1:]]
    for depth, part in enumerate(parts):
        if isinstance(document, dict) and part in document:
            document = document[part]
        elif isinstance(document, tuple) and part.isdecimal() and int(part) < len(document):
            document = document[int(part)]
        else:
            return replace(fault, pointer=pointer(parts[:depth]), expected=f"{part}: {fault.expected}")
    return fault


def cut(text: str, most: int = MOST_WORDS) -> str:
    """The text as it can be written to any file, cut to `most` characters."""
    # A lone surrogate becomes a question mark: the answer must be writable too.
    text = text[: most + 1].encode("utf-8", "replace").decode()
    return text if len(text) <= most else text[: most - 1] + "…"


def shown(value: Any) -> str:
    """A value as it stood in the document, cut to a line."""
    if isinstance(value, _Unusable):
        return cut(value.text, _SHOWN)
    if isinstance(value, float) and not math.isfinite(value):
        return str(value)
    try:
        text = json.dumps(value, ensure_ascii=False, default=lambda odd: shown(odd) if odd is not value else repr(odd))
    except (TypeError, ValueError, RecursionError):
        text = "what no JSON text can hold"
    return cut(text, _SHOWN)


def read_json(source: Any) -> tuple[dict[str, Any], list[Fault]]:
    """The JSON object in `source`, lists as tuples, and the faults of single values, which stand there as None.

    `source` is JSON as text or as bytes in UTF-8, or a document that has been read already.

    Such faults are: a key given twice, NaN and infinity, more than 15 digits, text that no file can hold. Raises
    DocumentRefused where nothing further can be read: more than 5 MB or 100,000 values, not UTF-8, not JSON, nested
    deeper than 64, not an object.
    """
    value = _loads(_text(source)) if isinstance(source, bytes | str) else source
    faults: list[Fault] = []
    if not isinstance(value, Mapping):
        raise DocumentRefused([Fault("", shown(value), "a JSON object { … }", "the document is not a JSON object")])
    if _holds_too_much(value):
        fault = Fault("", f"more than {MOST_VALUES:,} values", f"at most {MOST_VALUES:,}", "too many to work on")
        raise DocumentRefused([fault], too_large=True)
    return _plain(value, (), faults), faults


def _holds_too_much(value: Any) -> bool:
    """Whether a value holds more values, groups included, than are worked on; told without going through them all."""
    count, waiting = 0, [value]
    while waiting and count <= MOST_VALUES:
        item = waiting.pop()
        count += 1
        if isinstance(item, Mapping):
            waiting.extend(item.values())
        elif isinstance(item, list | tuple):
            waiting.extend(item)
    return count > MOST_VALUES


def _text(source: bytes | str) -> str:
    size = len(source) if isinstance(source, bytes) else len(source.encode("utf-8", "replace"))
    if size > MOST_BYTES:
        fault = Fault("", f"{size:,} bytes", f"at most {MOST_BYTES:,} bytes", "the document is too large")
        raise DocumentRefused([fault], too_large=True)
    if isinstance(source, str):
        return source.removeprefix("\ufeff")  # the byte order mark that some editors write
    try:
        return source.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        fault = Fault("", f"byte {source[error.start]:#04x} at {error.start}", "UTF-8 text", "the text is not UTF-8")
        raise DocumentRefused([fault]) from None


def _loads(text: str) -> Any:
    depth = deepest = 0
    for bracket in _BRACKET.findall(_STRING.sub("", text)):
        depth += 1 if bracket in "[{" else -1
        deepest = max(deepest, depth)
    if deepest > MOST_DEPTH:
        fault = Fault("", f"{deepest:,} brackets inside each other", f"at most {MOST_DEPTH}", "nested too deeply")
        raise DocumentRefused([fault])
    try:
        return json.loads(
            text, object_pairs_hook=_object, parse_constant=_Unusable, parse_int=_whole, parse_float=_decimal
        )
    except json.JSONDecodeError as error:
        near = text[max(error.pos - 20, 0) : error.pos + 20]
        detail = f"the JSON breaks off at line {error.lineno}, column {error.colno}"
        raise DocumentRefused([Fault("", shown(near), "JSON", detail)]) from None


def _object(pairs: Sequence[tuple[str, Any]]) -> _Object:
    found = _Object(pairs)
    if len(found) < len(pairs):
        seen: set[str] = set()
        found.repeated = tuple(dict.fromkeys(key for key, _ in pairs if key in seen or seen.add(key)))  # type: ignore[func-returns-value]
    return found


def _whole(text: str) -> int | _Unusable:
    return int(text) if len(text.lstrip("-")) <= MOST_DIGITS else _Unusable(text)


def _decimal(text: str) -> float | _Unusable:
    number = float(text)
    return number if abs(number) < 10.0**MOST_DIGITS else _Unusable(text)


def _plain(value: Any, path: tuple[str | int, ...], faults: list[Fault]) -> Any:
    """A copy of the value in dicts and tuples; what cannot stand in a document is added to `faults`."""
    if len(path) > MOST_DEPTH:
        expected = f"at most {MOST_DEPTH} levels inside each other"
        faults.append(Fault(pointer(path), f"more than {MOST_DEPTH} levels", expected, "nested too deeply"))
        return None
    if isinstance(value, Mapping):
        good = {key: item for key, item in value.items() if _can_be_key(key)}
        for key in getattr(value, "repeated", ()):
            if key in good:
                detail = f"{shown(key)} is given more than once"
                faults.append(Fault(pointer((*path, key)), shown(value[key]), "each key once", detail))
        expected = f"keys of plain text, at most {MOST_KEY} characters"
        faults += [Fault(pointer(path), shown(key), expected, "a key that cannot be taken")
                   for key in value if key not in good]
        return {key: _plain(item, (*path, key), faults) for key, item in good.items()}
    if isinstance(value, (list, tuple)):
        return tuple(_plain(item, (*path, place), faults) for place, item in enumerate(value))
    if isinstance(value, str):
        if _UNWRITABLE.search(value):
            faults.append(Fault(pointer(path), shown(value), "plain text", "the text holds a control character"))
        return _UNWRITABLE.sub("\ufffd", value)  # so that it may be told of in other faults
    if value is None or isinstance(value, bool):
        return value
    if isinstance(value, (int, float)) and abs(value) < 10.0**MOST_DIGITS:  # false for NaN
        return value
    expected = f"a finite number of at most {MOST_DIGITS} digits"
    faults.append(Fault(pointer(path), shown(value), expected, "the number is not finite, too long or none at all"))
    return None


def _can_be_key(key: Any) -> bool:
    return isinstance(key, str) and len(key) <= MOST_KEY and not _UNWRITABLE.search(key)
