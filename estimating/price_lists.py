"""Price lists: a supplier's file is staged, compared, approved into a version that never changes, and priced from."""

from collections.abc import Collection, Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import date, datetime

from django.db import transaction
from django.db.models import Max
from orjson import dumps

from estimating import units
from estimating.bulk_rows import insert_rows, uncollected
from estimating.models import Material, Price, PriceList, PriceListVersion, RejectedPrice, User
from estimating.office import local_day, the_office
from estimating.price_changes import (
    Comparison,
    Finding,
    Offer,
    Surroundings,
    beyond,
    compare,
    findings_of,
    limits_from,
    offer,
)
from estimating.price_columns import COLUMNS, reading_from
from estimating.price_files import MOST_BYTES, FileFault, FileRefused, PriceListError
from estimating.price_rows import (
    DUPLICATE,
    PriceFile,
    PriceRow,
    Report,
    as_json,
    clashes,
    from_json,
    read_price_file,
)
from estimating.service.history import note
from estimating.service.problems import refusal

__all__ = ["COLUMNS", "MOST_BYTES", "FileFault", "FileRefused", "PriceListError", "read_price_file"]


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


@refusal(409)
class HeldForAPerson(PriceListError):
    """The version has findings that approval has to name."""


# Taking a file in


@dataclass(frozen=True)
class Look:
    """A file held against the version in force at that moment."""

    against: PriceListVersion | None
    comparison: Comparison
    findings: tuple[Finding, ...]


def read_file(
    price_list: PriceList, content: bytes, *, report: Report = lambda rows: None
) -> PriceFile:
    """Read a file as the list's own reading has it. Raises FileRefused, NoReading, OfficeNotSet."""
    currency, reading = the_office().currency, reading_from(price_list.reading)
    with uncollected():
        return read_price_file(content, currency=currency, reading=reading, report=report)


def stage_price_file(
    price_list_id: int, content: bytes, *, source_name: str, by: User | None, now: datetime
) -> PriceListVersion:
    """Read a file and keep it as a staged version with its prices and its rejected rows; all or nothing.

    Raises FileRefused, or RepeatedFile where the same bytes are staged or are the version in force.
    """
    price_list = PriceList.objects.get(pk=price_list_id)
    file = read_file(price_list, content)
    look = look_at(price_list, file, today=local_day(the_office(), now))
    with transaction.atomic():
        return stage(price_list, file, look, source_name=source_name, by=by, now=now)[0]


def look_at(price_list: PriceList, file: PriceFile, *, today: date) -> Look:
    """Hold what was read against the version in force; changes nothing."""
    against = latest_version(price_list)
    with uncollected():
        return _look(price_list, against, [offer(row) for row in file.prices], len(file.rejected), today)


def _look(
    price_list: PriceList, against: PriceListVersion | None, new: list[Offer], rejected: int, today: date
) -> Look:
    old = list(offers_of(against)) if against else []
    comparison = compare(old, new, pieces_of(price_list))
    in_use = Material.objects.filter(active=True, supplier=price_list.supplier_id).values_list("sku", flat=True)
    around = Surroundings(today, rejected, frozenset(in_use), _elsewhere(price_list, new, today))
    findings = findings_of(comparison, old, new, around)
    return Look(against, comparison, findings)


def stage(
    price_list: PriceList, file: PriceFile, look: Look, *, source_name: str, by: User | None, now: datetime
) -> tuple[PriceListVersion, Look]:
    """Keep what was read as a staged version; inside the caller's transaction.

    Hands back the look that was kept with it: a new one where another version came into force meanwhile. Raises
    RepeatedFile where the same bytes are staged or are the version in force.
    """
    price_list = PriceList.objects.select_for_update().get(pk=price_list.pk)
    latest = latest_version(price_list)
    check_new(price_list, latest, file.sha256)
    if latest != look.against:  # another was approved meanwhile
        look = look_at(price_list, file, today=local_day(the_office(), now))
    last_days = {price.valid_to for price in file.prices}
    version = PriceListVersion.objects.create(
        price_list=price_list, source_name=source_name[:200], source_sha256=file.sha256, headings=list(file.headings),
        line_count=file.line_count, blank_count=file.blank_count,
        valid_from=min(price.valid_from for price in file.prices),
        valid_to=None if None in last_days else max(day for day in last_days if day),
        staged_at=now, staged_by=by, **_told(look),
    )
    insert_rows(Price, (*PriceRow._fields, "list_version"), _price_values(file.prices, version))
    insert_rows(RejectedPrice, REJECTED, _rejected_values(file, version))
    _note(version, "stage", by, now, prices=len(file.prices), rejected=len(file.rejected))
    return version, look


def check_new(price_list: PriceList, latest: PriceListVersion | None, sha256: str) -> None:
    """Raises RepeatedFile where a file is staged already or is the version in force."""
    staged = price_list.versions.filter(state=PriceListVersion.State.STAGED)
    for earlier in [*staged, *([latest] if latest else [])]:
        if earlier.source_sha256 == sha256:
            raise RepeatedFile(earlier)


def _told(look: Look) -> dict[str, object]:
    return {
        "compared_with": look.against, "changes": dict(look.comparison.counts),
        "findings": [finding.as_json() for finding in look.findings],
    }  # fmt: skip


REJECTED = ("line", "sku", "column", "code", "reason", "cells", "as_price", "list_version")


def _price_values(prices: Iterable[PriceRow], version: PriceListVersion) -> Iterator[tuple]:
    """The rows as the database takes them: whole numbers and text, amounts in plain figures."""
    for row in prices:
        (line, sku, description, supplier_unit, unit, pack, base_unit, price, listed, freight, least, lead, after, tier,
         noted, currency, basis, first, last, status) = row
        yield (
            line, sku, description, supplier_unit, unit, None if pack is None else f"{pack:f}", base_unit, f"{price:f}",
            None if listed is None else f"{listed:f}", None if freight is None else f"{freight:f}",
            None if least is None else f"{least:f}", lead, after, tier, noted, currency, basis, first.isoformat(),
            None if last is None else last.isoformat(), status, version.pk,
        )  # fmt: skip


def _rejected_values(file: PriceFile, version: PriceListVersion) -> Iterator[tuple]:
    for row in file.rejected:
        held = None if row.as_price is None else dumps(as_json(row.as_price)).decode()
        cells = dumps([_kept(cell) for cell in row.cells]).decode()
        yield row.line, _kept(row.sku), row.column, row.code, _kept(row.reason), cells, held, version.pk


def _kept(text: str) -> str:
    """Text as a database can keep it: what is no character stands as its code."""
    return text.replace("\x00", "\\x00").encode("utf-8", "backslashreplace").decode()


# Deciding on it


def approve_version(
    version_id: int, *, keep_lines: Collection[int] = (), accept: Collection[str] | None = None, by: User | None,
    now: datetime,
) -> PriceListVersion:
    """Make a staged version the one in force; from now on neither it nor its rows change.

    `keep_lines` are rejected duplicates that a person has looked at and wants: at most one of each clash. `accept`
    names the findings that hold and that the person has looked at.

    Raises
    ------
    NotStaged
        If the version is approved already.
    CannotKeep
        If a line to keep was not rejected as a duplicate, or clashes with another line that is kept.
    HeldForAPerson
        If a finding that holds is not in `accept`; it is looked for anew where another version came into force since.
    """
    with transaction.atomic():
        version = PriceListVersion.objects.get(pk=version_id)
        PriceList.objects.select_for_update().get(pk=version.price_list_id)
        version = PriceListVersion.objects.select_for_update().select_related("price_list__supplier").get(pk=version_id)
        if version.state != PriceListVersion.State.STAGED:
            raise NotStaged(f"{version} is approved already; upload a new file to change it.")
        kept = sorted(set(keep_lines))
        _keep(version, kept)
        latest = latest_version(version.price_list)
        if kept or latest != version.compared_with:
            new, today = list(offers_of(version)), local_day(the_office(), now)
            look = _look(version.price_list, latest, new, version.rejected.count(), today)
            for name, value in _told(look).items():
                setattr(version, name, value)
        if held := [row for row in version.findings if row["holds"] and row["code"] not in set(accept or ())]:
            told = "; ".join(f"{row['code']}: " + ", ".join([row["text"], *row["named"][:3]]) for row in held)
            raise HeldForAPerson(f"To be looked at first, then named in accept: {told}")
        highest = version.price_list.versions.aggregate(highest=Max("number"))["highest"] or 0
        version.number, version.state = highest + 1, PriceListVersion.State.APPROVED
        version.approved_at, version.approved_by = now, by
        version.save()
        _note(version, "approve", by, now, number=version.number, kept_lines=kept, accepted=sorted(set(accept or ())))
    return version


def why_a_person(version: PriceListVersion, look: Look) -> tuple[str, ...]:
    """Why a staged version waits for a person; nothing where the office's own limits let it pass."""
    limits = limits_from(version.price_list.limits)
    return beyond(limits, look.comparison, look.findings, first=look.against is None)


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
    chosen = list(version.rejected.filter(line__in=lines, code=DUPLICATE, as_price__isnull=False))
    if unknown := sorted(set(lines) - {row.line for row in chosen}):
        raise CannotKeep(f"Line {unknown[0]} was to be kept; expected lines that were rejected as {DUPLICATE}.")
    if not chosen:
        return
    kept = [from_json(row.as_price) for row in chosen]
    beside = [price for price in version.prices.filter(sku__in={price.sku for price in kept})]
    apart = reading_from(version.price_list.reading).packs_apart
    if clashing := clashes([*beside, *kept], packs_apart=apart):
        line = min(clashing)
        raise CannotKeep(f"Line {line}: {clashing[line][1]}.")
    Price.objects.bulk_create(Price(list_version=version, **price._asdict()) for price in kept)
    version.rejected.filter(line__in=lines).delete()
    version.valid_from = min(version.valid_from, *(price.valid_from for price in kept))
    last_days = [version.valid_to, *(price.valid_to for price in kept)]
    version.valid_to = None if None in last_days else max(day for day in last_days if day)


# Two versions side by side


def latest_version(price_list: PriceList) -> PriceListVersion | None:
    """The version in force: the one approved last."""
    return price_list.versions.filter(state=PriceListVersion.State.APPROVED).order_by("-number").first()


def offers_of(version: PriceListVersion) -> Iterator[Offer]:
    """What a version offers, in the file's order; streamed."""
    rows = version.prices.order_by("line").values_list(*Offer._fields)
    return map(Offer._make, rows.iterator(chunk_size=5_000))


def differences(version: PriceListVersion) -> Comparison:
    """A version against the one that it was compared with: the one in force when it was staged or approved."""
    old = offers_of(version.compared_with) if version.compared_with else ()
    return compare(old, offers_of(version), pieces_of(version.price_list))


def pieces_of(price_list: PriceList) -> dict[str, units.Piece]:
    """Sizes of a piece by SKU, where the office's materials say them."""
    pieces = {}
    for material in Material.objects.filter(active=True, supplier=price_list.supplier_id):
        if piece := material.piece_of(material.item_key):
            pieces[material.sku] = piece
    return pieces


def _elsewhere(price_list: PriceList, new: Collection[Offer], today: date) -> Mapping[str, str]:
    """Numbers of this file that another list of the same supplier prices today: which of the two holds is open."""
    others: dict[int, PriceListVersion] = {}
    rows = PriceListVersion.objects.filter(
        state=PriceListVersion.State.APPROVED, price_list__supplier=price_list.supplier_id
    ).exclude(price_list=price_list.pk)
    for version in rows.select_related("price_list__supplier").order_by("number"):
        others[version.price_list_id] = version
    if not others:
        return {}
    here = {row.sku for row in new}
    named = {version.pk: str(version) for version in others.values()}
    listed = Price.objects.filter(list_version__in=named).order_by("list_version", "line")
    return {sku: named[of] for sku, of in listed.values_list("sku", "list_version").iterator() if sku in here}


# The price on a day


class NoPrice(PriceListError):
    """There is no price to take; the message says why and what the list has instead."""


class NotListed(NoPrice):
    """The list has no row for this SKU, or its row was rejected."""


class Gone(NotListed):
    """The list had this SKU before and the version asked leaves it out, which is not the same as discontinued."""


class NotValidThen(NoPrice):
    """The list has the SKU, but on other days."""


class NotSoldSo(NoPrice):
    """The list has the SKU, but in another tier or unit, or in several packs of which none was named."""


class Discontinued(NoPrice):
    """The supplier no longer sells it."""


def price_on(version: PriceListVersion, sku: str, on: date, *, tier: str | None = None, unit: str = "") -> Price:
    """The price of `sku` on a day, in one version of a list.

    `tier` is the supplier's price tier, by default the one at which the office buys; a row without a tier holds for
    all. `unit` says which of several packs. Raises NotListed, Gone, NotValidThen, NotSoldSo or Discontinued.
    """
    rows = list(version.prices.filter(sku=sku))
    rejected, before = [], None
    if not rows:
        rejected = list(version.rejected.filter(sku=sku))
        if version.number:
            earlier = Price.objects.filter(
                list_version__price_list=version.price_list_id, list_version__number__lt=version.number, sku=sku
            )
            before = earlier.select_related("list_version__price_list__supplier").order_by(
                "-list_version__number", "-valid_from"
            ).first()
    wanted = version.price_list.tier if tier is None else tier
    return choose(rows, rejected, sku, on, str(version), tier=wanted, unit=unit, before=before)


def choose(
    rows: Iterable[Price], rejected: Iterable[RejectedPrice], sku: str, on: date, where: str, *, tier: str = "",
    unit: str = "", before: Price | None = None,
) -> Price:
    """The row of `rows`, all of one SKU in one version `where`, that holds on a day; raises as `price_on`.

    Of rows that hold, the one that began last supersedes; a row of the tier goes before one for all. `rejected` are
    the SKU's rows that did not become prices, `before` its last price in an earlier version.
    """
    rows = sorted(rows, key=lambda row: row.valid_from)
    if not rows:
        why = "".join(f"; line {row.line} of the file was rejected: {row.reason}" for row in rejected)
        if before is not None and not why:
            raise Gone(
                f"{sku} is gone from {where}; {before.list_version} had it at {before.price} per {before.unit}. "
                "It was left out, not discontinued."
            )
        raise NotListed(f"{where} has no price for {sku}{why}.")
    in_tier = [row for row in rows if row.tier == tier] or [row for row in rows if not row.tier]
    in_unit = [row for row in in_tier if not unit or row.unit == unit]
    if not in_unit:
        sold = "; ".join(sorted({f"per {row.unit}" + (f" in tier {row.tier}" if row.tier else "") for row in rows}))
        asked = " ".join([*([f"in tier {tier}"] if not in_tier and tier else []), *([f"per {unit}"] if unit else [])])
        raise NotSoldSo(f"{sku} has no price {asked or 'for all tiers'} in {where}; it has {sold}.")
    holding = [row for row in in_unit if row.valid_from <= on and (row.valid_to is None or on <= row.valid_to)]
    if not holding:
        if in_unit[-1].status == Price.Status.DISCONTINUED:
            raise Discontinued(_discontinued(in_unit[-1], where))
        spans = "; ".join(f"{row.valid_from} to {row.valid_to or 'further notice'}" for row in in_unit)
        raise NotValidThen(f"{sku} has no price on {on} in {where}; its prices hold from {spans}.")
    packs = {(row.unit, row.pack_quantity): row for row in holding}
    if len(packs) > 1:
        named = "; ".join(f"{row.price} per {row.unit} of {row.pack_quantity}" for row in packs.values())
        raise NotSoldSo(f"{sku} is sold in several packs in {where}: {named}; the material has to name its unit.")
    if holding[-1].status == Price.Status.DISCONTINUED:
        raise Discontinued(_discontinued(holding[-1], where))
    return holding[-1]


def _discontinued(row: Price, where: str) -> str:
    after = f"; {row.superseded_by} takes its place" if row.superseded_by else ""
    return f"{row.sku} is discontinued in {where}{after}."


def _note(version: PriceListVersion, action: str, by: User | None, now: datetime, **changes: object) -> None:
    note(version, action, {name: [None, value] for name, value in changes.items()}, by=by, now=now)
