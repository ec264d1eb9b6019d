"""Tests that notes and files stay as they were written, whoever tries, and can be blanked once."""

from datetime import UTC, datetime

import pytest
from django.db import DatabaseError, connection, transaction

from estimating.files import keep_file
from estimating.models import Customer, Note, StoredFile
from estimating.models.base import RecordIsFinal
from estimating.records import create_record
from estimating.service import append_only

pytestmark = pytest.mark.django_db
NOW = datetime(2026, 3, 2, 15, 0, tzinfo=UTC)


@pytest.fixture
def rows() -> dict[str, object]:
    customer = create_record(Customer, {"name": "A. Tester"}, by=None, now=NOW)
    return {
        "note": create_record(Note, {"customer": customer, "text": "said"}, by=None, now=NOW),
        "file": keep_file(b"%PDF-1.7", name="a.pdf", kind="other", customer=customer, by=None, now=NOW),
    }


def refuses(statement) -> bool:
    try:
        with transaction.atomic():
            statement()
    except DatabaseError as error:
        assert "is final" in str(error)
        return True
    return False


def run(sql: str) -> None:
    with connection.cursor() as cursor:
        cursor.execute(sql)


KINDS = {"note": ("estimating_note", "text"), "file": ("estimating_storedfile", "name")}
FORGERIES = [
    "{words} = 'forged'",
    "{words} = ''",  # without saying when
    "{words} = '', erased_at = NULL",
    "{words} = 'forged', erased_at = '2026-03-02 15:00:00+00'",
    "erased_at = '2026-03-02 15:00:00+00'",  # with the words still there
    "{words} = '', created_at = '2020-01-01 00:00:00+00', erased_at = '2026-03-02 15:00:00+00'",
    "created_at = '2020-01-01 00:00:00+00'",
]


@pytest.mark.parametrize("kind", KINDS)
def test_the_model_refuses_a_second_save_and_a_deletion(rows, kind):
    with pytest.raises(RecordIsFinal):
        rows[kind].save()
    with pytest.raises(RecordIsFinal):
        rows[kind].delete()


@pytest.mark.parametrize("forgery", FORGERIES)
@pytest.mark.parametrize("kind", KINDS)
def test_plain_sql_is_refused(rows, kind, forgery):
    table, words = KINDS[kind]
    before = type(rows[kind]).objects.values().get()
    assert refuses(lambda: run(f"UPDATE {table} SET {forgery.format(words=words)}"))
    assert refuses(lambda: run(f"DELETE FROM {table}"))
    assert type(rows[kind]).objects.values().get() == before


@pytest.mark.parametrize("kind", KINDS)
def test_querysets_are_refused_by_the_database(rows, kind):
    model, (_, words) = type(rows[kind]), KINDS[kind]
    assert refuses(lambda: model.objects.update(**{words: "forged"}))
    assert refuses(lambda: model.objects.all()._raw_delete("default"))


def test_without_the_triggers_a_note_could_be_forged(rows):
    """The damage: a queryset's update never asks the model."""
    append_only.lift(connection, [Note])
    Note.objects.update(text="forged")
    assert Note.objects.get().text == "forged"
    append_only.protect(connection, Note)
    assert refuses(lambda: Note.objects.update(text="said"))


@pytest.mark.parametrize("kind", KINDS)
def test_the_words_are_blanked_once_and_stay_blank(rows, kind):
    model, (table, words) = type(rows[kind]), KINDS[kind]
    before = model.objects.values().get()
    rows[kind].erase(NOW)
    rows[kind].erase(datetime(2027, 1, 1, tzinfo=UTC))
    after = model.objects.values().get()
    assert after[words] == "" and after["erased_at"] == NOW
    erased = {*model.erasable, "erased_at"}
    assert {k: v for k, v in after.items() if k not in erased} == {k: v for k, v in before.items() if k not in erased}
    assert refuses(lambda: run(f"UPDATE {table} SET {words} = 'back'"))
    assert refuses(lambda: run(f"UPDATE {table} SET erased_at = NULL"))
    assert StoredFile.objects.get().sha256 and rows[kind].version == 2
