"""The sky year: what a free plane receives, and what hides the sun."""

from pathlib import Path

import numpy as np
import pvlib
import pytest

from sites.conventions import unit_vector
from sites.sky import COS_85, sky_components, sky_year
from sites.skyline import OPEN_SKYLINE, Skyline
from sites.sun import extraterrestrial, sun_grid
from sites.weather_files import read_tmy3

FILES = ("723170TYA.CSV", "703165TY.csv")
TILTS = np.linspace(0.0, 90.0, 10)
AZIMUTHS = np.arange(0.0, 360.0, 45.0)
ALBEDO = 0.2


@pytest.fixture(scope="module", params=FILES)
def station(request):
    return read_tmy3(Path(pvlib.__file__).parent / "data" / request.param)


def on_plane(sky, beam_cos, tilt):
    t = np.radians(tilt)
    diffuse = sky.dome * (1 + np.cos(t)) / 2 + sky.horizon * np.sin(t)
    ground = sky.ghi * ALBEDO * (1 - np.cos(t)) / 2
    return np.maximum(sky.beam * beam_cos + diffuse, 0.0) + ground


def test_free_planes_receive_what_perez_driesse_gives(station):
    """10 tilts × 8 azimuths, a year: hour by hour with the true sun, and to 0.3 % through the sun grid."""
    year, place = station
    sky = sky_year(year, place, OPEN_SKYLINE)
    grid = sun_grid(place.latitude_deg, sky.sun.elevation_deg, sky.sun.azimuth_deg)
    sun = unit_vector(sky.sun.elevation_deg, sky.sun.azimuth_deg)
    zenith, extra = 90.0 - sky.sun.elevation_deg, extraterrestrial(sky.sun.start)
    off = []
    for tilt in TILTS:
        for azimuth in AZIMUTHS:
            normal = unit_vector(90.0 - tilt, azimuth)
            cosine = np.maximum(sun @ normal, 0.0)
            sent = pvlib.irradiance.perez_driesse(tilt, azimuth, sky.dhi, sky.dni, extra, zenith, sky.sun.azimuth_deg)
            ground = pvlib.irradiance.get_ground_diffuse(tilt, sky.ghi, albedo=ALBEDO)
            expected = sky.dni * cosine + sent + ground
            np.testing.assert_allclose(on_plane(sky, cosine, tilt), expected, atol=1e-8)
            through_grid = on_plane(sky, grid.weights @ np.maximum(grid.vectors @ normal, 0.0), tilt)
            off.append(through_grid.sum() / expected.sum() - 1.0)
    assert np.abs(off).max() < 0.003
    assert np.abs(np.mean(off)) < 0.001


def test_split_keeps_the_light_of_the_horizontal(station):
    """beam·sin h + dome = DNI·sin h + DHI wherever the low-sun limit does not act."""
    year, place = station
    sky = sky_year(year, place, OPEN_SKYLINE)
    height = np.sin(np.radians(sky.sun.elevation_deg))
    high = height > COS_85
    np.testing.assert_allclose((sky.beam * height + sky.dome)[high], (sky.dni * height + sky.dhi)[high], atol=1e-9)
    assert (sky.beam >= sky.dni - 1e-9).all()
    assert (sky.dome >= 0.1 * sky.dhi - 1e-9).all()  # F1 at most 0.9


def test_horizon_band_keeps_its_sign(station):
    """Overcast skies are darker at the horizon than overhead, clear ones brighter (Perez et al. 1990)."""
    year, place = station
    sky = sky_year(year, place, OPEN_SKYLINE)
    overcast = (sky.dni == 0.0) & (sky.dhi > 50.0)
    clear = (sky.dni > 800.0) & (sky.sun.elevation_deg > 30.0)
    assert overcast.sum() > 100
    assert np.median(sky.horizon[overcast]) < 0.0
    assert np.median(sky.horizon[clear]) > 0.0


def test_only_sun_up_hours_and_where_they_are_in_the_year(station):
    year, place = station
    sky = sky_year(year, place, OPEN_SKYLINE)
    assert sky.sun.sun_up.all()
    assert (np.diff(sky.index) > 0).all()
    np.testing.assert_array_equal(sky.ghi, year.ghi[sky.index])
    assert (sky.sun.start == year.start[sky.index]).all()
    assert year.ghi.sum() - sky.ghi.sum() == pytest.approx(0.0, abs=1.0)


def test_skyline_takes_the_beam_and_nothing_else(station):
    year, place = station
    open_sky = sky_year(year, place, OPEN_SKYLINE)
    hill = Skyline(np.array([0.0, 100.0, 170.0, 190.0]), np.array([0.0, 15.0, 15.0, 0.0]))
    sky = sky_year(year, place, hill)
    behind = open_sky.sun.elevation_deg < hill.at(open_sky.sun.azimuth_deg)
    assert 0.02 < behind.mean() < 0.5
    assert (sky.beam[behind] == 0.0).all()
    np.testing.assert_array_equal(sky.beam[~behind], open_sky.beam[~behind])
    np.testing.assert_array_equal(sky.dome, open_sky.dome)
    np.testing.assert_array_equal(sky.horizon, open_sky.horizon)


def test_slope_hides_the_sun_behind_it(station):
    """Ground that falls 20° to the north: the southern sun below 20° elevation is behind it."""
    year, place = station
    sky = sky_year(year, place, OPEN_SKYLINE, slope_deg=20.0, slope_azimuth_deg=0.0)
    level = sky_year(year, place, OPEN_SKYLINE)
    due_south = np.abs(sky.sun.azimuth_deg - 180.0) < 5.0
    low = due_south & (sky.sun.elevation_deg < 19.5)
    high = due_south & (sky.sun.elevation_deg > 20.5)
    assert (sky.beam[low] == 0.0).all()
    np.testing.assert_array_equal(sky.beam[high], level.beam[high])
    northern = np.cos(np.radians(sky.sun.azimuth_deg)) > 0.0
    np.testing.assert_array_equal(sky.beam[northern], level.beam[northern])


def test_no_light_gives_no_light():
    beam, dome, horizon = sky_components(np.array([0.0, 5.0, 60.0]), np.zeros(3), np.zeros(3), np.full(3, 1361.0))
    assert (beam == 0.0).all()
    assert (dome == 0.0).all()
    assert (horizon == 0.0).all()
