"""The whole chain for one layout: calls only, and the figures that follow from them."""

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from scipy.sparse import csr_array

from layout.arrange.arrangement import Arrangement
from layout.conditions import Conditions
from layout.endless import EndlessPattern, endless_trackers
from layout.errors import PhysicsError
from layout.evaluate import Evaluator, FieldYear, evaluate
from layout.fair import horizontal_light
from layout.field import Field, build_field
from layout.hot_water import hot_water_year
from layout.ledger import Electricity, electricity
from layout.light.coefficients import engine_of, light_coefficients
from layout.light.lattice import grid_lattice
from layout.light.net import Net
from layout.method_gap import method_gap
from layout.peaks import peaks
from layout.pieces import Scene
from layout.power.cover_cooling import cooling_factor, covered_cooling
from layout.power.glass import transmission_ratio
from layout.power.panel_model import panel_model
from layout.result import HotWater, LayoutResult, Peaks
from layout.result_sheets import SheetEffect, SheetSide
from layout.sheet_effect import sheet_side
from layout.wiring_tables import PANEL_LEVEL
from layout.year_figures import Settings, Traced, capacity_kw, layout_result, spread
from sites.conventions import FloatArray

Progress = Callable[[str, int, int], None]
"""label, done, total"""

BOUND_TOLERANCE = 0.01
"""The engine's own error allowed for before a result counts as beyond the physical bound."""


def layout_year(
    arrangement: Arrangement,
    conditions: Conditions,
    settings: Settings,
    endless: EndlessPattern | None = None,
    progress: Progress | None = None,
) -> LayoutResult:
    """One layout over one year.

    Raises PhysicsError where the endless pattern would catch more light than falls on its ground.
    """
    whole = _part(arrangement, conditions, settings)
    parts = {"whole": whole} | _without(whole, conditions, settings)
    tick = _ticker(arrangement.name, progress, sum(part.field.traced_panels for part in parts.values()))
    years = {name: evaluate(p.field, p.evaluator, transmission_ratio, tick) for name, p in parts.items()}
    sockets = {name: socket_power(arrangement, p.evaluator, years[name], settings) for name, p in parts.items()}
    powers = {name: socket[1] for name, socket in sockets.items()}
    field, evaluator, year = whole.field, whole.evaluator, years["whole"]
    open_light, open_w_m2 = _open_light(field, evaluator)
    peak, without_end = peaks(field, evaluator, year, transmission_ratio), float("nan")
    if endless:
        without_end = endless_kwh_per_m2(endless, conditions, settings, capacity_kw(arrangement))
    traced = Traced(
        field=field,
        evaluator=evaluator,
        year=year,
        bare_year=years.get("bare"),
        peak=peak,
        open_light=open_light,
        open_w_m2=open_w_m2,
        power=powers["whole"],
        bare_power=powers.get("bare"),
        unboosted_power=powers.get("unboosted", powers.get("bare")),
        water=sockets["whole"][0],
        method_gap=method_gap(field, evaluator, year, transmission_ratio),
        per_m2_endless=without_end,
        sheets=_sheets(parts, years, powers, peak),
    )
    return layout_result(traced, settings)


def socket_power(
    arrangement: Arrangement, evaluator: Evaluator, year: FieldYear, settings: Settings
) -> tuple[HotWater | None, Electricity]:
    """Power to the socket of a traced year, with panels as warm as hot water leaves them where the plan asks for that;
    None without hot water."""
    area = sum(p.area_m2 for p in arrangement.scene.panels)
    return _socket_power(capacity_kw(arrangement), area, evaluator, year, settings)


def _socket_power(
    capacity: float, area_m2: float, evaluator: Evaluator, year: FieldYear, settings: Settings
) -> tuple[HotWater | None, Electricity]:
    """As `socket_power`, of panels with this rated power [kW] and area."""

    def power(wired: FloatArray) -> Electricity:
        return electricity(wired, capacity, settings.inverter, settings.losses)

    dry = power(year.hour["wired"])
    if settings.hot_water is None:
        return None, dry
    cooling = evaluator.kind.u0_w_m2_k, evaluator.kind.u1_w_s_m3_k
    c = evaluator.conditions
    water = hot_water_year(c, year.hour["panel_c"], cooling, area_m2, evaluator.model, settings.hot_water)
    wet = power(year.hour["wired"] * water.factor)
    before, after = (float(p.ac_kw.sum()) * c.weather.interval_h for p in (dry, wet))
    return replace(water, dry_energy_ac_kwh=before, energy_ac_kwh=after), wet


@dataclass(frozen=True, eq=False)
class _Part:
    """A layout or what is left of it when sheets are taken away, ready for its year."""

    field: Field
    evaluator: Evaluator


def _part(arrangement: Arrangement, conditions: Conditions, settings: Settings) -> _Part:
    field = build_field(arrangement, conditions, settings.full_cells, settings.repetition)
    return _Part(field, evaluator_of(arrangement, conditions, settings))


def _without(whole: _Part, conditions: Conditions, settings: Settings) -> dict[str, _Part]:
    """What a layout with reflectors or see-through sheets is held against: ``bare`` of both; where it has both,
    ``unboosted``, without reflectors, and ``uncovered``, without sheets; ``cool``, as built, but cooled as if its cover
    did not hinder that."""
    arrangement = whole.field.arrangement
    scene, found = arrangement.scene, {}
    if scene.reflectors or scene.diffusers:
        found["bare"] = _part(arrangement.without_reflectors(), conditions, settings)
    if scene.reflectors and scene.diffusers:
        found["unboosted"] = _part(arrangement.without_mirrors(), conditions, settings)
        found["uncovered"] = _part(arrangement.without_sheets(), conditions, settings)
    if arrangement.cover is not None:
        found["cool"] = replace(whole, evaluator=replace(whole.evaluator, kind=arrangement.panel_type))
    return found


def _sheets(
    parts: dict[str, _Part], years: dict[str, FieldYear], powers: dict[str, Electricity], peak: Peaks
) -> SheetEffect | None:
    """What a layout's see-through sheets do; None where it has none. peak : that of the whole layout."""
    arrangement = parts["whole"].field.arrangement
    if not arrangement.scene.diffusers:
        return None

    def side(name: str, known: Peaks | None = None) -> SheetSide:
        return sheet_side(parts[name].field, parts[name].evaluator, years[name], powers[name], known)

    without = side("uncovered" if "uncovered" in parts else "bare")
    cover = arrangement.cover
    cool = side("cool") if cover else None
    return SheetEffect(side("whole", peak), without, cool, cooling_factor(cover.gap_m) if cover else 1.0)


def hourly_ac_kw(arrangement: Arrangement, conditions: Conditions, settings: Settings) -> FloatArray:
    """AC power of every hour of the weather year, (n,) kW."""
    field = build_field(arrangement, conditions, settings.full_cells, settings.repetition)
    year = evaluate(field, evaluator_of(arrangement, conditions, settings), transmission_ratio, lambda _: None)
    power = electricity(year.hour["wired"], capacity_kw(arrangement), settings.inverter, settings.losses)
    return spread(len(conditions.weather.start), conditions.sky.index, power.ac_kw, 0.0)


def evaluator_of(
    arrangement: Arrangement, conditions: Conditions, settings: Settings, matrix: csr_array | None = None
) -> Evaluator:
    """What turns a layout's light into electricity: a cover over the panels hinders their cooling. matrix : that of the
    conditions, where it is known already"""
    kind, cover = arrangement.panel_type, arrangement.cover
    matrix = conditions.matrix() if matrix is None else matrix
    dirt, model = settings.losses.soiling_pct / 100.0, panel_model(kind)
    if cover is None:
        return Evaluator(conditions, matrix, kind, model, dirt, wiring=settings.wiring)
    colour = cover.kind.usable_transmittance / cover.kind.transmittance
    cooled = covered_cooling(kind, cover.gap_m)
    return Evaluator(conditions, matrix, cooled, model, dirt, colour, settings.wiring)


def _ticker(label: str, progress: Progress | None, total: int) -> Callable[[int], None]:
    done = 0

    def tick(count: int) -> None:
        nonlocal done
        done += count
        if progress:
            progress(label, done, total)

    return tick


def _open_light(field: Field, evaluator: Evaluator) -> tuple[FloatArray, FloatArray]:
    """Front light of each panel alone over open, unshaded ground with the skyline: (n,) kWh/m² in the year, and the
    area mean of all in each hour, (k,) W/m²."""
    c = evaluator.conditions
    normals, kind = np.unique(np.round(field.rectangles.normal, 7), axis=0, return_inverse=True)
    kind = kind.reshape(-1)
    first = np.array([np.flatnonzero(kind == k)[0] for k in range(len(normals))])
    nothing = engine_of(Scene(ground=field.arrangement.scene.ground), transmission_ratio)
    out = light_coefficients(
        nothing,
        c.parts,
        field.rectangles[first],
        Net(1, 1, grid_lattice(1, 1)),
        transmission_ratio,
    )
    light = evaluator.matrix @ out.before[:, :, 0]
    area = np.bincount(kind, field.rectangles.area)
    return (light.sum(axis=0) * c.hour_kwh)[kind], light @ (area / area.sum())


def endless_settings(settings: Settings, share: float) -> Settings:
    """Inverter and store of a unit of the pattern without end. share : its rated power over that on the plot; AC limit,
    start, water and the store's loss go by it, so that the neighbours have what this plot has. Lists of strings name
    panels on the plot: without them each panel has electronics of its own."""
    inverter, water, wiring = settings.inverter, settings.hot_water, settings.wiring
    limit = None if inverter.ac_limit_kw is None else inverter.ac_limit_kw * share
    inverter = inverter.model_copy(update={"ac_limit_kw": limit, "start_kw": inverter.start_kw * share})
    if water is not None:
        sizes = ("store_litres", "draw_litres_per_day", "store_loss_w_per_k")
        water = water.model_copy(update={name: getattr(water, name) * share for name in sizes})
    if wiring.mode == "list":
        wiring = PANEL_LEVEL
    return replace(settings, inverter=inverter, hot_water=water, wiring=wiring)


def endless_kwh_per_m2(pattern: EndlessPattern, conditions: Conditions, settings: Settings, plot_kw: float) -> float:
    """AC energy per m² of ground of the pattern without end, kWh/m². plot_kw : rated power of the panels on the
    plot."""
    arrangement, capacity = pattern.arrangement, pattern.capacity_kw
    settings = endless_settings(settings, capacity / plot_kw)
    evaluator = evaluator_of(arrangement, conditions, settings)
    field = build_field(arrangement, conditions, settings.full_cells, repetition=False, only=pattern.unit)
    hung = endless_trackers(pattern, settings.wiring)
    year = evaluate(field, evaluator, transmission_ratio, lambda _: None, keep_light=False, hung=hung)
    area = field.rectangles.area[pattern.unit]
    light = float(((year.panel["front"] + year.panel["rear"])[pattern.unit] * area).sum()) / pattern.unit_area_m2
    bound = horizontal_light(conditions)
    if light > bound * (1.0 + BOUND_TOLERANCE):
        raise PhysicsError(
            f"{arrangement.name}: found {light:.0f} kWh/m² on the panels of the endless pattern per m² of ground; "
            f"accepted: at most the {bound:.0f} kWh/m² that the sky sends there"
        )
    power = _socket_power(capacity, float(area.sum()), evaluator, year, settings)[1]
    return float(power.ac_kw.sum()) * conditions.weather.interval_h / pattern.unit_area_m2
