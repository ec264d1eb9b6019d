"""Retries: the same key and body have one effect and one answer."""

import threading
from datetime import timedelta

import pytest
from django.db import connection
from django.utils import timezone

from estimating.models import IdempotencyKey, Supplier
from estimating.service import idempotency

SHELF = pytest.mark.urls("tests.estimating.service.shelf")
pytestmark = [pytest.mark.django_db, SHELF]
SUPPLIERS, SEND, DOUBLE = "/api/v1/shelf/suppliers", "/api/v1/shelf/send", "/api/v1/shelf/double"


def test_the_same_key_and_body_create_once_and_answer_alike(api):
    first, again = (api.post(SUPPLIERS, {"name": "Yard"}, HTTP_IDEMPOTENCY_KEY="k") for _ in range(2))

    assert Supplier.objects.count() == 1
    assert (first.status_code, again.status_code) == (201, 201)
    assert first.json() == again.json()
    assert (first["Location"], first["ETag"]) == (again["Location"], again["ETag"])
    assert "Idempotency-Replayed" not in first and again["Idempotency-Replayed"] == "true"


def test_without_a_key_a_request_that_is_sent_again_is_done_again(api):
    """The damage that the key prevents."""
    assert [api.post(DOUBLE, {"name": "Yard"}).status_code for _ in range(2)] == [201, 201]
    assert Supplier.objects.count() == 2
    assert [api.post(DOUBLE, {"name": "Mill"}, HTTP_IDEMPOTENCY_KEY="k").status_code for _ in range(2)] == [201, 201]
    assert Supplier.objects.count() == 3


def test_the_same_key_with_another_body_is_refused(api):
    api.post(SUPPLIERS, {"name": "Yard"}, HTTP_IDEMPOTENCY_KEY="k")
    response = api.post(SUPPLIERS, {"name": "Mill"}, HTTP_IDEMPOTENCY_KEY="k")
    assert response.status_code == 422
    assert not Supplier.objects.filter(name="Mill").exists()


def test_a_key_counts_for_one_token_and_one_address(api, estimator, as_user):
    assert api.post(SEND, {"name": "a"}, HTTP_IDEMPOTENCY_KEY="k").status_code == 201
    assert as_user(estimator).post(SEND, {"name": "b"}, HTTP_IDEMPOTENCY_KEY="k").status_code == 201
    assert api.post(SUPPLIERS, {"name": "c"}, HTTP_IDEMPOTENCY_KEY="k").status_code == 201


def test_a_refusal_is_repeated_and_leaves_nothing_behind(api):
    body = {"name": "Yard", "fail": "refused"}
    first, again = (api.post(SEND, body, HTTP_IDEMPOTENCY_KEY="k") for _ in range(2))
    assert (first.status_code, again.status_code) == (422, 422)
    assert again["Content-Type"] == "application/problem+json"
    assert first.json() == again.json()
    assert not Supplier.objects.exists()


@pytest.mark.parametrize(("fail", "status"), [("busy", 503), ("defect", 500)])
def test_our_own_failures_are_not_kept_and_leave_nothing_behind(api, fail, status):
    assert api.post(SEND, {"name": "Yard", "fail": fail}, HTTP_IDEMPOTENCY_KEY="k").status_code == status
    assert not Supplier.objects.exists()
    assert not IdempotencyKey.objects.exists()
    assert api.post(SEND, {"name": "Yard"}, HTTP_IDEMPOTENCY_KEY="k").status_code == 201


def test_a_required_key_that_is_missing_is_asked_for(api):
    response = api.post(SEND, {"name": "Yard"})
    assert response.status_code == 400
    assert "Idempotency-Key" in response.json()["detail"]


@pytest.mark.parametrize("key", ["x" * 256, "\x07"])
def test_a_key_that_cannot_be_kept_is_refused(api, key):
    assert api.post(SEND, {"name": "Yard"}, HTTP_IDEMPOTENCY_KEY=key).status_code == 400


def test_who_may_is_asked_before_an_answer_is_repeated(api, owner):
    api.post(SUPPLIERS, {"name": "Yard"}, HTTP_IDEMPOTENCY_KEY="k")
    owner.role = "crew"
    owner.save()
    assert api.post(SUPPLIERS, {"name": "Yard"}, HTTP_IDEMPOTENCY_KEY="k").status_code == 403


def test_a_key_is_forgotten_after_a_day(api):
    api.post(SUPPLIERS, {"name": "Yard"}, HTTP_IDEMPOTENCY_KEY="k")
    api.post(SUPPLIERS, {"name": "Mill"}, HTTP_IDEMPOTENCY_KEY="k2")
    IdempotencyKey.objects.update(created_at=timezone.now() - timedelta(hours=25))
    assert api.post(SUPPLIERS, {"name": "Dock"}, HTTP_IDEMPOTENCY_KEY="k").status_code == 201
    assert idempotency.forget_old_keys(timezone.now()) == 1
    assert IdempotencyKey.objects.get().key == "k"


@pytest.mark.django_db(transaction=True)
def test_of_many_at_once_one_has_the_effect_and_all_get_its_answer(api):
    answers = []
    start = threading.Barrier(6)

    def send() -> None:
        start.wait()
        answers.append(api.post(SEND, {"name": "Yard"}, HTTP_IDEMPOTENCY_KEY="k"))
        connection.close()

    threads = [threading.Thread(target=send) for _ in range(6)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()

    assert [answer.status_code for answer in answers] == [201] * 6
    assert sum("Idempotency-Replayed" not in answer for answer in answers) == 1
    assert Supplier.objects.count() == 1
