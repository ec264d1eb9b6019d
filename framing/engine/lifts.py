"""Lifts: what goes up to the roof in which bundles, in the order of need, and what is delivered to the curb.

Stage: takeoff -> lifts. A bundle is no heavier than what the lift takes at once; that no stick is longer than reaches
the roof is the cutting plan's to see to.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from framing.engine.documents import Survey
from framing.engine.takeoff import Quantity, whole
from framing.reference import production

DUST = 1e-9  # [lb]
GOODS, FRAME, DECKING = "protection and small goods", "frame", "decking"
ORDERS = (GOODS, FRAME, DECKING)  # as they are needed on the roof


@dataclass(frozen=True)
class Bundle:
    """One lift: pieces by item, its weight [lb], and its longest piece [in], 0 for what is no stick."""

    order: str
    items: dict[str, int]
    weight: float
    length: float

    def as_json(self) -> dict[str, Any]:
        return {"order": self.order, "items": self.items, "weight": self.weight, "length": self.length}


@dataclass(frozen=True)
class Lifts:
    """Bundles in the order of need, each up to `most` [lb] but where one piece is heavier; weight of all [lb]."""

    by: str
    most: float
    longest: float | None
    floor: int
    bundles: tuple[Bundle, ...]
    basis: str

    @property
    def weight(self) -> float:
        return sum(b.weight for b in self.bundles)

    @property
    def floors_up(self) -> int:
        """Flights that a load goes up: at least one."""
        return max(self.floor - 1, 1)

    def deliveries(self) -> list[dict[str, Any]]:
        """Each order's weight [lb], longest piece [in] and loads of a truck."""
        found = []
        for order in ORDERS:
            own = [b for b in self.bundles if b.order == order]
            if own:
                weight = sum(b.weight for b in own)
                found.append({"order": order, "weight": weight, "longest": max(b.length for b in own),
                              "loads": whole(weight / production.TRUCKLOAD)})
        return found

    def as_json(self) -> dict[str, Any]:
        return {"by": self.by, "most": self.most, "longest": self.longest, "floor": self.floor, "weight": self.weight,
                "count": len(self.bundles), "bundles": [b.as_json() for b in self.bundles],
                "deliveries": self.deliveries(), "basis": self.basis}


def plan_lifts(survey: Survey, quantities: Sequence[Quantity]) -> Lifts:
    """All that is ordered, bundled for the survey's way up; where that is not given, for two people to carry."""
    access = survey.access
    by = access.lift if access and access.lift else "stair"
    usual = production.LIFTS[by]
    given = access.lift_capacity if access else None
    most = given or usual.most
    told = f"{usual.what}, {most:g} lb at once: " + ("the survey's" if given else usual.source)
    if not (access and access.lift):
        told = f"way up not given; as if {told}"
    bundles: list[Bundle] = []
    for order in ORDERS:
        own = [q for q in quantities if _order_of(q) == order]
        # heavy pieces first, so that light ones fill what they leave
        bundles += _bundled(order, sorted(own, key=lambda q: (-_piece(q)[1], q.item)), most)
    over = sum(b.weight > most + DUST for b in bundles)
    told += f"; {over} bundles are over it, single pieces" if over else ""
    return Lifts(by, most, access.longest_stick if access else None, access.floor or 1 if access else 1,
                 tuple(bundles), f"all that is ordered, as it is bought; {told}")


def _order_of(q: Quantity) -> str:
    if not _is_stick(q):
        return GOODS
    return FRAME if q.item.startswith("lumber/") else DECKING


def _is_stick(q: Quantity) -> bool:
    return q.unit == "LF" and q.order_unit == "EA"


def _piece(q: Quantity) -> tuple[int, float, float]:
    """How many pieces an order is, the weight [lb] and length [in] of one."""
    return q.order, q.weight / q.order, q.pack * 12 if _is_stick(q) else 0.0


def _bundled(order: str, quantities: Sequence[Quantity], most: float) -> list[Bundle]:
    """Each item's pieces into the first bundles that have room; a piece over `most` [lb] goes alone."""
    bundles: list[Bundle] = []
    for q in quantities:
        left, weight, long = _piece(q)
        at = 0
        while left:
            b = bundles[at] if at < len(bundles) else Bundle(order, {}, 0.0, 0.0)
            room = int((most - b.weight + DUST) // weight) if weight > 0 else left
            n = min(left, max(room, 0 if b.items else 1))
            if n:
                bundles[at:at + 1] = [Bundle(order, {**b.items, q.item: n}, b.weight + n * weight, max(b.length, long))]
            left -= n
            at += 1
    return bundles
