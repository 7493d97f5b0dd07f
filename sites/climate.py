"""An hourly year made from twelve monthly means.

Day by day: clearness (the day's GHI over the light outside the air) has the distribution of Bendt,
Collares-Pereira & Rabl, Solar Energy 27 (1981) 1, between 0.05 and the upper limit of Hollands & Huget, Solar
Energy 30 (1983) 195; one day follows the other as a Gaussian series with correlation 0.29 that is mapped onto
it (Graham, Hollands & Le Brun, Solar Energy 40 (1988) 83).

Hour by hour: Graham & Hollands, Solar Energy 44 (1990) 333: a mean course of clearness through the day and a
Gaussian series with correlation 0.54 around it, mapped onto a beta distribution. Their coefficients are from
memory; that the mean course gives back the day's clearness is tested. GHI is then split by Erbs-Driesse
(Driesse, Jensen & Perez, Solar Energy 267 (2024) 112093) through pvlib.

Departures, ours: the days of a month are shifted together, and its hours scaled, so that the monthly sums are
exactly those given. Air: a smooth course through the monthly means and a swing over the day in proportion to
the day's clearness, without warmer and colder spells. Wind: hours from a Rayleigh distribution (common
practice, no source) with an hour-to-hour correlation of 0.85 (ours).

Known limits, against the two station years that the tests use: daily clearness spreads a fifth to a quarter
too wide (0.19 where the stations have 0.16), and with it the year's DNI is 15 to 21 % above that of the real
GHI split the same way. As the split itself is 9 to 21 % below the files' DNI, the made year ends within 5 %
of them. A tilted plane's year agrees with the real GHI, split, to 1.5 % in the mean. The coldest hour is 5 to
10 K too warm, so do not take the highest voltage from a made year.
"""

import numpy as np
import pandas as pd
from pvlib.irradiance import erbs_driesse
from scipy.signal import lfilter
from scipy.special import ndtr
from scipy.stats import beta

from sites.conventions import FloatArray, unit_vector
from sites.errors import Fault, InputError
from sites.plain_csv import standard_offset_h
from sites.site import Climate, Location
from sites.sun import equatorial, extraterrestrial, sun_hours, sun_position
from sites.weather import WeatherYear
from sites.weather_table import TYPICAL_YEAR

MONTH_DAYS = np.array([31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31])
MONTH_OF_DAY = np.repeat(np.arange(12), MONTH_DAYS)
MONTH_OF_HOUR = np.repeat(MONTH_OF_DAY, 24)

DAY_CORRELATION = 0.29
HOUR_CORRELATION = 0.54
WIND_CORRELATION = 0.85

LOWEST_CLEARNESS = 0.05
HIGHEST_MEAN_CLEARNESS = 0.85
"""No place on Earth has a month clearer than this; ours."""

CLEAREST_HOUR = 0.82
CLEAREST_HOUR_PER_KM = 0.02
"""Clearness that an hour can reach at the sea, and what thinner air adds: ours. The stations of the tests
reach 0.80 and 0.79, and with 0.82 the year's strongest DNI is theirs to 4 %; the published 0.88 gives 10 %
more."""

FAINT_KWH_PER_M2_DAY = 0.2
"""Months with less light than this outside the air are near the polar night: their figures are mostly
rounding."""

SWING_K = 15.0
"""Swing of the air over a day of clearness 1, from lowest to highest: ours, near that of an inland place
(17.5 at one station of the tests); by the sea it is less (4 at the other), and days come out too warm."""
WARMEST_H = 15.0
"""Solar time of the day's highest air temperature: common practice, no source."""


def made_year(climate: Climate, location: Location, seed: int) -> WeatherYear:
    """A year of hours whose monthly sums of GHI and monthly means of air and wind are those of ``climate``.

    seed : the same seed, climate and place give the same year
    Raises InputError with every month that holds more light than can reach the ground.
    """
    rng = np.random.default_rng(seed)
    offset = standard_offset_h(location.time_zone)
    first = pd.Timestamp(TYPICAL_YEAR, 1, 1, tz="UTC") - pd.Timedelta(hours=offset)
    start = pd.date_range(first, periods=8760, freq="h")
    hours = sun_hours(location, start, 1.0)
    outside = np.where(hours.sun_up, extraterrestrial(start) * _mean_height(location, start), 0.0)
    outside_day = outside.reshape(365, 24).sum(axis=1) / 1000.0
    wanted, notes = _wanted_sums(climate, outside_day)

    clearness = _daily_clearness(wanted, outside_day, rng)
    height = np.where(hours.sun_up, np.sin(np.radians(hours.elevation_deg)), 0.0)
    sun = unit_vector(hours.elevation_deg, hours.azimuth_deg)
    hour_angle = equatorial(location.latitude_deg, sun)[1]
    ratio = _hourly_clearness(np.repeat(clearness, 24), height, hour_angle, rng)
    clearest = min(CLEAREST_HOUR + CLEAREST_HOUR_PER_KM * max(location.elevation_m, 0.0) / 1000.0, 0.9)
    ghi = _scaled(ratio, outside, clearness * outside_day, wanted, clearest)
    split = erbs_driesse(ghi, 90.0 - hours.elevation_deg, dni_extra=extraterrestrial(start))
    dni = np.where(hours.sun_up, split["dni"], 0.0)
    return WeatherYear(
        start,
        1.0,
        ghi=ghi,
        dni=dni,
        dhi=ghi - dni * height,
        air_c=_air(climate.air_c, clearness, location, start),
        wind_m_s=_wind(climate.wind_m_s, rng),
        albedo=None,
        source=f"a year made from twelve monthly means, seed {seed}",
        notes=(
            "weather: made from monthly means (daily clearness after Bendt et al. and Graham et al., hours "
            "after Graham & Hollands, split by Erbs-Driesse): months are right, single hours are no record",
            *notes,
        ),
    )


def _mean_height(location: Location, start: pd.DatetimeIndex) -> FloatArray:
    """Mean over each hour of the sine of the sun's elevation, 0 while it is down, (n,)."""
    half = pd.date_range(start[0], periods=2 * len(start) + 1, freq="30min")
    sine = np.sin(np.radians(sun_position(location, half)[0]))
    a, m, b = sine[:-1:2], sine[1::2], sine[2::2]
    whole = (a + 4.0 * m + b) / 6.0
    return np.where(
        np.minimum(np.minimum(a, b), m) > 0.0, whole, 0.5 * (_mean_above_zero(a, m) + _mean_above_zero(m, b))
    )


def _mean_above_zero(a: FloatArray, b: FloatArray) -> FloatArray:
    """Mean of the part above 0 of a straight line from a to b."""
    high, low = np.maximum(a, b), np.minimum(a, b)
    crossing = np.maximum(high, 0.0) ** 2 / np.where(low < 0.0, 2.0 * np.maximum(high - low, 1e-12), 1.0)
    return np.where(low < 0.0, crossing, 0.5 * (a + b))


def _month_sums(daily: FloatArray) -> FloatArray:
    return np.bincount(MONTH_OF_DAY, weights=daily, minlength=12).astype(np.float64)


def _wanted_sums(climate: Climate, outside_day: FloatArray) -> tuple[FloatArray, list[str]]:
    """GHI of each month [kWh/m²], and what was changed. Raises InputError for impossible months."""
    outside = _month_sums(outside_day)
    wanted = climate.ghi_kwh_per_m2_day * MONTH_DAYS
    most = HIGHEST_MEAN_CLEARNESS * outside
    faint = outside < FAINT_KWH_PER_M2_DAY * MONTH_DAYS
    faults = [
        Fault(
            "plan",
            f"site.climate.ghi_kwh_per_m2_day[{m}]",
            f"{climate.ghi_kwh_per_m2_day[m]:g}",
            f"up to {most[m] / MONTH_DAYS[m]:.2f}, {HIGHEST_MEAN_CLEARNESS:.0%} of the light outside the air",
        )
        for m in np.flatnonzero((wanted > most) & ~faint)
    ]
    if faults:
        raise InputError(faults)
    cut = np.flatnonzero((wanted > most) & faint)
    notes = [
        f"site.climate.ghi_kwh_per_m2_day[{m}]: {climate.ghi_kwh_per_m2_day[m]:g} is more than the faint sun "
        f"of that month gives; {most[m] / MONTH_DAYS[m]:.3f} is used"
        for m in cut
    ]
    return np.minimum(wanted, most), notes


def _series(rng: np.random.Generator, n: int, correlation: float) -> FloatArray:
    """Gaussian series of mean 0 and spread 1 in which each value has this correlation with the one before."""
    noise = rng.standard_normal(n)
    noise[1:] *= np.sqrt(1.0 - correlation**2)
    return np.asarray(lfilter([1.0], [1.0, -correlation], noise), dtype=np.float64)


def highest_clearness(mean: FloatArray) -> FloatArray:
    """Upper limit of a month's daily clearness from its mean (Hollands & Huget 1983)."""
    return 0.6313 + 0.267 * mean - 11.9 * (mean - 0.75) ** 8


def bendt_quantile(share: FloatArray, mean: FloatArray, low: FloatArray, high: FloatArray) -> FloatArray:
    """Clearness that a share of the days stays below; all arguments of one shape.

    Bendt's distribution is exponential, cut off at ``low`` and ``high``; its steepness follows from its mean,
    which is solved for here in place of a fitted formula.
    """
    x = _steepness((mean - low) / (high - low))
    down = np.log1p(share * np.expm1(np.minimum(x, 0.0))) / np.minimum(x, -1e-6)
    up = 1.0 + np.log(share + (1.0 - share) * np.exp(-np.maximum(x, 0.0))) / np.maximum(x, 1e-6)
    return low + (high - low) * np.where(x < 0.0, down, up)


def _steepness(relative_mean: FloatArray) -> FloatArray:
    """x for which exp(x·t) on 0 ≤ t ≤ 1 has its centre 1/(1 − e⁻ˣ) − 1/x at ``relative_mean``."""
    target = np.clip(relative_mean, 0.005, 0.995)
    low, high = np.full_like(target, -250.0), np.full_like(target, 250.0)
    for _ in range(60):
        x = 0.5 * (low + high)
        x = np.where(np.abs(x) < 1e-6, 1e-6, x)
        too_low = 1.0 / -np.expm1(-x) - 1.0 / x < target
        low, high = np.where(too_low, x, low), np.where(too_low, high, x)
    return 0.5 * (low + high)


def _daily_clearness(wanted: FloatArray, outside_day: FloatArray, rng: np.random.Generator) -> FloatArray:
    """Clearness of each day, (365,), whose monthly GHI sums are ``wanted`` (12,) [kWh/m²]."""
    outside = _month_sums(outside_day)
    mean = np.divide(wanted, outside, out=np.zeros(12), where=outside > 0.0)
    high = np.maximum(highest_clearness(mean), 0.0)
    # No room for a distribution: very dark or very clear months, and those near the polar night.
    even = (mean < LOWEST_CLEARNESS + 0.02) | (mean > high - 0.02) | (outside < FAINT_KWH_PER_M2_DAY * MONTH_DAYS)
    high = np.where(even, 1.0, high)
    limits = np.where(even, 0.5, mean)[MONTH_OF_DAY], np.full(365, LOWEST_CLEARNESS), high[MONTH_OF_DAY]
    chance = _series(rng, 365, DAY_CORRELATION)
    low_shift, high_shift = np.full(12, -6.0), np.full(12, 6.0)
    for _ in range(50):
        shift = 0.5 * (low_shift + high_shift)
        clearness = bendt_quantile(ndtr(chance + shift[MONTH_OF_DAY]), *limits)
        too_dark = _month_sums(clearness * outside_day) < wanted
        low_shift, high_shift = np.where(too_dark, shift, low_shift), np.where(too_dark, high_shift, shift)
    return np.where(even[MONTH_OF_DAY], mean[MONTH_OF_DAY], clearness)


def mean_course(day: FloatArray, height: FloatArray) -> FloatArray:
    """Mean clearness of an hour from the day's clearness and the sine of the sun's elevation (above 0).

    Graham & Hollands 1990: λ + ε·exp(−κ/sin h).
    """
    base = day - 1.167 * day**3 * (1.0 - day)
    depth = 1.141 * (1.0 - day) / day
    return base + 0.979 * (1.0 - day) * np.exp(-depth / height)


def _hourly_clearness(
    day: FloatArray, height: FloatArray, hour_angle_deg: FloatArray, rng: np.random.Generator
) -> FloatArray:
    """Clearness of each hour, (n,), 0 where the sun is down, before the day's sum is put right.

    Spread around the mean course: 0.16·sin(π·Kt/0.90). Highest: 0.88·cos(π·(t − 12)/30), t in solar hours.
    """
    chance = ndtr(_series(rng, len(day), HOUR_CORRELATION))
    up = (height > 0.0) & (day > 0.0)
    day, height, chance = day[up], height[up], chance[up]
    course = mean_course(day, height)
    high = np.maximum(0.88 * np.cos(np.radians(0.4 * hour_angle_deg[up])), course + 0.02)
    mean = np.clip(course / high, 0.01, 0.99)
    spread = 0.16 * np.sin(np.pi * np.minimum(day, 0.89) / 0.90) / high
    spread = np.clip(spread, 0.01, 0.7 * np.sqrt(mean * (1.0 - mean)))  # so that the beta has one hump or none
    weight = mean * (1.0 - mean) / spread**2 - 1.0
    result = np.zeros(len(up))
    result[up] = high * beta.ppf(chance, mean * weight, (1.0 - mean) * weight)
    return result


def _scaled(
    ratio: FloatArray, outside: FloatArray, day_kwh: FloatArray, month_kwh: FloatArray, clearest: float
) -> FloatArray:
    """GHI (8760,) [W/m²]: hours scaled to the day's sum, none above ``clearest`` of the light outside the
    air; then the months to theirs, which makes up for what the limit left over.
    """
    for _ in range(6):
        ghi = ratio * outside
        sums = ghi.reshape(365, 24).sum(axis=1) / 1000.0
        factor = np.divide(day_kwh, sums, out=np.zeros(365), where=sums > 0.0)
        ratio = np.minimum(ratio * np.repeat(factor, 24), clearest)
    ghi = ratio * outside
    sums = np.bincount(MONTH_OF_HOUR, weights=ghi, minlength=12) / 1000.0
    return ghi * np.divide(month_kwh, sums, out=np.zeros(12), where=sums > 0.0)[MONTH_OF_HOUR]


def _air(monthly: FloatArray, clearness: FloatArray, location: Location, start: pd.DatetimeIndex) -> FloatArray:
    """Air temperature (8760,) [°C]: straight lines between mid-months, set so that every month's mean is the
    given one, and a cosine over the day.
    """
    middle = np.cumsum(MONTH_DAYS) - 0.5 * MONTH_DAYS
    day = np.arange(8760) / 24.0
    # Column j: the course with 1 in the middle of month j and 0 in the others.
    courses = np.stack([np.interp(day, middle, row, period=365.0) for row in np.eye(12)], axis=1)
    means = np.stack([np.bincount(MONTH_OF_HOUR, weights=c) for c in courses.T], axis=1)
    at_middle = np.linalg.solve(means / (24.0 * MONTH_DAYS)[:, None], monthly)
    utc_hour = (start - start.normalize()) / pd.Timedelta(hours=1) + 0.5
    solar_hour = np.asarray(utc_hour, dtype=np.float64) + location.longitude_deg / 15.0
    swing = SWING_K * np.interp(day, np.arange(365) + 0.5, clearness, period=365.0)
    return courses @ at_middle + 0.5 * swing * np.cos(2.0 * np.pi * (solar_hour - WARMEST_H) / 24.0)


def _wind(monthly: FloatArray, rng: np.random.Generator) -> FloatArray:
    """Wind (8760,) [m/s] with the given monthly means."""
    chance = ndtr(-_series(rng, 8760, WIND_CORRELATION))
    wind = np.sqrt(-np.log(np.maximum(chance, 1e-12)))
    means = np.bincount(MONTH_OF_HOUR, weights=wind) / (24.0 * MONTH_DAYS)
    return wind * (monthly / means)[MONTH_OF_HOUR]
