"""Sun paths, what stands in their way, and row spacing at midwinter."""

import dataclasses

import numpy as np
import pandas as pd
import pytest
from shapely.geometry import Polygon, box

from layout.light.light_map import light_map
from layout.pieces import Ground, Panel, Scene
from layout.report.figures_sun import day_hour_grid
from layout.report.sun_paths import (
    EYE_HEIGHT_M,
    day_path,
    eye_point,
    ground_line,
    horizon_line,
    month_paths,
    obstacle_lines,
    path_facts,
    pitch_without_shade,
    winter_spacing,
)
from sites.plot import Obstacle, Plot
from sites.read import list_sites, load_site
from sites.skyline import Skyline


@pytest.mark.parametrize(("latitude", "tilt", "pitch"), [(40, 40, 2.0525), (43, 45, 2.3295), (30, 30, 1.5405)])
def test_pitch_at_winter_noon(latitude: float, tilt: float, pitch: float) -> None:
    """P/L = cos β + sin β / tan(90° − φ − 23.45°): identity of plane geometry, values worked out by hand."""
    noon = np.array([90.0 - latitude - 23.45])
    found = pitch_without_shade(np.array([float(tilt)]), noon, np.array([180.0]), 180.0)
    assert found[0] == pytest.approx(pitch, abs=6e-5)


@pytest.mark.parametrize("slope_deg", [0.0, 9.0])
@pytest.mark.parametrize("slope_azimuth_deg", [180.0, 0.0, 140.0])
@pytest.mark.parametrize(("elevation", "azimuth"), [(22.0, 180.0), (15.0, 215.0)])
def test_pitch_against_the_light_engine(
    slope_deg: float, slope_azimuth_deg: float, elevation: float, azimuth: float
) -> None:
    """Long rows traced at the pitch found: just lit at 1 % more, just shaded at 1 % less."""
    tilt, length = 33.0, 2.0
    pitch = length * pitch_without_shade(
        np.array([tilt]), np.array([elevation]), np.array([azimuth]), 180.0, slope_deg, slope_azimuth_deg
    )
    ground = Ground(0.2, slope_deg=slope_deg, slope_azimuth_deg=slope_azimuth_deg)
    for factor, lit in ((1.01, True), (0.99, False)):
        lowest = _lowest_cells(float(pitch[0]) * factor, tilt, length, ground, elevation, azimuth)
        open_light = _lowest_cells(1e4, tilt, length, ground, elevation, azimuth)
        assert (lowest > 0.999 * open_light) == lit


def _lowest_cells(pitch: float, tilt: float, length: float, ground: Ground, elevation: float, azimuth: float) -> float:
    """Light on the lowest hundredth of the rear one of two long rows that face south."""
    up = length * np.array([0.0, np.cos(np.radians(tilt)), np.sin(np.radians(tilt))])
    panels = []
    for south in (0.0, pitch):
        # A row follows the ground from front to back only: its long edge stays level.
        foot = float(ground.z(0.0, -south)) + 5000.0
        along = np.array([4000.0, 0.0, 0.0])
        panels.append(Panel((-2000.0, -south, foot), along, up, cells=(100, 1)))
    seen = light_map(Scene(panels), [elevation], [azimuth], bounces=0)
    return float(seen.direct[0][0, 0, 0])


def test_no_pitch_helps_where_the_ground_falls_away_from_the_sun() -> None:
    found = pitch_without_shade(np.array([30.0]), np.array([10.0]), np.array([180.0]), 180.0, 12.0, 0.0)
    assert np.isnan(found[0])


def test_a_sun_below_the_horizon_has_no_pitch() -> None:
    found = pitch_without_shade(np.array([30.0]), np.array([-1.0]), np.array([180.0]), 180.0)
    assert np.isnan(found[0])


def _plot(**changes: object) -> Plot:
    plot = Plot(Polygon([(-20, -20), (20, -20), (20, 20), (-20, 20)]))
    return dataclasses.replace(plot, **changes)  # type: ignore[arg-type]


def test_obstacle_as_seen_from_the_middle() -> None:
    plot = _plot(obstacles=(Obstacle(box(-3, 8, 3, 14), 5.5, "house"),))
    azimuth = np.array([0.0, 10.0, 21.0, 180.0])
    (line,) = obstacle_lines(plot, azimuth)
    assert line[0] == pytest.approx(np.degrees(np.arctan2(5.5 - EYE_HEIGHT_M, 8.0)))
    slant = 8.0 / np.cos(np.radians(10.0))
    assert line[1] == pytest.approx(np.degrees(np.arctan2(5.5 - EYE_HEIGHT_M, slant)))
    assert line[2:].tolist() == [0.0, 0.0]  # the house ends at atan(3/8) = 20.6°


def test_an_obstacle_below_the_eye_hides_nothing() -> None:
    plot = _plot(obstacles=(Obstacle(box(-3, 8, 3, 14), 1.0, "wall"),))
    assert obstacle_lines(plot, np.array([0.0]))[0][0] == 0.0


def test_the_eye_stays_on_a_bent_plot() -> None:
    corner = Plot(Polygon([(0, 0), (30, 0), (30, 4), (4, 4), (4, 30), (0, 30)]))
    eye = eye_point(corner)
    assert corner.boundary.covers(Polygon([eye[:2], eye[:2] + 1e-9, eye[:2] - 1e-9]).centroid)


def test_rising_ground_is_a_horizon() -> None:
    plot = _plot(slope_deg=10.0, slope_azimuth_deg=150.0)
    line = ground_line(plot, np.array([330.0, 150.0, 60.0]))
    assert line == pytest.approx([10.0, 0.0, 0.0], abs=1e-9)
    site = dataclasses.replace(load_site("tannerfold"), plot=plot, skyline=Skyline(np.array([0.0]), np.array([4.0])))
    assert horizon_line(site, np.array([330.0, 150.0])) == pytest.approx([10.0, 4.0])


@pytest.mark.parametrize("name", list_sites())
def test_days_of_the_year(name: str) -> None:
    """Highest sun 90° − |φ − δ| with δ = ±23.44° at the solstices; 12 h and due east at the equinox."""
    site = load_site(name)
    latitude = site.location.latitude_deg
    facts = {f.months: f for f in (path_facts(site, path) for path in month_paths(site.location))}
    assert facts["Jun"].highest_deg == pytest.approx(90 - abs(latitude - 23.44), abs=0.1)
    assert facts["Dec"].highest_deg == pytest.approx(90 - abs(latitude + 23.44), abs=0.15)
    assert facts["Mar · Sep"].hours_up == pytest.approx(12.15, abs=0.25)
    assert facts["Mar · Sep"].sunrise_azimuth_deg == pytest.approx(90, abs=2.5)
    for fact in facts.values():
        assert fact.hours_clear <= fact.hours_up
        assert fact.sunset_h - fact.sunrise_h == pytest.approx(fact.hours_up, abs=0.15)


def test_paired_months_run_close_together() -> None:
    """21 Jan and 21 Nov, ..., share a curve; the largest distance at noon is that of Feb and Oct."""
    location = load_site("ylverhem").location
    for one, other in ((1, 11), (2, 10), (3, 9), (4, 8), (5, 7)):
        noon = [day_path(location, month, "").elevation_deg.max() for month in (one, other)]
        assert abs(noon[0] - noon[1]) < 1.0


def test_midwinter_spacing_of_the_sites() -> None:
    tilts = np.array([10.0, 30.0, 90.0])
    north, south = (
        winter_spacing(load_site("ylverhem"), tilts),
        winter_spacing(load_site("corrawindle"), tilts),
    )
    assert (north.day, north.azimuth_deg, south.day, south.azimuth_deg) == ("21 Dec", 180.0, "21 Jun", 0.0)
    for spacing in (north, south):
        assert (np.diff(spacing.pitch, axis=1) >= 0).all(), "more hours without shade ask for more pitch"
        assert (np.diff(spacing.lowest_deg) < 0).all()


def test_polar_night_has_no_spacing() -> None:
    site = load_site("ylverhem")
    site = dataclasses.replace(site, location=dataclasses.replace(site.location, latitude_deg=71.0), plot=None)
    spacing = winter_spacing(site, np.array([30.0]))
    assert not spacing.sun_up.any()
    assert np.isnan(spacing.pitch).all()


def test_day_hour_grid_puts_hours_on_the_sites_clock() -> None:
    times = pd.date_range("2024-01-01", periods=366 * 24, freq="h", tz="UTC")
    values = np.full(len(times), np.nan)
    values[5] = 0.25  # 1 January, 05 UTC: 08 o'clock three hours east
    leap_day = 31 + 28
    values[leap_day * 24 + 9] = 0.5  # 29 February, 12 o'clock
    values[(leap_day - 1) * 24 + 9] = 0.7  # 28 February
    values[(leap_day + 1) * 24 + 9] = 0.9  # 1 March
    grid = day_hour_grid(times, values, "Etc/GMT-3")
    assert grid.shape == (24, 365)
    assert grid[8, 0] == 0.25
    assert grid[12, leap_day - 1] == pytest.approx(0.6)
    assert grid[12, leap_day] == 0.9
    assert np.isfinite(grid).sum() == 3
