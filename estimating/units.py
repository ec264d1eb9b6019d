"""Units of measure by their UN/ECE codes, and exact conversion between how a thing is bought and how it is used."""
from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from typing import Literal

Number = int | Decimal | Fraction
Status = Literal["active", "deprecated", "deleted"]


class UnitError(ValueError):
    """What was read is no unit that can be used; says what was expected."""

    def __init__(self, read: str, expected: str) -> None:
        self.read, self.expected = read, expected
        super().__init__(f"{read!r} was read; expected {expected}")


class UnknownUnit(UnitError):
    """No such code, or one that is deleted, deprecated or means something else."""


class CannotConvert(UnitError):
    """The two units measure different things and nothing given joins them."""


@dataclass(frozen=True)
class Unit:
    """One code. `factor` of the dimension's own unit make one of it; `instead` names the code to use in its place."""

    code: str
    name: str
    dimension: str
    factor: Fraction = Fraction(1)
    status: Status = "active"
    instead: str = ""


@dataclass(frozen=True)
class Piece:
    """One piece of uniform section, lumber by its nominal thickness and width. [in]"""

    length: Decimal
    thickness: Decimal | None = None
    width: Decimal | None = None

    def __post_init__(self) -> None:
        for what in ("length", "thickness", "width"):
            value = getattr(self, what)
            if value is not None and not (exact(value) > 0):
                raise CannotConvert(str(value), f"a {what} of a piece above 0 in")


@dataclass(frozen=True)
class Pack:
    """One package `code` holds `quantity` of `unit`, such as a box of 175 pieces."""

    code: str
    quantity: Decimal
    unit: str

    def __post_init__(self) -> None:
        if not (exact(self.quantity) > 0):
            raise CannotConvert(str(self.quantity), "a pack quantity above 0")


def _table() -> Iterator[Unit]:
    # UN/ECE Recommendation 20 rev. 17 (2021), annex; packages from Recommendation 21 with the prefix X. Names are our
    # own: the annex swaps the descriptions of BFT and WCD.
    foot = Fraction("0.3048")  # international foot, exactly [m]
    yield Unit("EA", "each", "count")
    yield Unit("C62", "one", "count")
    yield Unit("H87", "piece", "count")
    yield Unit("PR", "pair", "count", Fraction(2))
    yield Unit("CEN", "hundred", "count", Fraction(100))
    yield Unit("MIL", "thousand", "count", Fraction(1000))
    yield Unit("T3", "thousand pieces", "count", Fraction(1000))
    yield Unit("FOT", "foot", "length", foot)
    yield Unit("LF", "linear foot", "length", foot)
    yield Unit("INH", "inch", "length", foot / 12)
    yield Unit("MTR", "metre", "length")
    yield Unit("LM", "linear metre", "length")
    yield Unit("FTK", "square foot", "area", foot**2)
    yield Unit("SQR", "roofing square", "area", 100 * foot**2)
    yield Unit("MTK", "square metre", "area")
    yield Unit("YDQ", "cubic yard", "volume", (3 * foot) ** 3)
    yield Unit("MTQ", "cubic metre", "volume")
    yield Unit("QTL", "liquid quart (US)", "liquid", Fraction(1, 4))
    yield Unit("GLL", "gallon (US)", "liquid")
    yield Unit("ONZ", "ounce", "mass", Fraction(1, 16))
    yield Unit("LBR", "pound", "mass")
    yield Unit("CWA", "hundredweight (US)", "mass", Fraction(100))
    yield Unit("BFT", "board foot", "board measure")
    yield Unit("BP", "hundred board feet", "board measure", Fraction(100))
    yield Unit("MBF", "thousand board feet", "board measure", Fraction(1000))
    # What follows has no fixed size in anything else: a day's hours and a kit's contents are the seller's.
    for code, name in {
        "HUR": "hour", "DAY": "day", "WEE": "week", "MON": "month", "LS": "lump sum", "E51": "job", "LO": "lot",
        "SET": "set", "KT": "kit", "P1": "per cent", "XBX": "box", "XRO": "roll", "XPK": "pack", "XCT": "carton",
        "XBE": "bundle", "XCA": "can", "XST": "sheet", "XPX": "pallet",
    }.items():
        yield Unit(code, name, code)
    for code, name, instead in [
        ("BX", "box", "XBX"), ("RO", "roll", "XRO"), ("PK", "pack", "XPK"), ("CT", "carton", "XCT"),
        ("BE", "bundle", "XBE"), ("CA", "can", "XCA"), ("ST", "sheet", "XST"), ("PF", "pallet", "XPX"),
        ("TS", "thousand square feet", "FTK"), ("CY", "cylinder", "YDQ if a cubic yard is meant"),
    ]:
        yield Unit(code, name, code, status="deleted", instead=instead)
    yield Unit("QT", "quart", "QT", status="deprecated", instead="QTL")
    yield Unit("OZ", "ounce", "OZ", status="deprecated", instead="ONZ")
    yield Unit("SHT", "shipping ton", "SHT", status="deprecated", instead="XST if a sheet is meant")
    yield Unit("CTN", "content ton", "CTN", instead="XCT if a carton is meant")


UNITS: dict[str, Unit] = {unit.code: unit for unit in _table()}
PACKAGES = frozenset(code for code in UNITS if re.fullmatch("X[A-Z]{2}", code))

# What suppliers write where a code is wanted; named in the refusal, never taken.
_OFTEN_MEANT = {
    "LFT": "LF", "FT": "FOT", "SF": "FTK", "SQ": "SQR", "M": "MIL (thousand) or MTR (metre)", "RL": "XRO", "GL": "GLL",
    "GAL": "GLL", "LB": "LBR", "HR": "HUR", "BF": "BFT", "PC": "H87", "PCS": "H87", "BOX": "XBX", "YD3": "YDQ",
}


def unit(code: str) -> Unit:
    """The unit that a price or a quantity may stand in.

    Raises UnknownUnit where `code` is not listed, is deleted or deprecated, or is known to be taken for another; the
    message names the code to use instead where there is one. Codes are compared as written, letter for letter.
    """
    found = UNITS.get(code)
    if found is not None and not found.instead:
        return found
    if found is not None:
        word = "" if found.status == "active" else f"{found.status} in UN/ECE Rec 20 rev. 17; "
        raise UnknownUnit(code, f"{found.instead} ({word}{code} is a {found.name})")
    meant = _OFTEN_MEANT.get(code.strip().upper()) or (code.strip().upper() if code.strip().upper() in UNITS else "")
    hint = f", perhaps {meant}" if meant else ""
    raise UnknownUnit(code, f"a unit code of UN/ECE Rec 20 or Rec 21{hint}")


def exact(value: Number) -> Fraction:
    """`value` as a fraction, nothing lost. Raises TypeError for a float, UnitError for NaN or infinity."""
    if isinstance(value, bool) or not isinstance(value, int | Decimal | Fraction):
        raise TypeError(f"{value!r} is {type(value).__name__}; expected int, Decimal or Fraction")
    if isinstance(value, Decimal) and not value.is_finite():
        raise UnitError(str(value), "a finite number")
    return Fraction(value)


def board_feet(piece: Piece) -> Fraction:
    """Board measure of one piece. [BFT]

    Nominal thickness x width x length / 144 [in]; stock under 1 in thick counts as 1 in (Navy Engineering Aid Basic,
    ch. 6). Raises CannotConvert where thickness or width is not given.
    """
    if piece.thickness is None or piece.width is None:
        raise CannotConvert(f"a piece of {piece.length} in", "its nominal thickness and width, for board measure")
    return max(exact(piece.thickness), Fraction(1)) * exact(piece.width) * exact(piece.length) / 144


def convert(quantity: Number, source: str, target: str, *, piece: Piece | None = None,
            pack: Pack | None = None) -> Fraction:
    """`quantity` of `source` in `target`, exact.

    `piece` joins pieces with lengths and board measure, `pack` joins a package with what it holds. Inverts exactly.

    Raises
    ------
    UnknownUnit
        If a code is not one to use.
    CannotConvert
        If nothing given joins the two; the message says what would.
    """
    start, end = unit(source), unit(target)
    amount = exact(quantity) * start.factor
    rate = _rate(start.dimension, end.dimension, piece, pack)
    if rate is None:
        needs = _what_would_join(start, end, piece, pack)
        raise CannotConvert(f"{source} ({start.name}) for {target} ({end.name})", needs)
    return amount * rate / end.factor


def _rate(start: str, end: str, piece: Piece | None, pack: Pack | None) -> Fraction | None:
    """How much of dimension `end` one of `start` is, along the bridges that are given; None without a way."""
    bridges: list[tuple[str, str, Fraction]] = []
    if piece is not None:
        bridges.append(("count", "length", exact(piece.length) * UNITS["INH"].factor))
        if piece.thickness is not None and piece.width is not None:
            bridges.append(("count", "board measure", board_feet(piece)))
    if pack is not None:
        package, held = unit(pack.code), unit(pack.unit)
        if package.dimension != held.dimension:
            bridges.append((package.dimension, held.dimension, exact(pack.quantity) * held.factor / package.factor))
    reached, frontier = {start: Fraction(1)}, [start]
    while frontier and end not in reached:
        here = frontier.pop()
        for a, b, rate in bridges:
            for near, far, times in ((a, b, rate), (b, a, 1 / rate)):
                if near == here and far not in reached:
                    reached[far] = reached[here] * times
                    frontier.append(far)
    return reached.get(end)


def _what_would_join(start: Unit, end: Unit, piece: Piece | None, pack: Pack | None) -> str:
    dimensions = {start.dimension, end.dimension}
    packages = dimensions & PACKAGES
    if packages and (pack is None or pack.code not in packages):
        return f"how much one {UNITS[min(packages)].name} holds"
    if dimensions & {"board measure"} and (piece is None or piece.thickness is None or piece.width is None):
        return "the nominal thickness, width and length of a piece"
    if dimensions == {"count", "length"} and piece is None:
        return "the length of a piece"
    return f"a unit of the same kind as {end.code}"
