"""Hourly weather to three kinds of light: beam, isotropic dome, horizon band.

The sky is that of Perez, Ineichen, Seals, Michalsky & Stewart (Solar Energy 44 (1990) 271) with the
continuous brightness coefficients of Driesse, Jensen & Perez (Solar Energy 267 (2024) 112093), which pvlib
evaluates:

    beam    = DNI + DHI·F1 / max(cos z, cos 85°)   comes from the sun's direction and is shaded with it
    dome    = DHI·(1 − F1)                         on the horizontal, from a sky of even brightness
    horizon = DHI·F2                               on an upright plane, from a thin ring at the horizon

so that a free plane of tilt β receives beam·cosθ + dome·(1 + cos β)/2 + horizon·sin β from the sky.
"""

from dataclasses import dataclass

import numpy as np
from pvlib.irradiance import perez_driesse

from sites.conventions import FloatArray, IntArray, unit_vector
from sites.site import Location
from sites.skyline import Skyline
from sites.sun import Hours, extraterrestrial, sun_hours
from sites.weather import WeatherYear

COS_85 = float(np.cos(np.radians(85.0)))
"""The published model lets the low sun's circumsolar light grow no further than this."""


@dataclass(frozen=True, eq=False)
class SkyYear:
    """Light of every sun-up interval of a year.

    sun : the k sun-up intervals
    index : (k,) int, their places in the weather year
    beam : (k,) float [W/m²] on a plane that faces the sun; 0 where the sun is behind the skyline or the slope
    dome : (k,) float [W/m²] on the horizontal, before any skyline
    horizon : (k,) float [W/m²] on an upright plane; often negative
    ghi, dni, dhi : (k,) float [W/m²] as in the weather year
    """

    sun: Hours
    index: IntArray
    beam: FloatArray
    dome: FloatArray
    horizon: FloatArray
    ghi: FloatArray
    dni: FloatArray
    dhi: FloatArray


def sky_components(
    elevation_deg: FloatArray, dni: FloatArray, dhi: FloatArray, dni_extra: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Beam, dome and horizon band, each (k,) [W/m²], of a sun at ``elevation_deg`` (k,), at least 0.

    The split does not depend on the plane; pvlib states it for one, so an upright one is asked for, whose
    share of the dome is one half and of the band is 1.
    """
    zenith = 90.0 - np.asarray(elevation_deg, dtype=np.float64)
    south = np.full_like(zenith, 180.0)
    parts = perez_driesse(90.0, 180.0, dhi, dni, dni_extra, zenith, south, return_components=True)
    dome = 2.0 * np.asarray(parts["poa_isotropic"], dtype=np.float64)
    circumsolar = np.asarray(dhi, dtype=np.float64) - dome
    beam = dni + circumsolar / np.maximum(np.cos(np.radians(zenith)), COS_85)
    return beam, dome, np.asarray(parts["poa_horizon"], dtype=np.float64)


def sky_year(
    weather: WeatherYear,
    location: Location,
    skyline: Skyline,
    slope_deg: float = 0.0,
    slope_azimuth_deg: float = 180.0,
) -> SkyYear:
    """The sky of a year at a place.

    slope_deg, slope_azimuth_deg : the ground plane [deg], azimuth of its downhill direction; it hides a sun
        that stands below it

    Intervals in which the sun is never up are left out, whatever light the weather year holds for them.
    """
    hours = sun_hours(location, weather.start, weather.interval_h)
    index = np.flatnonzero(hours.sun_up)
    sun = hours.select(index)
    ghi, dni, dhi = weather.ghi[index], weather.dni[index], weather.dhi[index]
    beam, dome, horizon = sky_components(sun.elevation_deg, dni, dhi, extraterrestrial(sun.start))
    slope, downhill = np.radians(slope_deg), np.radians(slope_azimuth_deg)
    ground = np.array([np.sin(slope) * np.sin(downhill), np.sin(slope) * np.cos(downhill), np.cos(slope)])
    # "At or above": a sun at the middle of a very short appearance stands at 0 and is up all the same.
    over_ground = unit_vector(sun.elevation_deg, sun.azimuth_deg) @ ground >= -1e-12
    free = over_ground & (sun.elevation_deg >= skyline.at(sun.azimuth_deg))
    return SkyYear(sun, index, np.where(free, beam, 0.0), dome, horizon, ghi, dni, dhi)
