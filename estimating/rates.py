"""Labor rates on a day; a changed rate is a new row with a later date."""

from datetime import date

from estimating.models import LaborRate


def labor_rates_on(on: date) -> list[LaborRate]:
    """Of every grade the rate that holds on a day, by grade."""
    rows = LaborRate.objects.filter(valid_from__lte=on).order_by("valid_from", "id")
    return sorted({row.grade: row for row in rows}.values(), key=lambda row: row.grade)
