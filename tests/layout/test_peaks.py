"""Peaks: figures at the true sun of the hours they belong to, found among all hours of the year."""

from dataclasses import replace

import numpy as np
import pytest

from layout.arrange.arrangement import Arrangement
from layout.conditions import conditions
from layout.evaluate import Evaluator, evaluate
from layout.field import blocks, build_field
from layout.light.light_map import light_map
from layout.panel_types import load_panel_type
from layout.peaks import PEAK_DOME_RAYS, _estimate, peaks
from layout.pieces import Blocker, Ground, Panel, Scene
from layout.power.glass import transmission_ratio
from layout.power.heat import cell_temperature
from layout.power.panel_model import panel_model
from sites.climate import made_year
from sites.site import Climate, Location, Site, WeatherSource
from sites.skyline import OPEN_SKYLINE


def site_year():
    """A sunny invented place: eight weeks of it are enough."""
    place = Location("Dryford", 24.6, 11.3, 650.0, "Etc/GMT-1")
    means = np.array([4.6, 5.4, 6.2, 6.9, 7.1, 7.4, 7.2, 6.8, 6.1, 5.3, 4.7, 4.3])
    climate = Climate(means, np.linspace(19, 31, 12), np.full(12, 2.4))
    site = Site(place, np.full(12, 0.25), OPEN_SKYLINE, None, WeatherSource(None, None, climate))
    year = conditions(site, made_year(climate, place, 3))
    return year.picked(np.arange(0, len(year.albedo), 3))


@pytest.fixture(scope="module")
def case():
    """Two rows of two panels, a wall to the west that shades them in the evening."""
    kind = load_panel_type("mono_glass")
    tilt = np.radians(24.0)
    up = 1.1 * np.array([0.0, np.cos(tilt), np.sin(tilt)])
    panels = [Panel((1.8 * i, 2.2 * j, 0.6), (1.76, 0, 0), up, cells=(6, 20)) for j in range(2) for i in range(2)]
    wall = Blocker((-1.0, -2.0, 0), (0, 7, 0), (0, 0, 3))
    same = np.ones(4, dtype=int)
    scene = Scene(panels, blockers=[wall], ground=Ground())
    arrangement = Arrangement("rows", "pieces", scene, kind, np.ones(4), same, same, ())
    year = site_year()
    evaluator = Evaluator(year, year.matrix(), kind, panel_model(kind), 0.0)
    field = build_field(arrangement, year, full_cells=False, repetition=False)
    found = evaluate(field, evaluator, transmission_ratio, lambda _: None)
    return field, evaluator, found


def every_hour(field, evaluator):
    """Front light and temperature of every cell in every hour at its own sun: (hours, panels, cells)."""
    at = evaluator.conditions.every_hour()
    at = replace(at, parts=replace(at.parts, dome_rays=PEAK_DOME_RAYS))
    (block,) = blocks(field.with_full_cells(np.arange(4)), at, transmission_ratio)
    columns, b, cells = block.front.before.shape
    matrix, kind = at.matrix(), evaluator.kind
    light = (matrix @ block.front.before.reshape(columns, -1)).reshape(-1, b, cells)
    warm = np.maximum(0.0, matrix @ block.front.after.reshape(columns, -1)).reshape(-1, b, cells)
    weather = at.air_c[:, None, None], at.wind_m_s[:, None, None]
    return light, cell_temperature(warm, *weather, kind.u0_w_m2_k, kind.u1_w_s_m3_k)


def test_no_hour_is_overlooked(case):
    """Tracing all hours at their true sun finds the same maxima as the chosen ones."""
    field, evaluator, found = case
    peak = peaks(field, evaluator, found, transmission_ratio)
    light, cell_c = every_hour(field, evaluator)
    assert peak.peak_cell_light_w_m2 == pytest.approx(light.max(), rel=2e-3)
    assert peak.hottest_cell_c == pytest.approx(cell_c.max(), abs=0.1)
    mean = light.mean(axis=2)
    shaded = (light.max(axis=2) / np.maximum(mean, 1.0))[mean > 200.0].max()
    assert peak.peak_cell_ratio == pytest.approx(shaded, rel=0.02)
    assert peak.hottest_cell_still_air_c > peak.hottest_cell_c


def test_estimate_of_an_hour_is_not_below_the_hour(case):
    """The largest of the grid's nodes bounds what the hour itself gives, but for the sun between them."""
    field, evaluator, found = case
    bound = _estimate(found.brightest.max(axis=1)[:, None], evaluator.conditions)[:, 0]
    light, _ = every_hour(field, evaluator)
    brightest = light.max(axis=(1, 2))
    assert (bound >= 0.99 * brightest - 3.0).mean() > 0.97
    bright = brightest > 0.8 * brightest.max()
    assert (bound[bright] >= 0.985 * brightest[bright]).all()


def test_hours_beyond_limits_are_counted(case):
    """Limits of the type set so that some hours lie beyond; their number is that of the hours traced one by one."""
    field, evaluator, found = case
    light, cell_c = every_hour(field, evaluator)
    order = np.sort(light.max(axis=(1, 2)))[::-1]
    heat = np.sort(cell_c.max(axis=(1, 2)))[::-1]
    kind = replace(evaluator.kind, max_light_w_m2=0.5 * (order[20] + order[21]), max_cell_c=0.5 * (heat[15] + heat[16]))
    peak = peaks(field, replace(evaluator, kind=kind), found, transmission_ratio)
    interval = evaluator.conditions.weather.interval_h
    assert peak.hours_above_light_limit == pytest.approx(21 * interval, abs=3 * interval)
    assert peak.hours_above_cell_limit == pytest.approx(16 * interval, abs=3 * interval)


def test_worst_hour_is_the_hottest_cells(case):
    """Its map holds the hottest cell, its beam part is that of a light map at the hour's true sun."""
    field, evaluator, found = case
    worst = peaks(field, evaluator, found, transmission_ratio).worst
    assert worst.cell_c.max() == peaks(field, evaluator, found, transmission_ratio).hottest_cell_c
    assert worst.light_w_m2.shape == worst.cell_c.shape == (6, 20)
    c = evaluator.conditions
    hour = int(np.flatnonzero(c.sky.sun.start == worst.start)[0])
    assert (worst.air_c, worst.wind_m_s) == (c.air_c[hour], c.wind_m_s[hour])
    sun, scene = c.sky.sun, replace(field.arrangement.scene, ground=Ground(albedo=float(c.albedo[hour])))
    m = light_map(scene, sun.elevation_deg[hour], sun.azimuth_deg[hour], dni=c.sky.beam[hour], dome=True)
    k = worst.panel
    band = c.sky.horizon[hour] * np.sin(np.radians(24.0))
    sky = c.sky.dome[hour] * m.dome[k] + max(band, 0.0)
    assert (worst.light_w_m2 >= m.total[k][0] + sky - 0.5 * abs(band) - 25.0).all()
    assert worst.light_w_m2 == pytest.approx(m.total[k][0] + sky, abs=35.0)
