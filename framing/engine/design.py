"""frame(survey, build) -> framing: the one room that knows the order of the stages."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from decimal import Decimal
from functools import partial
from typing import Any

import numpy as np
from shapely import Point

from framing.engine import candidates, clearing, drawings
from framing.engine.adjustment import Adjustment, adjust
from framing.engine.assembly import Built, Setting, assemble, boards_across, frame_up, lay_and_cut, weight_up
from framing.engine.candidate_readings import NextReading
from framing.engine.candidates import AS_GIVEN
from framing.engine.checks import Check, check
from framing.engine.crew import Schedule, plan_crew
from framing.engine.documents import (
    Build,
    DocumentRefused,
    Fault,
    Rain,
    Source,
    Survey,
    canonical_sha256,
    check_together,
    parse_build,
    parse_survey,
)
from framing.engine.drainage import Drainage, against_frame, drain
from framing.engine.drying import drying
from framing.engine.json_reading import read_json
from framing.engine.keep_outs import find_ground
from framing.engine.labor import Difficulty, Task, difficulty, estimate_hours
from framing.engine.layout import Deck, lay_deck
from framing.engine.lifts import Lifts, plan_lifts
from framing.engine.loads import basis_checks
from framing.engine.members import end_a, named_sides
from framing.engine.next_readings import next_readings, told
from framing.engine.plane import Budget, Plane, find_plane, height_budget
from framing.engine.ranking import Comparison, Figures, Tried, figures, rank
from framing.engine.roof import NOT_READ, Roof, fit_roof, ring
from framing.engine.supports import Frame
from framing.engine.takeoff import Quantity, colour_lot, take_off
from framing.engine.uncertainty import vary
from framing.reference.production import RATES

ENGINE = "1.1"
REFERENCE_DATA = "2026.2"
PAD_ERROR = 0.125  # two standard errors of the roof under a pad that thin shims take up on site [in]: common practice
HUMP_REACH = 24.0  # a high spot is held against a member this near [in]


@dataclass(frozen=True)
class Framing:
    """The answer: the deck-framing/1 document, ready for JSON, and its drawings."""

    document: dict[str, Any]
    plan_svg: str
    section_svg: str
    sheet: drawings.Sheet = field(repr=False, compare=False)

    def section_along(self, member: str) -> str:
        """A section along a member, SVG. Raises KeyError where there is no such member."""
        return drawings.section_along(self.sheet, member)

    @property
    def stops(self) -> list[dict[str, Any]]:
        return [c for c in self.document["checks"] if c["status"] == "stop"]


@dataclass(frozen=True)
class _Surveyed:
    """A survey adjusted, its roof fitted and its water found: the same for all builds with the same rain."""

    survey: Survey
    adjusted: Adjustment
    roof: Roof | None = None
    drainage: Drainage | None = None


@dataclass(frozen=True)
class _Asked:
    """A build to be tried, its name and what was changed to make it."""

    known: _Surveyed
    name: str
    changes: tuple[str, ...]
    build: Build
    framed: Built | None = None


@dataclass
class _Answer:
    """What has been computed so far; a stop ends the chain and the rest stays empty."""

    adjusted: Adjustment
    checks: list[Check]
    roof: Roof | None = None
    drainage: Drainage | None = None
    deck: Deck | None = None
    plane: Plane | None = None
    budget: Budget | None = None
    framed: Built | None = None
    built: Built | None = None
    quantities: tuple[Quantity, ...] = ()
    lifts: Lifts | None = None
    difficulty: Difficulty | None = None
    weight: float | None = None
    tasks: tuple[Task, ...] = ()
    schedule: Schedule | None = None
    uncertainty: dict[str, Any] | None = None
    next_readings: tuple[NextReading, ...] = ()

    @property
    def stopped(self) -> bool:
        return any(c.status == "stop" for c in self.checks)


def frame(survey: Source, build: Source) -> Framing:
    """The framing of `survey` as `build` asks.

    Raises DocumentRefused, with every fault of both documents, before anything is computed.
    """
    parsed_survey, (parsed_build,) = _parse(survey, {"": build})
    answer = _compute(_surveyed(parsed_survey, parsed_build.rain), parsed_build)
    answer.next_readings = next_readings(
        parsed_survey, answer.adjusted, answer.roof, follow=parsed_build.surface.mode == "follow-threshold",
        keep_off=answer.deck.holes if answer.deck else ())
    answer.checks += told(answer.next_readings)
    document = _document(answer, parsed_survey, parsed_build, _hash(survey), _hash(build))
    sheet = _sheet(parsed_survey, parsed_build, answer)
    return Framing(document, drawings.plan_svg(sheet), drawings.section_svg(sheet), sheet)


_Came = tuple[Tried, Built | None]  # how a build came out, and its frame
Each = Callable[[Callable[[_Asked], _Came], Iterable[_Asked]], Iterable[_Came]]  # as the builtin map


def compare(survey: Source, builds: Sequence[Source], *, names: Sequence[str] = (), by: str = "cost",
            prices: Mapping[str, Decimal] | None = None, each: Each = map) -> Comparison:
    """The builds side by side, by what each comes to on this survey.

    `names` stand before the builds' own, as many as are given. `prices` maps item keys of the takeoff, and
    "labor/hour", to money for one order unit, before the builds' own stock prices; `by` is the key of the count that
    they are ordered by. `each` maps as the builtin does, several at a time where the caller has the means; the answer
    is the same.

    Raises DocumentRefused with every fault of all documents, those of builds with pointers that begin at /builds/0, …
    """
    parsed, asked = _parse(survey, {f"/builds/{i}": build for i, build in enumerate(builds)})
    rains = {rain: _surveyed(parsed, rain) for rain in {b.rain for b in asked}}
    named = [*names, *(b.name or f"build {i}" for i, b in enumerate(asked[len(names):], len(names) + 1))]
    came = each(_tried, [_Asked(rains[b.rain], name, (), b) for b, name in zip(asked, named, strict=True)])
    return rank([tried for tried, _ in came], name=parsed.name, prices=prices or {}, by=by)


def find_builds(survey: Source, build: Source, *, most: int = 60, by: str = "cost",
                prices: Mapping[str, Decimal] | None = None, each: Each = map) -> Comparison:
    """Up to `most` builds that the engine makes from one by single changes (see candidates), side by side with it.

    Options as for `compare`. Raises DocumentRefused as `frame` does.
    """
    parsed, (given,) = _parse(survey, {"": build})
    known, prices = _surveyed(parsed, given.rain), prices or {}
    answer = _compute(known, given, whole=False)
    first = _figured(answer, AS_GIVEN, (), given)
    if known.roof is None or answer.deck is None or answer.plane is None:  # the survey stops, whatever is built on it
        return rank([first], name=parsed.name, prices=prices, by=by)
    grid, left_out = candidates.vary(
        Setting(parsed, known.adjusted, known.roof, answer.deck, answer.plane), given, answer.framed)
    frames = {_wood(grid.build): answer.framed}
    uncovered = {c.text for c in _given(parsed, given) if c.code == "not-covered"}

    def refused(changed: Build) -> str:
        try:
            check_together(parsed, changed)
        except DocumentRefused as error:
            return error.faults[0].detail
        return " ".join(c.text for c in _given(parsed, changed) if c.code == "not-covered" and c.text not in uncovered)

    def try_each(wave: Sequence[tuple[str, tuple[str, ...], Build]]) -> Iterator[Tried]:
        keys = [_wood(build) for _, _, build in wave]
        asked = [_Asked(known, *one, frames.get(key)) for one, key in zip(wave, keys, strict=True)]
        for key, (tried, framed) in zip(keys, each(_tried, asked), strict=True):
            frames[key] = framed
            yield tried

    ground = find_ground(parsed, known.adjusted, known.roof, answer.deck.holes)
    found, besides = candidates.search(grid, first, try_each, refused, ground, most=most, prices=prices)
    return rank(found, name=parsed.name, prices=prices, by=by, left_out=[*left_out, *besides])


def _tried(asked: _Asked) -> _Came:
    """One build framed; of use to a pool of processes, so a function of one argument that can be sent to it."""
    answer = _compute(asked.known, asked.build, whole=False, standing=asked.framed)
    return _figured(answer, asked.name, asked.changes, asked.build), answer.framed


def _wood(build: Build) -> str:
    """What decides on the frame of a build: all but the lengths that its boards are sold in."""
    boards = build.decking.model_copy(update={"stock_lengths": (), "stock_prices": None})
    return build.model_copy(update={"decking": boards}).model_dump_json()


def _figured(answer: _Answer, name: str, changes: tuple[str, ...], build: Build) -> Tried:
    stops = tuple(c for c in answer.checks if c.status == "stop")
    cautions = tuple(sorted({c.code for c in answer.checks if c.status == "caution"}))
    found: Figures | None = None
    if not stops and answer.built and answer.plane and answer.weight is not None:
        found = figures(build, answer.built, answer.plane, answer.quantities, answer.tasks, answer.weight, cautions)
    ways = (round(answer.built.layout.direction % 180, 3), round(answer.built.board_direction % 180, 3)) \
        if answer.built else None
    return Tried(name, changes, build, found, stops, cautions, ways)


def _sheet(survey: Survey, build: Build, answer: _Answer) -> drawings.Sheet:
    """What there is to draw of an answer."""
    built = answer.built
    boards = built.decking.boards if built and built.decking else ()
    panels = drawings.panel_outlines([b.polygon for b in boards if b.kind == "panel"], build.decking.gap)
    return drawings.Sheet(survey, build, answer.adjusted, answer.roof, answer.deck, answer.plane,
                          built.layout if built else None, built.frame if built else None, answer.budget, panels)


def _parse(survey: Source, builds: Mapping[str, Source]) -> tuple[Survey, list[Build]]:
    """The survey and the builds, or the faults of all in one refusal, a build's below the pointer that it stands at."""
    faults: list[Fault] = []
    large, parsed = False, None
    asked: list[Build] = []
    try:
        parsed = parse_survey(survey)
    except DocumentRefused as refused:
        faults, large = list(refused.faults), refused.too_large
    for place, source in builds.items():
        try:
            asked.append(parse_build(source))
            if parsed is not None:
                check_together(parsed, asked[-1])
        except DocumentRefused as refused:
            faults += [replace(f, pointer=place + f.pointer) for f in refused.faults]
            large = large or refused.too_large
    if faults or parsed is None:
        raise DocumentRefused(faults, too_large=large)
    return parsed, asked


def _hash(source: Mapping[str, Any] | bytes | str) -> str:
    """Hash of a document that has been parsed: of its JSON, however it was spaced."""
    return canonical_sha256(read_json(source)[0])


def _surveyed(survey: Survey, rain: Rain | None) -> _Surveyed:
    adjusted = adjust(survey)
    if any(c.status == "stop" for c in adjusted.checks):
        return _Surveyed(survey, adjusted)
    roof = fit_roof(survey, adjusted)
    return _Surveyed(survey, adjusted, roof, drain(survey, adjusted, roof, rain) if roof.facets else None)


def _compute(known: _Surveyed, build: Build, *, whole: bool = True, standing: Built | None = None) -> _Answer:
    """The answer as far as it goes; where it is not asked for `whole`, no stop says what would clear it and nothing how
    sure the figures are, which takes time to find.

    `standing` is the frame where it is known already, from a build that differs in the lengths of its boards alone.
    """
    survey, adjusted = known.survey, known.adjusted
    answer = _Answer(adjusted, list(adjusted.checks))
    answer.checks += _given(survey, build)
    if answer.stopped or known.roof is None:
        return answer
    answer.roof = known.roof
    answer.checks += answer.roof.checks
    if known.drainage is None:
        return answer
    answer.drainage = known.drainage
    answer.checks += answer.drainage.checks
    answer.deck, deck_checks = lay_deck(survey, build, adjusted)
    answer.checks += deck_checks
    if answer.deck is None:
        return answer
    answer.plane, plane_checks = find_plane(survey, build, adjusted, answer.deck.net)
    answer.checks += plane_checks
    if answer.plane is None:
        return answer
    points = {name: (p.x, p.y) for name, p in adjusted.points.items()}
    answer.budget = height_budget(build, answer.plane, answer.roof, answer.deck.net, points)
    offered: Callable[[Sequence[Check]], list[Check]] = list
    if whole:
        offered = partial(_with_offers, survey=survey, build=build, adjusted=adjusted, roof=answer.roof)
    answer.checks += offered([*answer.budget.checks, *boards_across(build)])
    if answer.stopped:
        return answer

    setting = Setting(survey, adjusted, answer.roof, answer.deck, answer.plane)
    answer.framed = standing or frame_up(setting, build)
    answer.built = lay_and_cut(setting, build, answer.framed)
    answer.checks += offered(answer.built.checks)
    if answer.stopped or answer.built.decking is None:
        return answer
    built, framed = answer.built, answer.built.frame
    answer.checks += _frame_checks(survey, build, adjusted, answer.roof, answer.plane, answer.drainage, framed)
    answer.checks += _roof_under_pads(answer.roof, framed)
    answer.checks.append(_drying(build, adjusted, answer.plane, framed))
    answer.quantities = tuple(take_off(built.plans, framed, answer.built.decking, answer.deck, build))
    answer.checks.append(colour_lot(answer.quantities, build))
    weight = answer.weight = weight_up(build, framed, answer.deck)
    answer.lifts = plan_lifts(survey, answer.quantities)
    answer.difficulty = difficulty(survey, build, adjusted, answer.deck)
    answer.tasks = tuple(estimate_hours(build, answer.difficulty, answer.deck, framed, answer.built.decking,
                                        answer.lifts))
    answer.schedule = plan_crew(build, answer.tasks)
    worst = max((s.reaction_most for s in framed.supports), default=0.0)
    besides = [f"{c.value:,.0f} lb of {what}" for c in answer.checks for code, what in
               (("heavy-load", "heavy things"), ("snow-drift", "drifted snow")) if c.code == code]
    answer.checks.append(check("weight", "note", value=weight, unit="LBR", where="deck",
                               psf=f"{weight / answer.deck.net_sqft:.1f}", worst=f"{worst:.0f}",
                               dead=f"{framed.dead:.1f}", live=f"{build.loads.live:g}", snow=f"{build.loads.snow:g}",
                               besides=f", besides {' and '.join(besides)}" if besides else ""))
    if whole:
        answer.uncertainty = vary(survey, build, adjusted, answer.plane, answer.roof, framed.members, framed.supports,
                                  [t.as_json() for t in answer.tasks], [q.as_json() for q in answer.quantities],
                                  [vars(f) for f in answer.difficulty.factors])
    return answer


def _with_offers(checks: Sequence[Check], survey: Survey, build: Build, adjusted: Adjustment,
                 roof: Roof) -> list[Check]:
    """The checks, every stop with those of its changes that were framed and leave no stop.

    That frames again for each change: an answer with a stop takes a few times as long as one without.
    """
    stops = [c for c in checks if c.status == "stop"]
    kept = clearing.cleared(stops, build, lambda changed: _frames(survey, changed, adjusted, roof))
    return [clearing.told(c, build, kept) if c.status == "stop" else c for c in checks]


def _frames(survey: Survey, build: Build, adjusted: Adjustment, roof: Roof) -> bool:
    """Whether the build can be framed and cut without a stop, on a roof that is known; what is quick comes first."""
    deck, _ = lay_deck(survey, build, adjusted)
    if deck is None or boards_across(build):
        return False
    plane, _ = find_plane(survey, build, adjusted, deck.net)
    if plane is None or any(c.status == "stop" for c in height_budget(build, plane, roof, deck.net).checks):
        return False
    built = assemble(Setting(survey, adjusted, roof, deck, plane), build, trial=True)
    return built.decking is not None and not any(c.status == "stop" for c in built.checks)


def _given(survey: Survey, build: Build) -> list[Check]:
    """What was not given or is not worked out here, said at the start so that nobody counts on it."""
    found = []
    missing = [
        ("outlets", not survey.outlets), ("insulation and its strength",
                                          survey.roof is None or survey.roof.insulation_strength is None),
        ("parapet and edge heights", not survey.edges or any(e.height is None and e.against == "parapet"
                                                             for e in survey.edges)),
        ("access and the longest stick that reaches the roof",
         survey.access is None or survey.access.longest_stick is None),
        ("moisture of the joist stock", build.joists.moisture is None),
    ]
    found += [check("not-measured", "caution", unit="EA", where="survey", what=f"{what}: not given")
              for what, absent in missing if absent]
    given = (build.labor and build.labor.rates) or {}
    beyond = [
        *((f"hours for {task}: no such task is counted", task not in RATES) for task in given),
    ]
    found += [check("not-covered", "caution", unit="EA", where="build", what=what)
              for what, asked in beyond if asked]
    return found + basis_checks(build)


def _frame_checks(survey: Survey, build: Build, adjusted: Adjustment, roof: Roof, plane: Plane, drainage: Drainage,
                  f: Frame) -> list[Check]:
    """Checks that compare two stages: the water against the wood, the wood against high spots of the roof."""
    found: list[Check] = []
    at = np.array([s.at for s in f.supports])
    under = build.decking.thickness + build.joists.tape_thickness
    found += against_frame(
        drainage,
        supports_xy=at,
        supports_roof_z=np.array([s.roof_z for s in f.supports]),
        clear_gaps=np.array([s.clear_gap for s in f.supports]),
        deck_top=plane.height,
    )
    for a in roof.anomalies:
        spot = Point(adjusted.points[a.point].x, adjusted.points[a.point].y)
        kept = sum(float(m.rise * m.share(np.array([[spot.x, spot.y]]))[0]) for m in roof.mounds)
        if a.offset - kept <= 1 / 32 or not f.members:  # what the roof's surface keeps, the profiles clear already
            continue
        m = min(f.members, key=lambda m: m.line.shape.distance(spot))
        if m.line.shape.distance(spot) > HUMP_REACH:
            continue
        s = np.array([m.line.shape.project(spot)])
        near = m.line.at(s)
        gap = float((plane.height(near) - under - m.depth(s) - roof.height(near))[0]) - a.offset + kept
        found.append(check("clear-gap-at-hump", "caution" if gap < build.supports.clear_gap.least - 1e-9 else "ok",
                           value=gap, limit=build.supports.clear_gap.least, where=f"{m.id} at {a.point}",
                           gap=f"{gap:.2f}"))
    return found


def _drying(build: Build, adjusted: Adjustment, plane: Plane, f: Frame) -> Check:
    door = np.mean([[adjusted.points[p].x, adjusted.points[p].y] for p in plane.door.points if p in adjusted.points],
                   axis=0)
    return drying(f.members, build, (float(door[0]), float(door[1])))


def _roof_under_pads(roof: Roof, f: Frame) -> list[Check]:
    """How sure the roof's height is under the pads: what they may be off by is for shims and the crew to take up."""
    if not f.supports:
        return []
    at = np.array([s.at for s in f.supports])
    error = 2 * roof.standard_error(at)
    worst = int(np.argmax(error))
    far = int((roof.beyond_readings(at) > NOT_READ).sum())
    return [check("roof-under-pads", "caution" if error[worst] > PAD_ERROR or far else "ok", value=float(error[worst]),
                  limit=PAD_ERROR, where=f"x {at[worst, 0]:.0f}, y {at[worst, 1]:.0f}", far=far, reach=NOT_READ)]


def _document(answer: _Answer, survey: Survey, build: Build, survey_hash: str, build_hash: str) -> dict[str, Any]:
    """The deck-framing/1 document, in plain JSON values."""
    roof, built = answer.roof, answer.built
    framed = built.frame if built else None
    sides = named_sides(survey, answer.adjusted) if framed else []
    suspects = [list(s) for s in answer.adjusted.suspects] + ([list(s) for s in roof.suspects] if roof else [])
    document: dict[str, Any] = {
        "format": "deck-framing/1",
        "name": survey.name,
        "survey_adjustment": {**answer.adjusted.as_json(), "suspects": suspects},
        "roof": roof.as_json() if roof else {"facets": [], "breaklines": [], "anomalies": [], "ponds": []},
        "plane": answer.plane.as_json() if answer.plane else {"z0": 0.0, "sx": 0.0, "sy": 0.0, "reveals": {}},
        "height_budget": answer.budget.as_json() if answer.budget else [],
        "outline": ring(answer.deck.outline) if answer.deck else [],
        "holes": [ring(h) for h in answer.deck.holes] if answer.deck else [],
        "net_sqft": answer.deck.net_sqft if answer.deck else 0.0,
        "loads": {"dead": framed.dead if framed else 0.0, "live": framed.live if framed else build.loads.live},
        "directions": {"joists": built.layout.direction % 180, "boards": built.board_direction % 180} if built else {},
        "members": [{**m.as_json([s.s for s in framed.on(m.id)]), "end_a": end_a(m.line, sides)}
                    for m in framed.members] if framed else [],
        "supports": [s.as_json() for s in framed.supports] if framed else [],
        "boards": [b.as_json() for b in built.decking.boards] if built and built.decking else [],
        "stock_plan": [row for p in built.plans for row in p.stock_plan()] if built else [],
        "stock_bound": [p.stock_bound() for p in built.plans] if built else [],
        "checks": [c.as_json() for c in _ordered(answer.checks)],
        "next_readings": [r.as_json() for r in answer.next_readings],
        "quantities": [q.as_json() for q in answer.quantities],
        "lifts": answer.lifts.as_json() if answer.lifts else None,
        "labor": [t.as_json() for t in answer.tasks],
        "difficulty": answer.difficulty.as_json() if answer.difficulty else None,
        "schedule": answer.schedule.as_json() if answer.schedule else None,
        "uncertainty": answer.uncertainty or {"trials": 0, "seed": 0, "shims": {}, "gap_below_least": 0.0,
                                              "quantities": {}},
        "provenance": {"engine": ENGINE, "reference_data": REFERENCE_DATA, "survey_sha256": survey_hash,
                       "build_sha256": build_hash},
    }
    if answer.drainage:
        document["roof"]["ponds"] = [p.as_json() for p in answer.drainage.ponds]
    plain: dict[str, Any] = _plain(document)
    return plain


def _ordered(checks: list[Check]) -> list[Check]:
    """Stops first, then what must be acknowledged, cautions, notes, and what is well; in order of finding within."""
    rank = {"stop": 0, "caution": 2, "note": 3, "ok": 4}
    return sorted(checks, key=lambda c: (1 if c.acknowledge and c.status != "stop" else rank[c.status]))


def _plain(value: Any) -> Any:
    """JSON values only: no numpy scalars; floats to nine places, far below what a saw or a tape can do."""
    kind = type(value)
    if kind is float:  # most of an answer; the plain types are told apart first, since that is quick
        return round(value, 9) + 0.0
    if kind is str or kind is int or kind is bool or value is None:
        return value
    if kind is dict or isinstance(value, Mapping):
        return {str(k): _plain(v) for k, v in value.items()}
    if kind is list or isinstance(value, list | tuple):
        return [_plain(v) for v in value]
    if isinstance(value, int | np.integer):
        return int(value)
    if isinstance(value, float | np.floating):
        return round(float(value), 9) + 0.0
    return value
