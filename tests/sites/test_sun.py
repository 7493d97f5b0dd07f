"""Sun positions inside intervals, and the sun grid."""

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sites.conventions import unit_vector
from sites.site import Location
from sites.sun import (
    equatorial,
    extraterrestrial,
    from_equatorial,
    sun_grid,
    sun_hours,
    sun_position,
)

YEAR = pd.date_range("2002-01-01", periods=8760, freq="h", tz="UTC")


def place(latitude: float, longitude: float = 21.4, elevation: float = 120.0) -> Location:
    return Location("test", latitude, longitude, elevation, "UTC")


@pytest.mark.parametrize("latitude", [-35.0, 0.0, 40.0, 55.0, 66.3, 70.0])
def test_sun_stands_at_the_middle_of_the_part_in_which_it_is_up(latitude):
    """Against every minute of 40 days spread over the year, taken one by one."""
    days = pd.date_range("2002-01-03", "2002-12-28", periods=40).normalize().tz_localize("UTC")
    start = days.repeat(24) + pd.to_timedelta(np.tile(np.arange(24), 40), unit="h")
    hours = sun_hours(place(latitude), start, 1.0)
    minute = pd.to_timedelta(np.tile(np.arange(60) + 0.5, len(start)), unit="min")
    up = sun_position(place(latitude), start.repeat(60) + minute)[0].reshape(-1, 60) > 0.0
    clear_cut = (up.sum(axis=1) >= 3) | ~hours.sun_up  # a minute of sun may fall between two samples
    np.testing.assert_array_equal(up.any(axis=1)[clear_cut], hours.sun_up[clear_cut])
    one_piece = np.abs(np.diff(up.astype(int), axis=1)).sum(axis=1) <= 1
    tested = hours.sun_up & (up.sum(axis=1) >= 3) & one_piece
    middle = (up * (np.arange(60) + 0.5)).sum(axis=1)[tested] / up.sum(axis=1)[tested]
    at = start[tested] + pd.to_timedelta(middle, unit="min")
    elevation, azimuth = sun_position(place(latitude), at)
    apart = unit_vector(elevation, azimuth) - unit_vector(hours.elevation_deg, hours.azimuth_deg)[tested]
    assert tested.sum() > 200
    assert np.degrees(np.linalg.norm(apart, axis=1)).max() < 0.14  # half a minute of the sky's turn


def test_whole_sunlit_hour_has_the_sun_of_its_middle():
    hours = sun_hours(place(40.0), YEAR, 1.0)
    high = hours.elevation_deg > 20.0
    elevation, azimuth = sun_position(place(40.0), YEAR[high] + pd.Timedelta(minutes=30))
    np.testing.assert_allclose(hours.elevation_deg[high], elevation, atol=1e-9)
    np.testing.assert_allclose(hours.azimuth_deg[high], azimuth, atol=1e-9)


def test_midnight_sun_that_dips_keeps_the_longer_part():
    """At 66° N, with midnight in the middle of an hour, there are hours with sun at both ends only."""
    north = place(66.0, longitude=22.0)
    hours = sun_hours(north, YEAR, 1.0)
    minute = pd.date_range("2002-05-20", "2002-07-25", freq="min", tz="UTC")[:-1]
    up = (sun_position(north, minute)[0] > 0.0).reshape(-1, 60)
    dips = up[:, 0] & up[:, -1] & (up.sum(axis=1) < 50)  # shorter dips may be overlooked
    assert dips.sum() > 5
    first = np.argmin(up[dips], axis=1)
    last = 60 - np.argmin(up[dips][:, ::-1], axis=1)
    middle = np.where(first > 60 - last, first / 2.0, (60 + last) / 2.0)
    at = minute[::60][dips] + pd.to_timedelta(middle, unit="min")
    same = hours.select(np.flatnonzero(YEAR.isin(minute[::60][dips])))
    clear_cut = np.abs(first - (60 - last)) > 1
    np.testing.assert_allclose(same.azimuth_deg[clear_cut], sun_position(north, at)[1][clear_cut], atol=0.3)


def test_polar_night_and_polar_day():
    hours = sun_hours(place(78.0), YEAR, 1.0)
    month = YEAR.month.to_numpy()
    assert not hours.sun_up[month == 12].any()
    assert hours.sun_up[month == 6].all()


def test_order_and_gaps_do_not_matter():
    whole = sun_hours(place(-41.0), YEAR, 1.0)
    pick = np.random.default_rng(3).permutation(8760)[:700]
    some = sun_hours(place(-41.0), YEAR[pick], 1.0)
    np.testing.assert_allclose(some.elevation_deg, whole.elevation_deg[pick], atol=1e-9)
    np.testing.assert_array_equal(some.sun_up, whole.sun_up[pick])


def test_quarter_hours():
    start = pd.date_range("2002-05-01", periods=96 * 30, freq="15min", tz="UTC")
    hours = sun_hours(place(52.0), start, 0.25)
    day_length = hours.sun_up.reshape(-1, 96).sum(axis=1) * 0.25
    assert 14.3 < day_length.min() < day_length.max() < 17.0
    assert (hours.elevation_deg[hours.sun_up] >= 0.0).all()


@pytest.mark.parametrize("interval", [0.0, -1.0, 4.0])
def test_interval_out_of_range(interval):
    with pytest.raises(ValueError, match="interval_h"):
        sun_hours(place(40.0), YEAR, interval)


def test_no_times_give_no_sun():
    assert sun_position(place(40.0), YEAR[:0])[0].shape == (0,)


def test_light_outside_the_air_follows_the_distance_of_the_sun():
    """0.98329 au early in January, 1.01671 au early in July (astronomical almanacs, from memory)."""
    light = extraterrestrial(YEAR)
    assert light.max() == pytest.approx(1361.0 / 0.98329**2, rel=2e-3)
    assert light.min() == pytest.approx(1361.0 / 1.01671**2, rel=2e-3)
    assert YEAR[int(light.argmax())].month == 1
    assert YEAR[int(light.argmin())].month == 7


@given(latitude=st.floats(-90, 90), seed=st.integers(0, 2**16))
def test_equatorial_and_back(latitude, seed):
    v = np.random.default_rng(seed).normal(size=(20, 3))
    v /= np.linalg.norm(v, axis=1, keepdims=True)
    np.testing.assert_allclose(from_equatorial(latitude, *equatorial(latitude, v)), v, atol=1e-12)


def grid_of(latitude: float, **steps):
    hours = sun_hours(place(latitude), YEAR, 1.0)
    up = hours.sun_up
    sun = unit_vector(hours.elevation_deg[up], hours.azimuth_deg[up])
    return sun, sun_grid(latitude, hours.elevation_deg[up], hours.azimuth_deg[up], **steps)


def angle_deg(a, b):
    return np.degrees(np.linalg.norm(a - b, axis=1))


@settings(max_examples=12, deadline=None)
@given(latitude=st.floats(-90, 90))
def test_weights_put_every_hour_together(latitude):
    sun, grid = grid_of(latitude)
    assert grid.weights.shape == (len(sun), len(grid.vectors))
    assert (grid.weights.data >= 0.0).all()
    assert np.diff(grid.weights.indptr).max() <= 4
    put_together = grid.weights @ grid.vectors
    np.testing.assert_allclose(np.linalg.norm(put_together, axis=1), 1.0, atol=1e-12)
    assert angle_deg(put_together, sun).max() < 0.03
    np.testing.assert_allclose(unit_vector(grid.elevation_deg, grid.azimuth_deg), grid.vectors, atol=1e-12)


@pytest.mark.parametrize("latitude", [0.0, 36.0, 48.0, -35.0, 55.0])
def test_grid_is_small_and_reaches_little_below_the_horizon(latitude):
    _, grid = grid_of(latitude)
    assert 400 <= len(grid.vectors) <= 500
    assert grid.elevation_deg.min() > -np.hypot(5.0, 48.0 / 12.0)  # the diagonal of a net cell


def test_refraction_stretches_the_net():
    """At 55° N the midsummer sun near the horizon appears at declination 23.8°, not 23.44°."""
    _, grid = grid_of(55.0)
    declination, _ = equatorial(55.0, grid.vectors)
    assert 23.7 < declination.max() < 23.95
    assert len(np.unique(declination.round(6))) == 13


def test_hour_angle_wraps_at_midnight():
    """Two suns on either side of midnight share the node at 180°; no node stands on the noon side."""
    sun = from_equatorial(80.0, np.array([23.0, 23.0, 22.0]), np.array([178.0, -178.0, 180.0]))
    elevation = np.degrees(np.arcsin(sun[:, 2]))
    azimuth = np.degrees(np.arctan2(sun[:, 0], sun[:, 1])) % 360.0
    grid = sun_grid(80.0, elevation, azimuth)
    assert angle_deg(grid.weights @ grid.vectors, sun).max() < 0.03
    _, hour_angle = equatorial(80.0, grid.vectors)
    assert np.abs(hour_angle).min() > 170.0


def test_error_falls_with_the_square_of_the_step():
    coarse_sun, coarse = grid_of(40.0, hour_angle_step_deg=10.0, n_declination=7)
    fine_sun, fine = grid_of(40.0, hour_angle_step_deg=5.0, n_declination=13)
    error = [angle_deg(g.weights @ g.vectors, s).max() for s, g in ((coarse_sun, coarse), (fine_sun, fine))]
    assert error[1] < 0.3 * error[0]


def test_single_sun_and_no_sun():
    one = sun_grid(40.0, np.array([30.0]), np.array([200.0]))
    np.testing.assert_allclose(one.weights @ one.vectors, unit_vector([30.0], [200.0]), atol=1e-3)
    none = sun_grid(40.0, np.zeros(0), np.zeros(0))
    assert none.weights.shape == (0, 0)


@pytest.mark.parametrize("wrong", [{"hour_angle_step_deg": 0.0}, {"n_declination": 1}])
def test_wrong_steps(wrong):
    with pytest.raises(ValueError, match=next(iter(wrong))):
        sun_grid(40.0, np.array([30.0]), np.array([200.0]), **wrong)
