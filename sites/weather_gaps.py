"""Missing hours of a weather year: few are filled, many refuse the file."""

import numpy as np
import pandas as pd

from sites.conventions import BoolArray, FloatArray
from sites.errors import Fault
from sites.site import Location
from sites.sun import extraterrestrial, sun_hours
from sites.weather_table import WeatherTable

LONGEST_GAP_H = 6.0
MOST_MISSING_H = 96.0
"""Gaps that are filled: up to 6 h each and 96 h (1 %) in all; ours."""


def judge_gaps(
    table: WeatherTable, start: pd.DatetimeIndex, interval_h: float, missing: BoolArray
) -> tuple[Fault | None, str]:
    """A fault where gaps are too long to fill, and the note for where they are not."""
    padded = np.concatenate([[False], missing, [False]]).astype(np.int8)
    begins, ends = np.flatnonzero(np.diff(padded) == 1), np.flatnonzero(np.diff(padded) == -1)
    longest = float((ends - begins).max()) * interval_h
    total = float(missing.sum()) * interval_h
    first = start[begins[0]] + pd.Timedelta(hours=table.zone_h)
    text = (
        f"{total:g} h without values, the first from {first:%Y-%m-%d %H:%M} (file's time), at most {longest:g} h on end"
    )
    if longest <= LONGEST_GAP_H and total <= MOST_MISSING_H:
        return None, f"{table.file}: {text}: filled by interpolation"
    accepted = f"a whole year; gaps of up to {LONGEST_GAP_H:g} h, {MOST_MISSING_H:g} h in all, are filled"
    return Fault(table.file, "rows", text, accepted), ""


def filled(
    values: dict[str, FloatArray], start: pd.DatetimeIndex, interval_h: float, place: Location
) -> dict[str, FloatArray]:
    """Every needed column without holes: light through its ratio to the light outside the air."""
    hours = sun_hours(place, start, interval_h)
    height = np.where(hours.sun_up, np.sin(np.radians(hours.elevation_deg)), 0.0)
    outside = extraterrestrial(start) * height
    known_light = ~np.isnan(np.stack([values[name] for name in ("ghi", "dni", "dhi")])).any(axis=0)
    useful = known_light & (height > 0.05)
    result = dict(values)
    for name in ("ghi", "dhi"):
        ratio = np.divide(values[name], outside, out=np.zeros_like(outside), where=useful)
        result[name] = np.where(known_light, values[name], bridge(ratio, useful) * outside)
    beam = np.divide(result["ghi"] - result["dhi"], height, out=np.zeros_like(height), where=height > 0.05)
    result["dni"] = np.where(known_light, values["dni"], np.maximum(beam, 0.0))
    result["dhi"] = np.where(known_light, values["dhi"], result["ghi"] - result["dni"] * height)
    for name in ("air_c", "wind_m_s"):
        result[name] = bridge(values[name], ~np.isnan(values[name]))
    return result


def bridge(values: FloatArray, known: BoolArray) -> FloatArray:
    """Straight lines over what is not known; the year goes round."""
    place = np.arange(len(values), dtype=np.float64)
    return np.where(known, values, np.interp(place, place[known], values[known], period=len(values)))
