"""What a retrofit has to say: the answer in sentences, limits, cautions."""

import numpy as np

from layout.report.numbers import number, percent, signed
from layout.report.retrofit_parts import facing_words, years_words
from layout.report.retrofit_rows import month_words
from layout.retrofit.limits import CellLimits, Traced
from layout.retrofit.payback import Payback, payback
from layout.retrofit.refine import Retrofit, Task, part_money
from layout.sheet_cautions import AIR_KG_M3, STORM_M_S, height_m

HARDLY = 0.1
"""A m² of reflector worth less than this share of a m² of panel is hardly ever to be had so cheaply. Our choice."""

SMALL_REST = 1e-3
"""Share of the gain below which a difference between the parts and the set is not told."""

LITTLE_USE = 0.1
"""AC energy over light below which the light is called of little use; whole panels turn about a fifth of it. Ours."""


def strings_rest_kwh(result: Retrofit) -> float:
    """What the traced gain is above the sum of the parts': strings, inverter, more than two parts together."""
    return float(result.gain_kwh - result.part_gain_kwh.sum())


def rest_words(result: Retrofit) -> str:
    """How the parts' gains add up to that of the whole tracing."""
    rest = strings_rest_kwh(result)
    whole = f"traced whole: {signed(result.gain_kwh)} kWh, all at the socket."
    if abs(rest) < SMALL_REST * abs(result.gain_kwh):
        return f"The parts' gains add up to that of the set {whole}"
    return (
        f"Parts together: {signed(float(result.part_gain_kwh.sum()))} kWh a year; strings, inverter and what more "
        f"than two parts do to one another: {signed(rest)} kWh; {whole}"
    )


def retrofit_sentences(result: Retrofit, task: Task, money: Payback | None) -> tuple[str, ...]:
    """The answer in a few sentences; money : that of all parts, None without prices or parts."""
    tried, places = len(result.found.candidates), len({c.place for c in result.found.candidates})
    before = result.bare.ac_kwh
    base = (
        f"As it stands, the roof gives {number(before)} kWh a year at the socket. {tried} reflectors at {places} "
        f"places were tried; {len(result.found.rejected)} more do not fit."
    )
    if not len(result.chosen):
        return (_nothing(result, task), base, *_best_alone(result, task))
    gain, area = result.gain_kwh, sum(p.area_m2 for p in result.parts)
    lines = [
        f"{_count(sum(p.parts for p in result.parts), 'reflector part')} of "
        f"{_count(len({p.kind for p in result.parts}), 'kind')} at {_count(len(result.parts), 'place')} bring "
        f"{number(gain)} kWh a year more at the socket, {percent(gain / before)}, traced together with all shadows and "
        "strings.",
        base,
        f"That is {number(gain / area)} kWh a year for each m² of reflector; {number(area)} m² in all.",
        _worth(result, gain / area, told=money is not None),
        month_words(result),
    ]
    return tuple([*lines, money_words(money, task)] if money else lines)


def _count(n: int, what: str) -> str:
    return f"{n} {what}{'' if n == 1 else 's'}"


def _worth(result: Retrofit, per_m2: float, told: bool) -> str:
    """What a square metre of reflector is worth beside one of panel; told : the plan's prices say more."""
    panel = result.bare.ac_kwh / float(result.bare.field.rectangles.area.sum())
    share = per_m2 / panel
    line = (
        f"A m² of the panels that stand there gives {number(panel)} kWh a year: a m² of reflector, mounted, is worth "
        f"at most {percent(share, 0 if share >= 0.1 else 1)} of the price of a m² of panel."
    )
    if share < HARDLY and not told:
        line += " Hardly any sheet comes so cheap: doing nothing is the likelier answer."
    return line


def money_words(money: Payback, task: Task) -> str:
    """Whether parts pay, said plainly."""
    table = task.table
    line = f"The parts cost {number(money.cost)} {table.currency}"
    each = f"each extra kWh {number(money.per_kwh)} {table.currency}"
    terms = f"over {table.years} years of use at {table.discount_pct:g} % discount"
    if money.years is None or money.first_year is None or money.net is None:
        return f"{line}, {each} {terms}. Without price_per_kwh there is no payback to tell."
    line += f" and bring {number(money.first_year)} {table.currency} in the first year, {each} {terms}: "
    if money.net >= 0:
        more = f"what is left at the end is worth {number(money.net)} {table.currency} today."
        return f"{line}they pay back in {years_words(money)} years; {more}"
    over = f"they would pay back in {years_words(money)} years" if np.isfinite(money.years) else "they never pay back"
    return f"{line}{over}. They do not pay: as money, do nothing."


def _nothing(result: Retrofit, task: Task) -> str:
    """The answer where no part pays."""
    if not result.found.candidates:
        return "Do nothing: no reflector that the plan names fits around these panels."
    if task.table.objective == "money":
        what = f"is worth what it costs over {task.table.years} years of use within the limits."
    else:
        what = (
            f"brings more than {task.table.least_gain_kwh:g} kWh a year a place without taking energy from a panel or "
            "a string or passing a limit."
        )
    return f"Do nothing: no set of reflectors around these panels {what}"


def _best_alone(result: Retrofit, task: Task) -> tuple[str, ...]:
    """The nearest miss: the part that by itself brings most."""
    if not result.found.candidates:
        return ()
    gain = result.problem.gain.sum(axis=1) * result.ac_per_dc
    best = int(gain.argmax())
    part, effect = result.found.candidates[best], result.effects[best]
    place = result.found.places[part.place].name
    light = float(effect.light_kwh.sum())
    lines = [
        f"The best single one, {part.kind.words}, {place}, looking to {facing_words(place, part.facing)}, changes the "
        f"year by {signed(float(gain[best]))} kWh at the socket while it changes the light on the panels by "
        f"{signed(light)} kWh."
    ]
    if gain[best] > 0:
        lines += _why_not(result, task, best, gain[best])
    if light > 0 and gain[best] < LITTLE_USE * light:
        lines.append(
            "Light that falls on a part of a panel's cells only is of little use: cells in series carry the current of "
            "the weakest."
        )
    return tuple(lines)


def _why_not(result: Retrofit, task: Task, best: int, gain: float) -> list[str]:
    """Why a part that brings energy is not built."""
    lines = []
    money = payback(float(part_money([result.found.candidates[best]], task.table)[0]), gain, task.table)
    if money is not None and money.first_year is not None:
        lines.append(
            f"It would cost {number(money.cost)} {task.table.currency} and bring {number(money.first_year)} "
            f"{task.table.currency} in the first year: it would pay back in {years_words(money)} years, in use for "
            f"{task.table.years}, at {task.table.discount_pct:g} % discount."
        )
    loss = result.problem.gain[best] * result.ac_per_dc
    if loss.min() < 0:
        worst = int(loss.argmin())
        lines.append(f"It would take {number(float(-loss[worst]))} kWh a year from panel {worst}.")
    passed = [row.what for row in result.problem.rows if row.weights[row.candidates == best].sum() > row.most + 1e-9]
    if passed:
        lines.append(f"By itself it would pass the limit of {passed[0]}, or make worse what is beyond it already.")
    return lines


def limit_lines(result: Retrofit) -> tuple[str, ...]:
    """Light and heat of the worst hours against the limits, and how the set was found."""
    limits, before, after = result.limits, result.bare_peak, result.peak
    lines = [
        f"Brightest cell of the year: {after.light_w_m2:.0f} W/m² on panel {after.worst.panel} (without parts "
        f"{before.light_w_m2:.0f} W/m²); at most {limits.light_w_m2:.0f} W/m² allowed. Hottest cell: "
        f"{after.cell_c:.1f} °C (without parts {before.cell_c:.1f} °C); at most {limits.cell_c:.0f} °C allowed. Both "
        "traced at the true sun of the worst hours.",
        still_air_words(limits, after, before),
        _rounds(result),
    ]
    if len(result.chosen):
        lines.append(
            f"The model promised {number(result.promised_kwh)} kWh a year for this set, the whole tracing gives "
            f"{number(result.gain_kwh)} kWh."
        )
    refused = [f for r in result.rounds for f in r.faults]
    if refused:
        lines.append(f"Sets were given up, among other reasons, because: {refused[0]}.")
    return tuple(lines)


def still_air_words(limits: CellLimits, after: Traced, before: Traced | None = None) -> str:
    """The hottest cell had there been no wind: what a year's wind does not promise. before : without parts."""
    line = f"Had there been no wind in those hours, the hottest cell would have got {after.still_c:.0f} °C"
    if before is not None:
        line += f" (without parts {before.still_c:.0f} °C)"
    if after.still_c <= limits.cell_c:
        return f"{line}, within the limit of {limits.cell_c:.0f} °C."
    over = f"{line}, {after.still_c - limits.cell_c:.0f} K above the limit of {limits.cell_c:.0f} °C"
    if before is not None and before.still_c > limits.cell_c:
        return f"{over}, which the roof passes without parts, too."
    return f"{over}: ask the maker before building, sheltered roofs have such hours."


def _rounds(result: Retrofit) -> str:
    if not result.rounds:
        return "No set promised a gain within the limits, so none was traced whole."
    count = len(result.rounds)
    return f"{count} {'set was' if count == 1 else 'sets were'} traced whole; ended: {result.ended}."


def retrofit_cautions(result: Retrofit, task: Task) -> tuple[str, ...]:
    """The cautions that belong to parts on a roof, each with the number that matters."""
    kind, scene = result.roof.arrangement.panel_type, result.whole.arrangement.scene
    longest = max((len(s) for s in result.bare.strings), default=1)
    string = f", {longest} of them in a string {longest * kind.voc_v:.0f} V" if longest > 1 else ""
    ours = "" if kind.max_cell_stated and kind.max_light_stated else ", where the maker states none by our default,"
    over = result.limits.light_w_m2 > kind.max_light_w_m2 or result.limits.cell_c > kind.max_cell_c
    beyond = f", set by the plan beyond the panel's {kind.max_light_w_m2:.0f} W/m² and {kind.max_cell_c:.0f} °C"
    lines = [
        "Warranty: few makers of panels allow reflected light on them. Here cells get up to "
        f"{result.peak.light_w_m2:.0f} W/m² and {result.peak.cell_c:.0f} °C; the limits{ours} are "
        f"{result.limits.light_w_m2:.0f} W/m² and {result.limits.cell_c:.0f} °C{beyond if over else ''}. Ask the maker "
        "before building; the warranty may end with the first sheet.",
        f"Roof edge: work and parts at eave, ridge and sides are up to {height_m(scene.panels, scene.ground):.1f} m "
        "above the ground; fall protection, clearances to the edge and fire access paths follow local codes.",
        f"DC wiring: one panel gives up to {kind.voc_v:.0f} V in the open circuit{string}, more in the cold, whenever "
        "there is daylight; metal parts near it belong into the earthing. Work for a licensed electrician.",
    ]
    if len(result.chosen):
        lines += _sheet_cautions(result, task)
    lines.append(
        "This is a comparison of light and energy, not a design to build from. Heat is worked out cell by cell from "
        "light, air and wind; a dirty or damaged cell can get hotter."
    )
    return tuple(lines)


def _sheet_cautions(result: Retrofit, task: Task) -> list[str]:
    area = sum(p.area_m2 for p in result.parts)
    pressure = round(0.5 * AIR_KG_M3 * STORM_M_S**2, -1)
    mirrors = [s.reflectance for p in result.parts for s in p.reflectors(task.types) if s.diffuse < 1.0]
    bright = f" with up to {100 * max(mirrors):.0f} % of the sun's light" if mirrors else ""
    return [
        f"Burns: light adds up to {result.peak.light_w_m2:.0f} W/m² on cells and perhaps to as much beside them, on "
        "skin, eyes and roofing. Cover sheets while working.",
        f"Wind and snow: {area:.1f} m² of sheets catch wind, of {STORM_M_S:.0f} m/s with some {pressure:.0f} N on each "
        "m² that faces it, before gusts, and hold snow, ice and leaves back. Holders, roof and "
        f"{area * task.table.kg_per_m2:.0f} kg more weight are for a licensed engineer under the local code.",
        f"Glare: the sheets throw sunlight away from the roof for part of the day{bright}; check windows, roads and "
        "aircraft under local rules, and never look into them.",
    ]
