"""The office's records over HTTP, a module a subject; their addresses."""

from django.urls import include, path
from rest_framework.routers import SimpleRouter

from estimating.api.contacts import ContactViewSet, FileViewSet, NoteViewSet
from estimating.api.customers import CustomerViewSet
from estimating.api.goods import MaterialViewSet, SupplierViewSet
from estimating.api.history import HistoryViewSet
from estimating.api.jobs import JobViewSet
from estimating.api.notices import NoticeViewSet
from estimating.api.office import OfficeViewSet
from estimating.api.price_lists import (
    DifferencesViewSet,
    FetchViewSet,
    PriceListViewSet,
    PriceViewSet,
    RejectedPriceViewSet,
    VersionViewSet,
)
from estimating.api.rates import CrewMixViewSet, LaborRateViewSet, ProductionRateViewSet
from estimating.api.recipes import RecipeVersionViewSet, RecipeViewSet
from estimating.api.search import SearchView
from estimating.api.taxes import TaxRuleViewSet

router = SimpleRouter(trailing_slash=False)
router.register("customers", CustomerViewSet)
router.register("jobs", JobViewSet)
router.register("contacts", ContactViewSet)
router.register("suppliers", SupplierViewSet)
router.register("materials", MaterialViewSet)
router.register("price-lists", PriceListViewSet)
router.register("recipes", RecipeViewSet)
router.register("rates/labor", LaborRateViewSet)
router.register("rates/production", ProductionRateViewSet)
router.register("crew-mixes", CrewMixViewSet)
router.register("tax-rules", TaxRuleViewSet)
router.register("notices", NoticeViewSet)

LIST = {"detail": False}
versions = "price-lists/<int:price_list_id>/versions"
recipe_versions = "recipes/<int:recipe_id>/versions"
urlpatterns = [
    path("office", OfficeViewSet.as_view({"get": "retrieve", "put": "update", "patch": "partial_update"})),
    path("customers/<pk>/duplicates", CustomerViewSet.as_view({"get": "duplicates"})),
    path("customers/<pk>/erase", CustomerViewSet.as_view({"post": "erase"})),
    path("rates/labor/worked", LaborRateViewSet.as_view({"post": "worked"})),
    path("customers/<pk>/merge", CustomerViewSet.as_view({"post": "merge"})),
    path("notices/preview", NoticeViewSet.as_view({"get": "preview"})),
    path("jobs/<pk>/blockers", JobViewSet.as_view({"get": "blockers"})),
    path("jobs/<pk>/step", JobViewSet.as_view({"post": "take"})),
    path("notes", NoteViewSet.as_view({"get": "list", "post": "create"}, **LIST)),
    path("notes/<pk>", NoteViewSet.as_view({"get": "retrieve"})),
    path("notes/<pk>/erase", NoteViewSet.as_view({"post": "erase"})),
    path("files", FileViewSet.as_view({"get": "list", "post": "create"}, **LIST)),
    path("files/<pk>", FileViewSet.as_view({"get": "retrieve"})),
    path("files/<pk>/content", FileViewSet.as_view({"get": "content"})),
    path("files/<pk>/erase", FileViewSet.as_view({"post": "erase"})),
    path("search", SearchView.as_view()),
    path(versions, VersionViewSet.as_view({"get": "list", "post": "create"}, **LIST)),
    path(f"{versions}/<pk>", VersionViewSet.as_view({"get": "retrieve", "delete": "destroy"})),
    path(f"{versions}/<pk>/approve", VersionViewSet.as_view({"post": "approve"})),
    path(f"{versions}/<int:version_id>/prices", PriceViewSet.as_view({"get": "list"}, **LIST)),
    path(f"{versions}/<int:version_id>/rejected", RejectedPriceViewSet.as_view({"get": "list"}, **LIST)),
    path(recipe_versions, RecipeVersionViewSet.as_view({"get": "list", "post": "create"}, **LIST)),
    path(f"{recipe_versions}/<pk>", RecipeVersionViewSet.as_view(
        {"get": "retrieve", "put": "update", "delete": "destroy"})),
    path(f"{recipe_versions}/<pk>/put-in-force", RecipeVersionViewSet.as_view({"post": "put_in_force"})),
    path(f"{versions}/<int:version_id>/rejected.csv", RejectedPriceViewSet.as_view({"get": "export"})),
    path(f"{versions}/<int:version_id>/differences", DifferencesViewSet.as_view({"get": "list"}, **LIST)),
    path(f"{versions}/<int:version_id>/differences.csv", DifferencesViewSet.as_view({"get": "export"})),
    path("price-lists/<int:price_list_id>/fetches", FetchViewSet.as_view({"get": "list"}, **LIST)),
    path("price-lists/<pk>/guess", PriceListViewSet.as_view({"post": "guess"})),
    path("price-lists/<pk>/sync", PriceListViewSet.as_view({"post": "sync"})),
    path("history", HistoryViewSet.as_view({"get": "list"}, **LIST)),
    path("", include(router.urls)),
]
