"""How far what is reckoned on paper may miss on the roof: sticks that are sent back, tasks that run late together.

Status of a number: V2 = read in a third party's restatement; M = from memory, to be compared with a copy of the source.
"""

from __future__ import annotations

from typing import Final

# Share of sticks culled at delivery and at the saw: crook, splits, wane, knots where none may be. Framing lumber: the
# grading rules under PS 20 let 5 % of a shipment lie below its stamped grade, V2. Natural decking: common practice,
# 3 to 5 % of hardwood boards for defect and colour, no published source.
CULLS: Final[dict[str, float]] = {"lumber": 0.05, "decking": 0.04}

# Correlation of the hours of one task with those of another where nobody has measured it: the crew, the weather and
# the way up are the same. Default of cost-risk handbooks (Joint Agency Cost Schedule Risk and Uncertainty Handbook,
# 2014, M); a low positive correlation in other guides, V2.
TASKS_TOGETHER: Final = 0.3
