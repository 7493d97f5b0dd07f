"""One bay of a layout over a year: the light engine on a unit deep inside the pattern and on those at its ends.

The plot's size enters by how many places a pattern finds on it, averaged over all shifts of the pattern:
the area of the starts at which a footprint fits, over the ground of a unit. A place has no neighbour on one side where
the start moved to that side fits no longer. Both are smooth in pitch and tilt, unlike the count of any one shift.
"""

from dataclasses import dataclass, replace

import numpy as np
import shapely

from layout.arrange.arrangement import Arrangement
from layout.arrange.pattern import Pattern, Places, best_places, start_region
from layout.arrange.rows import build_rows, column_of
from layout.arrange.towers import build_towers, tower_of
from layout.conditions import Conditions
from layout.evaluate import evaluate
from layout.field import Field, build_field
from layout.ledger import electricity
from layout.optimise.whole import highest_m
from layout.peaks import peaks
from layout.plan import Plan, RowsLayout, TowersLayout, UprightLayout
from layout.power.glass import transmission_ratio
from layout.wiring_tables import PANEL_LEVEL
from layout.year import evaluator_of
from layout.year_figures import Settings
from sites.conventions import LENGTH_TOLERANCE_M, FloatArray, IntArray

ROWS_EACH_WAY = 4
"""Rows built before and behind. On the demo's rows the energy differs by 0.04 % from rows out to 75 m."""

HALF_LENGTH_M = 10.0
TOWERS_EACH_WAY = 4

SIDES = ("front", "back", "begin", "end")

BayLayout = RowsLayout | UprightLayout | TowersLayout


@dataclass(frozen=True, eq=False)
class Bay:
    """A block of the pattern: its units by class (middle and the four sides), and how many of each the plot holds.

    units : (5, p) int, panels of each class's unit;  counts : (5,) float, of the plot, mean over all shifts
    places : units on the plot at the pattern's best shift
    unit_kw, unit_reflector_m2 : of one unit
    """

    arrangement: Arrangement
    units: IntArray
    counts: FloatArray
    places: int
    panels_each: int
    unit_kw: float
    unit_reflector_m2: float
    height_m: float
    aisle_m: float


def build_bay(plan: Plan, layout: BayLayout, ends: bool = True) -> Bay:
    """ends : count the plot's ends; without them every unit is one of the middle."""
    plot = plan.site.plot
    if plot is None:
        raise ValueError("a bay needs a plot")
    fit = ("a block of the pattern",)
    if isinstance(layout, TowersLayout):
        tower = tower_of(plan, layout)
        pattern, each, reach = tower.pattern, len(tower.corner), (TOWERS_EACH_WAY, TOWERS_EACH_WAY)
        places = _block(pattern, reach)
        arrangement = build_towers(plan, layout, tower, places, fit, on_plot=False)
        aisle = layout.spacing_m - layout.side_m
    else:
        column = column_of(plan, layout)
        pattern, each = column.pattern, layout.panels_high
        columns = max(3, int(np.ceil(HALF_LENGTH_M / np.linalg.norm(pattern.first))))
        reach = (columns, ROWS_EACH_WAY)
        places = _block(pattern, reach)
        arrangement = build_rows(plan, layout, column, places, fit, on_plot=False)
        aisle = layout.pitch_m - float(np.ptp(pattern.footprint @ (pattern.second / np.linalg.norm(pattern.second))))
    wide = 2 * reach[0] + 1
    centre = reach[1] * wide + reach[0]
    # Rows are numbered from the front: second points away from where they look.
    of_class = np.array([centre, reach[0], 2 * reach[1] * wide + reach[0], centre - reach[0], centre + reach[0]])
    units = of_class[:, None] * each + np.arange(each)
    counts = _counts(plan, pattern, ends)
    unit_kw = float(arrangement.panel_type.pmax_w * arrangement.area_scale[units[0]].sum()) / 1000.0
    sheets = arrangement.reflector_area_m2 / len(places.origins)
    pieces = [*arrangement.scene.panels[centre * each : (centre + 1) * each], *arrangement.scene.reflectors]
    fits = len(best_places(pattern, plot).origins)
    return Bay(arrangement, units, counts, fits, each, unit_kw, sheets, highest_m(plot, pieces), aisle)


def _block(pattern: Pattern, reach: tuple[int, int]) -> Places:
    second, first = np.meshgrid(np.arange(-reach[1], reach[1] + 1), np.arange(-reach[0], reach[0] + 1), indexing="ij")
    index = np.stack([first.ravel(), second.ravel()], axis=1)
    return Places(pattern.origins(index), index, {})


def _counts(plan: Plan, pattern: Pattern, ends: bool) -> FloatArray:
    """Units of each class on the plot, mean over all shifts, (5,)."""
    plot = plan.site.plot
    assert plot is not None
    starts = start_region(plot.usable.buffer(LENGTH_TOLERANCE_M, join_style="mitre"), pattern.footprint)
    total = float(starts.area) / pattern.unit_area_m2
    if not ends or total <= 0:
        return np.array([total, 0.0, 0.0, 0.0, 0.0])
    steps = (-pattern.second, pattern.second, -pattern.first, pattern.first)
    alone = np.array(
        [
            float(starts.difference(shapely.affinity.translate(starts, -s[0], -s[1])).area) / pattern.unit_area_m2
            for s in steps
        ]
    )
    # A corner unit has two sides free: halves of both. No more ends than units.
    alone *= min(1.0, total / max(alone.sum(), 1e-12))
    return np.concatenate([[total - alone.sum()], alone])


def bay_year(plan: Plan, bay: Bay, year: Conditions, settings: Settings, with_peaks: bool = False) -> dict[str, float]:
    """Figures of a year. panels, dc_capacity_kw, reflector_area_m2, best_shift_energy_ac_kwh: of the plot at the
    pattern's best shift; panels_mean, energy_ac_kwh, kwh_per_m2_plot: at the mean over all shifts.

    with_peaks : the hottest cell and the brightest-cell ratio too, which takes ten times as long
    """
    if settings.wiring.mode != "panel":
        settings = replace(settings, wiring=PANEL_LEVEL)
    used = bay.counts > 1e-9
    figures = {
        "panels": bay.places * bay.panels_each,
        "panels_mean": float(bay.counts.sum()) * bay.panels_each,
        "dc_capacity_kw": bay.unit_kw * bay.places,
        "reflector_area_m2": bay.unit_reflector_m2 * bay.places,
        "height_m": bay.height_m,
        "aisle_m": bay.aisle_m,
        "plot_area_m2": plan.site.plot.area_m2 if plan.site.plot else float("nan"),
    }
    if not used.any():
        return figures | dict.fromkeys(
            ("energy_ac_kwh", "kwh_per_m2_plot", "kwh_per_m2_panel", "best_shift_energy_ac_kwh"), 0.0
        )
    evaluator = evaluator_of(bay.arrangement, year, settings)
    only = np.unique(bay.units[used])
    field = build_field(bay.arrangement, year, settings.full_cells, False, only=only)
    field = _weighted(field, bay)
    traced = evaluate(field, evaluator, transmission_ratio, lambda _: None, keep_light=with_peaks)
    power = electricity(traced.hour["wired"], bay.unit_kw * bay.counts.sum(), settings.inverter, settings.losses)
    energy = float(power.ac_kw.sum()) * year.weather.interval_h
    area = float(field.rectangles.area[bay.units[0]].sum() * bay.counts.sum())
    figures |= {
        "energy_ac_kwh": energy,
        "kwh_per_m2_plot": energy / figures["plot_area_m2"],
        "kwh_per_m2_panel": energy / area,
        "best_shift_energy_ac_kwh": energy * bay.places / float(bay.counts.sum()),
    }
    if with_peaks:
        found = peaks(field, evaluator, traced, transmission_ratio)
        figures |= {"hottest_cell_c": found.hottest_cell_c, "peak_cell_ratio": found.peak_cell_ratio}
    return figures


def _weighted(field: Field, bay: Bay) -> Field:
    """Each traced unit stands for all units of its class."""
    weight = np.zeros(len(field.rectangles))
    np.add.at(weight, bay.units, np.broadcast_to(bay.counts[:, None], bay.units.shape))
    return replace(field, families=tuple(replace(f, counts=weight[f.traced]) for f in field.families))
