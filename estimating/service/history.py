"""Who did what, when: each change of a record leaves a line, in the change's own transaction."""

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from django.db import models

from estimating.models import History, User


def note(row: models.Model, action: str, changes: Mapping[str, Any], *, by: User | None, now: datetime) -> None:
    """Write one line of history about a row; `changes` is `{field: [old, new]}` of plain values."""
    History.objects.create(
        at=now, by=by, subject=row._meta.verbose_name.replace(" ", "-"), subject_id=row.pk, action=action,
        changes=dict(changes),
    )  # fmt: skip


def plain(value: Any) -> Any:
    """A field's value as JSON keeps it: rows by their number, money and dates as text."""
    if isinstance(value, models.Model):
        return value.pk
    return value if value is None or isinstance(value, str | int | bool | list | dict) else str(value)
