"""Tests of many rows in one stream: what goes in comes out, and a fault on the way leaves none."""

import gc

import pytest
from django.db import DatabaseError, transaction

from estimating.bulk_rows import CHUNK, insert_rows, uncollected
from estimating.models import Supplier

NAMES = ("version", "name", "email", "phone", "note")
ODD = ["tab\there", "line\nend", "back\\slash", "\\N", "'; DROP TABLE x; --", "\"quoted\"", "Ünï ✓", "", "\\."]


@pytest.mark.django_db
def test_odd_text_comes_back_as_it_was():
    insert_rows(Supplier, NAMES, ((1, f"S{n}", "", "", text) for n, text in enumerate(ODD)))
    assert list(Supplier.objects.order_by("id").values_list("note", flat=True)) == ODD


@pytest.mark.django_db
def test_more_rows_than_a_chunk_go_in():
    insert_rows(Supplier, NAMES, ((1, f"S{n}", "", "", "") for n in range(2 * CHUNK + 1)))
    assert Supplier.objects.count() == 2 * CHUNK + 1


@pytest.mark.django_db(transaction=True)
def test_a_fault_on_the_way_leaves_no_row():
    rows = ((1, "the same" if n > CHUNK else f"S{n}", "", "", "") for n in range(CHUNK + 10))
    with pytest.raises(DatabaseError), transaction.atomic():
        insert_rows(Supplier, NAMES, rows)
    assert not Supplier.objects.exists()


def test_the_search_for_cycles_goes_on_afterwards():
    assert gc.isenabled()
    with pytest.raises(ZeroDivisionError), uncollected():
        assert not gc.isenabled()
        1 / 0  # noqa: B018
    assert gc.isenabled()
