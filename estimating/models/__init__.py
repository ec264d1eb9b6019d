"""What the office keeps, one module a subject."""

from estimating.models.customers import Customer, Job
from estimating.models.history import History
from estimating.models.materials import Material, Supplier
from estimating.models.office import Office
from estimating.models.people import ApiToken, Role, Scope, User
from estimating.models.prices import Price, PriceList, PriceListVersion, RejectedPrice
from estimating.models.rates import LaborRate, ProductionRate
from estimating.models.runs import IdempotencyKey, Run

__all__ = [
    "ApiToken", "Customer", "History", "IdempotencyKey", "Job", "LaborRate", "Material", "Office", "Price", "PriceList",
    "PriceListVersion", "ProductionRate", "RejectedPrice", "Role", "Run", "Scope", "Supplier", "User",
]
