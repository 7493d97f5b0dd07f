"""Heat and bright spots: the report's table, cautions and maps of the worst hours."""

from dataclasses import dataclass

from layout.report.boost_rows import Rows, heat_notes, heat_rows
from layout.report.electric_rows import HOT_SPOT_NOTE, hot_spot_rows
from layout.report.figures_heat import heat_scales, worst_hour_figure
from layout.report.figures_style import embedded
from layout.report.sentences import all_cautions, layout_cautions
from layout.result import LayoutResult, PlanResult, WorstHour

TOPICS = ("Heat", "Hot spot", "Light", "Burns", "Warranty", "Dazzle", "Wind and snow", "Covers")
"""First words of the cautions that stand beside the table."""


@dataclass(frozen=True)
class HeatMap:
    """One layout's worst hour; image : an address that holds the picture."""

    name: str
    image: str
    caption: str


@dataclass(frozen=True)
class HeatSection:
    """table, notes, spots, spots_note : in words; cautions : for each set of layouts its lines, as topic and text;
    maps : in the order of the layouts."""

    table: Rows
    notes: tuple[str, ...]
    cautions: tuple[tuple[str, tuple[tuple[str, str], ...]], ...]
    maps: tuple[HeatMap, ...]
    spots: Rows
    spots_note: str = HOT_SPOT_NOTE


def heat_section(result: PlanResult) -> HeatSection:
    """Everything the section shows."""
    layouts, zone = result.layouts, result.plan.site.location.time_zone
    scales = heat_scales(layouts)
    maps = tuple(
        HeatMap(name, embedded(worst_hour_figure(r, r.peaks.worst, scales)), _caption(r, r.peaks.worst, zone))
        for name, r in layouts.items()
        if r.peaks is not None
    )
    return HeatSection(heat_rows(layouts), heat_notes(layouts), _cautions(result), maps, hot_spot_rows(layouts, zone))


def other_cautions(result: PlanResult) -> tuple[str, ...]:
    """The cautions that the section does not show."""
    shown = layout_cautions(result, TOPICS)
    return tuple(line for line in all_cautions(result) if not any(line.endswith(known) for known in shown))


def _cautions(result: PlanResult) -> tuple[tuple[str, tuple[tuple[str, str], ...]], ...]:
    """Lines by the layouts that they are about."""
    by_names: dict[str, list[tuple[str, str]]] = {}
    for line, names in layout_cautions(result, TOPICS).items():
        topic, text = line.split(":", 1)
        by_names.setdefault(", ".join(names), []).append((topic, text.strip()))
    return tuple((names, tuple(lines)) for names, lines in by_names.items())


def _caption(r: LayoutResult, worst: WorstHour, time_zone: str) -> str:
    start = worst.start.tz_convert(time_zone)
    rear = " Light on its rear warms it, too." if r.arrangement.scene.panels[worst.panel].bifacial else ""
    return (
        f"{start.day} {start:%B}, hour from {start:%H:%M}: air {worst.air_c:.0f} °C, wind {worst.wind_m_s:.1f} m/s "
        f"at a height of 10 m. Seen from the front.{rear}"
    )
