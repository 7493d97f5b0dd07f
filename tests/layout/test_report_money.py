"""Money in ``compare``: only with prices, and the sums done by hand."""

from dataclasses import replace

import pytest

from layout.optimise_tables import PricesTable
from layout.report.money_rows import money_figures, money_note, money_rows
from layout.report.outputs import compare_output
from layout.result import PlanResult


def test_without_prices_there_is_none(small_result: PlanResult) -> None:
    assert money_figures(small_result) == {}
    assert not money_rows(small_result).rows
    assert money_note(small_result) == ""


def test_prices_by_hand(small_result: PlanResult) -> None:
    prices = PricesTable(panel=100.0, support_rows=50.0, support_towers=90.0, land_m2=3.0, discount_pct=0.0, years=10,
                         degradation_pct=0.0, upkeep_kw_year=2.0)  # fmt: skip
    priced = replace(small_result, plan=replace(small_result.plan, prices=prices))
    found = money_figures(priced)
    for name, support in (("rows", 50.0), ("towers", 90.0)):
        r = small_result.layouts[name]
        first = r.panels * (100.0 + support) + 3.0 * r.plot_area_m2
        assert found[name]["money_at_beginning"] == pytest.approx(first)
        each = (first / 10.0 + 2.0 * r.dc_capacity_kw) / r.energy_ac_kwh
        assert found[name]["money_per_kwh"] == pytest.approx(each)
    out = compare_output(priced)
    assert out.data["layouts"]["rows"]["money"] == found["rows"]
    assert any(isinstance(item, str) and item.startswith("Money:") for item in out.show)
    assert "<h2>Money</h2>" in str(out.files["compare.html"])
