"""Checks: what the engine found, as one frozen record; every code, its sentence, source and who decides.

A stage makes its findings with `check(code, status, ...)`. The sentence of a code stands here once, so that
notes and papers can be made from the code and the numbers alone.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from typing import Any, Literal

from framing.reference import doors

Status = Literal["ok", "note", "caution", "stop"]
STATUSES: tuple[Status, ...] = ("ok", "note", "caution", "stop")
MAYBE_SEVERAL = re.compile(r"(?<![\w.])(\d+(?:\.\d+)?) ((?:[\w-]+ ){0,2}[\w-]+)\(s\)")  # `3 pad(s)` in a sentence


@dataclass(frozen=True)
class Change:
    """One single change of the build that would clear a stop: the dotted path of a field, its value now and then.

    A field that is a list takes `to` in beside what it holds. Where the change is of more than one number, `from_` and
    `to` are words and `patch` is the JSON merge patch of the build (RFC 7396) that makes it.
    """

    change: str
    from_: float | str
    to: float | str
    patch: Mapping[str, Any] | None = None

    def as_json(self) -> dict[str, Any]:
        plain = {"change": self.change, "from": self.from_, "to": self.to}
        return plain if self.patch is None else {**plain, "patch": dict(self.patch)}

    @property
    def words(self) -> str:
        unit = "" if isinstance(self.to, str) else " in"
        return f"{self.change} {_plain(self.from_)} to {_plain(self.to)}{unit}"


def _plain(value: float | str) -> str:
    return value if isinstance(value, str) else f"{value:.4g}"


@dataclass(frozen=True)
class Check:
    """One finding. `value` and `limit` are in `unit`; `where` names the place on the roof or in the frame."""

    code: str
    status: Status
    value: float | None
    limit: float | None
    unit: str
    where: str
    text: str
    source: str
    decided_by: str
    acknowledge: bool = False
    clears: tuple[Change, ...] = ()

    def as_json(self) -> dict[str, Any]:
        fields = asdict(self)
        fields["clears"] = [c.as_json() for c in self.clears]
        return fields


@dataclass(frozen=True)
class Code:
    """What a check code says, where its limit comes from and who decides on it.

    `sentence` is a format string over `value`, `limit`, `unit`, `where` and the words the stage passes.
    """

    sentence: str
    source: str = "computed"
    decided_by: str = "contractor"


CODES: dict[str, Code] = {
    # what was given, what is not worked out here
    "not-measured": Code("{what}.", "roof survey", "surveyor"),
    "not-covered": Code("Not worked out here: {what}.", "computed", "contractor"),
    # roof
    "roof-not-measured": Code(
        "{what} has {value} readings of its own; it needs {need}, well apart, before anything can be cut to it.",
        "computed", "surveyor",
    ),
    "roof-shape": Code(
        "The roof fits {count} plane(s) within {value:.2f} in (root mean square), {limit:.2f} in is expected of a "
        "level round; where it is over, read more drops and give every ridge and valley as a break line.",
        "computed", "surveyor",
    ),
    "roof-too-steep": Code(
        "The facet near {where} comes out at {value:.1f} in a foot, over {limit:g}: its readings do not fix its slope. "
        "Read 3 more drops there, well apart, and give its ridge or valley as a break line.", "computed", "surveyor",
    ),
    "breakline-found": Code(
        "No break line was given; the readings show a {kind} near {where}, placed to within {value:.1f} in (two "
        "standard errors). Confirm it on the roof.",
        "computed", "surveyor",
    ),
    "breakline-not-placed": Code(
        "The readings show a {kind} near {where}, but not where it runs: on one side of it {count} were read and reach "
        "{value:.0f} in across; {need} readings and {limit:.0f} in are needed. Read more there, or give it as a break "
        "line by 2 points read on it.", "computed", "surveyor",
    ),
    "folds-in-doubt": Code(
        "The readings lie in {count} planes, but near {where} they do not tell how the planes meet: ways that fit them "
        "all lie {value:.2f} in apart there. Read the roof there, or give the ridges and valleys as break lines.",
        "computed", "surveyor",
    ),
    "roof-extrapolated": Code(
        "The roof is carried on as far as {value:.0f} in beyond its readings, farthest at {where}; its height there "
        "has a standard error of {error} in.", "computed", "surveyor",
    ),
    "roof-under-pads": Code(
        "The roof's height under the pads is known to {value:.2f} in or better (two standard errors), worst at "
        "{where}; {far} pads stand more than {reach:.0f} in beyond any reading. Keep thin shims at hand.",
        "computed", "surveyor",
    ),
    "breakline-not-straight": Code(
        "The {kind} through {where} is {off} in off a straight line; it was taken as straight.", "computed", "surveyor",
    ),
    "breakline-short": Code(
        "The {kind} through {where} has no two points {limit:g} in apart: it gives no line and was left out.",
        "computed", "surveyor",
    ),
    "breakline-twice": Code(
        "The {kind} near {where} lies along one given before, within {limit:g} in: it was left out.",
        "computed", "surveyor",
    ),
    "breakline-kind": Code(
        "The {kind} near {where} bends as a {other} does, by {value:.2f} in over a foot each side.",
        "computed", "surveyor",
    ),
    "level-suspect": Code(
        "The reading at {where} stands {off} in {side} the roof that the others show and nothing near bears it out; "
        "it was left out. Read it again.", "normal test at 1 % over all readings", "surveyor",
    ),
    "roof-hump": Code("A high spot at {where}: {off} in above the fitted roof.", "computed", "roofer"),
    "roof-low": Code("A low spot at {where}: {off} in below the fitted roof.", "computed", "roofer"),
    # what to measure next
    "measure-next": Code("Measure next: {advice}", "computed", "surveyor"),
    # plane
    "threshold-not-measured": Code(
        "The door's threshold has {value} reading(s), {limit} needed: read the drop at {points}.",
        "computed", "surveyor",
    ),
    "follows-threshold": Code(
        "Following the threshold the deck rises {rise} in over its {span} in, give or take {error} in (two standard "
        "errors {limit:.2f} in): a short door says little about a long deck.", "computed", "contractor",
    ),
    "height": Code(
        "At {where}{place} there are {available} in from roof to finished deck; decking {decking}, wood {wood} and "
        "clearance {gap} need {needed} in.", "computed", "contractor",
    ),
    "height-short": Code(
        "Too little height at {where}{place}: {available} in from roof to finished deck with a step-down of {reveal} "
        "in; decking {decking}, wood {wood} and clearance {gap} need {needed} in, {short} in more.{advice}",
        "computed", "contractor",
    ),
    "deck-above-sill": Code(
        "At {door} the deck would stand {over} in above the sill at {where}: water runs in.",
        "common practice", "contractor",
    ),
    "door-step": Code(
        "At {door} the step down to the deck is {step} in at {where}; {rule}.", doors.STEP_SOURCE, "building official",
    ),
    "door-landing": Code(
        "In front of {door} the deck is whole for {deep} in over the door's {wide} in; a landing is at least as wide "
        "as the door and {limit:g} in deep in the direction of travel.",
        f"{doors.LANDING_SOURCE}, from memory", "building official",
    ),
    "landing-slope": Code(
        "The deck falls {value:.2f} in a foot ({percent} %) in front of {door}; a landing falls at most {limit:g} in a "
        "foot ({most} %).", f"{doors.LANDING_SOURCE}, from memory", "building official",
    ),
    "door-flush": Code(
        "At {door} the deck lies {reveal} in under the sill at {where}: wind-driven rain and snow reach it; keep a "
        "drain gap at the door and its flashing whole.", "common practice", "roofer",
    ),
    "accessible-threshold": Code(
        "An accessible route is wanted; at {door} the change of level is {step} in, the limit is {most} in.",
        f"{doors.ACCESSIBLE_SOURCE}, from memory", "building official",
    ),
    # layout
    "outline-empty": Code(
        "After edge gaps and obstacles less than {limit:.0f} sq ft of deck is left of {value:.1f} sq ft of roof; the "
        "gaps asked are too wide or the outline is not right.", "computed", "contractor",
    ),
    "outline-split": Code(
        "Edge gaps and obstacles cut the deck in parts; {value:.1f} sq ft beside the largest part is not framed.",
        "computed", "contractor",
    ),
    "joist-direction": Code(
        "Joists run at {value:.0f} degrees, boards at {boards}: {cuts} rips, {pads} pads and {feet} board "
        "feet of lumber, "
        "lying {water} % across the fall; {why}.", "computed", "contractor",
    ),
    "boards-along-joists": Code(
        "Boards at {boards:.0f} degrees and joists at {joists:.0f} degrees run within {value:.0f} degrees of each "
        "other; {limit:g} degrees or more are needed for boards to lie across joists.", "computed", "contractor",
    ),
    "no-joists": Code(
        "No joist of 18 in or more fits inside the rims; {value} joists, at least {limit} needed: the deck is too "
        "small for this spacing and these gaps.", "computed", "contractor",
    ),
    # lift-out panels
    "panels": Code(
        "{value} lift-out panel(s), about {size:g} in square, over {where}: lift them after storms and leaf fall and "
        "clean the outlets.", "common practice", "contractor",
    ),
    "panel-refused": Code(
        "No lift-out panel over {where} ({reason}); {size:g} in square is usual. Say how that outlet will be reached "
        "and cleaned.", "common practice", "contractor",
    ),
    "bowl-span": Code(
        "Over the drain {where} the boards span {value:g} in from joist to joist, where {limit:g} in is laid "
        "elsewhere: its bowl leaves no room for wood. Stiffen the panel over it from "
        "below.", "computed", "decking's maker",
    ),
    "panel-off-deck": Code(
        "{value} lift-out panel(s) asked over {where}, which the deck does not reach within {reach:g} in: left out.",
        "computed", "contractor",
    ),
    # members
    "stick-too-shallow": Code(
        "{count} member(s) need wood {need} in deep (at {where}); the deepest stick asked for gives {have} in. A "
        "deeper size, a most clear gap of {most} in with shims to match, or packers up to {packer} in under it would "
        "serve.", "computed", "contractor",
    ),
    "rim-splice": Code(
        "{count} splice(s) of rims stand off every joist end, up to {value:.1f} in (in {where}): no stick reaches from "
        "one joist end to the next there. Back each with a block at least {least:g} in long.",
        "common practice", "contractor",
    ),
    "lapped": Code(
        "{count} splice(s) are laps: two lengths pass each other side by side over a pad, each running on {past} in "
        "past the splice, fixed through with {screws} structural screws in pairs. Each length lies {half} in beside "
        "its member's line, in turn to the left and right of it; pads stand under the line, so both lengths, {both} in "
        "together, lie on theirs. What hangs between members is cut to the lengths found there. For bending and sag a "
        "lap is a hinge; for what pads bear the member counts as running through as well, the worse is taken.",
        "common practice", "contractor",
    ),
    "lap-not-laid": Code(
        "{count} member(s) that laps were asked for, {where} first, butt over a pad instead: {why}.",
        "computed", "contractor",
    ),
    "lap-spacing": Code(
        "Lapped lengths lie to either side of their lines, which are laid {lines} in apart or closer: they stand up to "
        "{apart} in apart, at {where}; {most} in is as far as boards span or, where that is unknown, as was asked.",
        "computed", "contractor",
    ),
    "lap-gap": Code(
        "Under lapped lengths, beside their members' lines, {value:.3f} in is left clear over the roof at least, at "
        "{where}; {limit:.3f} in was asked.", "computed", "contractor",
    ),
    "packed-up": Code(
        "{told}", "common practice", "contractor",
    ),
    "drying": Code(
        "As the joists dry from {wet:g} to {dry:g} % moisture the deck sinks {most} in where the wood is deepest "
        "({deep} in) and {least} in where it is thinnest ({thin} in): {value:.3f} in out of its plane, at {where} most "
        "({limit:.4g} in is as much as depths are marked to). At the door it sinks {door} in, so the "
        "step-down grows by "
        "that.{judged}", "FPL-RP-489; moisture in service from memory", "contractor",
    ),
    "no-profile": Code(
        "{count} member(s), the worst {where}, find no profile between least depth and least clearance: {value:.2f} in "
        "of play, {limit:.2f} in needed, {short} in short.", "computed", "contractor",
    ),
    "stick-too-short": Code(
        "{where} needs {need} in in one stick; the longest that is asked for and reaches the roof gives {have} in.",
        "computed", "contractor",
    ),
    # supports and structure
    "shim-too-coarse": Code(
        "The stack at {where} misses the roof by {value:.3f} in (up to {limit:.3f} in is usual); the thinnest shim at "
        "hand is {step} in.", "computed", "contractor",
    ),
    "clear-gap": Code(
        "The least clearance under wood at a pad is {gap} in, at {where}; {limit} in is usual, so that water and dirt "
        "reach the outlets.", "common practice", "contractor",
    ),
    "clear-gap-at-hump": Code(
        "Over the high spot at {where} the clearance is {gap} in; the least asked is {limit:.3f} in.",
        "computed", "contractor",
    ),
    "bearing": Code(
        "A pad presses the roof with {value:.1f} psi at {where}. {words}: the roofer and the insulation's maker "
        "decide.",
        "common practice", "roofer",
    ),
    "pad-near-outlet": Code(
        "{count} pad(s) stand with their centre within {limit:g} in of an outlet and {edges} with an edge, the nearest "
        "{away} in from its centre and {edge} in from its edge (under {where}).", "common practice", "contractor",
    ),
    "pad-by-wall-water": Code(
        "{count} pad(s) stand nearer than {limit:g} in to a wall that the roof falls to or along, the nearest "
        "{value:.2f} in (under {where}): they hold up the water that runs there.", "common practice", "contractor",
    ),
    "overhang": Code(
        "{where} runs {value:.1f} in past its last pad; a quarter of the {back} in beside it, {limit:.1f} in, is "
        "usual.", "common practice", "contractor",
    ),
    "pad-in-valley": Code(
        "{count} pad(s) stand within {limit:g} in of a valley line or on it, the first under {where}: water gathers "
        "there; move them or lift the span over it.", "common practice", "contractor",
    ),
    "pad-at-wall": Code(
        "{count} pad(s) do not clear the roof's edge by 1/4 in, the first under {where}: use a narrower pad there.",
        "computed", "contractor",
    ),
    "pad-spacing": Code(
        "Pads stand up to {value:.1f} in apart (under {where}); {limit:.1f} in was asked, but no other pad at hand has "
        "room there, off outlets and with {least} in between pads for water. The wood is worked out as the pads stand.",
        "computed", "contractor",
    ),
    "pads-meet": Code(
        "{count} pair(s) of pads lie over each other, the first under {where}: let one larger pad carry both.",
        "computed", "contractor",
    ),
    "strength-bending": Code(
        "Bending, {species} {grade}: {percent:.0f} % of what the wood may carry, most at {where} (limit 100 %); where "
        "it is over, closer pads are needed than there is room for, or 1 size deeper.", "NDS 2018", "engineer",
    ),
    "strength-shear": Code(
        "Shear, {species} {grade}: {percent:.0f} % of what the wood may carry, most at {where} (limit 100 %, pads as "
        "close as 2 in apart were tried).", "NDS 2018", "engineer",
    ),
    "strength-taper": Code(
        "Stress along the sawn taper, {species} {grade}: {percent:.0f} % used, most at {where} (limit 100 %, pads as "
        "close as 2 in apart were tried).", "Wood Handbook (GTR-190) Eq. 9-15", "engineer",
    ),
    "strength-deflection-live": Code(
        "Sag under live load: {percent:.0f} % of span/360 at {where} (limit 100 %, pads as close as 2 in apart were "
        "tried).", "IRC 2018 Table R301.7, from memory", "engineer",
    ),
    "strength-deflection-total": Code(
        "Sag under all load with creep: {percent:.0f} % of span/240 at {where} (limit 100 %, pads as close as 2 in "
        "apart were tried).", "IBC Table 1604.3, from memory", "engineer",
    ),
    "strength-bearing": Code(
        "Wood on its pad: {percent:.0f} % of what it bears across the grain, most at {where} (limit 100 %, pads as "
        "close as 2 in apart were tried).", "NDS 2018 3.10", "engineer",
    ),
    "strength-notch": Code(
        "An end cut thinner over its pad: {percent:.0f} % of the shear or of the quarter depth that it may take, most "
        "at {where} (limit 100 %).", "NDS 2018 3.4.3.2 and 4.4.3", "engineer",
    ),
    "tip-load": Code(
        "{pounds} lb alone on the free tip of {where}, {overhang} in past the middle of its pad, use {percent:.0f} % "
        "of its wood or of the sag of L/180 (limit 100 %).{lifts}", "AWC DCA 6", "engineer",
    ),
    "live-load-basis": Code("The live load is {value:g} psf: {words}.", "ASCE 7 Table 4.3-1", "building official"),
    "heavy-load": Code(
        "{count} heavy thing(s) stay on the deck with {value:.0f} lb, the heaviest {most} lb on {area} sq ft ({where}, "
        "{psf} psf); with them the worst pad carries {pounds} lb ({worst}).{off} Whether the roof bears it is an "
        "engineer's to say.", "computed", "engineer",
    ),
    "snow-drift": Code(
        "Snow drifted against {where} adds {value:.0f} lb within {reach} in of it, on top of live load or snow; with "
        "it the worst pad carries {pounds} lb ({worst}). The drift and the roof under it are an engineer's to say.",
        "ASCE 7-16 7.7.1", "engineer",
    ),
    "strength-header": Code(
        "{count} header(s) hang between joists and bring up to {pounds} lb to an end; {where} is used to {percent:.0f} "
        "% of its wood at the stamped grade, {weak:.0f} % at No. 3 (limit 100 %). Hang both ends by fixings rated for "
        "that load: their maker's table decides.", "NDS 2018", "engineer",
    ),
    "strength-border": Code(
        "{count} piece(s) under the border hang between joists, {span:.0f} in long at most; with {point:.0f} lb alone "
        "at mid-span or the even load {where} is used to {percent:.0f} % of its wood at the stamped grade, the worst "
        "at No. 3 to {weak:.0f} % (limit 100 %).{remedy}", "NDS 2018; ASCE 7 Table 4.3-1", "engineer",
    ),
    "regrade-required": Code(
        "{count} member(s) are ripped, which loses their grade stamp {grade}. At No. 3 they would be used to "
        "{percent:.0f} % (worst {where}); over 100 % a grader or an engineer must pass them.",
        "NDS 2018 4.1.7", "grader or engineer",
    ),
    "joist-lifts": Code(
        "With some spans loaded and others not, {where} lifts off a pad with {pounds} lb: decking and rim hold it "
        "down.{tips}", "computed", "contractor",
    ),
    "load-path": Code(
        "The pads carry {value:.0f} lb together; the deck weighs and bears {limit:.0f} lb.", "computed", "engineer",
    ),
    "decking-weight": Code(
        "The decking's species is not listed; {value:.1f} psf was taken.", "computed", "contractor",
    ),
    "weight": Code(
        "Decking and framing weigh {value:.0f} lb, {psf} psf of deck. By area the roof takes {dead} psf that stays, "
        "and {live} psf of people or {snow} psf of snow{besides}; the worst pad carries {worst} lb. Whether "
        "the roof bears "
        "deck, people and snow is an engineer's to say.", "computed", "engineer",
    ),
    # boards
    "decking-span": Code(
        "Joists {value:g} in apart are asked under this decking; the table lets it span {limit:g} in. They are laid at "
        "{laid} in or closer.",
        "IRC 2018 Table R507.7", "building official",
    ),
    "decking-span-unknown": Code(
        "Joists {value:g} in apart under this decking: {why}.", "computed", "decking's maker",
    ),
    "feather-edge": Code(
        "{count} board(s) get narrower than {least} in; {places}.{why}", "common practice", "contractor",
    ),
    "cover": Code(
        "Boards cover {value:.3f} of the deck; the deck less the gaps between them gives {limit:.3f}, width over width "
        "and gap {plain:.3f}.", "computed", "contractor",
    ),
    "wall-rips": Code(
        "{count} board(s) are ripped to a taper, by up to {value:.2f} in from end to end, so that the gap along sides "
        "out of square stays even. Scribe them to the wall as it is.", "common practice", "contractor",
    ),
    "board-joints": Code(
        "{joints} butt joint(s) lie over joists; those of neighbouring rows are {value:.0f} joist(s) apart at least, "
        "where {limit:g} are wanted.", "common practice", "contractor",
    ),
    "border-courses": Code(
        "{value} border course(s) of {limit} asked lie mitred round the deck, with blocks and pieces of role border "
        "under them.", "computed", "contractor",
    ),
    "border-bare": Code(
        "The seam between border and field has no wood under it at {count} place(s), {value:.1f} in at most: {where}. "
        "Add pieces there.", "computed", "contractor",
    ),
    "colour-lot": Code(
        "Order all {value:.0f} board(s) of {item} from one colour lot, the {spare} spare among them, and mix packs "
        "while laying: a later lot will not match.", "common practice", "contractor",
    ),
    "best-face": Code(
        "Lay every board with its better face up, ripped edges to the wall, eased and sealed; boards with a fault in "
        "the face go into short pieces.", "common practice", "contractor",
    ),
    "board-movement": Code(
        "Laid at {laid:g} % moisture, a flat-sawn {wide} in board of {species} swells {value:.3f} in by {wettest:g} % "
        "and shrinks {shrinks:.3f} in by {driest:g} %: its {gap} in gap goes from {closed} to {open} in.{wet} Measure "
        "the boards' moisture before they are laid.", "Wood Handbook Ch. 13 Eqs. 13-2 and 13-3", "contractor",
    ),
    "board-movement-unknown": Code(
        "How much decking of {species} moves with moisture is not published here: its mill or maker gives the gap; "
        "{limit:g} in is laid.", "computed", "decking's maker",
    ),
    # adjustment: tapes, levels, datum
    "misclosure": Code(
        "{tape} reads {value:.2f} in {side} than the other tapes of the figure {where} give; "
        "the survey's tolerance is {limit:.2f} in.{advice}",
    ),
    "no-redundancy": Code("Nothing checks the places of {where}: no reading is left over. {advice}"),
    "undetected-slip": Code("Tapes that others hardly check: a slip could pass unseen of {slips}."),
    "corner-not-fixed": Code(
        "The readings do not fix {where}; at least {missing} more needed: {advice}.",
    ),
    "point-in-line": Code(
        "The tapes of {where}, to {others}, hold it along one line and not sideways: {advice}.",
    ),
    "point-weak": Code(
        "{where}: weakly fixed, {worst} has a standard error of {value:.1f} in; tape across the roof to hold it.",
    ),
    "shape-not-settled": Code(
        "The tapes fit two shapes: {where} would be {value:.1f} in or {limit:.1f} in. The first was taken, since it "
        "{reason}; tape {where} to settle it.",
    ),
    "datum-not-described": Code(
        "The datum mark is not described; the crew must find it again to set the deck.", "common practice",
    ),
    "datum-not-checked": Code("The datum was not read again, so drift of the level is not known.", "common practice"),
    "datum-drift": Code(
        "Read again, the datum came out {value:.2f} in {way} (usual limit {limit:.3f} in); the readings were corrected "
        "by their order.{advice}", "common practice",
    ),
    # drainage: the roof's own, then against the frame
    "rain-not-given": Code("Design rain is not given {what}.", "building official or NOAA data", "contractor"),
    "rain-basis": Code(
        "Rain taken: {value:g} in/h for the primary outlets, {second:g} in/h for the overflows ({basis}).",
        "deck build", "contractor",
    ),
    "no-outlet": Code(
        "No primary outlet and no open edge was given: water has no way off this roof.", "roof survey", "roofer",
    ),
    "roof-slope-low": Code(
        "The roof falls {value:.3f} in/ft where it falls least; new roofs are laid to {limit:g} in/ft or more. "
        "{area:.0f} sq ft, {percent:.0f} % of it, falls less. The deck does not correct that.",
        "IBC 2018 1507.10-.15 (Minn. Rules 1305.1507)", "roofer",
    ),
    "ponding-along-edge": Code(
        "Water gathers along the wall {where}, which falls {value:.2f} in/ft towards its low end; under {limit:g} "
        "in/ft it is slow to leave and may stand.", "IBC 2018 1507.10-.15 (Minn. Rules 1305.1507)", "roofer",
    ),
    "ponding-along-valley": Code(
        "Water gathers along the {where}, which falls {value:.2f} in/ft; under {limit:g} in/ft it is slow to leave and "
        "may stand.", "IBC 2018 1507.10-.15 (Minn. Rules 1305.1507)", "roofer",
    ),
    "pond": Code(
        "Water stands at {where}: {area:.1f} sq ft, {value:.2f} in deep, {gallons:.1f} gal, {load:.1f} psf at the "
        "deepest. See whether it is gone 48 hours after rain; the deck does not correct it.",
        "NRCA Roofing Manual 2011 (48 hours)", "roofer",
    ),
    "ponding-stability": Code(
        "Where a roof falls less than {limit:g} in/ft (here {value:.3f} at the least) or holds water, its structure "
        "sags and gathers more; whether it is stiff enough is an engineer's to say.",
        "ASCE 7-10 8.4, in articles on it", "engineer",
    ),
    "outlet-off-roof": Code(
        "The invert of {where} reads {value:.2f} in {side} the roof fitted beside it, where {limit:g} in is as much as "
        "is usual: read both again.", "common practice", "surveyor",
    ),
    "leader-capacity": Code(
        "{where} takes {value:.1f} gpm; a vertical leader of its {diameter:g} in carries {limit:.0f} gpm.",
        "2006 National Standard Plumbing Code Table 13.6.1", "plumbing official",
    ),
    "outlet-capacity": Code(
        "{where} takes {value:.1f} gpm off {area:.0f} sq ft in the design rain and carries {limit:.1f} gpm with water "
        "{most:.2f} in over its invert; that flow needs {head:.2f} in.",
        "ASCE 7-05 Eq. C8-1; weir and orifice formulas", "plumbing official",
    ),
    "single-outlet": Code(
        "One blockage of {where} floods the {area:.0f} sq ft that drain to it: water stands {what}.",
        "IRC 2021 R903.4.1 (Wash. Admin. Code 51-51-0903)", "roofer",
    ),
    "no-overflow": Code(
        "No overflow and no open edge was given: with the outlets blocked, water rises to the lowest wall or sill.",
        "IRC 2021 R903.4.1 (Wash. Admin. Code 51-51-0903)", "building official",
    ),
    "overflow-height": Code(
        "{where} stands {value:.2f} in above the lowest roof that it serves; the usual height is {limit:g} in.",
        "IRC 2021 R903.4.1 (Wash. Admin. Code 51-51-0903)", "building official",
    ),
    "overflow-opening": Code(
        "The opening of {where} is {value:g} in high; {limit:g} in is the usual least.",
        "IRC 2021 R903.4.1 (Wash. Admin. Code 51-51-0903)", "building official",
    ),
    "overflow-size": Code(
        "Overflows have {value:.1f} {unit} by {rule}, the primary outlets {first:.1f}; the rule used asks {times:g} "
        "times as much, {limit:.1f}. Officials differ on whether it means area or width.",
        "IRC 2021 R903.4.1 (Wash. Admin. Code 51-51-0903)", "building official",
    ),
    "blocked-primary-load": Code(
        "With the primary outlets blocked, water stands {static:.2f} in deep up to {where} and {head:.2f} in over it "
        "at {flow:.1f} gpm: {value:.1f} psf on the roof. Whether it bears that is an engineer's to say.",
        "ASCE 7-16 Eq. 8.3-1", "engineer",
    ),
    "membrane-upturn": Code(
        "The sill of the {where} is {value:.2f} in above the roof; the membrane is usually turned up {limit:g} in at a "
        "door, {reduced:g} in with a metal water stop.",
        "RCABC Roofing Practices Manual 2016, low door opening", "roofer",
    ),
    "wall-rain": Code(
        "Rain that runs off the {where} is not in these flows; half of the wall's area would be added to the roof's.",
        "IPC 2015 1106.4", "plumbing official",
    ),
    "water-under-joists": Code(
        "In the design rain {flow:.1f} gpm needs {head:.2f} in of head at {where}: water {value:.2f} in deep beside "
        "it, against a clear gap of {limit:.2f} in; {count} support(s) with joists in water, {reach}.",
        "ASCE 7-05 Eq. C8-1; weir and orifice formulas", "contractor",
    ),
    "blocked-primary-joists": Code(
        "With the primary outlets blocked, water is {value:.2f} in deep at {where}, against a clear gap of {limit:.2f} "
        "in; joists stand in water at {count} of {all} supports.", "weir and orifice formulas", "contractor",
    ),
    "blocked-primary-deck": Code(
        "With the primary outlets blocked, water stands {above:.2f} in {side} the finished surface at {where}.",
        "weir and orifice formulas", "contractor",
    ),
    "blocked-primary-depth": Code(
        "With the primary outlets blocked, water stands {value:.2f} in deep at {where} before it leaves {first}{way}: "
        "{load:.1f} psf there. Whether the roof bears that is an engineer's to say.",
        "ASCE 7-16 Eq. 8.3-1", "engineer",
    ),
    "blocked-primary-sill": Code(
        "With the primary outlets blocked, water stands {away:.2f} in {side} the {where}; less than {limit:g} in below "
        "it is a risk to the room behind.", "weir and orifice formulas", "roofer",
    ),
}


def check(
    code: str,
    status: Status,
    *,
    value: float | None = None,
    limit: float | None = None,
    unit: str = "in",
    where: str = "",
    acknowledge: bool = False,
    clears: Sequence[Change] = (),
    source: str | None = None,
    decided_by: str | None = None,
    **words: Any,
) -> Check:
    """A finding of `code`; its text is the code's sentence with the numbers filled in.

    Raises KeyError for a code that does not stand in `CODES`.
    """
    known = CODES[code]
    text = _counted(known.sentence.format(value=value, limit=limit, unit=unit, where=where, **words))
    return Check(
        code, status, value, limit, unit, where, text,
        source or known.source, decided_by or known.decided_by, acknowledge, tuple(clears),
    )


def _counted(text: str) -> str:
    """The sentence with `3 pad(s)` as 3 pads, and `1 pad(s)` as 1 pad."""
    def told(found: re.Match[str]) -> str:
        number, thing = found.groups()
        return f"{number} {thing}" + ("" if float(number) == 1 else "s")

    return MAYBE_SEVERAL.sub(told, text)
