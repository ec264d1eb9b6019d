"""Suppliers, and materials: which of the office's goods stands behind an item key of a framing."""

import re
from decimal import Decimal

from django.db import models
from django.db.models import Q

from estimating import units
from estimating.models.base import Versioned


class Supplier(Versioned):
    """Whom the office buys from."""

    name = models.CharField(max_length=200, unique=True)
    email = models.EmailField(blank=True)
    phone = models.CharField(max_length=40, blank=True)
    note = models.TextField(blank=True)

    class Meta:
        ordering = ["id"]

    def __str__(self) -> str:
        return self.name


class Material(Versioned):
    """Goods that the office buys for one item key, as one supplier's SKU.

    `item_key` is a key of `deck-framing/1` quantities (`lumber/2x8/144`, `support/pad`), in which `*` stands for
    any text; of the keys that fit, the one with fewest stars wins. Sizes say what one piece is, so that a price by
    board feet or by linear feet can be turned into a price a piece; where `length` is empty, the last segment of a
    lumber or decking key is the length.
    """

    item_key = models.CharField(max_length=120)
    description = models.CharField(max_length=200, blank=True)
    supplier = models.ForeignKey(Supplier, on_delete=models.PROTECT, related_name="materials")
    sku = models.CharField(max_length=60)
    buying_unit = models.CharField(
        max_length=3, blank=True, help_text="Where the supplier sells the SKU in several: which one, UN/ECE Rec 20/21."
    )
    thickness = models.DecimalField(max_digits=8, decimal_places=4, null=True, blank=True, help_text="Nominal. [in]")
    width = models.DecimalField(max_digits=8, decimal_places=4, null=True, blank=True, help_text="Nominal. [in]")
    length = models.DecimalField(max_digits=8, decimal_places=4, null=True, blank=True, help_text="Of one piece. [in]")
    taxable = models.BooleanField(default=True, help_text="Whether tax placed on cost falls on it.")
    active = models.BooleanField(default=True)

    class Meta:
        ordering = ["id"]
        constraints = [
            models.UniqueConstraint(
                fields=["item_key"], condition=Q(active=True), name="one_active_material_an_item_key"
            ),
            models.CheckConstraint(
                condition=(Q(thickness__isnull=True) | Q(thickness__gt=0))
                & (Q(width__isnull=True) | Q(width__gt=0))
                & (Q(length__isnull=True) | Q(length__gt=0)),
                name="material_sizes_positive",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.item_key} = {self.sku}"

    def piece_of(self, item: str) -> units.Piece | None:
        """What one piece of an item key is: the sizes here; without a length, sticks and boards have it in the key."""
        length, last = self.length, item.rsplit("/", 1)[-1]
        by_length = item.startswith(("lumber/", "decking/")) and re.fullmatch(r"[0-9]{1,4}(\.[0-9]{1,4})?", last)
        if length is None and by_length and Decimal(last):
            length = Decimal(last)
        return None if length is None else units.Piece(length, self.thickness, self.width)
