"""What the office keeps, one module a subject."""

from estimating.models.customers import Contact, Customer, Job
from estimating.models.history import History
from estimating.models.materials import Material, Supplier
from estimating.models.notes import Note, StoredFile
from estimating.models.notices import Notice
from estimating.models.office import Office
from estimating.models.people import ApiToken, Role, Scope, User
from estimating.models.prices import Price, PriceFetch, PriceList, PriceListVersion, RejectedPrice
from estimating.models.rates import CrewMix, LaborRate, ProductionRate
from estimating.models.recipes import Recipe, RecipeVersion
from estimating.models.runs import IdempotencyKey, Run
from estimating.models.taxes import TaxRule

__all__ = [
    "ApiToken", "Contact", "CrewMix", "Customer", "History", "IdempotencyKey", "Job", "LaborRate", "Material", "Note",
    "Notice", "Office", "Price", "PriceFetch", "PriceList", "PriceListVersion", "ProductionRate", "Recipe",
    "RecipeVersion", "RejectedPrice", "Role", "Run", "Scope", "StoredFile", "Supplier", "TaxRule", "User",
]
