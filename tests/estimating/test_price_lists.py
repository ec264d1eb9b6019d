"""Tests of price lists: reading a file, staging it, approving it, and the price on a day."""

import csv
import io
from datetime import UTC, date, datetime
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from estimating.models import History, Material, Office, Price, PriceList, PriceListVersion, Supplier
from estimating.office import OfficeNotSet
from estimating.price_book import Ambiguous, ItemPrice, Unmapped, price_items
from estimating.price_columns import OWN
from estimating.price_lists import (
    COLUMNS,
    CannotKeep,
    Discontinued,
    FileRefused,
    Gone,
    HeldForAPerson,
    NoPrice,
    NotListed,
    NotSoldSo,
    NotStaged,
    NotValidThen,
    RepeatedFile,
    approve_version,
    drop_version,
    price_on,
    read_price_file,
    stage_price_file,
)

NOW = datetime(2026, 3, 2, 15, 0, tzinfo=UTC)
HEADER = ",".join(COLUMNS)
STICK = "T-2X8,2x8x12 treated,MBF,MBF,,EA,1180.00,USD,per MBF,2026-03-01,2026-03-31,active"
BOX = "F-CLIP,Hidden clip,BX,XBX,175,EA,89.00,USD,per box,2026-03-01,,active"
GOOD = (STICK, BOX)


def file_of(*rows: str, header: str = HEADER, end: str = "\n") -> bytes:
    return (end.join([header, *rows]) + end).encode()


def changed(row: str, **cells: str) -> str:
    """`row` with some of its cells changed."""
    values = dict(zip(COLUMNS, row.split(","), strict=True)) | cells
    return ",".join(values.values())


def read(content: bytes):
    return read_price_file(content, currency="USD")


def rejection_of(row: str):
    """Why `row`, put among good ones, is no price."""
    file = read(file_of(*GOOD, row))
    assert [price.line for price in file.prices] == [2, 3]
    (rejected,) = file.rejected
    assert rejected.line == 4
    return rejected


# Reading


def test_every_row_of_a_good_file_becomes_a_price():
    file = read(file_of(*GOOD))
    assert file.rejected == () and file.line_count == 2
    stick, box = file.prices
    assert (stick.sku, stick.unit, stick.price, stick.pack_quantity) == ("T-2X8", "MBF", Decimal("1180.00"), None)
    assert (stick.valid_from, stick.valid_to) == (date(2026, 3, 1), date(2026, 3, 31))
    assert (box.unit, box.pack_quantity, box.base_unit, box.valid_to) == ("XBX", Decimal(175), "EA", None)


@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"], ids=["LF", "CRLF", "CR"])
@pytest.mark.parametrize("mark", [b"", b"\xef\xbb\xbf"], ids=["plain", "byte order mark"])
def test_line_ends_and_a_byte_order_mark_make_no_difference(end, mark):
    file = read(mark + file_of(*GOOD, end=end))
    assert [price.sku for price in file.prices] == ["T-2X8", "F-CLIP"]
    assert [price.line for price in file.prices] == [2, 3]


def test_columns_may_stand_in_any_order_and_blank_lines_between():
    turned = [",".join(reversed(row.split(","))) for row in (HEADER, STICK)]
    file = read("\n".join([turned[0], "", ",,,", turned[1], ""]).encode())
    assert [(price.line, price.sku, price.price) for price in file.prices] == [(4, "T-2X8", Decimal("1180.00"))]


def test_a_quoted_cell_may_hold_commas_and_quotes():
    file = read(file_of(STICK.replace("2x8x12 treated", '"2x8, 12 ft, ""treated"""')))
    assert file.prices[0].description == '2x8, 12 ft, "treated"'


def test_leading_zeros_of_a_number_stay():
    assert read(file_of(changed(STICK, sku="000417"))).prices[0].sku == "000417"


@pytest.mark.parametrize(
    ("cells", "code", "said"),
    [
        ({"price": ""}, "no-price", "blank"),
        ({"price": "0.00"}, "zero-price", "above 0"),
        ({"price": "-5"}, "odd-price", "'-5' was read"),
        ({"price": "1e3"}, "odd-price", "digits with a point"),
        ({"price": "12.34567"}, "odd-price", "four decimals"),
        ({"price": "123456789012.00"}, "odd-price", "digits"),
        ({"price": "١٢"}, "odd-price", "digits"),
        ({"price": "NaN"}, "odd-price", "'NaN' was read"),
        ({"price": "$12.00"}, "odd-price", "'$12.00' was read"),
        ({"currency": "CAD"}, "currency", "USD, the one currency"),
        ({"currency": ""}, "currency", "USD"),
        ({"sku": ""}, "no-sku", "supplier's number"),
        ({"sku": "1.2E+05"}, "sku-as-number", "spreadsheet"),
        ({"sku": "@SUM"}, "odd-sku", "not opening with"),
        ({"sku": "A" * 61}, "odd-sku", "60"),
        ({"sku": "5’"}, "odd-sku", "typographic"),
        ({"sku": "=1+1"}, "formula", "not a formula"),
        ({"description": "d" * 201}, "odd-text", "200"),
        ({"rec20": "LFT", "supplier_uom": "LFT"}, "unit", "perhaps LF"),
        ({"rec20": "BX"}, "unit", "XBX"),
        ({"rec20": ""}, "unit", "Rec 20"),
        ({"base_unit": "XBX"}, "unit", "what the package holds"),
        ({"rec20": "XBX", "supplier_uom": "BX", "price_basis": "per box"}, "no-pack_qty", "how many EA one box holds"),
        ({"pack_qty": "12"}, "pack", "measure and no package"),
        ({"rec20": "EA", "supplier_uom": "EA", "price_basis": "per EA", "pack_qty": "175"}, "pack", "one EA is 1 EA"),
        ({"pack_qty": "1,5".replace(",", ";")}, "odd-pack_qty", "digits"),
        ({"supplier_uom": "EA"}, "units-disagree", "MBF"),
        ({"price_basis": "per EA"}, "units-disagree", "MBF"),
        ({"valid_from": ""}, "date", "2026-03-01"),
        ({"valid_from": "03/01/2026"}, "date", "2026-03-01"),
        ({"valid_from": "2026-02-30"}, "date", "'2026-02-30' was read"),
        ({"valid_to": "2026-02-01"}, "dates", "not before valid_from 2026-03-01"),
        ({"status": "discontinueed"}, "status", "active or discontinued"),
        ({"status": ""}, "status", "active or discontinued"),
    ],
)
def test_a_row_that_is_no_price_is_kept_out_with_the_reason(cells, code, said):
    rejected = rejection_of(changed(STICK, **({"sku": "OTHER"} | cells)))
    assert rejected.code == code
    assert said in rejected.reason


@pytest.mark.parametrize("price", ['"1,180.00"', '"1180,00"', "1 180.00"], ids=["thousands", "decimal comma", "space"])
def test_separators_in_a_price_are_not_guessed_at(price):
    assert rejection_of(changed(STICK, sku="OTHER").replace("1180.00", price)).code == "odd-price"


@pytest.mark.parametrize("row", ["OTHER,2x8", STICK + ",extra"], ids=["short", "long"])
def test_a_row_with_shifted_cells_is_kept_out_as_it_was_read(row):
    rejected = rejection_of(row)
    assert rejected.code == "shifted" and list(rejected.cells) == row.split(",")


def test_a_row_with_several_faults_tells_them_all():
    reason = rejection_of(changed(STICK, sku="OTHER", price="", currency="CAD", status="?")).reason
    assert all(column in reason for column in ("price", "currency", "status"))


def test_the_suppliers_own_word_for_a_base_unit_stands_for_its_code():
    nails = "F-NAIL,Nails,LB,LBR,1,LB,6.40,USD,per lb,2026-03-01,,active"
    assert read(file_of(nails)).prices[0].base_unit == "LBR"


def test_two_prices_for_one_sku_on_one_day_are_both_kept_out_and_name_each_other():
    twin = "T-2X8,2x8x12 (web),EA,H87,1,EA,27.15,USD,per EA,2026-02-10,,active"
    file = read(file_of(STICK, BOX, twin))
    assert [price.sku for price in file.prices] == ["F-CLIP"]
    assert [(r.line, r.code) for r in file.rejected] == [(2, "duplicate-sku"), (4, "duplicate-sku")]
    assert "line 4 (27.15 per H87)" in file.rejected[0].reason
    assert "line 2 (1180.00 per MBF)" in file.rejected[1].reason


def test_a_row_said_twice_word_for_word_stands_once():
    file = read(file_of(STICK, STICK))
    assert [price.line for price in file.prices] == [2]
    assert [(r.line, r.code) for r in file.rejected] == [(3, "repeated")]


def test_a_row_for_later_days_is_a_price_of_its_own():
    later = changed(STICK, price="1240.00", valid_from="2026-04-01", valid_to="2026-04-30")
    assert len(read(file_of(STICK, later)).prices) == 2


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"", "header line"),
        (b"\n\n", "header line"),
        (HEADER.encode(), "at least one row"),
        (file_of(*GOOD, header=HEADER.replace("sku", "item")), "no column sku; column item unknown"),
        (file_of(*GOOD, header=HEADER.replace("description", "sku")), "column sku twice"),
        (file_of(*GOOD).replace(b",", b";"), "separated by commas"),
        (b"Spring prices,,,,,,,,,,,\n" + file_of(*GOOD), "the columns"),
        (file_of(*GOOD).decode().encode("utf-16"), "UTF-8"),
        (file_of(*GOOD) + b"caf\xe9", "line 4: 'byte 0xe9' was read; expected text in UTF-8"),
        (file_of(*GOOD) + b"\x00", "plain text"),
        (file_of(*GOOD) + b'"open,', "quotes closed"),
        (file_of(*GOOD)[:-20], "cut off"),
        (file_of(changed(STICK, price="")), "the cell is blank"),
        (b"PK\x03\x04\x14\x00\x06\x00", "plain text"),
        (b"x" * 20_000_001, "at most 20000000 bytes"),
    ],
)
def test_a_fault_in_the_file_as_a_whole_refuses_it(content, said):
    with pytest.raises(FileRefused) as refused:
        read(content)
    assert said in str(refused.value)


cells = st.sampled_from(["", "1", "1.50", "-1", "1,5", "EA", "MBF", "XBX", "USD", "2026-03-01", "active", "é", '"'])


@given(st.lists(st.lists(st.one_of(cells, st.text(max_size=8)), min_size=10, max_size=13), max_size=6))
def test_every_row_of_any_file_is_a_price_or_a_rejection(rows):
    written = io.StringIO()
    csv.writer(written).writerows(rows)
    content = file_of(*GOOD) + written.getvalue().encode("utf-8", "replace")
    try:
        file = read(content)
    except FileRefused as refused:
        assert "\x00" in written.getvalue() and "plain text" in str(refused)
        return
    lines = [*(price.line for price in file.prices), *(row.line for row in file.rejected)]
    blank = sum(not any(cell.strip() for cell in row) for row in rows)
    assert len(lines) == len(set(lines)) == file.line_count == len(GOOD) + len(rows) - blank


@given(st.binary(max_size=200))
def test_bytes_of_any_kind_are_refused_and_never_a_defect(content):
    with pytest.raises(FileRefused):
        read(content)


def test_more_rows_than_the_limit_refuse_the_file(monkeypatch):
    monkeypatch.setattr("estimating.price_rows.MOST_ROWS", 2)
    with pytest.raises(FileRefused, match="at most 2") as refused:
        read(file_of(*GOOD, changed(STICK, sku="OTHER")))
    assert refused.value.too_large


# Keeping


@pytest.fixture
def price_list(db) -> PriceList:
    Office.objects.create(name="Test Decks")
    supplier = Supplier.objects.create(name="Test Timber")
    return PriceList.objects.create(supplier=supplier, name="yard")


def stage(price_list: PriceList, *rows: str) -> PriceListVersion:
    return stage_price_file(price_list.pk, file_of(*rows), source_name="march.csv", by=None, now=NOW)


def approved(price_list: PriceList, *rows: str) -> PriceListVersion:
    return approve_version(stage(price_list, *rows).pk, by=None, now=NOW)


def test_a_staged_file_keeps_prices_and_rejected_rows_and_is_not_in_force(price_list):
    version = stage(price_list, *GOOD, changed(STICK, sku="OTHER", price=""))
    assert version.state == "staged" and version.number is None and version.line_count == 3
    assert (version.valid_from, version.valid_to) == (date(2026, 3, 1), None)
    assert [price.sku for price in version.prices.all()] == ["T-2X8", "F-CLIP"]
    (rejected,) = version.rejected.all()
    assert (rejected.line, rejected.sku, rejected.code) == (4, "OTHER", "no-price")
    assert price_items(["support/pad"], date(2026, 3, 2)).keys() == {"support/pad"}


def test_approval_numbers_the_versions_of_a_list_and_is_noted(price_list):
    first = approved(price_list, STICK)
    second = approved(price_list, changed(STICK, price="1200.00"))
    assert (first.number, second.number) == (1, 2)
    actions = History.objects.filter(subject="price-list-version").values_list("action", flat=True)
    assert list(actions) == ["stage", "approve", "stage", "approve"]


def test_a_file_that_is_refused_changes_nothing(price_list):
    in_force = approved(price_list, STICK)
    with pytest.raises(FileRefused):
        stage_price_file(price_list.pk, b"nonsense", source_name="", by=None, now=NOW)
    assert list(PriceListVersion.objects.all()) == [in_force]
    assert Price.objects.count() == 1


def test_a_failure_half_way_leaves_nothing_behind(price_list, monkeypatch):
    def fail(*args, **kwargs):
        raise RuntimeError("power cut")

    monkeypatch.setattr("estimating.price_lists._rejected_values", fail)  # the prices are in by then
    with pytest.raises(RuntimeError):
        stage(price_list, *GOOD)
    assert not PriceListVersion.objects.exists() and not Price.objects.exists() and not History.objects.exists()


def test_the_same_file_again_changes_nothing(price_list):
    staged = stage(price_list, *GOOD)
    with pytest.raises(RepeatedFile) as again:
        stage(price_list, *GOOD)
    assert again.value.version == staged
    approve_version(staged.pk, by=None, now=NOW)
    with pytest.raises(RepeatedFile):
        stage(price_list, *GOOD)
    assert PriceListVersion.objects.count() == 1


def test_an_older_file_may_come_back_after_another(price_list):
    approved(price_list, STICK)
    approved(price_list, changed(STICK, price="1200.00"))
    assert approved(price_list, STICK).number == 3


def test_an_approved_version_is_neither_approved_again_nor_dropped(price_list):
    version = approved(price_list, STICK)
    with pytest.raises(NotStaged):
        approve_version(version.pk, by=None, now=NOW)
    with pytest.raises(NotStaged):
        drop_version(version.pk, by=None, now=NOW)
    assert version.prices.count() == 1


def test_a_staged_version_can_be_dropped_with_its_rows(price_list):
    drop_version(stage(price_list, *GOOD, changed(STICK, sku="OTHER", price="")).pk, by=None, now=NOW)
    assert not PriceListVersion.objects.exists() and not Price.objects.exists()


TWIN = "T-2X8,2x8x12 (web),EA,H87,1,EA,27.15,USD,per EA,2026-02-10,,active"


def test_a_person_settles_a_duplicate_on_approval(price_list):
    version = stage(price_list, STICK, BOX, TWIN)
    version = approve_version(version.pk, keep_lines=[2], by=None, now=NOW)
    assert price_on(version, "T-2X8", date(2026, 3, 2)).unit == "MBF"
    assert [row.line for row in version.rejected.all()] == [4]


@pytest.mark.parametrize(("lines", "said"), [([2, 4], "another price"), ([3], "Line 3"), ([2, 99], "Line 99")])
def test_lines_that_do_not_settle_a_duplicate_are_refused_and_nothing_is_approved(price_list, lines, said):
    version = stage(price_list, STICK, BOX, TWIN)
    with pytest.raises(CannotKeep, match=said):
        approve_version(version.pk, keep_lines=lines, by=None, now=NOW)
    version.refresh_from_db()
    assert version.state == "staged" and version.prices.count() == 1 and version.rejected.count() == 2


def test_no_file_is_staged_before_the_office_has_a_currency(price_list):
    Office.objects.all().delete()
    with pytest.raises(OfficeNotSet):
        stage(price_list, STICK)


# The price on a day

APRIL = changed(STICK, price="1240.00", valid_from="2026-04-01", valid_to="2026-04-30")


@pytest.mark.parametrize(
    ("on", "price"), [("2026-03-01", "1180"), ("2026-03-31", "1180"), ("2026-04-01", "1240"), ("2026-04-30", "1240")]
)
def test_the_row_that_holds_on_the_day_is_taken_first_and_last_day_included(price_list, on, price):
    assert price_on(approved(price_list, STICK, APRIL), "T-2X8", date.fromisoformat(on)).price == Decimal(price)


@pytest.mark.parametrize("on", ["2026-02-28", "2026-05-01"])
def test_a_day_outside_all_rows_has_no_price_and_the_message_says_which_have(price_list, on):
    with pytest.raises(NotValidThen, match="2026-03-01 to 2026-03-31; 2026-04-01 to 2026-04-30"):
        price_on(approved(price_list, STICK, APRIL), "T-2X8", date.fromisoformat(on))


def test_a_later_row_in_the_same_unit_supersedes_an_open_ended_one(price_list):
    version = approved(price_list, BOX, changed(BOX, price="93.00", valid_from="2026-04-01"))
    assert price_on(version, "F-CLIP", date(2026, 3, 31)).price == Decimal(89)
    assert price_on(version, "F-CLIP", date(2026, 4, 1)).price == Decimal(93)


def test_discontinued_goods_have_no_price(price_list):
    gone = changed(BOX, sku="OLD", valid_from="2025-09-01", valid_to="2025-12-31", status="discontinued")
    with pytest.raises(Discontinued, match="OLD is discontinued"):
        price_on(approved(price_list, BOX, gone), "OLD", date(2026, 3, 2))


def test_a_rejected_row_is_named_where_its_price_is_missing(price_list):
    version = approved(price_list, BOX, changed(STICK, price=""))
    with pytest.raises(NotListed, match="line 3 of the file was rejected: price '' was read"):
        price_on(version, "T-2X8", date(2026, 3, 2))


def test_an_old_version_still_gives_its_own_prices(price_list):
    old = approved(price_list, STICK)
    approved(price_list, changed(STICK, price="1300.00"))
    assert price_on(old, "T-2X8", date(2026, 3, 2)).price == Decimal(1180)


def test_what_a_new_version_leaves_out_is_gone_and_its_last_price_is_named(price_list):
    approved(price_list, STICK, BOX)
    second = approved(price_list, BOX)
    with pytest.raises(Gone, match=r"gone from .* v2; .* v1 had it at 1180\.0000 per MBF.*not discontinued"):
        price_on(second, "T-2X8", date(2026, 3, 2))
    third = approved(price_list, changed(BOX, price="90.00"))
    with pytest.raises(Gone, match="v1 had it"):
        price_on(third, "T-2X8", date(2026, 3, 2))
    with pytest.raises(NotListed) as never:
        price_on(third, "NONE", date(2026, 3, 2))
    assert not isinstance(never.value, Gone)


MORE = ("list_price", "freight", "minimum_order", "lead_days", "superseded_by", "tier")


def stage_more(price_list: PriceList, *rows: str) -> PriceListVersion:
    content = file_of(*rows, header=f"{HEADER},{','.join(MORE)}")
    staged = stage_price_file(price_list.pk, content, source_name="", by=None, now=NOW)
    return approve_version(staged.pk, by=None, now=NOW)


def test_net_list_freight_minimum_order_lead_and_successor_are_kept(price_list):
    version = stage_more(price_list, f"{BOX},96.00,1.25,4,10,,", f"{STICK},,,,,,")
    clip = price_on(version, "F-CLIP", date(2026, 3, 2))
    assert (clip.price, clip.list_price, clip.freight, clip.landed) == (
        Decimal("89"), Decimal("96"), Decimal("1.25"), Decimal("90.25"),
    )
    assert (clip.minimum_order, clip.lead_days) == (Decimal(4), 10)
    stick = price_on(version, "T-2X8", date(2026, 3, 2))
    assert stick.list_price is None and stick.landed == stick.price
    old = f"{changed(BOX, sku='OLD', status='discontinued')},,,,,F-CLIP,"
    with pytest.raises(Discontinued, match="OLD is discontinued in .*; F-CLIP takes its place"):
        price_on(stage_more(price_list, f"{BOX},,,,,,", old), "OLD", date(2026, 3, 2))


@pytest.mark.parametrize(
    ("cells", "code"),
    [("88.99,,,,,", "net-above-list"), (",-1,,,,", "odd-freight"), (",,0,,,", "zero-minimum_order"),
     (",,,2.5,,", "odd-lead_days"), (",,,9999,,", "odd-lead_days")],
)  # fmt: skip
def test_a_row_whose_other_figures_cannot_be_is_kept_out(cells, code):
    file = read(file_of(f"{STICK},,,,,,", f"{BOX},{cells}", header=f"{HEADER},{','.join(MORE)}"))
    assert [row.code for row in file.rejected] == [code] and len(file.prices) == 1


def test_the_price_of_a_tier_is_the_offices_own_and_one_without_a_tier_holds_for_all(price_list):
    version = stage_more(
        price_list, f"{BOX},,,,,,A", f"{changed(BOX, price='95.00')},,,,,,B", f"{STICK},,,,,,",
    )
    price_list.tier = version.price_list.tier = "B"
    price_list.save()
    assert price_on(version, "F-CLIP", date(2026, 3, 2)).price == Decimal(95)
    assert price_on(version, "F-CLIP", date(2026, 3, 2), tier="A").price == Decimal(89)
    assert price_on(version, "T-2X8", date(2026, 3, 2)).price == Decimal(1180)
    with pytest.raises(NotSoldSo, match="no price in tier C .* per XBX in tier A; per XBX in tier B"):
        price_on(version, "F-CLIP", date(2026, 3, 2), tier="C")


EACH = "F-CLIP,Hidden clip,EA,EA,,EA,0.60,USD,per EA,2026-03-01,,active"


def test_a_supplier_who_sells_one_number_in_several_packs_has_a_price_for_each(price_list):
    assert {row.code for row in read(file_of(STICK, BOX, EACH)).rejected} == {"duplicate-sku"}
    price_list.reading = OWN.as_json() | {"packs_apart": True}
    price_list.save()
    version = approved(price_list, STICK, BOX, EACH)
    assert price_on(version, "F-CLIP", date(2026, 3, 2), unit="EA").price == Decimal("0.60")
    assert price_on(version, "F-CLIP", date(2026, 3, 2), unit="XBX").price == Decimal(89)
    with pytest.raises(NotSoldSo, match="sold in several packs"):
        price_on(version, "F-CLIP", date(2026, 3, 2))
    with pytest.raises(NotSoldSo, match="no price per CEN"):
        price_on(version, "F-CLIP", date(2026, 3, 2), unit="CEN")
    Material.objects.create(item_key="fixing/hidden", supplier=price_list.supplier, sku="F-CLIP", buying_unit="EA")
    assert price_items(["fixing/hidden"], date(2026, 3, 2))["fixing/hidden"].price.price == Decimal("0.60")


def test_every_column_of_a_price_comes_back_as_it_was_written(price_list):
    row = f"{changed(BOX, price='12345678901.2345', sku='000417')},99999999999.9999,0.0001,99999999.9999,3650,N-1,Ä"
    version = stage_more(price_list, row, f"{STICK},,,,,,")
    file = read(file_of(row, header=f"{HEADER},{','.join(MORE)}"))
    kept = version.prices.get(sku="000417")
    for name, value in file.prices[0]._asdict().items():
        assert getattr(kept, name) == value and not isinstance(getattr(kept, name), float), name


def test_a_version_is_compared_anew_where_another_came_into_force_meanwhile(price_list):
    approved(price_list, STICK)
    waiting = stage(price_list, changed(STICK, price="1300.00"))
    approved(price_list, changed(STICK, price="2300.00"))
    again = stage(price_list, changed(STICK, price="1100.00"))
    assert waiting.changes["dearer"] == 1 and [row["code"] for row in waiting.findings] == []
    with pytest.raises(HeldForAPerson, match="implausible"):
        approve_version(again.pk, by=None, now=NOW)
    done = approve_version(waiting.pk, by=None, now=NOW)
    assert (done.number, done.changes["cheaper"], done.compared_with.number) == (3, 1, 2)


def test_numbers_that_another_list_of_the_supplier_prices_too_are_told(price_list):
    other = PriceList.objects.create(supplier=price_list.supplier, name="web")
    approved(other, BOX)
    (finding,) = [row for row in stage(price_list, STICK, BOX).findings if row["code"] == "elsewhere"]
    assert finding["named"] == ["F-CLIP in Test Timber: web v1"] and not finding["holds"]


@pytest.fixture
def mapped(price_list) -> PriceList:
    supplier = price_list.supplier
    Material.objects.create(item_key="lumber/2x8/144", supplier=supplier, sku="T-2X8", thickness=2, width=8)
    Material.objects.create(item_key="decking/*/168", supplier=supplier, sku="D-14")
    Material.objects.create(item_key="fixing/hidden", supplier=supplier, sku="F-CLIP")
    return price_list


DAY = date(2026, 3, 2)


def test_an_item_key_leads_to_its_price_and_to_what_one_piece_is(mapped):
    approved(mapped, STICK, BOX)
    found = price_items(["lumber/2x8/144", "fixing/hidden"], DAY)
    stick, clip = found["lumber/2x8/144"], found["fixing/hidden"]
    assert isinstance(stick, ItemPrice) and stick.piece.length == 144 and stick.piece.width == 8 and stick.pack is None
    assert clip.pack.quantity == 175 and clip.pack.unit == "EA" and clip.piece is None


@pytest.mark.parametrize(
    ("item", "sku"),
    [
        ("decking/teak/168", "D-14"),
        ("decking/cumaru-5/4x6/168", "D-14"),  # an item's own name may hold a slash
        ("decking/ipe/168", "D-IPE"),  # without stars goes first
        ("decking/ipe/144", "D-ANY"),
        ("decking/red-oak/168", "D-OAK"),  # more letters go first
    ],
)
def test_a_star_stands_for_any_text_and_the_closest_key_is_taken(mapped, item, sku):
    boards = "D-14,Deck board 14 ft,LF,LF,,LF,7.85,USD,per LF,2026-03-01,,active"
    approved(mapped, boards, *(changed(boards, sku=other) for other in ("D-IPE", "D-ANY", "D-OAK")))
    for key, other in (("decking/ipe/168", "D-IPE"), ("decking/*", "D-ANY"), ("decking/red-oak/*", "D-OAK")):
        Material.objects.create(item_key=key, supplier=mapped.supplier, sku=other)
    assert price_items([item], DAY)[item].price.sku == sku


@pytest.mark.parametrize("item", ["lumber/2x8/1440", "lumber/2x8", "decking//168", "xlumber/2x8/144", "lumber.2x8.144"])
def test_a_key_that_does_not_fit_is_not_mapped(mapped, item):
    approved(mapped, STICK)
    assert isinstance(price_items([item], DAY)[item], Unmapped)


def test_of_two_keys_that_fit_equally_none_is_taken(mapped):
    Material.objects.create(item_key="decking/oak/*", supplier=mapped.supplier, sku="D-OAK")
    reason = price_items(["decking/oak/168"], DAY)["decking/oak/168"]
    assert isinstance(reason, Ambiguous) and "decking/*/168 and decking/oak/*" in str(reason)


def test_an_item_whose_goods_are_gone_says_what_they_last_cost(mapped):
    approved(mapped, STICK, BOX)
    approved(mapped, STICK)
    reason = price_items(["fixing/hidden"], DAY)["fixing/hidden"]
    assert isinstance(reason, Gone) and "v1 had it at 89.0000 per XBX" in str(reason)


def test_two_lists_of_a_supplier_with_a_price_on_the_day_are_not_chosen_between(mapped):
    other = PriceList.objects.create(supplier=mapped.supplier, name="web")
    approved(mapped, BOX)
    approved(other, BOX)
    assert isinstance(price_items(["fixing/hidden"], DAY)["fixing/hidden"], Ambiguous)


def test_only_the_materials_own_supplier_is_asked(mapped):
    other = PriceList.objects.create(supplier=Supplier.objects.create(name="Another Yard"), name="yard")
    approved(other, BOX)
    reason = price_items(["fixing/hidden"], DAY)["fixing/hidden"]
    assert isinstance(reason, NoPrice) and "Test Timber has no approved price list" in str(reason)


def test_looking_up_many_items_takes_no_more_queries_than_few(mapped, django_assert_num_queries):
    approved(mapped, STICK, BOX)
    with django_assert_num_queries(4):
        price_items(["fixing/hidden"], DAY)
    with django_assert_num_queries(4):
        price_items(["fixing/hidden", "lumber/2x8/144", *(f"decking/d{n}/168" for n in range(50))], DAY)
