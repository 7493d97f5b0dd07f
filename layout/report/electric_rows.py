"""Rows on hot spots, the inverter and the months' metrics, for the page and the terminal alike."""

from collections.abc import Mapping

import numpy as np

from layout.ledger import LIMIT_STEP
from layout.report.boost_rows import Rows
from layout.report.figures_bars import MONTHS
from layout.report.numbers import NOTHING, number, percent
from layout.result import HotSpotHour, LayoutResult, PlanResult

HOT_SPOT_HEADS = (
    "diodes work:\ntakes up W",
    "reaches\n°C",
    "in the\nhour from",
    "diode failed:\ntakes up W",
    "reaches\n°C",
    "in the\nhour from",
)
HOT_SPOT_NOTE = (
    "A shaded cell takes up power from the cells in series with it. Shown is the one that this leaves warmest, with "
    "working bypass diodes and had those of its panel failed open, each in its own worst hour on the site's clock, its "
    "string held at its highest power. The temperature is the cell's mean; spots inside it can be hotter."
)
INVERTER_HEADS = ("rated DC over\nAC limit", "cut off\nAC kWh", "of the AC\nbefore it", "below start\nDC kWh")
INVERTER_NOTE = (
    "What the inverter's AC limit cuts off in a year, and what its start leaves unused: DC energy of the hours with "
    "less than that power."
)
MONTH_HEADS = {
    "front_kwh_per_m2": "front light\nkWh/m²",
    "rear_kwh_per_m2": "rear light\nkWh/m²",
    "energy_dc_kwh": "DC kWh",
    "energy_ac_kwh": "AC kWh",
    "final_yield_kwh_per_kw": "final yield\nkWh/kW",
    "reference_yield_h": "reference\nyield h",
    "performance_ratio": "perf.\nratio",
}
RATIO_NOTE = (
    "Performance ratio by month as in IEC 61724-1: AC energy over rated power, over the light that the fronts would "
    "get alone over open ground, in hours of 1 kW/m². Light on rear faces can lift it above 1."
)


def hot_spot_rows(layouts: Mapping[str, LayoutResult], time_zone: str) -> Rows:
    """The worst hot spots with working and with failed bypass diodes; no row where no cell takes up power."""
    rows = []
    for name, r in layouts.items():
        if r.peaks is None:
            continue
        spots = r.peaks.hot_spots
        if spots.working is None and spots.failed is None:
            continue
        works = _spot(spots.working, time_zone)
        if r.arrangement.panel_type.bypass_groups == 0:
            works = ("no diodes", NOTHING, NOTHING)
        rows.append((name, *works, *_spot(spots.failed, time_zone)))
    return Rows(HOT_SPOT_HEADS, tuple(rows))


def _spot(spot: HotSpotHour | None, time_zone: str) -> tuple[str, str, str]:
    if spot is None:
        return NOTHING, NOTHING, NOTHING
    start = spot.start.tz_convert(time_zone)
    return number(spot.taken_up_w, 2), f"{spot.cell_c:.0f}", f"{start.day} {start:%b %H:%M}"


def inverter_rows(result: PlanResult) -> Rows:
    """What limit and start of the inverter cost; no row where the plan gives neither."""
    inverter = result.plan.inverter
    rows: list[tuple[str, ...]] = []
    if inverter.ac_limit_kw is not None or inverter.start_kw > 0:
        for name, r in result.layouts.items():
            cut = next(1.0 - step.factor for step in r.steps if step.label == LIMIT_STEP)
            rows.append((name, number(r.dc_ac_ratio), number(r.clipped_kwh), percent(cut), number(r.start_loss_kwh)))
    return Rows(INVERTER_HEADS, tuple(rows))


def ratio_rows(layouts: Mapping[str, LayoutResult]) -> Rows:
    """Performance ratio of each month and of the year."""
    rows = []
    for name, r in layouts.items():
        months = r.monthly()["performance_ratio"].to_numpy()
        rows.append((name, *(f"{v:.2f}" if np.isfinite(v) else NOTHING for v in (*months, r.performance_ratio))))
    return Rows((*MONTHS, "year"), tuple(rows))


def month_rows(result: LayoutResult) -> Rows:
    """Light, energy and the metrics of IEC 61724-1 of each month and of the year."""
    months = result.monthly()
    whole = months.sum()
    whole["performance_ratio"] = result.performance_ratio
    named = (*zip(MONTHS, months.to_dict("records"), strict=True), ("year", whole.to_dict()))
    return Rows(
        tuple(MONTH_HEADS.values()), tuple((name, *(number(row[k]) for k in MONTH_HEADS)) for name, row in named)
    )
