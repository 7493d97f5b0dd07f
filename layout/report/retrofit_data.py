"""A retrofit's figures for scripts: units in the keys."""

from collections.abc import Sequence
from typing import Any

from layout.report.retrofit_parts import PartLine, total_money
from layout.report.retrofit_rows import panel_shares
from layout.report.retrofit_words import strings_rest_kwh
from layout.retrofit.parts_back import Sheet
from layout.retrofit.payback import Payback
from layout.retrofit.refine import Retrofit, Task


def retrofit_data(result: Retrofit, task: Task, lines: Sequence[PartLine]) -> dict[str, Any]:
    """Every figure; money is None without prices, in ``currency`` otherwise."""
    money = total_money(lines, result, task)
    bare, whole = result.bare, result.whole
    return {
        "layout": result.roof.arrangement.name,
        "do_nothing": not len(result.chosen),
        "candidates": len(result.found.candidates),
        "rejected": [
            {"place": r.place, "part": r.kind.words, "looks_to": r.facing, "reason": r.reason}
            for r in result.found.rejected
        ],
        "energy_ac_kwh": bare.ac_kwh,
        "energy_ac_with_parts_kwh": whole.ac_kwh,
        "gain_kwh": result.gain_kwh,
        "promised_kwh": result.promised_kwh,
        "strings_and_rest_kwh": strings_rest_kwh(result),
        "reflector_area_m2": sum(p.area_m2 for p in result.parts),
        "payback_years": None if money is None else money.years,
        "money": _money(money, task),
        "parts": [_part(x) for x in lines],
        "panels": [
            {"panel": i, "energy_dc_kwh": float(a), "gain_kwh": float(b - a), "gain_by_part_kwh": by}
            for i, (a, b, by) in enumerate(zip(bare.dc_kwh, whole.dc_kwh, _by_panel(result), strict=True))
        ],
        "strings": [
            {"panels": s.tolist(), "energy_dc_kwh": float(a), "gain_kwh": float(b - a)}
            for s, a, b in zip(bare.strings, bare.string_kwh, whole.string_kwh, strict=True)
        ],
        "monthly_gain_kwh": (whole.monthly_ac_kwh - bare.monthly_ac_kwh).tolist(),
        "limits": {
            "max_light_w_m2": result.limits.light_w_m2,
            "peak_cell_light_w_m2": result.peak.light_w_m2,
            "max_cell_c": result.limits.cell_c,
            "hottest_cell_c": result.peak.cell_c,
            "hottest_cell_still_air_c": result.peak.still_c,
            "hottest_cell_without_parts_c": result.bare_peak.cell_c,
            "hottest_cell_without_parts_still_air_c": result.bare_peak.still_c,
        },
        "rounds": [
            {"promised_kwh": r.promised_kwh, "found_kwh": r.found_kwh, "faults": list(r.faults)} for r in result.rounds
        ],
        "ended": result.ended,
    }


def _by_panel(result: Retrofit) -> list[dict[str, float]]:
    """DC kWh that each chosen part brings each panel, by its number; nothing where it does not reach."""
    return [{f"{k + 1}": float(v) for k, v in enumerate(column) if v} for column in panel_shares(result).T]


def _money(money: Payback | None, task: Task) -> dict[str, Any] | None:
    if money is None:
        return None
    return {
        "currency": task.table.currency,
        "cost": money.cost,
        "cost_per_extra_kwh": money.per_kwh,
        "worth_first_year": money.first_year,
        "payback_years": money.years,
        "net_present_worth": money.net,
        "years": task.table.years,
        "discount_pct": task.table.discount_pct,
        "degradation_pct": task.table.degradation_pct,
    }


def _part(x: PartLine) -> dict[str, Any]:
    return {
        "number": x.number,
        "place": x.place,
        "looks_to": x.looks_to,
        "reflector": x.part.kind.reflector,
        "width_m": x.part.kind.width_m,
        "tilt_deg": x.part.kind.tilt_deg,
        "plane": x.plane.table.name,
        "sheets": [_sheet(s) for s in x.sheets],
        "area_m2": x.part.area_m2,
        "weight_kg": x.kg,
        "price": None if x.money is None else x.money.cost,
        "payback_years": None if x.money is None else x.money.years,
        "gain_kwh": x.gain_kwh,
    }


def _sheet(s: Sheet) -> dict[str, Any]:
    return {
        "number": s.table.name,
        "looks_to": s.looks_to,
        "pieces": s.pieces,
        "piece_length_mm": s.piece_mm,
        "width_m": s.table.width_m,
        "turned_up_deg": s.table.tilt_deg,
        "near_edge_from_m": list(s.table.near_from),
        "near_edge_to_m": list(s.table.near_to),
        "far_edge_from_m": s.far[0].tolist(),
        "far_edge_to_m": s.far[1].tolist(),
    }
