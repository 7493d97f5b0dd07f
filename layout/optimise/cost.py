"""Levelised cost of electricity: yearly costs over yearly energy, both discounted (textbook annuity formula)."""

from layout.optimise_tables import PricesTable


def capital_recovery(rate: float, years: int) -> float:
    """The yearly payment that pays back 1 over so many years; rate a fraction.

    >>> round(capital_recovery(0.08, 20), 6)
    0.101852
    """
    return 1.0 / years if rate == 0 else rate / (1.0 - (1.0 + rate) ** -years)


def levelised_cost(
    capital: float, yearly: float, first_year_kwh: float, rate: float, years: int, degradation: float = 0.0
) -> float:
    """Money per kWh; energy falls by ``degradation`` from year to year, the first year is whole. inf without energy.

    >>> round(levelised_cost(1000, 15, 1500, 0.07, 25), 6)
    0.067207
    """
    if first_year_kwh <= 0:
        return float("inf")
    ratio = (1.0 - degradation) / (1.0 + rate)
    discounted = sum(ratio**year for year in range(years)) / (1.0 + rate)
    level = first_year_kwh * discounted * capital_recovery(rate, years)
    return (capital * capital_recovery(rate, years) + yearly) / level


def money(prices: PricesTable, kind: str, figures: dict[str, float]) -> float:
    """Money at the beginning. figures : ``panels``, ``dc_capacity_kw``, ``reflector_area_m2``, ``plot_area_m2``."""
    return float(
        figures["panels"] * (prices.panel + support_price(prices, kind))
        + figures["reflector_area_m2"] * prices.reflector_m2
        + figures["plot_area_m2"] * prices.land_m2
        + figures["dc_capacity_kw"] * prices.per_kw
    )


def support_price(prices: PricesTable, kind: str) -> float:
    """Support and wiring of one panel in a layout of this kind."""
    return float(getattr(prices, f"support_{kind}", prices.support_other))


def cost_per_kwh(prices: PricesTable, kind: str, figures: dict[str, float]) -> float:
    """Levelised cost of a layout; ``figures`` as in `money`, and ``energy_ac_kwh`` of the first year."""
    return levelised_cost(
        money(prices, kind, figures),
        figures["dc_capacity_kw"] * prices.upkeep_kw_year,
        figures["energy_ac_kwh"],
        prices.discount_pct / 100.0,
        prices.years,
        prices.degradation_pct / 100.0,
    )
