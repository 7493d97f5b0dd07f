"""Light outside the air, diffuse split, tilted planes, shipped weather files, against published figures."""

from pathlib import Path

import numpy as np
import pandas as pd
import pvlib
import pytest

from sites.conventions import unit_vector
from sites.site import Location
from sites.sky import sky_components
from sites.sun import extraterrestrial, from_equatorial, sun_hours
from sites.weather import WeatherYear, closure
from sites.weather_files import read_tmy3

DATA = Path(pvlib.__file__).parent / "data"


def test_daily_light_outside_the_air():
    """Duffie & Beckman, Solar Engineering of Thermal Processes, table of ex. 2.19.1 (April also ex. 1.10.1):
    MJ/m² a day at 43° N on the monthly mean days, Gsc 1367 W/m², declinations of their table 1.6.1.

    Their series for the sun's distance has one term, Spencer's five: 0.5 % apart.
    """
    day = np.array([17, 47, 75, 105, 135, 162, 198, 228, 258, 288, 318, 344])
    declination = np.array([-20.9, -13.0, -2.4, 9.4, 18.8, 23.1, 21.2, 13.5, 2.2, -9.6, -18.9, -23.0])
    expected = [13.37, 18.81, 26.03, 33.78, 39.42, 41.78, 40.56, 35.92, 28.80, 20.90, 14.62, 11.91]
    hour_angle = np.arange(-179.5, 180.0, 0.25)
    turn = from_equatorial(43.0, np.repeat(declination, hour_angle.size), np.tile(hour_angle, 12))
    mean_height = np.maximum(turn[:, 2], 0.0).reshape(12, -1).mean(axis=1)
    noon = pd.Timestamp("2002-01-01T12:00Z") + pd.to_timedelta(day - 1, unit="D")
    light = extraterrestrial(pd.DatetimeIndex(noon)) * (1367.0 / 1361.0)
    np.testing.assert_allclose(light * mean_height * 86400.0 / 1e6, expected, rtol=0.006)


# Duffie & Beckman ex. 2.15.1 (4th ed. p. 90): latitude 40, 20 February, 9 to 10 h, plane of 60° to the south,
# ground 0.6, GHI 1.04 MJ/m² in the hour, kT 0.445.
SUN = from_equatorial(40.0, np.array([-11.58]), np.array([-37.5]))[0]
NORMAL = unit_vector(30.0, 180.0)
GHI = 1.04e6 / 3600.0
OUTSIDE = 2.335e6 / 3600.0


def textbook_split():
    zenith = np.degrees(np.arccos(SUN[2]))
    split = pvlib.irradiance.erbs_driesse(GHI, zenith, dni_extra=OUTSIDE / SUN[2])
    return zenith, float(split["dni"]), float(split["dhi"])


def test_tilted_plane_isotropic_textbook_example():
    """The example's answers: zenith 62.2, incidence 37.0, diffuse share 0.766, Rb 1.71, IT 1.171 MJ/m²."""
    zenith, dni, dhi = textbook_split()
    assert zenith == pytest.approx(62.20, abs=0.02)
    assert np.degrees(np.arccos(SUN @ NORMAL)) == pytest.approx(36.97, abs=0.02)
    assert dhi / GHI == pytest.approx(0.7655, abs=1.5e-3)
    assert SUN @ NORMAL / SUN[2] == pytest.approx(1.714, abs=2e-3)
    total = dni * (SUN @ NORMAL) + dhi * 0.75 + 0.6 * GHI * 0.25
    assert total * 3600.0 / 1e6 == pytest.approx(1.171, abs=3e-3)


def test_tilted_plane_anisotropic_textbook_example():
    """Duffie & Beckman ex. 2.16.2, the same hour by the Perez sky: 1.37 MJ/m² (from memory; to ±0.02, as the
    coefficients of the book and of the continuous form differ)."""
    zenith, dni, dhi = textbook_split()
    beam, dome, horizon = sky_components(
        np.array([90.0 - zenith]), np.array([dni]), np.array([dhi]), np.array([OUTSIDE / SUN[2]])
    )
    total = beam * (SUN @ NORMAL) + dome * 0.75 + horizon * np.sin(np.radians(60.0)) + 0.6 * GHI * 0.25
    assert total[0] * 3600.0 / 1e6 == pytest.approx(1.37, abs=0.02)


@pytest.mark.parametrize(
    ("file", "sums", "air", "wind", "closure_rms"),
    [
        ("723170TYA.CSV", (1_566_203, 1_476_549, 682_223), 14.421850, 3.054441, 3.0),
        ("703165TY.csv", (829_243, 819_209, 460_947), 4.420651, 5.071998, 4.0),
    ],
)
def test_shipped_typical_years(file, sums, air, wind, closure_rms):
    """Sums in Wh/m², means and closure, worked out with code other than ours straight from the columns."""
    year, place = read_tmy3(DATA / file)
    assert (year.ghi.sum(), year.dni.sum(), year.dhi.sum()) == pytest.approx(sums, abs=0.5)
    assert year.air_c.mean() == pytest.approx(air, abs=1e-5)
    assert year.wind_m_s.mean() == pytest.approx(wind, abs=1e-5)
    assert closure(year, sun_hours(place, year.start, 1.0)).rms_w_m2 < closure_rms


def fixed_columns(first: int, last: int) -> np.ndarray:
    lines = (DATA / "12839.tm2").read_text().splitlines()[1:]
    return np.array([float(line[first:last]) for line in lines])


def test_closure_of_a_file_that_we_did_not_read():
    """The fixed-column typical year of a station at 25.8° N, 80.27° W that pvlib ships.

    Other code finds an rms of 8.55 W/m² and sums of 1,792,618, 1,504,922 and 809,504 Wh/m². Irradiance is
    rounded harder than in the other files.
    """
    ghi, dni, dhi = fixed_columns(17, 21), fixed_columns(23, 27), fixed_columns(29, 33)
    assert (ghi.sum(), dni.sum(), dhi.sum()) == (1_792_618, 1_504_922, 809_504)
    start = pd.date_range("2002-01-01T05:00Z", periods=8760, freq="h")
    none = np.zeros(8760)
    year = WeatherYear(start, 1.0, ghi, dni, dhi, none, none, None, "test")
    place = Location("test", 25.8, -80.27, 2.0, "Etc/GMT+5")
    assert closure(year, sun_hours(place, start, 1.0)).rms_w_m2 < 12.0
    late = WeatherYear(start + pd.Timedelta(hours=1), 1.0, ghi, dni, dhi, none, none, None, "test")
    assert closure(late, sun_hours(place, late.start, 1.0)).rms_w_m2 > 40.0
