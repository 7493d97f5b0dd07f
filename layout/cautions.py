"""The caution lines that go with a layout's figures."""

from layout.arrange.arrangement import Arrangement
from layout.plan_tables import InverterTable
from layout.result import Boost, HotWater, Peaks
from layout.sheet_cautions import height_m, sheet_cautions

TALL_M = 2.5
"""Above this a structure is worth a word on wind and foundations; common practice, no source."""

SMALL_LOAD = 0.3
"""Panels whose rated power is below this share of the inverter's AC limit are told: inverters lose most at small loads,
and a limit in watts reads the same; our choice."""

START_LOSS = 0.02
"""Share of the DC energy below the inverter's start that is worth a word; common practice, no source."""


def cautions(
    arrangement: Arrangement, peak: Peaks, boost: Boost | None = None, water: HotWater | None = None
) -> tuple[str, ...]:
    """Lines, each with the number that matters, deferring to local codes and licensed practice.

    boost : what the layout's reflectors do, where it has any; water : its hot water
    """
    kind = arrangement.panel_type
    ours = " (our default; the maker's data sheet decides)"
    warm, bright = ("" if stated else ours for stated in (kind.max_cell_stated, kind.max_light_stated))
    lines = []
    if peak.hottest_cell_c > kind.max_cell_c:
        lines.append(
            f"Heat: the hottest cell reaches {peak.hottest_cell_c:.0f} °C in the year; the panel's limit is "
            f"{kind.max_cell_c:.0f} °C{warm}. Ask the maker before building; a warranty may end there."
        )
    if peak.peak_cell_light_w_m2 > kind.max_light_w_m2:
        lines.append(
            f"Light: the brightest cell gets {peak.peak_cell_light_w_m2:.0f} W/m²; the panel's limit is "
            f"{kind.max_light_w_m2:.0f} W/m²{bright}. Such light can burn skin, eyes and roofs."
        )
    lines.extend(peak.hot_spots.cautions)
    lines.extend(sheet_cautions(arrangement, peak, boost))
    if water is not None:
        lines.append(
            f"Hot water: {water.hot_water_kwh:.0f} kWh a year are drawn; the store is at the wanted temperature in "
            f"{water.hours_at_set_temperature:.0f} hours only. Water below 60 °C can breed legionella, above 50 °C it "
            "scalds; stores and closed circuits are under pressure and panels reach stagnation heat when the pump "
            "stands. Pipes, valves and hygiene follow local codes; have them built by a licensed plumber."
        )
    height = height_m(arrangement.scene.panels, arrangement.scene.ground)
    if height > TALL_M:
        lines.append(
            f"Wind: the structure reaches {height:.1f} m above the ground. Wind load, foundations and permits are "
            "set by local building codes; have them checked by a licensed engineer."
        )
    voc = kind.voc_v
    lines.append(
        f"Electricity: one panel gives up to {voc:.0f} V in the open circuit and a string of them many times that, "
        "whenever there is daylight. DC wiring is work for a licensed electrician under the local code."
    )
    lines.append(
        "Glare: glass and metal can dazzle neighbours, roads and aircraft at low sun; local rules decide what is "
        "allowed. Brightness of reflections off the panels is not worked out here."
    )
    return tuple(lines)


def inverter_cautions(inverter: InverterTable, capacity_kw: float, not_started: float) -> tuple[str, ...]:
    """Lines on an inverter that is far too large for the panels, or starts too late.

    capacity_kw : rated power of the panels; not_started : share of the DC energy in hours below the start power
    """
    lines, limit = [], inverter.ac_limit_kw
    if limit is not None and capacity_kw < SMALL_LOAD * limit:
        lines.append(
            f"Inverter: the panels' {capacity_kw:.3g} kW are {100 * capacity_kw / limit:.2g} % of its AC limit, "
            f"{limit:g} kW; at such loads it loses much or all. Is ac_limit_kw in kW?"
        )
    if not_started > START_LOSS:
        lines.append(
            f"Inverter: {100 * not_started:.0f} % of the DC energy come in hours below its start, "
            f"{inverter.start_kw:g} kW, and are lost. Is start_kw in kW?"
        )
    return tuple(lines)
