"""The whole chain for one layout: calls only, and the figures that follow from them."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import pandas as pd

from layout.arrange.arrangement import Arrangement
from layout.cautions import cautions
from layout.conditions import Conditions, local_clock
from layout.errors import PhysicsError
from layout.evaluate import Evaluator, FieldYear, evaluate
from layout.fair import horizontal_light, light_from_beyond
from layout.field import Field, build_field
from layout.ledger import Electricity, electricity, ledger
from layout.light.coefficients import engine_of, light_coefficients
from layout.light.lattice import grid_lattice
from layout.light.net import Net
from layout.peaks import Peaks, peaks
from layout.pieces import Scene
from layout.plan import InverterTable, LossTable
from layout.power.glass import transmission_ratio
from layout.power.panel_power import panel_model
from layout.result import LayoutResult, PerPanel
from sites.conventions import FloatArray, IntArray

Progress = Callable[[str, int, int], None]
"""label, done, total"""

BOUND_TOLERANCE = 0.01
"""The engine's own error allowed for before a result counts as beyond the physical bound."""


@dataclass(frozen=True, eq=False)
class EndlessPattern:
    """The same pattern without boundary: ``unit`` (u,) panels that repeat on ``unit_area_m2`` of ground."""

    arrangement: Arrangement
    unit: IntArray
    unit_area_m2: float


@dataclass(frozen=True)
class Settings:
    """full_cells : every cell in the year instead of the coarser net; repetition : share the tracing of panels
    with equal surroundings."""

    inverter: InverterTable
    losses: LossTable
    full_cells: bool = False
    repetition: bool = True


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
    evaluator = _evaluator(arrangement, conditions, settings)
    field = build_field(arrangement, conditions, settings.full_cells, settings.repetition)
    tick = _ticker(arrangement.name, progress, field.traced_panels)
    year = evaluate(field, evaluator, transmission_ratio, tick)
    peak = peaks(field, evaluator, year, transmission_ratio)
    open_light = _open_light(field, evaluator)
    power = electricity(year.hour["dc"], _capacity_kw(arrangement), settings.inverter, settings.losses)
    per_m2_endless = _endless(endless, conditions, settings) if endless else float("nan")
    return _result(field, evaluator, settings, year, peak, open_light, power, per_m2_endless)


def _evaluator(arrangement: Arrangement, conditions: Conditions, settings: Settings) -> Evaluator:
    kind = arrangement.panel_type
    dirt = settings.losses.soiling_pct / 100.0
    return Evaluator(conditions, conditions.matrix(), kind, panel_model(kind), dirt)


def _ticker(label: str, progress: Progress | None, total: int) -> Callable[[int], None]:
    done = 0

    def tick(count: int) -> None:
        nonlocal done
        done += count
        if progress:
            progress(label, done, total)

    return tick


def _capacity_kw(arrangement: Arrangement) -> float:
    return float(arrangement.panel_type.pmax_w * arrangement.area_scale.sum()) / 1000.0


def _open_light(field: Field, evaluator: Evaluator) -> FloatArray:
    """Front light of each panel alone over open, unshaded ground with the skyline, (n,) kWh/m²."""
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
    light = np.asarray(evaluator.matrix.sum(axis=0)).reshape(-1) @ out.before[:, :, 0] * c.hour_kwh
    return light[kind]


def _endless(endless: EndlessPattern, conditions: Conditions, settings: Settings) -> float:
    """AC energy per m² of ground of the pattern without end, kWh/m²."""
    arrangement = endless.arrangement
    evaluator = _evaluator(arrangement, conditions, settings)
    field = build_field(arrangement, conditions, settings.full_cells, repetition=False, only=endless.unit)
    year = evaluate(field, evaluator, transmission_ratio, lambda _: None)
    area = field.rectangles.area[endless.unit]
    light = (
        float(((year.panel["front"] + year.panel["rear"])[endless.unit] * area).sum()) / endless.unit_area_m2
    )
    bound = horizontal_light(conditions)
    if light > bound * (1.0 + BOUND_TOLERANCE):
        raise PhysicsError(
            f"{arrangement.name}: found {light:.0f} kWh/m² on the panels of the endless pattern per m² of ground; "
            f"accepted: at most the {bound:.0f} kWh/m² that the sky sends there"
        )
    capacity = float(arrangement.panel_type.pmax_w * arrangement.area_scale[endless.unit].sum()) / 1000.0
    inverter = settings.inverter.model_copy(update={"ac_limit_kw": None})
    power = electricity(year.hour["dc"], capacity, inverter, settings.losses)
    return float(power.ac_kw.sum()) * conditions.weather.interval_h / endless.unit_area_m2


def _result(
    field: Field,
    evaluator: Evaluator,
    settings: Settings,
    year: FieldYear,
    peak: Peaks,
    open_light: FloatArray,
    power: Electricity,
    per_m2_endless: float,
) -> LayoutResult:
    arrangement, c = field.arrangement, evaluator.conditions
    area = field.rectangles.area
    share, panel_area = area / area.sum(), float(area.sum())
    hours, capacity = c.weather.interval_h, _capacity_kw(arrangement)
    plot_area = c.site.plot.area_m2 if c.site.plot else float("nan")
    dc, ac = float(power.dc_kw.sum()) * hours, float(power.ac_kw.sum()) * hours
    front, open_front = float(year.panel["front"] @ share), float(open_light @ share)
    beyond = (
        light_from_beyond(field.rectangles, year.beam, c, c.site.plot.boundary)
        if c.site.plot
        else float("nan")
    )
    wired = 1.0 - settings.losses.wiring_pct / 100.0
    return LayoutResult(
        name=arrangement.name,
        kind=arrangement.kind,
        panels=len(area),
        dc_capacity_kw=capacity,
        panel_area_m2=panel_area,
        reflector_area_m2=0.0,
        plot_area_m2=plot_area,
        energy_dc_kwh=dc,
        energy_ac_kwh=ac,
        kwh_per_m2_plot=ac / plot_area,
        kwh_per_m2_panel=ac / panel_area,
        kwh_per_kw=ac / capacity,
        kwh_per_m2_plot_endless=per_m2_endless,
        light_from_beyond_plot_fraction=beyond,
        irradiation_kwh_per_m2=front,
        rear_irradiation_kwh_per_m2=float(year.panel["rear"] @ share),
        irradiation_open_kwh_per_m2=open_front,
        performance_ratio=ac / capacity / open_front,
        shade_loss_fraction=1.0 - front / open_front,
        uneven_light_loss_fraction=1.0 - float(year.panel["dc"].sum() / year.panel["dc_even"].sum()),
        reflected_gain_fraction=0.0,
        hottest_cell_c=peak.hottest_cell_c,
        peak_cell_light_w_m2=peak.peak_cell_light_w_m2,
        peak_cell_ratio=peak.peak_cell_ratio,
        cautions=cautions(arrangement, peak),
        steps=ledger(
            arrangement.panel_type, capacity, share, open_light, year, power, settings.losses, hours
        ),
        per_panel=PerPanel(year.panel["front"], year.panel["rear"], year.panel["dc"] * wired),
        frame=_frame(c, year, power, field),
        arrangement=arrangement,
        traced_panels=field.traced_panels,
    )


def _frame(c: Conditions, year: FieldYear, power: Electricity, field: Field) -> pd.DataFrame:
    """Every hour of the weather year; night is dark and as warm as the air."""
    start, index = c.weather.start, c.sky.index
    columns = {
        "front_w_m2": year.hour["front"],
        "rear_w_m2": year.hour["rear"],
        "dc_kw": power.dc_kw,
        "ac_kw": power.ac_kw,
    }
    frame = pd.DataFrame(
        {name: _spread(len(start), index, v, 0.0) for name, v in columns.items()}, index=start
    )
    warm = np.array(c.weather.air_c, dtype=np.float64)
    warm[index] = year.hour["panel_c"]
    frame["panel_c"] = warm
    frame["beam_lost_fraction"] = _spread(len(start), index, _beam_lost(c, year), np.nan)
    frame["month"] = local_clock(c.site, start).month
    frame["hours"] = c.weather.interval_h
    return frame


def _spread(n: int, index: IntArray, values: FloatArray, rest: float) -> FloatArray:
    out = np.full(n, rest)
    out[index] = values
    return out


def _beam_lost(c: Conditions, year: FieldYear) -> FloatArray:
    """Share of the beam on free panels that shadows take; 1 where the skyline or slope hides a shining sun."""
    lost = np.full(len(c.albedo), np.nan)
    facing = year.hour["open_direct"] > 1e-6
    lost[facing] = 1.0 - year.hour["direct"][facing] / year.hour["open_direct"][facing]
    lost[(c.sky.beam == 0) & (c.sky.dni > 0)] = 1.0
    return lost
