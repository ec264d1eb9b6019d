"""The drawings of a framing as SVG: plan, sections, and the profile that each member is sawn to.

Stage: everything -> drawings. Each carries a title and a description for people who cannot see it.
"""

from framing.engine.plan_drawing import plan_svg
from framing.engine.sections import section_along, section_svg
from framing.engine.sheet import Sheet, panel_outlines

__all__ = ["Sheet", "panel_outlines", "plan_svg", "section_along", "section_svg"]
