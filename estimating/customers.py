"""Customers found twice, made one, and erased."""

from collections.abc import Sequence
from datetime import datetime
from functools import partial
from typing import NamedTuple

from django.db import transaction
from django.db.models import Q, QuerySet
from django.dispatch import Signal

from estimating.files import remove_bytes
from estimating.models import Contact, Customer, Job, Note, StoredFile, User
from estimating.records import PERSONAL, change_record, check_living, create_record
from estimating.service.history import note
from estimating.service.idempotency import forget_answers
from estimating.service.problems import refusal

# Sent inside the erasing transaction with `jobs`, a list of numbers: whoever keeps papers with a person's name on them
# removes these once it is committed.
customer_erased = Signal()


@refusal(409)
class CannotMerge(Exception):
    """A customer cannot be made one with itself."""


class Match(NamedTuple):
    """Another customer who may be the same, and why: `email`, `phone`, `name and address`."""

    customer: Customer
    because: tuple[str, ...]


def duplicates_of(customer: Customer) -> list[Match]:
    """Customers that share an e-mail address, a phone's digits, or name and address, oldest first.

    Contacts count on both sides. Nothing is compared where nothing is known, and who was erased or made one with
    another is left out. Takes three queries.
    """
    contacts = list(customer.contacts.all())
    emails = {row.email_key for row in (customer, *contacts)} - {""}
    phones = {row.phone_key for row in (customer, *contacts)} - {""}
    place = customer.name_address_key
    same = (
        Q(email_key__in=emails) | Q(contacts__email_key__in=emails)
        | Q(phone_key__in=phones) | Q(contacts__phone_key__in=phones)
    )  # fmt: skip
    if place:
        same |= Q(name_address_key=place)
    rows = Customer.objects.filter(same, erased_at=None, merged_into=None).exclude(pk=customer.pk).distinct()
    found = []
    for row in rows.order_by("pk").prefetch_related("contacts"):
        theirs = (row, *row.contacts.all())
        because = {
            "email": any(one.email_key in emails for one in theirs),
            "phone": any(one.phone_key in phones for one in theirs),
            "name and address": bool(place) and row.name_address_key == place,
        }
        found.append(Match(row, tuple(name for name, is_so in because.items() if is_so)))
    return found


def merge_customers(customer_id: int, other_id: int, *, by: User | None, now: datetime) -> Customer:
    """Make two customers one: jobs and contacts of the other go over, and the other stays as a pointer.

    Its notes and files stay where they were written and are read with this customer's (`of_customer`); where it has
    another e-mail address or phone, these become a contact. Raises CannotMerge, CustomerErased or CustomerMerged.
    """
    if customer_id == other_id:
        raise CannotMerge(f"Customer {customer_id} is one already.")
    with transaction.atomic():
        rows = {row.pk: row for row in
                Customer.objects.select_for_update().filter(pk__in=(customer_id, other_id)).order_by("pk")}
        customer, other = rows[customer_id], rows[other_id]
        check_living(customer)
        check_living(other)
        moved: dict[str, list[int]] = {"jobs": [], "contacts": []}
        for name, model in (("jobs", Job), ("contacts", Contact)):
            for row in model.objects.select_for_update().filter(customer=other).order_by("pk"):
                change_record(row, {"customer": customer}, by=by, now=now)
                moved[name].append(row.pk)
        if (other.email_key and other.email_key != customer.email_key) or (
            other.phone_key and other.phone_key != customer.phone_key
        ):
            kept = {"name": other.name, "email": other.email, "phone": other.phone, "role": Contact.Role.OTHER}
            create_record(Contact, {"customer": customer, **kept}, by=by, now=now)
        Customer.objects.filter(merged_into=other).update(merged_into=customer)
        other.merged_into = customer
        other.save(update_fields=["merged_into"])
        note(other, "merge", {"merged_into": [None, customer.pk]}, by=by, now=now)
        told = {name: [None, numbers] for name, numbers in moved.items() if numbers}
        note(customer, "merge", {"merged": [None, other.pk], **told}, by=by, now=now)
        customer.save(update_fields=[])  # who read it before the merge is told to read it again
    return customer


def of_customer(rows: QuerySet, customer: int) -> QuerySet:
    """Those of a customer, and of whoever was made one with the customer."""
    return rows.filter(Q(customer=customer) | Q(customer__merged_into=customer))


def erase_customer(customer: Customer, *, by: User | None, now: datetime) -> Customer:
    """Blank what is known of a person wherever it stands; the rows, checksums and all sums stay. The row is locked.

    That is the customer and whoever was merged into it, their contacts, notes and files and those of their jobs, the
    jobs' names and addresses, and kept answers to requests that made them; stored bytes go once it is committed.
    Raises CustomerMerged for a pointer: erase the customer it points at.
    """
    if customer.merged_into_id is not None:
        check_living(customer)
    with transaction.atomic():
        everyone = [customer, *customer.merged.select_for_update().order_by("pk")]
        jobs = list(Job.objects.select_for_update().filter(customer__in=everyone).order_by("pk"))
        theirs = Q(customer__in=everyone) | Q(job__in=jobs)
        for contact in Contact.objects.select_for_update().filter(theirs):
            change_record(contact, dict.fromkeys(PERSONAL[Contact], ""), by=by, now=now)
        for model in (Note, StoredFile):
            for row in model.objects.filter(theirs, erased_at=None):
                row.erase(now)
                note(row, "erase", {}, by=by, now=now)
                if model is StoredFile:
                    transaction.on_commit(partial(remove_bytes, row), robust=True)
        for job in jobs:
            change_record(job, {"name": f"{job.number} (erased)", "site_address": "", "note": ""}, by=by, now=now)
        for row in everyone:
            for name in PERSONAL[Customer]:
                setattr(row, name, "")
            row.erased_at = now
            row.save()
            note(row, "erase", {}, by=by, now=now)
        forget_answers({"customer": _numbers(everyone), "job": _numbers(jobs)})
        customer_erased.send(Customer, jobs=[job.pk for job in jobs])
    return customer


def _numbers(rows: Sequence[Customer] | Sequence[Job]) -> set[int]:
    return {row.pk for row in rows}
