"""Estimate: framing quantities x price list x labor rates, as lines that each know what they came from.

Pure: everything it needs is handed to it, and nothing is written. What has no price is a blocking finding and never
a zero; with one, there is no price.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import asdict, dataclass, field, replace
from datetime import date
from decimal import Decimal
from fractions import Fraction
from math import ceil
from typing import Any, Literal

from estimating import money, units
from quotes.cautions import Caution
from quotes.spread import cost_spread

Kind = Literal["material", "labor", "service", "allowance"]
Settlement = Literal["cost", "cost-and-markup", "fixed"]
LARGEST = Decimal(10) ** 13  # what a column of 15 digits with cents no longer holds


@dataclass(frozen=True)
class Price:
    """What an item key of a framing is bought as, and what that costs on the day. `amount` is for one `unit`."""

    sku: str
    description: str
    amount: Decimal
    unit: str
    currency: str
    base_unit: str = ""
    pack_quantity: Decimal | None = None
    piece: units.Piece | None = None
    taxable: bool = True
    basis: str = ""
    supplier: str = ""
    price_id: int | None = None
    list_name: str = ""
    list_version: int | None = None
    valid_from: date | None = None
    valid_to: date | None = None

    @property
    def pack(self) -> units.Pack | None:
        if self.pack_quantity is None or not self.base_unit or self.unit not in units.PACKAGES:
            return None
        return units.Pack(self.unit, self.pack_quantity, self.base_unit)

    @property
    def is_allowance(self) -> bool:
        return "allowance" in self.basis.lower()


@dataclass(frozen=True)
class Missing:
    """Why an item key has no price on the day, in words that say what to do."""

    reason: str


@dataclass(frozen=True)
class LaborRate:
    """Burdened cost of one billable hour of one grade, and how many of it stand in the crew."""

    grade: str
    rate: Decimal
    count: Decimal
    rate_id: int | None = None
    valid_from: date | None = None


@dataclass(frozen=True)
class Extra:
    """Something the engine does not compute, put in by a person: delivery, a permit, a hoist."""

    item: str
    quantity: Decimal
    unit: str
    reason: str = ""


# How the difference between an allowance and what the thing costs is settled, as it is printed.
SETTLEMENTS: dict[Settlement, str] = {
    "cost": "The difference to what it costs is paid or given back at cost, with the receipt shown",
    "cost-and-markup": "The difference to what it costs is paid or given back at cost with the overhead and profit of "
                       "this price on it, with the receipt shown",
    "fixed": "The sum stays as it is, whatever it costs",
}


@dataclass(frozen=True)
class Allowance:
    """A sum set aside for what is not settled yet: what it includes, and how the difference is settled."""

    name: str
    amount: Decimal
    includes: str
    settlement: Settlement
    taxable: bool = False


@dataclass(frozen=True)
class Finding:
    """Why there is no price yet: what it is about, what was read, what is expected."""

    code: str
    about: str
    text: str

    def as_json(self) -> dict[str, Any]:
        return asdict(self)


@dataclass(frozen=True)
class Added:
    """What no framing counted, as rows like a framing's own, each with its pointer: goods and services, labor.

    A row may also say the `part` of the work that it stands under, that it is an `allowance`, and in `recipe` what it
    was made with. `parts` are titles of their own and what they hold; `told` says of each recipe how it was counted.
    """

    bought: tuple[tuple[str, Mapping[str, Any]], ...] = ()
    labor: tuple[tuple[str, Mapping[str, Any]], ...] = ()
    parts: Mapping[str, str] = field(default_factory=dict)
    told: tuple[Mapping[str, Any], ...] = ()
    findings: tuple[Finding, ...] = ()


@dataclass(frozen=True)
class Line:
    """One line of cost. `came_from` says which reading, price or rate stands behind it."""

    group: str
    kind: Kind
    item: str
    description: str
    quantity: Decimal
    unit: str
    unit_price: Decimal
    price_unit: str
    cost: Decimal
    taxable: bool
    allowance: bool = False
    came_from: dict[str, Any] = field(default_factory=dict)

    def as_json(self) -> dict[str, Any]:
        return {name: str(value) if isinstance(value, Decimal) else value for name, value in asdict(self).items()}


@dataclass(frozen=True)
class Group:
    """Lines under one heading, and what that part of the work is sold for."""

    title: str
    holds: str
    cost: Decimal
    amount: Decimal


@dataclass(frozen=True)
class Estimate:
    """Lines, the chain from cost to price, and what stands in the way of one."""

    currency: str
    lines: tuple[Line, ...]
    findings: tuple[Finding, ...]
    hours: Decimal
    crew_rate: Decimal | None
    terms: money.Terms
    chain: money.Chain | None
    payments: tuple[money.Payment, ...]
    prices_valid_to: date | None
    spread: dict[str, Any] | None = None
    discount: money.Discount | None = None
    tax: Mapping[str, Any] | None = None
    crew_mix: Mapping[str, Any] | None = None
    accuracy: Mapping[str, Any] | None = None
    cautions: tuple[Caution, ...] = ()
    parts: Mapping[str, str] = field(default_factory=dict)
    recipes: tuple[Mapping[str, Any], ...] = ()

    @property
    def is_blocked(self) -> bool:
        return bool(self.findings)

    @property
    def price(self) -> Decimal | None:
        """What the deck sells for; None while anything stands in its way."""
        return self.chain.price if self.chain and not self.findings else None

    def cost_of(self, kind: Kind) -> Decimal:
        return money.total(line.cost for line in self.lines if line.kind == kind)

    def groups(self) -> tuple[Group, ...]:
        """The sale before tax, shared over the groups by their cost; the amounts add up to it to the cent."""
        if self.chain is None:
            return ()
        costs = {title: money.total(line.cost for line in self.lines if line.group == title)
                 for title in _titles(self.parts)}
        costs = {title: cost for title, cost in costs.items() if cost}
        whole = money.exact(self.chain.net)
        amounts = money.allocate(self.chain.sale, [money.exact(cost) / whole for cost in costs.values()])
        holds = {**self.parts, **HOLDS}
        return tuple(Group(title, holds[title], cost, amount)
                     for (title, cost), amount in zip(costs.items(), amounts, strict=True))

    def as_json(self) -> dict[str, Any]:
        chain = self.chain
        return {
            "currency": self.currency,
            "lines": [line.as_json() for line in self.lines],
            "findings": [finding.as_json() for finding in self.findings],
            "hours": str(self.hours),
            "crew_rate": None if self.crew_rate is None else str(self.crew_rate),
            "crew_mix": self.crew_mix,
            "terms": {name: str(value) for name, value in asdict(self.terms).items()},
            "tax": self.tax,
            "discount": None if self.discount is None else {
                name: None if value is None else str(value) for name, value in asdict(self.discount).items()},
            "chain": None if chain is None else {
                **{name: str(value) for name, value in asdict(chain).items()},
                "direct": str(chain.direct), "sale": str(chain.sale), "price": str(chain.price),
            },
            "groups": [{name: str(value) for name, value in asdict(group).items()} for group in self.groups()],
            "payments": [{name: str(value) for name, value in asdict(payment).items()} for payment in self.payments],
            "prices_valid_to": self.prices_valid_to.isoformat() if self.prices_valid_to else None,
            "spread": self.spread,
            "accuracy": self.accuracy,
            "cautions": [caution.as_json() for caution in self.cautions],
            "recipes": [dict(recipe) for recipe in self.recipes],
        }


# How the work is cut into parts on paper: title, what it holds in a homeowner's words, and by which beginnings of an
# item key or a labor task a line belongs to it. The longest beginning wins; what none names is other work.
PARTS: tuple[tuple[str, str, tuple[str, ...]], ...] = (
    ("Survey and layout", "Check of the survey on the roof, setting out", ("survey", "check-survey", "layout")),
    ("Frame", "Tapered joists and rims, cut, treated, set and blocked",
     ("lumber", "fixing/structural", "fixing/angle", "fixing/connector", "treatment", "joist-tape", "rip-tapers",
      "cut-angles", "set-members", "block", "tape-joists")),
    ("Pads under the frame", "Pads, shims, slip sheets, set and levelled", ("support", "set-pads")),
    ("Decking", "Boards, fixings, end sealing, finish",
     ("decking", "fixing", "finish", "treatment/end-sealer", "deck", "scribe", "seal-ends", "border", "oil", "plugs")),
    ("Drainage and edges", "Outlet guards, lift-out panels, threshold", ("drainage", "panel", "panels", "edge")),
    ("Delivery, hoisting and protection", "Delivery, lifting to the roof, protection of house and roof, clean-up",
     ("delivery", "hoist", "protection", "protect", "clean-up", "service")),
    ("Permits and fees", "What authorities and the building charge", ("service/permit", "service/fee")),
    ("Other work", "As described in the scope", ()),
)
TITLES: tuple[str, ...] = tuple(title for title, _, _ in PARTS)
HOLDS: dict[str, str] = {title: holds for title, holds, _ in PARTS}
_BEGINNINGS: dict[str, str] = {word: title for title, _, words in PARTS for word in words}


def estimate(
    framing: Mapping[str, Any],
    prices: Mapping[str, Price | Missing],
    rates: Sequence[LaborRate],
    terms: money.Terms,
    *,
    currency: str,
    schedule: Sequence[tuple[Decimal, str]],
    extras: Iterable[Extra] = (),
    allowances: Iterable[Allowance] = (),
    discount: money.Discount | None = None,
    tax: Mapping[str, Any] | None = None,
    crew_mix: Mapping[str, Any] | None = None,
    asks: Iterable[Finding] = (),
    added: Added | None = None,
) -> Estimate:
    """What the deck of `framing` costs and sells for.

    Parameters
    ----------
    framing : mapping
        A `deck-framing/1` document; its `quantities`, `labor` and `checks` are read.
    prices : mapping
        For every item key of the framing, of `extras` and of `added`, its price on the day or why it has none. A key
        that stands in neither way is missing as well.
    schedule : sequence of (share, milestone)
        Progress payments; the shares add up to 1.
    extras : iterable of Extra
        What the engine does not compute.
    allowances : iterable of Allowance
        Sums for what is not settled; each is a line of its own and goes through the chain as any cost.
    discount : Discount, optional
        Taken off at its place in the chain.
    tax, crew_mix : mapping, optional
        What the tax of `terms` and the counts of `rates` came from, to be told beside the price.
    asks : iterable of Finding
        What stood in the way before.
    added : Added
        What recipes take.

    Notes
    -----
    Sticks priced by board or linear feet are rounded to the cent a stick, other goods a line. Hours are rounded to a
    tenth over the whole job and that much is priced at the crew's mean rate; the tasks share it by largest remainder.
    """
    added = added or Added()
    findings: list[Finding] = [*asks, *_stops(framing), *added.findings]
    lines: list[Line] = []
    for number, row in enumerate(framing.get("quantities") or ()):
        if _decimal(row["order"]) > 0:
            lines.extend(_bought(row, f"/quantities/{number}", prices, currency, findings))
    for number, extra in enumerate(extras):
        row = {"item": extra.item, "unit": extra.unit, "net": extra.quantity, "order": extra.quantity,
               "basis": extra.reason or "put in by hand", "description": ""}
        lines.extend(_bought(row, f"extras/{number}", prices, currency, findings))
    for pointer, row in added.bought:
        lines.extend(_bought(row, pointer, prices, currency, findings))

    lines.extend(_allowed(number, allowance) for number, allowance in enumerate(allowances))
    framed = [(f"/labor/{number}", row) for number, row in enumerate(framing.get("labor") or ())]
    hours, crew_rate, labor = _labor([*framed, *added.labor], rates, findings)
    lines.extend(labor)
    lines = [replace(line, taxable=_taxed(line, terms)) for line in lines]
    titles = _titles(added.parts)
    lines.sort(key=lambda line: titles.index(line.group))

    chain = _chain(lines, terms, discount, tax, findings)
    payments: tuple[money.Payment, ...] = ()
    if chain is not None:
        try:
            payments = money.progress_payments(chain.price, schedule)
        except money.MoneyError as error:
            findings.append(Finding("payment-schedule", "office", f"The progress payments cannot be split: {error}."))
    used = [prices[line.item] for line in lines if line.item in prices]
    ends = [price.valid_to for price in used if isinstance(price, Price) and price.valid_to]
    spread = None
    if chain is not None:
        costs = {line.item: (line.cost, line.taxable) for line in lines
                 if line.kind == "material" and line.came_from["framing"].startswith("/")}
        others = sum((money.exact(_decimal(row["hours"])) for _, row in added.labor), Fraction(0))
        spread = cost_spread(framing, costs, crew_rate, hours - money.rounded(others), chain.direct, chain.contingency,
                             terms.tax_rate if terms.tax_place == "cost" else Decimal(0))
        if spread is not None:
            spread["price"] = _price_spread(spread["direct"], terms, discount)
    return Estimate(currency, tuple(lines), tuple(findings), hours, crew_rate, terms, chain, payments,
                    min(ends, default=None), spread, discount, tax, crew_mix, parts=dict(added.parts),
                    recipes=added.told)


def _allowed(number: int, allowance: Allowance) -> Line:
    return Line(TITLES[-1], "allowance", f"allowance/{number + 1}", allowance.name, Decimal(1), "LS", allowance.amount,
                "LS", money.rounded(allowance.amount), allowance.taxable, True,
                {"framing": f"allowances/{number}", "basis": "a sum allowed", "includes": allowance.includes,
                 "settlement": allowance.settlement})


def _taxed(line: Line, terms: money.Terms) -> bool:
    """Whether tax on cost falls on a line, by what the terms say that it falls on."""
    return {"marked": line.taxable, "materials": line.kind == "material", "all": True}[terms.taxed_lines]


def _price_spread(direct: Mapping[str, str], terms: money.Terms, discount: money.Discount | None
                  ) -> dict[str, str] | None:
    """The price that each of the trials' direct costs, a text with two decimals, comes to by the chain."""
    try:
        return {name: str(money.price_at(Decimal(amount), terms, discount)) for name, amount in direct.items()}
    except money.MoneyError:  # a discount that a cheaper job would not bear
        return None


def items_of(framing: Mapping[str, Any], extras: Iterable[Extra] = (), added: Added | None = None) -> list[str]:
    """Every item key that needs a price."""
    bought = [row["item"] for row in framing.get("quantities") or () if _decimal(row["order"]) > 0]
    recipes = [row["item"] for _, row in added.bought] if added else []
    return list(dict.fromkeys([*bought, *(extra.item for extra in extras), *recipes]))


def group_of(key: str) -> str:
    """The part of the work that an item key or labor task belongs to."""
    known = [word for word in _BEGINNINGS if key == word or key.startswith((word + "/", word + "-", word + " "))]
    return _BEGINNINGS[max(known, key=len)] if known else TITLES[-1]


def _titles(own: Iterable[str]) -> list[str]:
    """Every part of the work in the order of the papers: those of their own stand before the other work."""
    return [*TITLES[:-1], *(title for title in own if title not in TITLES), TITLES[-1]]


def _decimal(value: Any) -> Decimal:
    """A number of a JSON document, as it is written there."""
    return value if isinstance(value, Decimal) else Decimal(str(value))


def _stops(framing: Mapping[str, Any]) -> Iterator[Finding]:
    for check in framing.get("checks") or ():
        if check["status"] == "stop":
            yield Finding("framing-stop", check["code"], f"The build as asked cannot be made: {check['text']}")


def _bought(row: Mapping[str, Any], pointer: str, prices: Mapping[str, Price | Missing], currency: str,
            findings: list[Finding]) -> Iterator[Line]:
    item = row["item"]
    price = prices.get(item, Missing("no material of the office stands behind it"))
    if isinstance(price, Missing):
        findings.append(Finding("no-price", item, f"{item} has no price: {price.reason}."))
        return
    if price.currency != currency:
        findings.append(Finding("other-currency", item, f"{item} ({price.sku}) is priced in {price.currency}; "
                                                        f"expected {currency}."))
        return
    try:
        quantity, unit, cost = cost_of_row(row, price)
    except units.UnitError as error:
        findings.append(Finding("unit-mismatch", item, f"{item} is used by {row['unit']} and {price.sku} is priced by "
                                                       f"{price.unit}: {error}."))
        return
    if cost >= LARGEST or quantity >= LARGEST / 100:
        findings.append(Finding("too-large", item, f"{item}: {quantity} {unit} at {price.amount} is more than can be "
                                                   "kept; expected a quantity and a price of a deck."))
        return
    came_from = {
        "framing": pointer, "basis": row.get("basis") or "", **_counted(row), "sku": price.sku,
        "price": price.price_id, "price_list": price.list_name, "price_list_version": price.list_version,
        "valid_from": price.valid_from.isoformat() if price.valid_from else None,
        "valid_to": price.valid_to.isoformat() if price.valid_to else None, "supplier": price.supplier,
        **(row.get("recipe") or {}),
    }
    yield Line(row.get("part") or group_of(item), "service" if item.startswith("service/") else "material", item,
               price.description or row.get("description") or item, quantity, unit, price.amount, price.unit, cost,
               price.taxable, price.is_allowance or bool(row.get("allowance")), came_from)


def _whole_pieces(row: Mapping[str, Any], price: Price) -> Mapping[str, Any]:
    """The row in whole pieces where it is used by length, says nothing of packs, and is sold in pieces of a length."""
    if row.get("order_unit") or price.piece is None or price.pack or units.unit(row["unit"]).dimension != "length":
        return row
    return {**row, "order": Decimal(ceil(units.convert(_need(row), row["unit"], "EA", piece=price.piece))),
            "order_unit": "EA"}


def _need(row: Mapping[str, Any]) -> Decimal:
    """What a row takes with its waste and spares, in its unit."""
    return sum((_decimal(row.get(part) or 0) for part in ("net", "waste", "spare")), Decimal(0))


def _counted(row: Mapping[str, Any]) -> dict[str, str]:
    """What `cost_of_row` reads of a row, as text, so that a line can be priced anew without its framing."""
    return {
        "net": str(row.get("net", "")), "waste": str(row.get("waste") or 0), "spare": str(row.get("spare") or 0),
        "unit": row["unit"], "order": str(row["order"]), "order_unit": row.get("order_unit") or "",
        "pack": str(row.get("pack") or 1),
    }


def cost_of_row(row: Mapping[str, Any], price: Price) -> tuple[Decimal, str, Decimal]:
    """Quantity bought, its unit, and its cost. Raises UnitError where nothing joins the two units."""
    row = _whole_pieces(row, price)
    unit, packs = row["unit"], _decimal(row["order"])
    order_unit = row.get("order_unit") or unit
    if price.pack is not None and unit != price.unit:
        # The supplier's pack decides, not the pack that the engine took for usual.
        held = units.convert(_need(row), unit, price.base_unit, piece=price.piece)
        packs = Decimal(ceil(held / money.exact(price.pack.quantity)))
        return packs, price.unit, money.line(packs, price.amount)
    quantity, used = packs, order_unit
    try:
        units.convert(1, used, price.unit, piece=price.piece)
    except units.CannotConvert:
        quantity, used = packs * _decimal(row.get("pack") or 1), unit
    return quantity, used, money.line(quantity, each_costs(used, price))


def each_costs(used: str, price: Price) -> Fraction:
    """What one `used` costs [money]: sticks priced by their measure are rounded to the cent each, other goods are not.

    Raises UnitError where nothing joins the two units.
    """
    per = units.convert(1, used, price.unit, piece=price.piece)
    is_stick = units.unit(used).dimension == "count" and units.unit(price.unit).dimension in ("length", "board measure")
    return money.cost_of_one(price.amount, per, round_per="piece" if is_stick else "line")


def _labor(rows: Sequence[tuple[str, Mapping[str, Any]]], rates: Sequence[LaborRate],
           findings: list[Finding]) -> tuple[Decimal, Decimal | None, list[Line]]:
    worked = [(pointer, row) for pointer, row in rows if _decimal(row["hours"]) > 0]
    exact_hours = sum((money.exact(_decimal(row["hours"])) for _, row in worked), Fraction(0))
    hours = money.rounded(exact_hours, 1)
    crew = [rate for rate in rates if rate.count > 0]
    if not worked:
        return hours, None, []
    if not crew:
        findings.append(Finding("no-labor-rate", "labor", "No labor rate with a place in the crew holds on the day; "
                                                          "set one before pricing hours."))
        return hours, None, []
    crew_rate = money.crew_rate([(rate.rate, rate.count) for rate in crew])
    whole = money.line(hours, crew_rate)
    if whole >= LARGEST or hours >= LARGEST / 100:
        findings.append(Finding("too-large", "labor", f"{hours} hours at {crew_rate} are more than can be kept."))
        return hours, crew_rate, []
    costs = money.allocate(whole, [money.exact(_decimal(row["hours"])) / exact_hours for _, row in worked])
    behind = [{"id": rate.rate_id, "grade": rate.grade, "rate": str(rate.rate), "count": str(rate.count),
               "valid_from": rate.valid_from.isoformat() if rate.valid_from else None} for rate in crew]
    lines = [
        Line(row.get("part") or group_of(row["task"]), "labor", row["task"], row["task"].replace("-", " "),
             money.rounded(_decimal(row["hours"]), 2), "HUR", crew_rate, "HUR", cost, False, False,
             {"framing": pointer, "basis": row.get("basis") or "", "quantity": str(row.get("quantity", "")),
              "unit": row.get("unit") or "", "hours_per_unit": str(row.get("hours_per_unit", "")),
             "factor": str(row.get("factor", "")), "production_rate": row.get("rate_record"), "rates": behind,
              **(row.get("recipe") or {})})
        for (pointer, row), cost in zip(worked, costs, strict=True)
    ]
    return hours, crew_rate, lines


def _chain(lines: Sequence[Line], terms: money.Terms, discount: money.Discount | None,
           tax: Mapping[str, Any] | None, findings: list[Finding]) -> money.Chain | None:
    if terms.tax_place == "unknown":
        place = (tax or {}).get("jurisdiction")
        where = f" No tax rule of the day names {place}." if place else " The job names no jurisdiction." if tax else ""
        findings.append(Finding("tax-place", "office", "The office has not said where sales tax stands: on taxable "
                                                       f"cost or on the sale.{where} Ask the accountant, then set it."))
    if not lines:
        findings.append(Finding("nothing-to-price", "framing", "The framing has no quantities and no hours to price."))
    if findings:
        return None
    net = money.total(line.cost for line in lines)
    taxable = money.total(line.cost for line in lines if line.taxable)
    try:
        chain = money.price_chain(net, taxable, terms, discount)
    except money.MoneyError as error:
        findings.append(Finding("discount", "discount", f"The discount cannot be given: {error}."))
        return None
    if chain.price >= LARGEST:
        findings.append(Finding("too-large", "price", f"A price of {chain.price} is more than can be kept."))
        return None
    return chain


def chain_after(chain: Mapping[str, str], terms: money.Terms, discount: money.Discount | None, more: Decimal,
                taxable: Decimal) -> money.Chain:
    """The chain of `Estimate.as_json` once lines cost `more` in all, `taxable` of it on taxable lines. [money]

    Raises MoneyError where the discount is more than the sale then.
    """
    taxed = Decimal(chain["taxed"]) + taxable if terms.tax_place == "cost" else Decimal(0)
    return money.price_chain(Decimal(chain["net"]) + more, taxed, terms, discount)
