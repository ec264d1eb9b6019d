"""Two people at once: the second to change a record is told, and nobody's change is lost."""

import threading

import pytest
from django.db import connection

from estimating.models import Supplier

pytestmark = [pytest.mark.django_db, pytest.mark.urls("tests.estimating.service.shelf")]


@pytest.fixture
def yard() -> Supplier:
    return Supplier.objects.create(name="Yard")


def address(supplier: Supplier) -> str:
    return f"/api/v1/shelf/suppliers/{supplier.pk}"


def test_a_reader_who_has_the_record_already_gets_304_without_a_body(api, yard):
    tag = api.get(address(yard))["ETag"]
    response = api.get(address(yard), HTTP_IF_NONE_MATCH=tag)
    assert response.status_code == 304 and response.content == b"" and response["ETag"] == tag
    assert api.get(address(yard), HTTP_IF_NONE_MATCH='"other"').status_code == 200


@pytest.mark.parametrize("method", ["put", "patch", "delete"])
def test_a_change_needs_the_version_that_it_is_based_on(api, yard, method):
    for headers in ({}, {"HTTP_IF_MATCH": "*"}):
        response = getattr(api, method)(address(yard), {"name": "Mill"}, **headers)
        assert response.status_code == 428
        assert "If-Match" in response.json()["detail"]
    assert Supplier.objects.get().name == "Yard"


@pytest.mark.parametrize("method", ["put", "patch", "delete"])
def test_a_change_based_on_an_older_version_is_refused(api, yard, method):
    old = api.get(address(yard))["ETag"]
    assert api.patch(address(yard), {"phone": "555-0100"}, HTTP_IF_MATCH=old).status_code == 200
    assert getattr(api, method)(address(yard), {"name": "Mill"}, HTTP_IF_MATCH=old).status_code == 412
    assert Supplier.objects.get().name == "Yard"


def test_each_change_hands_out_the_tag_for_the_next(api, yard):
    tag = api.get(address(yard))["ETag"]
    changed = api.put(address(yard), {"name": "Mill"}, HTTP_IF_MATCH=tag)
    assert changed.status_code == 200 and changed["ETag"] != tag
    assert changed["ETag"] == api.get(address(yard))["ETag"]
    assert api.delete(address(yard), HTTP_IF_MATCH=changed["ETag"]).status_code == 204
    assert not Supplier.objects.exists()


def test_a_tag_that_a_proxy_weakened_still_matches(api, yard):
    tag = api.get(address(yard))["ETag"]
    assert api.get(address(yard), HTTP_IF_NONE_MATCH=f"W/{tag}").status_code == 304
    assert api.patch(address(yard), {"name": "Mill"}, HTTP_IF_MATCH=f'"else", W/{tag}').status_code == 200


def test_the_condition_is_looked_at_before_the_body(api, yard):
    assert api.patch(address(yard), {"name": ""}).status_code == 428
    assert api.patch(address(yard), {"name": ""}, HTTP_IF_MATCH='"old"').status_code == 412


def test_a_tag_of_one_record_does_not_fit_another(api, yard):
    mill = Supplier.objects.create(name="Mill")
    tag = api.get(address(yard))["ETag"]
    assert api.delete(address(mill), HTTP_IF_MATCH=tag).status_code == 412


def test_without_the_condition_the_last_of_two_would_win(yard):
    """The damage: both read, both write, and the first change is gone."""
    one, two = Supplier.objects.get(), Supplier.objects.get()
    one.phone = "555-0100"
    one.save()
    two.email = "yard@example.com"
    two.save()
    assert Supplier.objects.get().phone == ""


@pytest.mark.django_db(transaction=True)
def test_of_many_changes_at_once_exactly_one_is_made(api):
    yard = Supplier.objects.create(name="Yard")
    tag = api.get(address(yard))["ETag"]
    answers: list[int] = []
    start = threading.Barrier(5)

    def change(n: int) -> None:
        start.wait()
        answers.append(api.patch(address(yard), {"phone": f"555-010{n}"}, HTTP_IF_MATCH=tag).status_code)
        connection.close()

    threads = [threading.Thread(target=change, args=(n,)) for n in range(5)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert sorted(answers) == [200, 412, 412, 412, 412]
