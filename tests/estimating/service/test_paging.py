"""Lists: pages that do not shift, and as many queries for many rows as for few."""

import pytest

from estimating.models import Supplier

pytestmark = [pytest.mark.django_db, pytest.mark.urls("tests.estimating.service.shelf")]
SUPPLIERS = "/api/v1/shelf/suppliers"


def test_following_next_reads_every_row_once_though_rows_are_added_meanwhile(api):
    Supplier.objects.bulk_create(Supplier(name=f"S{n:03}") for n in range(25))
    seen, address = [], f"{SUPPLIERS}?limit=10"
    while address:
        page = api.get(address).json()
        seen += [row["name"] for row in page["results"]]
        if len(seen) == 10:
            Supplier.objects.get(name="S003").delete()
            Supplier.objects.create(name="S100")
        address = page["next"]
    assert seen == [f"S{n:03}" for n in range(25)] + ["S100"]


def test_a_filter_narrows_the_list(api):
    Supplier.objects.bulk_create(Supplier(name=name) for name in ("Yard", "Mill"))
    assert [row["name"] for row in api.get(f"{SUPPLIERS}?name=Mill").json()["results"]] == ["Mill"]


def test_the_number_of_queries_does_not_grow_with_the_rows(api, django_assert_num_queries):
    for rows in (1, 40):
        Supplier.objects.bulk_create(Supplier(name=f"{rows}-{n}") for n in range(rows))
        with django_assert_num_queries(2):  # the token with its person, the page
            assert api.get(SUPPLIERS).status_code == 200
