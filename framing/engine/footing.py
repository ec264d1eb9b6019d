"""How far a joist's end may run past its last pad, judged before the pads are placed, so that ends can be headed off.

Stage: plane -> footing -> layout. Estimates from the height there is for wood; the supports stage settles it.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from framing.engine.documents import Build
from framing.engine.keep_outs import Ground
from framing.engine.openings import STICK, Footing
from framing.engine.plane import Plane
from framing.engine.roof import Roof
from framing.engine.structure import Load, adjusted_values, allowable_pressure, allowable_span
from framing.reference import clearances, loads
from framing.reference.decking import decking_weight
from framing.reference.lumber import DRESSED

Array = NDArray[np.float64]


def find_footing(build: Build, plane: Plane, roof: Roof, ground: Ground) -> Footing:
    """Where the joists' pads may stand, and the overhang that a place allows: a quarter of the span that the depth of
    wood there and the insulation under the largest pad at hand allow, and no more than a person on its tip allows."""
    joists, supports, board = build.joists, build.supports, build.decking
    deepest = max(joists.sizes, key=lambda size: DRESSED[size][1])
    values = adjusted_values(joists.species, joists.grade, deepest, moisture=joists.moisture or "wet",
                             spacing=joists.spacing)
    dead = decking_weight(board.species or "", board.thickness, board.width, board.gap).psf + build.loads.dead_extra
    load = Load(dead, max(build.loads.live, build.loads.snow))
    most = clearances.PAD_SPACING if supports.maximum_spacing == "auto" else float(supports.maximum_spacing)
    if ground.strength is not None:
        largest = max(a * b for a, b in supports.pad_sizes)
        carried = (load.dead + load.live) * joists.spacing / 144
        most = min(most, allowable_pressure(ground.strength)[1] * largest / carried)

    pad = min(supports.pad_sizes, key=lambda size: size[0] * size[1])

    def overhang(xy: Array) -> Array:
        height = plane.height(xy) - board.thickness - joists.tape_thickness - roof.height(xy)
        depth = np.clip(height - supports.clear_gap.target, joists.minimum_depth, DRESSED[deepest][1])
        span = np.minimum(allowable_span(depth, values, load, joists.spacing), most)
        # a person on the tip: bending at the pad; an end that lies on its pad has no tip
        tip = values.Fb * STICK * depth**2 / 6 / loads.TIP_LOAD
        return np.minimum(clearances.OVERHANG * span, np.maximum(tip, pad[0] / 2))

    return Footing(ground, pad, overhang)
