"""Changes of plain records: each is one transaction that writes the row and who changed what from what."""

from collections.abc import Mapping
from datetime import datetime
from typing import Any, TypeVar

from django.core.exceptions import FieldDoesNotExist
from django.db import models, transaction

from estimating.models import Customer, Job, Supplier, User
from estimating.service.history import note, plain
from estimating.service.problems import refusal

M = TypeVar("M", bound=models.Model)

# Of these the history keeps only that they changed, so that a person's data can be erased.
PERSONAL: dict[type[models.Model], frozenset[str]] = {
    Customer: frozenset({"name", "email", "phone", "address", "note"}),
    Job: frozenset({"name", "site_address", "note"}),
    Supplier: frozenset({"email", "phone", "note"}),
}


@refusal(409)
class CustomerErased(Exception):
    """The customer's data were erased; the row only holds its jobs together."""


def create_record(model: type[M], values: Mapping[str, Any], *, by: User | None, now: datetime) -> M:
    """Insert a row and note who did; fills `created_at` and `created_by` where the model has them."""
    stamps = {"created_at": now, "created_by": by}
    row = model(**{name: value for name, value in stamps.items() if _has(model, name)}, **values)
    with transaction.atomic():
        row.save(force_insert=True)
        note(row, "create", _changes(model, {name: (None, value) for name, value in values.items()}), by=by, now=now)
    return row


def change_record(row: M, values: Mapping[str, Any], *, by: User | None, now: datetime) -> M:
    """Change a row that the caller has locked, and note each field's old and new value.

    Nothing is written where nothing differs. Raises CustomerErased for a customer whose data were erased.
    """
    if isinstance(row, Customer) and row.erased_at is not None:
        raise CustomerErased(f"Customer {row.pk} was erased on {row.erased_at:%Y-%m-%d}; make a new one.")
    changed = {name: (getattr(row, name), value) for name, value in values.items() if getattr(row, name) != value}
    if changed:
        with transaction.atomic():
            for name, (_, value) in changed.items():
                setattr(row, name, value)
            row.save(update_fields=list(changed))
            note(row, "change", _changes(type(row), changed), by=by, now=now)
    return row


def delete_record(row: models.Model, *, by: User | None, now: datetime) -> None:
    """Delete a row that nothing refers to, and note it."""
    with transaction.atomic():
        note(row, "delete", {}, by=by, now=now)
        row.delete()


def erase_customer(customer: Customer, *, by: User | None, now: datetime) -> Customer:
    """Blank what is known of a person, here and on the person's jobs; the rows and all sums stay. The row is locked."""
    with transaction.atomic():
        for job in customer.jobs.select_for_update():
            change_record(job, {"name": f"{job.number} (erased)", "site_address": "", "note": ""}, by=by, now=now)
        for name in PERSONAL[Customer]:
            setattr(customer, name, "")
        customer.erased_at = now
        customer.save()
        note(customer, "erase", {}, by=by, now=now)
    return customer


def _changes(model: type[models.Model], changed: Mapping[str, tuple[Any, Any]]) -> dict[str, Any]:
    hidden = PERSONAL.get(model, frozenset())
    return {
        name: "changed" if name in hidden else [plain(old), plain(new)] for name, (old, new) in changed.items()
    }


def _has(model: type[models.Model], name: str) -> bool:
    try:
        model._meta.get_field(name)
    except FieldDoesNotExist:
        return False
    return True
