"""What hot water brings and does to the panels, in words for the terminal and the report."""

from collections.abc import Mapping

from layout.report.boost_rows import Rows
from layout.report.numbers import NOTHING, number, percent, signed_percent
from layout.result import LayoutResult

HEADS = (
    "drawn\nkWh a year",
    "of what\nis asked",
    "lost by\nstore kWh",
    "hours at\nset temp.",
    "AC, panels\ndry kWh",
    "AC\nchange",
)

WATER_NOTE = (
    "Hot water: heat drawn at the tap, and as a share of all that is wanted; hours in which the store is at least as "
    "warm as wanted. AC energy had the same panels been dry, and what the cooling brings. Electricity of the pump and "
    "heat that fills up the rest are not in it. In the worst hours the pump is taken to stand still; in the pattern "
    "without end store and draw go by the rated power, so that neighbours have what this plot has."
)


def water_rows(layouts: Mapping[str, LayoutResult]) -> Rows:
    """One line per layout with hot water; no line where the plan asks for none."""
    lines = []
    for name, r in layouts.items():
        water = r.hot_water
        if water is None:
            continue
        dry = water.dry_energy_ac_kwh
        asked = percent(water.hot_water_kwh / water.asked_kwh) if water.asked_kwh > 0 else NOTHING
        lines.append(
            (
                name,
                number(water.hot_water_kwh),
                asked,
                number(water.store_loss_kwh),
                f"{water.hours_at_set_temperature:.0f}",
                number(dry),
                signed_percent(water.energy_ac_kwh / dry - 1.0) if dry > 0.0 else NOTHING,
            )
        )
    return Rows(HEADS, tuple(lines))
