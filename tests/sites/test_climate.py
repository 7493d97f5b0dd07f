"""Years made from monthly means. The climates and places are invented."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sites.climate import (
    MONTH_DAYS,
    MONTH_OF_DAY,
    MONTH_OF_HOUR,
    bendt_quantile,
    highest_clearness,
    made_year,
    mean_course,
)
from sites.errors import InputError
from sites.site import Climate, Location
from sites.sun import extraterrestrial, sun_hours

PLACE = Location("test", 38.5, 21.4, 240.0, "Etc/GMT-2")
CLIMATE = Climate(
    np.array([2.1, 2.9, 4.2, 5.4, 6.6, 7.4, 7.5, 6.7, 5.2, 3.6, 2.4, 1.8]),
    np.array([8.0, 8.8, 11.2, 15.1, 20.3, 25.0, 27.9, 27.6, 23.2, 18.0, 13.1, 9.4]),
    np.array([3.4, 3.6, 3.5, 3.1, 2.8, 3.0, 3.3, 3.2, 2.9, 2.7, 3.0, 3.5]),
)


def monthly_mean(hourly):
    return np.bincount(MONTH_OF_HOUR, weights=hourly) / (24.0 * MONTH_DAYS)


def test_months_are_those_given():
    year = made_year(CLIMATE, PLACE, 1)
    np.testing.assert_allclose(monthly_mean(year.ghi) * 0.024, CLIMATE.ghi_kwh_per_m2_day, rtol=1e-3)
    np.testing.assert_allclose(monthly_mean(year.air_c), CLIMATE.air_c, atol=0.05)
    np.testing.assert_allclose(monthly_mean(year.wind_m_s), CLIMATE.wind_m_s, rtol=1e-9)


def test_year_begins_at_local_midnight_of_standard_time():
    year = made_year(CLIMATE, replace(PLACE, time_zone="Europe/Athens"), 1)
    assert f"{year.start[0]:%d %H:%M}" == "31 22:00"
    assert len(year.start) == 8760
    assert year.interval_h == 1.0


def test_same_seed_same_year_another_seed_another_year():
    first, again, other = (made_year(CLIMATE, PLACE, seed) for seed in (5, 5, 6))
    np.testing.assert_array_equal(first.ghi, again.ghi)
    np.testing.assert_array_equal(first.wind_m_s, again.wind_m_s)
    assert np.abs(first.ghi - other.ghi).max() > 100.0


@settings(max_examples=6, deadline=None)
@given(
    latitude=st.floats(-67, 67),
    clearness=st.lists(st.floats(0.03, 0.7), min_size=12, max_size=12),
    seed=st.integers(0, 1000),
)
def test_light_is_possible_and_closes_in_any_climate(latitude, clearness, seed):
    place = replace(PLACE, latitude_deg=latitude)
    start = made_year(CLIMATE_OF_NOTHING, PLACE, 0).start
    hours = sun_hours(place, start, 1.0)
    height = np.where(hours.sun_up, np.sin(np.radians(hours.elevation_deg)), 0.0)
    outside = monthly_mean(extraterrestrial(start) * height) * 0.024
    climate = replace(CLIMATE, ghi_kwh_per_m2_day=np.array(clearness) * outside)
    year = made_year(climate, place, seed)
    np.testing.assert_allclose(monthly_mean(year.ghi) * 0.024, climate.ghi_kwh_per_m2_day, rtol=1e-3)
    for light in (year.ghi, year.dni, year.dhi):
        assert (light >= -1e-9).all()
    # Around a midnight sun the hour's mean may exceed what its middle gives, by a sun of 0.2°.
    assert (year.ghi <= extraterrestrial(start) * height + 5.0).all()
    assert (year.dni <= extraterrestrial(start)).all()
    np.testing.assert_allclose(year.ghi, year.dni * height + year.dhi, atol=1e-9)


CLIMATE_OF_NOTHING = replace(CLIMATE, ghi_kwh_per_m2_day=np.zeros(12))


def test_no_light_given_no_light_made():
    year = made_year(CLIMATE_OF_NOTHING, PLACE, 0)
    assert year.ghi.max() == 0.0
    assert year.dni.max() == 0.0


@given(mean=st.floats(0.1, 0.75))
def test_bendt_distribution_has_its_mean_and_limits(mean):
    """Mean over the distribution, by many shares; limits as published (see sites.climate)."""
    share = (np.arange(4000) + 0.5) / 4000
    means, low = np.full(4000, mean), np.full(4000, 0.05)
    high = highest_clearness(means)
    days = bendt_quantile(share, means, low, high)
    assert days.mean() == pytest.approx(mean, abs=2e-4)
    assert (np.diff(days) > 0.0).all()
    assert days.min() >= 0.05
    assert days.max() <= high[0]


def test_bendt_distribution_against_its_published_steepness():
    """γ = −1.498 + (1.184 ξ − 27.182 e^(−1.5 ξ))/(Kmax − Kmin), ξ = (Kmax − Kmin)/(Kmax − K̄): Herzog's fit,
    in Duffie & Beckman eq. 2.9.8 (from memory); the distribution with it is compared to ours.
    """
    mean, low = 0.5, 0.05
    high = float(highest_clearness(np.array(mean)))
    xi = (high - low) / (high - mean)
    gamma = -1.498 + (1.184 * xi - 27.182 * np.exp(-1.5 * xi)) / (high - low)
    clearness = np.linspace(0.1, high - 0.05, 9)
    published = (np.exp(gamma * low) - np.exp(gamma * clearness)) / (np.exp(gamma * low) - np.exp(gamma * high))
    share = np.linspace(0.0, 1.0, 20001)
    same = np.full_like(share, mean)
    ours = np.interp(clearness, bendt_quantile(share, same, np.full_like(share, low), same * 0 + high), share)
    np.testing.assert_allclose(ours, published, atol=0.02)


@pytest.mark.parametrize("month_clearness", [0.3, 0.5, 0.65])
def test_days_follow_each_other_as_published(month_clearness):
    """Day-to-day correlation 0.29 of the mapped series (Graham et al. 1988), and the distribution's spread.

    Between ranks 0.29 is 6/π·asin(0.29/2) = 0.28. That each month keeps its sum takes away what its days
    would have in common: of n = 30 days (1 + 3·0.28)/n = 0.06 (bias of a sample's correlation, Kendall 1954).
    """
    climate = at_clearness(month_clearness)
    clearness = np.concatenate([daily_clearness(made_year(climate, PLACE, seed)) for seed in range(6)])
    rank = np.argsort(np.argsort(clearness)) / len(clearness)
    correlation = np.corrcoef(rank[1:], rank[:-1])[0, 1]
    assert correlation == pytest.approx(0.22, abs=0.05)
    share = (np.arange(500) + 0.5) / 500
    means = np.full(500, month_clearness)
    ideal = bendt_quantile(share, means, np.full(500, 0.05), highest_clearness(means))
    assert clearness.std() == pytest.approx(ideal.std(), rel=0.1)


def outside_of_hours(start):
    hours = sun_hours(PLACE, start, 1.0)
    return extraterrestrial(start) * np.where(hours.sun_up, np.sin(np.radians(hours.elevation_deg)), 0.0)


def at_clearness(clearness):
    outside = outside_of_hours(made_year(CLIMATE_OF_NOTHING, PLACE, 0).start)
    return replace(CLIMATE, ghi_kwh_per_m2_day=clearness * monthly_mean(outside) * 0.024)


def daily_clearness(year):
    outside = outside_of_hours(year.start)
    return year.ghi.reshape(365, 24).sum(axis=1) / outside.reshape(365, 24).sum(axis=1)


@pytest.mark.parametrize("latitude", [10.0, 38.5, 50.0])
@pytest.mark.parametrize("clearness", [0.2, 0.4, 0.6, 0.75])
def test_mean_course_gives_back_the_clearness_of_the_day(latitude, clearness):
    """The published course, weighted with the light outside the air, is the day's clearness to 0.04."""
    start = made_year(CLIMATE_OF_NOTHING, PLACE, 0).start
    hours = sun_hours(replace(PLACE, latitude_deg=latitude), start, 1.0)
    height = np.sin(np.radians(hours.elevation_deg[hours.sun_up & (hours.elevation_deg > 1.0)]))
    course = mean_course(np.full_like(height, clearness), height)
    assert np.average(course, weights=height) == pytest.approx(clearness, abs=0.04)


def test_impossible_months_are_all_named():
    ghi = CLIMATE.ghi_kwh_per_m2_day.copy()
    ghi[[0, 11]] = 6.0
    with pytest.raises(InputError) as caught:
        made_year(replace(CLIMATE, ghi_kwh_per_m2_day=ghi), PLACE, 1)
    keys = [fault.key for fault in caught.value.faults]
    assert keys == ["site.climate.ghi_kwh_per_m2_day[0]", "site.climate.ghi_kwh_per_m2_day[11]"]
    assert "light outside the air" in caught.value.faults[0].accepted


def test_polar_night_stays_dark_and_rounded_faint_months_are_cut():
    north = Location("test", 71.0, 21.4, 10.0, "Etc/GMT-1")
    ghi = np.array([0.05, 0.5, 1.8, 3.9, 4.9, 5.0, 4.8, 3.2, 1.7, 0.6, 0.1, 0.0])
    year = made_year(replace(CLIMATE, ghi_kwh_per_m2_day=ghi), north, 1)
    assert year.ghi[MONTH_OF_HOUR == 11].sum() == 0.0
    assert any("ghi_kwh_per_m2_day[0]" in note for note in year.notes)
    made = monthly_mean(year.ghi) * 0.024
    np.testing.assert_allclose(made[1:10], ghi[1:10], rtol=1e-3)
    assert made[0] < 0.05


def test_southern_summer_is_in_january():
    south = Location("test", -36.0, 140.2, 80.0, "Etc/GMT-9")
    climate = Climate(np.roll(CLIMATE.ghi_kwh_per_m2_day, 6), np.roll(CLIMATE.air_c, 6), CLIMATE.wind_m_s)
    year = made_year(climate, south, 2)
    assert monthly_mean(year.ghi)[0] > 3.0 * monthly_mean(year.ghi)[6]
    assert year.dni.reshape(365, 24)[MONTH_OF_DAY == 0].sum(axis=1).max() > 6000.0


def test_warmest_in_the_afternoon_and_more_so_on_clear_days():
    year = made_year(CLIMATE, PLACE, 1)
    by_day = year.air_c.reshape(365, 24)
    assert by_day.mean(axis=0).argmax() in (14, 15)
    swing = np.ptp(by_day, axis=1)
    assert np.corrcoef(swing, daily_clearness(year))[0, 1] > 0.7


def test_wind_is_rayleigh():
    """A Rayleigh distribution's spread is 0.5227 of its mean (√(4/π − 1))."""
    wind = np.concatenate([made_year(CLIMATE, PLACE, seed).wind_m_s / 3.17 for seed in range(4)])
    assert wind.std() / wind.mean() == pytest.approx(0.5227, rel=0.06)
    assert wind.min() >= 0.0


def test_notes_name_the_method_and_the_seed():
    year = made_year(CLIMATE, PLACE, 7)
    assert "seed 7" in year.source
    assert "Graham" in year.notes[0]
    assert "Bendt" in year.notes[0]
