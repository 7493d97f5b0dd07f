"""``brightacre retrofit PLAN --parts LIST``: a parts list, as written, drawn or built, back on the roof and traced."""

import tomllib
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np

from layout.arrange import Arrangement, arrange
from layout.arrange.roof import planes_of
from layout.conditions import conditions
from layout.geometry.rectangles import Rectangles
from layout.plan import Plan, RoofLayout, parse_plan
from layout.report.files import file_stem, to_json
from layout.report.numbers import number, signed, signed_percent
from layout.report.outputs import Output
from layout.report.retrofit_words import still_air_words
from layout.retrofit.candidates import not_clear
from layout.retrofit.command import roof_of, table_of
from layout.retrofit.effects import trace_roof
from layout.retrofit.limits import CellLimits, Traced, trace_limits
from layout.retrofit.parts_back import plan_with_parts, read_parts
from layout.retrofit.refine import cell_limits
from layout.retrofit.search import SLACK
from layout.retrofit.whole import Whole, trace_whole
from layout.roof_reflectors import sheet_edges
from layout.roof_shapes import RoofPlane
from layout.roof_tables import RoofReflectorTable
from layout.run import plan_settings
from layout.workers import Told
from sites.tables import read_text
from sites.weather_files import load_weather

CAUTION = (
    "caution: what the report of the parts list says on warranty, burns, roof edge, DC wiring, wind and snow and glare "
    "holds for changed parts, too; local codes and licensed practice decide."
)


AS_LISTED_M = 2e-3
"""A listed sheet may reach so far over a border: what lengths in whole millimetres are off by."""


def parts_command(plan: Plan, parts: Path, source: str, told: Told | None = None) -> Output:
    """What the sheets of a parts list do on a plan's roof, all traced together.

    source : the plan file's text.  Raises InputError where list and roof do not go together.
    """
    layout = roof_of(plan)
    text = read_text(parts, str(parts), str(parts), accepted="a parts list (CSV) as retrofit writes it")
    sheets = read_parts(text, str(parts), len(layout.plane))
    stem = f"retrofit-{file_stem(layout.name)}"
    made = plan_with_parts(tomllib.loads(source), plan.folder, layout.name, sheets)
    again = parse_plan(made, f"{stem}-plan.toml", plan.folder)
    weather = load_weather(plan.site)
    year, settings = conditions(plan.site, weather, plan.run.bounces), plan_settings(plan)
    standing = arrange(plan, layout)
    built = arrange(again, next(x for x in again.layouts if isinstance(x, RoofLayout) and x.name == layout.name))

    def traced(label: str, arrangement: Arrangement) -> Whole:
        if told is not None:
            told(label, 0, 1)
        found = trace_whole(arrangement, year, settings)
        if told is not None:
            told(label, 1, 1)
        return found

    bare, whole = traced("roof as it stands", standing), traced("roof with the parts", built)
    limits = cell_limits(table_of(plan), standing)
    peak = trace_limits(trace_roof(standing, year, settings), built, whole.field, whole.year, limits)
    data = _data(layout.name, bare, whole, peak, limits)
    not_clear = _not_clear(sheets, planes_of(plan, layout))
    data["not_clear"] = [{"number": number, "reason": reason} for number, reason in not_clear]
    lines = [*_sentences(parts, len(sheets), bare, whole), *_limit_lines(peak, limits)]
    lines += [f"Do not build {number} there: it {reason}." for number, reason in not_clear]
    lines.append("")
    lines += [*(f"note: {note}" for note in weather.notes), CAUTION]
    return Output(data, {f"{stem}-plan.toml": made, f"{stem}-as-listed.json": to_json(data)}, tuple(lines))


def _not_clear(sheets: Sequence[tuple[int, RoofReflectorTable]], planes: Sequence[RoofPlane]) -> list[tuple[str, str]]:
    """Sheets over what has to stay clear, by number, and why."""
    found = []
    for plane, table in sheets:
        here = Rectangles(*(edge[None] for edge in sheet_edges(planes[plane], table)))
        reason = not_clear(here, planes[plane], AS_LISTED_M)
        if reason is not None:
            found.append((table.name, reason))
    return found


def _sentences(parts: Path, count: int, bare: Whole, whole: Whole) -> list[str]:
    gain = whole.ac_kwh - bare.ac_kwh
    area = whole.arrangement.reflector_area_m2 - bare.arrangement.reflector_area_m2
    lines = [
        f"{count} {'sheet' if count == 1 else 'sheets'} of {parts}, {number(area)} m², change the year by "
        f"{signed(gain)} kWh at the socket, {signed_percent(gain / bare.ac_kwh, 2)} of {number(bare.ac_kwh)} kWh, "
        "traced together with all shadows and strings."
    ]
    for words, names, before, after in (
        ("panel", np.arange(len(bare.dc_kwh)), bare.dc_kwh, whole.dc_kwh),
        ("string", np.arange(1, len(bare.strings) + 1), bare.string_kwh, whole.string_kwh),
    ):
        loses = np.flatnonzero(after < before * (1.0 - SLACK))
        if len(loses):
            told = ", ".join(f"{words} {names[k]} {signed(float(after[k] - before[k]))} kWh a year" for k in loses[:9])
            lines.append(f"They take energy from {len(loses)} of {len(before)} {words}s: {told}.")
    return lines


def _limit_lines(peak: Traced, limits: CellLimits) -> list[str]:
    lines = [
        f"Brightest cell of the year: {peak.light_w_m2:.0f} W/m² on panel {peak.worst.panel}; at most "
        f"{limits.light_w_m2:.0f} W/m² allowed. Hottest cell: {peak.cell_c:.1f} °C; at most {limits.cell_c:.0f} °C "
        "allowed. Both traced at the true sun of the worst hours.",
        still_air_words(limits, peak),
    ]
    if peak.offences:
        lines.append(f"Do not build these: they pass a limit, {peak.offences[0].words}.")
    return lines


def _data(name: str, bare: Whole, whole: Whole, peak: Traced, limits: CellLimits) -> dict[str, Any]:
    return {
        "layout": name,
        "energy_ac_kwh": bare.ac_kwh,
        "energy_ac_with_parts_kwh": whole.ac_kwh,
        "gain_kwh": whole.ac_kwh - bare.ac_kwh,
        "reflector_area_m2": whole.arrangement.reflector_area_m2 - bare.arrangement.reflector_area_m2,
        "panels": [
            {"panel": i, "energy_dc_kwh": float(a), "gain_kwh": float(b - a)}
            for i, (a, b) in enumerate(zip(bare.dc_kwh, whole.dc_kwh, strict=True))
        ],
        "strings": [
            {"panels": s.tolist(), "energy_dc_kwh": float(a), "gain_kwh": float(b - a)}
            for s, a, b in zip(bare.strings, bare.string_kwh, whole.string_kwh, strict=True)
        ],
        "monthly_gain_kwh": (whole.monthly_ac_kwh - bare.monthly_ac_kwh).tolist(),
        "limits": {
            "max_light_w_m2": limits.light_w_m2,
            "peak_cell_light_w_m2": peak.light_w_m2,
            "max_cell_c": limits.cell_c,
            "hottest_cell_c": peak.cell_c,
            "hottest_cell_still_air_c": peak.still_c,
            "passed": [offence.words for offence in peak.offences],
        },
    }
