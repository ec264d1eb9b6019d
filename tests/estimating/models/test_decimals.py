"""Every Decimal that is kept comes back as it was, on both databases, to the last digit of its column."""

from decimal import Decimal

import pytest
from django.apps import apps
from django.db import connection, models

pytestmark = pytest.mark.django_db

COLUMNS = [(model, field) for model in apps.get_models() for field in model._meta.local_fields
           if isinstance(field, models.DecimalField)]
MONEY_WORDS = ("price", "cost", "amount", "rate", "total", "low", "typical", "high", "quantity", "share")
LENGTHS = {"framing.Framing.area_sqft"}  # what is no money may be a float


def extremes(field: models.DecimalField) -> list[Decimal]:
    """The largest, the smallest and awkward values that the column has room for, of both signs."""
    most = 10**field.max_digits - 1
    units = {0, 1, 2, 3, 7, most, most - 1, most // 3, most // 7, 10 ** (field.max_digits - 1),
             10**field.decimal_places, *(int(str(n) * field.max_digits) for n in range(1, 10))}
    return [sign * Decimal(f"{n}E-{field.decimal_places}") for n in sorted(units) for sign in (1, -1)]


@pytest.mark.parametrize(("model", "field"), COLUMNS, ids=lambda x: getattr(x, "name", None) or x._meta.label)
def test_a_decimal_comes_back_exactly(model, field):
    """By a table of one such column, written and read as the model's own column is."""
    copy = type(f"Kept{model.__name__}{field.name.title()}", (models.Model,), {
        "__module__": __name__, "value": field.clone(),
        "Meta": type("Meta", (), {"app_label": "kept_decimals", "db_table": "kept_decimals", "managed": False}),
    })
    copy._meta.get_field("value").null = False
    with connection.cursor() as cursor:
        column = field.db_type(connection)
        cursor.execute(f"CREATE TEMPORARY TABLE kept_decimals (id integer PRIMARY KEY, value {column})")
    try:
        values = extremes(field)
        copy.objects.bulk_create([copy(id=n, value=value) for n, value in enumerate(values)])
        found = list(copy.objects.order_by("id").values_list("value", flat=True))
        assert found == values and all(type(value) is Decimal for value in found)
        assert [str(v) for v in found] == [str(v.quantize(Decimal(1).scaleb(-field.decimal_places))) if v else
                                           str(abs(v)) for v in values]
    finally:
        with connection.cursor() as cursor:
            cursor.execute("DROP TABLE kept_decimals")
        del apps.all_models["kept_decimals"][copy._meta.model_name]


def test_no_decimal_column_has_more_digits_than_sqlite_keeps():
    for model, field in COLUMNS:
        assert field.max_digits <= 15, f"{model._meta.label}.{field.name}"


def test_a_column_of_sixteen_digits_would_lose_some_on_sqlite():
    """The damage that the rule keeps away; PostgreSQL keeps them."""
    with connection.cursor() as cursor:
        cursor.execute("CREATE TEMPORARY TABLE wide (v decimal(20, 2))")
        cursor.execute("INSERT INTO wide VALUES (%s)", ["1234567890123456.78"])
        cursor.execute("SELECT v FROM wide")
        (found,) = cursor.fetchone()
        cursor.execute("DROP TABLE wide")
    assert (Decimal(str(found)) == Decimal("1234567890123456.78")) == (connection.vendor == "postgresql")


def test_no_float_column_holds_money():
    floats = {f"{model._meta.label}.{field.name}" for model in apps.get_models() for field in model._meta.local_fields
              if isinstance(field, models.FloatField)}
    assert floats == LENGTHS
    ours = [model for model in apps.get_models() if model.__module__.startswith(("estimating", "framing", "quotes"))]
    for model in ours:
        for field in model._meta.local_fields:
            if field.name in MONEY_WORDS and not field.is_relation:
                assert isinstance(field, models.DecimalField), f"{model._meta.label}.{field.name}"
