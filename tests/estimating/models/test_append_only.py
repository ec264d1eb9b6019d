"""Tests that approved prices, rates and history stay as they were written, whoever tries."""

from datetime import UTC, date, datetime
from decimal import Decimal

import pytest
from django.db import DatabaseError, connection, transaction

from estimating.models import (
    History,
    LaborRate,
    Office,
    Price,
    PriceList,
    PriceListVersion,
    ProductionRate,
    Recipe,
    RejectedPrice,
    Supplier,
)
from estimating.models.base import RecordIsFinal
from estimating.price_lists import COLUMNS, approve_version, stage_price_file
from estimating.recipes import draft_version, put_in_force

NOW = datetime(2026, 3, 2, 15, 0, tzinfo=UTC)
FILE = "\n".join([
    ",".join(COLUMNS),
    "F-CLIP,Hidden clip,BX,XBX,175,EA,89.00,USD,per box,2026-03-01,,active",
    "F-NONE,Blank,EA,EA,1,EA,,USD,per EA,2026-03-01,,active",
    "",
]).encode()  # fmt: skip


@pytest.fixture
def final(db) -> dict[str, object]:
    """One row of every kind that is final."""
    Office.objects.create(name="Test Decks")
    price_list = PriceList.objects.create(supplier=Supplier.objects.create(name="Test Timber"), name="yard")
    staged = stage_price_file(price_list.pk, FILE, source_name="", by=None, now=NOW)
    version = approve_version(staged.pk, by=None, now=NOW)
    labor = LaborRate.objects.create(grade="lead", rate=Decimal("58.89"), valid_from=date(2026, 1, 1), created_at=NOW)
    task = ProductionRate.objects.create(
        task="rip", unit="LF", low=Decimal("0.03"), typical=Decimal("0.045"), high=Decimal("0.07"),
        source="common practice", valid_from=date(2026, 1, 1), created_at=NOW,
    )  # fmt: skip
    words = {"kind": "general", "unit": "LF", "content": {"items": []}}
    draft = draft_version(Recipe.objects.create(name="Guard").pk, words, by=None, now=NOW)
    recipe = put_in_force(draft, valid_from=date(2026, 3, 1), by=None, now=NOW)
    return {
        "recipe": recipe, "version": version, "price": version.prices.get(), "rejected": version.rejected.get(),
        "labor": labor, "production": task, "history": History.objects.first(),
    }  # fmt: skip


KINDS = ["recipe", "version", "price", "rejected", "labor", "production", "history"]
COLUMN = {
    "recipe": "kind", "version": "source_name", "price": "description", "rejected": "reason", "labor": "grade",
    "production": "source", "history": "action",
}  # fmt: skip


def refuses(statement) -> bool:
    """Whether the database refuses; the transaction around it goes on."""
    try:
        with transaction.atomic():
            statement()
    except DatabaseError as error:
        assert "is final" in str(error)
        return True
    return False


def run(sql: str) -> None:
    with connection.cursor() as cursor:
        cursor.execute(sql)


@pytest.mark.parametrize("kind", KINDS)
def test_a_final_row_is_neither_saved_again_nor_deleted(final, kind):
    row = final[kind]
    with pytest.raises(RecordIsFinal):
        row.save()
    with pytest.raises(RecordIsFinal):
        row.delete()


@pytest.mark.parametrize("kind", KINDS)
def test_querysets_are_refused_by_the_database(final, kind):
    rows = type(final[kind]).objects.filter(pk=final[kind].pk)
    before = rows.values().get()
    assert refuses(lambda: rows.update(**{COLUMN[kind]: "forged"}))
    assert refuses(lambda: rows._raw_delete(rows.db))
    assert rows.values().get() == before


@pytest.mark.parametrize("kind", KINDS)
def test_plain_sql_is_refused(final, kind):
    table = type(final[kind])._meta.db_table
    assert refuses(lambda: run(f"UPDATE {table} SET {COLUMN[kind]} = 'forged'"))
    assert refuses(lambda: run(f"DELETE FROM {table}"))
    if connection.vendor == "postgresql":
        connection.check_constraints()  # what is checked at commit would else stand in the way of TRUNCATE
        assert refuses(lambda: run(f"TRUNCATE {table} CASCADE"))


@pytest.mark.parametrize("kind", ["price", "rejected"])
def test_nothing_is_added_under_an_approved_version(final, kind):
    row = final[kind]
    row.pk, row.line, row._state.adding = None, 99, True
    row.sku = "NEW"  # so that nothing but the version's approval stands against it
    with pytest.raises(RecordIsFinal):
        row.save()
    assert refuses(lambda: type(row).objects.bulk_create([row]))


def test_a_price_cannot_be_moved_under_an_approved_version(final):
    other = stage_price_file(
        final["version"].price_list_id, FILE.replace(b"89.00", b"91.00"), source_name="", by=None, now=NOW
    )
    assert refuses(lambda: other.prices.update(list_version=final["version"], line=99))


def test_staged_rows_may_still_change(final):
    staged = stage_price_file(
        final["version"].price_list_id, FILE.replace(b"89.00", b"91.00"), source_name="", by=None, now=NOW
    )
    assert staged.prices.update(description="corrected") == 1
    staged.delete()
    assert not Price.objects.filter(description="corrected").exists()
    assert PriceListVersion.objects.count() == 1 and RejectedPrice.objects.count() == 1
