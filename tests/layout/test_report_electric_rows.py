"""Rows on hot spots, the inverter and the months' metrics hold the result's numbers."""

from dataclasses import replace

import numpy as np
import pytest

from layout.hot_water_table import HotWaterTable
from layout.plan_tables import InverterTable
from layout.report.assumptions import assumptions
from layout.report.electric_rows import hot_spot_rows, inverter_rows, month_rows, ratio_rows
from layout.report.numbers import NOTHING, number
from layout.result import PlanResult

ZONE = "Australia/Sydney"


def test_hot_spots_with_and_without_working_diodes(small_result: PlanResult) -> None:
    rows = {row[0]: row[1:] for row in hot_spot_rows(small_result.layouts, ZONE).rows}
    towers = small_result.layouts["towers"].peaks
    assert towers is not None
    failed = towers.hot_spots.failed
    assert failed is not None
    start = failed.start.tz_convert(ZONE)
    assert rows["towers"][3:] == (
        number(failed.taken_up_w, 2), f"{failed.cell_c:.0f}", f"{start.day} {start:%b %H:%M}",
    )  # fmt: skip
    kind = replace(small_result.layouts["towers"].arrangement.panel_type, bypass_groups=0)
    bare = replace(
        small_result.layouts["towers"],
        arrangement=replace(small_result.layouts["towers"].arrangement, panel_type=kind),
        peaks=replace(towers, hot_spots=replace(towers.hot_spots, working=failed)),
    )
    ((_, *without),) = hot_spot_rows({"towers": bare}, ZONE).rows
    assert without[:3] == ["no diodes", NOTHING, NOTHING]
    none = replace(bare, peaks=replace(towers, hot_spots=replace(towers.hot_spots, working=None, failed=None)))
    assert hot_spot_rows({"towers": none}, ZONE).rows == ()


def test_inverter_rows_only_where_there_is_a_limit_or_a_start(small_result: PlanResult) -> None:
    assert inverter_rows(small_result).rows == ()
    steps = small_result.layouts["rows"].steps
    cut = tuple(replace(s, factor=0.93) if s.label == "AC limit" else s for s in steps)
    rows = replace(small_result.layouts["rows"], steps=cut, clipped_kwh=123.4, dc_ac_ratio=1.31)
    limited = replace(
        small_result,
        plan=replace(small_result.plan, inverter=InverterTable(ac_limit_kw=3.0)),
        layouts={"rows": rows},
    )
    assert inverter_rows(limited).rows == (("rows", "1.31", "123", "7.0 %", "0"),)


def test_hot_water_is_among_the_assumptions(small_result: PlanResult) -> None:
    table = HotWaterTable(eta0=0.45, a1=11.0, store_litres=1500.0, draw_litres_per_day=1200.0, panels_share=0.5)
    plain = {line.what: line.value for line in assumptions(small_result)}
    plan = replace(small_result.plan, hot_water=table)
    found = {line.what: line.value for line in assumptions(replace(small_result, plan=plan))}
    assert set(found) - set(plain) == {"Heat off the panels", "Store", "Hot water drawn"}
    assert found["Heat off the panels"] == "eta0 0.45, a1 11 W/m²K, a2 0 W/m²K², on 50 % of the panels"
    assert "1200 litres a day at 55 °C from 12 °C" in found["Hot water drawn"]
    assert "97.4 % at full load, 97.4 % weighted as in EN 50530" in plain["Inverter efficiency"]


def test_months_and_year(small_result: PlanResult) -> None:
    for name, result in small_result.layouts.items():
        found = month_rows(result)
        assert [row[0] for row in found.rows] == ["Jan", *[r[0] for r in found.rows[1:12]], "year"]
        assert all(len(row) == len(found.heads) + 1 for row in found.rows)
        months = result.monthly()["performance_ratio"].to_numpy()
        assert found.rows[6][-1] == number(months[6])
        ((told, *ratios),) = ratio_rows({name: result}).rows
        assert told == name
        assert [float(r) for r in ratios] == pytest.approx([*months, result.performance_ratio], abs=0.005)
        assert np.isfinite(months).all()
