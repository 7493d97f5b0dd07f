"""A layout traced whole on its plot: the figures that ``compare`` gives, as far as a search ranks by them."""

from layout.arrange import arrange
from layout.arrange.arrangement import Arrangement
from layout.conditions import Conditions
from layout.evaluate import evaluate
from layout.field import build_field
from layout.geometry.hinged import corners
from layout.geometry.rectangles import Rectangles
from layout.optimise.beyond import BEYOND, traced_share
from layout.peaks import peaks
from layout.pieces import Rectangle
from layout.plan import Layout, Plan
from layout.power.glass import transmission_ratio
from layout.run import plan_settings
from layout.year import evaluator_of, socket_power
from layout.year_figures import capacity_kw
from sites.plot import Plot


def whole_figures(
    plan: Plan, layout: Layout, year: Conditions, with_peaks: bool = False, with_beyond: bool = False
) -> dict[str, float]:
    """Figures of a year of a layout as it stands on the plot, keys as in the results of ``compare``; ``height_m``.

    with_peaks : the hottest cell and the brightest-cell ratio too
    with_beyond : the share of light from beyond the plot too
    Raises InputError where not one panel fits.
    """
    settings = plan_settings(plan)
    arrangement = arrange(plan, layout)
    evaluator = evaluator_of(arrangement, year, settings)
    field = build_field(arrangement, year, settings.full_cells, settings.repetition)
    traced = evaluate(field, evaluator, transmission_ratio, lambda _: None)
    power = socket_power(arrangement, evaluator, traced, settings)[1]
    energy = float(power.ac_kw.sum()) * year.weather.interval_h
    figures = arranged_figures(plan, arrangement) | {"energy_ac_kwh": energy}
    figures |= {
        "kwh_per_m2_plot": energy / figures["plot_area_m2"],
        "kwh_per_m2_panel": energy / figures["panel_area_m2"],
        "kwh_per_kw": energy / figures["dc_capacity_kw"],
    }
    if with_peaks:
        found = peaks(field, evaluator, traced, transmission_ratio)
        figures |= {"hottest_cell_c": found.hottest_cell_c, "peak_cell_ratio": found.peak_cell_ratio}
    if with_beyond:
        figures[BEYOND] = traced_share(field, traced, year)
    return figures


def arranged_figures(plan: Plan, arrangement: Arrangement) -> dict[str, float]:
    """What can be told of a layout without light."""
    plot = plan.site.plot
    assert plot is not None
    scene = arrangement.scene
    return {
        "panels": float(len(scene.panels)),
        "dc_capacity_kw": capacity_kw(arrangement),
        "panel_area_m2": sum(p.area_m2 for p in scene.panels),
        "reflector_area_m2": arrangement.reflector_area_m2,
        "plot_area_m2": plot.area_m2,
        "height_m": highest_m(plot, [*scene.panels, *scene.reflectors]),
    }


def highest_m(plot: Plot, pieces: list[Rectangle]) -> float:
    """Highest corner above the ground vertically below, m."""
    x, y, z = corners(Rectangles.of(pieces)).reshape(-1, 3).T
    return float((z - plot.ground_z(x, y)).max())
