"""Who may: tokens, roles and scopes."""

from datetime import timedelta

import pytest
from django.utils import timezone

from estimating.models import ApiToken, Supplier
from tests.conftest import PASSWORD

pytestmark = [pytest.mark.django_db, pytest.mark.urls("tests.estimating.service.shelf")]
SUPPLIERS = "/api/v1/shelf/suppliers"


def test_name_and_password_give_a_token_that_works_and_is_shown_once(stranger, owner):
    response = stranger.post("/api/v1/tokens", {"username": "owner", "password": PASSWORD, "name": "laptop"})
    token = response.json()["token"]

    assert response.status_code == 201 and response["Cache-Control"] == "no-store"
    assert len(token) >= 43  # 256 bits in base 64
    row = ApiToken.objects.get()
    assert token not in str(vars(row)) and row.name == "laptop"
    stranger.credentials(HTTP_AUTHORIZATION=f"Bearer {token}")
    assert stranger.get(SUPPLIERS).status_code == 200


@pytest.mark.parametrize("change", [{"password": "wrong"}, {"username": "nobody"}])
def test_a_wrong_name_and_a_wrong_password_are_refused_alike(stranger, owner, change):
    body = {"username": "owner", "password": PASSWORD, **change}
    response = stranger.post("/api/v1/tokens", body)
    assert response.status_code == 401
    assert response.json()["detail"] == "There is no such name and password"
    assert not ApiToken.objects.exists()


def test_a_token_request_without_its_fields_names_them(stranger):
    response = stranger.post("/api/v1/tokens", {})
    assert response.status_code == 422
    assert {fault["pointer"] for fault in response.json()["errors"]} == {"/username", "/password"}


def test_a_password_is_not_sent_back_in_a_refusal(stranger):
    response = stranger.post("/api/v1/tokens", {"password": PASSWORD, "scope": "all"})
    assert response.status_code == 422
    assert PASSWORD not in response.content.decode()


def test_without_a_token_nothing_is_readable(stranger):
    response = stranger.get(SUPPLIERS)
    assert response.status_code == 401
    assert response["WWW-Authenticate"] == "Bearer"


@pytest.mark.parametrize("how", ["expired", "revoked", "inactive", "made up"])
def test_a_token_that_no_longer_counts_opens_nothing(how, owner, as_user):
    api = as_user(owner)
    assert api.get(SUPPLIERS).status_code == 200
    if how == "expired":
        ApiToken.objects.update(expires_at=timezone.now() - timedelta(seconds=1))
    elif how == "revoked":
        assert api.delete("/api/v1/tokens").status_code == 204
    elif how == "inactive":
        owner.is_active = False
        owner.save()
    else:
        api.credentials(HTTP_AUTHORIZATION="Bearer " + "A" * 43)
    assert api.get(SUPPLIERS).status_code == 401


# role, may read, may change
ROLES = [("owner", True, True), ("estimator", True, True), ("read-only", True, False), ("crew", False, False)]


@pytest.mark.parametrize(("role", "reads", "changes"), ROLES)
def test_a_role_opens_what_it_is_for(role, reads, changes, make_user, as_user):
    api = as_user(make_user(role))
    assert api.get(SUPPLIERS).status_code == (200 if reads else 403)
    assert api.post(SUPPLIERS, {"name": "Yard"}).status_code == (201 if changes else 403)
    assert Supplier.objects.exists() == changes


def test_a_token_for_reading_changes_nothing_whoever_holds_it(owner, as_user):
    api = as_user(owner, scope="read")
    assert api.get(SUPPLIERS).status_code == 200
    response = api.post(SUPPLIERS, {"name": "Yard"})
    assert response.status_code == 403 and response.json()["detail"] == "This token may only read"
