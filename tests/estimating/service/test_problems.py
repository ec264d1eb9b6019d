"""Bad requests: each is answered with a problem that says what was read, what was expected and where."""

import json

import pytest
from rest_framework.test import APIClient

from estimating.service import problems
from tests.conftest import PASSWORD

pytestmark = [pytest.mark.django_db, pytest.mark.urls("tests.estimating.service.shelf")]
SUPPLIERS = "/api/v1/shelf/suppliers"


def post(api: APIClient, body: bytes | str, content_type: str = "application/json", **extra: str):
    return api.post(SUPPLIERS, data=body, content_type=content_type, **extra)


def problem(response) -> dict:
    assert response["Content-Type"] == "application/problem+json"
    body = json.loads(response.content)
    assert body["status"] == response.status_code
    assert body["title"] and body["detail"] and body["type"] == "about:blank"
    return body


def test_every_fault_of_a_body_is_told_at_once_with_its_pointer(api):
    response = post(api, json.dumps({"email": "nobody", "phone": "5" * 41, "fax": "555-0100"}))

    assert response.status_code == 422
    faults = {fault["pointer"]: fault for fault in problem(response)["errors"]}
    assert set(faults) == {"/name", "/email", "/phone", "/fax"}
    assert faults["/email"]["read"] == "nobody"
    assert faults["/name"]["expected"] == "a value"
    assert faults["/fax"]["expected"] == "one of email, name, phone"


@pytest.mark.parametrize(
    ("body", "words"),
    [
        (b"{", "line 1, column 2"),
        (b'{"name":\n "a" "b"}', "line 2, column 6"),
        (b'{"name": "\xff"}', "byte 10 is 0xff"),
        (b"{'name': 'a'}", "line 1, column 2"),
    ],
)
def test_what_is_not_json_is_a_400_that_says_where(api, body, words):
    response = post(api, body)
    assert response.status_code == 400
    assert words in problem(response)["detail"]


@pytest.mark.parametrize(
    ("body", "pointer", "expected"),
    [
        (b'{"name": "a", "name": "b"}', "/name", "each key once"),
        (b'{"name": {"x": [1, {"y/z": 1, "y/z": 2}]}}', "/name/x/1/y~1z", "each key once"),
        (b'{"name": NaN}', "/name", "a finite number"),
        (b'{"name": -Infinity}', "/name", "a finite number"),
        (b'{"name": 1e999}', "/name", "a finite number"),
        (b'{"name": ' + b"9" * 5000 + b"}", "/name", "a finite number"),
        (b'{"name": "a\\u0000b"}', "/name", "text of whole characters"),
        (b'{"name": "\\ud800"}', "/name", "text of whole characters"),
        (b'{"\\ud800": 1}', "", "a key of whole characters"),
        (b'{"name": ' + b"[" * 101 + b"]" * 101 + b"}", "", "at most 100 brackets within brackets"),
        (b"[" * 100_000 + b"]" * 100_000, "", "at most 100 brackets within brackets"),
        (b'["name"]', "", None),
        (b"null", "", None),
        (b"3", "", None),
    ],
)
def test_json_that_must_not_be_kept_is_a_422_that_says_where(api, body, pointer, expected):
    response = post(api, body)
    assert response.status_code == 422
    fault = problem(response)["errors"][0]
    assert fault["pointer"] == pointer
    assert expected is None or fault["expected"] == expected


def test_an_empty_body_lacks_what_is_required(api):
    response = post(api, b"")
    assert response.status_code == 422
    assert problem(response)["errors"][0]["pointer"] == "/name"


def test_a_body_over_5_mb_is_refused_by_its_length_before_it_is_read(api):
    response = post(api, b"{}", CONTENT_LENGTH="5000001")
    assert response.status_code == 413
    assert "5000000" in problem(response)["detail"]


def test_a_retried_body_over_5_mb_is_refused_by_its_length_too(api):
    response = post(api, b"{}", CONTENT_LENGTH="5000001", HTTP_IDEMPOTENCY_KEY="k")
    assert response.status_code == 413


def test_a_chunked_body_is_asked_for_its_length(api):
    # As gunicorn hands it on: without a length, so that it would look empty.
    response = post(api, b"{}", HTTP_TRANSFER_ENCODING="chunked", CONTENT_LENGTH="")
    assert problem(response)["status"] == 411


def test_a_document_reaches_its_view_as_it_was_sent(api):
    body = b'{"a": NaN, "a": 1}'
    response = api.post("/api/v1/shelf/document", data=body, content_type="application/json")
    assert response.json() == {"bytes": len(body)}


@pytest.mark.parametrize(
    ("method", "path", "status"),
    [
        ("get", "/api/v1/nowhere", 404),
        ("get", "/api/v7", 404),
        ("get", f"{SUPPLIERS}/7", 404),
        ("get", f"{SUPPLIERS}/x", 404),
        ("get", f"{SUPPLIERS}/99999999999999999999999999", 404),
        ("get", f"{SUPPLIERS}?name=%00", 400),
        ("get", f"{SUPPLIERS}/%00", 400),
        ("get", f"{SUPPLIERS}?limit=0", 422),
        ("get", f"{SUPPLIERS}?limit=many", 422),
        ("get", f"{SUPPLIERS}?nmae=a", 422),
        ("get", f"{SUPPLIERS}?cursor=!!", 422),
        ("get", f"{SUPPLIERS}?cursor=cD1hYmM=", 422),  # p=abc: the position of no row
        ("put", SUPPLIERS, 405),
    ],
)
def test_a_wrong_address_or_method_is_a_problem_too(api, method, path, status):
    response = getattr(api, method)(path)
    assert response.status_code == status
    problem(response)


def test_an_unknown_filter_is_named_with_those_that_exist(api):
    fault = problem(api.get(f"{SUPPLIERS}?nmae=a"))["errors"][0]
    assert fault["parameter"] == "nmae"
    assert "name" in fault["expected"]


def test_other_content_types_are_a_415(api):
    assert problem(post(api, "name=a", "application/x-www-form-urlencoded"))["status"] == 415


def test_a_form_that_no_renderer_makes_is_a_406(api):
    assert problem(api.get(SUPPLIERS, HTTP_ACCEPT="text/csv"))["status"] == 406


def test_too_many_requests_are_a_429_that_says_when_to_come_back(api, settings):
    settings.REQUESTS_PER_MINUTE = 2
    statuses = [api.get(SUPPLIERS).status_code for _ in range(3)]
    response = api.get(SUPPLIERS)
    assert statuses[:2] == [200, 200]
    assert problem(response)["status"] == 429
    assert 1 <= int(response["Retry-After"]) <= 60


def test_too_many_log_ins_are_a_429_even_with_the_right_password(stranger, owner, settings):
    settings.LOGINS_PER_MINUTE = 2
    body = {"username": owner.username, "password": "wrong"}
    assert [stranger.post("/api/v1/tokens", body).status_code for _ in range(2)] == [401, 401]
    assert stranger.post("/api/v1/tokens", {**body, "password": PASSWORD}).status_code == 429


def test_a_cache_that_is_away_stops_nobody(api, settings):
    settings.CACHES = {
        "default": {
            "BACKEND": "django.core.cache.backends.redis.RedisCache",
            "LOCATION": "redis://127.0.0.1:1",
            "OPTIONS": {"socket_connect_timeout": 1},
        }
    }
    assert api.get(SUPPLIERS).status_code == 200


def test_a_name_already_taken_is_refused_at_its_place(api):
    post(api, b'{"name": "North Yard"}')
    response = post(api, b'{"name": "North Yard"}')
    assert response.status_code == 422
    assert problem(response)["errors"][0]["pointer"] == "/name"


def test_a_defect_of_ours_tells_nothing_of_the_inside(api):
    response = api.post("/api/v1/shelf/send", {"name": "a", "fail": "defect"}, HTTP_IDEMPOTENCY_KEY="k")
    body = problem(response)
    assert response.status_code == 500
    assert "ZeroDivision" not in response.content.decode() and body["detail"]


def test_what_was_read_is_cut_where_it_is_long():
    fault = problems.Fault("/a", "x" * 5000, "less", "too long")
    read = problems.describe(422, "d", [fault])["errors"][0]["read"]
    assert len(read) == problems.READ_AT_MOST


def test_a_pointer_escapes_slash_and_tilde():
    # RFC 6901 section 5: the key "a/b" is pointed at by /a~1b, "m~n" by /m~0n.
    assert problems.pointer("a/b") == "/a~1b"
    assert problems.pointer("m~n", 0) == "/m~0n/0"
