"""Changes of plain records: each is one transaction that writes the row and who changed what from what."""

from collections.abc import Mapping
from datetime import datetime
from typing import Any, TypeVar

from django.core.exceptions import FieldDoesNotExist
from django.db import models, transaction

from estimating.models import Contact, Customer, Job, Note, StoredFile, Supplier, User
from estimating.models.customers import OfCustomerOrJob
from estimating.service.history import note, plain
from estimating.service.problems import refusal

M = TypeVar("M", bound=models.Model)

# Of these the history keeps only that they changed, so that a person's data can be erased.
PERSONAL: dict[type[models.Model], frozenset[str]] = {
    Customer: frozenset({"name", "email", "phone", "address", "postal_address", "note"}),
    Job: frozenset({"name", "site_address", "note"}),
    Contact: frozenset({"name", "email", "phone"}),
    Note: frozenset({"text"}),
    StoredFile: frozenset({"name"}),
    Supplier: frozenset({"email", "phone", "note"}),
}


@refusal(409)
class CustomerErased(Exception):
    """The customer's data were erased; the row only holds its jobs together."""


@refusal(409)
class CustomerMerged(Exception):
    """The customer is the same as another, and everything goes on there."""


def check_living(customer: Customer) -> None:
    """Raises CustomerErased or CustomerMerged for a customer that nothing is added to any more."""
    if customer.erased_at is not None:
        raise CustomerErased(f"Customer {customer.pk} was erased on {customer.erased_at:%Y-%m-%d}; make a new one.")
    if customer.merged_into_id is not None:
        raise CustomerMerged(f"Customer {customer.pk} is customer {customer.merged_into_id} now; use that one.")


def create_record(model: type[M], values: Mapping[str, Any], *, by: User | None, now: datetime) -> M:
    """Insert a row and note who did; fills `created_at` and `created_by` where the model has them.

    Raises CustomerErased or CustomerMerged where it would hang on such a customer.
    """
    stamps = {"created_at": now, "created_by": by}
    row = model(**{name: value for name, value in stamps.items() if _has(model, name)}, **values)
    with transaction.atomic():
        _check_owner(row)
        row.save(force_insert=True)
        note(row, "create", _changes(model, {name: (None, value) for name, value in values.items()}), by=by, now=now)
    return row


def change_record(row: M, values: Mapping[str, Any], *, by: User | None, now: datetime) -> M:
    """Change a row that the caller has locked, and note each field's old and new value.

    Nothing is written where nothing differs. Raises CustomerErased or CustomerMerged where it is or hangs on such a
    customer.
    """
    changed = {name: (getattr(row, name), value) for name, value in values.items() if getattr(row, name) != value}
    if changed:
        with transaction.atomic():
            if isinstance(row, Customer | Contact) or "customer" in changed:
                _check_owner(row)
            for name, (_, value) in changed.items():
                setattr(row, name, value)
            if "customer" in changed:
                _check_owner(row)
            row.save(update_fields=list(changed))
            note(row, "change", _changes(type(row), changed), by=by, now=now)
    return row


def delete_record(row: models.Model, *, by: User | None, now: datetime) -> None:
    """Delete a row that nothing refers to, and note it."""
    with transaction.atomic():
        note(row, "delete", {}, by=by, now=now)
        row.delete()


def erase_note(row: Note, *, by: User | None, now: datetime) -> Note:
    """Blank what a note says; who wrote it and when stays."""
    if row.erased_at is None:
        with transaction.atomic():
            row.erase(now)
            note(row, "erase", {}, by=by, now=now)
    return row


def _check_owner(row: models.Model) -> None:
    """Hold the customer that a row is or hangs on, so that no data come to it while it is erased or merged."""
    if isinstance(row, Customer):
        check_living(row)
    elif isinstance(row, Job | OfCustomerOrJob):
        owner = row.customer if isinstance(row, Job) else row.owner
        check_living(Customer.objects.select_for_update().get(pk=owner.pk))


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
