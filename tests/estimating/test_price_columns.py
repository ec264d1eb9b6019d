"""Tests that any table of sound rows, written through any reading, is read back exactly."""

import csv
import io
from datetime import date
from decimal import Decimal

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from estimating.price_columns import FIELDS, Reading, reading_from
from estimating.price_rows import PriceRow, as_json, from_json, read_price_file

UNITS = (  # supplier's word, code, pack quantity, what it holds
    ("EA", "EA", None, "EA"), ("BX", "XBX", Decimal(175), "EA"), ("RL", "XRO", Decimal("65.5"), "LF"),
    ("TBF", "MBF", None, "EA"), ("Fuß", "LF", None, "LF"), ("Th", "MIL", Decimal(1000), "EA"),
)  # fmt: skip
amounts = st.decimals("0.0001", "99999999.9999", places=4, allow_nan=False)
days = st.dates(date(1990, 1, 1), date(2199, 12, 31))
letters = st.characters(codec="cp1252", exclude_categories=("C", "Z"))
words = st.text(letters, max_size=20).filter(lambda text: text[:1] != "=")


@st.composite
def tables(draw) -> list[PriceRow]:
    skus = draw(st.lists(st.from_regex(r"\A[A-Z]{1,3}-?0{0,3}[0-9]{1,6}\Z"), min_size=1, max_size=8, unique=True))
    rows = []
    for n, sku in enumerate(skus):
        word, code, pack, base = draw(st.sampled_from(UNITS))
        price = draw(amounts)
        first = draw(days)
        last = draw(st.none() | st.dates(first, date(2199, 12, 31)))
        rows.append(PriceRow(
            n, sku, draw(words), word, code, pack, base, price,
            draw(st.none() | amounts.map(lambda more, price=price: price + more)), draw(st.none() | amounts),
            draw(st.none() | st.decimals("0.0001", "9999.9999", places=4)),
            draw(st.none() | st.integers(0, 365)), draw(words), draw(words), "", "USD", "", first, last,
            draw(st.sampled_from(("active", "discontinued"))),
        ))  # fmt: skip
    return rows


@st.composite
def readings(draw) -> Reading:
    decimal = draw(st.sampled_from(".,"))
    order = draw(st.permutations([name for name in FIELDS if name not in ("currency", "rec20", "price_basis")]))
    return Reading(
        {name: f"Spalte {name}" for name in order}, decimal=decimal,
        thousands=draw(st.sampled_from(["", " ", "'", {".": ",", ",": "."}[decimal]])),
        symbol=draw(st.sampled_from(["", "$", "USD"])), dates=draw(st.sampled_from(["ymd", "mdy", "dmy", "serial"])),
        constants={"currency": "USD"}, words={word: code for word, code, _, _ in UNITS},
        statuses={"A": "active", "": "discontinued"}, delimiter=draw(st.sampled_from([",", ";", "\t", "|"])),
        encoding=draw(st.sampled_from(["utf-8", "utf-16", "cp1252"])),
    )  # fmt: skip


def amount(value: Decimal | None, reading: Reading) -> str:
    if value is None:
        return ""
    whole, _, fraction = f"{value:f}".partition(".")
    grouped = f"{int(whole):,}".replace(",", reading.thousands) if reading.thousands else whole
    return grouped + (reading.decimal + fraction if fraction else "")


def day(value: date | None, order: str) -> str:
    if value is None:
        return ""
    if order == "serial":
        return str((value - date(1899, 12, 30)).days)
    return {"ymd": f"{value:%Y-%m-%d}", "mdy": f"{value:%m/%d/%Y}", "dmy": f"{value:%d.%m.%Y}"}[order]


def cell(row: PriceRow, name: str, reading: Reading) -> str:
    match name:
        case "price" | "list_price" | "freight":
            text = amount(getattr(row, name), reading)
            return f"{reading.symbol} {text}".strip() if text else ""
        case "minimum_order":
            return amount(row.minimum_order, reading)
        case "pack_qty":
            return amount(row.pack_quantity, reading)
        case "valid_from" | "valid_to":
            return day(getattr(row, name), reading.dates)
        case "status":
            return "A" if row.status == "active" else ""
        case "supplier_uom":
            return row.supplier_unit
        case "lead_days":
            return "" if row.lead_days is None else str(row.lead_days)
    return getattr(row, name)


@settings(suppress_health_check=[HealthCheck.too_slow], deadline=None)
@given(tables(), readings())
def test_any_table_of_sound_rows_reads_back_exactly_through_any_reading(rows, reading):
    out = io.StringIO()
    writer = csv.writer(out, delimiter=reading.delimiter)
    writer.writerow(reading.columns.values())
    writer.writerows([cell(row, name, reading) for name in reading.columns] for row in rows)
    content = out.getvalue().encode(reading.encoding)
    file = read_price_file(content, currency="USD", reading=reading_from(reading.as_json()))
    assert file.rejected == ()
    assert [row._replace(line=0) for row in file.prices] == [row._replace(line=0) for row in rows]
    for row in file.prices:
        assert all(not isinstance(value, float) for value in row)
        assert from_json(as_json(row)) == row
