"""Monthly means against the sunlight above the air: refused beyond it, warned of near it."""

import numpy as np

from sites.conventions import FloatArray
from sites.errors import Fault
from sites.site import Climate

CLEAR_AIR = 0.8
"""More than this share of the sunlight above the air hardly reaches the ground as a monthly mean."""

MARGIN_KWH = 0.1
"""For the mean day of a month against all its days, kWh/m² a day."""


def check_climate(climate: Climate, latitude_deg: float, file: str, faults: list[Fault], warnings: list[str]) -> None:
    """Refuses more light than reaches the top of the air, warns above what clear air lets through."""
    above_air = daily_extraterrestrial_kwh_m2(latitude_deg)
    for month in range(12):
        ghi, limit = float(climate.ghi_kwh_per_m2_day[month]), float(above_air[month])
        key = f"site.climate.ghi_kwh_per_m2_day[{month}]"
        if ghi > limit + MARGIN_KWH:
            accepted = f"up to {limit:.2f}, the sunlight above the air in month {month + 1}"
            faults.append(Fault(file, key, f"{ghi:g}", accepted))
        elif ghi > CLEAR_AIR * limit + MARGIN_KWH:
            warnings.append(f"{key}: {ghi:g} is {ghi / limit:.0%} of the sunlight above the air")


def daily_extraterrestrial_kwh_m2(latitude_deg: float) -> FloatArray:
    """Sunlight above the air on the horizontal, (12,) [kWh/m² a day], on the mean day of each month.

    Duffie & Beckman, Solar Engineering of Thermal Processes, eq. 1.10.3, with Klein's mean days (Solar Energy
    19 (1977) 325).
    """
    day = np.array([17, 47, 75, 105, 135, 162, 198, 228, 258, 288, 318, 344], dtype=np.float64)
    declination = np.radians(23.45 * np.sin(np.radians(360.0 * (284.0 + day) / 365.0)))
    phi = np.radians(np.clip(latitude_deg, -89.9, 89.9))
    sunset = np.arccos(np.clip(-np.tan(phi) * np.tan(declination), -1.0, 1.0))
    normal = 1.361 * (1.0 + 0.033 * np.cos(np.radians(360.0 * day / 365.0)))
    lift = np.cos(phi) * np.cos(declination) * np.sin(sunset) + sunset * np.sin(phi) * np.sin(declination)
    return 24.0 / np.pi * normal * lift
