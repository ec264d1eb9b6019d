"""Price lists: a list a supplier, versions that never change once approved, and their rows.

A version is staged with its rows, looked at, and approved or dropped. From approval on neither it nor its rows can
be changed, added to or removed; a new list is a new version.
"""

from decimal import Decimal

from django.conf import settings
from django.db import models
from django.db.models import F, Q

from estimating import units
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
    tier = models.CharField(
        max_length=40, blank=True, help_text="The supplier's price tier at which the office buys; empty: it has none."
    )
    reading = models.JSONField(
        null=True, blank=True, help_text="How its files are read, confirmed by a person; empty: our own columns."
    )
    limits = models.JSONField(
        null=True, blank=True, help_text="Within which a version is approved by itself; empty: a person approves."
    )
    source_url = models.URLField(max_length=500, blank=True, help_text="HTTPS address that the list is fetched from.")
    authorization = models.CharField(
        max_length=40, blank=True, help_text="Name of the setting whose header goes along; never the secret itself."
    )
    every_hours = models.PositiveSmallIntegerField(
        null=True, blank=True, help_text="Fetched by itself so often; empty: by hand only. [h]"
    )

    class Meta:
        ordering = ["id"]
        constraints = [
            models.UniqueConstraint(fields=["supplier", "name"], name="price_list_name_a_supplier"),
            models.CheckConstraint(
                condition=Q(every_hours__isnull=True) | Q(every_hours__gt=0), name="price_list_every_hours_positive"
            ),
        ]

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
    headings = models.JSONField(default=list, blank=True, help_text="Of the file's columns, as they stand in it.")
    blank_count = models.PositiveIntegerField(default=0, help_text="Blank rows below the header.")
    compared_with = models.ForeignKey(
        "self", null=True, blank=True, on_delete=models.PROTECT, related_name="+",
        help_text="The version that was in force when this one was compared.",
    )
    changes = models.JSONField(default=dict, blank=True, help_text="How many rows are new, gone, dearer and so on.")
    findings = models.JSONField(default=list, blank=True, help_text="What a person should look at before approving.")
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
    price = models.DecimalField(**PRICE, help_text="Net, for one `unit`, before tax and freight.")
    list_price = models.DecimalField(**PRICE, null=True, blank=True, help_text="Before the supplier's discount.")
    freight = models.DecimalField(**PRICE, null=True, blank=True, help_text="For one `unit`, on top of the price.")
    minimum_order = models.DecimalField(
        max_digits=12, decimal_places=4, null=True, blank=True, help_text="Least that is sold. [unit]"
    )
    lead_days = models.PositiveSmallIntegerField(null=True, blank=True, help_text="From order to delivery. [days]")
    superseded_by = models.CharField(max_length=60, blank=True, help_text="SKU that takes its place.")
    tier = models.CharField(max_length=40, blank=True, help_text="The supplier's price tier; empty: for all.")
    note = models.CharField(max_length=200, blank=True, help_text="What reading the row had to settle.")
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
            # In two, since SQLite takes no null for equal to another.
            models.UniqueConstraint(
                fields=["list_version", "sku", "valid_from", "tier", "unit"],
                condition=Q(pack_quantity__isnull=True), name="one_price_a_sku_tier_unit_and_date",
            ),
            models.UniqueConstraint(
                fields=["list_version", "sku", "valid_from", "tier", "unit", "pack_quantity"],
                condition=Q(pack_quantity__isnull=False), name="one_price_a_sku_tier_pack_and_date",
            ),
            models.CheckConstraint(condition=Q(price__gt=0), name="price_positive"),
            models.CheckConstraint(
                condition=Q(list_price__isnull=True) | Q(list_price__gte=F("price")), name="price_not_over_list"
            ),
            models.CheckConstraint(condition=Q(freight__isnull=True) | Q(freight__gte=0), name="freight_not_negative"),
            models.CheckConstraint(
                condition=Q(minimum_order__isnull=True) | Q(minimum_order__gt=0), name="minimum_order_positive"
            ),
            models.CheckConstraint(
                condition=Q(pack_quantity__isnull=True) | Q(pack_quantity__gt=0), name="pack_quantity_positive"
            ),
            models.CheckConstraint(
                condition=Q(valid_to__isnull=True) | Q(valid_to__gte=F("valid_from")), name="price_dates_in_order"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.sku} {self.price} {self.currency}/{self.unit} from {self.valid_from}"


    @property
    def landed(self) -> Decimal:
        """Price and freight of one `unit`."""
        return self.price + (self.freight or 0)

    @property
    def pack(self) -> units.Pack | None:
        """What one buying unit holds, where the supplier says so."""
        return None if self.pack_quantity is None else units.Pack(self.unit, self.pack_quantity, self.base_unit)


class RejectedPrice(RowOfVersion):
    """A row of the file that did not become a price: kept as it was read, with the reason."""

    list_version = models.ForeignKey(PriceListVersion, on_delete=models.CASCADE, related_name="rejected")
    line = models.PositiveIntegerField()
    sku = models.CharField(max_length=60, blank=True)
    column = models.CharField(max_length=20, blank=True)
    code = models.CharField(max_length=30)
    reason = models.TextField()
    cells = models.JSONField(help_text="The row's cells as they were read, in the order of the version's headings.")
    as_price = models.JSONField(null=True, blank=True, help_text="The price that a duplicate would be, if it is kept.")

    class Meta:
        ordering = ["list_version", "line"]
        constraints = [models.UniqueConstraint(fields=["list_version", "line"], name="one_rejection_a_line")]

    def __str__(self) -> str:
        return f"line {self.line}: {self.reason}"


class PriceFetch(models.Model):
    """One attempt to fetch a list from its address, and what came of it; the last good one holds the file's tags."""

    class Outcome(models.TextChoices):
        UNCHANGED = "unchanged"
        STAGED = "staged"
        APPROVED = "approved"
        REFUSED = "refused"
        FAILED = "failed"

    price_list = models.ForeignKey(PriceList, on_delete=models.CASCADE, related_name="fetches")
    at = models.DateTimeField()
    outcome = models.CharField(max_length=10, choices=Outcome.choices)
    detail = models.TextField(blank=True)
    url = models.CharField(max_length=500)
    etag = models.CharField(max_length=200, blank=True)
    last_modified = models.CharField(max_length=100, blank=True)
    list_version = models.ForeignKey(
        PriceListVersion, null=True, blank=True, on_delete=models.SET_NULL, related_name="+"
    )

    class Meta:
        ordering = ["id"]
        indexes = [models.Index(fields=["price_list", "at"], name="price_fetch_by_list")]

    def __str__(self) -> str:
        return f"{self.price_list} {self.at:%Y-%m-%d %H:%M}: {self.outcome}"


def _is_approved(version_id: int) -> bool:
    return PriceListVersion.objects.filter(pk=version_id, approved_at__isnull=False).exists()
