"""Money: what layouts cost at the beginning and each kWh over the years, where the plan gives prices."""

from typing import Any

from layout.optimise.cost import cost_per_kwh, money
from layout.report.boost_rows import Rows
from layout.report.numbers import NOTHING, number
from layout.result import PlanResult

HEADS = ("money at the\nbeginning", "money a\nkWh")


def money_figures(result: PlanResult) -> dict[str, dict[str, Any]]:
    """By layout: ``money_at_beginning``, ``money_per_kwh`` (levelised, None without energy); empty without [prices]."""
    prices = result.plan.prices
    if prices is None:
        return {}
    found = {}
    for name, r in result.layouts.items():
        figures = {
            "panels": float(r.panels),
            "dc_capacity_kw": r.dc_capacity_kw,
            "reflector_area_m2": r.reflector_area_m2,
            "plot_area_m2": r.plot_area_m2 if result.plan.site.plot else 0.0,
            "energy_ac_kwh": r.energy_ac_kwh,
        }
        each = cost_per_kwh(prices, r.kind, figures) if r.energy_ac_kwh > 0 else None
        found[name] = {"money_at_beginning": money(prices, r.kind, figures), "money_per_kwh": each}
    return found


def money_rows(result: PlanResult) -> Rows:
    """One line per layout; none without [prices]."""
    lines = (
        (name, number(f["money_at_beginning"]), NOTHING if f["money_per_kwh"] is None else number(f["money_per_kwh"]))
        for name, f in money_figures(result).items()
    )
    return Rows(HEADS, tuple(lines))


def money_note(result: PlanResult) -> str:
    """What the figures rest on; empty without [prices]."""
    prices = result.plan.prices
    if prices is None:
        return ""
    return (
        "Money: by the plan's own [prices], in their currency. A kWh: yearly costs over yearly energy, both "
        f"discounted at {prices.discount_pct:g} % over {prices.years} years, energy falling by "
        f"{prices.degradation_pct:g} % a year. Taxes, repairs and what a kWh earns are not in it."
    )
