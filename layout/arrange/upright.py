"""Upright rows: panels on edge, the fronts toward the azimuth, the rears away from it.

On ground that falls along the row the panels stay rectangles: their lower edges follow the ground and their
sides lean with it.
"""

from layout.arrange.arrangement import Arrangement
from layout.arrange.rows import arrange_rows
from layout.plan import Plan, UprightLayout


def arrange_upright(plan: Plan, layout: UprightLayout) -> Arrangement:
    """The upright rows of a layout on the plan's plot: rows with a tilt of 90°."""
    return arrange_rows(plan, layout)
