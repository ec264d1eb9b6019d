"""Triggers that keep issued records as they were issued, on PostgreSQL and SQLite.

A model becomes append-only by deriving from `models.base.AppendOnly`; nothing else is to be registered. The triggers
are made again after every migrate, since SQLite loses them when a migration rebuilds its table.
"""

from typing import Any

from django.apps import apps
from django.apps.config import AppConfig
from django.db import DEFAULT_DB_ALIAS, connections, models
from django.db.backends.base.base import BaseDatabaseWrapper

from estimating.models.base import AppendOnly

FINAL = "is final; write a new row that points at the old one"


def final_models() -> list[type[AppendOnly]]:
    """Every model whose rows stay as they were written, in the order of their tables' names."""
    found = [model for model in apps.get_models() if issubclass(model, AppendOnly)]
    return sorted(found, key=lambda model: model._meta.db_table)


def protect_after_migrate(app_config: AppConfig, using: str = DEFAULT_DB_ALIAS, **_: Any) -> None:
    """Make the triggers of one app's tables; receives Django's `post_migrate`."""
    connection = connections[using]
    tables = set(connection.introspection.table_names())
    for model in final_models():
        if model._meta.app_label == app_config.label and model._meta.db_table in tables:
            protect(connection, model)


def protect(connection: BaseDatabaseWrapper, model: type[AppendOnly]) -> None:
    """(Re)make the triggers of one table."""
    lift(connection, [model])
    with connection.cursor() as cursor:
        for statement in TRIGGERS[connection.vendor](model):
            cursor.execute(statement)


def lift(connection: BaseDatabaseWrapper, final: list[type[models.Model]] | None = None) -> None:
    """Drop the triggers of these tables, or of all: before a test's database is emptied, say."""
    with connection.cursor() as cursor:
        for model in final_models() if final is None else final:
            table = model._meta.db_table
            for event in ("update", "delete", "insert", "truncate"):
                on_table = f' ON "{table}"' if connection.vendor == "postgresql" else ""
                cursor.execute(f'DROP TRIGGER IF EXISTS "{table}_final_{event}"{on_table}')


def _conditions(model: type[AppendOnly], same: str = "IS") -> dict[str, str]:
    """What is refused, as SQL over OLD and NEW, by event; `same` compares two values of which either may be NULL."""
    frozen, closed = model.frozen_when or "1 = 1", model.closed_when
    refused = {"update": f"({frozen}) OR ({closed})" if closed else frozen, "delete": frozen}
    if model.erasable:
        refused["update"] = f"NOT ({_erases(model, same)})"
    return refused | ({"insert": closed} if closed else {})


def _erases(model: type[AppendOnly], same: str) -> str:
    """That an update blanks the erasable columns of a row for the first time and leaves all others as they are."""
    others = [field.column for field in model._meta.concrete_fields
              if field.name not in model.erasable and field.name != "erased_at"]
    parts = ["OLD.erased_at IS NULL", "NEW.erased_at IS NOT NULL"]
    parts += [f"NEW.\"{model._meta.get_field(name).column}\" = ''" for name in model.erasable]
    parts += [f'NEW."{column}" {same} OLD."{column}"' for column in others]
    return " AND ".join(parts)


def _sqlite(model: type[AppendOnly]) -> list[str]:
    table = model._meta.db_table
    return [
        f'CREATE TRIGGER "{table}_final_{event}" BEFORE {event.upper()} ON "{table}" FOR EACH ROW WHEN {condition} '
        f"BEGIN SELECT RAISE(ABORT, '{table} {FINAL}'); END"
        for event, condition in _conditions(model).items()
    ]


def _postgresql(model: type[AppendOnly]) -> list[str]:
    """A condition may ask another table, which a trigger's WHEN cannot; so it stands in the function."""
    table = model._meta.db_table
    statements = []
    conditions = _conditions(model, same="IS NOT DISTINCT FROM")
    if closed := conditions.pop("insert", ""):
        # All rows of a statement are looked at together: one by one they would cost a list of 50,000 most of its time.
        name = f"{table}_final_insert"
        statements += [
            f'CREATE OR REPLACE FUNCTION "{name}"() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN '
            f"IF EXISTS (SELECT 1 FROM added WHERE {closed.replace('NEW.', 'added.')}) THEN "
            f"RAISE EXCEPTION '{table} {FINAL}' USING ERRCODE = 'restrict_violation'; END IF; RETURN NULL; END $$",
            f'CREATE TRIGGER "{name}" AFTER INSERT ON "{table}" REFERENCING NEW TABLE AS added '
            f'FOR EACH STATEMENT EXECUTE FUNCTION "{name}"()',
        ]
    for event, condition in {**conditions, "truncate": "1 = 1"}.items():
        name = f"{table}_final_{event}"
        each = "STATEMENT" if event == "truncate" else "ROW"
        row = "NULL" if event == "truncate" else "OLD" if event == "delete" else "NEW"
        statements += [
            f'CREATE OR REPLACE FUNCTION "{name}"() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN '
            f"IF {condition} THEN RAISE EXCEPTION '{table} {FINAL}' USING ERRCODE = 'restrict_violation'; END IF; "
            f"RETURN {row}; END $$",
            f'CREATE TRIGGER "{name}" BEFORE {event.upper()} ON "{table}" FOR EACH {each} EXECUTE FUNCTION "{name}"()',
        ]
    return statements


TRIGGERS = {"sqlite": _sqlite, "postgresql": _postgresql}
