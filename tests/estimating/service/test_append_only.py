"""Issued records stay as they were issued, whoever asks and by whatever way."""

from datetime import UTC, datetime

import pytest
from django.core.management import call_command
from django.db import IntegrityError, connection, transaction

from estimating.models import History
from estimating.models.base import RecordIsFinal
from estimating.service import append_only

pytestmark = pytest.mark.django_db
NOW = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)


@pytest.fixture
def entry() -> History:
    return History.objects.create(at=NOW, subject="job", subject_id=1, action="created")


def refused_by_the_database(statement: str, *args) -> bool:
    try:
        with transaction.atomic(), connection.cursor() as cursor:
            cursor.execute(statement, args)
    except IntegrityError as exc:
        assert "is final" in str(exc)
        return True
    return False


def test_the_tables_that_stay_as_they_are():
    assert [model._meta.label for model in append_only.final_models()] == FINAL


# Everything that is final; a table that joins or leaves this list is a decision.
FINAL = [
    "estimating.CrewMix",
    "estimating.History",
    "estimating.LaborRate",
    "estimating.Note",  # save that its text can be erased
    "estimating.Notice",
    "estimating.Price",  # from its version's approval on
    "estimating.PriceListVersion",  # from its approval on
    "estimating.ProductionRate",
    "estimating.RecipeVersion",  # once it is in force
    "estimating.RejectedPrice",  # from its version's approval on
    "estimating.StoredFile",  # save that its name can be erased
    "estimating.TaxRule",
    "framing.Build",
    "framing.Framing",
    "framing.Survey",
    "quotes.Acceptance",
    "quotes.Offer",
    "quotes.OfferEvent",  # save that a person's words can be erased
    "quotes.OfferLink",  # save that name and address can be erased
    "quotes.QuoteLine",  # once it stands in a revision
    "quotes.RenderedFile",
    "quotes.Revision",
    "quotes.Signature",  # save that name and address can be erased
]


def test_every_final_table_has_its_triggers():
    for model in append_only.final_models():
        table = model._meta.db_table
        wanted = {f"{table}_final_{event}" for event in append_only._conditions(model)}
        if connection.vendor == "postgresql":
            wanted.add(f"{table}_final_truncate")
        assert _triggers(table) == wanted


def test_the_model_refuses_a_second_save_and_a_deletion(entry):
    with pytest.raises(RecordIsFinal, match="is final"):
        entry.save()
    with pytest.raises(RecordIsFinal, match="cannot be deleted"):
        entry.delete()


def test_the_database_refuses_what_goes_round_the_model(entry):
    assert refused_by_the_database("UPDATE estimating_history SET action = 'x' WHERE id = %s", entry.pk)
    assert refused_by_the_database("DELETE FROM estimating_history WHERE id = %s", entry.pk)
    with pytest.raises(IntegrityError), transaction.atomic():
        History.objects.update(action="x")
    with pytest.raises(IntegrityError), transaction.atomic():
        History.objects.all().delete()
    assert History.objects.get().action == "created"


def test_without_the_triggers_a_bulk_change_would_go_through(entry):
    """The damage: a queryset's update and delete never ask the model."""
    append_only.lift(connection, [History])
    History.objects.update(action="forged")
    assert History.objects.get().action == "forged"
    append_only.protect(connection, History)
    assert refused_by_the_database("UPDATE estimating_history SET action = 'x'")


def test_emptying_a_whole_table_is_refused_too(entry):
    connection.check_constraints()  # PostgreSQL empties no table whose rows still wait to be checked
    # SQLite has no TRUNCATE; there an unconditional DELETE is the same thing.
    word = "TRUNCATE" if connection.vendor == "postgresql" else "DELETE FROM"
    assert refused_by_the_database(f"{word} estimating_history")


def test_migrating_makes_triggers_again_that_a_rebuilt_table_lost(entry):
    append_only.lift(connection)
    assert _triggers("estimating_history") == set()
    call_command("migrate", verbosity=0)
    assert refused_by_the_database("DELETE FROM estimating_history")


def _triggers(table: str) -> set[str]:
    query = {
        "sqlite": "SELECT name FROM sqlite_master WHERE type = 'trigger' AND tbl_name = %s",
        "postgresql": "SELECT tgname FROM pg_trigger WHERE tgrelid = %s::regclass AND NOT tgisinternal",
    }[connection.vendor]
    with connection.cursor() as cursor:
        cursor.execute(query, [table])
        return {name for (name,) in cursor.fetchall()}
