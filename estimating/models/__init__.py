"""What the office keeps."""
from estimating.models.customers import Customer, Job
from estimating.models.history import History
from estimating.models.materials import Material, Supplier
from estimating.models.office import Office
from estimating.models.prices import Price, PriceList, PriceListVersion, RejectedPrice
from estimating.models.rates import LaborRate, ProductionRate

__all__ = [
    "Customer", "History", "Job", "LaborRate", "Material", "Office", "Price", "PriceList", "PriceListVersion",
    "ProductionRate", "RejectedPrice", "Supplier",
]
