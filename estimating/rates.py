"""Labor rates and crew mixes on a day; a changed one is a new row with a later date."""

from datetime import date

from estimating.models import CrewMix, LaborRate


def labor_rates_on(on: date) -> list[LaborRate]:
    """Of every grade the rate that holds on a day, by grade."""
    rows = LaborRate.objects.filter(valid_from__lte=on).order_by("valid_from", "id")
    return sorted({row.grade: row for row in rows}.values(), key=lambda row: row.grade)


def crew_mix_on(name: str, on: date) -> CrewMix | None:
    """The crew mix of that name that holds on a day."""
    return CrewMix.objects.filter(name=name, valid_from__lte=on).order_by("valid_from", "id").last()
