"""Tests of two people at one price list at once: one version each number, and an approval happens once."""

from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, datetime
from threading import Barrier

import pytest
from django.db import connection

from estimating.models import Office, PriceList, PriceListVersion, Supplier
from estimating.price_lists import COLUMNS, NotStaged, RepeatedFile, approve_version, stage_price_file

pytestmark = pytest.mark.django_db(transaction=True)
NOW = datetime(2026, 3, 2, 15, 0, tzinfo=UTC)
PEOPLE = 4


def file_at(price: str) -> bytes:
    return f"{','.join(COLUMNS)}\nT-1,Board,LF,LF,,LF,{price},USD,per LF,2026-03-01,,active\n".encode()


@pytest.fixture
def price_list() -> PriceList:
    Office.objects.create(name="Test Decks")
    return PriceList.objects.create(supplier=Supplier.objects.create(name="Test Timber"), name="yard")


def at_once(work, things) -> list:
    """What `work` gave or raised for each thing, all begun together."""
    start = Barrier(len(things))

    def one(thing):
        try:
            start.wait()
            return work(thing)
        except (NotStaged, RepeatedFile) as refused:
            return refused
        finally:
            connection.close()

    with ThreadPoolExecutor(len(things)) as pool:
        return list(pool.map(one, things))


def test_versions_approved_at_once_are_numbered_one_after_another(price_list):
    staged = [
        stage_price_file(price_list.pk, file_at(f"1.0{n}"), source_name="", by=None, now=NOW)
        for n in range(1, 1 + PEOPLE)
    ]
    done = at_once(lambda version: approve_version(version.pk, by=None, now=NOW), staged)
    assert sorted(version.number for version in done) == [1, 2, 3, 4]


def test_one_version_approved_by_many_at_once_is_approved_once(price_list):
    staged = stage_price_file(price_list.pk, file_at("1.00"), source_name="", by=None, now=NOW)
    done = at_once(lambda pk: approve_version(pk, by=None, now=NOW), [staged.pk] * PEOPLE)
    assert sum(isinstance(answer, NotStaged) for answer in done) == PEOPLE - 1


def test_one_file_staged_by_many_at_once_is_staged_once(price_list):
    done = at_once(
        lambda content: stage_price_file(price_list.pk, content, source_name="", by=None, now=NOW),
        [file_at("1.00")] * PEOPLE,
    )
    assert sum(isinstance(answer, RepeatedFile) for answer in done) == PEOPLE - 1
    assert PriceListVersion.objects.count() == 1
