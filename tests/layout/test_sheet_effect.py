"""Layouts with and without their see-through sheets: each side is the year of the layout that it stands for."""

import math
from pathlib import Path

import pytest

from layout.plan import parse_plan
from layout.power.cover_cooling import cooling_factor
from layout.result import LayoutResult
from layout.result_sheets import SheetEffect, SheetSide
from layout.run import run_plan

PLAN = """
title = "A few panels under sheets"
[site]
name = "corrawindle"
[plot]
boundary = [[0, 0], [2.6, 0], [2.6, 5], [0, 5]]
[[diffuser]]
name = "grey film"
transmittance = 0.8
heat_transmittance = 0.8
"""
ROWS = """
[[layout]]
name = "{name}"
kind = "rows"
tilt_deg = 25
azimuth_deg = 0
pitch_m = 3.2
"""
COVER = """
[layout.cover]
diffuser = "grey film"
gap_m = {gap}
"""
AISLE = """
[[layout.booster]]
reflector = "mirror"
place = "aisle"
width_m = 0.8
"""


@pytest.fixture(scope="module")
def layouts() -> dict[str, LayoutResult]:
    """Bare, covered, with a mirror, with both."""
    sheets = {"bare": "", "covered": COVER.format(gap=0.004), "mirror": AISLE, "both": AISLE + COVER.format(gap=0.004)}
    text = PLAN + "".join(ROWS.format(name=name) + more for name, more in sheets.items())
    return dict(run_plan(parse_plan(text, "sheets.toml", Path())).layouts)


def effect_of(r: LayoutResult) -> SheetEffect:
    assert r.sheets is not None
    return r.sheets


def same(side: SheetSide, r: LayoutResult) -> bool:
    assert r.peaks is not None
    figures = (
        (side.energy_ac_kwh, r.energy_ac_kwh),
        (side.irradiation_kwh_per_m2, r.irradiation_kwh_per_m2),
        (side.uneven_light_loss_fraction, r.uneven_light_loss_fraction),
        (side.hottest_cell_c, r.hottest_cell_c),
        (side.hottest_cell_still_air_c, r.peaks.hottest_cell_still_air_c),
        (side.peak_cell_light_w_m2, r.peak_cell_light_w_m2),
        (side.peak_cell_ratio, r.peak_cell_ratio),
    )
    return all(told == pytest.approx(own, rel=1e-6) for told, own in figures)


def test_each_side_is_that_layouts_own_year(layouts: dict[str, LayoutResult]) -> None:
    assert layouts["bare"].sheets is None
    assert layouts["mirror"].sheets is None
    assert same(effect_of(layouts["covered"]).with_sheets, layouts["covered"])
    assert same(effect_of(layouts["covered"]).without_sheets, layouts["bare"])
    assert same(effect_of(layouts["both"]).with_sheets, layouts["both"])
    assert same(effect_of(layouts["both"]).without_sheets, layouts["mirror"]), "reflectors stay"


def test_reflectors_are_held_against_the_covered_layout(layouts: dict[str, LayoutResult]) -> None:
    """What a reflector under covers is worth does not bear what the covers cost."""
    both = layouts["both"]
    assert both.boost is not None
    assert both.boost.bare_energy_ac_kwh == pytest.approx(layouts["covered"].energy_ac_kwh, rel=2e-4)
    assert both.reflected_gain_fraction == pytest.approx(
        both.energy_ac_kwh / layouts["bare"].energy_ac_kwh - 1.0, abs=2e-4
    )
    assert both.boost.ledger.arrived_kwh == 0.0
    assert math.isnan(both.boost.brought_kwh_per_m2)
    assert both.to_dict()["boost"]["reflector_light"] is None


def test_a_plain_film_takes_its_share_and_its_cooling(layouts: dict[str, LayoutResult]) -> None:
    """A film that only weakens light leaves 0.8 of it at normal incidence. Warmth over the air goes with light over
    U0 + U1·wind (Faiman, Progress in Photovoltaics 16 (2008) 307-315, eq. 5), so hindered by a factor it is divided by
    it; the hottest hour may be another one, so bounds on the air's warmth stand in for it."""
    effect = effect_of(layouts["covered"])
    factor = cooling_factor(0.004)
    assert effect.cooling_factor == factor
    ratio = effect.with_sheets.peak_cell_light_w_m2 / effect.without_sheets.peak_cell_light_w_m2
    assert 0.77 < ratio < 0.805
    cool = effect.freely_cooled
    assert cool is not None
    assert cool.irradiation_kwh_per_m2 == pytest.approx(effect.with_sheets.irradiation_kwh_per_m2, rel=1e-6)
    air = layouts["covered"].peaks.worst.air_c  # type: ignore[union-attr]
    hindered = air + (cool.hottest_cell_c - air) / factor
    assert effect.with_sheets.hottest_cell_c == pytest.approx(hindered, abs=1.5)
    assert effect.energy_fraction < effect.cooling_energy_fraction < 0.0
