"""How far the year's electrical method and the full solution are apart on each layout's own light, in words."""

from collections.abc import Mapping

from layout.report.boost_rows import Rows
from layout.report.numbers import signed_percent
from layout.result import LayoutResult
from layout.result_gap import HoursGap

HEADS = (
    "year's method",
    "worst hours,\ntogether",
    "furthest\nof these",
    "middle hours,\ntogether",
    "furthest\nof these",
)

GAP_NOTE = (
    "Electricity by the year's method against the full solution, which follows every cell's curve: DC power, same "
    "cells, light and temperature, the same few panels of each layout. Worst hours: those in which uneven light costs "
    "most; middle hours: about the median of the power. Below 0 the year's method gives too little. The second line, "
    "where panels are in series: the first and the last tracker, and the first with unequal panels or strings; of one "
    "with very many different panels, some of its strings."
)


def gap_rows(layouts: Mapping[str, LayoutResult]) -> Rows:
    """One line per layout."""
    lines = []
    for name, r in layouts.items():
        if r.method_gap is None:
            continue
        lines.append((name, r.method_gap.method, *_values(r.method_gap.worst, r.method_gap.median)))
        strings = r.method_gap.strings
        if strings is not None:
            what = f"the same, {strings.panels} panels on {strings.trackers} tracker{'s' * (strings.trackers > 1)}"
            if strings.in_part:
                what += f", {strings.in_part} of them in part"
            lines.append(("", what, *_values(strings.worst, strings.median)))
    return Rows(HEADS, tuple(lines))


def _values(*hours: HoursGap) -> tuple[str, ...]:
    return tuple(signed_percent(v) for g in hours for v in (g.energy_fraction, g.furthest_fraction))
