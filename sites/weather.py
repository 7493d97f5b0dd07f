"""The weather year, and what can be said about its light by holding it against the sun.

The tests of single values and of GHI against DNI·cos z + DHI are those that the Baseline Surface Radiation
Network recommends (Long & Dutton, "BSRN Global Network recommended QC tests, V2.0", 2002; limits from
memory): physically possible GHI to 1.5·E₀·μ^1.2 + 100, DHI to 0.95·E₀·μ^1.2 + 50, DNI to E₀; closure within
8 %, or 15 % where the sun is lower than 15°, both where the sum exceeds 50 W/m². Means over an hour have a
tighter limit of ours: no cloud keeps a whole hour above the light outside the air, so GHI to E₀·μ + 100.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import pandas as pd

from sites.conventions import BoolArray, FloatArray
from sites.errors import Fault
from sites.site import Location
from sites.sun import Hours, extraterrestrial, sun_position

OFFSET_RMS_W_M2 = 10.0
"""Closure this bad, and twice as bad as with other times, is a wrong zone: half an hour off gives about
25 W/m² in a sunny climate, one hour about 50, where good files reach 1 to 10."""

DARK_LIGHT_FRACTION = 0.02
"""A larger share of the year's GHI under a sun that is down cannot be this place; files of the place itself
have less than 0.001."""

CLOSURE_FAULT_FRACTION = 0.5
"""Where more of the tested hours fail, the three columns do not belong together."""


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


@dataclass(frozen=True, eq=False)
class Closure:
    """GHI against DNI·cos z + DHI, over the intervals in which the sun is up.

    rms_w_m2 : root mean square of the difference
    tested, failed : number of intervals whose sum exceeds 50 W/m², and of those that miss the limits
    """

    rms_w_m2: float
    tested: int
    failed: int


def closure(year: WeatherYear, hours: Hours) -> Closure:
    """Does the light of a year add up under this sun?"""
    height = np.sin(np.radians(hours.elevation_deg))
    total = year.dni * height + year.dhi
    tested = hours.sun_up & (total > 50.0)
    allowed = np.where(hours.elevation_deg > 15.0, 0.08, 0.15)
    failed = tested & (np.abs(year.ghi - total) > allowed * total)
    difference = (year.ghi - total)[hours.sun_up]
    rms = float(np.sqrt(np.mean(difference**2))) if difference.size else 0.0
    return Closure(rms, int(tested.sum()), int(failed.sum()))


def best_offset(year: WeatherYear, location: Location) -> tuple[float, float, float]:
    """By how many hours the times would have to be moved for the light to close best.

    Returns the offset [h], a multiple of half an hour or of half an interval within ±12 h, 0 where none is
    better; the closure's rms with it; and without it [W/m²]. A year is taken as going round.
    """
    n, steps_per_hour = len(year.start), round(2.0 / year.interval_h)
    half = pd.Timedelta(hours=year.interval_h / 2.0)
    times = pd.date_range(year.start[0], periods=2 * n, freq=half)
    height = np.maximum(np.sin(np.radians(sun_position(location, times)[0])), 0.0)
    mean_height = (height + 4.0 * np.roll(height, -1) + np.roll(height, -2)) / 6.0  # Simpson, over an interval
    horizontal = year.ghi - year.dhi
    half_hours = np.arange(-24, 25) * (steps_per_hour // 2)
    offsets = np.unique(np.concatenate([half_hours, [-2, -1, 1, 2]]))
    offsets = offsets[np.argsort(np.abs(offsets), kind="stable")]  # among equals the smallest wins
    place = 2 * np.arange(n)
    rms = np.array(
        [np.sqrt(np.mean((horizontal - year.dni * mean_height[(place + o) % (2 * n)]) ** 2)) for o in offsets]
    )
    best = int(np.argmin(rms))
    return float(offsets[best] * year.interval_h / 2.0), float(rms[best]), float(rms[0])


def check_light(
    year: WeatherYear, file: str, location: Location, hours: Hours, place: Callable[[int, str], str]
) -> tuple[list[Fault], list[str]]:
    """Hold the light of a year against the sun of the place that it was recorded at.

    hours : the sun in the year's intervals at ``location``
    place : gives the spot in the file of interval i and column, for messages
    Returns what makes the year unusable and what is merely worth saying.
    """
    result = closure(year, hours)
    if result.rms_w_m2 > OFFSET_RMS_W_M2:
        offset, rms_there, rms_here = best_offset(year, location)
        if offset != 0.0 and rms_here > 2.0 * rms_there:
            direction = "later" if offset > 0 else "earlier"
            found = (
                f"light of a sun {abs(offset):g} h {direction} than the times say (GHI misses DNI·cos z + DHI "
                f"by {rms_here:.0f} W/m² rms as it stands, by {rms_there:.1f} W/m² with the times moved)"
            )
            accepted = "times in the zone that is named; check time_zone, weather_label and longitude_deg"
            return [Fault(file, "time", found, accepted)], []
    faults = _impossible_light(year, file, hours, place)
    note = (
        f"{file}: GHI and DNI·cos z + DHI differ by {result.rms_w_m2:.1f} W/m² rms over the sun-up hours; "
        f"{result.failed:,} of {result.tested:,} fail (over 8 % apart, 15 % with the sun below 15°)"
    )
    if result.tested and result.failed > CLOSURE_FAULT_FRACTION * result.tested:
        found = f"GHI that is not DNI·cos z + DHI in {result.failed:,} of {result.tested:,} hours"
        faults.append(Fault(file, "ghi, dni, dhi", found, "three columns of one sky; check their order and units"))
    return faults, [note]


def dark_light(year: WeatherYear, hours: Hours) -> tuple[int, float]:
    """Number of intervals with light though the sun is never up, and their share of the year's GHI."""
    dark = ~hours.sun_up & (np.maximum(year.ghi, year.dhi) > 0.0)
    total = float(year.ghi.sum())
    return int(dark.sum()), float(year.ghi[dark].sum()) / total if total > 0 else 0.0


def _impossible_light(year: WeatherYear, file: str, hours: Hours, place: Callable[[int, str], str]) -> list[Fault]:
    """One fault for each column that holds light which no sky can give; see the module's head."""
    extra = extraterrestrial(year.start)
    height = np.where(hours.sun_up, np.sin(np.radians(hours.elevation_deg)), 0.0)
    whole_hour = year.interval_h >= 1.0
    limits = {
        "ghi": (year.ghi, extra * (height if whole_hour else 1.5 * height**1.2) + 100.0),
        "dhi": (year.dhi, extra * 0.95 * height**1.2 + 50.0),
        "dni": (year.dni, extra),
    }
    return [
        Fault(file, place(i, name), f"{values[i]:g} W/m²{and_more(over)}", _limit_text(limit[i], extra[i]))
        for name, (values, limit) in limits.items()
        if (over := values > limit).any()
        for i in [int(np.argmax(over))]
    ]


def _limit_text(limit: float, extra: float) -> str:
    return f"up to {limit:.0f} W/m² with the sun where it stands then ({extra:.0f} W/m² outside the air)"


def and_more(bad: BoolArray) -> str:
    """' and 12 more like it', or nothing."""
    more = int(bad.sum()) - 1
    return f" and {more:,} more like it" if more > 0 else ""
