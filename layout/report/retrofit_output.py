"""What `retrofit` shows and writes."""

import csv
import io
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from jinja2 import Environment, FileSystemLoader, StrictUndefined
from markupsafe import Markup
from matplotlib.colors import Normalize
from matplotlib.figure import Figure
from rich.table import Table

from layout.arrange.arrangement import Arrangement
from layout.plan import Plan
from layout.report import tables
from layout.report.assumptions import place_line
from layout.report.figures_heat import HeatScales, worst_hour_figure
from layout.report.figures_retrofit import drawn_planes, gain_scale, month_figure, roof_figure
from layout.report.figures_style import embedded, png
from layout.report.files import file_stem, to_json
from layout.report.numbers import signed
from layout.report.outputs import Output
from layout.report.page import TEMPLATES
from layout.report.retrofit_words import (
    PartLine,
    cutting_rows,
    limit_lines,
    month_rows,
    panel_rows,
    part_lines,
    part_rows,
    place_rows,
    retrofit_cautions,
    retrofit_data,
    retrofit_sentences,
    string_rows,
    strings_rest_kwh,
)
from layout.retrofit.refine import Retrofit, Task


@dataclass(frozen=True, eq=False)
class _Named:
    name: str
    arrangement: Arrangement


def parts_csv(lines: Sequence[PartLine]) -> str:
    """The parts list as CSV, a line a place."""
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(
        ["number", "plane", "place", "looks_to", "reflector", "width_mm", "tilt_deg", "pieces", "length_mm",
         "near_edge_from_right_m", "near_edge_from_up_m", "near_edge_to_right_m", "near_edge_to_up_m", "above_roof_m",
         "area_m2", "weight_kg", "gain_kwh_a_year", "price"]
    )  # fmt: skip
    for x in lines:
        kind = x.part.kind
        writer.writerow(
            [x.number, x.plane.table.name, x.place, x.facing, kind.reflector, f"{kind.width_m * 1000:.0f}",
             f"{kind.tilt_deg:g}", x.part.parts, f"{x.part.part_m * 1000:.0f}",
             *(f"{v:.3f}" for v in (*x.near[0], *x.near[1])), f"{x.lift_m:.3f}", f"{x.part.area_m2:.3f}", f"{x.kg:.2f}",
             f"{x.gain_kwh:.2f}", "" if x.money is None else f"{x.money:.2f}"]
        )  # fmt: skip
    return text.getvalue()


def retrofit_output(plan: Plan, task: Task, result: Retrofit, of_panel: Sequence[int], notes: Sequence[str]) -> Output:
    """Sentences, tables, drawing, parts list. of_panel : the plane of each panel."""
    lines = part_lines(result, task)
    data = retrofit_data(result, task, lines)
    stem = f"retrofit-{file_stem(result.roof.arrangement.name)}"
    scale = gain_scale(result)
    pictures = {}
    for number in drawn_planes(result, task.planes, of_panel):
        plane = task.planes[number]
        panels = [i for i, p in enumerate(of_panel) if p == number]
        pictures[plane.table.name] = roof_figure(result, plane, panels, [x for x in lines if x.plane is plane], scale)
    files: dict[str, str | bytes] = {
        f"{stem}.html": _page(plan, task, result, lines, pictures, notes),
        f"{stem}.json": to_json(data),
    }
    for k, picture in enumerate(pictures.values()):
        files[f"{stem}-roof{'' if len(pictures) == 1 else f'-{k + 1}'}.png"] = png(picture)
    if lines:
        files[f"{stem}-parts.csv"] = parts_csv(lines)
    shown: list[Table | str] = [*retrofit_sentences(result, task), ""]
    if lines:
        shown += [
            *_part_texts(lines),
            _rest(result),
            "",
            tables.rows_table("Cutting list", "reflector", cutting_rows(lines)),
            tables.rows_table("Months", "month", month_rows(result)),
        ]
    else:
        shown.append(tables.rows_table("The best at each place by itself", "place", place_rows(result)))
    shown += [*limit_lines(result), "", *(f"note: {n}" for n in notes)]
    shown += [*(f"caution: {c}" for c in retrofit_cautions(result, task)), ""]
    return Output(data, files, tuple(shown))


def _part_texts(lines: Sequence[PartLine]) -> list[str]:
    """The parts in lines of text: too wide for a table in a terminal."""
    return [
        f"{x.number}. {x.place}: {x.part.parts} × {x.part.part_m:.3f} m of {x.part.kind.words}, looks to {x.facing}; "
        f"near edge from ({x.near[0][0]:.3f}, {x.near[0][1]:.3f}) to ({x.near[1][0]:.3f}, {x.near[1][1]:.3f}) m on "
        f"'{x.plane.table.name}', {x.lift_m:.3f} m above the roof; {x.part.area_m2:.2f} m², {x.kg:.1f} kg"
        + ("" if x.money is None else f", price {x.money:.2f}")
        + f"; {signed(x.gain_kwh)} kWh a year"
        for x in lines
    ]


def _rest(result: Retrofit) -> str:
    return (
        f"Parts together: {signed(float(result.part_gain_kwh.sum()))} kWh a year; strings, inverter and what more "
        f"than two parts do to one another: {signed(strings_rest_kwh(result))} kWh; traced whole: "
        f"{signed(result.gain_kwh)} kWh."
    )


def _page(
    plan: Plan,
    task: Task,
    result: Retrofit,
    lines: tuple[PartLine, ...],
    pictures: Mapping[str, Figure],
    notes: Sequence[str],
) -> str:
    environment = Environment(
        loader=FileSystemLoader(TEMPLATES), autoescape=True, undefined=StrictUndefined, trim_blocks=False
    )
    worst = result.peak.worst
    name = _Named(result.roof.arrangement.name, result.whole.arrangement)
    scales = HeatScales(
        Normalize(0.0, float(100 * np.ceil(worst.light_w_m2.max() / 100))),
        Normalize(float(5 * np.floor((worst.cell_c.min() - 5) / 5)), float(5 * np.ceil(worst.cell_c.max() / 5))),
    )
    zone = plan.site.location.time_zone
    return environment.get_template("retrofit.html").render(
        title=plan.title or "Retrofit",
        css=Markup((TEMPLATES / "page.css").read_text(encoding="utf-8")),
        place=place_line(plan.site),
        sentences=retrofit_sentences(result, task),
        pictures=[{"name": k, "image": embedded(v)} for k, v in pictures.items()],
        parts=part_rows(lines),
        cutting=cutting_rows(lines),
        rest=_rest(result),
        panels=panel_rows(result),
        strings=string_rows(result),
        months=month_rows(result),
        month_image=embedded(month_figure(result)),
        places=place_rows(result),
        worst=embedded(worst_hour_figure(name, worst, scales)),
        worst_words=(
            f"The hour from {worst.start.tz_convert(zone):%d %B %H:%M} (the site's clock), air {worst.air_c:.1f} °C, "
            f"wind {worst.wind_m_s:.1f} m/s, panel {worst.panel}"
        ),
        limits=limit_lines(result),
        notes=notes,
        fit=result.roof.arrangement.fit,
        cautions=retrofit_cautions(result, task),
        chosen=bool(lines),
    )
