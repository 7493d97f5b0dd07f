"""What `retrofit` shows and writes."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
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
from layout.report.html import page_text
from layout.report.outputs import Output
from layout.report.retrofit_data import retrofit_data
from layout.report.retrofit_parts import (
    PartLine,
    build_rows,
    cutting_rows,
    part_lines,
    part_texts,
    place_rows,
    plane_names,
    sheets_of,
    total_money,
)
from layout.report.retrofit_rows import best_tried, month_rows, panel_rows, string_rows, tried_rows
from layout.report.retrofit_words import limit_lines, rest_words, retrofit_cautions, retrofit_sentences
from layout.retrofit.parts_back import Sheet, parts_csv
from layout.retrofit.payback import Payback
from layout.retrofit.refine import Retrofit, Task

BEST_SHOWN = 8
"""Places shown in the terminal where nothing is built; the report has all."""


@dataclass(frozen=True, eq=False)
class _Named:
    name: str
    arrangement: Arrangement


@dataclass(frozen=True, eq=False)
class Findings:
    """Everything that is told of one retrofit; of_panel : the plane of each panel; notes : on the weather."""

    plan: Plan
    task: Task
    result: Retrofit
    lines: tuple[PartLine, ...]
    money: Payback | None
    of_panel: Sequence[int]
    notes: Sequence[str]

    @property
    def sheets(self) -> tuple[Sheet, ...]:
        """Of all parts."""
        return sheets_of(self.lines)

    @property
    def stem(self) -> str:
        """Of the files' names."""
        return f"retrofit-{file_stem(self.result.roof.arrangement.name)}"


def findings_of(plan: Plan, task: Task, result: Retrofit, of_panel: Sequence[int], notes: Sequence[str]) -> Findings:
    """A result with its parts numbered and priced."""
    lines = part_lines(result, task)
    return Findings(plan, task, result, lines, total_money(lines, result, task), of_panel, notes)


def retrofit_output(told: Findings, made_plan: str | None) -> Output:
    """Sentences, tables, drawing, parts list; made_plan : the plan's text with the parts on the roof, if any."""
    result, lines, stem = told.result, told.lines, told.stem
    data = retrofit_data(result, told.task, lines)
    pictures = _drawings(told)
    files: dict[str, str | bytes] = {f"{stem}.html": _page(told, pictures), f"{stem}.json": to_json(data)}
    for k, picture in enumerate(pictures.values()):
        files[f"{stem}-roof{'' if len(pictures) == 1 else f'-{k + 1}'}.png"] = png(picture)
    if lines:
        files[f"{stem}-parts.csv"] = parts_csv(told.sheets, told.task.table.currency)
        if made_plan is not None:
            files[f"{stem}-plan.toml"] = made_plan
    shown: list[Table | str] = [*retrofit_sentences(result, told.task, told.money), ""]
    if lines:
        shown += [
            *part_texts(lines, told.task.table.currency),
            rest_words(result),
            "Where each part goes, to the millimetre: in the parts list (CSV) and the report.",
            "",
            tables.rows_table("Cutting list", "reflector", cutting_rows(lines)),
            tables.rows_table("Months", "month", month_rows(result)),
        ]
    elif result.found.candidates:
        best = best_tried(result, BEST_SHOWN)
        places = len({c.place for c in result.found.candidates})
        title = "The best at each place by itself" + (f", {BEST_SHOWN} of {places}" if places > BEST_SHOWN else "")
        shown.append(tables.rows_table(title, "place", best))
    shown += [*limit_lines(result), "", *(f"note: {n}" for n in told.notes)]
    shown += [*(f"caution: {c}" for c in retrofit_cautions(result, told.task)), ""]
    return Output(data, files, tuple(shown))


def _drawings(told: Findings) -> dict[str, Figure]:
    """One for each plane with panels or parts, by its name."""
    scale, names, planes = gain_scale(told.result), plane_names(told.task.planes), told.task.planes
    found = {}
    for number in drawn_planes(told.result, planes, told.of_panel):
        panels = [i for i, p in enumerate(told.of_panel) if p == number]
        lines = [x for x in told.lines if x.plane is planes[number]]
        found[names[number]] = roof_figure(told.result, planes[number], names[number], panels, lines, scale)
    return found


def _page(told: Findings, pictures: Mapping[str, Figure]) -> str:
    result, task, lines = told.result, told.task, told.lines
    worst = result.peak.worst
    name = _Named(result.roof.arrangement.name, result.whole.arrangement)
    zone = told.plan.site.location.time_zone
    return page_text(
        "retrofit.html",
        title=told.plan.title or "Retrofit",
        place=place_line(told.plan.site),
        sentences=retrofit_sentences(result, task, told.money),
        pictures=[{"name": k, "image": embedded(v)} for k, v in pictures.items()],
        build=build_rows(lines, told.money, task.table.currency) if lines else None,
        where=place_rows(lines) if lines else None,
        cutting=cutting_rows(lines) if lines else None,
        rest=rest_words(result),
        panels=panel_rows(result),
        strings=string_rows(result),
        months=month_rows(result),
        month_image=embedded(month_figure(result)),
        places=tried_rows(result),
        worst=embedded(worst_hour_figure(name, worst, _scales(result))),
        worst_words=(
            f"The hour of the brightest cell, from {worst.start.tz_convert(zone):%d %B %H:%M} (the site's clock), air "
            f"{worst.air_c:.1f} °C, wind {worst.wind_m_s:.1f} m/s, panel {worst.panel}"
        ),
        limits=limit_lines(result),
        notes=told.notes,
        fit=result.roof.arrangement.fit,
        cautions=retrofit_cautions(result, task),
        chosen=bool(lines),
    )


def _scales(result: Retrofit) -> HeatScales:
    """Of the worst hour's two pictures."""
    worst = result.peak.worst
    return HeatScales(
        Normalize(0.0, float(100 * np.ceil(worst.light_w_m2.max() / 100))),
        Normalize(float(5 * np.floor((worst.cell_c.min() - 5) / 5)), float(5 * np.ceil(worst.cell_c.max() / 5))),
    )
