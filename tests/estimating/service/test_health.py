"""What every answer carries, and the addresses that belong to the house."""

import re
from html.parser import HTMLParser

import pytest
from django.db import OperationalError

from estimating.service import health

pytestmark = pytest.mark.django_db


def test_health_tells_that_the_database_answers(client):
    response = client.get("/healthz")
    assert response.status_code == 200
    assert response.json()["database"] == "ok"
    assert "no-cache" in response["Cache-Control"]


def test_health_is_a_503_where_the_database_does_not_answer(client, monkeypatch):
    def away():
        raise OperationalError("connection to 10.0.0.7 refused")

    monkeypatch.setattr(health, "_ask_database", away)
    response = client.get("/healthz")
    assert response.status_code == 503
    assert response.json()["database"] == "does not answer" and "10.0.0.7" not in response.content.decode()


@pytest.mark.parametrize("address", ["/healthz", "/api/v1/docs", "/api/v1/nowhere", "/admin/login/"])
def test_every_answer_forbids_what_is_not_ours(client, address):
    response = client.get(address)
    policy = response["Content-Security-Policy"]
    assert "default-src 'self'" in policy and "unsafe" not in policy
    assert response["X-Content-Type-Options"] == "nosniff"
    assert response["X-Frame-Options"] == "DENY"
    assert response["Referrer-Policy"] == "same-origin"


def test_the_schema_is_openapi_3_1_and_names_the_resources_of_the_house(client):
    response = client.get("/api/v1/schema?format=json")
    schema = response.json()
    assert schema["openapi"] == "3.1.0"
    assert {"/api/v1/tokens", "/api/v1/runs", "/api/v1/runs/{id}", "/api/v1/runs/{id}/cancel"} <= set(schema["paths"])
    assert schema["components"]["securitySchemes"]["token"] == {"type": "http", "scheme": "bearer"}


def test_the_schema_tells_of_problems_retries_and_preconditions(client):
    paths = client.get("/api/v1/schema?format=json").json()["paths"]
    for operations in paths.values():
        for operation in operations.values():
            assert "application/problem+json" in operation["responses"]["default"]["content"]

    def headers(path: str, method: str) -> dict[str, bool]:
        told = paths[path][method].get("parameters", [])
        return {entry["name"]: entry["required"] for entry in told if entry["in"] == "header"}

    assert headers("/api/v1/customers", "post") == {"Idempotency-Key": False}
    assert headers("/api/v1/customers/{id}", "patch") == {"If-Match": True}
    assert headers("/api/v1/customers/{id}", "get") == {"If-None-Match": False}
    assert headers("/api/v1/tokens", "post") == {}


class Inline(HTMLParser):
    """Collects what a strict policy would refuse."""

    def __init__(self) -> None:
        super().__init__()
        self.found: list[str] = []

    def handle_starttag(self, tag, attrs):
        attrs = dict(attrs)
        if tag == "style" or (tag == "script" and "src" not in attrs) or "style" in attrs:
            self.found.append(tag)
        self.found += [name for name in attrs if name.startswith("on")]
        source = attrs.get("src") or (tag == "link" and attrs.get("href")) or ""
        if re.match(r"(https?:)?//", source):
            self.found.append(source)


def test_the_page_to_try_it_has_nothing_inline_and_nothing_from_elsewhere(client):
    response = client.get("/api/v1/docs")
    page = Inline()
    page.feed(response.content.decode())
    assert page.found == []
    script = client.get("/api/v1/docs?script=")
    assert script["Content-Type"].startswith("application/javascript")
    assert "SwaggerUIBundle" in script.content.decode()
