"""What a retrofit has to say: sentences, tables, parts and cutting list."""

from collections import Counter
from dataclasses import dataclass
from typing import Any

import numpy as np

from layout.report.boost_rows import Rows
from layout.report.numbers import number, percent, signed
from layout.report.tables import MONTHS
from layout.retrofit.candidates import Candidate
from layout.retrofit.refine import Retrofit, Task, part_money
from layout.roof_shapes import RoofPlane
from layout.sheet_cautions import height_m
from sites.conventions import FloatArray


@dataclass(frozen=True, eq=False)
class PartLine:
    """One numbered place with its parts.

    near, far : (2, 2) float [m] ends of the hinge line and of the far edge on the plane, right and up from its origin;
    of two sheets back to back the first
    lift_m : hinge line above the roof, at right angles to it
    """

    number: int
    place: str
    facing: str
    part: Candidate
    plane: RoofPlane
    near: FloatArray
    far: FloatArray
    lift_m: float
    gain_kwh: float
    kg: float
    money: float | None


def part_lines(result: Retrofit, task: Task) -> tuple[PartLine, ...]:
    """The chosen parts, numbered from 1."""
    money = part_money(result.parts, task.table)
    lines = []
    for k, (part, gain) in enumerate(zip(result.parts, result.part_gain_kwh, strict=True)):
        plane = task.planes[part.plane]
        c, a, u = part.sheets.corner[0], part.sheets.along[0], part.sheets.up[0]
        lines.append(
            PartLine(
                number=k + 1,
                place=result.found.places[part.place].name,
                facing=part.facing,
                part=part,
                plane=plane,
                near=plane.flat(np.array([c, c + a])),
                far=plane.flat(np.array([c + u, c + a + u])),
                lift_m=float((c - plane.origin) @ plane.normal),
                gain_kwh=float(gain),
                kg=part.area_m2 * task.table.kg_per_m2,
                money=float(money[k]) if task.table.priced else None,
            )
        )
    return tuple(lines)


def strings_rest_kwh(result: Retrofit) -> float:
    """What the traced gain is above the sum of the parts': strings, inverter, more than two parts together."""
    return float(result.gain_kwh - result.part_gain_kwh.sum())


def payback_years(result: Retrofit, task: Task) -> float | None:
    """Price of the parts over the worth of a year's gain; None without prices, inf where nothing is gained."""
    table = task.table
    if not table.priced or table.price_per_kwh is None or not len(result.chosen):
        return None
    worth = result.gain_kwh * table.price_per_kwh
    return float(part_money(result.parts, table).sum()) / worth if worth > 0 else float("inf")


def retrofit_sentences(result: Retrofit, task: Task) -> tuple[str, ...]:
    """The answer in a few sentences."""
    tried, places = len(result.found.candidates), len({c.place for c in result.found.candidates})
    before = result.bare.ac_kwh
    base = (
        f"As it stands, the roof gives {number(before)} kWh a year at the socket. {tried} reflectors at {places} "
        f"places were tried; {len(result.found.rejected)} more do not fit."
    )
    if not len(result.chosen):
        return (_nothing(result, task), base, *_best_alone(result))
    gain = result.gain_kwh
    counts = sum(p.parts for p in result.parts)
    kinds = len({p.kind for p in result.parts})
    first = (
        f"{counts} reflector {'part' if counts == 1 else 'parts'} of {kinds} {'kind' if kinds == 1 else 'kinds'} at "
        f"{len(result.parts)} {'place' if len(result.parts) == 1 else 'places'} bring {number(gain)} kWh a year more "
        f"at the socket, {percent(gain / before)}, traced together with all shadows and strings."
    )
    area = sum(p.area_m2 for p in result.parts)
    lines = [
        first,
        base,
        f"That is {number(gain / area)} kWh a year for each m² of reflector; {number(area)} m² in all.",
    ]
    panel = before / float(result.bare.field.rectangles.area.sum())
    lines.append(
        f"A m² of the panels that stand there gives {number(panel)} kWh a year: a m² of reflector, mounted, is worth "
        f"at most {percent(gain / area / panel, 0)} of the price of a m² of panel."
    )
    years = payback_years(result, task)
    if years is not None:
        cost = part_money(result.parts, task.table).sum()
        lines.append(
            f"The parts cost {number(float(cost))} {task.table.currency} and pay back in {number(years)} years."
        )
    return tuple(lines)


def _nothing(result: Retrofit, task: Task) -> str:
    """The answer where no part pays."""
    if not result.found.candidates:
        return "Do nothing: no reflector that the plan names fits around these panels."
    least = task.table.least_gain_kwh
    what = (
        "earns what it costs" if task.table.objective == "money" else f"brings more than {least:g} kWh a year a place"
    )
    return (
        f"Do nothing: no set of reflectors around these panels {what} without taking energy from a panel or a string "
        "or passing a limit."
    )


def _best_alone(result: Retrofit) -> tuple[str, ...]:
    """The nearest miss."""
    if not result.found.candidates:
        return ()
    gain = result.problem.gain.sum(axis=1) * result.ac_per_dc
    best = int(gain.argmax())
    part, effect = result.found.candidates[best], result.effects[best]
    place = result.found.places[part.place].name
    light = float(effect.light_kwh.sum())
    lines = [
        f"The best single one, {part.kind.words}, {place}, changes the year by {signed(float(gain[best]))} kWh at the "
        f"socket while it changes the light on the panels by {signed(light)} kWh."
    ]
    loss = result.problem.gain[best] * result.ac_per_dc
    if gain[best] > 0 and loss.min() < 0:
        worst = int(loss.argmin())
        lines.append(f"It would take {number(float(-loss[worst]))} kWh a year from panel {worst}.")
    passed = [row.what for row in result.problem.rows if row.weights[row.candidates == best].sum() > row.most + 1e-9]
    if gain[best] > 0 and passed:
        lines.append(f"By itself it would pass the limit of {passed[0]}, or make worse what is beyond it already.")
    if light > 0 and gain[best] < 0.1 * light:
        lines.append(
            "Light that falls on a part of a panel's cells only is of little use: cells in series carry the current of "
            "the weakest."
        )
    return tuple(lines)


def part_rows(lines: tuple[PartLine, ...]) -> Rows:
    """The parts list."""
    return Rows(
        ("kind", "where", "looks to", "parts ×\nlength", "near edge from\nright, up m", "to\nright, up m",
         "above roof\nm", "area\nm²", "weight\nkg", "gain, kWh\na year"),
        tuple(
            (
                f"{x.number}", x.part.kind.words, x.place, x.facing, f"{x.part.parts} × {x.part.part_m:.3f} m",
                _point(x.near[0]), _point(x.near[1]), f"{x.lift_m:.3f}", number(x.part.area_m2), number(x.kg),
                signed(x.gain_kwh),
            )
            for x in lines
        ),
    )  # fmt: skip


def _point(place: FloatArray) -> str:
    return f"{place[0]:.3f}, {place[1]:.3f}".replace("-0.000", "0.000")


def cutting_rows(lines: tuple[PartLine, ...]) -> Rows:
    """Kinds and lengths to cut, with how many of each and for which numbers."""
    counts: Counter[tuple[str, float, float]] = Counter()
    numbers: dict[tuple[str, float, float], list[int]] = {}
    for x in lines:
        key = (x.part.kind.reflector, x.part.kind.width_m, round(x.part.part_m, 3))
        counts[key] += x.part.parts
        numbers.setdefault(key, []).append(x.number)
    return Rows(
        ("width\nmm", "length\nmm", "pieces", "area together\nm²", "for numbers"),
        tuple(
            (
                name, f"{width * 1000:.0f}", f"{length * 1000:.0f}", f"{counts[name, width, length]}",
                number(counts[name, width, length] * width * length),
                ", ".join(map(str, numbers[name, width, length])),
            )
            for name, width, length in sorted(counts)
        ),
    )  # fmt: skip


def panel_rows(result: Retrofit) -> Rows:
    """Each panel without and with the parts."""
    before, after = result.bare.dc_kwh, result.whole.dc_kwh
    light = result.whole.light_kwh / result.bare.light_kwh - 1.0
    rows = []
    for i in range(len(before)):
        rows.append(
            (f"{i}", _string_of(result, i), number(before[i]), signed(after[i] - before[i]),
             percent(after[i] / before[i] - 1.0), percent(light[i]))
        )  # fmt: skip
    return Rows(("string", "DC kWh a year,\nas it stands", "with parts\nkWh", "with parts", "light on it"), tuple(rows))


def _string_of(result: Retrofit, panel: int) -> str:
    found = [k + 1 for k, s in enumerate(result.bare.strings) if panel in s]
    return f"{found[0]}" if found else "own"


def string_rows(result: Retrofit) -> Rows:
    """Each string without and with the parts."""
    rows = tuple(
        (f"{k + 1}", ", ".join(map(str, s)), number(a), signed(b - a), percent(b / a - 1.0 if a else 0.0))
        for k, (s, a, b) in enumerate(
            zip(result.bare.strings, result.bare.string_kwh, result.whole.string_kwh, strict=True)
        )
    )
    return Rows(("panels", "DC kWh a year,\nas it stands", "with parts\nkWh", "with parts"), rows)


def month_rows(result: Retrofit) -> Rows:
    """AC energy by month."""
    before, after = result.bare.monthly_ac_kwh, result.whole.monthly_ac_kwh
    return Rows(
        ("AC kWh,\nas it stands", "with parts\nkWh", "with parts"),
        tuple(
            (m, number(a), signed(b - a), percent(b / a - 1.0 if a else 0.0))
            for m, a, b in zip(MONTHS, before, after, strict=True)
        ),
    )


def place_rows(result: Retrofit) -> Rows:
    """The best candidate by itself at every place, and how many fit there."""
    gain = result.problem.gain.sum(axis=1) * result.ac_per_dc
    place = np.array([c.place for c in result.found.candidates], dtype=np.int64)
    rejected = Counter(r.place for r in result.found.rejected)
    rows = []
    for number_, where in enumerate(result.found.places):
        mine = np.flatnonzero(place == number_)
        if len(mine):
            best = int(mine[gain[mine].argmax()])
            c, e = result.found.candidates[best], result.effects[best]
            cells = (c.kind.words, c.facing, signed(float(e.light_kwh.sum())), signed(float(gain[best])))
        else:
            reasons = Counter(r.reason for r in result.found.rejected if r.place == where.name)
            cells = (f"none fits: {reasons.most_common(1)[0][0]}" if reasons else "none fits", "", "–", "–")
        rows.append((where.name, cells[0], cells[1], f"{len(mine)}", f"{rejected[where.name]}", cells[2], cells[3]))
    return Rows(
        ("best by itself", "looks to", "tried", "do not\nfit", "light on panels\nkWh a year", "AC\nkWh a year"),
        tuple(rows),
    )


def limit_lines(result: Retrofit) -> tuple[str, ...]:
    """Light and heat of the worst hours against the limits, and how the set was found."""
    limits, before, after = result.limits, result.bare_peak, result.peak
    lines = [
        f"Brightest cell of the year: {after.light_w_m2:.0f} W/m² (without parts {before.light_w_m2:.0f}); at most "
        f"{limits.light_w_m2:.0f} W/m² allowed. Hottest cell: {after.cell_c:.1f} °C (without parts "
        f"{before.cell_c:.1f}); at most {limits.cell_c:.0f} °C allowed. Both traced at the true sun of the worst "
        "hours.",
        f"{len(result.rounds)} {'set was' if len(result.rounds) == 1 else 'sets were'} traced whole; ended: "
        f"{result.ended}.",
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


def retrofit_cautions(result: Retrofit, task: Task) -> tuple[str, ...]:
    """The cautions that belong to parts on a roof."""
    area = sum(p.area_m2 for p in result.parts)
    voc = result.roof.arrangement.panel_type.voc_v
    scene = result.whole.arrangement.scene
    lines = [
        "Warranty: few makers of panels allow reflected light on them. Ask before building; the warranty may end "
        "with the first sheet.",
        f"Roof edge: work and parts at eave, ridge and sides are {height_m(scene.panels, scene.ground):.1f} m up; fall "
        "protection and clearances to the edge follow local codes.",
        f"DC wiring: one panel gives up to {voc:.0f} V in the open circuit and a string many times that whenever there "
        "is daylight; metal parts near it belong into the earthing, by a licensed electrician.",
    ]
    if len(result.chosen):
        lines += [
            f"Wind and snow: {area:.1f} m² of sheets catch wind and hold snow and leaves back; holders, roof and the "
            f"weight of {sum(p.area_m2 for p in result.parts) * task.table.kg_per_m2:.0f} kg are for a licensed "
            "engineer under the local code.",
            "Glare: the sheets throw sunlight away from the roof for part of the day; check windows, roads and "
            "aircraft under local rules, and never look into them.",
        ]
    lines.append(
        "This is a comparison of light and energy, not a design to build from. Heat is worked out cell by cell from "
        "light, air and wind; a dirty or damaged cell can get hotter."
    )
    return tuple(lines)


def _part_data(x: PartLine) -> dict[str, Any]:
    return {
        "number": x.number,
        "place": x.place,
        "looks_to": x.facing,
        "reflector": x.part.kind.reflector,
        "width_m": x.part.kind.width_m,
        "tilt_deg": x.part.kind.tilt_deg,
        "pieces": x.part.parts,
        "length_m": x.part.part_m,
        "plane": x.plane.table.name,
        "near_edge_from_m": x.near[0].tolist(),
        "near_edge_to_m": x.near[1].tolist(),
        "far_edge_from_m": x.far[0].tolist(),
        "far_edge_to_m": x.far[1].tolist(),
        "above_roof_m": x.lift_m,
        "area_m2": x.part.area_m2,
        "weight_kg": x.kg,
        "price": x.money,
        "gain_kwh": x.gain_kwh,
    }


def retrofit_data(result: Retrofit, task: Task, lines: tuple[PartLine, ...]) -> dict[str, Any]:
    """Every figure, units in the keys."""
    years = payback_years(result, task)
    return {
        "layout": result.roof.arrangement.name,
        "do_nothing": not len(result.chosen),
        "candidates": len(result.found.candidates),
        "rejected": [
            {"place": r.place, "part": r.kind.words, "looks_to": r.facing, "reason": r.reason}
            for r in result.found.rejected
        ],
        "energy_ac_kwh": result.bare.ac_kwh,
        "energy_ac_with_parts_kwh": result.whole.ac_kwh,
        "gain_kwh": result.gain_kwh,
        "promised_kwh": result.promised_kwh,
        "strings_and_rest_kwh": strings_rest_kwh(result),
        "reflector_area_m2": sum(p.area_m2 for p in result.parts),
        "payback_years": years,
        "parts": [_part_data(x) for x in lines],
        "panels": [
            {"panel": i, "energy_dc_kwh": float(a), "gain_kwh": float(b - a)}
            for i, (a, b) in enumerate(zip(result.bare.dc_kwh, result.whole.dc_kwh, strict=True))
        ],
        "strings": [
            {"panels": s.tolist(), "energy_dc_kwh": float(a), "gain_kwh": float(b - a)}
            for s, a, b in zip(result.bare.strings, result.bare.string_kwh, result.whole.string_kwh, strict=True)
        ],
        "monthly_gain_kwh": (result.whole.monthly_ac_kwh - result.bare.monthly_ac_kwh).tolist(),
        "limits": {
            "max_light_w_m2": result.limits.light_w_m2,
            "peak_cell_light_w_m2": result.peak.light_w_m2,
            "max_cell_c": result.limits.cell_c,
            "hottest_cell_c": result.peak.cell_c,
        },
        "rounds": [
            {"promised_kwh": r.promised_kwh, "found_kwh": r.found_kwh, "faults": list(r.faults)} for r in result.rounds
        ],
        "ended": result.ended,
    }
