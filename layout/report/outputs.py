"""What each command has to say: numbers for scripts, files, and what to show in the terminal."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from rich.table import Table

from layout.arrange.arrangement import Arrangement
from layout.report import tables
from layout.report.assumptions import place_line
from layout.report.boost_rows import BOOST_NOTE, boost_rows, heat_notes, heat_rows, ledger_rows
from layout.report.electric_rows import HOT_SPOT_NOTE, hot_spot_rows, inverter_rows
from layout.report.figures_style import png
from layout.report.figures_sun import sun_path_figure
from layout.report.files import file_stem, to_json
from layout.report.gap_rows import GAP_NOTE, gap_rows
from layout.report.money_rows import money_figures, money_note, money_rows
from layout.report.page import report_page
from layout.report.sentences import all_cautions, five_sentences
from layout.report.sentences_boost import boost_sentences, boosted
from layout.report.sheet_rows import sheet_notes, sheet_rows
from layout.report.sun_paths import Spacing, month_paths, path_facts, winter_spacing
from layout.report.uncertainty_section import sure_rows
from layout.report.water_rows import WATER_NOTE, water_rows
from layout.result import LayoutResult, PlanResult
from sites.site import Site

SPACING_TILTS_DEG = np.array([10.0, 20.0, 30.0, 40.0, 60.0, 90.0])


HOURLY = (
    "interval_h", "front_w_m2", "rear_w_m2", "open_w_m2", "panel_c", "dc_kw", "clipped_kw", "ac_kw",
    "beam_lost_fraction", "store_c", "heat_collected_kw", "heat_drawn_kw",
)  # fmt: skip
"""Columns of the hourly file, as far as the frame has them."""


@dataclass(frozen=True, eq=False)
class Output:
    """data : for --json; files : name to content, for the output folder; show : tables and lines in order."""

    data: dict[str, Any]
    files: dict[str, str | bytes] = field(default_factory=dict)
    show: tuple[Table | str, ...] = ()


def _notes(result: PlanResult) -> tuple[str, ...]:
    return tuple(f"note: {line}" for line in result.weather_notes)


def compare_output(result: PlanResult, per_panel: bool = False, processes: int = 1) -> Output:
    """Table, sentences and cautions; the page and the JSON file."""
    layouts = result.layouts
    sentences = (*five_sentences(result), *boost_sentences(layouts))
    data = result.to_dict(per_panel) | {"sentences": list(sentences)}
    for name, figures in money_figures(result).items():
        data["layouts"][name]["money"] = figures
    files: dict[str, str | bytes] = {
        "compare.html": report_page(result, processes),
        "compare.json": to_json(data),
    }
    cautions = [f"caution: {line}" for line in all_cautions(result)]
    table = tables.compare_table(layouts, result.plan.title)
    sure = tables.rows_table("How sure the energies are", "layout", sure_rows(result))
    shown = (
        table,
        *_boost_tables(layouts),
        *_water_table(layouts),
        *_inverter_table(result),
        *_money_table(result),
        sure,
        *sentences,
        "",
        *_notes(result),
        *cautions,
        "",
    )
    return Output(data, files, shown)


def _boost_tables(layouts: Mapping[str, LayoutResult]) -> tuple[Table | str, ...]:
    """On reflectors, their light and heat; nothing where no layout has sheets."""
    if not boosted(layouts):
        return ()
    found: list[Table | str] = []
    reflectors, light, sheets = boost_rows(layouts), ledger_rows(layouts), sheet_rows(layouts)
    if reflectors.rows:
        found += [tables.rows_table("What reflectors bring", "layout", reflectors), BOOST_NOTE, ""]
    if light.rows:
        found.append(tables.rows_table("Where the light on the reflectors goes", "layout", light))
    if sheets.rows:
        found += [tables.rows_table("With and without see-through sheets", "layout", sheets), *sheet_notes(layouts), ""]
    heat = tables.rows_table("Heat and bright spots", "layout", heat_rows(layouts))
    return (*found, heat, *heat_notes(layouts), "")


def _water_table(layouts: Mapping[str, LayoutResult]) -> tuple[Table | str, ...]:
    """On hot water; nothing where the plan asks for none."""
    found = water_rows(layouts)
    return (tables.rows_table("Hot water", "layout", found), WATER_NOTE, "") if found.rows else ()


def _inverter_table(result: PlanResult) -> tuple[Table | str, ...]:
    """On limit and start of the inverter; nothing where the plan gives neither."""
    found = inverter_rows(result)
    return (tables.rows_table("Inverter", "layout", found), "") if found.rows else ()


def _money_table(result: PlanResult) -> tuple[Table | str, ...]:
    """Costs; nothing where the plan has no prices."""
    found = money_rows(result)
    return (tables.rows_table("Money", "layout", found), money_note(result), "") if found.rows else ()


def hourly_csv(result: LayoutResult) -> str:
    """The hourly frame: start of each interval in UTC, its length, light, temperature, power, the store."""
    frame = result.frame.rename(columns={"hours": "interval_h"})
    return frame[[name for name in HOURLY if name in frame]].to_csv(
        index_label="start_utc", date_format="%Y-%m-%dT%H:%M:%SZ", float_format="%.6g", lineterminator="\n"
    )


def yield_output(result: PlanResult, name: str, per_panel: bool = False) -> Output:
    """One layout in depth: figures, months, steps; hourly file, page and JSON file."""
    layout = result.layouts[name]
    data = result.to_dict(per_panel)
    stem = f"yield-{file_stem(name)}"
    files: dict[str, str | bytes] = {
        f"{stem}.html": report_page(result),
        f"{stem}.json": to_json(data),
        f"{stem}-hourly.csv": hourly_csv(layout),
    }
    shown = (tables.facts_table(layout), tables.monthly_table(layout), tables.steps_table(layout))
    fit = tuple(layout.arrangement.fit)
    gap = (
        tables.rows_table("Fast electricity against the full solution", "layout", gap_rows({name: layout})),
        GAP_NOTE,
        "",
    )
    sheets = (*_boost_tables(result.layouts), *_water_table(result.layouts), *boost_sentences(result.layouts))
    cautions = [f"caution: {line}" for line in all_cautions(result)]
    spots = _hot_spots(result)
    return Output(data, files, (*shown, *sheets, *spots, *gap, *fit, "", *_notes(result), *cautions, ""))


def _hot_spots(result: PlanResult) -> tuple[Table | str, ...]:
    """Nothing where no cell takes up power."""
    found = hot_spot_rows(result.layouts, result.plan.site.location.time_zone)
    return (tables.rows_table("Hot spots", "layout", found), HOT_SPOT_NOTE, "") if found.rows else ()


def _spacing_data(spacing: Spacing) -> dict[str, Any]:
    return {
        "rows_face_azimuth_deg": spacing.azimuth_deg,
        "day": spacing.day,
        "solar_hours": list(spacing.spans),
        "lowest_sun_deg": spacing.lowest_deg,
        "tilt_deg": spacing.tilt_deg,
        "pitch_over_slant_height": spacing.pitch,
    }


def sun_output(site: Site, name: str) -> Output:
    """The sky over a site: sun paths as a picture, days in a table, and row spacing at midwinter."""
    facts = [path_facts(site, path) for path in month_paths(site.location)]
    spacing = winter_spacing(site, SPACING_TILTS_DEG)
    data = {
        "place": site.location.name,
        "latitude_deg": site.location.latitude_deg,
        "longitude_deg": site.location.longitude_deg,
        "days": [vars(fact) for fact in facts],
        "spacing": _spacing_data(spacing),
    }
    lines: list[Table | str] = [
        f"{name}: {place_line(site)}",
        tables.days_table(facts),
        tables.spacing_table(spacing),
    ]
    if not spacing.sun_up.all():
        lines.append("– the sun is down for part of these hours, or stands so low that no pitch is enough.")
    lines.append("Pitch counts horizontally, from one row to the same point of the next; level or at the plot's slope.")
    return Output(data, {f"sun-{file_stem(name)}.png": png(sun_path_figure(site))}, tuple(lines))


def check_output(
    file: str,
    arrangements: Sequence[Arrangement],
    notes: Sequence[str],
    warnings: Sequence[str],
    doubts: Sequence[str] = (),
) -> Output:
    """A plan that can be worked out: what fits, and what is worth a second look.

    warnings : told already;  doubts : to be told here
    """
    fit = {a.name: {"panels": len(a.scene.panels), "fit": list(a.fit)} for a in arrangements}
    data = {
        "file": file,
        "ok": True,
        "faults": [],
        "warnings": [*warnings, *doubts],
        "notes": list(notes),
        "layouts": fit,
    }
    lines = [f"{a.name}: {line}" for a in arrangements for line in a.fit]
    lines += [f"note: {line}" for line in notes]
    lines += [f"warning: {line}" for line in doubts]
    count = len(warnings) + len(doubts)
    told = f"; {count} warning{'s' * (count > 1)}" if count else ""
    lines.append(f"{file}: nothing is wrong{told}")
    return Output(data, {}, tuple(lines))


def sites_output(sites: Mapping[str, Site]) -> Output:
    """The bundled sites."""
    data = {name: _site(site) for name, site in sites.items()}
    return Output({"sites": data}, {}, (tables.sites_table(sites),))


def _site(site: Site) -> dict[str, Any]:
    place, plot = site.location, site.plot
    return {
        "latitude_deg": place.latitude_deg,
        "longitude_deg": place.longitude_deg,
        "elevation_m": place.elevation_m,
        "time_zone": place.time_zone,
        "plot_area_m2": None if plot is None else plot.area_m2,
        "slope_deg": None if plot is None else plot.slope_deg,
    }


def joined(parts: Mapping[str, Output]) -> Output:
    """Several layouts' outputs as one: numbers under each layout's name, all files, all lines."""
    files: dict[str, str | bytes] = {}
    for part in parts.values():
        files |= part.files
    show = tuple(item for part in parts.values() for item in part.show)
    return Output({"layouts": {name: part.data for name, part in parts.items()}}, files, show)
