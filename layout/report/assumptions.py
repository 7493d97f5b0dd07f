"""What the figures rest on: place, weather, ground, panels, losses, methods, and where each comes from."""

from dataclasses import dataclass

import numpy as np

from layout.hot_water import APPROACH_K, DRAW_HOURS
from layout.hot_water_table import HotWaterTable
from layout.panel_type import PanelType
from layout.plan_tables import OUR_ASSUMPTION
from layout.power.heat import wind_ratio
from layout.power.inverter import EURO_WEIGHTS, weighted_efficiency
from layout.report.numbers import number
from layout.report.sheet_assumptions import sheet_assumptions
from layout.result import PlanResult
from layout.wiring_tables import WiringTable
from sites.site import Site


@dataclass(frozen=True)
class Assumption:
    """One line: what, its value, and where that comes from."""

    what: str
    value: str
    source: str


def place_line(site: Site) -> str:
    """The place in one line, without the name of the plan."""
    place = site.location
    north = "north" if place.latitude_deg >= 0 else "south"
    east = "east" if place.longitude_deg >= 0 else "west"
    words = [
        f"{abs(place.latitude_deg):.2f}° {north}, {abs(place.longitude_deg):.2f}° {east}",
        f"{place.elevation_m:.0f} m above sea level",
        f"clock {place.time_zone}",
    ]
    if site.plot is not None:
        words.append(f"plot {number(site.plot.area_m2)} m²")
    return " · ".join(words)


def _weather(site: Site) -> Assumption:
    source = site.weather
    if source.path is not None:
        return Assumption("Weather", source.path.name, "weather file; checks and gaps are listed below")
    return Assumption(
        "Weather",
        f"a year made from twelve monthly means, seed {source.seed}",
        "no weather file given; the method is named below",
    )


def _albedo(site: Site) -> Assumption:
    if site.albedo is None:
        return Assumption("Albedo of the ground", "the weather file's column, else 0.2", "not given in the plan")
    low, high = float(np.min(site.albedo)), float(np.max(site.albedo))
    value = f"{low:.2f}" if high - low < 0.005 else f"{low:.2f} to {high:.2f} by month"
    return Assumption("Albedo of the ground", value, "the plan or its bundled site")


def _ground(site: Site) -> list[Assumption]:
    lines = [_albedo(site)]
    if site.plot is not None and site.plot.slope_deg > 0:
        value = f"{site.plot.slope_deg:g}°, downhill toward {site.plot.slope_azimuth_deg:g}°"
        lines.append(Assumption("Slope", value, "the plan or its bundled site; the plot is taken as one plane"))
    if site.skyline.azimuth_deg.size:
        value = f"{site.skyline.azimuth_deg.size} points, up to {site.skyline.elevation_deg.max():.1f}°"
        lines.append(Assumption("Skyline", value, "the plan or its bundled site"))
    return lines


def _panel(kind: PanelType, layouts: list[str]) -> Assumption:
    rear = f", rear face at {100 * kind.bifaciality:.0f} % of the front's" if kind.bifaciality else ""
    ours = [name for name, s in (("heat", kind.max_cell_stated), ("light", kind.max_light_stated)) if not s]
    heat = f"{kind.gamma_pmax_pct_per_k:g}".replace("-", "−")
    limits = f"; our default for {' and '.join(ours)}" if ours else ""
    value = (
        f"{kind.name}: {kind.length_m:g} × {kind.width_m:g} m, {kind.pmax_w:g} W, "
        f"{heat} %/K, {kind.bypass_groups} bypass groups{rear}; rated for "
        f"{kind.max_cell_c:g} °C and {kind.max_light_w_m2:g} W/m²{limits}"
    )
    return Assumption("Panels of " + ", ".join(layouts), value, kind.note or "datasheet values of the plan")


def _panels(result: PlanResult) -> list[Assumption]:
    used: dict[PanelType, list[str]] = {}
    for name, layout in result.layouts.items():
        used.setdefault(layout.arrangement.panel_type, []).append(name)
    return [_panel(kind, names) for kind, names in used.items()]


def _wiring(wiring: WiringTable) -> tuple[str, str]:
    """What is in series, and who says so."""
    values = {
        "panel": "electronics of its own on each panel",
        "row": f"strings along rows, levels and tower faces, up to {wiring.panels_per_string} panels",
        "list": f"{len(wiring.string)} listed strings; the other panels with electronics of their own",
    }
    text = values[wiring.mode]
    if wiring.mode != "panel":
        text += f", {_trackers(wiring)}; trackers hold {wiring.window}"
    return text, "the plan" if "mode" in wiring.model_fields_set else OUR_ASSUMPTION


def _trackers(wiring: WiringTable) -> str:
    if not wiring.in_parallel:
        return "a tracker each"
    return "trackers as listed" if wiring.mode == "list" else f"up to {wiring.strings_per_tracker} on one tracker"


def _water(table: HotWaterTable | None) -> list[Assumption]:
    """Collectors, store and draw of hot water; none where the plan asks for none."""
    if table is None:
        return []
    collector = f"eta0 {table.eta0:g}, a1 {table.a1:g} W/m²K, a2 {table.a2:g} W/m²K², on {100 * table.panels_share:g} %"
    store = (
        f"{table.store_litres:g} litres, mixed, loses {table.store_loss_w_per_k:g} W/K to {table.room_c:g} °C; pump "
        f"stops at {table.most_c:g} °C"
    )
    hours = ", ".join(f"{hour}" for hour in DRAW_HOURS)
    draw = f"{table.draw_litres_per_day:g} litres a day at {table.set_c:g} °C from {table.cold_c:g} °C"
    ours = "the plan and its defaults; the rest our assumption"
    return [
        Assumption("Heat off the panels", f"{collector} of the panels", "form of ISO 9806; at most what they lose"),
        Assumption("Store", f"{store}; water in the panels {APPROACH_K:g} K warmer", ours),
        Assumption("Hot water drawn", f"{draw}, evenly in the hours from {hours}", ours),
    ]


def _electrical(result: PlanResult) -> list[Assumption]:
    losses, inverter = result.plan.losses, result.plan.inverter
    limit = "none: nothing is cut off" if inverter.ac_limit_kw is None else f"{inverter.ac_limit_kw:g} kW"
    curve = np.asarray(inverter.efficiency_pct, dtype=np.float64)
    return [
        Assumption("AC limit of the inverter", limit, "the plan" if inverter.ac_limit_kw is not None else "not given"),
        Assumption(
            "Inverter efficiency",
            f"{curve.min():.1f} to {curve.max():.1f} % by load, {curve[-1]:.1f} % at full load, "
            f"{100 * weighted_efficiency(curve / 100.0, EURO_WEIGHTS):.1f} % weighted as in EN 50530, European",
            "the plan" if "efficiency_pct" in inverter.model_fields_set else OUR_ASSUMPTION,
        ),
        Assumption(
            "Inverter's start",
            f"at {inverter.start_kw:g} kW of DC power" if inverter.start_kw else "at any power",
            "the plan" if "start_kw" in inverter.model_fields_set else OUR_ASSUMPTION,
        ),
        Assumption("Wiring of the panels", *_wiring(result.plan.wiring)),
        Assumption("Soiling", f"{losses.soiling_pct:g} % of the light", losses.soiling_source),
        Assumption("Wiring", f"{losses.wiring_pct:g} % of DC energy", losses.wiring_source),
        Assumption("Standstill", f"{losses.availability_pct:g} % of AC energy", losses.availability_source),
    ]


METHODS = (
    Assumption("Sun positions", "SPA, apparent elevation", "Reda & Andreas, NREL/TP-560-34302 (2008)"),
    Assumption(
        "Sky",
        "sun, even dome and a band at the horizon; sky below the skyline is dark",
        "Perez et al. (1990) with the brightness of Driesse et al. (2024)",
    ),
    Assumption("Light on cells", "traced once per sun direction, then summed", "Tregenza & Waters (1983)"),
    Assumption("Ground light", "one bounce off matt ground that is itself shaded", "our choice"),
    Assumption("Glass", "Fresnel and absorption, ray by ray", "De Soto, Klein & Beckman (2006)"),
    Assumption("Heat", "from light and wind, with the panel's two coefficients", "Faiman (2008)"),
    Assumption("Wind at the panels", f"{wind_ratio():.2f} of the wind at 10 m height",
               "power law of 1/7 on open ground, Justus & Mikhail (1976); between panels our assumption"),
    Assumption("Electricity", "one-diode model; every cell's curve, forward and reverse",
               "De Soto, Klein & Beckman (2006); Bishop (1988); nearly even light: Bucciarelli (1979)"),
)  # fmt: skip


def assumptions(result: PlanResult) -> tuple[Assumption, ...]:
    """Every assumption of a result, the plan's own first."""
    site = result.plan.site
    return (
        _weather(site),
        *_ground(site),
        *_panels(result),
        *(Assumption(*line) for line in sheet_assumptions(result)),
        *_electrical(result),
        *_water(result.plan.hot_water),
        *METHODS,
    )
