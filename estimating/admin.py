"""The office's records in Django's admin: looked at there, changed through the service alone."""

from django.contrib import admin

from estimating import models


class LookedAt(admin.ModelAdmin):
    """Nothing is added, changed or deleted here: changes go through the functions that check and note them."""

    def has_add_permission(self, request, obj=None) -> bool:
        return False

    def has_change_permission(self, request, obj=None) -> bool:
        return False

    def has_delete_permission(self, request, obj=None) -> bool:
        return False


@admin.register(models.Office)
class OfficeAdmin(LookedAt):
    list_display = ("name", "currency", "tax_place")


@admin.register(models.Customer)
class CustomerAdmin(LookedAt):
    list_display = ("id", "name", "email", "erased_at")
    search_fields = ("name", "email")


@admin.register(models.Job)
class JobAdmin(LookedAt):
    list_display = ("number", "name", "status")
    list_filter = ("status",)
    search_fields = ("name",)


@admin.register(models.Contact)
class ContactAdmin(LookedAt):
    list_display = ("name", "role", "customer", "job")
    list_select_related = ("customer", "job")
    search_fields = ("name", "email")


@admin.register(models.Note)
class NoteAdmin(LookedAt):
    list_display = ("id", "customer", "job", "created_by", "created_at", "erased_at")
    list_select_related = ("customer", "job", "created_by")


@admin.register(models.StoredFile)
class StoredFileAdmin(LookedAt):
    list_display = ("name", "kind", "media_type", "size", "customer", "job", "erased_at")
    list_select_related = ("customer", "job")


@admin.register(models.Supplier)
class SupplierAdmin(LookedAt):
    list_display = ("name",)


@admin.register(models.Material)
class MaterialAdmin(LookedAt):
    list_display = ("item_key", "sku", "supplier", "active")
    list_select_related = ("supplier",)
    search_fields = ("item_key", "sku")


@admin.register(models.PriceListVersion)
class PriceListVersionAdmin(LookedAt):
    list_display = ("price_list", "number", "state", "line_count", "approved_at")
    list_select_related = ("price_list__supplier",)


@admin.register(models.PriceList)
class PriceListAdmin(LookedAt):
    list_display = ("supplier", "name", "tier", "every_hours")
    list_select_related = ("supplier",)


@admin.register(models.PriceFetch)
class PriceFetchAdmin(LookedAt):
    list_display = ("price_list", "at", "outcome", "detail")
    list_select_related = ("price_list__supplier",)
    list_filter = ("outcome",)


@admin.register(models.RejectedPrice)
class RejectedPriceAdmin(LookedAt):
    list_display = ("list_version", "line", "sku", "code", "reason")
    list_select_related = ("list_version__price_list__supplier",)
    list_filter = ("code",)
    search_fields = ("sku",)


@admin.register(models.Price)
class PriceAdmin(LookedAt):
    list_display = ("sku", "description", "price", "unit", "valid_from", "valid_to", "status")
    search_fields = ("sku",)


@admin.register(models.LaborRate)
class LaborRateAdmin(LookedAt):
    list_display = ("grade", "rate", "crew_count", "valid_from")


@admin.register(models.CrewMix)
class CrewMixAdmin(LookedAt):
    list_display = ("name", "counts", "valid_from")


@admin.register(models.TaxRule)
class TaxRuleAdmin(LookedAt):
    list_display = ("jurisdiction", "rate", "place", "taxed_lines", "valid_from", "said_by")
    search_fields = ("jurisdiction",)


@admin.register(models.Notice)
class NoticeAdmin(LookedAt):
    list_display = ("jurisdiction", "kind", "title", "valid_from", "review_by", "not_needed", "said_by")
    list_filter = ("kind",)
    search_fields = ("jurisdiction", "title")


@admin.register(models.ProductionRate)
class ProductionRateAdmin(LookedAt):
    list_display = ("task", "unit", "low", "typical", "high", "valid_from")


@admin.register(models.Recipe)
class RecipeAdmin(LookedAt):
    list_display = ("name", "active")
    search_fields = ("name",)


@admin.register(models.RecipeVersion)
class RecipeVersionAdmin(LookedAt):
    list_display = ("recipe", "number", "kind", "unit", "in_force_from")
    list_select_related = ("recipe",)
    list_filter = ("kind",)


@admin.register(models.History)
class HistoryAdmin(LookedAt):
    list_display = ("at", "by", "action", "subject", "subject_id")
    list_select_related = ("by",)
    list_filter = ("subject", "action")
