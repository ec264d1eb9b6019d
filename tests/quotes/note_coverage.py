"""What a proposal has to tell, item by item, and which check of the framing or rule of the notes tells it.

The items are those of the reference table of drainage notes (34, of which each names a trigger with its number) and of
consumer law for contracts on a home. A name is a check's code (`framing.engine.checks.CODES`) or a rule's key
(`quotes.notes.RULES`).
"""

from __future__ import annotations

DRAINAGE_NOTES: dict[int, tuple[str, tuple[str, ...]]] = {
    1: ("accuracy of the survey, its day, datum, closure", ("survey-accuracy", "datum")),
    2: ("survey does not close", ("misclosure", "level-suspect", "datum-drift")),
    3: ("few readings near pads or low points", ("few-shots", "roof-under-pads", "roof-extrapolated")),
    4: ("roof under 1/4 in a foot", ("roof-slope-low", "ponding-along-edge", "ponding-along-valley")),
    5: ("pond: depth, area, gallons, load", ("pond",)),
    6: ("stability of a roof that ponds", ("ponding-stability",)),
    7: ("clear way for water", ("clear-path", "clear-gap")),
    8: ("joist touches the roof", ("may-touch-roof", "clear-gap-at-hump")),
    9: ("head at an outlet over the clearance", ("water-under-joists",)),
    10: ("outlet takes less than the design flow", ("outlet-capacity", "leader-capacity")),
    11: ("one way out for the water", ("single-outlet", "one-outlet")),
    12: ("no overflow behind parapets", ("no-overflow",)),
    13: ("height of the overflow", ("overflow-height",)),
    14: ("size of the overflow", ("overflow-opening", "overflow-size")),
    15: ("depth and load with outlets blocked",
         ("blocked-primary-load", "blocked-primary-depth", "blocked-drain-load")),
    16: ("blocked water at joists or deck", ("blocked-primary-joists", "blocked-primary-deck")),
    17: ("blocked water at a sill or flashing", ("blocked-primary-sill", "blocked-primary-depth")),
    18: ("upturn of the membrane at doors", ("membrane-upturn",)),
    19: ("step at a door", ("door-step", "deck-above-sill", "door-landing")),
    20: ("accessible route", ("accessible-threshold",)),
    21: ("deck flush with a sill", ("door-flush",)),
    22: ("outlets can be reached", ("panels", "panel-refused", "outlet-reach")),
    23: ("room for a strainer", ("strainer",)),
    24: ("wood or pads in the water's way",
         ("across-the-water", "pad-in-valley", "pad-near-outlet", "pad-by-wall-water", "joist-direction")),
    25: ("guards", ("guards",)),
    26: ("parapet too low over the raised floor", ("parapet-low",)),
    27: ("load on the roof and under pads", ("weight", "roof-load", "bearing", "heavy-load", "snow-drift")),
    28: ("wind on a loose deck", ("wind",)),
    29: ("fire class, lot line", ("fire",)),
    30: ("pads against the membrane", ("membrane",)),
    31: ("the roof's own condition and warranty", ("roof-condition", "warranty")),
    32: ("drains downstream, upkeep", ("drains-downstream", "upkeep")),
    33: ("rain that was taken", ("rain-basis", "rain-assumed", "rain-not-given", "rain-unknown", "rain-source")),
    34: ("edition and authority not known", ("permits",)),
}

# Further facts worth printing: treated wood that is sawn, people at work near edges, the grade that a rip loses, ways
# out, what is never promised.
OTHER_FACTS: dict[str, tuple[str, ...]] = {
    "sawn treated wood is treated again": ("sawn-faces",),
    "a rip loses its grade stamp": ("regrade-required",),
    "protection from falling": ("fall-protection",),
    "ways out": ("ways-out",),
    "structure, engineering": ("structure", "as-found"),
}

# Deposits against a state's limit: `quotes.cautions.deposit_caution`, for the office alone. The wording and the dates
# of notices (cancellation, liens, dated state forms) are the office's notices, not notes.
CONTRACT_NOTES: dict[str, tuple[str, ...]] = {
    "right to cancel, where agreed, from which sum (16 CFR 429)": ("cooling-off",),
    "financed against the home (12 CFR 1026.23)": ("rescission",),
    "electronic records (15 U.S.C. 7001)": ("electronic-records",),
    "homes from before 1978 (40 CFR 745)": ("lead-paint",),
    "consent of board or landlord": ("roof-owner",),
    "consent of whoever holds the roof's warranty": ("warranty", "membrane"),
    "license number missing": ("license-missing",),
    "what California, Massachusetts, New York, Maryland, Pennsylvania, New Jersey name": ("home-contract",),
    "liens": ("liens",),
}
