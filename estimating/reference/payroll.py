"""Federal payroll taxes by year, as parts of what an hour costs."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from typing import Final


@dataclass(frozen=True)
class PayrollTax:
    """The employer's share: `rate` of a year's wages up to `wage_base`, of all of them where there is none. [money]"""

    name: str
    year: int
    rate: Decimal
    wage_base: Decimal | None
    source: str
    status: str


# Rates: 26 U.S.C. 3111 (6.2 % and 1.45 %), the employer's half of FICA. Wage base of 2026: $184,500, the Social
# Security Administration as quoted by news.bgov.com, V. FUTA: 0.6 % net of the first $7,000, V2; states that owe the
# federal fund pay more (credit reduction), M.
PAYROLL_TAXES: Final[dict[tuple[str, int], PayrollTax]] = {
    (tax.name, tax.year): tax for tax in (
        PayrollTax("social-security", 2026, Decimal("0.062"), Decimal(184500),
                   "FICA, 6.2 % up to the wage base of the Social Security Administration for 2026", "V"),
        PayrollTax("medicare", 2026, Decimal("0.0145"), None, "FICA, 1.45 % of all wages", "V"),
        PayrollTax("federal-unemployment", 2026, Decimal("0.006"), Decimal(7000),
                   "FUTA, 0.6 % net of the first 7,000; more in states with a credit reduction", "V2"),
    )
}
