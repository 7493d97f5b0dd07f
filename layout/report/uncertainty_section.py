"""How sure the energies are: the report's tables of P50, P90 and of the differences between layouts."""

from dataclasses import dataclass

from layout.report.boost_rows import Rows
from layout.report.numbers import NOTHING, number, percent, signed_percent
from layout.result import PlanResult
from layout.uncertainty_table import UncertaintyTable


@dataclass(frozen=True)
class UncertaintySection:
    """method : one paragraph; ranges, differences : in words; causes : (what, standard deviation, source)."""

    method: str
    ranges: Rows
    differences: tuple[tuple[str, ...], ...]
    causes: tuple[tuple[str, str, str], ...]


def uncertainty_section(result: PlanResult) -> UncertaintySection:
    """Everything the section shows."""
    found, table = result.uncertainty, result.plan.uncertainty
    differences = tuple(
        (f"{d.first} over {d.second}", *(signed_percent(v) for v in (d.p90_fraction, d.p50_fraction, d.p10_fraction)))
        for d in found.differences
    )
    return UncertaintySection(_method(table), sure_rows(result), differences, _causes(table))


def sure_rows(result: PlanResult) -> Rows:
    """One line per layout; who wins how often only where there is a choice."""
    heads = ["P50, kWh\na year", "P90, kWh\na year", "gives most per m² of\nplot, share of draws"]
    rows = [
        (name, number(r.p50_kwh), number(r.p90_kwh), percent(r.wins_fraction) if r.p50_kwh > 0 else NOTHING)
        for name, r in result.uncertainty.layouts.items()
    ]
    shown = 4 if len(rows) > 1 else 3
    return Rows(tuple(heads[: shown - 1]), tuple(row[:shown] for row in rows))


def _method(table: UncertaintyTable) -> str:
    return (
        f"{number(table.draws)} draws (seed {table.seed}). In each, a layout's yearly energy is multiplied by one "
        "factor per cause, log-normal with median 1. All layouts share the factors of weather, soiling and "
        "reflectance, and layouts of one panel type that of the panel, so these cancel out of the differences; each "
        "layout has its own factor for the light. P50 is exceeded in half of the draws, P90 in nine of ten. An "
        "AC limit cuts off more in bright draws. Not in it: weather that suits one layout more than another, ageing. "
        "That is why a layout that comes first in most draws may still be told too close to call."
    )


def _causes(table: UncertaintyTable) -> tuple[tuple[str, str, str], ...]:
    keys = ("weather_pct", "light_pct", "panel_pct", "reflectance_pct", "soiling_pct")
    return tuple(
        (str(UncertaintyTable.model_fields[key].description), f"{getattr(table, key):g} %", table.source(key))
        for key in keys
    )
