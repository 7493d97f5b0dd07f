"""Light held against the sun. The invented year comes from a made climate, so it closes exactly."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from sites.climate import made_year
from sites.site import Climate, Location
from sites.sun import sun_hours
from sites.weather import best_offset, check_light, closure, dark_light

PLACE = Location("test", 38.5, 21.4, 240.0, "Etc/GMT-2")
CLIMATE = Climate(
    np.array([2.1, 2.9, 4.2, 5.4, 6.6, 7.4, 7.5, 6.7, 5.2, 3.6, 2.4, 1.8]),
    np.full(12, 15.0),
    np.full(12, 3.0),
)


@pytest.fixture(scope="module")
def year():
    return made_year(CLIMATE, PLACE, 4)


def spot(i, name):
    return f"interval {i}, {name}"


def hours_of(year):
    return sun_hours(PLACE, year.start, year.interval_h)


def checked(year, file):
    return check_light(year, file, PLACE, hours_of(year), spot)


def moved(year, hours):
    return replace(year, start=year.start + pd.Timedelta(hours=hours))


def with_value(year, name, i, value):
    column = getattr(year, name).copy()
    column[i] = value
    return replace(year, **{name: column})


def noon(year):
    return int(np.argmax(hours_of(year).elevation_deg[:2000]))


def test_a_good_year_closes(year):
    result = closure(year, hours_of(year))
    assert result.rms_w_m2 < 0.01
    assert result.failed == 0
    assert result.tested > 3500
    faults, notes = checked(year, "a.csv")
    assert faults == []
    assert len(notes) == 1
    assert "0 of" in notes[0]


def test_failing_hours_are_counted(year):
    rng = np.random.default_rng(1)
    high = np.flatnonzero((year.ghi > 300.0) & (hours_of(year).elevation_deg > 20.0))
    wrong = rng.choice(high, 37, replace=False)
    ghi = year.ghi.copy()
    ghi[wrong] *= 0.85
    result = closure(replace(year, ghi=ghi), hours_of(year))
    assert result.failed == 37
    ghi[wrong] = year.ghi[wrong] * 0.95  # inside the 8 % that the network allows
    assert closure(replace(year, ghi=ghi), hours_of(year)).failed == 0


@pytest.mark.parametrize("hours", [-6.0, -2.0, -1.0, -0.5, 0.5, 1.0, 3.0, 11.0])
def test_the_offset_that_closes_best_is_found(year, hours):
    offset, there, here = best_offset(moved(year, hours), PLACE)
    assert offset == -hours
    assert there < 8.0
    assert here > 15.0


def test_a_wrong_zone_is_a_fault_that_names_the_offset(year):
    faults, _ = checked(moved(year, 1.0), "a.csv")
    assert len(faults) == 1
    assert "1 h earlier" in faults[0].found
    assert "time_zone" in faults[0].accepted
    assert "weather_label" in faults[0].accepted


def test_a_wrong_longitude_is_found_too(year):
    """East and west mixed up: 42.8° apart, nearest half hours 3 h."""
    offset, _, _ = best_offset(year, replace(PLACE, longitude_deg=-21.4))
    assert abs(offset) == 3.0


def test_year_without_beam_has_no_better_offset(year):
    overcast = replace(year, dni=np.zeros(8760), dhi=year.ghi)
    assert best_offset(moved(overcast, 2.0), PLACE)[0] == 0.0


def test_light_at_night_is_counted(year):
    assert dark_light(year, hours_of(year)) == (0, 0.0)
    night = np.flatnonzero(~hours_of(year).sun_up)[:5]
    ghi = year.ghi.copy()
    ghi[night] = 100.0
    count, share = dark_light(replace(year, ghi=ghi), hours_of(year))
    assert count == 5
    assert share == pytest.approx(500.0 / (year.ghi.sum() + 500.0))


@pytest.mark.parametrize(("name", "value"), [("ghi", 1500.0), ("dni", 1450.0), ("dhi", 1400.0)])
def test_light_that_no_sky_gives_is_refused(year, name, value):
    i = noon(year)
    faults, _ = checked(with_value(year, name, i, value), "a.csv")
    assert [fault.key for fault in faults] == [f"interval {i}, {name}"]
    assert f"{value:g} W/m²" in faults[0].found
    assert "outside the air" in faults[0].accepted


def test_sums_of_the_hour_in_place_of_means_are_refused(year):
    """kJ/m² in an hour are 3.6 times the W/m²."""
    kilojoule = replace(year, ghi=3.6 * year.ghi, dni=3.6 * year.dni, dhi=3.6 * year.dhi)
    faults, _ = checked(kilojoule, "a.csv")
    assert {"ghi", "dni", "dhi"} >= {fault.key.split()[-1] for fault in faults}
    assert any("more like it" in fault.found for fault in faults)


def test_columns_mixed_up_are_refused(year):
    mixed = replace(year, dni=year.dhi, dhi=np.minimum(year.dni, 200.0))
    faults, _ = checked(mixed, "a.csv")
    assert any("GHI that is not DNI·cos z + DHI" in fault.found for fault in faults)


def test_a_bright_minute_between_clouds_is_no_fault():
    """Cloud edges lift short means above the light outside the air, as the network's limit allows."""
    start = pd.date_range("2002-01-01", periods=365 * 48, freq="30min", tz="UTC")
    hours = sun_hours(PLACE, start, 0.5)
    height = np.where(hours.sun_up, np.sin(np.radians(hours.elevation_deg)), 0.0)
    dhi = 100.0 * height
    dni = np.where(hours.sun_up, 700.0, 0.0)
    nothing = np.zeros(len(start))
    base = made_year(CLIMATE, PLACE, 1)
    half_hours = replace(
        base,
        start=start,
        interval_h=0.5,
        ghi=dni * height + dhi,
        dni=dni,
        dhi=dhi,
        air_c=nothing,
        wind_m_s=nothing,
    )
    i = int(np.argmax(height))
    bright = 1361.0 * height[i] + 150.0
    faults, _ = checked(with_value(half_hours, "ghi", i, bright), "a.csv")
    assert faults == []
