"""Rows of a supplier's file as prices, or as rejections with every reason; pure.

A fault in the file as a whole refuses it; a fault in a row keeps that row out, with its line and the reason. Every row
below the header is a price, a rejection or blank.
"""

import hashlib
import re
import unicodedata
from collections import defaultdict
from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal
from functools import lru_cache
from typing import NamedTuple

from estimating import money, units
from estimating.models import Price
from estimating.price_columns import OWN, Header, Reading, discounted, find_header
from estimating.price_files import (
    MOST_ROWS,
    Cell,
    FileFault,
    FileRefused,
    Number,
    Odd,
    is_blank,
    is_workbook,
    lines_of,
    marked_encoding,
    text_of,
)

MOST_FAULTS_TOLD = 100
DUPLICATE = "duplicate-sku"
LONGEST_LEAD = 3_650  # days

Report = Callable[[int], None]  # is told how many rows were read, now and then
TELL_EVERY = 5_000  # rows


class PriceRow(NamedTuple):
    """A row as a price, before it belongs to a version; the fields of `Price` by the same names."""

    line: int
    sku: str
    description: str
    supplier_unit: str
    unit: str
    pack_quantity: Decimal | None
    base_unit: str
    price: Decimal
    list_price: Decimal | None
    freight: Decimal | None
    minimum_order: Decimal | None
    lead_days: int | None
    superseded_by: str
    tier: str
    note: str
    currency: str
    basis: str
    valid_from: date
    valid_to: date | None
    status: str


class Rejection(NamedTuple):
    """A row that is no price: where, why, and its cells as read. `column` and `code` are those of its first fault.

    `as_price` is what the row would be where nothing but another row stands against it.
    """

    line: int
    sku: str
    column: str
    code: str
    reason: str
    cells: tuple[str, ...]
    as_price: PriceRow | None = None


@dataclass(frozen=True)
class PriceFile:
    """What a file holds: prices and rejections, both in the file's order; with the blank rows they are all of it."""

    sha256: str
    headings: tuple[str, ...]
    line_count: int
    blank_count: int
    prices: tuple[PriceRow, ...]
    rejected: tuple[Rejection, ...]


def read_price_file(
    content: bytes, *, currency: str, reading: Reading = OWN, report: Report = lambda rows: None
) -> PriceFile:
    """Read a price list file; pure.

    `currency` is the one that this installation keeps (ISO 4217); rows in another are rejected. Raises FileRefused
    where the file as a whole is not a price list: over the limits, not text in the encoding said, a header without the
    reading's headings, no rows, cut off in its last line, or not one row that can be used.
    """
    _check_own(content, reading)
    header, rows = _open(content, reading)
    reader = RowReader(header, reading, currency, exact_width=not is_workbook(content))
    prices: list[PriceRow] = []
    rejected: list[Rejection] = []
    blank, ends_short = 0, False
    for line, cells in rows:
        if is_blank(cells):
            blank += 1
            continue
        row = reader.read(line, cells)
        ends_short = False
        if isinstance(row, PriceRow):
            prices.append(row)
        else:
            rejected.append(row)
            ends_short = row.code == SHIFTED
        count = len(prices) + len(rejected)
        if count > MOST_ROWS:
            raise FileRefused(FileFault(line, f"more than {MOST_ROWS} rows", f"at most {MOST_ROWS}"), too_large=True)
        if count % TELL_EVERY == 0:
            report(count)
    count = len(prices) + len(rejected)
    if not count:
        raise FileRefused(FileFault(0, "a header and no rows", "at least one row of prices"))
    if ends_short and not content.endswith((b"\n", b"\r", b"\n\x00", b"\r\x00")):
        last = rejected[-1]
        expected = "a whole row; the file seems to be cut off"
        raise FileRefused(FileFault(last.line, ",".join(last.cells)[:200], expected))
    if clashing := clashes(prices, packs_apart=reading.packs_apart):
        by_line = {price.line: price for price in prices if price.line in clashing}
        prices = [price for price in prices if price.line not in clashing]
        for line, cells in _open(content, reading)[1]:
            if line in clashing:
                code, reason = clashing[line]
                held = by_line[line] if code == DUPLICATE else None
                rejected.append(Rejection(line, by_line[line].sku, "sku", code, reason, _texts(cells), held))
        rejected.sort(key=lambda rejection: rejection.line)
    if not prices:
        raise FileRefused(*(
            FileFault(r.line, ",".join(r.cells)[:200], f"a row that can be used: {r.reason}")
            for r in rejected[:MOST_FAULTS_TOLD]
        ))
    return PriceFile(
        hashlib.sha256(content).hexdigest(), header.headings, count, blank, tuple(prices), tuple(rejected)
    )


def _open(content: bytes, reading: Reading) -> tuple[Header, Iterator[tuple[int, Sequence[Cell]]]]:
    lines = lines_of(content, encoding=reading.encoding, delimiter=reading.delimiter, sheet=reading.sheet)
    return find_header(lines, reading), lines


def _check_own(content: bytes, reading: Reading) -> None:
    """Our own columns are UTF-8; another encoding's mark is a sign of another format."""
    if reading is OWN and marked_encoding(content) not in ("", "utf-8-sig"):
        raise FileRefused(FileFault(1, f"byte 0x{content[0]:02x}", "text in UTF-8"))


def _texts(cells: Sequence[Cell]) -> tuple[str, ...]:
    return tuple(cell if isinstance(cell, str) else str(cell) for cell in cells)


# A row

SHIFTED = "shifted"
Faults = list[tuple[str, str, str]]  # column, code, reason
Row = Mapping[str, Cell]
_FOOTER = re.compile(
    r"(grand |sub-? ?)?totals?\b.*|sum:?|end( of (list|file|report))?\.?|page [0-9]+.*|continued.*", re.IGNORECASE
)
_AS_FIGURE = re.compile(r"[0-9]+(\.[0-9]+)?[eE][+-]?[0-9]+")
_SIGNS = {"€": "EUR", "£": "GBP", "¥": "JPY", "₹": "INR", "₽": "RUB", "₩": "KRW"}
APART = ("sku", "description", "price", "list_price")  # what differs from row to row
STATUSES = tuple(Price.Status.values)
MOST_KNOWN = 20_000
_SPACES = str.maketrans("\xa0\u2007\u2009\u202f", "    ")  # spaces that do not break, as programs write them


def _trimmed(cell: Cell) -> Cell:
    return cell.strip() if isinstance(cell, str) else cell


def _teller(row: Row, faults: Faults) -> "Fault":
    """Notes what is wrong with a column of the row."""

    def fault(column: str, code: str, expected: str) -> None:
        read = text_of(row.get(column, ""))[:60]
        faults.append((column, code, f"{column} {read!r} was read; expected {expected}"))

    return fault


def _check_cells(row: Row, fault: "Fault") -> None:
    """No cell may be computed, nor be what a spreadsheet holds in place of a value."""
    for column, cell in row.items():
        if isinstance(cell, Odd):
            fault(column, cell.code, cell.expected)
        elif isinstance(cell, str) and cell[:1] == "=":
            fault(column, "formula", "a plain value, not a formula")


def _text(row: Row, column: str, most: int, fault: "Fault") -> str:
    text = text_of(row.get(column, ""))
    if not text.isprintable():
        text = text.translate(_SPACES)
    if len(text) > most or not text.isprintable():
        fault(column, "odd-text", f"at most {most} printable characters")
    return text


class Rest(NamedTuple):
    """What a row says besides its number, its words and its price, as far as it could be read; and what is wrong."""

    faults: tuple[tuple[str, str, str], ...]
    notes: tuple[str, ...]
    supplier_unit: str
    unit: str
    pack_quantity: Decimal | None
    base_unit: str
    freight: Decimal | None
    minimum_order: Decimal | None
    lead_days: int | None
    superseded_by: str
    tier: str
    basis: str
    valid_from: date
    valid_to: date | None
    status: str


class RowReader:
    """Reads the rows of one file: where its fields stand, how they are written, in which currency.

    Units, packs and days repeat from row to row; each combination of their cells is read once.
    """

    def __init__(self, header: Header, reading: Reading, currency: str, *, exact_width: bool) -> None:
        self.reading, self.currency = reading, currency
        self.width, self.exact_width = len(header.headings), exact_width
        self.own = tuple((name, place) for name, place in header.places.items() if name in APART)
        self.constants: dict[str, Cell] = {name: value for name, value in reading.constants.items() if name in APART}
        self.others = tuple((name, place) for name, place in header.places.items() if name not in APART)
        self.given = frozenset(header.places) | frozenset(reading.constants)
        self.number = _number_pattern(reading)
        self.drop = reading.thousands
        self.known: dict[tuple[Cell, ...], Rest] = {}

    def read(self, line: int, cells: Sequence[Cell]) -> PriceRow | Rejection:
        """The row as a price, or every reason why it is none."""
        if len(cells) != self.width:
            extra = cells[self.width:]
            if not is_blank(extra) or (self.exact_width and len(cells) < self.width):
                expected = f"{self.width}, one for each column"
                reason = f"{len(cells)} cells were read; expected {expected}"
                return Rejection(line, "", "", SHIFTED, reason, _texts(cells))
            cells = [*cells, *[""] * (self.width - len(cells))]
        key = tuple([cells[place] for _, place in self.others])
        rest = self.known.get(key)
        if rest is None:
            if len(self.known) > MOST_KNOWN:
                self.known.clear()
            rest = self.known[key] = self._read_rest(key)
        faults: Faults = []
        row = self.constants.copy()
        for name, place in self.own:
            cell = cells[place]
            row[name] = cell.strip() if isinstance(cell, str) else cell
        price = self._price(line, row, rest, faults)
        if price is not None:
            return price
        column, code, _ = faults[0]
        reason = "; ".join(reason for _, _, reason in faults)
        return Rejection(line, text_of(row["sku"])[:60], column, code, reason, _texts(cells))

    def _price(self, line: int, row: dict[str, Cell], rest: Rest, faults: Faults) -> PriceRow | None:
        """The row, given what stands apart in it."""
        fault = _teller(row, faults)
        for cell in row.values():
            if cell[:1] == "=" if isinstance(cell, str) else True:
                _check_cells(row, fault)
                break
        sku = _sku(row["sku"], fault)
        description = _text(row, "description", 200, fault)
        notes: list[str] = []
        listed = self._amount(row, "list_price", fault, notes) if row.get("list_price", "") != "" else None
        if not self.reading.discount:
            price = self._amount(row, "price", fault, notes)
        elif listed is not None:
            price = money.rounded(discounted(listed, self.reading.discount), 4)
            notes.append(f"list {listed} less {self.reading.discount} %")
            if not price:
                fault("list_price", "zero-price", "a list price that leaves a net one above 0")
        else:
            price = None
            if not faults:
                fault("list_price", "no-price", "an amount; the cell is blank")
        if price is not None and listed is not None and price > listed:
            fault("list_price", "net-above-list", f"at least the net price {price}")
        faults += rest.faults
        if faults:
            return None
        assert price is not None
        return PriceRow(
            line, sku, description, rest.supplier_unit, rest.unit, rest.pack_quantity, rest.base_unit, price, listed,
            rest.freight, rest.minimum_order, rest.lead_days, rest.superseded_by, rest.tier,
            "; ".join((*notes, *rest.notes))[:200] if notes or rest.notes else "",
            self.currency, rest.basis, rest.valid_from, rest.valid_to, rest.status,
        )  # fmt: skip

    def _read_rest(self, cells: tuple[Cell, ...]) -> Rest:
        row: dict[str, Cell] = {
            name: _trimmed(cell) for (name, _), cell in zip(self.others, cells, strict=True)
        }
        row |= {name: value for name, value in self.reading.constants.items() if name not in APART}
        faults: Faults = []
        notes: list[str] = []
        fault = _teller(row, faults)
        _check_cells(row, fault)
        said = _text(row, "supplier_uom", 20, fault)
        if text_of(row["currency"]) != self.currency:
            fault("currency", "currency", f"{self.currency}, the one currency kept here")
        pack = self._optional(row, "pack_qty", fault, notes)
        unit, base = self._check_units(row, said, pack, fault)
        basis = _text(row, "price_basis", 60, fault)
        first = self._date(row, "valid_from", fault)
        last = self._date(row, "valid_to", fault) if row.get("valid_to", "") != "" else None
        if first and last and last < first:
            fault("valid_to", "dates", f"a day not before valid_from {first}")
        status = text_of(row["status"]) if "status" in self.given else "active"
        status = self.reading.statuses.get(status, status)
        if status not in STATUSES:
            fault("status", "status", " or ".join(STATUSES))
        freight = self._optional(row, "freight", fault, notes, zero=True)
        least = self._optional(row, "minimum_order", fault, notes)
        lead = self._optional(row, "lead_days", fault, notes, zero=True)
        if lead is not None and (lead != int(lead) or lead > LONGEST_LEAD):
            fault("lead_days", "odd-lead_days", f"whole days, at most {LONGEST_LEAD}")
        after, tier = _text(row, "superseded_by", 60, fault), _text(row, "tier", 40, fault)
        return Rest(
            tuple(faults), tuple(notes), said, unit, pack, base, freight, least, None if lead is None else int(lead),
            after, tier, basis, first or date.min, last, status,
        )  # fmt: skip

    def _optional(
        self, row: Row, column: str, fault: "Fault", notes: list[str], *, zero: bool = False
    ) -> Decimal | None:
        if row.get(column, "") == "":
            return None
        return self._amount(row, column, fault, notes, digits=11 if column == "freight" else 8, zero=zero)

    def _amount(
        self, row: Row, column: str, fault: "Fault", notes: list[str], *, digits: int = 11, zero: bool = False
    ) -> Decimal | None:
        cell = row[column]
        if isinstance(cell, str):
            if not cell:
                return fault(column, f"no-{column}", "an amount; the cell is blank")
            value = self._written(cell, digits)
        elif isinstance(cell, Number):
            value = cell.value if _fits(cell.value, digits) else None
            if cell.note and value is not None:
                notes.append(f"{column} {cell.note}")
            stands_in = _SIGNS.get(cell.currency, cell.currency)
            if stands_in and stands_in != self.currency:
                return fault(column, "currency", f"an amount in {self.currency}, not shown in {stands_in}")
        else:
            value = None
        if value is None:
            return fault(column, f"odd-{column}", _expected_number(self.reading))
        if not value and not zero:
            return fault(column, f"zero-{column}", "an amount above 0")
        return value

    def _written(self, text: str, digits: int) -> Decimal | None:
        found = self.number.fullmatch(text.translate(_SPACES) if not text.isascii() else text)
        if found is None:
            return None
        whole = found[1].replace(self.drop, "") if self.drop else found[1]
        if len(whole) > digits:
            return None
        return Decimal(f"{whole}.{found[2]}" if found[2] else whole)

    def _date(self, row: Row, column: str, fault: "Fault") -> date | None:
        cell = row[column]
        found: date | None = None
        if isinstance(cell, date):
            return cell
        if isinstance(cell, str):
            found = _written_date(cell, self.reading.dates)
        elif isinstance(cell, Number) and self.reading.dates == "serial":
            found = _serial_date(cell.value)
        if found is None:
            fault(column, "date", _EXPECTED_DATE[self.reading.dates])
        return found

    def _check_units(self, row: Row, said: str, pack: Decimal | None, fault: "Fault") -> tuple[str, str]:
        """The code of the buying unit and of what it holds; they and whatever else the row says must agree."""
        words = self.reading.words
        written = text_of(row["rec20"]) if "rec20" in self.given else said
        column = "rec20" if "rec20" in self.given else "supplier_uom"
        code = words.get(written, written)
        if "base_unit" in self.given:
            base = text_of(row["base_unit"])
            # The supplier's own word for the buying unit stands for that unit's code.
            base = code if base == said and base not in units.UNITS else words.get(base, base)
        else:
            base = "" if code in units.PACKAGES else code
        basis = text_of(row.get("price_basis", ""))
        packed = row.get("pack_qty", "") != ""
        for place, kind, expected in _unit_faults(code, base, said if column == "rec20" else "", basis, pack, packed):
            fault(column if place == "rec20" else place, kind, expected)
        return code, base


Fault = Callable[[str, str, str], None]  # column, code, expected


def _sku(cell: Cell, fault: Fault) -> str:
    """The supplier's number of the item, letter for letter."""
    if isinstance(cell, Number):
        if cell.note or cell.value != cell.value.to_integral_value() or not 0 <= cell.value < 10**11:
            fault("sku", "sku-as-number", "the number as text; the spreadsheet keeps it as a figure")
        return cell.shown
    sku = text_of(cell)
    if isinstance(cell, date):
        fault("sku", "sku-as-number", "the number as text; the spreadsheet has turned it into a day")
    elif not sku:
        fault("sku", "no-sku", "the supplier's number of the item")
    elif _AS_FIGURE.fullmatch(sku):
        fault("sku", "sku-as-number", "the number as the supplier writes it; a spreadsheet has turned it into a figure")
    elif len(sku) > 60 or not sku.isprintable() or sku[0] in "+-@" or re.search("[‘’“”]", sku):
        fault("sku", "odd-sku", "at most 60 printable characters, not opening with + - @, no typographic quotes")
    elif not sku.isascii() and (strange := _strange_letters(sku)):
        fault("sku", "odd-sku", f"letters of the Latin alphabet in their plain form, not {strange}")
    elif _FOOTER.fullmatch(sku):
        fault("sku", "footer", "an item, not a line about the list")
    return sku


def _strange_letters(sku: str) -> str:
    """The names of what only looks like a Latin letter or a figure."""
    strange = [
        char for char in sku
        if not char.isascii() and (
            unicodedata.normalize("NFKC", char) != char
            or (char.isalpha() and not unicodedata.name(char, "").startswith("LATIN"))
            or char.isdigit()
        )
    ]
    return ", ".join(dict.fromkeys(unicodedata.name(char, f"U+{ord(char):04X}") for char in strange))[:120]


@lru_cache(maxsize=20)
def _pattern(decimal: str, thousands: str, symbol: str) -> re.Pattern[str]:
    whole = "[0-9]+" if not thousands else f"[0-9]+|[0-9]{{1,3}}(?:{re.escape(thousands)}[0-9]{{3}})+"
    sign = f"(?:{re.escape(symbol)})?" if symbol else ""
    return re.compile(rf"{sign} ?({whole})(?:{re.escape(decimal)}([0-9]{{1,4}}))? ?{sign}" if symbol
                      else rf"({whole})(?:{re.escape(decimal)}([0-9]{{1,4}}))?")


def _number_pattern(reading: Reading) -> re.Pattern[str]:
    return _pattern(reading.decimal, reading.thousands, reading.symbol)


def _expected_number(reading: Reading) -> str:
    if reading is OWN:
        return "digits with a point and at most four decimals, no separators, like 1320.00"
    like = f"1{reading.thousands}320{reading.decimal}00"
    return f"digits and at most four decimals, like {like}, as the list's reading has it"


def _fits(value: Decimal, digits: int) -> bool:
    exponent = int(value.normalize().as_tuple().exponent)
    return value >= 0 and exponent >= -4 and value < 10**digits


_EXPECTED_DATE = {
    "ymd": "a date as 2026-03-01", "mdy": "a date as 03/01/2026, month first", "dmy": "a date as 01.03.2026, day first",
    "serial": "a spreadsheet's number of a day, from 1990 on",
}  # fmt: skip


@lru_cache(maxsize=10_000)
def _written_date(text: str, order: str) -> date | None:
    if order == "ymd":
        # Only with dashes: 2026/03/01 is nobody's standard, and 2026-3-1 may be cut short.
        parts = re.fullmatch(r"([0-9]{4})-([0-9]{2})-([0-9]{2})", text)
        ymd = parts and (parts[1], parts[2], parts[3])
    elif order in ("mdy", "dmy"):
        parts = re.fullmatch(r"([0-9]{1,2})([-/.])([0-9]{1,2})\2([0-9]{4})", text)
        ymd = parts and ((parts[4], parts[1], parts[3]) if order == "mdy" else (parts[4], parts[3], parts[1]))
    else:
        return _serial_date(Decimal(text)) if re.fullmatch("[0-9]{5,6}", text) else None
    try:
        return date(*map(int, ymd)) if ymd else None
    except ValueError:
        return None


def _serial_date(value: Decimal) -> date | None:
    """The day of a spreadsheet's number: days since 1899-12-30 (ECMA-376 part 1, 18.17.4.1, base 1900)."""
    whole = value == value.to_integral_value() and 32_874 <= value < 110_000  # 1990 to 2201
    return date(1899, 12, 30) + timedelta(days=int(value)) if whole else None


@lru_cache(maxsize=20_000)
def _unit_faults(
    code: str, base_code: str, said: str, basis: str, pack: Decimal | None, packed: bool
) -> tuple[tuple[str, str, str], ...]:
    """(column, code, expected) of whatever does not agree about a row's units."""
    faults: list[tuple[str, str, str]] = []
    found: dict[str, units.Unit] = {}
    if code in units.PACKAGES and not base_code:
        faults.append(("base_unit", "unit", f"what one {units.UNITS[code].name} holds: EA, LF, FTK"))
    for column, written in (("rec20", code), ("base_unit", base_code or code)):
        try:
            found[column] = units.unit(written)
        except units.UnknownUnit as unknown:
            if column == "rec20" or base_code != code:
                faults.append((column, "unit", unknown.expected))
    if len(found) < 2 or not base_code:
        return tuple(faults)
    bought, base = found["rec20"], found["base_unit"]
    if bought.code in units.PACKAGES and not packed:
        faults.append(("pack_qty", "no-pack_qty", f"how many {base.code} one {bought.name} holds"))
    if base.code in units.PACKAGES:
        faults.append(("base_unit", "unit", "what the package holds, not a package"))
    if pack is not None:
        if bought.dimension == base.dimension:
            held = bought.factor / base.factor
            if held != units.exact(pack):
                faults.append(("pack_qty", "pack", f"{held} or nothing: one {bought.code} is {held} {base.code}; "
                               "a box, roll or pack has a code of its own (XBX, XRO, XPK)"))
        elif bought.code not in units.PACKAGES and bought.dimension != "count":
            faults.append(("pack_qty", "pack", f"nothing: {bought.code} ({bought.name}) is a measure and no package"))
    per = re.fullmatch(r"per ([A-Z0-9]{2,3})", basis)
    for column, word in (("supplier_uom", said), ("price_basis", per[1] if per else "")):
        other = units.UNITS.get(word)
        if other and not other.instead and (other.dimension, other.factor) != (bought.dimension, bought.factor):
            faults.append((column, "units-disagree", f"the unit of column rec20, {bought.code} ({bought.name})"))
    return tuple(faults)


# Rows against each other


def clashes(prices: Collection[PriceRow | Price], *, packs_apart: bool = False) -> dict[int, tuple[str, str]]:
    """Lines whose SKU has another price on the same day in the same tier, with the reason.

    Two rows clash when their dates overlap, but not when a later row in the same unit and pack follows one that is
    open-ended: from its first day on, that supersedes. A row said twice word for word stands once. With `packs_apart`
    the supplier sells one SKU in several packs, each with a price of its own.
    """
    by_key: dict[tuple, PriceRow | Price | list] = {}
    several: set[tuple] = set()
    for price in prices:
        key = (price.sku, price.tier, *_sold(price)) if packs_apart else (price.sku, price.tier)
        first = by_key.setdefault(key, price)
        if first is not price:
            if key in several:
                first.append(price)  # type: ignore[union-attr]
            else:
                by_key[key] = [first, price]
                several.add(key)
    clashing: dict[int, tuple[str, str]] = {}
    for key in several:
        clashing |= _clashes_among(by_key[key], key[0])  # type: ignore[arg-type]
    return clashing


def _clashes_among(rows: list, sku: str) -> dict[int, tuple[str, str]]:
    """As `clashes`, of the rows of one SKU."""
    clashing: dict[int, tuple[str, str]] = {}
    once: dict[tuple, PriceRow | Price] = {}
    for row in rows:
        first = once.setdefault(_said(row), row)
        if first is not row:
            clashing[row.line] = ("repeated", f"the same as line {first.line}, word for word")
    others: dict[int, list] = defaultdict(list)
    kept = sorted(once.values(), key=lambda row: (row.valid_from, row.line))
    if len(kept) > MOST_OF_ONE:
        return {row.line: (DUPLICATE, f"{sku} has {len(kept)} prices; expected at most {MOST_OF_ONE}") for row in rows}
    for i, a in enumerate(kept):
        for b in kept[i + 1:]:
            if a.valid_to is not None and b.valid_from > a.valid_to:
                continue
            if a.valid_to is None and b.valid_from > a.valid_from and _sold(a) == _sold(b):
                continue
            if len(others[a.line]) < MOST_RIVALS or len(others[b.line]) < MOST_RIVALS:
                others[a.line].append(b)
                others[b.line].append(a)
    for line, rivals in others.items():
        if rivals:
            named = ", ".join(f"line {r.line} ({r.price} per {r.unit})" for r in rivals[:MOST_RIVALS])
            clashing[line] = (DUPLICATE, f"{sku} has another price on the same days: {named}; keep one of them")
    return clashing


MOST_RIVALS = 5  # that a reason names
MOST_OF_ONE = 500  # rows of one SKU and tier: comparing them all takes their square


def _sold(price: PriceRow | Price) -> tuple:
    return price.unit, price.pack_quantity, price.base_unit


def _said(price: PriceRow | Price) -> tuple:
    """What a row says, its place and what was noted of it apart."""
    return (
        *_sold(price), price.description, price.price, price.list_price, price.freight, price.minimum_order,
        price.lead_days, price.superseded_by, price.valid_from, price.valid_to, price.status,
    )  # fmt: skip


def as_json(price: PriceRow) -> dict[str, object]:
    """A row as plain JSON, to be read back by `from_json`."""
    return {
        name: value if value is None or isinstance(value, str | int) else str(value)
        for name, value in price._asdict().items()
    }


def from_json(document: Mapping[str, object]) -> PriceRow:
    """The row that `as_json` wrote."""
    values = dict(document)
    for name in ("pack_quantity", "price", "list_price", "freight", "minimum_order"):
        if values[name] is not None:
            values[name] = Decimal(str(values[name]))
    for name in ("valid_from", "valid_to"):
        if values[name] is not None:
            values[name] = date.fromisoformat(str(values[name]))
    return PriceRow(**values)  # type: ignore[arg-type]
