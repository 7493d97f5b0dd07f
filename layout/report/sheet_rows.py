"""The table on covers and other see-through sheets: each layout with and without them, side by side."""

from collections.abc import Mapping

from layout.report.boost_rows import Rows
from layout.report.numbers import number
from layout.result import LayoutResult
from layout.result_sheets import SheetSide

SHEET_HEADS = (
    "sheets",
    "AC kWh\na year",
    "light\nkWh/m²",
    "lost to\nunevenness",
    "hottest\ncell °C",
    "in still\nair °C",
    "brightest\ncell W/m²",
    "over its\npanel's mean",
)
SHEET_NOTE = (
    "A cover can even out light and keeps heat off, at a price in output, and it hinders the panels' cooling: the "
    "layout with its sheets, without them (reflectors stay), and with them, cooled as without a cover. "
    "Light: a year's on the fronts, before the panels' glass; lost: DC energy that uneven light on cells costs, the "
    "bright strip where the sun shines in under a cover's edge among it; the rest as in the table of heat."
)


def sheet_rows(layouts: Mapping[str, LayoutResult]) -> Rows:
    """Three lines for each layout with a cover, two for one with other see-through sheets."""
    rows = []
    for name, r in layouts.items():
        if r.sheets is not None:
            rows += [(name, *_side("with", r.sheets.with_sheets)), ("", *_side("without", r.sheets.without_sheets))]
            if r.sheets.freely_cooled is not None:
                rows.append(("", *_side("with, cool", r.sheets.freely_cooled)))
    return Rows(SHEET_HEADS, tuple(rows))


def sheet_notes(layouts: Mapping[str, LayoutResult]) -> tuple[str, ...]:
    """What to say under the table: how much each cover hinders cooling."""
    hindered: dict[float, list[str]] = {}
    for name, r in layouts.items():
        if r.sheets is not None and r.sheets.freely_cooled is not None:
            hindered.setdefault(r.sheets.cooling_factor, []).append(f"“{name}”")
    told = [f"{100 * (1 - factor):.0f} % in {', '.join(names)}" for factor, names in hindered.items()]
    if not told:
        return (SHEET_NOTE,)
    return (SHEET_NOTE, f"Heat that the panels lose less under their covers, by the gap: {'; '.join(told)} (ours).")


def _side(label: str, side: SheetSide) -> tuple[str, ...]:
    return (
        label,
        number(side.energy_ac_kwh),
        number(side.irradiation_kwh_per_m2),
        f"{100 * side.uneven_light_loss_fraction:.1f} %",
        f"{side.hottest_cell_c:.0f}",
        f"{side.hottest_cell_still_air_c:.0f}",
        f"{side.peak_cell_light_w_m2:.0f}",
        f"{side.peak_cell_ratio:.2f}",
    )
