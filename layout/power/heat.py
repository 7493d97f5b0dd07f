"""Cell temperature from light, air and wind (Faiman)."""

import numpy as np

from sites.conventions import FloatArray

WIND_RECORD_HEIGHT_M = 10.0
"""Height at which weather files give the wind (WMO Guide No. 8, part I, chapter 5: from memory)."""

PANEL_HEIGHT_M = 2.0
"""Height at which panels feel the wind. Our assumption."""

WIND_EXPONENT = 1.0 / 7.0
"""Power law of wind over height on open ground (Justus & Mikhail, Geophys. Res. Lett. 3 (1976) 261-264: from
memory). That it holds between panels is our assumption; built-up or wooded ground slows the wind more."""


def wind_ratio(height_m: float = PANEL_HEIGHT_M) -> float:
    """Wind at ``height_m`` over wind at 10 m: (height / 10 m)^(1/7).

    >>> round(wind_ratio(), 3)
    0.795
    """
    return float((height_m / WIND_RECORD_HEIGHT_M) ** WIND_EXPONENT)


def cell_temperature(
    light_w_m2: FloatArray | float,
    air_c: FloatArray | float,
    wind_10m: FloatArray | float,
    u0: FloatArray | float = 25.0,
    u1: FloatArray | float = 6.84,
    height_m: float = PANEL_HEIGHT_M,
) -> FloatArray:
    """Cell temperature, °C, of a panel that takes up ``light_w_m2``.

    light_w_m2 : (...) float [W/m²] front plus rear light after the glass's angular loss (1 at normal
        incidence)
    air_c : (...) float [°C]; wind_10m : (...) float [m/s] at 10 m, reduced to ``height_m`` by `wind_ratio`
    u0 : [W/m²K], u1 : [W s/m³K] heat loss factors; electricity taken off is not subtracted
    All broadcast against each other.

    Source: Faiman, Prog. Photovolt. 16 (2008) 307-315, eq. 3: T = T_air + light / (u0 + u1 · wind).

    >>> float(cell_temperature(1000.0, 25.0, 0.0))
    65.0
    """
    wind = np.asarray(wind_10m) * wind_ratio(height_m)
    return np.asarray(air_c) + np.asarray(light_w_m2) / (u0 + u1 * wind)
