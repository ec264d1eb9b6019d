"""Random decks with all that notes turn on drawn beside them: site, roof, edges, rain, materials, the contract.

`situation(seed)` is the same for ever. Limits themselves are drawn as often as what lies on either side of them.
"""

from __future__ import annotations

import copy
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

import numpy as np

from quotes.notes import Contract
from tests.framing.deck_builds import asked
from tests.framing.decks import deck
from tests.framing.terraces import written
from tests.quotes.notes_reading import inches

MEMBRANES = ("TPO 60 mil", "PVC", "KEE", "EPDM, black", "modified bitumen, granulated", "SBS cap sheet",
             "liquid applied")
MATERIALS = ("recycled rubber", "bitumen felt", "polypropylene", "EPDM offcuts", "oiled hardboard", "asphalt board")
EXPOSURES = ("B", "C", "D", "exposure c", "coastal", "sheltered court")
SOURCES = ("NOAA Atlas 14, 100 years", "city table", "IPC Appendix B", "rain gauge at the school", "assumed",
           "typical; see NOAA Atlas 14")
TYPES = ("V-B", "III-A", "I-A", "Type IIB", "type 2", "IV")
PLACES = ("Boston, MA", "Oakland CA 94607", "Brooklyn, New York", "Towson, Maryland", "Trenton, NJ", "Erie, PA",
          "Sampleton ST", "Manhattan, New York City", "")


@dataclass(frozen=True)
class Situation:
    """The documents of one deck and what the office knows of its contract."""

    survey: dict[str, Any]
    build: dict[str, Any]
    contract: Contract | None


def situation(seed: int) -> Situation:
    drawn, rng = deck(seed), np.random.default_rng([29, seed])
    survey, build = copy.deepcopy(drawn.survey), copy.deepcopy(drawn.build)
    unit = survey["unit"]

    def one(values: Any) -> Any:
        return values[int(rng.integers(len(values)))]

    def often(share: float) -> bool:
        return bool(rng.random() < share)

    def crew(inches: float) -> Any:
        return written(inches, unit)

    calm = often(0.35)  # low over the street, walled, nothing deep beyond: most notes on edges and wind stay off
    site: dict[str, Any] = {}
    if often(0.7):
        site["height_above_grade"] = crew(one((120, 359, 360)) if calm else one((120, 359, 360, 361, 600)))
    if often(0.7):
        site["exposure"] = "B" if calm else one(EXPOSURES)
    if often(0.5):
        site["construction_type"] = one(TYPES)
    if often(0.5):
        site["lot_line_distance"] = crew(one((24, 71, 72, 73, 200)))
    if often(0.7):
        site["jurisdiction"] = one(PLACES[:-1])
    if often(0.5):
        site["accessible_route"] = often(0.7)
    if site or often(0.5):
        survey["site"] = site
    roof = survey.setdefault("roof", {}) if often(0.95) else {}
    for name, value in (("membrane", one(MEMBRANES)), ("age", one((0, 3, 9, 10, 11, 30)))):
        roof.pop(name, None)
        if often(0.85):
            roof[name] = value
    for edge in survey["edges"]:
        if edge["against"] == "house":
            continue
        edge.pop("drop_beyond", None)
        if calm:
            edge["against"] = "parapet"
        if often(0.95 if calm else 0.7):
            edge["drop_beyond"] = crew(one((4, 8, 12, 18) if calm else (10, 22, 26, 29, 30, 31, 71, 72, 73, 200)))
        if edge["against"] == "parapet":
            edge["height"] = crew(one((48, 54, 60) if calm else (8, 14, 36, 42, 45, 48, 54)))
    if often(0.06):
        survey["outlets"] = []
        build.pop("access_panels", None)
    for outlet in survey["outlets"]:
        if outlet["kind"] == "scupper" and outlet["purpose"] == "overflow" and often(0.6):
            outlet["height"] = crew(one((3, 3.9375, 4, 6)))
        elif outlet["kind"] == "scupper" and often(0.4):
            outlet["width"] = crew(one((1.5, 2, 3)))
    if often(0.3):
        _thin_out(survey, rng)
    if often(0.6):
        survey["closure_tolerance"] = crew(one((1 / 16, 1 / 8, 3 / 8, 3 / 4)))
    if often(0.2):
        _slip(survey, rng, unit)
    if often(0.1):
        build.pop("rain")
    elif often(0.85):
        build["rain"]["source"] = one(SOURCES)
    else:
        build["rain"].pop("source")
    if "rain" in build:
        build["rain"]["primary"] = one((1.5, 3.6, 8))
    if often(0.12):
        low = {"least": 1 / 16, "target": 1 / 16, "most": 1.5}
        survey["level_sigma"] = crew(1 / 8)
        build["supports"] |= {"pad_thickness": asked(1 / 16, build["unit"]),
                              "clear_gap": {name: asked(gap, build["unit"]) for name, gap in low.items()}}
        build["supports"].pop("base_thickness", None)
    for name in ("pad_material", "base_material"):
        if often(0.5):
            build["supports"][name] = one(MATERIALS)
    if often(0.2):
        build["loads"]["dead_extra"] = one((10, 15, 18, 20))
    return Situation(survey, build, _contract(rng) if often(0.8) else None)


def _thin_out(survey: dict[str, Any], rng: np.random.Generator) -> None:
    """Some readings on the roof were never taken; a datum read again goes by number and falls away with them."""
    survey.pop("datum_checks", None)
    survey["levels"] = [level for level in survey["levels"]
                        if not (level["on"] == "roof" and level["point"].startswith("s")) or rng.random() < 0.55]


def _slip(survey: dict[str, Any], rng: np.random.Generator, unit: str) -> None:
    """One tape misread by up to an inch."""
    at = int(rng.integers(len(survey["tapes"])))
    a, b, _ = survey["tapes"][at]
    survey["tapes"][at] = [a, b, written(inches(survey["tapes"][at][2], unit) + float(rng.uniform(0.2, 1)), unit)]


def _contract(rng: np.random.Generator) -> Contract:
    def one(values: Any) -> Any:
        return values[int(rng.integers(len(values)))]

    return Contract(
        jurisdiction=one(PLACES),
        price=one((None, Decimal("24.99"), Decimal(25), Decimal("129.99"), Decimal(130), Decimal(500),
                   Decimal("500.01"), Decimal(1000), Decimal("1000.01"), Decimal("22219.78"))),
        license_number=one(("", " ", "DEMO-0000")), roof_owner=one(("unknown", "customer", "board", "landlord")),
        consent_needed=one((None, True, False)), consent_given_on=one(("", "", "2026-03-01")),
        agreed_where=one(("unknown", "buyer-home", "seller-place", "elsewhere", "remote")),
        financed=one((None, True, False)),
        year_built=one((None, 1899, 1977, 1978, 2004)), electronic=one((True, False)),
        overburden_approved=one((True, False)),
    )
