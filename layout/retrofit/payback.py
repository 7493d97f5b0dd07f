"""What parts cost against what their energy is worth over the years of their use."""

from dataclasses import dataclass

from layout.retrofit_table import YEARS, RetrofitTable


@dataclass(frozen=True)
class Payback:
    """Money of a set of parts, in the plan's currency.

    cost : at the beginning;  per_kwh : for each extra kWh, levelised over the years of use, inf without extra energy
    first_year : worth of the extra energy of the first year;  years : cost over that (simple payback), inf where
    nothing is gained;  net : worth of all years at the beginning less the cost; the three None without price_per_kwh
    """

    cost: float
    per_kwh: float
    first_year: float | None
    years: float | None
    net: float | None


def yearly_share(table: RetrofitTable) -> float:
    """Share of a cost at the beginning that the energy of the first year has to bring for the cost to come back over
    the years of use: 1 over the years without discount and degradation (textbook annuity formula)."""
    rate, loss = (value / 100.0 if value else 0.0 for value in (table.discount_pct, table.degradation_pct))
    fade = (1.0 - loss) / (1.0 + rate)
    return (1.0 + rate) / sum(fade**year for year in range(table.years or YEARS))


def payback(cost: float, gain_kwh: float, table: RetrofitTable) -> Payback | None:
    """Money of parts that cost ``cost`` and bring ``gain_kwh`` AC in the first year; None where parts have no price."""
    if not table.priced:
        return None
    share = yearly_share(table)
    per_kwh = cost * share / gain_kwh if gain_kwh > 0 else float("inf")
    if table.price_per_kwh is None:
        return Payback(cost, per_kwh, None, None, None)
    worth = gain_kwh * table.price_per_kwh
    return Payback(cost, per_kwh, worth, cost / worth if worth > 0 else float("inf"), worth / share - cost)
