"""The plan's limits as the models of positions take them: what each panel takes of each."""

from collections.abc import Iterator
from contextlib import contextmanager

from layout.optimise.cost import support_price
from layout.optimise.judge import Judge, Traced
from layout.optimise.place_mixed import SharedLimit
from layout.optimise.positions_nets import Limit
from layout.optimise.solver import UnmetLimitsError
from sites.conventions import FloatArray
from sites.errors import Fault, InputError

BY_AREA = ("kwh_per_m2_plot", "energy_ac_kwh")
"""Aims that grow with energy alone; for the others the number of panels is kept."""

UNITS = {"panels": "panels", "dc_capacity_kw": "kW", "reflector_area_m2": "m²", "money": "of money"}
"""Limits that the choice of places has to keep; the others hang on the shape or show when it is traced."""

REGULAR = "panels of the regular pattern"


def taken_each(judge: Judge, regular: Traced, kind: str) -> dict[str, float]:
    """What each panel of a layout, its sheets in, takes of each limit. kind : as which supports are paid for"""
    figures, prices = regular.figures, judge.plan.prices
    kw, sheets = (figures[k] / figures["panels"] for k in ("dc_capacity_kw", "reflector_area_m2"))
    each = {"panels": 1.0, "dc_capacity_kw": kw, "reflector_area_m2": sheets}
    if prices is not None:
        frame = prices.panel + support_price(prices, kind)
        each["money"] = frame + prices.reflector_m2 * sheets + prices.per_kw * kw
    return each


def most_of(judge: Judge, plot_area_m2: float) -> dict[str, float]:
    """What the plan allows of each, land paid."""
    found = {k: float(v) for k in UNITS if (v := getattr(judge.table.limits, k)) is not None}
    if "money" in found and judge.plan.prices is not None:
        found["money"] -= judge.plan.prices.land_m2 * plot_area_m2
    return found


def by_energy(judge: Judge) -> bool:
    """Whether more energy is always better."""
    return {judge.table.objective, judge.table.second or judge.table.objective} <= set(BY_AREA)


def model_limits(judge: Judge, regular: Traced, towers: FloatArray | None = None) -> list[Limit]:
    """Limits on one layout. towers : (m,) panels of the tower on each site, None for rows"""
    each = taken_each(judge, regular, judge.layout.kind)
    most = {k: (each[k], side) for k, side in most_of(judge, regular.figures["plot_area_m2"]).items()}
    if not by_energy(judge):
        most[REGULAR] = 1.0, regular.figures["panels"]
    return [
        Limit(k, UNITS.get(k, "panels"), panel=one, most=side)
        if towers is None
        else Limit(k, UNITS.get(k, "panels"), site=one * towers, most=side)
        for k, (one, side) in most.items()
        if one > 0
    ]


def shared_limits(judges: tuple[Judge, Judge], regular: tuple[Traced, Traced]) -> list[SharedLimit]:
    """Limits on two layouts that share the plot."""
    first, second = (taken_each(j, r, "pieces") for j, r in zip(judges, regular, strict=True))
    most = {
        k: (first[k], second[k], side) for k, side in most_of(judges[0], regular[0].figures["plot_area_m2"]).items()
    }
    if not by_energy(judges[0]):
        most[REGULAR] = 1.0, 1.0, max(r.figures["panels"] for r in regular)
    return [SharedLimit(k, UNITS.get(k, "panels"), (a, b), side) for k, (a, b, side) in most.items() if max(a, b) > 0]


@contextmanager
def told_as_faults(judge: Judge, name: str, time_s: float) -> Iterator[None]:
    """What a solver cannot do, as faults of the plan."""
    file = judge.plan.file
    try:
        yield
    except UnmetLimitsError as error:
        key = f"optimise.limits, places of {name!r}"
        raise InputError([Fault(file, key, str(u), "wider limits") for u in error.unmet]) from None
    except TimeoutError as error:
        found = f"{time_s:g}, and {error} for {name!r}"
        raise InputError([Fault(file, "optimise.positions.time_s", found, "more seconds")]) from None
