"""``brightacre optimise PLAN``: from a plan to what it shows and writes."""

import tomllib
from pathlib import Path

from rich.table import Table

from layout.arrange import arrange
from layout.conditions import conditions
from layout.optimise.search import front
from layout.optimise.store import Store, problem_key
from layout.optimise.study import Study, store_path, study
from layout.optimise.write_plan import corners_csv, corners_geojson, plan_with, to_toml
from layout.optimise_tables import LimitsTable
from layout.plan import Plan, parse_plan
from layout.report import tables
from layout.report.files import file_stem, to_json
from layout.report.numbers import number
from layout.report.outputs import Output
from layout.workers import Told
from sites.errors import Fault, InputError
from sites.weather_files import load_weather

BEST_PLAN = "optimise-best.toml"
NO_LIMIT = (
    "the plan has no [optimise.limits]: closer rows at lower tilt will win per m² of plot, as far as the bounds allow. "
    "A limit on panels, dc_capacity_kw or money makes the question real"
)


def optimise_command(plan: Plan, source: str, folder: Path, told: Told | None = None) -> Output:
    """Search the shapes of a plan's layouts.

    source : the plan file's text;  folder : where finished evaluations are kept and looked for
    Raises InputError where the plan has no [optimise] or its limits cannot be met.
    """
    table = plan.optimise
    if table is None:
        raise InputError([Fault(plan.file, "optimise", "nothing", "a table, [optimise], with [[optimise.vary]]")])
    data = tomllib.loads(source)
    weather = load_weather(plan.site)
    year = conditions(plan.site, weather)
    store = Store(store_path(folder), problem_key(data, year))
    studies: dict[str, Study] = {}
    for layout in plan.layouts:
        if layout.name not in {v.layout for v in table.vary}:
            continue

        def tick(done: int, name: str = layout.name) -> None:
            if told is not None:
                told(f"shapes of {name}", min(done, table.evaluations), table.evaluations)

        studies[layout.name] = study(plan, layout, year, store, tick)  # type: ignore[arg-type]
    return _output(plan, data, studies, weather.notes)


def _output(plan: Plan, data: dict[str, object], studies: dict[str, Study], notes: tuple[str, ...]) -> Output:
    table = plan.optimise
    assert table is not None
    best = max(studies, key=lambda name: studies[name].best.score)
    made = to_toml(plan_with(data, plan.folder, {name: dict(s.best.values) for name, s in studies.items()}))
    files: dict[str, str | bytes] = {BEST_PLAN: made}
    again = parse_plan(made, BEST_PLAN, plan.folder)
    place = plan.site.location
    for layout in again.layouts:
        if layout.name in studies:
            built = arrange(again, layout)
            stem = f"optimise-{file_stem(layout.name)}-positions"
            files[f"{stem}.csv"] = corners_csv(built)
            files[f"{stem}.geojson"] = corners_geojson(built, place.longitude_deg, place.latitude_deg)
    told = {"best_layout": best, "layouts": {name: _data(s) for name, s in studies.items()}}
    files["optimise.json"] = to_json(told)
    free = table.limits == LimitsTable()
    mean = "Energy is that of the plot at the mean number of panels over all shifts of the pattern, obstacles' shadows "
    mean += f"left out; brightacre compare {BEST_PLAN} traces the layouts as they stand."
    lines: list[Table | str] = [f"warning: {NO_LIMIT}", ""] if free else []
    words = [line for name, s in studies.items() for line in _sentences(name, s)]
    shown = (
        *lines,
        _table(studies),
        f"Best by {table.objective}: {best}.",
        mean,
        *words,
        "",
        *(f"note: {n}" for n in notes),
    )
    return Output(told, files, shown)


def _table(studies: dict[str, Study]) -> Table:
    found = tables._table(
        "Best shapes", "layout", ("values", "panels", "AC kWh\na year", "kWh/m²\nplot", "kWh/m²\npanel")
    )
    for name, s in studies.items():
        f = s.best_figures
        values = "\n".join(f"{k} {v:g}" for k, v in s.best.values.items())
        row = [number(f[k]) for k in ("energy_ac_kwh", "kwh_per_m2_plot", "kwh_per_m2_panel")]
        found.add_row(name, values, f"{f['panels']}", *row)
    return found


def _sentences(name: str, s: Study) -> list[str]:
    lines = [f"{name}: {len(s.points)} shapes looked at, {s.new} of them worked out now."]
    for held in s.held:
        more = (
            f"lifting it by a twentieth of its range would bring {held.gain:+.1%}"
            if held.gain == held.gain
            else ("beyond it nothing can be built within the limits")
        )
        lines.append(f"{name}: {held.key} lies on its {held.bound} bound, {held.value:g}; {more}.")
    flat = ", ".join(f"{k} {low:g} to {high:g}" for k, (low, high) in s.flat.items())
    lines.append(f"{name}: within 1 % of the best: {flat}.")
    if s.winter is not None:
        pitch, cost, broken = s.winter
        words = f"would cost {cost:.1%}" if cost >= 0 else f"would bring {-cost:.1%}"
        more = f", but breaks the limit {', '.join(broken)}" if broken else ""
        rule = f"the rule of no shade from 9 to 15 h at midwinter asks for a pitch of {pitch:g} m"
        lines.append(f"{name}: {rule}; following it at the best tilt {words}{more}.")
    return lines


def _data(s: Study) -> dict[str, object]:
    kept = [f for f, p in zip(s.figures, s.points, strict=True) if p.violation <= 0]
    values = [p.values for p in s.points if p.violation <= 0]
    on = front(kept, "kwh_per_m2_plot", "kwh_per_m2_panel")
    return {
        "best": s.best.values,
        "figures": s.best_figures,
        "evaluations": len(s.points),
        "worked_out_now": s.new,
        "on_a_bound": [vars(h) for h in s.held],
        "within_1_pct": {k: list(v) for k, v in s.flat.items()},
        "front": [values[i] | {k: kept[i][k] for k in ("kwh_per_m2_plot", "kwh_per_m2_panel")} for i in on],
        "midwinter_rule": None
        if s.winter is None
        else dict(zip(("pitch_m", "costs", "breaks"), s.winter, strict=True)),
    }
