"""``brightacre optimise PLAN``: from a plan to what it shows and writes."""

from collections.abc import Sequence
from pathlib import Path
from typing import Any

from rich.table import Table

from layout.arrange import arrange
from layout.optimise.answer import BEST_PLAN, Answer, LayoutAnswer, Told, find_answer, limits_reached
from layout.optimise.judge import Traced
from layout.optimise.place import Positions
from layout.optimise.place_trace import AGREE_FRACTION
from layout.optimise.review import review
from layout.optimise.search import front
from layout.optimise.study import Held
from layout.optimise.write_plan import corners_csv, corners_geojson
from layout.optimise_tables import LimitsTable
from layout.plan import Plan
from layout.report import tables
from layout.report.files import file_stem, to_json
from layout.report.numbers import number, percent, signed_percent
from layout.report.optimise_names import aim_words, either, limit_words, parted, span_words, value_words, valued
from layout.report.optimise_page import optimise_page
from layout.report.optimise_rows import review_data
from layout.report.optimise_words import overturning
from layout.report.outputs import Output

NO_LIMIT = (
    "the plan has no [optimise.limits]: closer rows at lower tilt will win per m² of plot, as far as the bounds allow. "
    "A limit on panels, rated power (dc_capacity_kw) or money makes the question real"
)


def optimise_command(plan: Plan, source: str, folder: Path, told: Told | None = None) -> Output:
    """The best shapes of a plan's layouts and the best places on the plot.

    source : the plan file's text;  folder : where finished evaluations are kept and looked for
    Raises InputError where the plan has no [optimise] or its limits cannot be met.
    """
    answer = find_answer(plan, source, folder, told)
    found = review(answer, folder, told)
    data = answer_data(answer) | review_data(found)
    files: dict[str, str | bytes] = {
        "optimise.html": optimise_page(found),
        BEST_PLAN: answer.text,
        "optimise.json": to_json(data),
    }
    files |= _corner_files(answer)
    return Output(data, files, (*shown(answer), overturning(found), "", *(f"note: {n}" for n in answer.notes)))


def _corner_files(answer: Answer) -> dict[str, str | bytes]:
    files: dict[str, str | bytes] = {}
    place = answer.plan.site.location
    for layout in answer.again.layouts:
        if layout.name in {*answer.layouts, *answer.mixed}:
            built = arrange(answer.again, layout)
            stem = f"optimise-{file_stem(layout.name)}-positions"
            files[f"{stem}.csv"] = corners_csv(built)
            files[f"{stem}.geojson"] = corners_geojson(built, place.longitude_deg, place.latitude_deg)
    return files


def shown(answer: Answer) -> tuple[Table | str, ...]:
    """What the answer says in a terminal."""
    table = answer.table
    free = table.limits == LimitsTable()
    lines: list[Table | str] = [f"warning: {NO_LIMIT}", ""] if free else []
    lines += [
        _table(answer),
        f"Best by {aim_words(table)}: {answer.best}.",
        "Energies are those of the whole plot as it stands in the plan written; the search before ranks by one bay and "
        "the mean number of panels over all shifts of the pattern, obstacles' shadows left out.",
    ]
    for name, found in answer.layouts.items():
        lines += _sentences(answer, name, found)
    for name, p in answer.mixed.items():
        lines += [f"{name}, sharing the plot: {line}" for line in _position_words(p)]
    for name, why in answer.left_out.items():
        lines.append(f"{name}: left out, its limits cannot be met: {'; '.join(why)}.")
    return tuple(lines)


def _table(answer: Answer) -> Table:
    found = tables._table(
        "The best within the limits",
        "layout",
        ("values", "panels", "AC kWh\na year", "kWh/m²\nplot", "kWh/m²\npanel"),
    )
    for name, a in answer.layouts.items():
        f = a.chosen.figures
        values = "\n".join(valued(k, v) for k, v in a.chosen.values.items()) or "as in the plan"
        row = [number(f[k]) for k in ("energy_ac_kwh", "kwh_per_m2_plot", "kwh_per_m2_panel")]
        found.add_row(name, values, f"{f['panels']:.0f}", *row)
    return found


def _sentences(answer: Answer, name: str, a: LayoutAnswer) -> list[str]:
    s = a.study
    lines = [
        f"{name}: {len(s.points)} shapes looked at, {len(s.traced)} of them traced whole; {s.new} years worked out now."
    ]
    reached = limits_reached(answer, name)
    if reached:
        lines.append(f"{name}: reaches the limit on {_limits(reached)}.")
    lines += [f"{name}: {_held_words(h)}." for h in s.held]
    if s.flat:
        flat = ", ".join(f"{parted(k)[0]} {span_words(k, v)}" for k, v in s.flat.items())
        lines.append(f"{name}: within 1 % of the best, each by itself: {flat}.")
    if s.winter is not None:
        pitch, cost, broken = s.winter
        words = f"cost {percent(cost)}" if cost >= 0 else f"bring {percent(-cost)}"
        more = f", but breaks the limit on {_limits(broken)}" if broken else ""
        rule = f"the rule of no shade from 9 to 15 h at midwinter asks for a pitch of {pitch:g} m"
        lines.append(f"{name}: {rule}; following it at the best tilt would, by one bay, {words}{more}.")
    if a.positions is not None:
        lines += [f"{name}: {line}" for line in _position_words(a.positions)]
    return lines


def _limits(keys: Sequence[str]) -> str:
    return ", ".join(limit_words(k) for k in keys)


def _held_words(held: Held) -> str:
    more = held.reason or f"lifting it by a twentieth of its range would bring {signed_percent(held.gain)}"
    real = f"; a limit on {either([limit_words(k) for k in held.real])} would make it a question of the ground"
    at = f"{parted(held.key)[0]} lies on its {held.bound} bound, {value_words(held.key, held.value)}"
    return f"{at}; {more}{real if held.real else ''}"


def _position_words(p: Positions) -> list[str]:
    what = {"rows": "rows", "sites": "towers", "mixed": "units"}[p.kind]
    places = f"{len(p.chosen)} {what} chosen among {len(p.at)} places in {p.seconds:.1f} s of solving"
    proof = (
        "none is better by the model"
        if p.gap_fraction == 0
        else f"none is better by more than {percent(p.gap_fraction, 2)}"
    )
    late = ", the time was up" if p.timed_out else ""
    first, rounds = p.rounds[0], len(p.rounds)
    lines = [f"{places}; {proof} (proven{late})."]
    traced = f"traced whole, the model is {signed_percent(p.difference_fraction, 2)} off"
    if rounds > 1:
        traced += (
            f" after {rounds - 1} corrections of its losses (at first {signed_percent(first.difference_fraction, 2)})"
        )
        if abs(p.difference_fraction) > AGREE_FRACTION:
            traced += "; that is more than 1 %, so the proof holds for the model only"
    return [*lines, f"{traced}; {p.why}."]


def answer_data(answer: Answer) -> dict[str, Any]:
    """The numbers of an answer for scripts."""
    table = answer.table
    return {
        "objective": table.objective,
        "second": table.second,
        "weight": table.weight if table.second is not None else None,
        "limits": {k: v for k, v in table.limits if v is not None},
        "best_layout": answer.best,
        "plan_file": BEST_PLAN,
        "layouts": {name: _layout_data(answer, name, a) for name, a in answer.layouts.items()},
        "mixed": {name: _positions_data(p) for name, p in answer.mixed.items()},
        "left_out": {name: list(why) for name, why in answer.left_out.items()},
    }


def _layout_data(answer: Answer, name: str, a: LayoutAnswer) -> dict[str, Any]:
    s = a.study
    kept = [(p, f) for p, f in zip(s.points, s.figures, strict=True) if p.violation <= 0]
    on = front([f for _, f in kept], "kwh_per_m2_plot", "kwh_per_m2_panel")
    axes = ("kwh_per_m2_plot", "kwh_per_m2_panel", "cost_per_kwh")
    return {
        "kind": a.chosen.layout.kind,
        "best": a.chosen.values,
        "figures": a.chosen.figures,
        "score": a.chosen.score,
        "evaluations": len(s.points),
        "worked_out_now": s.new,
        "on_a_bound": [vars(h) | {"gain": None if h.reason else h.gain} for h in s.held],
        "limits_reached": list(limits_reached(answer, name)),
        "within_1_pct": {k: list(v) for k, v in s.flat.items()},
        "front": [dict(kept[i][0].values) | {k: kept[i][1][k] for k in axes if k in kept[i][1]} for i in on],
        "midwinter_rule": None
        if s.winter is None
        else dict(zip(("pitch_m", "costs", "breaks"), s.winter, strict=True)),
        "traced": [_traced_data(t) for t in s.traced],
        "positions": None if a.positions is None else _positions_data(a.positions),
    }


def _traced_data(t: Traced) -> dict[str, Any]:
    return {"values": t.values, "figures": t.figures, "score": t.score, "breaks": list(t.broken)}


def _positions_data(p: Positions) -> dict[str, Any]:
    keys = ("kind", "gap_fraction", "bound_kwh", "model_kwh", "traced_kwh", "difference_fraction", "regular_kwh")
    return {k: getattr(p, k) for k in keys} | {
        "candidates": len(p.at),
        "chosen": len(p.chosen),
        "places": p.at[p.chosen].tolist(),
        "rounds": [vars(r) | {"difference_fraction": r.difference_fraction} for r in p.rounds],
        "seconds": p.seconds,
        "timed_out": p.timed_out,
        "taken": p.taken,
        "why": p.why,
        "figures": p.traced.figures,
    }
