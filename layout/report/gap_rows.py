"""How far the year's electrical method and the full solution are apart on each layout's own light, in words."""

from collections.abc import Mapping

from layout.report.boost_rows import Rows
from layout.report.numbers import signed_percent
from layout.result import LayoutResult

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
    "most; middle hours: about the median of the power. Below 0 the year's method gives too little."
)


def gap_rows(layouts: Mapping[str, LayoutResult]) -> Rows:
    """One line per layout."""
    lines = []
    for name, r in layouts.items():
        if r.method_gap is None:
            continue
        values = [
            v for g in (r.method_gap.worst, r.method_gap.median) for v in (g.energy_fraction, g.furthest_fraction)
        ]
        lines.append((name, r.method_gap.method, *(signed_percent(v) for v in values)))
    return Rows(HEADS, tuple(lines))
