"""Price lists: a list a supplier, versions that never change once approved, and their rows.

A version is staged with its rows, looked at, and approved or dropped. From approval on neither it nor its rows can
be changed, added to or removed; a new list is a new version.
"""

from django.conf import settings
from django.db import models
from django.db.models import F, Q

from estimating.models.base import AppendOnly, Versioned

PRICE = {"max_digits": 15, "decimal_places": 4}
APPROVED = (
    "EXISTS (SELECT 1 FROM estimating_pricelistversion v "
    "WHERE v.id = {row}.list_version_id AND v.approved_at IS NOT NULL)"
)


class PriceList(Versioned):
    """A supplier's list under one name, through all its versions."""

    supplier = models.ForeignKey("estimating.Supplier", on_delete=models.PROTECT, related_name="price_lists")
    name = models.CharField(max_length=200)

    class Meta:
        ordering = ["id"]
        constraints = [models.UniqueConstraint(fields=["supplier", "name"], name="price_list_name_a_supplier")]

    def __str__(self) -> str:
        return f"{self.supplier}: {self.name}"


class PriceListVersion(AppendOnly, Versioned):
    """One file of prices as it came in. `number` is given on approval, 1 first."""

    frozen_when = "OLD.approved_at IS NOT NULL"

    class State(models.TextChoices):
        STAGED = "staged"
        APPROVED = "approved"

    price_list = models.ForeignKey(PriceList, on_delete=models.PROTECT, related_name="versions")
    state = models.CharField(max_length=10, choices=State.choices, default=State.STAGED)
    number = models.PositiveIntegerField(null=True, blank=True)
    source_name = models.CharField(max_length=200, blank=True)
    source_sha256 = models.CharField(max_length=64)
    line_count = models.PositiveIntegerField(help_text="Rows in the file, header and blank lines apart.")
    valid_from = models.DateField(help_text="First day on which a row of it is valid.")
    valid_to = models.DateField(null=True, blank=True, help_text="Last such day; empty when some row is open-ended.")
    staged_at = models.DateTimeField()
    staged_by = models.ForeignKey(settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+")
    approved_at = models.DateTimeField(null=True, blank=True)
    approved_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )

    class Meta:
        ordering = ["id"]
        constraints = [
            models.UniqueConstraint(fields=["price_list", "number"], name="price_version_number_a_list"),
            models.CheckConstraint(
                condition=Q(state="staged", number__isnull=True, approved_at__isnull=True)
                | Q(state="approved", number__isnull=False, approved_at__isnull=False),
                name="price_version_numbered_when_approved",
            ),
        ]

    def is_final(self) -> bool:
        return not self._state.adding and _is_approved(self.pk)

    def __str__(self) -> str:
        return f"{self.price_list} v{self.number}" if self.number else f"{self.price_list} (staged {self.pk})"


class RowOfVersion(AppendOnly):
    """A row that came with a version and is as final as that is."""

    frozen_when = APPROVED.format(row="OLD")
    closed_when = APPROVED.format(row="NEW")
    list_version_id: int

    class Meta:
        abstract = True

    def is_final(self) -> bool:
        return _is_approved(self.list_version_id)


class Price(RowOfVersion):
    """What one SKU costs in its buying unit between two dates, both included."""

    class Status(models.TextChoices):
        ACTIVE = "active"
        DISCONTINUED = "discontinued"

    list_version = models.ForeignKey(PriceListVersion, on_delete=models.CASCADE, related_name="prices")
    line = models.PositiveIntegerField(help_text="Line of the file, header 1.")
    sku = models.CharField(max_length=60)
    description = models.CharField(max_length=200, blank=True)
    supplier_unit = models.CharField(max_length=20, blank=True, help_text="As the supplier writes it.")
    unit = models.CharField(max_length=3, help_text="What the price is for, UN/ECE Rec 20/21.")
    pack_quantity = models.DecimalField(max_digits=12, decimal_places=4, null=True, blank=True)
    base_unit = models.CharField(max_length=3, help_text="What a pack holds, UN/ECE Rec 20/21.")
    price = models.DecimalField(**PRICE, help_text="For one `unit`, before tax.")
    currency = models.CharField(max_length=3)
    basis = models.CharField(max_length=60, blank=True)
    valid_from = models.DateField()
    valid_to = models.DateField(null=True, blank=True)
    status = models.CharField(max_length=12, choices=Status.choices, default=Status.ACTIVE)

    class Meta:
        ordering = ["list_version", "line"]
        indexes = [models.Index(fields=["list_version", "sku"], name="price_by_sku")]
        constraints = [
            models.UniqueConstraint(fields=["list_version", "line"], name="one_price_a_line"),
            models.UniqueConstraint(fields=["list_version", "sku", "valid_from"], name="one_price_a_sku_and_date"),
            models.CheckConstraint(condition=Q(price__gt=0), name="price_positive"),
            models.CheckConstraint(
                condition=Q(pack_quantity__isnull=True) | Q(pack_quantity__gt=0), name="pack_quantity_positive"
            ),
            models.CheckConstraint(
                condition=Q(valid_to__isnull=True) | Q(valid_to__gte=F("valid_from")), name="price_dates_in_order"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.sku} {self.price} {self.currency}/{self.unit} from {self.valid_from}"


class RejectedPrice(RowOfVersion):
    """A row of the file that did not become a price: kept as it was read, with the reason."""

    list_version = models.ForeignKey(PriceListVersion, on_delete=models.CASCADE, related_name="rejected")
    line = models.PositiveIntegerField()
    sku = models.CharField(max_length=60, blank=True)
    column = models.CharField(max_length=20, blank=True)
    code = models.CharField(max_length=30)
    reason = models.TextField()
    cells = models.JSONField(help_text="The row's cells as they were read.")

    class Meta:
        ordering = ["list_version", "line"]
        constraints = [models.UniqueConstraint(fields=["list_version", "line"], name="one_rejection_a_line")]

    def __str__(self) -> str:
        return f"line {self.line}: {self.reason}"


def _is_approved(version_id: int) -> bool:
    return PriceListVersion.objects.filter(pk=version_id, approved_at__isnull=False).exists()
