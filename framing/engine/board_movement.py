"""What moisture does to the gap between boards, by species.

A part of the boards stage.
"""

from __future__ import annotations

from framing.engine import length
from framing.engine.checks import Check, check
from framing.engine.documents import Decking
from framing.reference.decking import (
    DECKING_DRIEST,
    DECKING_LAID,
    DECKING_WETTEST,
    STOCK_MOISTURE,
    decking_key,
    movement,
)

SOLD_WET = ("southern pine",)  # decking that is also sold wet from treatment


def movement_check(decking: Decking) -> Check:
    """How far the gap closes and opens as a full board swells and shrinks: each board moves by half on either side.

    A caution where a swollen board takes up its gap whole, and for a species whose movement is not known.
    """
    species, width, gap = decking.species or "", decking.width, decking.gap
    swells = movement(species, width, DECKING_LAID, DECKING_WETTEST)
    shrinks = movement(species, width, DECKING_LAID, DECKING_DRIEST)
    if swells is None or shrinks is None:
        return check("board-movement-unknown", "caution", limit=gap, where="decking",
                     species=species or "no species given")
    wet = ""
    if decking_key(species) in SOLD_WET:
        dries = movement(species, width, STOCK_MOISTURE["wet"], DECKING_LAID)
        assert dries is not None  # the species has figures
        wet = f" Bought wet ({STOCK_MOISTURE['wet']:g} %), it shrinks {-dries:.3f} in as it dries: lay it close."
    return check("board-movement", "caution" if swells >= gap else "note", value=swells, limit=gap, where="decking",
                 laid=DECKING_LAID, wettest=DECKING_WETTEST, driest=DECKING_DRIEST, wide=length.write(width),
                 species=species, shrinks=-shrinks, gap=length.write(gap), closed=f"{max(gap - swells, 0):.3f}",
                 open=f"{gap - shrinks:.3f}", wet=wet)
