"""roof-survey/1 and deck-build/1 as frozen models, field for field, every length in inches once read."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import AfterValidator, BaseModel, ConfigDict, Field, model_validator

from framing.engine import length
from framing.engine.document_values import (
    DEGREES,
    Crew,
    Day,
    Direction,
    Drop,
    Extent,
    FramingGrade,
    FramingSpecies,
    Hours,
    Money,
    Name,
    PadSizes,
    Place,
    Point,
    Pressure,
    RainRate,
    Reach,
    ReadingNumber,
    Sigma,
    Size,
    Span,
    Stick,
    Sticks,
    Words,
    ascending,
    auto_or,
    different,
    graded,
    length_of,
    number_of,
    refusal,
)
from framing.reference.decking import LEAST_RIP


class _Part(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid", strict=True, validate_by_alias=True)


class Datum(_Part):
    """The mark that heights are measured from, so that the crew will find it again."""

    what: Words | None = None
    where: Words | None = None
    photo: Words | None = None


class Tape(_Part):
    """One taped distance [in], written [from, to, length]."""

    model_config = ConfigDict(
        json_schema_extra=lambda schema: schema.update(
            {"type": "array", "prefixItems": list(schema["properties"].values()), "minItems": 3, "maxItems": 3},
            properties={}, required=[], additionalProperties=False,
        )
    )
    from_: Name = Field(alias="from")
    to: Name
    length: Span

    @model_validator(mode="before")
    @classmethod
    def _from_list(cls, value: Any) -> Any:
        if not isinstance(value, tuple) or len(value) != 3:
            raise refusal("[from, to, length]", "not a taped distance")
        return dict(zip(("from", "to", "length"), value, strict=True))

    @model_validator(mode="after")
    def _two_points(self) -> Tape:
        if self.from_ == self.to:
            raise refusal("two different points", f"a tape from {self.to} to itself", read=self.to, at=("to",))
        return self


On = Literal["roof", "ridge", "valley", "outlet", "threshold", "parapet", "paver", "ballast", "old-deck"]
_LYING_ON_THE_ROOF = ("paver", "ballast", "old-deck")


class Level(_Part):
    """One reading of height: `drop` below the datum [in], on what, and how deep the membrane lies under that [in]."""

    point: Name
    drop: Drop
    on: On
    depth_to_membrane: Reach | None = None

    @model_validator(mode="after")
    def _membrane(self) -> Level:
        if self.on in _LYING_ON_THE_ROOF and self.depth_to_membrane is None:
            what = f"read on {self.on}, so the depth to the membrane is needed"
            raise refusal("the depth from what was read down to the membrane", what, at=("depth_to_membrane",))
        return self


class DatumCheck(_Part):
    """The datum read again: `drop` [in] after the reading of that 1-based number."""

    after: ReadingNumber
    drop: Drop


class Breakline(_Part):
    """A ridge or a valley through two points or more."""

    kind: Literal["ridge", "valley"]
    points: Annotated[tuple[Name, ...], Field(min_length=2, max_length=200), AfterValidator(different)]


ThresholdPoints = Annotated[tuple[Name, ...], Field(min_length=1, max_length=100), AfterValidator(different)]


class Door(_Part):
    """One door: its threshold points left to right seen from inside; widths and flashing height [in]."""

    name: Name
    points: ThresholdPoints
    clear_width: Span | None = None
    swing: Literal["in", "out", "slide"] | None = None
    egress: bool | None = None
    flashing_top: Drop | None = None
    governs: bool = False


class Outlet(_Part):
    """A scupper or drain; sizes [in]; `invert_drop` below the datum [in], else the reading at `point` is the invert."""

    kind: Literal["scupper", "drain"]
    purpose: Literal["primary", "overflow"]
    point: Name
    width: Span | None = None
    height: Span | None = None
    diameter: Span | None = None
    invert_drop: Drop | None = None


class Obstacle(_Part):
    """A vent, hatch or unit: an outline of points, or a point and a size [in]; `clearance` [in] from its faces."""

    name: Name
    points: Annotated[tuple[Name, ...], Field(min_length=3, max_length=100), AfterValidator(different)] | None = None
    point: Name | None = None
    size: Extent | None = None
    clearance: Reach = 0.0

    @model_validator(mode="after")
    def _outline(self) -> Obstacle:
        if (self.points is None) == (self.point is None):
            raise refusal("either points, or point and size", "where it stands is given twice or not at all")
        if self.point is not None and self.size is None:
            raise refusal("a length, or two: [along x, along y]", "an obstacle at a point needs a size", at=("size",))
        if self.points is not None and self.size is not None:
            raise refusal("no size beside points", "the size is given twice", read=self.size, at=("size",))
        return self


class Edge(_Part):
    """What the roof meets along one side; `height` of the parapet and `drop_beyond` [in] from the roof beside it."""

    from_: Name = Field(alias="from")
    to: Name
    against: Literal["house", "parapet", "open"]
    height: Reach | None = None
    drop_beyond: Reach | None = None


class CoverBoard(_Part):
    material: Words | None = None
    thickness: Span | None = None


class Roof(_Part):
    """What the roof is made of; `age` in years, `insulation_strength` as rated [psi]."""

    membrane: Words | None = None
    age: Annotated[float, number_of(least=0, most=200, unit="years")] | None = None
    insulation: Words | None = None
    insulation_strength: Annotated[float, number_of(above=0, most=1000, unit="psi")] | None = None
    cover_board: CoverBoard | None = None
    warranty_holder: Words | None = None
    inspected_on: Day | None = None


class Site(_Part):
    """What deferrals and cautions turn on; heights and distances [in]."""

    height_above_grade: Annotated[float, length_of(least=0, most=40_000)] | None = None
    exposure: Words | None = None
    stories: Annotated[float, number_of(above=0, most=200)] | None = None
    occupancy: Words | None = None
    construction_type: Words | None = None
    lot_line_distance: Annotated[float, length_of(least=0, most=100_000)] | None = None
    jurisdiction: Words | None = None
    code_edition: Words | None = None
    accessible_route: bool | None = None


class Access(_Part):
    """How material reaches the roof; `longest_stick` [in], `lift_capacity` what goes up at once [lb]."""

    floor: Annotated[int, number_of(least=-10, most=200, whole=True)] | None = None
    longest_stick: Span | None = None
    lift: Literal["stair", "elevator", "hoist", "boom"] | None = None
    lift_capacity: Annotated[float, number_of(least=20, most=100_000, unit="lb")] | None = None


class Photo(_Part):
    point: Name | None = None
    file: Words
    note: Words | None = None


def _in_order(checks: tuple[DatumCheck, ...]) -> tuple[DatumCheck, ...]:
    return tuple(sorted(checks, key=lambda check: check.after))


class Survey(_Part):
    """roof-survey/1: what was measured. Every length in inches, heights as drops below the survey datum."""

    format: Literal["roof-survey/1"]
    name: Name
    unit: length.Unit = "in"
    surveyed_on: Day | None = None
    surveyor: Words | None = None
    datum: Datum | None = None
    corners: Annotated[tuple[Name, ...], Field(min_length=3), AfterValidator(different)]
    positions: dict[Name, Point] = {}
    position_sigma: Annotated[float, length_of(least=0, most=24)] | None = None
    tapes: tuple[Tape, ...] = ()
    tape_sigma: Sigma = 0.125
    level_sigma: Sigma = 0.0625
    closure_tolerance: Span = 0.1875
    levels: tuple[Level, ...]
    datum_checks: Annotated[tuple[DatumCheck, ...], AfterValidator(_in_order)] = ()
    breaklines: tuple[Breakline, ...] = ()
    threshold: ThresholdPoints | None = None
    doors: Annotated[tuple[Door, ...], Field(min_length=1)] | None = None
    outlets: tuple[Outlet, ...] = ()
    obstacles: tuple[Obstacle, ...] = ()
    edges: tuple[Edge, ...] = ()
    roof: Roof | None = None
    site: Site | None = None
    access: Access | None = None
    photos: tuple[Photo, ...] = ()

    @property
    def all_doors(self) -> tuple[Door, ...]:
        """The doors; a bare `threshold` is one door of that name's points that governs."""
        if self.doors is not None:
            return self.doors
        return (Door(name="door", points=self.threshold or (), governs=True),)


# deck-build/1


class Surface(_Part):
    """The finished surface: `reveal` [in] below the threshold, `fall_per_ft` [in/ft], `toward` [degrees]."""

    mode: Literal["level", "follow-threshold", "fall"]
    reveal: Drop
    fall_per_ft: Annotated[float, length_of(above=0, most=3)] | None = None
    toward: Annotated[float, DEGREES] | None = None

    @model_validator(mode="after")
    def _fall(self) -> Surface:
        for field in ("fall_per_ft", "toward"):
            given = getattr(self, field)
            if self.mode == "fall" and given is None:
                expected = "inches of fall in a foot" if field == "fall_per_ft" else "a direction in degrees"
                raise refusal(expected, f"a surface with a fall needs {field}", at=(field,))
            if self.mode != "fall" and given is not None:
                raise refusal(f"no {field} with mode {self.mode}", "contradicts the mode", read=given, at=(field,))
        return self


class Decking(_Part):
    """The boards; sizes and gaps [in], `direction` [degrees] the boards run, `stock_prices` by stock length [in].

    No strip is cut narrower than `least_rip` [in] where the outline leaves a choice; those that are, are told.
    """

    item: Name
    species: Words | None = None
    thickness: Annotated[float, length_of(least=0.25, most=6)]
    width: Annotated[float, length_of(least=0.5, most=48)]
    gap: Annotated[float, length_of(least=0, most=3)]
    direction: Direction = "auto"
    border_courses: Annotated[int, number_of(least=0, most=20, whole=True)] = 0
    edge_gaps: dict[Name, Reach] = {}
    fastening: Literal["face", "hidden"]
    least_rip: Annotated[float, length_of(least=0, most=12)] = LEAST_RIP
    stock_lengths: Sticks
    stock_prices: dict[Stick, Money] | None = None


class Joists(_Part):
    """The joists; spacing, depth and tape [in], `stock_prices` by size and stock length [in]."""

    species: FramingSpecies
    grade: FramingGrade
    moisture: Literal["kdat", "dry", "wet"] | None = None
    sizes: Annotated[tuple[Size, ...], Field(min_length=1), AfterValidator(different)]
    stock_lengths: Sticks
    stock_prices: dict[Size, dict[Stick, Money]] | None = None
    spacing: Annotated[float, length_of(least=3, most=48)]
    direction: Direction = "auto"
    minimum_depth: Annotated[float, length_of(above=0, most=24)] = 1.5
    tape_thickness: Annotated[float, length_of(least=0, most=1)] = 0.0
    splice: Literal["over-support", "lapped"] = "over-support"

    @model_validator(mode="after")
    def _grade(self) -> Joists:
        graded(self.grade, self.species, at=("grade",))
        return self


class ClearGap(_Part):
    """The gap between roof and joist [in]."""

    least: Reach
    target: Reach
    most: Reach

    @model_validator(mode="after")
    def _order(self) -> ClearGap:
        if not self.least <= self.target <= self.most:
            name, worst = ("target", self.target) if self.target < self.least else ("most", self.most)
            order = f"least {self.least:g}, target {self.target:g}, most {self.most:g} in"
            raise refusal("least, target and most in this order", f"out of order: {order}", read=worst, at=(name,))
        return self


class Supports(_Part):
    """Pads and shims under the joists; every length [in]. `packer_most`: packing under wood that is not deep enough.

    `pad_material` and `base_material` say what touches the membrane; notes compare them with it.
    """

    base_thickness: Annotated[float, length_of(least=0, most=12)] = 0.0
    base_material: Words | None = None
    pad_material: Words | None = None
    pad_thickness: Annotated[float, length_of(least=0, most=24)]
    pad_sizes: PadSizes = Field(alias="pad_size")
    clear_gap: ClearGap
    shim_sizes: Annotated[
        tuple[Annotated[float, length_of(least=1 / 64, most=12)], ...], Field(min_length=1, max_length=50),
        AfterValidator(ascending),
    ]
    shim_most: Annotated[float, length_of(least=0, most=48)]
    packer_most: Annotated[float, length_of(least=0, most=12)] = 0.0
    maximum_spacing: Annotated[Literal["auto"] | float, auto_or(length_of(least=3, most=240))] = "auto"


class Heavy(_Part):
    """Planters, tubs, stacked material: an outline of survey points or [x, y] [in], and its load [psf]."""

    points: Annotated[tuple[Place, ...], Field(min_length=3, max_length=100)]
    psf: Pressure


class Loads(_Part):
    """Loads on the deck [psf] and what the live load stands on."""

    live: Annotated[float, number_of(above=0, most=10_000, unit="psf")]
    dead_extra: Pressure = 0.0
    snow: Pressure = 0.0
    drift: Pressure = 0.0
    basis: Words | None = None
    heavy: Annotated[tuple[Heavy, ...], Field(max_length=200)] = ()


class Rain(_Part):
    """Design rain [in/h] and its source."""

    primary: RainRate
    secondary: RainRate | None = None
    source: Words | None = None


class Saw(_Part):
    """Kerf and end trim of a stick [in]."""

    kerf: Annotated[float, length_of(least=0, most=1)] = 0.125
    trim: Annotated[float, length_of(least=0, most=11)] = 0.25


class Panel(_Part):
    """A lift-out panel over an outlet or obstacle, `size` [in], or the reason why there is `none`."""

    over: Name
    size: Extent | None = None
    none: Words | None = None

    @model_validator(mode="after")
    def _one(self) -> Panel:
        if self.size is not None and self.none is not None:
            raise refusal("either size or none", "a panel that is refused has no size", read=self.none, at=("none",))
        return self


class Rate(_Part):
    """Person-hours for one `unit` of a task; `source` says whose, `record` the number of the office's own rate."""

    low: Hours
    typical: Hours
    high: Hours
    unit: Name
    source: Words | None = None
    record: Annotated[int, number_of(least=1, most=2**53, whole=True)] | None = None

    @model_validator(mode="after")
    def _order(self) -> Rate:
        if not self.low <= self.typical <= self.high:
            raise refusal("low, typical and high in this order", "out of order", read=self.typical, at=("typical",))
        return self


class Labor(_Part):
    """Difficulty factors by name, rates by task, who comes, hours a day, and the share of people there on a day."""

    difficulty: Annotated[dict[Name, Annotated[float, number_of(above=0, most=10)]], Field(max_length=20)] = {}
    rates: dict[Name, Rate] | None = None
    crew: Crew | None = None
    hours_a_day: Annotated[float, number_of(least=1, most=24)] | None = None
    availability: Annotated[float, number_of(least=0.1, most=1)] | None = None


class Build(_Part):
    """deck-build/1: what is to be built. Every length in inches."""

    format: Literal["deck-build/1"]
    name: Name | None = None
    unit: length.Unit = "in"
    surface: Surface
    decking: Decking
    joists: Joists
    supports: Supports
    loads: Loads
    rain: Rain | None = None
    saw: Saw = Saw()
    access_panels: tuple[Panel, ...] = ()
    labor: Labor | None = None
