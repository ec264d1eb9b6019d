"""The cast that every test may call on: people of each role, a stranger, and programs that call in their name."""

from collections.abc import Iterator

import pytest
from django.core.cache import cache
from django.utils import timezone
from rest_framework.test import APIClient

PASSWORD = "seven tall ladders"


@pytest.fixture(autouse=True)
def _no_counts_left_over() -> None:
    """Requests of one test do not count against the next one's rate."""
    cache.clear()


@pytest.fixture(autouse=True)
def _emptied_without_triggers(request: pytest.FixtureRequest) -> Iterator[None]:
    """A test that commits has its rows deleted after it, append-only or not; migrating makes the triggers again."""
    marker = request.node.get_closest_marker("django_db")
    if not (marker and marker.kwargs.get("transaction")):
        yield
        return
    request.getfixturevalue("transactional_db")
    yield
    from django.db import connection

    from estimating.service import append_only

    append_only.lift(connection)


@pytest.fixture
def make_user(db):
    def make(role: str, username: str | None = None):
        from estimating.models import User

        return User.objects.create_user(username or role, password=PASSWORD, role=role)

    return make


@pytest.fixture
def owner(make_user):
    return make_user("owner")


@pytest.fixture
def estimator(make_user):
    return make_user("estimator")


@pytest.fixture
def crew(make_user):
    return make_user("crew")


@pytest.fixture
def reader(make_user):
    return make_user("read-only")


@pytest.fixture
def as_user():
    """A program that calls in this person's name: `as_user(owner).get("/api/v1/jobs")`."""

    def login(user, **token) -> APIClient:
        from estimating.service.tokens import make_token

        secret, _ = make_token(user, "tests", now=timezone.now(), **token)
        client = APIClient(raise_request_exception=False)
        client.credentials(HTTP_AUTHORIZATION=f"Bearer {secret}")
        return client

    return login


@pytest.fixture
def stranger() -> APIClient:
    """A program without a token."""
    return APIClient(raise_request_exception=False)


@pytest.fixture
def api(owner, as_user) -> APIClient:
    """A program that calls in the owner's name."""
    return as_user(owner)
