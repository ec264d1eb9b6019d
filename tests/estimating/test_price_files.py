"""Tests of dirty files: nothing wrong gets in, nothing right is lost, and every row is accounted for."""

import io
import zipfile
from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import date, datetime
from decimal import Decimal
from pathlib import Path

import pytest
from openpyxl import Workbook
from openpyxl.styles import Font

from estimating.price_columns import COLUMNS, OWN, NoReading, Reading, guess_reading, reading_from
from estimating.price_files import MOST_BYTES, FileRefused, Number, lines_of, number_of
from estimating.price_rows import PriceFile, read_price_file

PLANTED = Path(__file__).parent / "fixtures" / "planted.csv"
YARD = Reading(
    {
        "sku": "Item #", "description": "Description", "supplier_uom": "UOM", "pack_qty": "Pack", "base_unit": "Each",
        "price": "Net", "valid_from": "From", "status": "State",
    },
    constants={"currency": "USD"}, words={"BX": "XBX", "PC": "H87"}, statuses={"": "active", "D": "discontinued"},
)  # fmt: skip
HEADINGS = ("Item #", "Description", "UOM", "Pack", "Each", "Net", "From", "State")
BOARD = ("B-14", "Board 14 ft", "LF", "", "LF", "7.85", "2026-03-01", "")
CLIPS = ("C-175", "Hidden clip", "BX", "175", "EA", "89.00", "2026-03-01", "")
STICK = ("S-8", "2x8x12", "MBF", "", "EA", "1180.00", "2026-03-01", "")
SOUND = (BOARD, CLIPS, STICK)


def text(*rows: tuple[str, ...], headings=HEADINGS, separator=",", end="\n", encoding="utf-8") -> bytes:
    return "".join(separator.join(row) + end for row in (headings, *rows)).encode(encoding)


def book(*rows: tuple, headings=HEADINGS, work: Callable[[Workbook], None] = lambda book: None) -> bytes:
    made = Workbook()
    sheet = made.active
    sheet.append(headings)
    for row in rows:
        sheet.append([_typed(cell) for cell in row])
    work(made)
    out = io.BytesIO()
    made.save(out)
    return out.getvalue()


def _typed(cell):
    if not isinstance(cell, str):
        return cell
    try:
        return float(cell) if "." in cell else int(cell)
    except ValueError:
        pass
    return date.fromisoformat(cell) if cell[:4].isdigit() and cell[4:5] == "-" else cell or None


def changed(row: tuple, **cells) -> tuple:
    return tuple(cells.get(name, cell) for name, cell in zip(
        ("sku", "what", "uom", "pack", "each", "net", "first", "state"), row, strict=True
    ))


@dataclass(frozen=True)
class Case:
    """A file, how it is read, and what comes of it: SKUs with their prices, codes of rejected rows, blank rows."""

    content: bytes
    prices: dict[str, str]
    rejected: tuple[str, ...] = ()
    blank: int = 0
    reading: Reading = YARD
    refused: str = ""


ALL = {"B-14": "7.85", "C-175": "89", "S-8": "1180"}
ODD = changed(BOARD, sku="X-1")
TITLE = "Sample Timber Yard, prices from March\n\n"


def swap(content: bytes, old: str, new: str) -> bytes:
    assert old.encode() in content
    return content.replace(old.encode(), new.encode())


def styled(row: int, column: int, value, number_format: str | None = None) -> Callable[[Workbook], None]:
    def work(made: Workbook) -> None:
        cell = made.active.cell(row, column, value)
        if number_format:
            cell.number_format = number_format

    return work


def sheets(*names: str, hidden: tuple[str, ...] = (), filled: bool = False) -> Callable[[Workbook], None]:
    def work(made: Workbook) -> None:
        for name in names:
            sheet = made.create_sheet(name)
            if filled:
                sheet.append(HEADINGS)
                sheet.append([_typed(cell) for cell in changed(BOARD, sku="WRONG", net="1.00")])
            sheet.sheet_state = "hidden" if name in hidden else "visible"

    return work


def package(**parts: bytes) -> bytes:
    """A sound workbook with parts put in its place or added."""
    out = io.BytesIO()
    named = {name.replace("__", "/").replace("_dot_", "."): part for name, part in parts.items()}
    with zipfile.ZipFile(io.BytesIO(book(*SOUND))) as old, zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as new:
        for item in old.infolist():
            if item.filename not in named:
                new.writestr(item.filename, old.read(item))
        for name, part in named.items():
            new.writestr(name, part)
    return out.getvalue()


def merged(made: Workbook) -> None:
    made.active.merge_cells("F2:F3")


EURO = replace(YARD, decimal=",", thousands=".")
SPACED = replace(YARD, decimal=",", thousands=" ", delimiter=";")
SEMI = replace(YARD, delimiter=";")
DAY_FIRST = replace(YARD, dates="dmy")
MONTH_FIRST = replace(YARD, dates="mdy")
LISTED = Reading(
    {**{name: heading for name, heading in YARD.columns.items() if name != "price"}, "list_price": "Net"},
    constants=YARD.constants, words=YARD.words, statuses=YARD.statuses, discount="12.5",
)  # fmt: skip
ONE_UNIT = Reading(
    {name: heading for name, heading in YARD.columns.items() if name in ("sku", "description", "price")},
    constants={"currency": "USD", "rec20": "EA", "valid_from": "2026-03-01"},
)  # fmt: skip

CASES: dict[str, Case] = {
    # as text
    "plain": Case(text(*SOUND), ALL),
    "byte order mark": Case(b"\xef\xbb\xbf" + text(*SOUND), ALL),
    "CRLF": Case(text(*SOUND, end="\r\n"), ALL),
    "CR alone": Case(text(*SOUND, end="\r"), ALL),
    "no line end at the end": Case(text(*SOUND)[:-1], ALL),
    "UTF-16 with a mark": Case(text(*SOUND, encoding="utf-16"), ALL),
    "UTF-16 declared": Case(text(*SOUND, encoding="utf-16-le"), {}, reading=replace(YARD, encoding="utf-16"),
                            refused="UTF-16"),
    "UTF-16 undeclared": Case(text(*SOUND, encoding="utf-16-le"), {}, refused="plain text"),
    "cp1252 declared": Case(
        text(*SOUND, changed(BOARD, sku="X-1", what="Caf\xe9 table 5\xbd"), encoding="cp1252"), ALL | {"X-1": "7.85"},
        reading=replace(YARD, encoding="cp1252"),
    ),
    "cp1252 undeclared": Case(text(*SOUND, changed(BOARD, what="Caf\xe9"), encoding="cp1252"), {}, refused="line 5"),
    "semicolons": Case(text(*SOUND, separator=";"), ALL, reading=SEMI),
    "semicolons undeclared": Case(text(*SOUND, separator=";"), {}, refused="no column Item #"),
    "tabs": Case(text(*SOUND, separator="\t"), ALL, reading=replace(YARD, delimiter="\t")),
    "bars": Case(text(*SOUND, separator="|"), ALL, reading=replace(YARD, delimiter="|")),
    "a title above": Case(TITLE.encode() + text(*SOUND), ALL),
    "blank rows between": Case(text(BOARD, ("",) * 8, CLIPS, ("", "  ", *[""] * 6), STICK), ALL, blank=2),
    "a header further down than is looked": Case(b"x\n" * 31 + text(*SOUND), {}, refused="no column"),
    "the header again": Case(text(BOARD, HEADINGS, CLIPS, STICK), ALL, ("odd-price",)),
    "two header rows": Case(
        text(("", "", "", "", "", "Net", "", "state"), *SOUND, headings=("Item #", "Description", "UOM", "Pack", "Each",
             "Price", "From", "Sold")), ALL,
        reading=replace(YARD, columns={**YARD.columns, "price": "Price Net", "status": "Sold state"}, header_lines=2),
    ),
    "merged upper header": Case(
        text(("", "", "", "", "", "List", "Net", "", ""), *(
            (*row[:5], "99999", *row[5:]) for row in SOUND), headings=("Item #", "Description", "UOM", "Pack", "Each",
            "Price", "", "From", "State")), ALL,
        reading=replace(YARD, columns={**YARD.columns, "price": "Price Net"}, header_lines=2),
    ),
    "headings twice": Case(text(*SOUND, headings=(*HEADINGS[:7], "Net")), {}, refused="column Net twice"),
    "unused headings twice": Case(
        text(*((*row, "a", "b") for row in SOUND), headings=(*HEADINGS, "Note", "Note")), ALL
    ),
    "a heading with look-alike letters": Case(swap(text(*SOUND), "Net", "N\u0435t"), {}, refused="no column Net"),
    "0 bytes": Case(b"", {}, refused="empty"),
    "blank lines alone": Case(b"\n\n \n", {}, refused="empty"),
    "a header alone": Case(text(), {}, refused="at least one row"),
    "over the limit": Case(b"x" * (MOST_BYTES + 1), {}, refused=f"at most {MOST_BYTES}"),
    "zero byte": Case(text(*SOUND, changed(BOARD, what="a\x00b")), {}, refused="a zero byte"),
    "quotes not closed at the end": Case(text(*SOUND) + b'"X-1,open', {}, refused="quotes closed"),
    "quotes not closed on the way": Case(text(BOARD, changed(CLIPS, what='"clip'), changed(STICK, what='"2x8"')), {},
                                         refused="quotes closed"),
    "cut off": Case(text(*SOUND)[:-20], {}, refused="cut off"),
    "a line end within a cell": Case(text(*SOUND, changed(ODD, what='"two\nlines"')), ALL, ("odd-text",)),
    "quoted separators": Case(text(*SOUND, changed(ODD, what='"5/4 x 6, ""S4S"""')), ALL | {"X-1": "7.85"}),
    "too few cells": Case(text(*SOUND, ODD[:6]), ALL, ("shifted",)),
    "too many cells": Case(text(*SOUND, (*ODD, "more")), ALL, ("shifted",)),
    "separators at the end of rows": Case(text(*((*row, "", "") for row in SOUND)), ALL),
    "shifted by one": Case(text(*SOUND, ("", *ODD[:7])), ALL, ("no-sku",)),
    "shifted without a pack": Case(text(*SOUND, (*CLIPS[:3], *CLIPS[4:], "")), ALL, ("odd-price",)),
    "decimal commas": Case(text(*(changed(row, net=row[5].replace(".", ",")) for row in SOUND), separator=";"), ALL,
                           reading=replace(EURO, delimiter=";")),
    "decimal commas undeclared": Case(text(changed(BOARD, net='"7,85"'), CLIPS), {"C-175": "89"}, ("odd-price",)),
    "points where commas are declared": Case(text(BOARD, changed(CLIPS, net="89"), separator=";"), {"C-175": "89"},
                                             ("odd-price",), reading=SPACED),
    "thousands by commas": Case(text(*SOUND, changed(ODD, net='"1,234.50"')), ALL | {"X-1": "1234.5"},
                                reading=replace(YARD, thousands=",")),
    "thousands by commas undeclared": Case(text(*SOUND, changed(ODD, net='"1,234.50"')), ALL, ("odd-price",)),
    "thousands by points": Case(text(changed(STICK, net='"1.180,00"')), {"S-8": "1180"}, reading=EURO),
    "thousands by spaces that do not break": Case(
        text(changed(STICK, net="1\u202f180,00"), changed(ODD, net="1\xa0000"), separator=";"),
        {"S-8": "1180", "X-1": "1000"}, reading=SPACED),
    "thousands in the wrong place": Case(text(*SOUND, changed(ODD, net='"12,34.50"')), ALL, ("odd-price",),
                                         reading=replace(YARD, thousands=",")),
    "a currency sign": Case(text(*SOUND, changed(ODD, net="$7.85")), ALL, ("odd-price",)),
    "a currency sign declared": Case(text(*(changed(row, net=f"$ {row[5]}") for row in SOUND)), ALL,
                                     reading=replace(YARD, symbol="$")),
    "another currency sign": Case(text(*SOUND, changed(ODD, net="\u20ac7.85")), ALL, ("odd-price",),
                                  reading=replace(YARD, symbol="$")),
    "a percentage": Case(text(*SOUND, changed(ODD, net="7.85%")), ALL, ("odd-price",)),
    "a negative price": Case(text(*SOUND, changed(ODD, net="-7.85")), ALL, ("odd-price",)),
    "a price in brackets": Case(text(*SOUND, changed(ODD, net="(7.85)")), ALL, ("odd-price",)),
    "a price of nothing": Case(text(*SOUND, changed(ODD, net="0.00")), ALL, ("zero-price",)),
    "a blank price": Case(text(*SOUND, changed(ODD, net="")), ALL, ("no-price",)),
    "words for a price": Case(text(*SOUND, changed(ODD, net="call us")), ALL, ("odd-price",)),
    "five decimals": Case(text(*SOUND, changed(ODD, net="7.85001")), ALL, ("odd-price",)),
    "a formula": Case(text(*SOUND, changed(ODD, net="=F2*2"), changed(ODD, sku="=1+1")), ALL, ("formula", "formula")),
    "a number as a figure": Case(text(*SOUND, changed(ODD, sku="1.2E+05")), ALL, ("sku-as-number",)),
    "leading zeros": Case(text(*SOUND, changed(ODD, sku="000417")), ALL | {"000417": "7.85"}),
    "no number": Case(text(*SOUND, changed(ODD, sku=" ")), ALL, ("no-sku",)),
    "marks of writing from the right": Case(text(*SOUND, changed(ODD, sku="X\u200f-1")), ALL, ("odd-sku",)),
    "look-alike letters in a number": Case(text(*SOUND, changed(ODD, sku="\u0425-1")), ALL, ("odd-sku",)),
    "wide figures in a number": Case(text(*SOUND, changed(ODD, sku="X-\uff11")), ALL, ("odd-sku",)),
    "typographic quotes in a number": Case(text(*SOUND, changed(ODD, sku="X-1\u201d")), ALL, ("odd-sku",)),
    "spaces that do not break in words": Case(text(*SOUND, changed(ODD, what="Board\xa014\u202fft")),
                                              ALL | {"X-1": "7.85"}),
    "no pack": Case(text(*SOUND, changed(CLIPS, sku="X-1", pack="")), ALL, ("no-pack_qty",)),
    "no unit": Case(text(*SOUND, changed(ODD, uom="")), ALL, ("unit",)),
    "a word for a unit that nobody explained": Case(text(*SOUND, changed(ODD, uom="M")), ALL, ("unit",)),
    "a unit code that means another thing": Case(text(*SOUND, changed(ODD, uom="CTN")), ALL, ("unit",)),
    "day first": Case(text(*(changed(row, first="01.03.2026") for row in SOUND)), ALL, reading=DAY_FIRST),
    "month first": Case(text(*(changed(row, first="3/1/2026") for row in SOUND)), ALL, reading=MONTH_FIRST),
    "days the wrong way round": Case(text(*SOUND, changed(ODD, first="03/21/2026")), {}, reading=DAY_FIRST,
                                     refused="day first"),
    "a day that is none": Case(text(*SOUND, changed(ODD, first="2026-02-30")), ALL, ("date",)),
    "a day of two figures": Case(text(changed(BOARD, first="01.03.2026"), changed(ODD, first="01.03.26")),
                                 {"B-14": "7.85"}, ("date",), reading=DAY_FIRST),
    "footers": Case(text(*SOUND, ("Total", "", "", "", "", "1276.85", "", ""), ("Page 1 of 1", *[""] * 7)), ALL,
                    ("footer", "footer")),
    "a footer that has all that a row needs": Case(
        text(("A-1", "Bag", "4.20"), ("Grand total", "", "4.20"), headings=("Item #", "Description", "Net")),
        {"A-1": "4.2"}, ("footer",), reading=ONE_UNIT),
    "the same row twice": Case(text(*SOUND, BOARD), ALL, ("repeated",)),
    "one number at two prices": Case(text(*SOUND, changed(BOARD, net="8.85")), {"C-175": "89", "S-8": "1180"},
                                     ("duplicate-sku", "duplicate-sku")),
    "a list price and a discount": Case(text(*SOUND), {"B-14": "6.8688", "C-175": "77.875", "S-8": "1032.5"},
                                        reading=LISTED),
    "discontinued": Case(text(*SOUND, changed(ODD, state="D")), ALL | {"X-1": "7.85"}),
    "a state that nobody explained": Case(text(*SOUND, changed(ODD, state="?")), ALL, ("status",)),
    "a spreadsheet's number of a day": Case(text(*(changed(row, first="46082") for row in SOUND)), ALL,
                                            reading=replace(YARD, dates="serial")),
    # as workbooks
    "workbook": Case(book(*SOUND), ALL),
    "workbook with a blank row": Case(book(BOARD, ("",) * 8, CLIPS, STICK), ALL, blank=1),
    "workbook with a number as it is kept": Case(book(*SOUND, work=styled(2, 6, 27.150000000000002)),
                                                 ALL | {"B-14": "27.15"}),
    "workbook with cents shown": Case(book(*SOUND, work=styled(2, 6, 27.154, "0.00")), ALL | {"B-14": "27.15"}),
    "workbook with many decimals": Case(book(*SOUND, work=styled(2, 6, 27.1537429)),
                                        {"C-175": "89", "S-8": "1180"}, ("odd-price",)),
    "workbook with a formula": Case(book(*SOUND, work=styled(2, 6, "=F3*2")), {"C-175": "89", "S-8": "1180"},
                                    ("formula",)),
    "workbook with an error": Case(book(*SOUND, work=styled(2, 6, "#N/A")), {"C-175": "89", "S-8": "1180"},
                                   ("error-value",)),
    "workbook with a percentage": Case(book(*SOUND, work=styled(2, 6, 0.5, "0.0%")), {"C-175": "89", "S-8": "1180"},
                                       ("percent",)),
    "workbook shown in thousands": Case(book(*SOUND, work=styled(2, 6, 1250, "0.0,")), {"C-175": "89", "S-8": "1180"},
                                        ("scaled",)),
    "workbook shown in euros": Case(book(*SOUND, work=styled(2, 6, 7.85, "[$€-407] #,##0.00")),
                                    {"C-175": "89", "S-8": "1180"}, ("currency",)),
    "workbook shown in dollars": Case(book(*SOUND, work=styled(2, 6, 7.85, '"$"#,##0.00')), ALL),
    "workbook with true for a price": Case(book(*SOUND, work=styled(2, 6, True)), {"C-175": "89", "S-8": "1180"},
                                           ("truth-value",)),
    "workbook with a time of day": Case(book(*SOUND, work=styled(2, 7, datetime(2026, 3, 1, 9, 30))),
                                        {"C-175": "89", "S-8": "1180"}, ("date",)),
    "workbook with a day as a plain number": Case(book(*SOUND, work=styled(2, 7, 46082, "General")),
                                                  {"C-175": "89", "S-8": "1180"}, ("date",)),
    "workbook with a day for a number": Case(book(*SOUND, work=styled(2, 1, date(2026, 4, 3))),
                                             {"C-175": "89", "S-8": "1180"}, ("sku-as-number",)),
    "workbook with a number as a figure": Case(book(*SOUND, work=styled(2, 1, 1.5e15)), {"C-175": "89", "S-8": "1180"},
                                               ("sku-as-number",)),
    "workbook that shows leading zeros": Case(book(*SOUND, work=styled(2, 1, 417, "000000")),
                                              {"000417": "7.85", "C-175": "89", "S-8": "1180"}),
    "workbook with merged prices": Case(book(*SOUND, work=merged), {"B-14": "7.85", "S-8": "1180"}, ("no-price",)),
    "workbook with a hidden sheet": Case(book(*SOUND, work=sheets("Old", hidden=("Old",), filled=True)), ALL),
    "workbook of several sheets": Case(book(*SOUND, work=sheets("Web", filled=True)), {}, refused="Sheet, Web"),
    "workbook of several sheets, one named": Case(book(*SOUND, work=sheets("Web", filled=True)), ALL,
                                                  reading=replace(YARD, sheet="Sheet")),
    "workbook without the sheet named": Case(book(*SOUND), {}, reading=replace(YARD, sheet="Net"),
                                             refused="a sheet Net"),
    "workbook with cells behind the table": Case(book(*SOUND, work=styled(2, 12, "note")),
                                                 {"C-175": "89", "S-8": "1180"}, ("shifted",)),
    "workbook with a far column": Case(book(*SOUND, work=styled(2, 5_000, "x")), {}, refused="at most 200 columns"),
    "workbook that unpacks to too much": Case(package(xl__media__big_dot_bin=bytes(90_000_000)), {},
                                              refused="bytes unpacked"),
    "workbook with a document type": Case(
        package(xl__workbook_dot_xml=b'<!DOCTYPE x [<!ENTITY a "b">]><workbook>&a;</workbook>'), {},
        refused="document type"),
    "workbook that is cut off": Case(book(*SOUND)[:-100], {}, refused="an XLSX workbook"),
    "a packed file of another kind": Case(b"PK\x03\x04" + bytes(100), {}, refused="an XLSX workbook"),
}  # fmt: skip


def read(case: Case) -> PriceFile:
    return read_price_file(case.content, currency="USD", reading=case.reading)


@pytest.mark.parametrize("case", CASES.values(), ids=CASES.keys())
def test_a_dirty_file_gives_what_is_right_in_it_and_accounts_for_every_row(case):
    if case.refused:
        with pytest.raises(FileRefused) as refused:
            read(case)
        assert case.refused in str(refused.value)
        return
    file = read(case)
    assert {price.sku: price.price for price in file.prices} == {
        sku: Decimal(price) for sku, price in case.prices.items()
    }
    assert tuple(row.code for row in file.rejected) == case.rejected
    assert all(row.reason and row.cells for row in file.rejected)
    assert len(file.prices) + len(file.rejected) == file.line_count and file.blank_count == case.blank
    for price in file.prices:
        assert type(price.price) is Decimal and price.currency == "USD" and price.valid_from == date(2026, 3, 1)


def test_there_are_sixty_dirty_files_and_more():
    assert len(CASES) >= 60
    assert len({case.content for case in CASES.values()}) >= 60


def test_what_a_workbook_stores_beside_what_it_shows_is_told_with_the_row():
    file = read(Case(book(*SOUND, work=styled(2, 6, 27.154, "0.00")), {}))
    assert file.prices[0].note == "price 27.154 is stored; 27.15 was taken, as it is shown"
    assert file.prices[1].note == ""


@pytest.mark.parametrize(
    ("stored", "number_format", "value"),
    [
        (27.150000000000002, "General", "27.15"), (0.1 + 0.2, "General", "0.3"), (1180, "General", "1180"),
        (7.855, "0.00", "7.86"), (1.005, "0.00", "1.01"), (12.5, "0", "12.5"), (89.0, "#,##0.00", "89"),
        (1234.5678, '_($* #,##0.00_);_($* (#,##0.00)', "1234.57"), (0.0001, "General", "0.0001"),
        (123456789.12, "0.00", "123456789.12"),
    ],
)  # fmt: skip
def test_a_stored_number_becomes_the_decimal_that_is_shown(stored, number_format, value):
    number = number_of(stored, number_format)
    assert isinstance(number, Number) and number.value == Decimal(value)
    assert bool(number.note) == (Decimal(repr(stored)) != Decimal(value))


def test_a_font_and_an_empty_column_make_no_difference():
    def work(made: Workbook) -> None:
        made.active["A1"].font = Font(bold=True)
        made.active["K9"].font = Font(bold=True)

    assert len(read(Case(book(*SOUND, work=work), {})).prices) == 3


# The demo list with its planted faults


@pytest.fixture(scope="module")
def planted() -> PriceFile:
    return read_price_file(PLANTED.read_bytes(), currency="USD")


def test_every_planted_fault_is_caught_and_explained(planted):
    found = {(row.line, row.code): row for row in planted.rejected}
    assert set(found) == {
        (6, "duplicate-sku"), (7, "duplicate-sku"), (8, "no-price"), (32, "currency"),
    }
    assert "line 7 (27.15 per H87)" in found[6, "duplicate-sku"].reason
    assert "price '' was read" in found[8, "no-price"].reason
    assert "'CAD' was read; expected USD" in found[32, "currency"].reason
    assert len(planted.prices) + len(planted.rejected) == planted.line_count == 43


def test_the_planted_later_and_discontinued_rows_are_kept_for_what_they_are(planted):
    boards = [price for price in planted.prices if price.sku == "QH-5/4X6-14"]
    assert [(str(price.price), str(price.valid_from)) for price in boards] == [
        ("7.85", "2026-03-01"), ("8.24", "2026-04-01"),
    ]
    (gone,) = [price for price in planted.prices if price.sku == "QC-SOL-20"]
    assert gone.status == "discontinued"
    assert [price.sku for price in planted.prices if price.sku.startswith("DR-GRD")] == ["DR-GRD-U"]


# Readings


def test_a_reading_is_guessed_from_headings_and_values():
    content = text(*(
        (*row[:5], row[5].replace(".", ","), "21.03.2026", row[7]) for row in SOUND
    ), headings=("Item No.", "Description", "UOM", "Pack Size", "Content unit", "Net price", "Valid from", "Status"),
        separator=";")
    guess = guess_reading(content)
    assert guess.reading["columns"] == {
        "sku": "Item No.", "description": "Description", "supplier_uom": "UOM", "pack_qty": "Pack Size",
        "base_unit": "Content unit", "price": "Net price", "valid_from": "Valid from", "status": "Status",
    }
    assert (guess.reading["decimal"], guess.reading["dates"], guess.reading["delimiter"]) == (",", "dmy", ";")
    asked = " ".join(guess.questions)
    assert "currency" in asked and "'BX' was read; expected XBX" in asked


@pytest.mark.parametrize(
    ("cells", "asked"),
    [
        ({"net": "1.234"}, "decimal: '1.234' may be read in two ways"),
        ({"first": "03/04/2026"}, "dates: 03/04/2026"),
        ({"uom": "M"}, "perhaps MIL (thousand) or MTR (metre)"),
    ],
)
def test_what_a_file_leaves_open_is_asked_and_not_guessed(cells, asked):
    guess = guess_reading(text(changed(BOARD, **cells)))
    assert any(asked in question for question in guess.questions)
    if "decimal" in asked:
        assert guess.reading["decimal"] is None
    if "dates" in asked:
        assert guess.reading["dates"] is None
    with pytest.raises(NoReading):
        reading_from({**guess.reading, "decimal": guess.reading["decimal"], "constants": {}})


def test_a_heading_that_may_be_net_or_list_is_asked():
    headings = ("SKU", "Description", "UOM", "Pack", "Each", "Price", "From", "State")
    guess = guess_reading(text(*SOUND, headings=headings))
    assert any("net or list" in question for question in guess.questions)


@pytest.mark.parametrize("content", [b"", b"\x00\x01", b"a,b\n1,2\n", bytes(range(256))])
def test_no_reading_is_guessed_where_no_table_is_seen(content):
    with pytest.raises(FileRefused):
        guess_reading(content)


@pytest.mark.parametrize(
    ("values", "said"),
    [
        ({"columns": {}}, "there is no sku"), ({"decimal": ",", "thousands": ","}, "both decimal and thousands"),
        ({"colour": "red"}, "'colour' was read"), ({"dates": "ydm"}, "dates 'ydm' was read"),
        ({"words": {"M": "M"}}, "the unit of 'M'"),
        ({"constants": {"currency": "USD", "sku": "x"}}, "sku stands in both"),
        ({"discount": "100"}, "discount must be"), ({"discount": "5"}, "both a net price and a discount"),
        ({"columns": {**YARD.columns, "tier": "Net"}}, "'Net' stands for two fields"),
        ({"words": {"a": 1}}, "text to text"), ({"symbol": "1"}, "symbol must be"), ({"symbol": "-"}, "symbol must be"),
        ({"statuses": {"D": "gone"}}, "active or discontinued"), ({"encoding": "utf-7"}, "encoding 'utf-7'"),
        ({"columns": {"colour": "Red"}}, "colour"), ({"header_lines": 3}, "header_lines"),
        ({"sheet": 5}, "sheet must be"),
    ],
)  # fmt: skip
def test_a_reading_that_cannot_be_used_is_refused_with_the_reason(values, said):
    with pytest.raises(NoReading) as refused:
        reading_from(YARD.as_json() | values)
    assert said in str(refused.value)


def test_a_reading_is_kept_and_read_back_as_it_was():
    assert reading_from(YARD.as_json()) == YARD
    assert reading_from(None) is OWN and set(OWN.columns) == set(COLUMNS)


def test_a_large_workbook_is_streamed():
    lines = lines_of(book(*(changed(BOARD, sku=f"B-{n}") for n in range(500))))
    assert next(lines)[0] == 1 and sum(1 for _ in lines) == 500
