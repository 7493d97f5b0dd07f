"""What a year brings to a place, ready for every layout on it: weather, sky, sun grid."""

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from scipy.sparse import csr_array, eye_array

from layout.light.sky_parts import SkyParts, sky_matrix
from layout.pieces import Ground
from sites.conventions import FloatArray, IntArray, unit_vector
from sites.site import Site
from sites.sky import SkyYear, sky_year
from sites.sun import sun_grid
from sites.weather import WeatherYear

DEFAULT_ALBEDO = 0.2
"""Grass and soil; common practice, no source."""


@dataclass(frozen=True, eq=False)
class Conditions:
    """One year at one place; k sun-up hours, m sun directions.

    albedo : (k,) [-]; air_c, wind_m_s : (k,), wind as in the weather file (10 m)
    parts : what is traced; weights : (k, m) the hours' interpolation weights on parts.sun
    """

    site: Site
    weather: WeatherYear
    sky: SkyYear
    parts: SkyParts
    weights: csr_array
    albedo: FloatArray
    air_c: FloatArray
    wind_m_s: FloatArray

    @property
    def hour_kwh(self) -> float:
        """kWh (or kWh/m²) that 1 W (1 W/m²) over one record amounts to."""
        return self.weather.interval_h / 1000.0

    @property
    def ground(self) -> Ground:
        """The ground of the site. Its albedo is that of the hours; the field here is their mean."""
        plot = self.site.plot
        slope, downhill = (plot.slope_deg, plot.slope_azimuth_deg) if plot else (0.0, 180.0)
        return Ground(float(self.albedo.mean()), slope_deg=slope, slope_azimuth_deg=downhill)

    def matrix(self) -> csr_array:
        """The sky year in the columns of the light coefficients, (k, 2m + 4)."""
        return sky_matrix(self.weights, self.sky.beam, self.sky.dome, self.sky.horizon, self.albedo)

    def sun_light(self) -> FloatArray:
        """The year's beam from each sun direction, (m,) kWh/m² on a plane that faces it."""
        return np.asarray(self.weights.T @ self.sky.beam) * self.hour_kwh

    def picked(self, index: IntArray) -> "Conditions":
        """Only some hours, on the same sun grid."""
        names = ("beam", "dome", "horizon", "ghi", "dni", "dhi")
        sky = SkyYear(self.sky.sun.select(index), self.sky.index[index], *(getattr(self.sky, f)[index] for f in names))
        return replace(
            self,
            sky=sky,
            weights=csr_array(self.weights[index]),
            albedo=self.albedo[index],
            air_c=self.air_c[index],
            wind_m_s=self.wind_m_s[index],
        )

    def at_hours(self, index: IntArray) -> "Conditions":
        """Only some hours, each with its own true sun position as its one direction."""
        picked = self.picked(index)
        sun = picked.sky.sun
        vectors = unit_vector(sun.elevation_deg, sun.azimuth_deg)
        return replace(picked, parts=replace(self.parts, sun=vectors), weights=csr_array(eye_array(len(index))))

    def every_hour(self) -> "Conditions":
        """The same year without the sun grid: each hour's own sun position is traced (the brute-force truth)."""
        return self.at_hours(np.arange(len(self.sky.beam)))


def conditions(site: Site, weather: WeatherYear, bounces: int = 1) -> Conditions:
    """Work out a year at a site from its weather. bounces : reflectors that light may meet on its way to a cell."""
    plot = site.plot
    slope, downhill = (plot.slope_deg, plot.slope_azimuth_deg) if plot else (0.0, 180.0)
    sky = sky_year(weather, site.location, site.skyline, slope, downhill)
    grid = sun_grid(site.location.latitude_deg, sky.sun.elevation_deg, sky.sun.azimuth_deg)
    return Conditions(
        site=site,
        weather=weather,
        sky=sky,
        parts=SkyParts(grid.vectors, site.skyline, bounces=bounces),
        weights=grid.weights,
        albedo=_albedo(site, weather, sky),
        air_c=weather.air_c[sky.index],
        wind_m_s=weather.wind_m_s[sky.index],
    )


def local_clock(site: Site, start: pd.DatetimeIndex) -> pd.DatetimeIndex:
    """UTC starts of intervals on the site's own clock."""
    return start.tz_convert(site.location.time_zone)


def _albedo(site: Site, weather: WeatherYear, sky: SkyYear) -> FloatArray:
    """Albedo of each sun-up hour: the site's by month, else the weather file's, else the default."""
    if site.albedo is not None:
        return np.asarray(site.albedo)[local_clock(site, sky.sun.start).month - 1]
    if weather.albedo is not None:
        return np.asarray(weather.albedo)[sky.index]
    return np.full(len(sky.index), DEFAULT_ALBEDO)
