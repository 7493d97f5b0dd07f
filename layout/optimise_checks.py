"""What is wrong with [optimise] and [prices] once the plan's layouts are known."""

from collections import Counter
from collections.abc import Collection, Mapping
from typing import Any

from pydantic import ValidationError

from layout.optimise_tables import (
    SEVERAL,
    OptimiseTable,
    PositionsTable,
    PricesTable,
    VaryTable,
    accepted_by,
    variable_keys,
    whole_number,
    with_values,
    word_keys,
    words_for,
)
from layout.panel_types import list_panel_types
from layout.plan_tables import Layout, RowsLayout, TowersLayout, UprightLayout
from sites.errors import Fault
from sites.tables import check_table, nearest, shown

PLACED = (RowsLayout, UprightLayout, TowersLayout)
"""Kinds whose shapes vary and whose positions are chosen."""


def read_optimise(
    data: Mapping[str, Any],
    layouts: Mapping[int, Layout],
    reflectors: Collection[str],
    file: str,
    faults: list[Fault],
) -> tuple[OptimiseTable | None, PricesTable | None]:
    """Both tables, None where the plan has none; what they say is checked against the plan's layouts.

    reflectors : names of the reflector types that there are
    """
    prices = check_table(PricesTable, data["prices"], file, "prices", faults) if "prices" in data else None
    if "optimise" not in data:
        return None, prices
    table = check_table(OptimiseTable, data["optimise"], file, "optimise", faults)
    if table is not None:
        names = {layout.name: layout for layout in layouts.values()}
        for i, vary in enumerate(table.vary):
            faults.extend(_vary_faults(vary, names, reflectors, file, f"optimise.vary[{i}]"))
        for (_, key), count in Counter((v.layout, v.key) for v in table.vary).items():
            if count > 1:
                last = max(i for i, v in enumerate(table.vary) if v.key == key)
                faults.append(Fault(file, f"optimise.vary[{last}].key", f"{shown(key)} a second time", "each once"))
        if not table.vary and table.positions is None:
            accepted = "at least one table, [[optimise.vary]], or a table, [optimise.positions]"
            faults.append(Fault(file, "optimise.vary", "nothing that varies", accepted))
        if table.positions is not None:
            faults.extend(_position_faults(table.positions, names, file))
        money = {"optimise.limits.money": table.limits.money is not None}
        money["optimise.objective"] = table.objective == "cost_per_kwh"
        money["optimise.second"] = table.second == "cost_per_kwh"
        wanting = [key for key, used in money.items() if used and "prices" not in data]
        faults.extend(Fault(file, key, "no [prices] to count by", "a table, [prices], beside it") for key in wanting)
    return table, prices


def _vary_faults(
    vary: VaryTable, layouts: Mapping[str, Layout], reflectors: Collection[str], file: str, key: str
) -> list[Fault]:
    layout = layouts.get(vary.layout)
    if layout is None:  # a faulty layout has told its own fault
        return [Fault(file, f"{key}.layout", shown(vary.layout), nearest(vary.layout, layouts))] if layouts else []
    if not isinstance(layout, PLACED):
        return [Fault(file, f"{key}.layout", f"a layout of kind {layout.kind!r}", "kind rows, upright or towers")]
    if getattr(layout, "positions_m", ()) or getattr(layout, "sites", ()):
        found = f"{shown(vary.layout)}, whose places are given one by one"
        return [Fault(file, f"{key}.layout", found, "a layout without positions_m and sites")]
    return (
        _choice_faults(vary, layout, reflectors, file, key) if vary.choices else _range_faults(vary, layout, file, key)
    )


def _range_faults(vary: VaryTable, layout: Layout, file: str, key: str) -> list[Fault]:
    known = variable_keys(layout)
    if vary.key not in known:
        if vary.key in word_keys(layout):
            return [Fault(file, f"{key}.choices", "nothing", f"words to choose from for {vary.key}")]
        return [Fault(file, f"{key}.key", shown(vary.key), nearest(vary.key, known))]
    ends = {"low": vary.low, "high": vary.high}
    missing = [
        Fault(file, f"{key}.{k}", "nothing", "a number, or choices instead") for k, v in ends.items() if v is None
    ]
    if missing:
        return missing
    low, high = vary.range
    if high <= low:
        return [Fault(file, f"{key}.high", f"{high:g}", f"a number above low, {low:g}")]
    faults = []
    for end, value in (("low", low), ("high", high)):
        try:
            with_values(layout, {vary.key: value})
        except ValidationError:
            faults.append(Fault(file, f"{key}.{end}", f"{value:g}", f"for {vary.key} {accepted_by(layout, vary.key)}"))
    if vary.step is not None and vary.step > (high - low) * (1.0 + 1e-9):
        faults.append(Fault(file, f"{key}.step", f"{vary.step:g}", f"up to high less low, {high - low:g}"))
    if whole_number(layout, vary.key) and any(v != round(v) for v in (low, vary.step or 1.0)):
        found = f"low {low:g}" + ("" if vary.step is None else f", step {vary.step:g}")
        faults.append(Fault(file, f"{key}.step", found, f"low and step whole numbers, as {vary.key} is one"))
    return faults


def _choice_faults(vary: VaryTable, layout: Layout, reflectors: Collection[str], file: str, key: str) -> list[Fault]:
    known = word_keys(layout)
    if vary.key not in known:
        accepted = "low and high" if vary.key in variable_keys(layout) else nearest(vary.key, known)
        return [Fault(file, f"{key}.choices", f"words for {shown(vary.key)}", accepted)]
    given = [n for n in ("low", "high", "step") if getattr(vary, n) is not None]
    faults = [Fault(file, f"{key}.{n}", "beside choices", "either choices or low and high") for n in given]
    if len(set(vary.choices)) < max(2, len(vary.choices)):
        faults.append(Fault(file, f"{key}.choices", shown(list(vary.choices)), "at least two words, each once"))
    return faults + _word_faults(vary, layout, reflectors, file, key)


def _word_faults(vary: VaryTable, layout: Layout, reflectors: Collection[str], file: str, key: str) -> list[Fault]:
    """Words that a key cannot have, or that a choice gives twice."""
    types = list_panel_types() if vary.key == "panel" else reflectors
    words = words_for(layout, vary.key) or types
    faults = []
    for i, choice in enumerate(vary.choices):
        several = vary.key.split(".")[-1] in SEVERAL
        parts = [w.strip() for w in choice.split(",")] if several else [choice]
        here = f"{key}.choices[{i}]"
        faults += [Fault(file, here, shown(w), nearest(w, words)) for w in parts if w not in words]
        faults += [Fault(file, here, f"{shown(w)} twice", "each once") for w in set(parts) if parts.count(w) > 1]
    return faults


def _position_faults(table: PositionsTable, layouts: Mapping[str, Layout], file: str) -> list[Fault]:
    """Layouts that positions name must be there and of a kind that is placed."""
    here = "optimise.positions"
    named = [(f"{here}.layouts[{i}]", n) for i, n in enumerate(table.layouts)]
    named += [(f"{here}.mixed[{i}]", n) for i, pair in enumerate(table.mixed) for n in pair]
    faults = []
    for key, name in named if layouts else ():
        layout = layouts.get(name)
        if layout is None:
            faults.append(Fault(file, key, shown(name), nearest(name, layouts)))
        elif not isinstance(layout, PLACED):
            faults.append(Fault(file, key, f"a layout of kind {layout.kind!r}", "kind rows, upright or towers"))
        elif getattr(layout, "positions_m", ()) or getattr(layout, "sites", ()):
            found = f"{shown(name)}, whose places are given one by one"
            faults.append(Fault(file, key, found, "a layout without positions_m and sites"))
    for i, (first, second) in enumerate(table.mixed):
        if first == second:
            faults.append(Fault(file, f"{here}.mixed[{i}]", f"{shown(first)} twice", "two layouts"))
    if layouts and not any(isinstance(x, PLACED) for x in layouts.values()):
        faults.append(Fault(file, here, "no layout to place", "a layout of kind rows, upright or towers"))
    return faults
