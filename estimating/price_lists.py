"""Price lists: a supplier's file is read, staged, approved into a version that never changes, and priced from.

The file is UTF-8 text with commas, a header line naming exactly `COLUMNS` in any order, and a row a price. A fault in
the file as a whole refuses it; a fault in a row keeps that row out, with its line and the reason.
"""

import csv
import hashlib
import io
import re
from collections import defaultdict
from collections.abc import Callable, Collection, Iterable, Iterator, Mapping
from dataclasses import asdict, dataclass
from datetime import date, datetime
from decimal import Decimal

from django.db import transaction
from django.db.models import Max

from estimating import units
from estimating.models import Price, PriceList, PriceListVersion, RejectedPrice, User
from estimating.office import the_office
from estimating.service.history import note
from estimating.service.problems import refusal

COLUMNS = (
    "sku", "description", "supplier_uom", "rec20", "pack_qty", "base_unit",
    "price", "currency", "price_basis", "valid_from", "valid_to", "status",
)
MOST_BYTES = 20_000_000
MOST_ROWS = 200_000
MOST_FAULTS_TOLD = 100
BATCH = 2_000  # rows an INSERT; bounds memory

DUPLICATE = "duplicate-sku"


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


@refusal(409)
class RepeatedFile(PriceListError):
    """The same file, byte for byte, is already staged or in force; nothing was changed."""

    def __init__(self, version: PriceListVersion) -> None:
        self.version = version
        super().__init__(f"The same file is already there as {version}; nothing was changed.")


@refusal(409)
class NotStaged(PriceListError):
    """The version is approved already and stays as it is."""


class CannotKeep(PriceListError):
    """The lines to keep do not settle a duplicate."""


@dataclass(frozen=True)
class Rejection:
    """A row that is no price: where, why, and its cells as read. `column` and `code` are those of its first fault."""

    line: int
    sku: str
    column: str
    code: str
    reason: str
    cells: tuple[str, ...]


@dataclass(frozen=True)
class PriceFile:
    """What a file holds: prices (unsaved, without a version) and rejections, both in the file's order."""

    sha256: str
    line_count: int
    prices: tuple[Price, ...]
    rejected: tuple[Rejection, ...]


def read_price_file(content: bytes, *, currency: str) -> PriceFile:
    """Read a price list file; pure.

    `currency` is the one that this installation keeps (ISO 4217); rows in another are rejected. Raises FileRefused
    where the file as a whole is not a price list: too large, not UTF-8, a header that is not `COLUMNS`, no rows, cut
    off in its last line, or not one row that can be used.
    """
    prices: list[Price] = []
    rejected: list[Rejection] = []
    for line, cells, row in _rows(content):
        if row is None:
            expected = f"{len(COLUMNS)}, one for each column"
            reason = f"{len(cells)} cells were read; expected {expected}"
            rejected.append(Rejection(line, "", "", "shifted", reason, cells))
            continue
        price, faults = _read_row(line, row, currency)
        if price is not None:
            prices.append(price)
        else:
            rejected.append(_rejection(line, cells, faults))
        if len(prices) + len(rejected) > MOST_ROWS:
            raise FileRefused(FileFault(line, f"more than {MOST_ROWS} rows", f"at most {MOST_ROWS}"), too_large=True)
    count = len(prices) + len(rejected)
    if not count:
        raise FileRefused(FileFault(0, "a header and no rows", "at least one row of prices"))
    if clashes := _clashes(prices):
        prices = [price for price in prices if price.line not in clashes]
        rejected += (
            Rejection(line, _sku(cells), "sku", *clashes[line], cells)
            for line, cells, _ in _rows(content) if line in clashes
        )
    rejected.sort(key=lambda rejection: rejection.line)
    if not prices:
        raise FileRefused(*(
            FileFault(r.line, ",".join(r.cells)[:200], f"a row that can be used: {r.reason}")
            for r in rejected[:MOST_FAULTS_TOLD]
        ))
    return PriceFile(hashlib.sha256(content).hexdigest(), count, tuple(prices), tuple(rejected))


def _rows(content: bytes) -> Iterator[tuple[int, tuple[str, ...], dict[str, str] | None]]:
    """(line, cells in the order of COLUMNS, the same by column) of each row that is not blank.

    A row that has not one cell a column comes with its cells as they stand and None.
    """
    if len(content) > MOST_BYTES:
        raise FileRefused(
            FileFault(0, f"{len(content)} bytes", f"at most {MOST_BYTES} bytes"), too_large=True
        )
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = content.count(b"\n", 0, error.start) + 1
        raise FileRefused(FileFault(line, f"byte 0x{content[error.start]:02x}", "text in UTF-8")) from None
    if "\x00" in text:
        raise FileRefused(FileFault(text.count("\n", 0, text.index("\x00")) + 1, "a zero byte", "plain text"))
    last_line, cut_off = text.count("\n") + 1, not text.endswith(("\n", "\r"))
    reader = csv.reader(io.StringIO(text, newline=""), strict=True)
    header: list[str] | None = None
    line = 1
    try:
        for cells in reader:
            start, line = line, reader.line_num + 1
            if not any(cell.strip() for cell in cells):
                continue
            if header is None:
                header = _header(start, cells)
                continue
            fits = len(cells) == len(header)
            if not fits and start == last_line and cut_off:
                expected = "a whole row; the file seems to be cut off"
                raise FileRefused(FileFault(start, ",".join(cells)[:200], expected))
            row = {name: cell.strip() for name, cell in zip(header, cells, strict=True)} if fits else None
            yield start, tuple(row[name] for name in COLUMNS) if row else tuple(cells), row
    except csv.Error as error:
        raise FileRefused(FileFault(line, str(error), "comma separated text, quotes closed")) from None
    if header is None:
        raise FileRefused(FileFault(0, "an empty file", f"a header line: {','.join(COLUMNS)}"))


def _header(line: int, cells: list[str]) -> list[str]:
    names = [cell.strip() for cell in cells]
    if sorted(names) == sorted(COLUMNS):
        return names
    wrong = [
        *(f"no column {name}" for name in COLUMNS if name not in names),
        *(f"column {name} unknown" for name in names if name not in COLUMNS),
        *(f"column {name} twice" for name in COLUMNS if names.count(name) > 1),
    ]
    expected = f"the columns {','.join(COLUMNS)}, separated by commas ({'; '.join(wrong)[:300]})"
    raise FileRefused(FileFault(line, ",".join(names)[:200], expected))


Faults = list[tuple[str, str, str]]  # column, code, reason
Fault = Callable[[str, str, str], None]  # column, code, expected


def _rejection(line: int, cells: tuple[str, ...], faults: Faults) -> Rejection:
    column, code, _ = faults[0]
    return Rejection(line, _sku(cells), column, code, "; ".join(reason for _, _, reason in faults), cells)


def _sku(cells: tuple[str, ...]) -> str:
    return cells[COLUMNS.index("sku")][:60]


def _read_row(line: int, row: Mapping[str, str], currency: str) -> tuple[Price | None, Faults]:
    """The row as a price, or every reason why it is none."""
    faults: Faults = []

    def fault(column: str, code: str, expected: str) -> None:
        faults.append((column, code, f"{column} {row[column][:60]!r} was read; expected {expected}"))

    for column in COLUMNS:
        if row[column].startswith("="):
            fault(column, "formula", "a plain value, not a formula")
    sku = row["sku"]
    if not sku:
        fault("sku", "no-sku", "the supplier's number of the item")
    elif re.fullmatch(r"[0-9]+(\.[0-9]+)?[eE][+-]?[0-9]+", sku):
        fault("sku", "sku-as-number", "the number as the supplier writes it; a spreadsheet has turned it into a figure")
    elif len(sku) > 60 or not sku.isprintable() or sku[0] in "+-@" or re.search("[‘’“”]", sku):
        fault("sku", "odd-sku", "at most 60 printable characters, not opening with + - @, no typographic quotes")
    for column, most in (("description", 200), ("supplier_uom", 20), ("price_basis", 60)):
        if len(row[column]) > most or not row[column].isprintable():
            fault(column, "odd-text", f"at most {most} printable characters")

    price = _number(row, "price", 11, fault)
    if row["currency"] != currency:
        fault("currency", "currency", f"{currency}, the one currency kept here")
    pack = _number(row, "pack_qty", 8, fault) if row["pack_qty"] else None
    _check_units(row, pack, fault)

    first = _date(row, "valid_from", fault)
    last = _date(row, "valid_to", fault) if row["valid_to"] else None
    if first and last and last < first:
        fault("valid_to", "dates", f"a day not before valid_from {first}")
    if row["status"] not in Price.Status.values:
        fault("status", "status", " or ".join(Price.Status.values))
    if faults:
        return None, faults
    return Price(
        line=line, sku=sku, description=row["description"], supplier_unit=row["supplier_uom"], unit=row["rec20"],
        pack_quantity=pack, base_unit=_base_unit(row), price=price, currency=row["currency"],
        basis=row["price_basis"], valid_from=first, valid_to=last, status=row["status"],
    ), []


def _number(row: Mapping[str, str], column: str, digits: int, fault: Fault) -> Decimal | None:
    text = row[column]
    if not text:
        fault(column, f"no-{column}", "an amount; the cell is blank")
    elif not re.fullmatch(rf"[0-9]{{1,{digits}}}(\.[0-9]{{1,4}})?", text):
        fault(column, f"odd-{column}", "digits with a point and at most four decimals, no separators, like 1320.00")
    elif not Decimal(text):
        fault(column, f"zero-{column}", "an amount above 0")
    else:
        return Decimal(text)
    return None


def _date(row: Mapping[str, str], column: str, fault: Fault) -> date | None:
    if re.fullmatch(r"[0-9]{4}-[0-9]{2}-[0-9]{2}", row[column]):
        try:
            return date.fromisoformat(row[column])
        except ValueError:
            pass
    fault(column, "date", "a date as 2026-03-01")
    return None


def _base_unit(row: Mapping[str, str]) -> str:
    """The code of the base unit; the supplier's own word for the buying unit stands for that unit's code."""
    base = row["base_unit"]
    return row["rec20"] if base == row["supplier_uom"] and base not in units.UNITS else base


def _check_units(row: Mapping[str, str], pack: Decimal | None, fault: Fault) -> None:
    """The unit, what it holds, and whatever else the row says about its unit must agree."""
    found: dict[str, units.Unit] = {}
    for column, code in (("rec20", row["rec20"]), ("base_unit", _base_unit(row))):
        try:
            found[column] = units.unit(code)
        except units.UnknownUnit as unknown:
            fault(column, "unit", unknown.expected)
    if len(found) < 2:
        return
    bought, base = found["rec20"], found["base_unit"]
    if bought.code in units.PACKAGES and not row["pack_qty"]:
        fault("pack_qty", "no-pack_qty", f"how many {base.code} one {bought.name} holds")
    if base.code in units.PACKAGES:
        fault("base_unit", "unit", "what the package holds, not a package")
    if pack is not None:
        if bought.dimension == base.dimension:
            held = bought.factor / base.factor
            if held != units.exact(pack):
                fault("pack_qty", "pack", f"{held} or nothing: one {bought.code} is {held} {base.code}; "
                      "a box, roll or pack has a code of its own (XBX, XRO, XPK)")
        elif bought.code not in units.PACKAGES and bought.dimension != "count":
            fault("pack_qty", "pack", f"nothing: {bought.code} ({bought.name}) is a measure and no package")
    per = re.fullmatch(r"per ([A-Z0-9]{2,3})", row["price_basis"])
    for column, said in (("supplier_uom", row["supplier_uom"]), ("price_basis", per[1] if per else "")):
        other = units.UNITS.get(said)
        if other and not other.instead and (other.dimension, other.factor) != (bought.dimension, bought.factor):
            fault(column, "units-disagree", f"the unit of column rec20, {bought.code} ({bought.name})")


def _clashes(prices: Collection[Price]) -> dict[int, tuple[str, str]]:
    """Lines whose SKU has another price on the same day, with the reason.

    Two rows clash when their dates overlap, but not when a later row in the same unit and pack follows one that is
    open-ended: from its first day on, that supersedes. A row said twice word for word stands once.
    """
    by_sku: dict[str, list[Price]] = defaultdict(list)
    for price in prices:
        by_sku[price.sku].append(price)
    clashing: dict[int, tuple[str, str]] = {}
    for sku, rows in by_sku.items():
        if len(rows) == 1:
            continue
        once: dict[tuple, Price] = {}
        for row in rows:
            first = once.setdefault(_said(row), row)
            if first is not row:
                clashing[row.line] = ("repeated", f"the same as line {first.line}, word for word")
        others: dict[int, list[Price]] = defaultdict(list)
        kept = sorted(once.values(), key=lambda row: (row.valid_from, row.line))
        for i, a in enumerate(kept):
            for b in kept[i + 1:]:
                if a.valid_to is not None and b.valid_from > a.valid_to:
                    continue
                if a.valid_to is None and b.valid_from > a.valid_from and _sold(a) == _sold(b):
                    continue
                others[a.line].append(b)
                others[b.line].append(a)
        for line, rivals in others.items():
            named = ", ".join(f"line {r.line} ({r.price} per {r.unit})" for r in rivals[:5])
            clashing[line] = (DUPLICATE, f"{sku} has another price on the same days: {named}; keep one of them")
    return clashing


def _sold(price: Price) -> tuple:
    return price.unit, price.pack_quantity, price.base_unit


def _said(price: Price) -> tuple:
    return (*_sold(price), price.description, price.price, price.valid_from, price.valid_to, price.status)


def stage_price_file(
    price_list_id: int, content: bytes, *, source_name: str, by: User | None, now: datetime
) -> PriceListVersion:
    """Read a file and keep it as a staged version with its prices and its rejected rows; all or nothing.

    Raises FileRefused, or RepeatedFile where the same bytes are staged or are the version in force.
    """
    file = read_price_file(content, currency=the_office().currency)
    with transaction.atomic():
        price_list = PriceList.objects.select_for_update().get(pk=price_list_id)
        latest = latest_version(price_list)
        staged = price_list.versions.filter(state=PriceListVersion.State.STAGED)
        for earlier in [*staged, *([latest] if latest else [])]:
            if earlier.source_sha256 == file.sha256:
                raise RepeatedFile(earlier)
        last_days = [price.valid_to for price in file.prices]
        version = PriceListVersion.objects.create(
            price_list=price_list, source_name=source_name[:200], source_sha256=file.sha256,
            line_count=file.line_count, valid_from=min(price.valid_from for price in file.prices),
            valid_to=None if None in last_days else max(last_days), staged_at=now, staged_by=by,
        )
        for price in file.prices:
            price.list_version = version
        Price.objects.bulk_create(file.prices, batch_size=BATCH)
        RejectedPrice.objects.bulk_create(
            [
                RejectedPrice(list_version=version, **{**asdict(row), "cells": list(row.cells)})
                for row in file.rejected
            ],
            batch_size=BATCH,
        )
        _note(version, "stage", by, now, prices=len(file.prices), rejected=len(file.rejected))
    return version


def approve_version(
    version_id: int, *, keep_lines: Collection[int] = (), by: User | None, now: datetime
) -> PriceListVersion:
    """Make a staged version the one in force; from now on neither it nor its rows change.

    `keep_lines` are rejected duplicates that a person has looked at and wants: at most one of each clash.

    Raises
    ------
    NotStaged
        If the version is approved already.
    CannotKeep
        If a line to keep was not rejected as a duplicate, or clashes with another line that is kept.
    """
    with transaction.atomic():
        version = PriceListVersion.objects.get(pk=version_id)
        PriceList.objects.select_for_update().get(pk=version.price_list_id)
        version = PriceListVersion.objects.select_for_update().select_related("price_list__supplier").get(pk=version_id)
        if version.state != PriceListVersion.State.STAGED:
            raise NotStaged(f"{version} is approved already; upload a new file to change it.")
        _keep(version, sorted(set(keep_lines)))
        highest = version.price_list.versions.aggregate(highest=Max("number"))["highest"] or 0
        version.number, version.state = highest + 1, PriceListVersion.State.APPROVED
        version.approved_at, version.approved_by = now, by
        version.save()
        _note(version, "approve", by, now, number=version.number, kept_lines=sorted(set(keep_lines)))
    return version


def drop_version(version_id: int, *, by: User | None, now: datetime) -> None:
    """Throw a staged version away with its rows. Raises NotStaged for an approved one."""
    with transaction.atomic():
        version = PriceListVersion.objects.select_for_update().get(pk=version_id)
        if version.state != PriceListVersion.State.STAGED:
            raise NotStaged(f"{version} is approved and stays.")
        _note(version, "drop", by, now)
        version.delete()


def _keep(version: PriceListVersion, lines: list[int]) -> None:
    """Turn rejected duplicates of a staged version into prices."""
    chosen = list(version.rejected.filter(line__in=lines, code=DUPLICATE))
    if unknown := sorted(set(lines) - {row.line for row in chosen}):
        raise CannotKeep(f"Line {unknown[0]} was to be kept; expected lines that were rejected as {DUPLICATE}.")
    if not chosen:
        return
    currency = the_office().currency
    kept = [_read_row(row.line, dict(zip(COLUMNS, row.cells, strict=True)), currency)[0] for row in chosen]
    beside = version.prices.filter(sku__in={price.sku for price in kept})
    if clashes := _clashes([*beside, *kept]):
        line = min(clashes)
        raise CannotKeep(f"Line {line}: {clashes[line][1]}.")
    for price in kept:
        price.list_version = version
    Price.objects.bulk_create(kept)
    version.rejected.filter(line__in=lines).delete()
    version.valid_from = min(version.valid_from, *(price.valid_from for price in kept))
    last_days = [version.valid_to, *(price.valid_to for price in kept)]
    version.valid_to = None if None in last_days else max(last_days)


def latest_version(price_list: PriceList) -> PriceListVersion | None:
    """The version in force: the one approved last."""
    return price_list.versions.filter(state=PriceListVersion.State.APPROVED).order_by("-number").first()


class NoPrice(PriceListError):
    """There is no price to take; the message says why and what the list has instead."""


class NotListed(NoPrice):
    """The list has no row for this SKU, or its row was rejected."""


class NotValidThen(NoPrice):
    """The list has the SKU, but on other days."""


class Discontinued(NoPrice):
    """The supplier no longer sells it."""


def price_on(version: PriceListVersion, sku: str, on: date) -> Price:
    """The price of `sku` on a day, in one version of a list. Raises NotListed, NotValidThen or Discontinued."""
    rows = list(version.prices.filter(sku=sku))
    return choose(rows, [] if rows else list(version.rejected.filter(sku=sku)), sku, on, str(version))


def choose(rows: Iterable[Price], rejected: Iterable[RejectedPrice], sku: str, on: date, where: str) -> Price:
    """The row of `rows`, all of one SKU in one version `where`, that holds on a day; raises as `price_on`.

    Of rows that hold, the one that began last supersedes. `rejected` are the SKU's rows that did not become prices.
    """
    rows = sorted(rows, key=lambda row: row.valid_from)
    if not rows:
        why = "".join(f"; line {row.line} of the file was rejected: {row.reason}" for row in rejected)
        raise NotListed(f"{where} has no price for {sku}{why}.")
    holding = [row for row in rows if row.valid_from <= on and (row.valid_to is None or on <= row.valid_to)]
    if not holding:
        if rows[-1].status == Price.Status.DISCONTINUED:
            raise Discontinued(f"{sku} is discontinued in {where}.")
        spans = "; ".join(f"{row.valid_from} to {row.valid_to or 'further notice'}" for row in rows)
        raise NotValidThen(f"{sku} has no price on {on} in {where}; its prices hold from {spans}.")
    if holding[-1].status == Price.Status.DISCONTINUED:
        raise Discontinued(f"{sku} is discontinued in {where}.")
    return holding[-1]


def _note(version: PriceListVersion, action: str, by: User | None, now: datetime, **changes: object) -> None:
    note(version, action, {name: [None, value] for name, value in changes.items()}, by=by, now=now)
