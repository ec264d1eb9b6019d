"""A new version of a price list held row by row against the one in force: what changed, and what a person should see.

Prices are compared in one unit: what one base unit costs with its freight by the old row and by the new, exact. A SKU
that the new file leaves out is gone, which is not the same as discontinued.
"""

from collections import Counter, defaultdict
from collections.abc import Collection, Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from datetime import date, timedelta
from decimal import Decimal
from fractions import Fraction
from typing import Any, NamedTuple

from estimating import money, units
from estimating.price_columns import PriceListError

KINDS = ("new", "gone", "dearer", "cheaper", "unit-changed", "pack-changed", "status-changed", "same")
PLAUSIBLE = (Fraction(1, 2), Fraction(2))  # new price of one base unit over the old one, unless the office says else
PARTIAL = Fraction(1, 2)  # a file with fewer of the rows of the version in force than this share is held
TOLD = 20  # lines or SKUs that a finding names


class BadLimits(PriceListError):
    """Limits of approval that cannot be used; the message says what they lack."""


class Offer(NamedTuple):
    """What two versions are compared by; the fields of `Price` by the same names."""

    line: int
    sku: str
    tier: str
    unit: str
    pack_quantity: Decimal | None
    base_unit: str
    price: Decimal
    freight: Decimal | None
    valid_from: date
    valid_to: date | None
    status: str
    superseded_by: str

    @property
    def landed(self) -> Decimal:
        """Price and freight of one `unit`."""
        return self.price + (self.freight or 0)


def offer(row: Any) -> Offer:
    """The offer of a row of a file or of a version."""
    return Offer(
        row.line, row.sku, row.tier, row.unit, row.pack_quantity, row.base_unit, row.price, row.freight,
        row.valid_from, row.valid_to, row.status, row.superseded_by,
    )  # fmt: skip


class Change(NamedTuple):
    """One row against the version before; `piece` is what joins prices a piece with those by length or board feet."""

    kind: str
    sku: str
    tier: str
    old: Offer | None
    new: Offer | None
    piece: units.Piece | None = None

    @property
    def ratio(self) -> Fraction | None:
        """New price of one base unit over the old one, exact; None where nothing joins the two."""
        return None if self.old is None or self.new is None else ratio_of(self.old, self.new, self.piece)

    @property
    def percent(self) -> Decimal | None:
        """By how much the price of one base unit rose. [%]"""
        ratio = self.ratio
        return None if ratio is None else money.rounded((ratio - 1) * 100)


@dataclass(frozen=True)
class Finding:
    """Something to look at before approving. `holds` says that approval has to name it; else it is only told."""

    code: str
    text: str
    count: int
    named: tuple[str, ...] = ()
    holds: bool = False

    def as_json(self) -> dict[str, Any]:
        return {
            "code": self.code, "text": self.text, "count": self.count, "named": list(self.named), "holds": self.holds,
        }  # fmt: skip


@dataclass(frozen=True)
class Limits:
    """Within which the office lets a version be approved by itself. Shares and changes in per cent."""

    most_rise: Decimal
    most_fall: Decimal
    most_new: int
    most_gone: int
    most_rejected: int

    def as_json(self) -> dict[str, Any]:
        return {"most_rise": str(self.most_rise), "most_fall": str(self.most_fall), "most_new": self.most_new,
                "most_gone": self.most_gone, "most_rejected": self.most_rejected}


def limits_from(document: Mapping[str, Any] | None) -> Limits | None:
    """The limits kept with a list; None where a person approves every version. Raises BadLimits with every fault."""
    if document is None:
        return None
    names = ("most_rise", "most_fall", "most_new", "most_gone", "most_rejected")
    if not isinstance(document, Mapping) or set(document) != set(names):
        raise BadLimits(f"limits were read as {str(document)[:100]!r}; expected all of {', '.join(names)}")
    faults, values = [], {}
    for name in names:
        value, percent = document[name], name in ("most_rise", "most_fall")
        if percent and isinstance(value, str) and _is_percent(value):
            values[name] = Decimal(value)
        elif not percent and isinstance(value, int) and not isinstance(value, bool) and 0 <= value <= 200_000:
            values[name] = value
        else:
            expected = "a percentage as text from 0 to 100, like 4.5" if percent else "a whole number, 0 or more"
            faults.append(f"{name} {str(value)[:40]!r} was read; expected {expected}")
    if faults:
        raise BadLimits("; ".join(faults))
    return Limits(**values)  # type: ignore[arg-type]


def _is_percent(text: str) -> bool:
    whole, _, fraction = text.partition(".")
    digits = whole + fraction
    return digits.isascii() and digits.isdigit() and len(whole) <= 3 and len(fraction) <= 2 and Decimal(text) <= 100


@dataclass(frozen=True)
class Comparison:
    """Every change, and how many there are of each kind."""

    changes: tuple[Change, ...]
    counts: Mapping[str, int]


def compare(
    old: Iterable[Offer], new: Iterable[Offer], pieces: Mapping[str, units.Piece] | None = None
) -> Comparison:
    """Hold a new version against the one before; pure. `same` rows are counted and not told.

    A new row stands against the old row of its SKU and tier that holds on its first day, else against the last one;
    of several packs against the one in its own unit and pack. `pieces` are sizes by SKU, which join prices by board
    feet or by the foot with prices a piece. Changes stand in the new file's order, what is gone after it.
    """
    pieces = pieces or {}
    before: dict[tuple[str, str], list[Offer]] = defaultdict(list)
    for row in old:
        before[row.sku, row.tier].append(row)
    seen: set[tuple[str, str]] = set()
    packs: set[tuple] = set()
    changes: list[Change] = []
    counts: Counter[str] = Counter(dict.fromkeys(KINDS, 0))
    for row in new:
        key = row.sku, row.tier
        rivals = before.get(key)
        if rivals is None:
            changes.append(Change("new", *key, None, row))
            counts["new"] += 1
            continue
        seen.add(key)
        if len(rivals) == 1:
            last = rivals[0]
        else:
            last = _standing(rivals, row)
            packs.add((*key, *_pack(row)))
        if last[3:8] == row[3:8] and last.status == row.status:  # unit, pack, base unit, price, freight
            counts["same"] += 1
            continue
        for change in _changes(last, row, pieces.get(row.sku)):
            changes.append(change)
            counts[change.kind] += 1
    for key, rows in before.items():
        sold = {_pack(row) for row in rows} if len(rows) > 1 else {()}
        for pack in sold:
            if key in seen and (len(sold) == 1 or (*key, *pack) in packs):
                continue
            gone = rows if len(sold) == 1 else [row for row in rows if _pack(row) == pack]
            changes.append(Change("gone", *key, max(gone, key=lambda row: row.valid_from), None))
            counts["gone"] += 1
    return Comparison(tuple(changes), dict(counts))


def _pack(row: Offer) -> tuple:
    return row.unit, row.pack_quantity


def _standing(rivals: list[Offer], row: Offer) -> Offer:
    """The old row that a new one replaces."""
    alike = [old for old in rivals if _pack(old) == _pack(row)] or rivals
    holding = [
        old for old in alike
        if old.valid_from <= row.valid_from and (old.valid_to is None or row.valid_from <= old.valid_to)
    ]
    return max(holding or alike, key=lambda old: old.valid_from)


def _changes(old: Offer, new: Offer, piece: units.Piece | None) -> Iterator[Change]:
    rest = new.sku, new.tier, old, new, piece
    if old.unit != new.unit:
        yield Change("unit-changed", *rest)
    elif (old.pack_quantity, old.base_unit) != (new.pack_quantity, new.base_unit):
        yield Change("pack-changed", *rest)
    elif old.landed != new.landed:
        yield Change("dearer" if new.landed > old.landed else "cheaper", *rest)
    if old.status != new.status:
        yield Change("status-changed", *rest)


def ratio_of(old: Offer, new: Offer, piece: units.Piece | None = None) -> Fraction | None:
    """What one base unit costs by the new row over what it costs by the old; None where nothing joins the two."""
    if old[3:6] == new[3:6]:  # unit, pack, base unit
        (over, by), (under, of) = new.landed.as_integer_ratio(), old.landed.as_integer_ratio()
        return Fraction(over * of, by * under)
    try:
        amount, measure = _held(old)
        return Fraction(new.landed) / units.convert(*_held(new), measure, piece=piece) / (Fraction(old.landed) / amount)
    except units.UnitError:
        return None


def _held(row: Offer) -> tuple[Fraction, str]:
    """How much of which unit one buying unit is: what a package holds, else itself."""
    if row.pack_quantity is not None and units.unit(row.unit).dimension != units.unit(row.base_unit).dimension:
        return Fraction(row.pack_quantity), row.base_unit
    return Fraction(1), row.unit


# What to look at


@dataclass(frozen=True)
class Surroundings:
    """What else is known when a file is looked at: the day, rejected rows, the office's goods, other lists' SKUs."""

    today: date
    rejected: int = 0
    in_use: frozenset[str] = frozenset()
    elsewhere: Mapping[str, str] = field(default_factory=dict)


def findings_of(
    comparison: Comparison, old: Collection[Offer], new: Collection[Offer], around: Surroundings
) -> tuple[Finding, ...]:
    """What a person should see before approving a new version; pure. What `holds` comes first."""
    found = [
        *_partial(old, new, comparison), *_implausible(comparison), *_look_alikes(comparison),
        *_not_sold(comparison, new, around), *_days(new, around), *_elsewhere(around),
    ]  # fmt: skip
    for kind, text in (
        ("unit-changed", "rows are priced in another unit than before"),
        ("pack-changed", "rows hold another quantity than before"),
    ):
        if rows := [change for change in comparison.changes if change.kind == kind]:
            found.append(_finding(kind, text, [_told(change) for change in rows]))
    if around.rejected:
        found.append(Finding("rejected", "rows did not become prices; each is kept with its reason", around.rejected))
    return tuple(sorted(found, key=lambda finding: not finding.holds))


def _finding(code: str, text: str, named: Collection[str], *, holds: bool = False) -> Finding:
    return Finding(code, text, len(named), tuple(list(named)[:TOLD]), holds)


def _told(change: Change) -> str:
    old, new = change.old, change.new
    assert old is not None and new is not None
    return f"line {new.line}: {change.sku}, {_priced(old)} before, {_priced(new)} now"


def _priced(row: Offer) -> str:
    held = "" if row.pack_quantity is None else f" of {row.pack_quantity.normalize():f} {row.base_unit}"
    return f"{row.price.normalize():f} per {row.unit}{held}"


def _partial(old: Collection[Offer], new: Collection[Offer], comparison: Comparison) -> Iterator[Finding]:
    before = {(row.sku, row.tier) for row in old}
    gone = comparison.counts["gone"]
    if before and len(before) - gone < PARTIAL * len(before):
        there = len(before) - gone
        text = f"of {len(before)} items in the version in force only {there} are in this file: is it whole?"
        yield Finding("partial", text, gone, holds=True)


def _implausible(comparison: Comparison) -> Iterator[Finding]:
    low, high = PLAUSIBLE
    far, apart = [], []
    for change in comparison.changes:
        old, new = change.old, change.new
        if old is None or new is None:
            continue
        if old[3:6] == new[3:6] and new.landed <= 2 * old.landed and old.landed <= 2 * new.landed:
            continue  # as nearly every row; the rest is reckoned exactly
        ratio = change.ratio
        if ratio is None:
            apart.append(_told(change))
        elif not low <= ratio <= high:
            far.append(f"{_told(change)} ({money.rounded(ratio)} times)")
    if far:
        yield _finding("implausible", "prices of one base unit are under half or over twice the last", far, holds=True)
    if apart:
        text = "prices cannot be compared with the last, since nothing joins the two units"
        yield _finding("not-comparable", text, apart, holds=True)


def _look_alikes(comparison: Comparison) -> Iterator[Finding]:
    """A new number that is a gone one but for zeros in front, case, spaces or dashes: most likely mangled."""
    def bare(sku: str) -> str:
        return "".join(char for char in sku.upper() if char.isalnum()).lstrip("0")

    gone = {bare(change.sku): change.sku for change in comparison.changes if change.kind == "gone"}
    alike = [
        f"{change.sku} for {gone[bare(change.sku)]}"
        for change in comparison.changes if change.kind == "new" and bare(change.sku) in gone
    ]
    if alike:
        text = "new numbers differ from gone ones only by zeros in front, case, spaces or dashes"
        yield _finding("look-alike", text, alike, holds=True)


def _not_sold(comparison: Comparison, new: Collection[Offer], around: Surroundings) -> Iterator[Finding]:
    """Goods of the office that the supplier no longer sells, or no longer lists."""
    gone = sorted({change.sku for change in comparison.changes if change.kind == "gone"} & around.in_use)
    if gone:
        yield _finding("gone-in-use", "the office's materials have numbers that this file leaves out", gone)
    ended: dict[str, str] = {}
    for row in new:
        if row.sku in around.in_use and row.status == "discontinued":
            ended[row.sku] = f"{row.sku}, superseded by {row.superseded_by}" if row.superseded_by else row.sku
    if ended:
        text = "the office's materials have numbers that are discontinued"
        yield _finding("discontinued-in-use", text, list(ended.values()))


def _days(new: Collection[Offer], around: Surroundings) -> Iterator[Finding]:
    later = [f"line {row.line}: {row.sku} from {row.valid_from}" for row in new if row.valid_from > around.today]
    if later:
        yield _finding("future", "prices hold only from a later day on", later)
    past = [
        f"line {row.line}: {row.sku} to {row.valid_to}"
        for row in new if row.valid_to is not None and row.valid_to < around.today and row.status == "active"
    ]
    if past:
        yield _finding("past", "prices hold no longer", past)
    once: dict[tuple, Offer | list[Offer]] = {}
    several: dict[tuple, list[Offer]] = {}
    for row in new:
        key = row.sku, row.tier, row.unit, row.pack_quantity
        first = once.setdefault(key, row)
        if first is not row:
            several.setdefault(key, [first]).append(row)  # type: ignore[list-item]
    gaps = []
    for rows in several.values():
        rows.sort(key=lambda row: row.valid_from)
        for one, next_one in zip(rows, rows[1:], strict=False):
            if one.valid_to is not None and one.valid_to + timedelta(days=1) < next_one.valid_from:
                gaps.append(f"{one.sku} after {one.valid_to} until {next_one.valid_from}")
    if gaps:
        yield _finding("gap", "there are days without a price between two rows", gaps)


def _elsewhere(around: Surroundings) -> Iterator[Finding]:
    if around.elsewhere:
        named = [f"{sku} in {where}" for sku, where in around.elsewhere.items()]
        yield _finding("elsewhere", "numbers stand in another list in force too", named)


def beyond(
    limits: Limits | None, comparison: Comparison, findings: Iterable[Finding], *, first: bool
) -> tuple[str, ...]:
    """Why a version is not approved by itself; nothing where everything is inside the office's limits.

    A list's first version, and one with any finding but days that are merely told, is a person's to approve.
    """
    if limits is None:
        return ("the office has set no limits for this list",)
    reasons = [] if not first else ["there is no version in force to compare with"]
    reasons += [finding.text for finding in findings if finding.code not in TOLD_ONLY]
    ratios = [ratio for change in comparison.changes if (ratio := change.ratio) is not None]
    rise = max([ratio - 1 for ratio in ratios], default=Fraction(0)) * 100
    fall = max([1 - ratio for ratio in ratios], default=Fraction(0)) * 100
    rejected = next((finding.count for finding in findings if finding.code == "rejected"), 0)
    for value, most, what in (
        (rise, limits.most_rise, "% is the largest rise"),
        (fall, limits.most_fall, "% is the largest fall"),
        (comparison.counts["new"], limits.most_new, "rows are new"),
        (comparison.counts["gone"], limits.most_gone, "items are gone"),
        (rejected, limits.most_rejected, "rows were rejected"),
    ):
        if value > most:
            told = value if isinstance(value, int) else f"{money.rounded(value).normalize():f}"
            reasons.append(f"{told} {what}; the office's limit is {most}")
    return tuple(reasons)


TOLD_ONLY = frozenset({"future", "past", "gap", "rejected", "elsewhere"})
