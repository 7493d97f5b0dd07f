"""The tables [optimise] and [prices] of a plan file."""

import re
from collections.abc import Mapping
from typing import Annotated, Any, Literal

from pydantic import Field, ValidationError

from layout.plan_tables import Layout, PiecesLayout
from sites.errors import Fault
from sites.tables import Table, check_table, key_of, nearest, number, shown, text, whole

Objective = Literal["kwh_per_m2_plot", "energy_ac_kwh", "kwh_per_m2_panel", "cost_per_kwh"]
BOOSTER_KEY = re.compile(r"^booster\[(\d)\]\.(\w+)$")
FIXED = ("name", "kind", "place", "panel", "booster", "cover", "positions_m", "sites", "sides", "faces", "adjust")
"""Keys that no search varies: to compare them, write a layout for each."""


class VaryTable(Table):
    """[[optimise.vary]]"""

    layout: str = text("the layout that varies", accepts="the name of a layout")
    key: str = text("its key; of a booster: booster[0].width_m", accepts="a key of that layout with a number")
    low: float = number("smallest value")
    high: float = number("largest value")
    step: float | None = number("values lie so far apart, from low on; absent: a 256th of the range", None, gt=0)


class LimitsTable(Table):
    """[optimise.limits]; absent: no limit"""

    panels: int | None = whole("most panels", None, ge=1, le=1_000_000)
    dc_capacity_kw: float | None = number("most rated power", None, gt=0, le=1e6)
    reflector_area_m2: float | None = number("most area of reflectors", None, ge=0, le=1e7)
    height_m: float | None = number("highest edge of panels and sheets above the ground", None, gt=0, le=500)
    aisle_m: float | None = number("least free ground between rows or towers, sheets left out", None, ge=0, le=500)
    hottest_cell_c: float | None = number("hottest cell", None, ge=0, le=300)
    peak_cell_ratio: float | None = number("brightest cell over its panel's mean", None, ge=1, le=1000)
    money: float | None = number("most money at the beginning, by [prices]", None, gt=0, le=1e12)


class OptimiseTable(Table):
    """[optimise]"""

    objective: Objective = key_of(
        "what is to be best",
        "'kwh_per_m2_plot', 'energy_ac_kwh', 'kwh_per_m2_panel' or 'cost_per_kwh'",
        "kwh_per_m2_plot",
    )
    second: Objective | None = key_of(
        "a second aim, weighed against the first by the product of powers", "as objective", None
    )
    weight: float = number("power of the first aim, that of the second is the rest to 1", 0.5, ge=0, le=1)
    evaluations: int = whole("years of a layout worked out at most", 120, ge=5, le=100_000)
    vary: Annotated[tuple[VaryTable, ...], Field(min_length=1, max_length=40)] = key_of(
        "what may vary", "at least one table, [[optimise.vary]]"
    )
    limits: LimitsTable = key_of("what has to be kept", "a table, [optimise.limits]", LimitsTable())


class PricesTable(Table):
    """[prices]; all in one currency"""

    panel: float = number("of one panel", 0.0, ge=0, le=1e6)
    support_rows: float = number("support and wiring of one panel in rows", 0.0, ge=0, le=1e6)
    support_upright: float = number("the same in upright rows", 0.0, ge=0, le=1e6)
    support_towers: float = number("the same on towers", 0.0, ge=0, le=1e6)
    support_other: float = number("the same in other layouts", 0.0, ge=0, le=1e6)
    reflector_m2: float = number("of one m² of reflector, support included", 0.0, ge=0, le=1e6)
    land_m2: float = number("of one m² of plot", 0.0, ge=0, le=1e6)
    per_kw: float = number("inverter and connection, per kW of rated power", 0.0, ge=0, le=1e6)
    upkeep_kw_year: float = number("yearly upkeep per kW of rated power", 0.0, ge=0, le=1e6)
    discount_pct: float = number("yearly discount rate", 5.0, ge=0, le=50)
    years: int = whole("of use", 25, ge=1, le=100)
    degradation_pct: float = number("energy lost from year to year", 0.5, ge=0, le=10)


def read_optimise(
    data: Mapping[str, Any], layouts: Mapping[int, Layout], file: str, faults: list[Fault]
) -> tuple[OptimiseTable | None, PricesTable | None]:
    """Both tables, None where the plan has none; what they say is checked against the plan's layouts."""
    prices = check_table(PricesTable, data["prices"], file, "prices", faults) if "prices" in data else None
    if "optimise" not in data:
        return None, prices
    table = check_table(OptimiseTable, data["optimise"], file, "optimise", faults)
    if table is not None:
        names = {layout.name: layout for layout in layouts.values()}
        seen: set[tuple[str, str]] = set()
        for i, vary in enumerate(table.vary):
            faults.extend(_vary_faults(vary, names, file, f"optimise.vary[{i}]"))
            if (vary.layout, vary.key) in seen:
                faults.append(Fault(file, f"optimise.vary[{i}].key", f"{shown(vary.key)} a second time", "each once"))
            seen.add((vary.layout, vary.key))
        money = {"optimise.limits.money": table.limits.money is not None}
        money["optimise.objective"] = "cost_per_kwh" in (table.objective, table.second)
        wanting = [key for key, used in money.items() if used and "prices" not in data]
        faults.extend(Fault(file, key, "no [prices] to count by", "a table, [prices], beside it") for key in wanting)
    return table, prices


def _vary_faults(vary: VaryTable, layouts: Mapping[str, Layout], file: str, key: str) -> list[Fault]:
    if vary.high <= vary.low:
        return [Fault(file, f"{key}.high", f"{vary.high:g}", f"a number above low, {vary.low:g}")]
    layout = layouts.get(vary.layout)
    if layout is None:  # a faulty layout has told its own fault
        return [Fault(file, f"{key}.layout", shown(vary.layout), nearest(vary.layout, layouts))] if layouts else []
    known = variable_keys(layout)
    if vary.key not in known:
        return [Fault(file, f"{key}.key", shown(vary.key), nearest(vary.key, known))]
    faults = []
    for end in ("low", "high"):
        value = getattr(vary, end)
        try:
            with_values(layout, {vary.key: value})
        except ValidationError:
            faults.append(Fault(file, f"{key}.{end}", f"{value:g}", f"a value that {vary.key} may have"))
    return faults


def variable_keys(layout: Layout) -> list[str]:
    """Keys of a layout that hold one number."""
    if isinstance(layout, PiecesLayout) or not hasattr(layout, "booster"):
        return []
    found = [k for k, v in layout if k not in FIXED and isinstance(v, int | float) and not isinstance(v, bool)]
    for i, booster in enumerate(layout.booster):
        found += [f"booster[{i}].{k}" for k, v in booster if isinstance(v, int | float)]
    return found


def value_of(layout: Layout, key: str) -> float:
    """The number that a layout has there."""
    match = BOOSTER_KEY.match(key)
    return float(getattr(layout.booster[int(match[1])], match[2]) if match else getattr(layout, key))  # type: ignore[union-attr]


def with_values(layout: Layout, values: Mapping[str, float]) -> Layout:
    """The layout with some of its numbers set. Raises pydantic.ValidationError where one is out of its range."""
    told = layout.model_dump()
    boosters = [dict(b) for b in told.get("booster", ())]
    for key, value in values.items():
        match = BOOSTER_KEY.match(key)
        table, word = (boosters[int(match[1])], match[2]) if match else (told, key)
        table[word] = round(value) if isinstance(table[word], int) else float(value)
    rest = {k: v for k, v in told.items() if k != "booster"}
    made = type(layout).model_validate(rest)
    olds = getattr(layout, "booster", ())
    return made.model_copy(
        update={"booster": tuple(type(o).model_validate(b) for o, b in zip(olds, boosters, strict=True))}
    )
