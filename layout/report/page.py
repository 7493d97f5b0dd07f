"""The report: one HTML file that needs nothing else."""

from collections.abc import Callable, Mapping, Sequence
from typing import Any

from layout.report.assumptions import assumptions, place_line
from layout.report.boost_section import boost_section
from layout.report.electric_rows import INVERTER_NOTE, RATIO_NOTE, inverter_rows, month_rows, ratio_rows
from layout.report.figures_bars import endless_figure, monthly_figure, yardstick_figure
from layout.report.figures_plot import light_scale, plot_figure
from layout.report.figures_style import embedded
from layout.report.figures_sun import beam_lost_figure, sun_path_figure
from layout.report.gap_rows import GAP_NOTE, gap_rows
from layout.report.heat_section import heat_section, other_cautions
from layout.report.html import page_text
from layout.report.money_rows import money_note, money_rows
from layout.report.numbers import NOTHING, number, percent, signed_percent
from layout.report.sentences import endless_sentence, five_sentences
from layout.report.sentences_boost import boosted
from layout.report.tables import change
from layout.report.uncertainty_section import uncertainty_section
from layout.report.water_rows import WATER_NOTE, water_rows
from layout.result import LayoutResult, PlanResult
from layout.workers import Told, work_through

HEADS = (
    "panels",
    "kW",
    "AC kWh a year",
    "kWh/m² plot",
    "kWh/m² panel",
    "kWh/kW",
    "perf. ratio",
    "lost to shade",
    "lost to uneven light",
    "hottest cell °C",
)


def _table(layouts: Mapping[str, LayoutResult]) -> dict[str, Any]:
    """One line per layout; what reflectors add, where any layout has some."""
    heads, rows = list(HEADS), [_row(r) for r in layouts.values()]
    if boosted(layouts):
        sheets = any(r.sheets for r in layouts.values())
        heads.insert(-1, "from reflectors, covers" if sheets else "from reflectors")
        for row, r in zip(rows, layouts.values(), strict=True):
            row.insert(-1, signed_percent(r.reflected_gain_fraction) if r.boost else NOTHING)
    return {"heads": heads, "rows": rows}


def _row(result: LayoutResult) -> list[str]:
    return [
        result.name,
        f"{result.panels}",
        number(result.dc_capacity_kw),
        number(result.energy_ac_kwh),
        number(result.kwh_per_m2_plot),
        number(result.kwh_per_m2_panel),
        number(result.kwh_per_kw),
        number(result.performance_ratio),
        percent(result.shade_loss_fraction),
        percent(result.uneven_light_loss_fraction),
        number(result.hottest_cell_c, 2),
    ]


def _steps(result: LayoutResult) -> dict[str, Any]:
    most = max((step.kwh for step in result.steps), default=1.0) or 1.0
    return {
        "name": result.name,
        "steps": [
            {
                "label": step.label,
                "kwh": number(step.kwh),
                "width": f"{100 * max(step.kwh, 0.0) / most:.1f}",
                "change": "" if i == 0 else change(step.factor),
                "source": step.source,
            }
            for i, step in enumerate(result.steps)
        ],
    }


def _plans(results: Sequence[LayoutResult], plot: Any) -> list[dict[str, Any]]:
    scale = light_scale(results)
    return [{"name": r.name, "image": embedded(plot_figure(r, plot, scale)), "fit": r.arrangement.fit} for r in results]


PARTS: dict[str, Callable[[PlanResult], Any]] = {
    "monthly": lambda r: embedded(monthly_figure(r.layouts)),
    "bars": lambda r: embedded(yardstick_figure(r.layouts)),
    "endless": lambda r: embedded(endless_figure(r.layouts)),
    "sun_paths": lambda r: embedded(sun_path_figure(r.plan.site)),
    "beam_lost": lambda r: embedded(beam_lost_figure(r.layouts, r.plan.site.location.time_zone)),
    "uncertainty": uncertainty_section,
    "boost": boost_section,
    "heat": heat_section,
    "plans": lambda r: _plans(list(r.layouts.values()), r.plan.site.plot),
}
"""What takes time because it is drawn, the longest last."""


def _part(result: PlanResult, name: str, told: Told | None) -> Any:
    return PARTS[name](result)


def report_page(result: PlanResult, processes: int = 1) -> str:
    """The whole report on a plan's layouts (one or several) as HTML text; drawn in so many processes at once."""
    drawn = work_through(_part, result, list(PARTS), None, processes)
    return page_text(
        "page.html",
        title=result.plan.title,
        place=place_line(result.plan.site),
        sentences=five_sentences(result),
        table=_table(result.layouts),
        money=money_rows(result),
        money_note=money_note(result),
        water=water_rows(result.layouts),
        water_note=WATER_NOTE,
        inverter=inverter_rows(result),
        inverter_note=INVERTER_NOTE,
        months=month_rows(*result.layouts.values()) if len(result.layouts) == 1 else None,
        ratios=ratio_rows(result.layouts),
        ratio_note=RATIO_NOTE,
        gap=gap_rows(result.layouts),
        gap_note=GAP_NOTE,
        endless_sentence=endless_sentence(result),
        steps=[_steps(r) for r in result.layouts.values()],
        assumptions=assumptions(result),
        notes=(*result.weather_notes, *result.warnings),
        cautions=other_cautions(result),
        **dict(zip(PARTS, drawn, strict=True)),
    )
