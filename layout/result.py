"""Frozen results of one layout and of a plan, and their plain-dictionary form."""

import dataclasses
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import pandas as pd

from layout.arrange.arrangement import Arrangement
from layout.plan import Plan
from layout.result_gap import MethodGap
from layout.result_sheets import SheetEffect, energy_change
from layout.uncertainty import Estimate, Response, Uncertainty, uncertainty
from sites.conventions import FloatArray


@dataclass(frozen=True)
class Step:
    """One step from sunlight to socket.

    label : what happens
    kwh : energy that is left after the step; optical steps count light on the panels' area times the
        rated efficiency, so that all steps share one unit
    factor : kwh over the step before (1.0 for the first); all factors multiply to last over first
    source : published source, or "our assumption"
    """

    label: str
    kwh: float
    factor: float
    source: str


@dataclass(frozen=True, eq=False)
class PerPanel:
    """Yearly figures of each panel in the order built; (n_panels,) float."""

    front_kwh_per_m2: FloatArray
    rear_kwh_per_m2: FloatArray
    energy_dc_kwh: FloatArray


@dataclass(frozen=True, eq=False)
class WorstHour:
    """The hour and panel with the hottest cell.

    start : UTC; panel : its number in the order built; light_w_m2, cell_c : (n_up, n_along), light on the front
    before glass
    """

    start: pd.Timestamp
    panel: int
    air_c: float
    wind_m_s: float
    light_w_m2: FloatArray
    cell_c: FloatArray


@dataclass(frozen=True, eq=False)
class HotSpotHour:
    """The cell that takes up most power from the others in series with it: hour (UTC), panel in the order built, power
    that it takes up, W, and its temperature, °C."""

    start: pd.Timestamp
    panel: int
    taken_up_w: float
    cell_c: float

    def to_dict(self) -> dict[str, Any]:
        """Plain values."""
        return dataclasses.asdict(self) | {"start": self.start.isoformat()}


@dataclass(frozen=True, eq=False)
class HotSpots:
    """The worst hot spots: with working bypass diodes, and had they failed open (alike where the type has none);
    None where no cell takes up power.

    cautions : lines, where a cell gets beyond the panel's limit
    """

    working: HotSpotHour | None
    failed: HotSpotHour | None
    cautions: tuple[str, ...]

    def to_dict(self) -> dict[str, Any]:
        """Plain numbers."""
        cases = {"working_diode": self.working, "failed_diode": self.failed}
        return {name: hour.to_dict() if hour else None for name, hour in cases.items()}


@dataclass(frozen=True, eq=False)
class Peaks:
    """The most that any cell gets in the year.

    hottest_cell_c, hottest_cell_still_air_c : with the year's wind, and had there been none
    peak_cell_light_w_m2 : on the front, before glass; peak_cell_ratio : brightest cell over its panel's mean
    hours_above_cell_limit, hours_above_light_limit : time in which some cell is beyond the panel's limit
    """

    hottest_cell_c: float
    hottest_cell_still_air_c: float
    peak_cell_light_w_m2: float
    peak_cell_ratio: float
    hours_above_cell_limit: float
    hours_above_light_limit: float
    worst: WorstHour
    hot_spots: HotSpots

    def to_dict(self) -> dict[str, Any]:
        """Plain numbers and lists."""
        out = {f.name: getattr(self, f.name) for f in dataclasses.fields(self) if f.name not in ("worst", "hot_spots")}
        worst = {f.name: getattr(self.worst, f.name) for f in dataclasses.fields(WorstHour)}
        worst |= {"start": self.worst.start.isoformat()}
        worst |= {name: worst[name].tolist() for name in ("light_w_m2", "cell_c")}
        return out | {"worst_hour": worst, "hot_spot": self.hot_spots.to_dict()}


@dataclass(frozen=True)
class LightLedger:
    """A year's beam on the reflectors of a layout, kWh. arrived and reached: backward; the rest: forward."""

    arrived_kwh: float
    reached_kwh: float
    missed_kwh: float
    absorbed_kwh: float
    masked_kwh: float

    @property
    def gap_fraction(self) -> float:
        """What the shares leave open, over what arrived."""
        parts = self.reached_kwh + self.missed_kwh + self.absorbed_kwh + self.masked_kwh
        return parts / self.arrived_kwh - 1.0 if self.arrived_kwh > 0 else 0.0


@dataclass(frozen=True, eq=False)
class Adjusted:
    """The same layout with its reflectors set by hand to each month's best angle.

    angles_deg : (12,) January first; tried_deg : the angles tried; ac_kw : the hours of such a year
    """

    angles_deg: tuple[float, ...]
    tried_deg: tuple[float, ...]
    ac_kw: pd.Series
    energy_ac_kwh: float


@dataclass(frozen=True, eq=False)
class Boost:
    """What the reflectors of a layout do, against the same layout without them, or without its see-through sheets where
    it has no reflectors.

    bare_energy_ac_kwh, bare_ac_kw : the year and the hours, as in LayoutResult.frame, without them
    extra_kwh_per_m2_reflector : extra AC energy per m² of reflector; bare_kwh_per_m2_panel : AC energy per m² of panel
        without reflectors; break_even_fraction : how dear a m² of reflector may be as a fraction of a m² of panel
    beam_lost_kwh_per_m2 : beam that shadows take from the panels without reflectors; brought_kwh_per_m2 : sunlight
        that reflectors bring to the panels, NaN where there are see-through sheets, whose light is not told from it;
        both faces, before glass, per m² of panel
    """

    bare_energy_ac_kwh: float
    bare_ac_kw: pd.Series
    extra_kwh_per_m2_reflector: float
    bare_kwh_per_m2_panel: float
    break_even_fraction: float
    beam_lost_kwh_per_m2: float
    brought_kwh_per_m2: float
    ledger: LightLedger
    adjusted: Adjusted | None = None
    """None unless the plan asks for it."""

    def change(self, energy_ac_kwh: float) -> float:
        """An AC energy over that without them, minus 1."""
        return energy_change(energy_ac_kwh, self.bare_energy_ac_kwh)

    @property
    def rest_kwh_per_m2(self) -> float:
        """Beam still missing (above 0) or on top (below 0) when the reflectors have given what they bring."""
        return self.beam_lost_kwh_per_m2 - self.brought_kwh_per_m2

    def to_dict(self) -> dict[str, Any]:
        """Plain numbers."""
        skip = {"bare_ac_kw", "ledger", "adjusted"}
        out = {f.name: getattr(self, f.name) for f in dataclasses.fields(self) if f.name not in skip}
        ledger = None
        if self.ledger.arrived_kwh > 0:
            ledger = dataclasses.asdict(self.ledger) | {"gap_fraction": self.ledger.gap_fraction}
        if self.adjusted:
            out["adjusted_monthly"] = {
                "angles_deg": list(self.adjusted.angles_deg),
                "tried_deg": list(self.adjusted.tried_deg),
                "energy_ac_kwh": self.adjusted.energy_ac_kwh,
            }
        return out | {"rest_kwh_per_m2": self.rest_kwh_per_m2, "reflector_light": ledger}


@dataclass(frozen=True, eq=False)
class HotWater:
    """A year of one layout's hot water.

    hot_water_kwh : heat drawn; asked_kwh : had the store always been at set_c; collected_kwh : off the panels;
    store_loss_kwh; stored_kwh : left in the store at the end over its start
    hours_at_set_temperature : hours of the year in which the store was at least at set_c
    factor : (k,) [-] DC power over that of the dry panels; panel_c : (k,) [°C] mean cell temperature of all panels
    store_c : (n,) [°C] at the end of each record; collected_kw, drawn_kw : (n,) [kW] off the panels, at the tap
    dry_energy_ac_kwh, energy_ac_kwh : AC energy of the panels dry, and as they are
    """

    hot_water_kwh: float
    asked_kwh: float
    collected_kwh: float
    store_loss_kwh: float
    stored_kwh: float
    hours_at_set_temperature: float
    factor: FloatArray
    panel_c: FloatArray
    store_c: FloatArray
    collected_kw: FloatArray
    drawn_kw: FloatArray
    dry_energy_ac_kwh: float = float("nan")
    energy_ac_kwh: float = float("nan")

    def to_dict(self) -> dict[str, Any]:
        """Plain numbers."""
        names = (
            "hot_water_kwh", "asked_kwh", "collected_kwh", "store_loss_kwh", "stored_kwh", "hours_at_set_temperature",
            "dry_energy_ac_kwh",
        )  # fmt: skip
        change = self.energy_ac_kwh - self.dry_energy_ac_kwh
        return {name: getattr(self, name) for name in names} | {"electricity_change_kwh": change}


@dataclass(frozen=True, eq=False)
class LayoutResult:
    """One layout over one year. Key meanings: the README's result table."""

    name: str
    kind: str
    panels: int
    dc_capacity_kw: float
    panel_area_m2: float
    reflector_area_m2: float
    plot_area_m2: float
    energy_dc_kwh: float
    energy_ac_kwh: float
    kwh_per_m2_plot: float
    kwh_per_m2_panel: float
    kwh_per_kw: float
    kwh_per_m2_plot_endless: float
    light_from_beyond_plot_fraction: float
    irradiation_kwh_per_m2: float
    rear_irradiation_kwh_per_m2: float
    irradiation_open_kwh_per_m2: float
    performance_ratio: float
    shade_loss_fraction: float
    uneven_light_loss_fraction: float
    string_mismatch_loss_fraction: float
    parallel_mismatch_loss_fraction: float
    voltage_window_loss_fraction: float
    start_loss_kwh: float
    reflected_gain_fraction: float
    dc_ac_ratio: float
    clipped_kwh: float
    hottest_cell_c: float
    peak_cell_light_w_m2: float
    peak_cell_ratio: float
    cautions: tuple[str, ...]
    steps: tuple[Step, ...]
    per_panel: PerPanel
    frame: pd.DataFrame
    """Hourly, index UTC start of the interval: ``front_w_m2``, ``rear_w_m2`` (area means before glass), ``open_w_m2``
    (fronts alone, as in irradiation_open_kwh_per_m2), ``panel_c``, ``dc_kw``, ``clipped_kw`` (AC, before
    standstill), ``ac_kw``, ``beam_lost_fraction`` (NaN where no beam), ``month`` of the site's clock, ``hours``; with
    hot water also ``store_c`` (at the end of the interval), ``heat_collected_kw`` and ``heat_drawn_kw``."""
    arrangement: Arrangement
    traced_panels: int
    """How many panels were traced; the others share a traced panel's surroundings."""
    peaks: Peaks | None = None
    boost: Boost | None = None
    """None where the layout has no reflectors and no diffusers."""
    sheets: SheetEffect | None = None
    """None where the layout has no covers and no other see-through sheets."""
    hot_water: HotWater | None = None
    method_gap: MethodGap | None = None
    """None unless the plan asks for it."""
    response: Response | None = None
    """None without an AC limit: energy then goes by the light."""

    def to_dict(self, per_panel: bool = False) -> dict[str, Any]:
        """Plain numbers, strings and lists; the arrays per panel only where asked for."""
        skip = {"frame", "arrangement", "per_panel", "steps", "cautions", "peaks", "boost", "hot_water", "method_gap"}
        skip |= {"sheets", "response"}
        out: dict[str, Any] = {f.name: getattr(self, f.name) for f in dataclasses.fields(self) if f.name not in skip}
        out["cautions"] = list(self.cautions)
        out["steps"] = [dataclasses.asdict(step) for step in self.steps]
        out["fit"] = list(self.arrangement.fit)
        monthly = self.monthly()
        out["monthly_energy_ac_kwh"] = monthly["energy_ac_kwh"].tolist()
        out["monthly_final_yield_kwh_per_kw"] = monthly["final_yield_kwh_per_kw"].tolist()
        out["monthly_reference_yield_h"] = monthly["reference_yield_h"].tolist()
        out["monthly_performance_ratio"] = monthly["performance_ratio"].tolist()
        if self.peaks:
            out["limits"] = self.peaks.to_dict()
        if self.boost:
            out["boost"] = self.boost.to_dict()
        if self.sheets:
            out["see_through"] = self.sheets.to_dict()
        if self.method_gap:
            out["method_gap"] = self.method_gap.to_dict()
        if self.hot_water:
            out["hot_water"] = self.hot_water.to_dict()
        if per_panel:
            out["per_panel"] = {f.name: getattr(self.per_panel, f.name).tolist() for f in dataclasses.fields(PerPanel)}
        return out

    def monthly(self) -> pd.DataFrame:
        """Sums by month of the site's clock, index 1 to 12: ``energy_dc_kwh``, ``energy_ac_kwh``,
        ``front_kwh_per_m2``, ``rear_kwh_per_m2``; and the metrics of IEC 61724-1, ``final_yield_kwh_per_kw``,
        ``reference_yield_h`` (open front light over 1 kW/m²), ``performance_ratio`` (NaN in a month without light)."""
        columns = {
            "dc_kw": "energy_dc_kwh",
            "ac_kw": "energy_ac_kwh",
            "front_w_m2": "front_kwh_per_m2",
            "rear_w_m2": "rear_kwh_per_m2",
            "open_w_m2": "reference_yield_h",
        }
        hours = self.frame["hours"]
        sums = self.frame[list(columns)].mul(hours, axis=0).groupby(self.frame["month"]).sum()
        sums = sums.rename(columns=columns).reindex(range(1, 13), fill_value=0.0)
        sums[["front_kwh_per_m2", "rear_kwh_per_m2", "reference_yield_h"]] /= 1000.0
        sums["final_yield_kwh_per_kw"] = sums["energy_ac_kwh"] / self.dc_capacity_kw
        lit = sums["reference_yield_h"] > 0
        sums["performance_ratio"] = (sums["final_yield_kwh_per_kw"] / sums["reference_yield_h"]).where(lit)
        return sums


@dataclass(frozen=True, eq=False)
class PlanResult:
    """All layouts of a plan on its one plot."""

    plan: Plan
    layouts: Mapping[str, LayoutResult]
    weather_notes: tuple[str, ...]
    warnings: tuple[str, ...]

    @property
    def uncertainty(self) -> Uncertainty:
        """P50 and P90 of the layouts and of their differences."""
        estimates = [
            Estimate(
                name,
                r.energy_ac_kwh,
                r.boost.bare_energy_ac_kwh if r.boost else r.energy_ac_kwh,
                r.arrangement.panel_type.name,
                r.response,
            )
            for name, r in self.layouts.items()
        ]
        return uncertainty(estimates, self.plan.uncertainty)

    def to_dict(self, per_panel: bool = False) -> dict[str, Any]:
        """Plain numbers, strings and lists, units in the key names."""
        return {
            "title": self.plan.title,
            "weather_notes": list(self.weather_notes),
            "warnings": list(self.warnings),
            "uncertainty": self.uncertainty.to_dict(),
            "layouts": {name: r.to_dict(per_panel) for name, r in self.layouts.items()},
        }
