"""A site: place, albedo, skyline, plot and where its weather comes from."""

from dataclasses import dataclass
from pathlib import Path
from typing import Literal

from sites.conventions import FloatArray
from sites.plot import Plot
from sites.skyline import Skyline


@dataclass(frozen=True)
class Location:
    """A place on Earth.

    latitude_deg, longitude_deg : [deg] north and east positive, WGS 84
    elevation_m : [m] above sea level
    time_zone : IANA name of the clock that results are told in
    """

    name: str
    latitude_deg: float
    longitude_deg: float
    elevation_m: float
    time_zone: str


@dataclass(frozen=True, eq=False)
class Climate:
    """Twelve monthly means, January first.

    ghi_kwh_per_m2_day : (12,) float [kWh/m² a day] global horizontal irradiation
    air_c : (12,) float [°C];  wind_m_s : (12,) float [m/s] 10 m above ground
    """

    ghi_kwh_per_m2_day: FloatArray
    air_c: FloatArray
    wind_m_s: FloatArray


@dataclass(frozen=True, eq=False)
class WeatherSource:
    """Where the weather year comes from: a file, or a year made from a climate.

    path : the file, or None
    label : what a plain CSV file's stamps mark of their interval, or None where not said
    climate, seed : for the made year
    """

    path: Path | None
    label: Literal["start", "middle", "end"] | None
    climate: Climate | None
    seed: int = 1


@dataclass(frozen=True, eq=False)
class Site:
    """Where.

    albedo : (12,) float [-] by month, or None: the weather file's column where it has one, else 0.2
    plot : None where the plan has none
    warnings : lines about what looks wrong but may be meant
    """

    location: Location
    albedo: FloatArray | None
    skyline: Skyline
    plot: Plot | None
    weather: WeatherSource
    warnings: tuple[str, ...] = ()
