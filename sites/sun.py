"""Sun positions, where the sun stands in each weather interval, and the sun grid.

Positions: SPA, Reda & Andreas, NREL/TP-560-34302 (rev. 2008), through pvlib; apparent (refracted) elevation.

Sun grid: directions on a net of declination × hour angle. Light is linear and smooth from one direction
to the next, so what a scene does with the sun needs working out at a few hundred grid directions only;
every hour is then a weighted sum of the four nodes around it.
"""

from dataclasses import dataclass

import numpy as np
import pandas as pd
import scipy.sparse
from pvlib.atmosphere import alt2pres
from pvlib.irradiance import get_extra_radiation
from pvlib.solarposition import spa_python

from sites.conventions import (
    SOLAR_CONSTANT_W_M2,
    BoolArray,
    FloatArray,
    IntArray,
    elevation_azimuth,
    unit_vector,
)
from sites.site import Location

FASTEST_CLIMB_DEG_PER_H = 15.1
"""The sky turns 15.04° an hour and refraction near the horizon only slows the sun."""

CROSSING_STEPS = 6
"""Parts into which an interval with sunrise or sunset is cut; the path is taken as straight inside a part.
Against 360 parts, a year of hours: 6 parts misplace the sun by at most 0.003° in elevation up to latitude 55
and 0.013° where it grazes the horizon (latitude 66); 4 parts by 0.005° and 0.07°. A dip or an appearance of
less than a part, 10 minutes of an hour, may be overlooked."""

AIR_C = 12.0
"""Air temperature for the refraction, pvlib's default; 30 °C would move a sun at the horizon by 0.03°."""


@dataclass(frozen=True, eq=False)
class Hours:
    """Where the sun stands in each interval of a year.

    start : DatetimeIndex (n,) UTC, beginning of the intervals
    hours : float [h] length of every interval
    elevation_deg, azimuth_deg : (n,) float [deg] apparent position at the middle of the part of the interval
        in which the sun is up; at the middle of the interval where it is never up
    sun_up : (n,) bool, the sun is above the level horizon during a part of the interval
    """

    start: pd.DatetimeIndex
    hours: float
    elevation_deg: FloatArray
    azimuth_deg: FloatArray
    sun_up: BoolArray

    def select(self, index: IntArray | BoolArray) -> "Hours":
        """The chosen intervals only."""
        return Hours(
            self.start[index],
            self.hours,
            self.elevation_deg[index],
            self.azimuth_deg[index],
            self.sun_up[index],
        )


def _spa(location: Location, times: pd.DatetimeIndex) -> pd.DataFrame:
    """SPA's own table for the times; not for an empty list."""
    return spa_python(
        times,
        location.latitude_deg,
        location.longitude_deg,
        altitude=location.elevation_m,
        pressure=float(alt2pres(location.elevation_m)),
        temperature=AIR_C,
        how="numpy",
    )


def sun_position(location: Location, times: pd.DatetimeIndex) -> tuple[FloatArray, FloatArray]:
    """Apparent elevation and azimuth of the sun.

    times : DatetimeIndex (n,) with a zone (UTC inside the program)
    Returns elevation (n,) and azimuth (n,) [deg], refracted for 12 °C and the mean pressure at the place.
    """
    if len(times) == 0:
        return np.zeros(0), np.zeros(0)
    table = _spa(location, times)
    return table["apparent_elevation"].to_numpy(np.float64), table["azimuth"].to_numpy(np.float64)


def _above_horizon(location: Location, times: pd.DatetimeIndex) -> FloatArray:
    """How far the sun stands above the point where it is seen at the horizon, (n,) [deg].

    The sign is that of the apparent elevation. SPA drops its refraction a little below the horizon, with a
    jump of 0.6°; here the true elevation is lifted by what refraction amounts to at the horizon itself (SPA
    eq. 42, solved for an apparent elevation of 0), so that crossings can be interpolated.
    """
    scale = float(alt2pres(location.elevation_m)) / 101000.0 * 283.0 / (273.0 + AIR_C) * 1.02 / 60.0
    lift = 0.0
    for _ in range(12):  # contracts by a factor of 6 a turn
        lift = scale / float(np.tan(np.radians(-lift + 10.3 / (-lift + 5.11))))
    return _spa(location, times)["elevation"].to_numpy(np.float64) + lift


def sun_hours(location: Location, start: pd.DatetimeIndex, interval_h: float) -> Hours:
    """The sun at the middle of the part of each interval in which it is up.

    start : DatetimeIndex (n,) with a zone, beginning of the intervals, in any order
    interval_h : length of every interval [h], at most 3
    """
    if not 0.0 < interval_h <= 3.0:
        raise ValueError(f"interval_h: found {interval_h!r}; accepted: above 0, at most 3 hours")
    n = len(start)
    edge = _elevation_at_edges(location, start, interval_h)
    # A sun that reaches the horizon inside the interval needs time to get there from one edge and on to
    # the other.
    near = np.flatnonzero(np.abs(edge).sum(axis=1) <= FASTEST_CLIMB_DEG_PER_H * interval_h)
    sun_up = edge[:, 0] > 0.0
    middle = np.full(n, 0.5)
    if near.size:
        fraction = np.linspace(0.0, 1.0, CROSSING_STEPS + 1)
        later = pd.to_timedelta(np.tile(fraction[1:-1] * interval_h * 3600.0, near.size), unit="s").round("ms")
        inner = _above_horizon(location, start[near].repeat(CROSSING_STEPS - 1) + later)
        elevation = np.column_stack([edge[near, 0], inner.reshape(near.size, -1), edge[near, 1]])
        sun_up[near], middle[near] = _middle_of_up_part(elevation, fraction)
    times = start + pd.to_timedelta(middle * interval_h * 3600.0, unit="s").round("ms")
    elevation_deg, azimuth_deg = sun_position(location, times)
    # The middle of a very short appearance may come out a hair below the horizon.
    elevation_deg = np.where(sun_up, np.maximum(elevation_deg, 0.0), elevation_deg)
    return Hours(start, float(interval_h), elevation_deg, azimuth_deg, sun_up)


def _elevation_at_edges(location: Location, start: pd.DatetimeIndex, interval_h: float) -> FloatArray:
    """Elevation above the apparent horizon at the beginning and the end of each interval, (n, 2) [deg].

    In a gapless year one interval's end is the next one's beginning, so each time is asked for once.
    """
    end = start + pd.Timedelta(hours=interval_h)
    times, place = np.unique(np.concatenate([start.asi8, end.asi8]), return_inverse=True)
    unique_times = pd.DatetimeIndex(times.view(f"M8[{start.unit}]")).tz_localize("UTC")
    elevation = _above_horizon(location, unique_times)[place]
    return elevation.reshape(2, -1).T


def _middle_of_up_part(elevation: FloatArray, fraction: FloatArray) -> tuple[BoolArray, FloatArray]:
    """Whether the sun is up in an interval at all and the middle of the part in which it is.

    elevation : (n, f) float [deg] at the fractions (f,) of the interval
    Returns (n,) bool and (n,) float, a fraction of the interval. Where a midnight sun dips below the horizon
    inside the interval, the longer of the two parts counts.
    """
    before, after = elevation[:, :-1], elevation[:, 1:]
    rises, sets = (before <= 0.0) & (after > 0.0), (before > 0.0) & (after <= 0.0)
    crosses = rises | sets
    climb = np.where(crosses, after - before, 1.0)
    when = fraction[:-1] + np.diff(fraction) * np.where(crosses, -before / climb, 0.0)
    starts_up, ends_up = elevation[:, 0] > 0.0, elevation[:, -1] > 0.0
    first_rise = np.min(np.where(rises, when, 1.0), axis=1)
    last_rise = np.max(np.where(rises, when, 0.0), axis=1)
    first_set = np.min(np.where(sets, when, 1.0), axis=1)
    last_set = np.max(np.where(sets, when, 0.0), axis=1)
    dips = starts_up & ends_up & np.any(sets, axis=1)
    morning_is_longer = first_set > 1.0 - last_rise
    begin = np.where(dips, np.where(morning_is_longer, 0.0, last_rise), np.where(starts_up, 0.0, first_rise))
    end = np.where(dips, np.where(morning_is_longer, first_set, 1.0), np.where(ends_up, 1.0, last_set))
    is_up = np.any(elevation > 0.0, axis=1)
    return is_up, np.where(is_up, 0.5 * (begin + end), 0.5)


def extraterrestrial(start: pd.DatetimeIndex) -> FloatArray:
    """Sunlight above the air on a plane that faces the sun, (n,) [W/m²].

    Spencer's series for the distance of the sun (Search 2 (1971) 172) through pvlib.
    """
    extra = get_extra_radiation(start.day_of_year, solar_constant=SOLAR_CONSTANT_W_M2, method="spencer")
    return np.asarray(extra, dtype=np.float64)


@dataclass(frozen=True, eq=False)
class SunGrid:
    """Directions for which light is traced, and how each hour is put together from them.

    elevation_deg, azimuth_deg : (m,) float [deg] of the nodes, some up to a net cell below the horizon
    vectors : (m, 3) float [-] unit vectors toward the nodes
    weights : sparse (k, m) float [-]; at most four per hour, none negative; Σ w·s is the hour's unit vector
    """

    elevation_deg: FloatArray
    azimuth_deg: FloatArray
    vectors: FloatArray
    weights: scipy.sparse.csr_array


def sun_grid(
    latitude_deg: float,
    elevation_deg: FloatArray,
    azimuth_deg: FloatArray,
    hour_angle_step_deg: float = 5.0,
    n_declination: int = 13,
) -> SunGrid:
    """The net of declination × hour angle that spans the sun positions given, and the weights on it.

    elevation_deg, azimuth_deg : (k,) float [deg] apparent sun positions
    hour_angle_step_deg : widest step of the hour angle; shortened so that a whole number goes round
    n_declination : number of declinations, from the lowest to the highest that occur

    Declination and hour angle are worked back from the apparent positions, so that refraction, which lifts
    the low sun by up to half a degree, is inside the net. Weights are bilinear, then each hour's are
    multiplied by 1/|Σ w s|: the mean of directions is a little shorter than a direction, and so would be
    the light.
    Nodes that no hour uses are left out.
    """
    if not 0.0 < hour_angle_step_deg <= 30.0:
        raise ValueError(f"hour_angle_step_deg: found {hour_angle_step_deg!r}; accepted: above 0, at most 30")
    if n_declination < 2:
        raise ValueError(f"n_declination: found {n_declination!r}; accepted: 2 or more")
    sun = unit_vector(elevation_deg, azimuth_deg)
    k = len(sun)
    if k == 0:
        return SunGrid(np.zeros(0), np.zeros(0), np.zeros((0, 3)), scipy.sparse.csr_array((0, 0)))
    declination, hour_angle = equatorial(latitude_deg, sun)
    row, row_share, declinations = _declination_cells(declination, n_declination)
    n_turn = int(np.ceil(360.0 / hour_angle_step_deg))
    position = (hour_angle % 360.0) * (n_turn / 360.0)
    column = np.minimum(np.floor(position).astype(np.int64), n_turn - 1)
    column_share = position - column

    upper_row = np.minimum(row + 1, len(declinations) - 1)
    next_column = (column + 1) % n_turn
    node = np.stack(
        [
            row * n_turn + column,
            row * n_turn + next_column,
            upper_row * n_turn + column,
            upper_row * n_turn + next_column,
        ]
    )
    share = np.stack(
        [
            (1.0 - row_share) * (1.0 - column_share),
            (1.0 - row_share) * column_share,
            row_share * (1.0 - column_share),
            row_share * column_share,
        ]
    )
    used, compact = np.unique(node[share > 0.0], return_inverse=True)
    vectors = from_equatorial(latitude_deg, declinations[used // n_turn], (used % n_turn) * (360.0 / n_turn))
    hour = np.broadcast_to(np.arange(k), share.shape)[share > 0.0]
    bilinear = scipy.sparse.csr_array((share[share > 0.0], (hour, compact)), shape=(k, len(used)))
    length = np.linalg.norm(bilinear @ vectors, axis=1)
    weights = scipy.sparse.csr_array(scipy.sparse.diags_array(1.0 / length) @ bilinear)
    elevation, azimuth = elevation_azimuth(vectors)
    return SunGrid(elevation, azimuth, vectors, weights)


def _declination_cells(declination: FloatArray, n: int) -> tuple[IntArray, FloatArray, FloatArray]:
    """Net cell (k,) and place inside it (k,), 0 to 1, for each declination; the net's declinations [deg]."""
    low, high = float(declination.min()), float(declination.max())
    if high - low < 1e-9:
        return np.zeros(len(declination), dtype=np.int64), np.zeros(len(declination)), np.array([low])
    position = (declination - low) * ((n - 1) / (high - low))
    row = np.clip(np.floor(position).astype(np.int64), 0, n - 2)
    return row, np.clip(position - row, 0.0, 1.0), np.linspace(low, high, n)


def equatorial(latitude_deg: float, vectors: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Declination and hour angle (0 at the meridian toward the equator, afternoon positive), degrees.

    vectors : (k, 3) float [-] unit vectors in the frame of the site

    The frame is turned about the east axis so that its z axis points to the celestial north pole.

    >>> [a.round(9).tolist() for a in equatorial(90.0, unit_vector([20.0], [270.0]))]
    [[20.0], [90.0]]
    """
    phi = np.radians(latitude_deg)
    to_pole = vectors[:, 1] * np.cos(phi) + vectors[:, 2] * np.sin(phi)
    to_meridian = -vectors[:, 1] * np.sin(phi) + vectors[:, 2] * np.cos(phi)
    declination = np.degrees(np.arctan2(to_pole, np.hypot(to_meridian, vectors[:, 0])))
    return declination, np.degrees(np.arctan2(-vectors[:, 0], to_meridian))


def from_equatorial(latitude_deg: float, declination_deg: FloatArray, hour_angle_deg: FloatArray) -> FloatArray:
    """Unit vectors (m, 3) in the frame of the site; the inverse of ``equatorial``."""
    phi, delta, omega = np.radians(latitude_deg), np.radians(declination_deg), np.radians(hour_angle_deg)
    to_pole, to_meridian = np.sin(delta), np.cos(delta) * np.cos(omega)
    return np.stack(
        [
            -np.cos(delta) * np.sin(omega),
            to_pole * np.cos(phi) - to_meridian * np.sin(phi),
            to_pole * np.sin(phi) + to_meridian * np.cos(phi),
        ],
        axis=-1,
    )
