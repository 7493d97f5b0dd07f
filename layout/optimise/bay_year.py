"""A bay over a year, cheap enough for a search: the same light engine by fewer rays and points.

What differs from a layout traced whole:

- fewer rays and places, the same ones for every shape, so that their error hardly moves the comparison;
- along a row, where light hardly changes, panels are looked at in the middle of their bypass groups only;
- the loss by uneven light is worked out in one of a few alike hours and taken as a share of each one's power under
  even light, which is worked out in every hour.
"""

from dataclasses import dataclass, replace

import numpy as np
from scipy.sparse import csr_array

from layout.conditions import Conditions
from layout.evaluate import Evaluator, evaluate
from layout.field import Family, Field, build_field, groups_along_edges
from layout.ledger import electricity
from layout.light.coefficients import ground_light, light_coefficients
from layout.light.edges import even_edge
from layout.light.ground import GroundLight
from layout.light.lattice import grid_lattice
from layout.light.net import Net
from layout.light.places import PlaceNet
from layout.optimise.bay import Bay
from layout.peaks import peaks
from layout.plan import Plan
from layout.power.glass import transmission_ratio
from layout.power.heat import cell_temperature
from layout.power.method import dc_power
from layout.power.panel_model import even_light_power
from layout.wiring_tables import PANEL_LEVEL
from layout.year import evaluator_of
from layout.year_figures import Settings
from sites.conventions import FloatArray, IntArray

DOME_RAYS, DOWN_RAYS, RING_RAYS, GROUND_RAYS = 233, 89, 36, 34
"""Rays of a search. Experiment behind these and the next three: tests/layout/test_optimise_bay.py prints the error."""

PLACES = PlaceNet(0.6, 0.2)
"""Places on the ground and on matt sheets, twice as far apart as those of a layout traced whole."""

ALIKE_HOURS = 6
"""Hours that share the loss by uneven light."""

ELEVATION_STEP_DEG, AZIMUTH_STEP_DEG = 6.0, 12.0
"""The sun stands in one place within so much."""

LEAST_ROWS = 6
"""Points up a panel, at least."""

DARK_W = 1e-3
"""Power of a panel below which its share is of no account."""


@dataclass(frozen=True, eq=False)
class BaySky:
    """What all bays of a search have in common; k sun-up hours, g groups of alike ones, m sun directions.

    full : the year as layouts are traced whole by;  year : the same by fewer rays
    matrix : (k, 2m + 4) as of `Conditions.matrix`
    picked : (g,) int, the hour that stands for its group;  group : (k,) int, of each hour
    """

    full: Conditions
    year: Conditions
    matrix: csr_array
    picked: IntArray
    group: IntArray


def bay_sky(year: Conditions) -> BaySky:
    """Prepare a year for a search."""
    parts = replace(
        year.parts, dome_rays=DOME_RAYS, down_rays=DOWN_RAYS, ring_rays=RING_RAYS, ground_rays=GROUND_RAYS, sets=1
    )
    return BaySky(year, replace(year, parts=parts), year.matrix(), *alike_hours(year, ALIKE_HOURS))


def alike_hours(year: Conditions, each: int) -> tuple[IntArray, IntArray]:
    """Groups of ``each`` hours with the sun in about one place and about the same share of beam: the hour that stands
    for each group (g,), and the group of each hour (k,)."""
    sky = year.sky
    steps = np.array([ELEVATION_STEP_DEG, AZIMUTH_STEP_DEG])
    at = np.floor(np.column_stack([sky.sun.elevation_deg, sky.sun.azimuth_deg]) / steps)
    place = np.unique(at, axis=0, return_inverse=True)[1].reshape(-1)
    clear = sky.beam / np.maximum(sky.beam + sky.dome, 1e-9)
    # Up in one place and down in the next, so that hours of a group that lies in two are alike, too.
    order = np.lexsort((np.where(place % 2 == 1, -clear, clear), place))
    group = np.zeros(len(order), dtype=np.int64)
    group[order] = np.arange(len(order)) // each
    count = -(-len(order) // each)
    picked = order[np.minimum(np.arange(count) * each + each // 2, len(order) - 1)]
    return picked, group


def bay_year(plan: Plan, bay: Bay, sky: BaySky, settings: Settings, with_peaks: bool = False) -> dict[str, float]:
    """Figures of a year. panels, dc_capacity_kw, reflector_area_m2, best_shift_energy_ac_kwh: of the plot at the
    pattern's best shift; panels_mean, energy_ac_kwh, kwh_per_m2_plot: at the mean over all shifts.

    with_peaks : the hottest cell and the brightest-cell ratio too, by the whole year's rays, which takes many times as
        long
    """
    if settings.wiring.mode != "panel":
        settings = replace(settings, wiring=PANEL_LEVEL)
    figures = {
        "panels": bay.places * bay.panels_each,
        "panels_mean": float(bay.counts.sum()) * bay.panels_each,
        "dc_capacity_kw": bay.unit_kw * bay.places,
        "reflector_area_m2": bay.unit_reflector_m2 * bay.places,
        "height_m": bay.height_m,
        "aisle_m": bay.aisle_m,
        "plot_area_m2": plan.site.plot.area_m2 if plan.site.plot else float("nan"),
    }
    used = bay.counts > 1e-9
    if not used.any():
        return figures | dict.fromkeys(
            ("energy_ac_kwh", "kwh_per_m2_plot", "kwh_per_m2_panel", "best_shift_energy_ac_kwh"), 0.0
        )
    only = np.unique(bay.units[used])
    field = _weighted(build_field(bay.arrangement, sky.year, settings.full_cells, repetition=False, only=only), bay)
    dc_w = bay_dc_w(field, sky, settings, thin=bay.rows and not settings.full_cells)
    power = electricity(dc_w, bay.unit_kw * bay.counts.sum(), settings.inverter, settings.losses)
    energy = float(power.ac_kw.sum()) * sky.year.weather.interval_h
    area = float(field.rectangles.area[bay.units[0]].sum() * bay.counts.sum())
    figures |= {
        "energy_ac_kwh": energy,
        "kwh_per_m2_plot": energy / figures["plot_area_m2"],
        "kwh_per_m2_panel": energy / area,
        "best_shift_energy_ac_kwh": energy * bay.places / float(bay.counts.sum()),
    }
    if with_peaks:
        evaluator = evaluator_of(bay.arrangement, sky.full, settings)
        traced = evaluate(field, evaluator, transmission_ratio, lambda _: None)
        found = peaks(field, evaluator, traced, transmission_ratio)
        figures |= {"hottest_cell_c": found.hottest_cell_c, "peak_cell_ratio": found.peak_cell_ratio}
    return figures


def _weighted(field: Field, bay: Bay) -> Field:
    """Each traced unit stands for all units of its class."""
    weight = np.zeros(len(field.rectangles))
    np.add.at(weight, bay.units, np.broadcast_to(bay.counts[:, None], bay.units.shape))
    return replace(field, families=tuple(replace(f, counts=weight[f.traced]) for f in field.families))


def bay_dc_w(field: Field, sky: BaySky, settings: Settings, thin: bool) -> FloatArray:
    """DC power of the hours, (k,) W, each panel on a tracker of its own. thin : fewer points along rows"""
    evaluator = evaluator_of(field.arrangement, sky.year, settings, sky.matrix)
    store = ground_light(field.engine, sky.year.parts, PLACES)
    families = [thinned(f, field) if thin else f for f in field.families]
    return np.sum([_family_dc_w(field, f, evaluator, sky, store) for f in families], axis=0)


def thinned(family: Family, field: Field) -> Family:
    """A family by one point along the row for each bypass group side by side along it."""
    arrangement, net, first = field.arrangement, family.net, int(family.traced[0])
    n = groups_along_edges(arrangement.panel_type, int(arrangement.orientation[first]))[1]
    if net.n_along <= n:
        return family
    edge = even_edge(n)
    nearest = np.abs(net.middles()[1][:, None] - edge.at).argmin(axis=0)
    groups = family.groups.reshape(net.n_up, net.n_along)[:, nearest].reshape(-1)
    if net.n_up < LEAST_ROWS:
        fewer = Net(net.n_up, n, grid_lattice(-(-LEAST_ROWS // net.n_up), 1))
    else:
        # Light by way of sheets is the mean over the panel's cell around each point, not over half the panel.
        cells = arrangement.scene.panels[first].cells
        fewer = Net(net.n_up, n, up=net.up or even_edge(net.n_up), along=edge, panel_cells=cells)
    return replace(family, net=fewer, groups=groups)


def _family_dc_w(field: Field, family: Family, e: Evaluator, sky: BaySky, store: GroundLight | None) -> FloatArray:
    """The hours' power of all panels that a family's traced ones stand for, (k,) W."""
    electric, heat = _coefficients(field, family, e, sky, store)
    columns, b, cells = electric.shape
    c, panels = sky.year, family.net.panel_means(electric)
    warmth = np.maximum(0.0, sky.matrix @ heat)
    panel_c = cell_temperature(warmth, c.air_c[:, None], c.wind_m_s[:, None], e.kind.u0_w_m2_k, e.kind.u1_w_s_m3_k)
    even = even_light_power(np.maximum(0.0, sky.matrix @ panels), panel_c, e.model)
    light = sky.matrix[sky.picked] @ electric.reshape(columns, b * cells)
    light = np.maximum(light, 0.0, out=light).reshape(-1, cells)
    there = dc_power(light, family.groups, e.model, panel_c[sky.picked].reshape(-1)).reshape(-1, b)
    share = np.where(even[sky.picked] > DARK_W, there / np.maximum(even[sky.picked], DARK_W), 1.0)
    scale = field.arrangement.area_scale[family.traced]
    return np.asarray((even * share[sky.group]) @ (scale * family.counts))


def _coefficients(
    field: Field, family: Family, e: Evaluator, sky: BaySky, store: GroundLight | None
) -> tuple[np.ndarray, np.ndarray]:
    """Light that cells take up, (2m + 4, b, cells) float32, and that warms each panel, (2m + 4, b) float32."""
    same_rays = np.zeros(len(family.traced), dtype=np.int64)
    args = (field.engine, sky.year.parts, field.rectangles[family.traced], family.net, transmission_ratio)
    front = light_coefficients(*args, store=store, numbers=same_rays).after
    electric: np.ndarray = front * np.float32((1.0 - e.dirt) * e.cover_colour)
    heat: np.ndarray = family.net.panel_means(front)
    if family.bifacial:
        rear = light_coefficients(*args, rear=True, store=store, numbers=same_rays).after
        electric = electric + np.float32(e.kind.bifaciality * (1.0 - e.dirt)) * rear
        heat = heat + family.net.panel_means(rear)
    return electric, heat
