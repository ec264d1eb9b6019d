"""A supplier's file as rows of cells: CSV in any declared encoding, or one sheet of an XLSX workbook, within limits.

Nothing is interpreted here but what a spreadsheet itself knows of a cell: a number comes as an exact Decimal, a day as
a date; a formula, an error value or a percentage comes as `Odd`, which no price accepts.
"""

import csv
import io
import re
import zipfile
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time
from decimal import ROUND_HALF_UP, Context, Decimal
from functools import lru_cache
from typing import Any
from xml.parsers import expat

from openpyxl import load_workbook

from estimating.service.problems import refusal

MOST_BYTES = 20_000_000
MOST_UNPACKED = 80_000_000  # of a workbook's parts together; checked before any of it is unpacked
MOST_PARTS = 1_000
MOST_ROWS = 200_000
MOST_COLUMNS = 200
MOST_LINES = 1_048_576  # of a sheet, blank ones and all
ENCODINGS = ("utf-8", "utf-16", "cp1252", "latin-1")
MARKS = (  # byte order marks, the longer before the shorter that it begins with
    (b"\xef\xbb\xbf", "utf-8-sig"), (b"\xff\xfe\x00\x00", "utf-32"), (b"\x00\x00\xfe\xff", "utf-32"),
    (b"\xff\xfe", "utf-16"), (b"\xfe\xff", "utf-16"),
)  # fmt: skip
PACKED = b"PK\x03\x04"
CENTS = 2
SPREADSHEET_DIGITS = Context(prec=15, rounding=ROUND_HALF_UP)  # what spreadsheets compute with and show at most


@refusal(422)
class PriceListError(Exception):
    """A price list that cannot be taken as it is."""


@dataclass(frozen=True)
class FileFault:
    """One fault: the line it stands on (0: the file as a whole), what was read and what was expected."""

    line: int
    read: str
    expected: str

    @property
    def pointer(self) -> str:
        return f"/{self.line}" if self.line else ""

    @property
    def detail(self) -> str:
        place = f"line {self.line}: " if self.line else ""
        return f"{place}{self.read!r} was read; expected {self.expected}"


class FileRefused(PriceListError):
    """The file cannot be read as a price list; nothing was changed."""

    def __init__(self, *faults: FileFault, too_large: bool = False) -> None:
        self.faults, self.too_large = faults, too_large
        super().__init__("; ".join(fault.detail for fault in faults))


@dataclass(frozen=True)
class Odd:
    """A cell of a workbook that is no plain value: why, in a code, and what stands in it."""

    code: str
    text: str
    expected: str

    def __str__(self) -> str:
        return self.text


@dataclass(frozen=True)
class Number:
    """A number of a workbook: its value, what is shown for it, what it took to make one of the other, its currency.

    `currency` is what its format shows beside it: an ISO 4217 code or a sign; a dollar sign, which many use, is none.
    """

    value: Decimal
    shown: str
    note: str = ""
    currency: str = ""

    def __str__(self) -> str:
        return self.shown


Cell = str | Number | date | Odd
Line = tuple[int, Sequence[Cell]]


def lines_of(content: bytes, *, encoding: str = "utf-8", delimiter: str = ",", sheet: str = "") -> Iterator[Line]:
    """(number, cells) of each line of a CSV file or of each row of a workbook's sheet, blank ones too.

    A byte order mark goes before `encoding`. `sheet` is a name; without one the only sheet that is not hidden is read.
    Raises FileRefused for what is no such file, or one over the limits.
    """
    if len(content) > MOST_BYTES:
        raise FileRefused(
            FileFault(0, f"{len(content)} bytes", f"at most {MOST_BYTES} bytes"), too_large=True
        )
    if content.startswith(PACKED):
        return _workbook_lines(content, sheet)
    return _text_lines(content, encoding, delimiter)


def is_workbook(content: bytes) -> bool:
    """Whether the bytes are packed as an XLSX workbook is."""
    return content.startswith(PACKED)


def text_of(cell: Cell) -> str:
    """What a person sees in a cell, trimmed."""
    return cell.strip() if isinstance(cell, str) else str(cell)


def is_blank(cells: Sequence[Cell]) -> bool:
    if cells and isinstance(cells[0], str) and cells[0].strip():
        return False  # as nearly every row; the rest looks at all cells
    return not any(not isinstance(cell, str) or cell.strip() for cell in cells)


# Text


def marked_encoding(content: bytes) -> str:
    """The encoding that a byte order mark declares, or nothing."""
    return next((encoding for mark, encoding in MARKS if content.startswith(mark)), "")


def _text_lines(content: bytes, encoding: str, delimiter: str) -> Iterator[Line]:
    encoding = marked_encoding(content) or encoding
    if encoding in ("utf-8", "utf-8-sig", "cp1252", "latin-1") and (at := content.find(b"\x00")) >= 0:
        raise FileRefused(FileFault(content.count(b"\n", 0, at) + 1, "a zero byte", "plain text"))
    line, reader = 1, csv.reader(_decoded(content, encoding), delimiter=delimiter, strict=True)
    try:
        for cells in reader:
            yield line, cells
            line = reader.line_num + 1
    except csv.Error as error:
        expected = f"{_SEPARATED.get(delimiter, delimiter)} separated text, quotes closed"
        raise FileRefused(FileFault(line, str(error), expected)) from None
    except UnicodeError as error:
        # The reader stands somewhere behind what it could decode; the whole text says where the fault is.
        raise _undecodable(content, encoding, error) from None


_SEPARATED = {",": "comma", ";": "semicolon", "\t": "tab", "|": "bar"}


def _decoded(content: bytes, encoding: str) -> Iterator[str]:
    """The text in lines as they stand, decoded as it is read."""
    text = io.TextIOWrapper(io.BytesIO(content), encoding=encoding, newline="")
    for line in text:
        if "\x00" in line:
            raise FileRefused(FileFault(0, "a zero character", "plain text"))
        yield line


def _undecodable(content: bytes, encoding: str, error: UnicodeError) -> FileRefused:
    try:
        content.decode(encoding)
    except UnicodeDecodeError as exact:
        error = exact
    if not isinstance(error, UnicodeDecodeError):
        return FileRefused(FileFault(0, str(error)[:200], f"text in {encoding.upper()}"))
    line = content.count(b"\n", 0, error.start) + 1
    named = "UTF-8" if encoding.startswith("utf-8") else encoding.upper()
    expected = f"text in {named}, or the list's reading to name another encoding"
    return FileRefused(FileFault(line, f"byte 0x{content[error.start]:02x}", expected))


# Workbooks


def _workbook_lines(content: bytes, sheet: str) -> Iterator[Line]:
    check_package(content)
    try:
        book = load_workbook(io.BytesIO(content), read_only=True, data_only=False, keep_links=False)
    except FileRefused:
        raise
    except Exception as error:  # whatever a broken workbook makes the library raise
        raise _broken(error) from None
    try:
        rows = _choose_sheet(book, sheet)
        rows.reset_dimensions()  # what the file says of its own size may be wrong
        for number, cells in enumerate(rows.iter_rows(), start=1):
            if len(cells) > 5 * MOST_COLUMNS or number > MOST_LINES:
                read = f"{len(cells)} columns" if number <= MOST_LINES else f"more than {MOST_LINES} rows"
                raise FileRefused(FileFault(number, read, f"at most {MOST_COLUMNS} columns"), too_large=True)
            yield number, _trimmed([_cell(cell) for cell in cells])
    except FileRefused:
        raise
    except Exception as error:
        raise _broken(error) from None
    finally:
        book.close()


def _trimmed(cells: list[Cell]) -> list[Cell]:
    while cells and cells[-1] == "":
        cells.pop()
    return cells


def _broken(error: Exception) -> FileRefused:
    told = f"{type(error).__name__}: {error}"[:200]
    return FileRefused(FileFault(0, told, "an XLSX workbook, or plain text"))


def check_package(content: bytes) -> None:
    """Refuse a packed file that is no workbook, would unpack to too much, or declares document types.

    Sizes are those that the package's own directory names; unpacking stops at them, whatever the parts then hold.
    """
    try:
        with zipfile.ZipFile(io.BytesIO(content)) as package:
            parts = package.infolist()
            unpacked = sum(part.file_size for part in parts)
            if unpacked > MOST_UNPACKED or len(parts) > MOST_PARTS:
                read = f"{unpacked} bytes unpacked, in {len(parts)} parts"
                expected = f"at most {MOST_UNPACKED} bytes in {MOST_PARTS} parts"
                raise FileRefused(FileFault(0, read, expected), too_large=True)
            names = [part.filename for part in parts]
            if "[Content_Types].xml" not in names or not any(name.startswith("xl/") for name in names):
                raise FileRefused(FileFault(0, "a packed file that is no workbook", "an XLSX workbook, or plain text"))
            if len(names) != len(set(names)):
                raise FileRefused(FileFault(0, "two parts under one name", "an XLSX workbook"))
            for part in parts:
                if part.filename.endswith((".xml", ".rels")):
                    _check_prologue(package, part)
    except (zipfile.BadZipFile, NotImplementedError, RuntimeError, OSError, ValueError) as error:
        raise _broken(error) from None


def _check_prologue(package: zipfile.ZipFile, part: zipfile.ZipInfo) -> None:
    """Refuse a part with a document type: none of a workbook has one, and entities are declared there."""
    refused, begun = [], []
    parser = expat.ParserCreate()
    parser.StartDoctypeDeclHandler = lambda *_: refused.append(True)
    parser.StartElementHandler = lambda *_: begun.append(True)
    with package.open(part) as stream:
        while not begun and not refused and (block := stream.read(4096)):
            try:
                parser.Parse(block, False)
            except expat.ExpatError as error:
                raise _broken(error) from None
    if refused:
        raise FileRefused(FileFault(0, f"a document type in {part.filename[:80]}", "an XLSX workbook without"))


def _choose_sheet(book: Any, name: str) -> Any:
    sheets = {sheet.title: sheet for sheet in book.worksheets}
    if name:
        if name not in sheets:
            there = ", ".join(sheets)[:200]
            raise FileRefused(FileFault(0, f"sheets {there}", f"a sheet {name}, as the list's reading names it"))
        return sheets[name]
    seen = [sheet for sheet in sheets.values() if sheet.sheet_state == "visible"]
    if len(seen) != 1:
        there = ", ".join(sheet.title for sheet in seen)[:200] or "none that is not hidden"
        raise FileRefused(FileFault(0, f"sheets {there}", "one sheet, or the list's reading to name it"))
    return seen[0]


def _cell(cell: Any) -> Cell:
    value = cell.value
    if value is None:
        return ""
    kind = cell.data_type
    if kind == "f":
        return Odd("formula", str(getattr(value, "text", value) or "=")[:200], "a plain value, not a formula")
    if kind == "e":
        return Odd("error-value", str(value), "a value; the spreadsheet holds an error")
    if isinstance(value, bool):
        return Odd("truth-value", str(value).upper(), "a value, not true or false")
    if isinstance(value, datetime):
        plain = value.time() == time() and 1990 <= value.year < 2200
        return value.date() if plain else Odd("date", str(value), "a day from 1990 on, without a time of day")
    if isinstance(value, date):
        return value
    if isinstance(value, int | float):
        return number_of(value, cell.number_format or "General")
    return str(value)


def number_of(stored: int | float, number_format: str) -> Cell:
    """A workbook's number as an exact Decimal: its shortest notation, and of that no more digits than are shown.

    Spreadsheets keep binary fractions and show at most 15 digits: 27.150000000000002 stands for 27.15. Where a format
    shows cents or finer and more is stored, what is shown is taken; a format that hides the cents themselves decides
    nothing. The note tells where value and stored number differ.
    """
    if isinstance(stored, float) and (stored != stored or stored in (float("inf"), float("-inf"))):
        return Odd("error-value", repr(stored), "a finite number")
    exact = Decimal(repr(stored))
    taken = SPREADSHEET_DIGITS.plus(exact)
    shape = _shape(number_format)
    if shape.odd:
        return Odd(shape.odd, f"{_plain(taken)} shown as {number_format}"[:200], shape.expected)
    decimals = max(0, -int(taken.as_tuple().exponent))
    if shape.decimals is not None and CENTS <= shape.decimals < decimals:
        taken = taken.quantize(Decimal(1).scaleb(-shape.decimals), rounding=ROUND_HALF_UP)
    note = "" if taken == exact else f"{_plain(exact)} is stored; {_plain(taken)} was taken, as it is shown"
    shown = _plain(taken)
    if shape.decimals == 0 and shape.digits > len(shown.lstrip("-")) and taken >= 0:
        shown = shown.zfill(shape.digits)  # a format of zeros shows leading ones
    return Number(taken, shown, note, shape.currency)


def _plain(value: Decimal) -> str:
    return f"{value.normalize():f}" if value else "0"


@dataclass(frozen=True)
class _Shape:
    """What a number format shows: decimals (None: as many as there are), least digits, or what makes it no amount."""

    decimals: int | None
    digits: int = 0
    currency: str = ""
    odd: str = ""
    expected: str = ""


@lru_cache(maxsize=1_000)
def _shape(number_format: str) -> _Shape:
    first = number_format.split(";")[0]
    sign = re.search(r"[€£¥₹₽₩]|\[\$([^-\]$]+)", first)
    currency = "" if sign is None else sign[1] or sign[0]
    bare = re.sub(r'"[^"]*"|\[[^\]]*\]|\\.|_.|\*.', "", first)
    if "%" in bare:
        return _Shape(None, odd="percent", expected="an amount, not a percentage")
    if re.search(r"[0#?],+\s*$", bare):
        return _Shape(None, odd="scaled", expected="an amount as it is, not shown in thousands")
    if digits := re.fullmatch(r"[^0#?.]*([0#?,\s]*)(?:\.([0#?]*))?[^0#?.]*", re.sub("[$€£¥₹₽₩]", "", bare)):
        whole, fraction = digits[1], digits[2]
        if whole.strip() or fraction is not None:
            return _Shape(len(fraction or ""), digits=whole.count("0"), currency=currency)
    return _Shape(None, currency=currency)


