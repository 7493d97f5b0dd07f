"""The ground of a plan's scenes."""

from layout.pieces import Ground
from layout.plan import Plan

DEFAULT_ALBEDO = 0.2
"""Grass and soil; common practice, no source. Where the plan has none, the year uses the weather file's."""


def plan_ground(plan: Plan) -> Ground:
    """The plot's plane, with the mean of the plan's albedo."""
    plot, albedo = plan.site.plot, plan.site.albedo
    mean = DEFAULT_ALBEDO if albedo is None else float(albedo.mean())
    if plot is None:
        return Ground(mean)
    return Ground(mean, slope_deg=plot.slope_deg, slope_azimuth_deg=plot.slope_azimuth_deg)
