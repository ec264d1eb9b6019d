"""How a supplier's file is read: which heading is which field, how numbers and days are written there.

A reading is guessed once from a file's headings and values, confirmed by a person and kept with the price list. What a
file leaves open (a comma that may be a decimal or a separator, a day before or after its month) is asked, never taken.
"""

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass, field, fields
from decimal import Decimal
from itertools import islice
from typing import Any, Final

from estimating import units
from estimating.price_files import (
    ENCODINGS,
    Cell,
    FileFault,
    FileRefused,
    Line,
    Number,
    PriceListError,
    is_blank,
    is_workbook,
    lines_of,
    marked_encoding,
    text_of,
)

COLUMNS = (
    "sku", "description", "supplier_uom", "rec20", "pack_qty", "base_unit",
    "price", "currency", "price_basis", "valid_from", "valid_to", "status",
)  # fmt: skip
MORE_COLUMNS = ("list_price", "freight", "minimum_order", "lead_days", "superseded_by", "tier")
FIELDS = (*COLUMNS, *MORE_COLUMNS)
AMOUNTS = ("price", "list_price", "freight")
HEADER_WITHIN = 30  # lines from the top in which a header is looked for
DELIMITERS = (",", ";", "\t", "|")
DATES = ("ymd", "mdy", "dmy", "serial")


class NoReading(PriceListError):
    """A reading that cannot be used; the message says what it lacks."""


@dataclass(frozen=True)
class Reading:
    """How one supplier's files are read.

    `columns` maps our field to the file's heading, `constants` our field to what holds for every row (as our own files
    write it), `words` the supplier's words for units and `statuses` those for active and discontinued to ours.
    `discount` [%] makes the price of a list price where the file has no net one. Number cells of a workbook are exact
    whatever `decimal` says; it is for text.
    """

    columns: Mapping[str, str]
    decimal: str = "."
    thousands: str = ""
    symbol: str = ""
    dates: str = "ymd"
    constants: Mapping[str, str] = field(default_factory=dict)
    words: Mapping[str, str] = field(default_factory=dict)
    statuses: Mapping[str, str] = field(default_factory=dict)
    discount: str = ""
    packs_apart: bool = False
    delimiter: str = ","
    encoding: str = "utf-8"
    sheet: str = ""
    header_lines: int = 1

    def as_json(self) -> dict[str, Any]:
        return asdict(self)


OWN: Final = Reading({name: name for name in COLUMNS})
"""Our own columns: named exactly so, in any order, points in numbers, days as 2026-03-01."""


def reading_from(document: Mapping[str, Any] | None) -> Reading:
    """The reading that is kept with a price list; `OWN` where there is none. Raises NoReading with every fault."""
    if document is None:
        return OWN
    faults: list[str] = []
    known = {entry.name: entry for entry in fields(Reading)}
    if not isinstance(document, Mapping):
        raise NoReading(f"{str(document)[:60]!r} was read; expected an object")
    for name in document:
        if name not in known:
            faults.append(f"{str(name)[:40]!r} was read; expected one of {', '.join(known)}")
    values = {name: document[name] for name in known if name in document}
    for name in ("columns", "constants", "words", "statuses"):
        value = values.get(name, {})
        if not isinstance(value, Mapping) or not all(
            isinstance(key, str) and isinstance(held, str) and len(key) <= 200 and len(held) <= 200
            for key, held in value.items()
        ):
            faults.append(f"{name} must map text to text")
            values[name] = {}
        elif unknown := sorted(set(value) - set(FIELDS)) if name in ("columns", "constants") else []:
            faults.append(f"{name} has {', '.join(unknown)[:100]}; expected fields out of {', '.join(FIELDS)}")
    for name, allowed in _CHOICES.items():
        if values.get(name, getattr(OWN, name)) not in allowed:
            told = ", ".join(map(repr, allowed))
            faults.append(f"{name} {str(values[name])[:40]!r} was read; expected one of {told}")
            values.pop(name)
    for name, most in (("symbol", 5), ("sheet", 31)):
        if not isinstance(values.get(name, ""), str) or len(values.get(name, "")) > most:
            faults.append(f"{name} must be text of at most {most} characters")
            values.pop(name)
    if re.search(r"[0-9.,' ()=+-]", str(values.get("symbol", ""))):
        faults.append("symbol must be a currency's sign or code, without figures, separators or signs")
        values.pop("symbol")
    if not re.fullmatch(r"([0-9]{1,2}(\.[0-9]{1,4})?)?", str(values.get("discount", ""))):
        faults.append("discount must be a percentage as text, at least 0 and under 100, like 12.5")
        values.pop("discount")
    reading = Reading(**{"columns": {}} | values)
    faults += _lacks(reading)
    if faults:
        raise NoReading("; ".join(faults))
    return reading


_CHOICES: Mapping[str, Sequence[Any]] = {
    "decimal": (".", ","), "thousands": ("", ",", ".", " ", "'"), "dates": DATES, "delimiter": DELIMITERS,
    "encoding": ENCODINGS, "header_lines": (1, 2), "packs_apart": (False, True),
}  # fmt: skip


def _lacks(reading: Reading) -> list[str]:
    given = set(reading.columns) | set(reading.constants)
    both = sorted(set(reading.columns) & set(reading.constants))
    faults = [f"{name} stands in both columns and constants" for name in both]
    faults += [
        f"there is no {what}; expected a heading in columns or a constant"
        for what, names in {
            "sku": {"sku"}, "currency": {"currency"}, "unit (rec20 or supplier_uom)": {"rec20", "supplier_uom"},
            "valid_from": {"valid_from"},
        }.items()
        if not given & names
    ]
    if "price" not in given and not ("list_price" in given and reading.discount):
        faults.append("there is no price; expected a heading for the net price, or for list_price with a discount")
    if "price" in given and reading.discount:
        faults.append("there are both a net price and a discount; expected one of them")
    if reading.decimal == reading.thousands:
        faults.append(f"{reading.decimal!r} cannot be both decimal and thousands")
    headings = list(reading.columns.values())
    twice = sorted({name for name in headings if headings.count(name) > 1})
    faults += [f"heading {name[:60]!r} stands for two fields" for name in twice]
    faults += [f"heading of {name} is blank" for name, heading in reading.columns.items() if not heading.strip()]
    for word, code in reading.words.items():
        try:
            units.unit(code)
        except units.UnknownUnit as unknown:
            faults.append(f"the unit of {word[:20]!r}: {unknown}")
    for word, status in reading.statuses.items():
        if status not in ("active", "discontinued"):
            faults.append(f"the status of {word[:20]!r} is {status[:20]!r}; expected active or discontinued")
    return faults


# The header of a file


@dataclass(frozen=True)
class Header:
    """Where a file's fields stand: the number of its last line, its headings, and the place of each field."""

    line: int
    headings: tuple[str, ...]
    places: Mapping[str, int]


def find_header(lines: Iterable[Line], reading: Reading) -> Header:
    """Read on to the header, which must hold every heading of the reading, each once.

    Our own columns stand in the first line that is not blank; a supplier's within the first `HEADER_WITHIN`, below
    whatever title. Raises FileRefused.
    """
    above: Sequence[Cell] = ()
    closest: tuple[int, int, list[str], list[str]] | None = None
    for number, cells in lines:
        if is_blank(cells):
            continue
        names = _headings(above, cells) if reading.header_lines == 2 else [_plain(cell) for cell in cells]
        above = cells
        wrong = _wrong(names, reading)
        if not wrong:
            more = MORE_COLUMNS if reading is OWN else ()
            places = {name: names.index(heading) for name, heading in reading.columns.items()}
            return Header(number, tuple(names), places | {name: names.index(name) for name in more if name in names})
        if closest is None or len(wrong) < closest[0]:
            closest = len(wrong), number, names, wrong
        if reading is OWN or number >= HEADER_WITHIN:
            break
    wanted = ",".join(reading.columns.values())
    if closest is None:
        raise FileRefused(FileFault(0, "an empty file", f"a header line: {wanted}"))
    _, number, names, wrong = closest
    separated = ", separated by commas" if reading is OWN else ""
    expected = f"the columns {wanted}{separated} ({'; '.join(wrong)[:300]})"
    raise FileRefused(FileFault(number, ",".join(names)[:200], expected))


def _plain(cell: Cell) -> str:
    return " ".join(text_of(cell).replace("\xa0", " ").split())


def _headings(above: Sequence[Cell], below: Sequence[Cell]) -> list[str]:
    """Headings in two lines, the upper ones over several columns: "Price" over "List" and "Net"."""
    joined, over = [], ""
    for i in range(max(len(above), len(below))):
        upper = _plain(above[i]) if i < len(above) else ""
        lower = _plain(below[i]) if i < len(below) else ""
        over = upper or (over if lower else "")
        joined.append(f"{over if lower or upper else ''} {lower}".strip())
    return joined


def _wrong(names: list[str], reading: Reading) -> list[str]:
    wanted = list(reading.columns.values())
    more = MORE_COLUMNS if reading is OWN else ()
    wrong = [f"no column {name}" for name in wanted if name not in names]
    if reading is OWN:
        wrong += [f"column {name} unknown" for name in names if name not in FIELDS]
    return wrong + [f"column {name} twice" for name in (*wanted, *more) if names.count(name) > 1]


# Guessing


@dataclass(frozen=True)
class Guess:
    """A reading as far as a file shows it, the headings and first rows it was seen in, and what has to be asked."""

    reading: Mapping[str, Any]
    questions: tuple[str, ...]
    headings: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]


# What suppliers call a field, as letters and figures alone; the first field that fits a heading has it.
_CALLED = {
    "superseded_by": "superseded(by)?|replacedby|replacement|substitute",
    "sku": "sku|item|item(no|number|code|id)|part(no|number)|product(code|no|number)|code|articleno|artnr|stockno",
    "description": "desc|description|itemdescription|productdescription|name|product|productname|bezeichnung",
    "rec20": "rec20|unece|uncode|unitcode",
    "supplier_uom": "uom|um|unit|units|unitofmeasure|sellunit|sellinguom|priceuom|per|einheit",
    "pack_qty": "packqty|packsize|pack|packquantity|qtyperpack|qtyperbox|boxqty|piecesperbox|contents",
    "base_unit": "baseunit|baseuom|contentunit",
    "list_price": "listprice|list|msrp|retail|retailprice|pricelist",
    "price": "price|net|netprice|yourprice|cost|unitprice|yourcost|contractorprice|dealerprice|pricenet|preis",
    "freight": "freight|delivery|freightperunit|shipping",
    "minimum_order": "minimumorder|minorder|moq|minqty|minimumqty|minimum",
    "lead_days": "leaddays|leadtime|leadtimedays|leadtimeindays",
    "tier": "tier|pricetier|pricelevel|level",
    "currency": "currency|curr|ccy|currencycode",
    "price_basis": "pricebasis|basis|pricedper",
    "valid_from": "validfrom|from|effective|effectivedate|effectivefrom|startdate|start",
    "valid_to": "validto|to|until|expires|expiry|expirydate|enddate|end|validuntil",
    "status": "status|state|active|availability",
}  # fmt: skip


def guess_reading(content: bytes) -> Guess:
    """What a file shows of how it is to be read; pure. Raises FileRefused where no table can be seen in it."""
    questions: list[str] = []
    encoding, delimiter, sheet = "utf-8", ",", ""
    if not is_workbook(content):
        encoding = marked_encoding(content)[:6].rstrip("-") or _encoding(content, questions)
        encoding = {"utf-32": "utf-16"}.get(encoding, encoding)
        delimiter = _delimiter(content, encoding)
    seen = list(islice(lines_of(content, encoding=encoding, delimiter=delimiter, sheet=sheet), 500))
    at = _header_at(seen)
    names = [_plain(cell) for cell in seen[at][1]]
    rows = [cells for _, cells in seen[at + 1:] if not is_blank(cells)]
    columns: dict[str, str] = {}
    for heading in names:
        key = re.sub("[^a-z0-9]", "", heading.lower())
        for name, called in _CALLED.items():
            if name not in columns and re.fullmatch(called, key) and names.count(heading) == 1:
                columns[name] = heading
                break
    for name in ("sku", "price", "valid_from", "currency"):
        if name not in columns and not (name == "price" and "list_price" in columns):
            questions.append(f"{name}: no heading looks like it; name one in columns or give a constant")
    if "price" in columns and re.fullmatch("price|unitprice|preis", re.sub("[^a-z]", "", columns["price"].lower())):
        heading = columns["price"]
        questions.append(f"price: {heading!r} may be net or list; a list price goes into list_price with a discount")
    if "rec20" not in columns and "supplier_uom" not in columns:
        questions.append("rec20: no heading looks like a unit; name one in columns or give a constant")

    def values(*of: str) -> list[Cell]:
        places = [names.index(columns[name]) for name in of if name in columns]
        return [cells[place] for cells in rows for place in places if place < len(cells)]

    decimal, thousands, symbol = _number_style(values(*AMOUNTS), questions)
    dates = _date_style(values("valid_from", "valid_to"), questions)
    words: dict[str, str] = {}
    if "rec20" not in columns:
        words = _unit_words({text_of(cell) for cell in values("supplier_uom", "base_unit")}, questions)
    reading = {
        "columns": columns, "decimal": decimal, "thousands": thousands, "symbol": symbol, "dates": dates,
        "words": words, "delimiter": delimiter, "encoding": encoding,
    }  # fmt: skip
    shown = tuple(tuple(text_of(cell)[:200] for cell in cells) for cells in rows[:5])
    return Guess(reading, tuple(questions), tuple(names), shown)


def _encoding(content: bytes, questions: list[str]) -> str:
    try:
        content.decode()
        return "utf-8"
    except UnicodeDecodeError as error:
        line = content.count(b"\n", 0, error.start) + 1
        read = content[error.start:error.start + 1].decode("cp1252", "replace")
        questions.append(f"encoding: not UTF-8; in cp1252 line {line} would have {read!r}: look whether it reads so")
        return "cp1252"


def _delimiter(content: bytes, encoding: str) -> str:
    """The separator that gives most lines the same number of cells, more than one."""
    best, found = 0, ","
    for delimiter in DELIMITERS:
        counts: dict[int, int] = {}
        try:
            for _, cells in islice(lines_of(content, encoding=encoding, delimiter=delimiter), 100):
                counts[len(cells)] = counts.get(len(cells), 0) + 1
        except FileRefused:
            continue
        score = max((many * cells for cells, many in counts.items() if cells > 1), default=0)
        if score > best:
            best, found = score, delimiter
    return found


def _header_at(seen: Sequence[Line]) -> int:
    """The line above the table: of the first ones that with most cells that some field is called by."""
    def likeness(cells: Sequence[Cell]) -> int:
        keys = [re.sub("[^a-z0-9]", "", _plain(cell).lower()) for cell in cells]
        return sum(any(re.fullmatch(called, key) for called in _CALLED.values()) for key in keys if key)

    top = [likeness(cells) for _, cells in seen[:HEADER_WITHIN]]
    if not top or max(top) < 2:
        expected = "headings such as SKU, Description, UOM, Price"
        raise FileRefused(FileFault(0, "no line that looks like a header", expected))
    return top.index(max(top))


def _number_style(cells: Iterable[Cell], questions: list[str]) -> tuple[str | None, str | None, str]:
    """Decimal and thousands separators and currency sign of amounts; None where the values leave it open."""
    texts = [text_of(cell).replace("\xa0", " ") for cell in cells if isinstance(cell, str) and text_of(cell)]
    signs = {found[0] for text in texts if (found := re.search("[$€£¥]", text))}
    symbol = signs.pop() if len(signs) == 1 else ""
    decimals, separators, open_ones = set(), set(), []
    for text in texts:
        number = re.sub(r"[^0-9.,' ]", "", text).strip()
        marks = [mark for mark in number if mark in ".,"]
        separators |= {mark for mark in " '" if mark in number}
        if len(set(marks)) == 2:
            decimals.add(marks[-1])
            separators.add(marks[0])
        elif len(marks) > 1:
            separators.add(marks[0])
        elif marks:
            behind = len(number.rpartition(marks[0])[2])
            if behind == 3:
                open_ones.append((marks[0], text))
            else:
                decimals.add(marks[0])
    if not decimals and len(separators & set(".,")) == 1:
        decimals = {"," if "." in separators else "."}
    if not decimals and not open_ones:
        return ".", "", symbol  # whole numbers alone read the same either way
    if len(decimals) != 1 or decimals & separators:
        example = open_ones[0][1] if open_ones else texts[0]
        questions.append(f"decimal: {example!r} may be read in two ways; say which of . and , is the decimal")
        return None, None, symbol
    decimal = decimals.pop()
    separators |= {mark for mark, _ in open_ones if mark != decimal}
    if len(separators) > 1:
        questions.append(f"thousands: {' and '.join(map(repr, sorted(separators)))} both separate figures; say which")
        return decimal, None, symbol
    return decimal, separators.pop() if separators else "", symbol


def _date_style(cells: Iterable[Cell], questions: list[str]) -> str | None:
    found: set[str] = set()
    open_one = ""
    for cell in cells:
        text = cell.strip() if isinstance(cell, str) else ""
        if isinstance(cell, Number):
            found.add("serial")
        elif parts := re.fullmatch(r"([0-9]{1,4})[-/.]([0-9]{1,2})[-/.]([0-9]{1,4})", text):
            if len(parts[1]) == 4:
                found.add("ymd")
            elif int(parts[1]) > 12:
                found.add("dmy")
            elif int(parts[2]) > 12:
                found.add("mdy")
            else:
                open_one = text
    if len(found) == 1:
        return found.pop()
    if not found and not open_one:
        return "ymd"
    seen = open_one or "days are written in several ways"
    questions.append(f"dates: {seen}: say which of mdy (month first) and dmy it is")
    return None


def _unit_words(words: Iterable[str], questions: list[str]) -> dict[str, str]:
    """The supplier's words that are codes to use; the others are asked, with what they may mean."""
    known: dict[str, str] = {}
    for word in sorted(filter(None, words))[:50]:
        try:
            known[word] = units.unit(word).code
        except units.UnknownUnit as unknown:
            questions.append(f"words: the unit {unknown}")
    return known


def discounted(listed: Decimal, discount: str) -> Decimal:
    """The net price of a list price under a discount in per cent, exact."""
    return listed * (100 - Decimal(discount)) / 100
