"""Tests of what the estimate takes from the office's price lists."""

from datetime import UTC, date, datetime
from decimal import Decimal

import pytest

from estimating.models import Material, Office, PriceList, Supplier
from estimating.price_lists import COLUMNS, approve_version, stage_price_file
from quotes.estimate import Price
from quotes.pricing import prices_on

NOW = datetime(2026, 3, 2, 15, 0, tzinfo=UTC)


@pytest.mark.django_db
@pytest.mark.parametrize(("freight", "amount"), [("", "89.00"), ("0", "89.00"), ("1.25", "90.25")])
def test_freight_of_a_unit_is_in_the_amount_that_a_line_is_reckoned_with(freight, amount):
    Office.objects.create(name="Test Decks")
    supplier = Supplier.objects.create(name="Test Timber")
    listed = PriceList.objects.create(supplier=supplier, name="yard")
    Material.objects.create(item_key="fixing/hidden", supplier=supplier, sku="F-CLIP")
    row = f"F-CLIP,Hidden clip,BX,XBX,175,EA,89.00,USD,per box,2026-03-01,,active,{freight}"
    content = "\n".join([",".join((*COLUMNS, "freight")), row, ""]).encode()
    version = stage_price_file(listed.pk, content, source_name="", by=None, now=NOW)
    version = approve_version(version.pk, by=None, now=NOW)
    price = prices_on(["fixing/hidden"], date(2026, 3, 2), [version])["fixing/hidden"]
    assert isinstance(price, Price) and price.amount == Decimal(amount)
