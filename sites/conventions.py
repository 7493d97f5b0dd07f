"""The one glossary: axes, angles, units, symbols, tolerances.

Frame
    Metres; x east, y north, z up.
Azimuth
    Degrees clockwise from north: 0 north, 90 east, 180 south, 270 west.
Tilt
    Degrees from the horizontal; 0 faces the zenith, 90 stands upright.
Elevation
    Of the sun or of a skyline, degrees above the horizontal; the sun's is apparent (refracted).
Irradiance
    W/m²; yearly sums of it are irradiation, kWh/m². Energy in kWh.
Time
    UTC inside the program. A record stands for its whole interval.
Symbols in formulas
    s  unit vector toward the sun            n  unit normal of a surface
    o  unit vector toward the receiver       h  unit normal of a mirror facet
    θ  angle of incidence                    β  tilt
    γ  azimuth                               ω  hour angle, δ declination
    GHI, DNI, DHI  global horizontal, direct normal, diffuse horizontal irradiance
"""

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
Float32Array = NDArray[np.float32]
BoolArray = NDArray[np.bool_]
IntArray = NDArray[np.int64]

SOLAR_CONSTANT_W_M2 = 1361.0
"""Kopp & Lean, Geophys. Res. Lett. 38 (2011) L01706."""

LENGTH_TOLERANCE_M = 1e-6
"""Below this two plan coordinates are the same point."""


def unit_vector(elevation_deg: FloatArray | float, azimuth_deg: FloatArray | float) -> FloatArray:
    """Unit vectors toward a direction in the sky.

    elevation_deg, azimuth_deg : (...) float [deg]
    Returns (..., 3) float [-].

    >>> unit_vector(0.0, 90.0).round(12).tolist()
    [1.0, 0.0, 0.0]
    """
    el = np.radians(np.asarray(elevation_deg, dtype=np.float64))
    az = np.radians(np.asarray(azimuth_deg, dtype=np.float64))
    return np.stack([np.cos(el) * np.sin(az), np.cos(el) * np.cos(az), np.sin(el)], axis=-1)


def elevation_azimuth(vectors: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Elevation and azimuth, degrees, of direction vectors (..., 3) of any length."""
    v = np.asarray(vectors, dtype=np.float64)
    elevation = np.degrees(np.arctan2(v[..., 2], np.hypot(v[..., 0], v[..., 1])))
    return elevation, np.degrees(np.arctan2(v[..., 0], v[..., 1])) % 360.0
