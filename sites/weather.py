"""The weather year: the record that every reader makes and everything downstream uses."""

from dataclasses import dataclass

import pandas as pd

from sites.conventions import FloatArray


@dataclass(frozen=True, eq=False)
class WeatherYear:
    """Weather of consecutive intervals of equal length, usually 8,760 hours.

    start : DatetimeIndex (n,) UTC, beginning of each interval
    interval_h : float [h]
    ghi, dni, dhi : (n,) float [W/m²] means over the interval
    air_c : (n,) float [°C];  wind_m_s : (n,) float [m/s] as in the source, usually 10 m above ground
    albedo : (n,) float [-] or None where the source has none
    source : where it comes from, in words
    notes : what the reader and the checks have to say, one line each
    """

    start: pd.DatetimeIndex
    interval_h: float
    ghi: FloatArray
    dni: FloatArray
    dhi: FloatArray
    air_c: FloatArray
    wind_m_s: FloatArray
    albedo: FloatArray | None
    source: str
    notes: tuple[str, ...] = ()
