"""Cautions of reflectors and covers: each says its number and defers to codes, makers and licensed practice."""

from dataclasses import replace

import numpy as np
import pytest

from layout.cautions import cautions
from layout.pieces import Ground, Panel, Reflector, Scene
from layout.result import LayoutResult, PlanResult
from layout.sheet_cautions import height_m

TOPICS = {"Burns", "Warranty", "Wind and snow", "Dazzle"}


def told(r: LayoutResult) -> dict[str, str]:
    """Cautions by topic."""
    assert r.peaks is not None
    return dict(line.split(": ", 1) for line in cautions(r.arrangement, r.peaks, r.boost))


@pytest.mark.parametrize("name", ["mirrored", "winged", "towers"])
def test_reflectors_bring_all_their_cautions(boosted_result: PlanResult, name: str) -> None:
    r = boosted_result.layouts[name]
    lines = told(r)
    assert set(lines) >= TOPICS
    assert "Covers" not in lines
    assert r.peaks is not None
    for topic in ("Burns", "Warranty"):
        assert f"{r.peaks.peak_cell_light_w_m2:.0f} W/m²" in lines[topic]
    assert (
        f"{r.peaks.hottest_cell_c:.0f} °C ({r.peaks.hottest_cell_still_air_c:.0f} °C in still air)" in lines["Warranty"]
    )
    assert "maker's data decide" in lines["Warranty"]
    assert "licensed engineer" in lines["Wind and snow"]
    assert "local rules" in lines["Dazzle"]


def test_wind_pressure_is_that_of_moving_air(boosted_result: PlanResult) -> None:
    """Half the density times the speed squared (Bernoulli): 0.5 × 1.25 × 30² = 562.5 N/m²."""
    line = told(boosted_result.layouts["winged"])["Wind and snow"]
    assert "30 m/s presses with some 560 N on each m²" in line
    assert "4 reflectors of up to 0.7 m²" in line


def test_dazzle_tells_the_light_that_misses_the_panels(boosted_result: PlanResult) -> None:
    r = boosted_result.layouts["mirrored"]
    assert r.boost is not None
    light = r.boost.ledger
    line = told(r)["Dazzle"]
    assert f"{100 * light.missed_kwh / light.arrived_kwh:.0f} % of the beam" in line
    brightness = max(sheet.reflectance for sheet in r.arrangement.scene.reflectors)
    assert f"{100 * brightness:.0f} % of its brightness" in line
    assert "brightness" not in told(boosted_result.layouts["winged"])["Dazzle"], "spread light shows no sun"


def test_matt_sheets_do_not_bundle_light(boosted_result: PlanResult) -> None:
    r = boosted_result.layouts["towers"]
    scene = r.arrangement.scene
    matt = tuple(s for s in scene.reflectors if s.diffuse == 1.0)
    only = replace(r, arrangement=replace(r.arrangement, scene=replace(scene, reflectors=matt)))
    assert "do not bundle light" in told(only)["Burns"]
    assert "burns skin, eyes" in told(r)["Burns"]


def test_covers_have_theirs_and_bare_layouts_none(small_result: PlanResult, boosted_result: PlanResult) -> None:
    lines = told(boosted_result.layouts["covered"])
    assert not TOPICS & set(lines)
    assert lines["Covers"].startswith("3 see-through sheets")
    assert "maker" in lines["Covers"]
    for r in small_result.layouts.values():
        assert not (TOPICS | {"Covers"}) & set(told(r))


def test_results_carry_them(boosted_result: PlanResult) -> None:
    for r in boosted_result.layouts.values():
        assert r.peaks is not None
        assert r.cautions == cautions(r.arrangement, r.peaks, r.boost)


def test_height_counts_from_the_ground_below() -> None:
    """On a slope of 45° down to the south the ground lies 1 m lower for each metre south."""
    ground = Ground(slope_deg=45.0, slope_azimuth_deg=180.0)
    post = Reflector((0, -3, -3.0), (1, 0, 0), (0, 0, 2.5))
    assert height_m([post], ground) == pytest.approx(2.5)
    assert height_m([post], None) == pytest.approx(-0.5)
    assert height_m([], ground) == 0.0
    flat = Scene([Panel((0, 0, 1.0), (1, 0, 0), (0, 1, 0.2))])
    assert height_m(flat.panels, None) == pytest.approx(1.2)
    assert np.isfinite(height_m(flat.panels, Ground()))
