"""Tables for the terminal, at most 100 columns wide."""

import textwrap
from collections.abc import Mapping, Sequence

import numpy as np
from rich.box import SIMPLE_HEAD
from rich.table import Table

from layout.report.boost_rows import Rows
from layout.report.electric_rows import month_rows
from layout.report.numbers import NOTHING, WIDE_SPACE, number, percent, spaced
from layout.report.sun_paths import DayFacts, Spacing
from layout.result import LayoutResult
from sites.conventions import FloatArray
from sites.site import Site

WIDTH = 100
BAR_WIDTH = 24


def _table(title: str, first: str, others: Sequence[str], right: bool = True) -> Table:
    table = Table(title=title, box=SIMPLE_HEAD, title_justify="left", title_style="bold", pad_edge=False)
    table.min_width = min(len(title), WIDTH)
    table.add_column(first, overflow="fold", max_width=24)
    for name in others:
        table.add_column(name, justify="right" if right else "left", overflow="fold")
    return table


def compare_table(layouts: Mapping[str, LayoutResult], title: str) -> Table:
    """One line per layout."""
    table = _table(
        title,
        "layout",
        ("panels", "kW", "AC kWh\na year", "kWh/m²\nplot", "same,\nendless", "kWh/m²\npanel", "kWh/\nkW",
         "perf.\nratio", "shade\nloss", "hottest\ncell °C"),
    )  # fmt: skip
    for name, r in layouts.items():
        table.add_row(
            name,
            f"{r.panels}",
            number(r.dc_capacity_kw),
            number(r.energy_ac_kwh),
            number(r.kwh_per_m2_plot),
            number(r.kwh_per_m2_plot_endless),
            number(r.kwh_per_m2_panel),
            number(r.kwh_per_kw),
            number(r.performance_ratio),
            percent(r.shade_loss_fraction),
            number(r.hottest_cell_c, 2),
        )
    return table


def rows_table(title: str, first: str, rows: Rows) -> Table:
    """A table of the report in the terminal."""
    table = _table(title, first, rows.heads)
    for row in rows.rows:
        table.add_row(*row)
    return table


def monthly_table(result: LayoutResult) -> Table:
    """Light and energy by month, with the year below."""
    found = month_rows(result)
    table = _table(f"{result.name}: months of the site's clock", "month", found.heads)
    for name, *row in found.rows:
        table.add_row(name, *row, end_section=name == "Dec")
    return table


def wrapped(text: str, width: int = WIDTH) -> str:
    """A paragraph for the terminal, later lines indented; no number is parted from its unit.

    >>> print(wrapped("a year of 12 kWh/m² and so on", 12))
    a year of
      12 kWh/m²
      and so on
    """
    # Not rich's own wrapping: it would part the digits of a number at a thin space.
    lines = textwrap.fill(spaced(text), width, subsequent_indent="  ", break_on_hyphens=False)
    return lines.replace(WIDE_SPACE, " ")


def bar(share: float, width: int = BAR_WIDTH) -> str:
    """A bar of eighths of a character; share 0 to 1.

    >>> bar(0.5, 4), bar(0.28, 4)
    ('██', '█▏')
    """
    eighths = round(8 * width * min(max(share, 0.0), 1.0)) if np.isfinite(share) else 0
    return "█" * (eighths // 8) + ("", "▏", "▎", "▍", "▌", "▋", "▊", "▉")[eighths % 8]


def change(factor: float) -> str:
    """A step's factor as a signed change.

    >>> change(0.968), change(1.05), change(1.0)
    ('−3.2 %', '+5.0 %', '0.0 %')
    """
    if not np.isfinite(factor):
        return NOTHING
    pct = 100 * (factor - 1)
    return "0.0 %" if abs(pct) < 0.05 else f"{pct:+.1f} %".replace("-", "−")


def steps_table(result: LayoutResult) -> Table:
    """Steps from sunlight to socket: what is left after each, as a number and a bar."""
    table = _table(f"{result.name}: steps from sunlight to socket", "step", ())
    table.columns[0].max_width = 34
    table.add_column("left, kWh", justify="right")
    table.add_column("", min_width=BAR_WIDTH)
    table.add_column("step", justify="right")
    table.add_column("source", overflow="fold")
    most = max((step.kwh for step in result.steps), default=1.0) or 1.0
    for i, step in enumerate(result.steps):
        table.add_row(
            step.label,
            number(step.kwh),
            bar(step.kwh / most),
            "" if i == 0 else change(step.factor),
            step.source,
        )
    return table


def facts_table(result: LayoutResult) -> Table:
    """The figures of one layout that the comparison leaves out."""
    table = _table(f"{result.name}: what stands there and what it gives", "figure", ("value",))
    table.columns[0].max_width = 70
    rows = (
        ("panels", f"{result.panels}"),
        ("rated power, kW", number(result.dc_capacity_kw)),
        ("panel area, one side, m²", number(result.panel_area_m2)),
        ("reflector area, mirror side, m²", number(result.reflector_area_m2)),
        ("plot area, m²", number(result.plot_area_m2)),
        ("AC energy a year, kWh", number(result.energy_ac_kwh)),
        ("per m² of plot, kWh", number(result.kwh_per_m2_plot)),
        ("per m² of plot if the pattern went on without end, kWh", number(result.kwh_per_m2_plot_endless)),
        ("per m² of panel, kWh", number(result.kwh_per_m2_panel)),
        ("per kW, kWh", number(result.kwh_per_kw)),
        ("light on fronts, kWh/m²", number(result.irradiation_kwh_per_m2)),
        ("light on rears, kWh/m²", number(result.rear_irradiation_kwh_per_m2)),
        (
            "light on fronts if nothing else stood there, kWh/m²",
            number(result.irradiation_open_kwh_per_m2),
        ),
        ("performance ratio", number(result.performance_ratio)),
        ("lost to shade", percent(result.shade_loss_fraction)),
        ("lost to uneven light", percent(result.uneven_light_loss_fraction)),
        ("lost to panels in series", percent(result.string_mismatch_loss_fraction)),
        ("lost to strings in parallel", percent(result.parallel_mismatch_loss_fraction)),
        ("lost to the voltages that trackers hold", percent(result.voltage_window_loss_fraction)),
        (
            "beam that would have reached ground beyond the plot",
            percent(result.light_from_beyond_plot_fraction),
        ),
        ("rated power over the inverter's AC limit", number(result.dc_ac_ratio)),
        ("AC energy cut off by that limit, kWh", number(result.clipped_kwh)),
        ("DC energy in hours below the inverter's start, kWh", number(result.start_loss_kwh)),
        ("hottest cell, °C", number(result.hottest_cell_c)),
        ("brightest cell, W/m²", number(result.peak_cell_light_w_m2)),
        ("brightest cell over its panel's mean", number(result.peak_cell_ratio)),
    )
    for label, value in (*rows, *_limit_rows(result)):
        table.add_row(label, value)
    return table


def _limit_rows(result: LayoutResult) -> list[tuple[str, str]]:
    """How the hottest and brightest cells stand to the panel's limits, where that was worked out."""
    peaks, kind = result.peaks, result.arrangement.panel_type
    if peaks is None:
        return []
    return [
        ("hottest cell had there been no wind, °C", number(peaks.hottest_cell_still_air_c)),
        (f"hours with a cell above its limit of {kind.max_cell_c:g} °C", number(peaks.hours_above_cell_limit)),
        (f"hours with a cell above its limit of {kind.max_light_w_m2:g} W/m²", number(peaks.hours_above_light_limit)),
    ]


def light_table(name: str, means: Mapping[str, FloatArray], limit: int = 24) -> Table:
    """Mean light on each panel; means : (n_panels,) float [W/m²] by column name.

    More than ``limit`` panels: the first ones, and how many more there are.
    """
    table = _table(f"{name}: mean light on each panel, W/m²", "panel", tuple(means))
    columns = np.array(list(means.values()))
    shown = min(limit, columns.shape[1])
    for k in range(shown):
        table.add_row(f"{k}", *(f"{value:.1f}" for value in columns[:, k]), end_section=k == shown - 1)
    table.add_row("mean", *(f"{value:.1f}" for value in columns.mean(axis=1)))
    if columns.shape[1] > limit:
        table.caption = f"{columns.shape[1] - limit} more panels are in the JSON file"
        table.caption_justify = "left"
    return table


def clock(hour: float) -> str:
    """An hour of the day on the clock.

    >>> clock(6.5), clock(18.999)
    ('06:30', '19:00')
    """
    if not np.isfinite(hour):
        return NOTHING
    minutes = round(60 * hour)
    return f"{minutes // 60:02d}:{minutes % 60:02d}"


def days_table(facts: Sequence[DayFacts]) -> Table:
    """The sun on the 21st of the months."""
    table = _table(
        "The sun on the 21st of the month, site's clock",
        "months",
        ("highest", "sunrise", "sunset", "rises at\nazimuth", "hours\nup", "hours over\nthe skyline"),
    )
    for fact in facts:
        rise = f"{fact.sunrise_azimuth_deg:.0f}°" if np.isfinite(fact.sunrise_azimuth_deg) else NOTHING
        table.add_row(
            fact.months,
            f"{fact.highest_deg:.1f}°",
            clock(fact.sunrise_h),
            clock(fact.sunset_h),
            rise,
            f"{fact.hours_up:.1f}",
            f"{fact.hours_clear:.1f}",
        )
    return table


def spacing_table(spacing: Spacing) -> Table:
    """Row spacing without shade at midwinter, for tilts."""
    way = "south" if spacing.azimuth_deg == 180.0 else "north"
    table = _table(
        f"Rows that face {way}: pitch without shade on {spacing.day}, in slant heights of a row",
        "tilt",
        [f"{span}\nsun {low:.1f}°" for span, low in zip(spacing.spans, spacing.lowest_deg, strict=True)],
    )
    for tilt, pitches in zip(spacing.tilt_deg, spacing.pitch, strict=True):
        table.add_row(f"{tilt:.0f}°", *(f"{p:.2f}" if np.isfinite(p) else NOTHING for p in pitches))
    return table


def sites_table(sites: Mapping[str, Site]) -> Table:
    """The bundled sites."""
    table = _table(
        "Bundled sites (invented)",
        "name",
        ("latitude", "longitude", "height m", "plot m²", "slope", "obstacles"),
    )
    for name, site in sites.items():
        plot = site.plot
        place = site.location
        table.add_row(
            name,
            f"{place.latitude_deg:.2f}°",
            f"{place.longitude_deg:.2f}°",
            f"{place.elevation_m:.0f}",
            NOTHING if plot is None else number(plot.area_m2),
            NOTHING if plot is None else f"{plot.slope_deg:g}°",
            NOTHING if plot is None else ", ".join(f"{o.name} {o.height_m:g} m" for o in plot.obstacles) or "none",
        )
    return table
