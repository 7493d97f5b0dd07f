"""Sun positions against published examples and an independent ephemeris."""

import numpy as np
import pandas as pd
import pytest

from sites.conventions import elevation_azimuth, unit_vector
from sites.site import Location
from sites.sun import equatorial, from_equatorial, sun_position


def one_position(latitude, longitude, elevation_m, time):
    place = Location("test", latitude, longitude, elevation_m, "UTC")
    elevation, azimuth = sun_position(place, pd.DatetimeIndex([time]).tz_convert("UTC"))
    return float(elevation[0]), float(azimuth[0])


SPA_TIME = pd.Timestamp("2003-10-17T12:30:30-07:00")


def test_spa_example():
    """Reda & Andreas, NREL/TP-560-34302 (rev. 2008), table A5.1: zenith 50.11162, azimuth 194.34024.

    Its air is 820 mbar and 11 °C, ours 812 mbar (standard atmosphere) and 12 °C, which changes the
    refraction, 0.016332°, by 0.0003°.
    """
    elevation, azimuth = one_position(39.742476, -105.1786, 1830.14, SPA_TIME)
    assert 90.0 - elevation == pytest.approx(50.11162, abs=4e-4)
    assert azimuth == pytest.approx(194.34024, abs=1e-5)


def test_spa_example_incidence_and_equatorial_angles():
    """The same table: incidence 25.18700 on a slope of 30° turned 10° east of south.

    Declination −9.31434 and hour angle 11.10590 are geocentric and without refraction; parallax and
    refraction move the apparent ones by at most 0.02°.
    """
    elevation, azimuth = one_position(39.742476, -105.1786, 1830.14, SPA_TIME)
    sun = unit_vector(elevation, azimuth)
    incidence = np.degrees(np.arccos(sun @ unit_vector(60.0, 170.0)))
    assert incidence == pytest.approx(25.18700, abs=4e-4)
    declination, hour_angle = equatorial(39.742476, sun[None])
    assert declination[0] == pytest.approx(-9.31434, abs=0.02)
    assert hour_angle[0] == pytest.approx(11.10590, abs=0.02)


def refraction_deg(true_elevation):
    """Saemundsson's formula (Meeus, Astronomical Algorithms, 16.4, from memory), 1013.25 mbar and 12 °C."""
    angle = np.radians(true_elevation + 10.3 / (true_elevation + 5.11))
    return 1.02 / 60.0 / np.tan(angle) * (1013.25 / 1010.0) * (283.0 / 285.0)


@pytest.mark.parametrize(
    ("latitude", "longitude", "time", "zenith", "azimuth"),
    [
        (40, -105, "2023-03-20T18:00Z", 42.9073, 154.7812),
        (40, -105, "2023-06-21T15:00Z", 52.9675, 89.0055),
        (-35, 149, "2023-12-21T10:00Z", 98.1817, 233.7599),
        (-35, 149, "2024-02-29T05:30Z", 51.9352, 289.7914),
        (60, 25, "2023-06-21T15:00Z", 59.6867, 264.7664),
        (60, 25, "2023-12-21T10:00Z", 83.5193, 175.8699),
    ],
)
def test_ephemeris_grid(latitude, longitude, time, zenith, azimuth):
    """Geometric zenith and azimuth from astropy's built-in ephemeris, to which refraction is added here."""
    elevation, found_azimuth = one_position(latitude, longitude, 0.0, pd.Timestamp(time))
    true = 90.0 - zenith
    expected = true + refraction_deg(true) if true > 0.0 else true
    assert elevation == pytest.approx(expected, abs=1e-3)
    assert found_azimuth == pytest.approx(azimuth, abs=1e-3)


def test_solar_time_of_a_textbook_example():
    """Duffie & Beckman, Solar Engineering of Thermal Processes, ex. 1.5.1: Madison, 3 February, 10:30
    standard time is 10:19 (10:18:54) solar time. The year is ours; it moves the result by a few seconds.
    """
    elevation, azimuth = one_position(43.07, -89.4, 270.0, pd.Timestamp("2013-02-03T10:30-06:00"))
    _, hour_angle = equatorial(43.07, unit_vector([elevation], [azimuth]))
    solar_hour = 12.0 + hour_angle[0] / 15.0
    assert solar_hour == pytest.approx(10.0 + 18.9 / 60.0, abs=0.5 / 60.0)


def test_incidence_on_a_tilted_turned_plane():
    """Duffie & Beckman ex. 1.6.1 (5th ed. p. 15): φ 43, δ −14, ω −22.5, tilt 45, 15° west of south: 0.817."""
    sun = from_equatorial(43.0, np.array([-14.0]), np.array([-22.5]))[0]
    assert sun @ unit_vector(45.0, 195.0) == pytest.approx(0.817, abs=1e-3)


@pytest.mark.parametrize(
    ("declination", "hour_angle", "zenith", "west_of_south"),
    [(-14.0, -37.5, 66.5, -40.0), (23.1, 97.5, 79.6, 112.0), (-2.4, 60.0, 70.3, 66.8)],
)
def test_zenith_and_azimuth_quadrant(declination, hour_angle, zenith, west_of_south):
    """Duffie & Beckman ex. 1.6.2 (a), (b) and 1.6.3, latitude 43; (b) stands north of west."""
    sun = from_equatorial(43.0, np.array([declination]), np.array([hour_angle]))
    elevation, azimuth = elevation_azimuth(sun)
    assert 90.0 - elevation[0] == pytest.approx(zenith, abs=0.1)
    assert azimuth[0] - 180.0 == pytest.approx(west_of_south, abs=0.1)


def test_sunset_hour_angle():
    """Duffie & Beckman ex. 1.6.3: latitude 43, 16 March (δ −2.4): sunset at hour angle 87.8°."""
    sun = from_equatorial(43.0, np.array([-2.4, -2.4]), np.array([87.7, 87.9]))
    assert sun[0, 2] > 0.0 > sun[1, 2]
