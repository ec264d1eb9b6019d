"""Tests that the admin shows the records and changes none."""

from datetime import date

import pytest
from django.contrib import admin
from django.utils import timezone

from estimating.admin import LookedAt
from estimating.models import History, LaborRate


@pytest.fixture
def superuser_page(make_user, client):
    user = make_user("owner")
    user.is_staff = user.is_superuser = True
    user.save()
    client.force_login(user)
    return client


SHOWN = sorted(
    model._meta.model_name for model, page in admin.site._registry.items()
    if isinstance(page, LookedAt) and model._meta.app_label == "estimating"
)  # fmt: skip


@pytest.mark.parametrize("name", SHOWN)
def test_a_list_is_shown_and_nothing_can_be_added(superuser_page, name):
    assert superuser_page.get(f"/admin/estimating/{name}/").status_code == 200
    assert superuser_page.get(f"/admin/estimating/{name}/add/").status_code == 403


def test_a_rate_can_be_read_but_not_changed_or_deleted(superuser_page):
    rate = LaborRate.objects.create(grade="lead", rate=50, valid_from=date(2026, 1, 1), created_at=timezone.now())
    page = f"/admin/estimating/laborrate/{rate.pk}"
    assert superuser_page.get(f"{page}/change/").status_code == 200
    assert superuser_page.post(f"{page}/change/", {"rate": "1"}).status_code == 403
    assert superuser_page.post(f"{page}/delete/", {"post": "yes"}).status_code == 403
    assert LaborRate.objects.get().rate == 50 and not History.objects.exists()
