"""A layout's year: hours, months, panels and the whole agree with each other; switches and refusals."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

import layout.year
from layout.arrange import arrange
from layout.arrange.endless import endless_arrangement
from layout.conditions import conditions, local_clock
from layout.endless import EndlessPattern
from layout.errors import PhysicsError
from layout.plan import parse_plan, read_plan
from layout.run import plan_settings, run_plan
from layout.year import hourly_ac_kw, layout_year
from sites.weather_files import load_weather

NAMES = ["rows", "upright", "towers"]


@pytest.fixture(scope="module", params=NAMES)
def result(request, small_result):
    return small_result.layouts[request.param]


def test_months_add_up_to_the_year_as_in_the_standard(small_result):
    """IEC 61724-1: performance ratio = final yield over reference yield."""
    for r in small_result.layouts.values():
        months = r.monthly()
        assert months["reference_yield_h"].sum() == pytest.approx(r.irradiation_open_kwh_per_m2, rel=1e-5)
        assert months["final_yield_kwh_per_kw"].sum() == pytest.approx(r.kwh_per_kw)
        weighed = (months["performance_ratio"] * months["reference_yield_h"]).sum() / months["reference_yield_h"].sum()
        assert weighed == pytest.approx(r.performance_ratio, rel=1e-5)


def test_hours_add_up_to_the_year(result):
    f = result.frame
    assert len(f) == 8760
    assert (f["dc_kw"] * f["hours"]).sum() == pytest.approx(result.energy_dc_kwh, rel=1e-9)
    assert (f["ac_kw"] * f["hours"]).sum() == pytest.approx(result.energy_ac_kwh, rel=1e-9)
    assert (f["front_w_m2"] * f["hours"]).sum() / 1000 == pytest.approx(result.irradiation_kwh_per_m2, rel=1e-5)
    assert (f["rear_w_m2"] * f["hours"]).sum() / 1000 == pytest.approx(result.rear_irradiation_kwh_per_m2, rel=1e-5)


def test_months_add_up_to_the_year(result):
    months = result.monthly()
    assert months.index.tolist() == list(range(1, 13))
    assert months["energy_ac_kwh"].sum() == pytest.approx(result.energy_ac_kwh, rel=1e-9)
    assert months["energy_dc_kwh"].sum() == pytest.approx(result.energy_dc_kwh, rel=1e-9)
    assert months["front_kwh_per_m2"].sum() == pytest.approx(result.irradiation_kwh_per_m2, rel=1e-5)
    assert months["rear_kwh_per_m2"].sum() == pytest.approx(result.rear_irradiation_kwh_per_m2, rel=1e-5)
    assert months["energy_ac_kwh"][[12, 1, 2]].sum() > months["energy_ac_kwh"][[6, 7, 8]].sum()  # a southern summer


def test_panels_add_up_to_the_field(result):
    per, area = result.per_panel, np.array([p.area_m2 for p in result.arrangement.scene.panels])
    assert len(per.energy_dc_kwh) == result.panels
    assert per.energy_dc_kwh.sum() == pytest.approx(result.energy_dc_kwh, rel=1e-6)
    assert per.front_kwh_per_m2 @ area / area.sum() == pytest.approx(result.irradiation_kwh_per_m2, rel=1e-6)
    assert per.rear_kwh_per_m2 @ area / area.sum() == pytest.approx(result.rear_irradiation_kwh_per_m2, abs=1e-6)
    assert area.sum() == pytest.approx(result.panel_area_m2)


def test_figures_follow_from_each_other(result):
    assert result.kwh_per_m2_plot * result.plot_area_m2 == pytest.approx(result.energy_ac_kwh)
    assert result.kwh_per_m2_panel * result.panel_area_m2 == pytest.approx(result.energy_ac_kwh)
    assert result.kwh_per_kw * result.dc_capacity_kw == pytest.approx(result.energy_ac_kwh)
    open_light = result.irradiation_open_kwh_per_m2
    assert result.performance_ratio == pytest.approx(result.kwh_per_kw / open_light)  # IEC 61724-1
    assert result.shade_loss_fraction == pytest.approx(1 - result.irradiation_kwh_per_m2 / open_light)
    assert 0 < result.energy_ac_kwh < result.energy_dc_kwh
    assert 0 <= result.uneven_light_loss_fraction < 0.5
    assert 0 < result.light_from_beyond_plot_fraction < 1
    assert 0 < result.traced_panels <= result.panels


def test_nights_are_dark_and_as_warm_as_the_air(result, small_result):
    site = small_result.plan.site
    weather = load_weather(site)
    c = conditions(site, weather)
    night = np.ones(8760, dtype=bool)
    night[c.sky.index] = False
    f = result.frame[night]
    assert (f[["front_w_m2", "rear_w_m2", "dc_kw", "ac_kw"]] == 0).all(axis=None)
    assert (f["panel_c"] == weather.air_c[night]).all()
    assert f["beam_lost_fraction"].isna().all()
    assert (result.frame["month"] == local_clock(site, weather.start).month).all()


def test_beam_lost_is_a_share(result):
    lost = result.frame["beam_lost_fraction"].dropna()
    assert len(lost) > 3000
    assert lost.max() <= 1.0
    assert lost.min() > -0.01
    bright = result.frame["front_w_m2"] > result.frame["front_w_m2"].quantile(0.95)
    assert result.frame["beam_lost_fraction"][bright].mean() < lost.mean()


def test_same_hours_by_the_short_way(small_result):
    plan = small_result.plan
    year = conditions(plan.site, load_weather(plan.site))
    found = hourly_ac_kw(arrange(plan, plan.layouts[0]), year, plan_settings(plan))
    assert found == pytest.approx(small_result.layouts["rows"].frame["ac_kw"].to_numpy(), rel=1e-9)


def test_a_year_repeats_exactly(small_plan_path, small_result):
    again = run_plan(read_plan(small_plan_path), only=["towers"]).layouts["towers"]
    assert repr(again.to_dict(per_panel=True)) == repr(small_result.layouts["towers"].to_dict(per_panel=True))


def test_progress_ends_at_the_whole(small_plan_path):
    told = []
    result = run_plan(read_plan(small_plan_path), progress=lambda *args: told.append(args), only=["upright"])
    assert told[-1] == ("upright", result.layouts["upright"].traced_panels, result.layouts["upright"].traced_panels)
    done = [d for _, d, _ in told]
    assert done == sorted(done)


LONE = """
title = "one panel"
[site]
name = "tannerfold"
[plot]
boundary = [[-9, -9], [9, -9], [9, 9], [-9, 9]]
[[layout]]
name = "one"
kind = "pieces"
[[layout.panel]]
corner = [0, 0, 1.5]
along = [1.76, 0, 0]
up = [0, 0.9, 0.6]
"""


def test_a_lone_panel_loses_nothing_to_shade_but_its_own_on_the_ground():
    r = run_plan(parse_plan(LONE, "one.toml", Path("."))).layouts["one"]
    assert r.panels == 1
    assert abs(r.shade_loss_fraction) < 0.002
    assert np.isnan(r.kwh_per_m2_plot_endless)
    assert r.uneven_light_loss_fraction < 0.001


def test_pattern_that_catches_too_much_is_refused(small_plan_path, monkeypatch):
    """A ground area that is told too small makes the pattern catch more than the sky sends."""
    plan = read_plan(small_plan_path)
    year = conditions(plan.site, load_weather(plan.site))
    arrangement, unit, area = endless_arrangement(plan, plan.layouts[2], 12.0)
    wrong = EndlessPattern(arrangement, unit, 0.02 * area)
    with pytest.raises(PhysicsError, match=r"^towers: found \d+ kWh/m² .* accepted: at most the \d+ kWh/m²"):
        layout_year(arrange(plan, plan.layouts[2]), year, plan_settings(plan), wrong)


def test_blocks_of_any_size_give_the_same_year(small_plan_path, small_result, monkeypatch):
    """Memory is bounded by blocks; their size changes nothing but which landing stands for a place on the ground."""
    monkeypatch.setattr(layout.field, "BLOCK_VALUES", 5 * 5000 * 36)
    r = run_plan(read_plan(small_plan_path), only=["rows"]).layouts["rows"]
    whole = small_result.layouts["rows"]
    assert r.energy_ac_kwh == pytest.approx(whole.energy_ac_kwh, rel=3e-4)
    assert r.per_panel.front_kwh_per_m2 == pytest.approx(whole.per_panel.front_kwh_per_m2, rel=2e-3)


def test_soiling_takes_its_share_of_light(small_plan_path, small_result):
    plan = read_plan(small_plan_path)
    dirty = replace(plan, losses=plan.losses.model_copy(update={"soiling_pct": 12.0}))
    r, clean = run_plan(dirty, only=["rows"]).layouts["rows"], small_result.layouts["rows"]
    factor = {s.label: s.factor for s in r.steps}["Soiling"]
    assert factor == pytest.approx(0.88, abs=1e-4)
    assert r.irradiation_kwh_per_m2 == clean.irradiation_kwh_per_m2
    assert 0.86 < r.energy_ac_kwh / clean.energy_ac_kwh * 0.98 < 0.89
