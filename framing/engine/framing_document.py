"""deck-framing/1: the shape of what the engine answers, for the OpenAPI description and the published JSON Schema."""

from __future__ import annotations

from typing import Any, Literal

from pydantic import BaseModel, ConfigDict, Field

from framing.engine.checks import CODES

Point = tuple[float, float]
Ring = list[Point]


class _Part(BaseModel):
    model_config = ConfigDict(extra="allow", frozen=True)


class Ellipse(_Part):
    """Standard ellipse of a point: semi-axes a >= b [in], direction of a [degrees from +x, 0 to 180]."""

    a: float
    b: float
    direction: float


class PlanPoint(_Part):
    """Adjusted place, its standard error along the worst direction [in] and its standard ellipse."""

    x: float
    y: float
    se: float
    ellipse: Ellipse | None = None


class AdjustedTape(_Part):
    """One tape [in]; residual = measured - adjusted."""

    from_: str = Field(alias="from")
    to: str
    measured: float
    adjusted: float
    residual: float
    suspect: bool


class SurveyAdjustment(_Part):
    """The plan as adjusted; suspects worst first, a tape by its two points, a level by its one."""

    points: dict[str, PlanPoint]
    tapes: list[AdjustedTape]
    misclosure: float | None
    suspects: list[list[str]]
    angles: dict[str, float]
    area_sqft: float | None
    datum_drift: float | None


class Plane(_Part):
    """z = z0 + sx x + sy y [in]."""

    z0: float
    sx: float
    sy: float


class Facet(_Part):
    """One plane of the roof; slope [in/ft], `falls_toward` [degrees], `rms` [in]."""

    polygon: Ring
    plane: Plane
    slope_in_per_ft: float
    falls_toward: float | None
    rms: float | None


class Breakline(_Part):
    kind: Literal["ridge", "valley"]


class Anomaly(_Part):
    """A reading off the fitted roof; `offset` [in] above it where positive."""

    point: str
    offset: float
    sigmas: float
    kind: Literal["hump", "low"]


class Mound(_Part):
    """A hump (`rise` [in] > 0) or low that the surface keeps on top of its facets: an octagon about `at`, whole where
    its sides lie within `top` of the middle and straight down to nothing at `foot` [in]."""

    at: Point
    rise: float
    top: float
    foot: float
    se: float


class Pond(_Part):
    """Where water stands; area [sq ft], depth [in], volume [gal]."""

    polygon: Ring
    area_sqft: float
    depth: float
    volume_gal: float


class RoofFound(_Part):
    facets: list[Facet]
    breaklines: list[Breakline]
    anomalies: list[Anomaly]
    mounds: list[Mound] = []
    ponds: list[Pond]


class FinishedPlane(Plane):
    """The finished surface and the reveal [in] at each threshold point."""

    reveals: dict[str, float]


class LayerParts(_Part):
    """What lies between sill and roof at one place [in]: two heights, `sill` and `roof`, and the thicknesses between.

    sill - reveal - (decking + tape + member + gap) - spare = roof; pad and base lie in the gap.
    """

    sill: float
    reveal: float
    decking: float
    tape: float
    member: float
    pad: float
    base: float
    gap: float
    roof: float


class HeightLayers(_Part):
    """The height at one place, from roof to finished surface [in]; one place governs. `place` is for a tape."""

    at: Point
    place: str
    governs: bool
    available: float
    needed: float
    spare: float
    parts: LayerParts


class LoadsUsed(_Part):
    """Loads as used [psf]."""

    dead: float
    live: float


class Member(_Part):
    """One framing member; its centre line in plan, depths [in] below the framing plane along `s` [in] from `start`.

    `end_a` says in words where `start` lies. Of lapped members `pieces` are [from, to, offset]: `s` as each is sawn,
    and how far it lies to the left of the centre line [in]."""

    id: str
    role: Literal["joist", "rim", "edge", "blocking", "border"]
    start: Point
    end: Point
    size: str
    thickness: float
    profile: list[Point]
    stations: list[tuple[float, str]]
    splices: list[float]
    pieces: list[tuple[float, float, float]] = []
    end_a: str = ""


class Support(_Part):
    """One pad with its shims [in]; reactions [lb], pressure [psi]. A `packer` is counted in `base`."""

    member: str
    s: float
    at: Point
    roof_z: float
    pad: float
    shim: float
    base: float = 0.0
    packer: float = 0.0
    clear_gap: float
    residual: float
    reaction: float
    reaction_most: float
    pressure: float


class Board(_Part):
    """One piece of decking [in]; `rip` holds its two end widths, null at full width."""

    id: str
    kind: Literal["field", "border", "panel"]
    polygon: Ring
    length: float
    rip: Point | None


class Cut(_Part):
    """One piece sawn from a stick; `length` [in]; one of `member` and `board` names what it is for."""

    member: str | None = None
    board: str | None = None
    piece: int
    length: float
    nested_with: str | None = None


class Stick(_Part):
    """One stick to buy and its cuts [in]."""

    item: str
    size: str | None = None
    length: float
    count: int = 1
    cuts: list[Cut]
    offcut: float


class StockBound(_Part):
    """What is bought against the least that could be."""

    item: str
    bought: float
    bound: float
    gap_percent: float
    measure: Literal["cost", "length"]


class ChangeOffered(_Part):
    """A single change of the build that was framed and leaves no stop, lengths in plain inches.

    `change` is the dotted path of a field, a list taking `to` in beside what it holds; with a `patch`, a JSON merge
    patch of the build that fits any unit, `from` and `to` are words.
    """

    change: str
    from_: float | str | None = Field(alias="from")
    to: float | str | None
    patch: dict[str, Any] | None = None


class CheckFound(_Part):
    """One finding; value and limit in `unit`."""

    code: str = Field(json_schema_extra=lambda schema: schema.update({"enum": [*sorted(CODES)]}))
    status: Literal["ok", "note", "caution", "stop"]
    value: float | None
    limit: float | None
    unit: str
    where: str
    text: str
    source: str
    decided_by: str
    acknowledge: bool
    clears: list[ChangeOffered]


class NextReading(_Part):
    """One reading to take: a level at `at` or at its point, or a tape between two; the worst standard errors [in]."""

    kind: Literal["level", "tape"]
    at: Point | None
    points: list[str]
    place: str
    before: float | None
    after: float | None
    why: str
    missing: bool


class Quantity(_Part):
    """One thing to buy; `order` packs of `pack` units hold net + waste + spare.

    Waste in both conventions: net x (1 + `waste_added_on`) = net / (1 - `waste_yield`) = net + waste. `weight` [lb] and
    `board_feet` (0 for what is not sold so) are of the whole order.
    """

    item: str
    description: str
    unit: str
    net: float
    waste: float
    spare: float
    order: float
    pack: float = 1
    order_unit: str
    basis: str
    waste_added_on: float = 0
    waste_yield: float = 0
    weight: float = 0
    board_feet: float = 0


class Bundle(_Part):
    """What goes up in one lift: pieces by item, weight [lb], longest piece [in], 0 for what is no stick."""

    order: str
    items: dict[str, int]
    weight: float
    length: float


class Delivery(_Part):
    """One order as it comes to the curb: weight [lb], longest piece [in], loads of a truck."""

    order: str
    weight: float
    longest: float
    loads: int


class Lifts(_Part):
    """How all that is ordered goes up: `most` [lb] at once, `longest` stick that reaches the roof [in]."""

    by: Literal["stair", "elevator", "hoist", "boom"]
    most: float
    longest: float | None
    floor: int
    weight: float
    count: int
    bundles: list[Bundle]
    deliveries: list[Delivery]
    basis: str


class LaborTask(_Part):
    """Person-hours of one task; `low` and `high` bound `hours_per_unit`."""

    task: str
    quantity: float
    unit: str
    hours_per_unit: float
    low: float | None = None
    high: float | None = None
    factor: float
    hours: float
    basis: str
    rate_record: int | None = None


class DifficultyFactor(_Part):
    """One factor on all hours, the band it is taken from, and why it is there."""

    name: str
    value: float
    low: float
    high: float
    why: str
    source: str


class Difficulty(_Part):
    """The factors, their product, and what is used of it: no more than the cap."""

    factors: list[DifficultyFactor]
    product: float
    cap: float
    used: float


class Schedule(_Part):
    """People by trade, person-hours, days of the whole crew, and working days on the calendar."""

    crew: dict[str, int]
    persons: int
    hours_a_day: float
    availability: float
    person_hours: float
    person_hours_low: float
    person_hours_high: float
    crew_days: float
    days: int
    days_low: int
    days_high: int
    basis: str


class Band(_Part):
    """What one trial in ten, every other one and nine in ten do not exceed."""

    p10: float
    p50: float
    p90: float


class HoursBand(Band):
    """Person-hours; of the total also what is planned and how often that is exceeded."""

    planned: float | None = None
    over: float | None = None


class MemberAtRisk(_Part):
    """Chances that the true roof asks a member's stick deeper, or leaves it thinner than the least depth."""

    member: str
    size: str
    deeper: float
    thinner: float


class AtRisk(_Part):
    """Chances over all members, and how many sticks could not be cut as planned."""

    deeper: float
    thinner: float
    sticks: Band
    members: list[MemberAtRisk]


class Contribution(_Part):
    """A source's share of the variance; `most` is the point read that it owes most to."""

    source: str
    share: float
    most: str = ""


class Uncertainty(_Part):
    """Seeded trials of the readings, of production rates and of culls. Chances from 0 to 1, gaps [in], person-hours.

    `shims` by size and `quantities` by item are what the job takes, in packs; `order_short` is how often the order with
    its spares does not cover it, `needed` the shims of every trial, `culls` the share of sticks sent back.
    """

    trials: int
    seed: int
    shims: dict[str, Band]
    gap_below_least: float
    quantities: dict[str, Band]
    stack_open: float | None = None
    least_gap: Band | None = None
    at_risk: AtRisk | None = None
    order_short: dict[str, float] = {}
    hours: dict[str, HoursBand] = {}
    culls: dict[str, float] = {}
    needed: dict[str, list[int]] = {}
    contributions: dict[str, list[Contribution]] = {}
    told: dict[str, str] = {}


class Provenance(_Part):
    engine: str
    reference_data: str
    survey_sha256: str
    build_sha256: str


class FramingDocument(_Part):
    """What the engine answers. With a stop, whatever lies beyond it is null or empty."""

    format: Literal["deck-framing/1"]
    survey_adjustment: SurveyAdjustment | None
    roof: RoofFound | None
    plane: FinishedPlane | None
    height_budget: list[HeightLayers] = []
    outline: Ring | None
    holes: list[Ring] | None
    loads: LoadsUsed | None
    members: list[Member]
    supports: list[Support]
    boards: list[Board]
    stock_plan: list[Stick]
    stock_bound: list[StockBound]
    checks: list[CheckFound]
    next_readings: list[NextReading] = []
    quantities: list[Quantity]
    lifts: Lifts | None = None
    labor: list[LaborTask]
    difficulty: Difficulty | None = None
    schedule: Schedule | None = None
    uncertainty: Uncertainty | None = None
    provenance: Provenance
