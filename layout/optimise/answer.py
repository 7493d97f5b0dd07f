"""The answer of an optimisation: shapes searched, the best traced whole, rows and towers placed, the plan to write."""

import tomllib
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from layout.conditions import Conditions, conditions
from layout.optimise.beyond import BEYOND
from layout.optimise.judge import Judge, Traced
from layout.optimise.place import Positions, mix, place
from layout.optimise.place_limits import UNITS
from layout.optimise.store import Store, problem_key
from layout.optimise.study import Study, missed, reached, store_path, study
from layout.optimise.write_plan import plain_table, plan_with, to_toml
from layout.optimise_checks import PLACED
from layout.optimise_tables import OptimiseTable
from layout.plan import Layout, Plan, parse_plan
from sites.errors import Fault, InputError
from sites.weather_files import load_weather

Told = Callable[[str, int, int], None]

BEST_PLAN = "optimise-best.toml"


@dataclass(frozen=True, eq=False)
class LayoutAnswer:
    """study : the shapes of one layout;  positions : None where its regular pattern stays;  chosen : what is written"""

    name: str
    study: Study
    positions: Positions | None

    @property
    def traced(self) -> tuple[Traced, ...]:
        """Shapes traced whole in the regular pattern, best first."""
        return self.study.traced

    @property
    def chosen(self) -> Traced:
        """What the plan file gets."""
        return self.positions.traced if self.positions is not None and self.positions.taken else self.study.traced[0]


@dataclass(frozen=True, eq=False)
class Answer:
    """plan, data : as asked, checked and as tables;  year : its weather;  layouts : by name
    left_out : layouts that cannot keep the limits, and why, by name
    best : of the layouts the one with the best score;  mixed : pairs that share the plot, by name
    text, again : the plan file written, and that file read;  notes : on weather
    """

    plan: Plan
    data: dict[str, Any]
    year: Conditions
    layouts: dict[str, LayoutAnswer]
    left_out: dict[str, tuple[str, ...]]
    best: str
    mixed: dict[str, Positions]
    text: str
    again: Plan
    notes: tuple[str, ...]

    @property
    def table(self) -> OptimiseTable:
        """What was asked."""
        assert self.plan.optimise is not None
        return self.plan.optimise

    @property
    def evaluations_new(self) -> int:
        """Years worked out now and not found from an earlier run."""
        return sum(a.study.new for a in self.layouts.values())


def limits_reached(answer: Answer, name: str) -> tuple[str, ...]:
    """Limits that a layout's answer comes within 2 % of."""
    return reached(answer.table.limits, answer.layouts[name].chosen.figures)


def find_answer(plan: Plan, source: str, folder: Path, told: Told | None = None) -> Answer:
    """Search, trace and place.

    source : the plan file's text;  folder : where finished evaluations are kept and looked for
    Raises InputError where the plan has no [optimise] or no layout can keep its limits.
    """
    table = plan.optimise
    if table is None:
        raise InputError([Fault(plan.file, "optimise", "nothing", "a table, [optimise], with [[optimise.vary]]")])
    data = tomllib.loads(source)
    weather = load_weather(plan.site)
    year = conditions(plan.site, weather, plan.run.bounces)
    store = Store(store_path(folder), problem_key(data, year))
    layouts: dict[str, LayoutAnswer] = {}
    faults: dict[str, list[Fault]] = {}
    for layout in plan.layouts:
        if layout.name in searched(plan):
            try:
                layouts[layout.name] = _one(plan, layout, year, store, told)
            except InputError as error:
                faults[layout.name] = list(error.faults)
    if not layouts:
        raise InputError([f for found in faults.values() for f in found])
    best = max(layouts, key=lambda name: layouts[name].chosen.score)
    mixed = _mixed(plan, layouts, year, store, faults, told)
    made = plan_with(data, plan.folder, {n: a.chosen.values for n, a in layouts.items()}, _placed(layouts))
    made["layout"] += [plain_table(p.traced.layout) for p in mixed.values() if p.taken]
    text = to_toml(made)
    again = parse_plan(text, BEST_PLAN, plan.folder)
    left_out = {name: tuple(f"{f.key}: {f.found}" for f in found) for name, found in faults.items()}
    return Answer(plan, data, year, layouts, left_out, best, mixed, text, again, weather.notes)


def searched(plan: Plan) -> list[str]:
    """Layouts that vary or are placed."""
    table = plan.optimise
    assert table is not None
    pairs = table.positions.mixed if table.positions is not None else ()
    return list(dict.fromkeys([v.layout for v in table.vary] + placed(plan) + [n for pair in pairs for n in pair]))


def placed(plan: Plan) -> list[str]:
    """Layouts whose rows or towers are placed one by one."""
    table = plan.optimise
    if table is None or table.positions is None:
        return []
    if table.positions.layouts:
        return list(table.positions.layouts)
    varied = {v.layout for v in table.vary}
    return [x.name for x in plan.layouts if isinstance(x, PLACED) and (x.name in varied or not varied)]


def _one(plan: Plan, layout: Layout, year: Conditions, store: Store, told: Told | None) -> LayoutAnswer:
    table = plan.optimise
    assert table is not None
    assert isinstance(layout, PLACED)

    def tick(done: int) -> None:
        if told is not None:
            told(f"shapes of {layout.name}", min(done, table.evaluations), table.evaluations)

    is_placed = table.positions is not None and layout.name in placed(plan)
    found = study(plan, layout, year, store, tick, (*UNITS, BEYOND) if is_placed else ())
    positions = None
    if table.positions is not None and is_placed:
        if told is not None:
            told(f"places of {layout.name}", 0, 1)
        judge = Judge(plan, table, layout, year, store, lambda _: None)
        positions = place(judge, table.positions, found.traced[0])
        if told is not None:
            told(f"places of {layout.name}", 1, 1)
    answer = LayoutAnswer(layout.name, found, positions)
    if answer.chosen.broken:
        raise InputError(missed(plan, layout, table.limits, [answer.chosen.figures]))
    return answer


def _mixed(
    plan: Plan,
    layouts: dict[str, LayoutAnswer],
    year: Conditions,
    store: Store,
    faults: dict[str, list[Fault]],
    told: Told | None,
) -> dict[str, Positions]:
    """Pairs of layouts that share the plot; why one of them cannot goes to the faults."""
    table = plan.optimise
    if table is None or table.positions is None:
        return {}
    found: dict[str, Positions] = {}
    for first, second in table.positions.mixed:
        if first not in layouts or second not in layouts:
            continue  # told as left out
        if told is not None:
            told(f"places of {first} and {second}", 0, 1)
        regular = layouts[first].traced[0], layouts[second].traced[0]
        judges = tuple(Judge(plan, table, t.layout, year, store, lambda _: None) for t in regular)
        alone = layouts[first].chosen, layouts[second].chosen
        try:
            p = mix((judges[0], judges[1]), table.positions, regular, alone)
            found[p.traced.layout.name] = p
        except InputError as error:
            faults[f"{first} + {second}"] = list(error.faults)
        if told is not None:
            told(f"places of {first} and {second}", 1, 1)
    return found


def _placed(layouts: dict[str, LayoutAnswer]) -> dict[str, dict[str, Any]]:
    """Keys of positions that go into the plan file, by layout."""
    found: dict[str, dict[str, Any]] = {}
    for name, answer in layouts.items():
        if answer.positions is None or not answer.positions.taken:
            continue
        layout, regular = answer.chosen.layout, answer.traced[0].layout
        keys = ("positions_m", "row_columns", "pitch_m", "sites")
        found[name] = {
            k: getattr(layout, k) for k in keys if hasattr(layout, k) and getattr(layout, k) != getattr(regular, k)
        }
    return found
