"""Lengths as people write them: feet, inches, sixteenths and metric, read exactly and written to a fraction."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from fractions import Fraction
from typing import Literal

Unit = Literal["in", "ft", "mm", "m"]
UNITS: tuple[Unit, ...] = ("in", "ft", "mm", "m")

# The international inch is 25.4 mm exactly (International Yard and Pound agreement, 1959).
_INCHES = {
    "in": Fraction(1), "ft": Fraction(12),
    "mm": Fraction(5, 127), "cm": Fraction(50, 127), "m": Fraction(5000, 127),
}
_WORDS = {
    "in": "in", "inch": "in", "inches": "in", '"': "in", "''": "in",
    "ft": "ft", "foot": "ft", "feet": "ft", "'": "ft",
    "mm": "mm", "cm": "cm", "m": "m",
}

_FEET_MARKS = "'’‘‛′´`ʹ＇"
_INCH_MARKS = '"”“‟„″ʺ＂'
_DASHES = "-−–—‐‑‒"
_SLASHES = "/⁄∕"
_VULGAR = {
    "½": "1/2", "¼": "1/4", "¾": "3/4", "⅛": "1/8", "⅜": "3/8", "⅝": "5/8", "⅞": "7/8", "⅓": "1/3", "⅔": "2/3",
    "⅕": "1/5", "⅖": "2/5", "⅗": "3/5", "⅘": "4/5", "⅙": "1/6", "⅚": "5/6", "⅒": "1/10",
}
_PLAIN = {c: "'" for c in _FEET_MARKS} | {c: '"' for c in _INCH_MARKS} | {c: "-" for c in _DASHES}
_PLAIN |= {c: "/" for c in _SLASHES} | {c: f" {fraction} " for c, fraction in _VULGAR.items()}

_LONGEST_TEXT = 60
_EXPECTED = "a length such as 5 5/8, 5-5/8\", 12' 3 1/2\", 143 mm or 1.2 m"

_NUMBER = re.compile(
    r"(?:(?P<whole>[0-9]+)(?: +| *- *))?(?P<top>[0-9]+) ?/ ?(?P<bottom>[0-9]+)"
    r"|(?P<grouped>[0-9]{1,3}(?:,[0-9]{3})+(?:\.[0-9]*)?)(?![0-9,])"
    r"|(?P<decimal>[0-9]+\.?[0-9]*|\.[0-9]+)(?![0-9,])"
)
_UNIT = re.compile(r" *(''|'|\"|[a-z]+)\.?")
_BLANKS = re.compile(r" *")
_JOINT = re.compile(r" *-? *")


class LengthError(ValueError):
    """A length that cannot be read: what was `read`, what was `expected`, and the `position` in the text (from 0)."""

    def __init__(self, read: object, expected: str, position: int = 0) -> None:
        self.read = read
        self.expected = expected
        self.position = position
        super().__init__(f"read {read!r}, expected {expected}")


@dataclass(frozen=True)
class _Term:
    value: Fraction
    unit: str | None
    is_fraction: bool  # 5/8 or 5 5/8
    is_whole: bool
    at: int


def read(value: object, unit: str = "in") -> float:
    """A length [in] from a number in `unit` ("in", "ft", "mm", "m") or from text in any form that a crew writes.

    Bare text is in `unit`; a fraction or a quote mark without a unit means inches (and feet); a leading - is a sign.
    Text is read exactly and rounded once, to the nearest float. Raises LengthError.
    """
    if isinstance(value, str):
        return float(_read_text(value, unit))
    if isinstance(value, bool) or not isinstance(value, (int, float)):
        raise LengthError(value, _EXPECTED)
    if isinstance(value, float) and not math.isfinite(value):
        raise LengthError(value, "a finite number")
    try:
        # 25.4 means the decimal that was written, not the binary number nearest to it.
        return float(Fraction(repr(value) if isinstance(value, float) else value) * _INCHES[unit])
    except OverflowError:
        raise LengthError(value, "a length that fits on a roof") from None


def _read_text(text: str, unit: str) -> Fraction:
    if len(text) > _LONGEST_TEXT:
        raise LengthError(text[:_LONGEST_TEXT] + "…", f"{_EXPECTED}, at most {_LONGEST_TEXT} characters", _LONGEST_TEXT)
    plain, origin = _plain(text)
    body = plain.lstrip()
    start = len(plain) - len(body)
    sign = -1 if body.startswith("-") else 1
    if body[:1] in ("-", "+"):
        start += 1
    terms = _terms(text, plain, origin, start)
    return sign * _sum(text, terms, unit)


def _plain(text: str) -> tuple[str, list[int]]:
    """The text in plain marks and lower case, and for each of its characters the place it came from."""
    plain: list[str] = []
    origin: list[int] = []
    for place, char in enumerate(text):
        simple = _PLAIN.get(char) or (" " if char.isspace() else char.lower())
        plain.extend(simple)
        origin.extend([place] * len(simple))
    while plain and plain[-1] == " ":
        plain.pop()
    return "".join(plain), [*origin, len(text)]


def _terms(text: str, plain: str, origin: list[int], start: int) -> list[_Term]:
    terms: list[_Term] = []
    place = start
    while place < len(plain) or not terms:
        # A dash may join feet to inches (12'-3"); before the first term only blanks stand.
        place = (_JOINT if terms else _BLANKS).match(plain, place).end()  # type: ignore[union-attr]
        number = _NUMBER.match(plain, place)
        if number is None:
            raise LengthError(text, _EXPECTED, origin[place])
        value, is_fraction = _number(text, number, origin)
        is_whole = not is_fraction and value.denominator == 1 and "." not in number.group()
        word = _UNIT.match(plain, number.end())
        if word is not None and word.group(1) not in _WORDS:
            raise LengthError(text, "a unit: in, ft, mm, cm or m, or the marks ' and \"", origin[word.start(1)])
        terms.append(_Term(value, _WORDS[word.group(1)] if word else None, is_fraction, is_whole, origin[place]))
        place = word.end() if word else number.end()
    return terms


def _number(text: str, number: re.Match[str], origin: list[int]) -> tuple[Fraction, bool]:
    if number["bottom"] is None:
        return Fraction((number["grouped"] or number["decimal"]).replace(",", "").rstrip(".")), False
    top, bottom = int(number["top"]), int(number["bottom"])
    if bottom == 0:
        raise LengthError(text, "a fraction with something under the line", origin[number.start("bottom")])
    if number["whole"] is None:
        return Fraction(top, bottom), True
    if top >= bottom:
        raise LengthError(text, "a fraction under one inch after whole inches", origin[number.start("top")])
    return int(number["whole"]) + Fraction(top, bottom), True


def _sum(text: str, terms: list[_Term], unit: str) -> Fraction:
    first, *rest = terms
    if not rest:
        if first.is_fraction and first.unit in ("mm", "cm", "m"):
            raise LengthError(text, "a decimal number with a metric unit; a fraction means inches", first.at)
        return first.value * _INCHES[first.unit or ("in" if first.is_fraction else unit)]
    total = Fraction(0)
    if first.unit == "ft":
        if not first.is_whole:
            raise LengthError(text, "whole feet before inches", first.at)
        total, (first, *rest) = first.value * 12, rest
        if first.unit not in (None, "in"):
            raise LengthError(text, "inches after feet", first.at)
        if first.value >= 12:
            raise LengthError(text, "less than 12 inches after feet", first.at)
    total += first.value
    if not rest:
        return total
    # 12' 3" 1/2 is written too: whole inches with their mark, then a fraction alone.
    last = rest[0]
    fits = first.is_whole and first.unit == "in" and last.is_fraction and last.value < 1 and last.unit in (None, "in")
    if not fits or len(rest) > 1:
        raise LengthError(text, _EXPECTED, last.at)
    return total + last.value


def write(inches: float, denominator: int = 16, feet: bool = False) -> str:
    """The nearest 1/`denominator` inch in lowest terms, without a mark ("3 1/8"), or with `feet` as 14'-3 1/4".

    Ties go to the larger (the deeper cut), also where binary arithmetic left a tie a hair below itself; a negative
    length is its positive one with a sign. Raises LengthError for a number that is not finite.
    """
    if not math.isfinite(inches):
        raise LengthError(inches, "a finite number")
    # a float times a power of two is exact, and dust of 1e-7 steps is more than any other denominator loses
    steps = math.floor(abs(inches) * denominator + 0.5 + 1e-7)
    sign = "-" if inches < 0 and steps else ""
    if not feet:
        return sign + _mixed(steps, denominator)
    whole, left = divmod(steps, 12 * denominator)
    return f"{sign}{whole}'-{_mixed(left, denominator)}\""


def _mixed(steps: int, denominator: int) -> str:
    whole, part = divmod(steps, denominator)
    if not part:
        return str(whole)
    shared = math.gcd(part, denominator)
    return f"{whole} " * bool(whole) + f"{part // shared}/{denominator // shared}"


def sixteenths(inches: float) -> str:
    """A cut-sheet station: the nearest 1/16 in, ties to the deeper, lowest terms, always in inches."""
    return write(inches, 16)
