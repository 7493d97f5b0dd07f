"""The figures of one layout that follow from its traced year."""

from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from layout.arrange.arrangement import Arrangement
from layout.cautions import cautions, inverter_cautions
from layout.conditions import Conditions, local_clock
from layout.errors import PhysicsError
from layout.evaluate import Evaluator, FieldYear
from layout.fair import light_from_beyond
from layout.field import Field
from layout.geometry.rectangles import Rectangles
from layout.hot_water_table import HotWaterTable
from layout.ledger import Electricity, electricity, ledger
from layout.light_ledger import light_ledger
from layout.plan import InverterTable, LossTable
from layout.reached_light import arriving_beam
from layout.result import Boost, HotWater, LayoutResult, LightLedger, Peaks, PerPanel, Step
from layout.result_gap import MethodGap
from layout.result_sheets import SheetEffect, energy_change
from layout.strings import string_cautions, window_doubts
from layout.uncertainty import REFLECTANCE_FACTORS, RESPONSE_FACTORS, Response
from layout.wiring_tables import PANEL_LEVEL, WiringTable
from sites.conventions import FloatArray, IntArray

LEDGER_TOLERANCE = 0.01
"""A gap in the reflectors' light beyond this share of what arrives on them is a defect of the program and raises.
tests/layout/test_light_ledger.py prints it for narrow and wide sheets."""


@dataclass(frozen=True)
class Settings:
    """full_cells : every cell in the year instead of the coarser net; repetition : share the tracing of panels
    with equal surroundings."""

    inverter: InverterTable
    losses: LossTable
    full_cells: bool = False
    repetition: bool = True
    wiring: WiringTable = PANEL_LEVEL
    hot_water: HotWaterTable | None = None


@dataclass(frozen=True, eq=False)
class Traced:
    """All that was traced of one layout. bare_year : the year without reflectors and diffusers, None where it has
    none; open_light : (n,) kWh/m² on each panel alone; open_w_m2 : (k,) area mean of
    that by hour; bare_power : as ``power``, of ``bare_year``; unboosted_power : that without reflectors, see-through
    sheets left, or without these where there are no reflectors; sheets : what these do."""

    field: Field
    evaluator: Evaluator
    year: FieldYear
    bare_year: FieldYear | None
    peak: Peaks
    open_light: FloatArray
    open_w_m2: FloatArray
    power: Electricity
    bare_power: Electricity | None
    unboosted_power: Electricity | None
    per_m2_endless: float
    water: HotWater | None = None
    method_gap: MethodGap | None = None
    sheets: SheetEffect | None = None


def capacity_kw(arrangement: Arrangement) -> float:
    """Rated power of all panels."""
    return float(arrangement.panel_type.pmax_w * arrangement.area_scale.sum()) / 1000.0


def layout_result(traced: Traced, settings: Settings) -> LayoutResult:
    """Every figure of a layout.

    Raises PhysicsError where the light of its reflectors does not close.
    """
    field, year, peak = traced.field, traced.year, traced.peak
    arrangement, c = field.arrangement, traced.evaluator.conditions
    area = field.rectangles.area
    share, hours, capacity = area / area.sum(), c.weather.interval_h, capacity_kw(arrangement)
    ac = float(traced.power.ac_kw.sum()) * hours
    light, arriving = _light(traced, share), arriving_beam(field, c)
    boost = _boost(traced, ac, arriving) if traced.bare_year else None
    wired = _kept(year, "wired", "dc") * (1.0 - settings.losses.wiring_pct / 100.0) * _cooled(traced)
    plot_area = c.site.plot.area_m2 if c.site.plot else float("nan")
    return LayoutResult(
        name=arrangement.name,
        kind=arrangement.kind,
        panels=len(area),
        dc_capacity_kw=capacity,
        panel_area_m2=float(area.sum()),
        reflector_area_m2=sum(r.area_m2 for r in arrangement.scene.reflectors),
        plot_area_m2=plot_area,
        **_energy(traced, settings, hours),
        kwh_per_m2_plot=ac / plot_area,
        kwh_per_m2_panel=ac / float(area.sum()),
        kwh_per_kw=ac / capacity,
        kwh_per_m2_plot_endless=traced.per_m2_endless,
        light_from_beyond_plot_fraction=_beyond(field, year, c, arriving),
        **light,
        performance_ratio=ac / capacity / light["irradiation_open_kwh_per_m2"],
        dc_ac_ratio=capacity / (settings.inverter.ac_limit_kw or float("nan")),
        hottest_cell_c=peak.hottest_cell_c,
        peak_cell_light_w_m2=peak.peak_cell_light_w_m2,
        peak_cell_ratio=peak.peak_cell_ratio,
        cautions=cautions(arrangement, peak, boost, traced.water) + _wired_cautions(traced, settings),
        steps=_steps(traced, settings, share),
        per_panel=PerPanel(year.panel["front"], year.panel["rear"], year.panel["dc"] * wired),
        frame=_frame(c, year, traced.power, traced),
        arrangement=arrangement,
        traced_panels=field.traced_panels,
        peaks=peak,
        boost=boost,
        sheets=traced.sheets,
        hot_water=traced.water,
        method_gap=traced.method_gap,
        response=_response(traced, settings, capacity, hours),
    )


def _light(traced: Traced, share: FloatArray) -> dict[str, Any]:
    """Light of a year on the panels, area means, and what shade takes; share : (n,) area of each panel over the
    whole."""
    year, bare = traced.year, traced.bare_year or traced.year
    free = float(traced.open_light @ share)
    return {
        "irradiation_kwh_per_m2": float(year.panel["front"] @ share),
        "rear_irradiation_kwh_per_m2": float(year.panel["rear"] @ share),
        "irradiation_open_kwh_per_m2": free,
        "shade_loss_fraction": 1.0 - float(bare.panel["front"] @ share) / free,
    }


def _energy(traced: Traced, settings: Settings, hours: float) -> dict[str, Any]:
    """Energy of a year at the inverter's two sides and what is lost on the way from the cells; hours : of a record."""
    year, power = traced.year, traced.power
    ac = float(power.ac_kw.sum()) * hours
    return {
        "energy_dc_kwh": float(power.dc_kw.sum()) * hours,
        "energy_ac_kwh": ac,
        "uneven_light_loss_fraction": 1.0 - float(year.panel["dc"].sum() / year.panel["dc_even"].sum()),
        "string_mismatch_loss_fraction": 1.0 - _kept(year, "series", "dc"),
        "parallel_mismatch_loss_fraction": 1.0 - _kept(year, "parallel", "series"),
        "voltage_window_loss_fraction": 1.0 - _kept(year, "wired", "parallel"),
        "start_loss_kwh": float((power.dc_kw - power.started_kw).sum()) * hours,
        "reflected_gain_fraction": energy_change(ac, float((traced.bare_power or power).ac_kw.sum()) * hours),
        "clipped_kwh": float(power.clipped_kw.sum()) * hours,
    }


def _response(traced: Traced, settings: Settings, capacity: float, hours: float) -> Response | None:
    """What the inverter makes of more or less DC power, and of reflectors that add more or less to it, where it has an
    AC limit."""
    if settings.inverter.ac_limit_kw is None:
        return None
    whole = traced.power.panel_kw
    bare = traced.unboosted_power.panel_kw if traced.unboosted_power else whole
    years = [np.maximum(0.0, bare + (whole - bare) * f) for f in (REFLECTANCE_FACTORS if bare is not whole else [1.0])]
    year = [
        [
            electricity(1000.0 * factor * panel_kw, capacity, settings.inverter, settings.losses).ac_kw.sum()
            for factor in RESPONSE_FACTORS
        ]
        for panel_kw in years
    ]
    return Response(np.array(year) * hours)


def _steps(traced: Traced, settings: Settings, share: FloatArray) -> tuple[Step, ...]:
    """From sunlight to socket; share : (n,) area of each panel over the whole."""
    arrangement = traced.field.arrangement
    return ledger(
        arrangement.panel_type,
        capacity_kw(arrangement),
        share,
        traced.open_light,
        traced.year,
        traced.bare_year,
        traced.power,
        settings.losses,
        traced.evaluator.conditions.weather.interval_h,
        arrangement.cover is not None,
        settings.wiring,
        _cooled(traced) if traced.water else None,
    )


def _beyond(field: Field, year: FieldYear, c: Conditions, arriving: FloatArray) -> float:
    """Share of the beam on panels and reflectors that would otherwise have reached the ground outside the plot."""
    if c.site.plot is None:
        return float("nan")
    sheets = Rectangles.of(field.arrangement.scene.reflectors)
    beam = np.concatenate([year.beam - year.by_sheets, arriving], axis=1)
    return light_from_beyond(field.rectangles.joined(sheets), beam, c, c.site.plot.boundary)


def _boost(traced: Traced, ac: float, arriving: FloatArray) -> Boost:
    """What the reflectors and diffusers do."""
    field, year, bare, power = traced.field, traced.year, traced.bare_year, traced.unboosted_power
    assert bare is not None
    assert power is not None
    arrangement, c = field.arrangement, traced.evaluator.conditions
    area, light = field.rectangles.area, c.sun_light()
    bare_ac = float(power.ac_kw.sum()) * c.weather.interval_h
    both = np.array([p.bifacial for p in arrangement.scene.panels], dtype=bool)
    cosine = c.parts.sun @ field.rectangles.normal.T
    free = np.where(both, np.abs(cosine), np.maximum(0.0, cosine))
    reflectors = sum(r.area_m2 for r in arrangement.scene.reflectors)
    per_reflector = (ac - bare_ac) / reflectors if reflectors else float("nan")
    per_panel = bare_ac / float(area.sum())
    reflected = adds_up(light_ledger(field, c, arriving), arrangement.name)
    brought = float((year.by_sheets @ area) @ light / area.sum())
    return Boost(
        bare_energy_ac_kwh=bare_ac,
        bare_ac_kw=pd.Series(spread(len(c.weather.start), c.sky.index, power.ac_kw, 0.0), index=c.weather.start),
        extra_kwh_per_m2_reflector=per_reflector,
        bare_kwh_per_m2_panel=per_panel,
        break_even_fraction=_over(per_reflector, per_panel),
        beam_lost_kwh_per_m2=float(((free - bare.beam) @ area) @ light / area.sum()),
        brought_kwh_per_m2=float("nan") if arrangement.scene.diffusers else brought,
        ledger=reflected,
    )


def adds_up(ledger: LightLedger, name: str) -> LightLedger:
    """The ledger of a layout's reflectors as it is. Raises PhysicsError where its shares, each estimated by itself,
    miss what arrived by more than the tolerance."""
    if abs(ledger.gap_fraction) > LEDGER_TOLERANCE:
        raise PhysicsError(
            f"{name}: found shares of the reflectors' light that miss what arrives on them by "
            f"{100 * ledger.gap_fraction:.1f} %; accepted: within {100 * LEDGER_TOLERANCE:g} %"
        )
    return ledger


def _over(part: float, whole: float) -> float:
    """A ratio; NaN over nothing (an inverter that never starts)."""
    return part / whole if whole > 0.0 else float("nan")


def _kept(year: FieldYear, after: str, before: str) -> float:
    """Share of the year's energy that is left from one of the hours' powers to another."""
    whole = float(year.hour[before].sum())
    return float(year.hour[after].sum()) / whole if whole > 0 else 1.0


def wired_doubts(arrangement: Arrangement, inverter: InverterTable, wiring: WiringTable) -> tuple[str, ...]:
    """What looks wrong with strings and inverter before any light is worked out."""
    too_late = float(inverter.start_kw >= capacity_kw(arrangement))
    lines = inverter_cautions(inverter, capacity_kw(arrangement), too_late)
    return (*window_doubts(arrangement, wiring), *lines)


def _wired_cautions(traced: Traced, settings: Settings) -> tuple[str, ...]:
    """On strings and the inverter."""
    arrangement, power = traced.field.arrangement, traced.power
    coldest = float(traced.evaluator.conditions.air_c.min())
    lost = 1.0 - _kept(traced.year, "wired", "parallel")
    not_started = 1.0 - _over(float(power.started_kw.sum()), float(power.dc_kw.sum()))
    return (
        *string_cautions(arrangement, settings.wiring, coldest, lost),
        *inverter_cautions(settings.inverter, capacity_kw(arrangement), not_started),
    )


def _cooled(traced: Traced) -> float:
    """DC energy over that of the same panels without hot water, as each is wired."""
    wired = traced.year.hour["wired"]
    return float((wired * traced.water.factor).sum() / wired.sum()) if traced.water and wired.any() else 1.0


def _frame(c: Conditions, year: FieldYear, power: Electricity, traced: Traced) -> pd.DataFrame:
    """Every hour of the weather year; night is dark and as warm as the air."""
    start, index = c.weather.start, c.sky.index
    columns = {
        "front_w_m2": year.hour["front"],
        "rear_w_m2": year.hour["rear"],
        "open_w_m2": traced.open_w_m2,
        "dc_kw": power.dc_kw,
        "clipped_kw": power.clipped_kw,
        "ac_kw": power.ac_kw,
    }
    frame = pd.DataFrame({name: spread(len(start), index, v, 0.0) for name, v in columns.items()}, index=start)
    warm = np.array(c.weather.air_c, dtype=np.float64)
    warm[index] = traced.water.panel_c if traced.water else year.hour["panel_c"]
    frame["panel_c"] = warm
    frame["beam_lost_fraction"] = spread(len(start), index, _beam_lost(c, year), np.nan)
    frame["month"] = local_clock(c.site, start).month
    frame["hours"] = c.weather.interval_h
    if traced.water:
        frame["store_c"] = traced.water.store_c
        frame["heat_collected_kw"], frame["heat_drawn_kw"] = traced.water.collected_kw, traced.water.drawn_kw
    return frame


def spread(n: int, index: IntArray, values: FloatArray, rest: float) -> FloatArray:
    """Values (k,) at places (k,) of n, the rest everywhere else."""
    out = np.full(n, rest)
    out[index] = values
    return out


def _beam_lost(c: Conditions, year: FieldYear) -> FloatArray:
    """Share of the beam on free panels that shadows take; 1 where the skyline or slope hides a shining sun."""
    lost = np.full(len(c.albedo), np.nan)
    facing = year.hour["open_direct"] > 1e-6
    # What is not shaded may come out a last digit above what is free.
    lost[facing] = np.maximum(0.0, 1.0 - year.hour["direct"][facing] / year.hour["open_direct"][facing])
    lost[(c.sky.beam == 0) & (c.sky.dni > 0)] = 1.0
    return lost
