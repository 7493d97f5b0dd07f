"""From the rows of a weather file to a checked, gapless year.

Every fault that makes the file unusable is collected; what is merely worth saying becomes a note of the year.
"""

from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from sites.conventions import FloatArray, IntArray
from sites.errors import Fault, InputError
from sites.site import Location
from sites.sun import sun_hours
from sites.weather import DARK_LIGHT_FRACTION, WeatherYear, and_more, check_light, dark_light
from sites.weather_gaps import bridge, filled, judge_gaps
from sites.weather_table import WeatherTable, year_grid

LIGHT = ("ghi", "dni", "dhi")
NEEDED = (*LIGHT, "air_c", "wind_m_s")

LIMITS = {
    "ghi": (-4.0, 2000.0, "W/m²"),
    "dni": (-4.0, 1500.0, "W/m²"),
    "dhi": (-4.0, 1500.0, "W/m²"),
    "air_c": (-90.0, 60.0, "°C"),
    "wind_m_s": (0.0, 75.0, "m/s"),
    "albedo": (0.0, 1.0, ""),
}
"""Light down to −4 W/m² is the night offset of a cooling instrument (lower limit of the BSRN tests) and is
taken as 0. Air: a little beyond the records, −89.2 and 56.7 °C. Wind: beyond any hourly mean near the
ground."""

DISTANT_KM = 50.0
"""Farther than this the station's weather is another place's; ours."""


def checked_year(table: WeatherTable, location: Location) -> WeatherYear:
    """The gapless year of a table, held against the sun at its station, at ``location`` where it names none.

    Raises InputError with every fault that makes the table unusable.
    """
    faults = list(_value_faults(table))
    start, interval_h, row, notes = year_grid(table, faults)
    if faults:
        raise InputError(faults)
    values = {name: _spread(table.values[name], row) for name in NEEDED}
    notes += _offset_notes(values, table.file)
    missing = np.asarray(np.isnan(np.stack(list(values.values()))).any(axis=0))
    if missing.any():
        fault, note = judge_gaps(table, start, interval_h, missing)
        if fault is not None:
            raise InputError([fault])
        values = filled(values, start, interval_h, table.station or location)
        notes.append(note)
    values.update({name: np.maximum(values[name], 0.0) for name in LIGHT})
    albedo, albedo_notes = _usable_albedo(table, row)
    year = WeatherYear(
        start,
        interval_h,
        **values,
        albedo=albedo,
        source=table.source,
        notes=(*table.notes, *notes, *albedo_notes),
    )
    return _held_against_sun(year, table, row, location)


def _held_against_sun(year: WeatherYear, table: WeatherTable, row: IntArray, location: Location) -> WeatherYear:
    """The year with the notes of the light checks. Raises InputError."""

    def spot(i: int, name: str) -> str:
        if row[i] < 0:
            return f"the filled hour {year.start[i]:%Y-%m-%d %H:%M} UTC"
        return f"line {table.line[row[i]]}, column {table.column[name]}"

    here = sun_hours(location, year.start, year.interval_h)
    station = table.station or location
    there = here if _same_place(station, location) else sun_hours(station, year.start, year.interval_h)
    faults, notes = check_light(year, table.file, station, there, spot)
    count, share = dark_light(year, here)
    if count:
        text = f"{count:,} intervals hold light though the sun is down ({100 * share:.2g} % of the year's GHI)"
        if share > DARK_LIGHT_FRACTION and table.station is None and not faults:
            accepted = "light while the sun is up; check latitude_deg, longitude_deg and time_zone"
            faults.append(Fault(table.file, "ghi", text, accepted))
        notes.append(f"{table.file}: {text}; they are left out")
    if table.station is not None:
        away = distance_km(table.station, location)
        if away > DISTANT_KM:
            notes.append(
                f"{table.file}: recorded {away:,.0f} km from the site ({table.station.name}, latitude "
                f"{table.station.latitude_deg:g}, longitude {table.station.longitude_deg:g}): "
                "its weather may not be the site's"
            )
    if faults:
        raise InputError(faults)
    return replace(year, notes=(*year.notes, *notes))


def _same_place(a: Location, b: Location) -> bool:
    return (a.latitude_deg, a.longitude_deg, a.elevation_m) == (
        b.latitude_deg,
        b.longitude_deg,
        b.elevation_m,
    )


def distance_km(a: Location, b: Location) -> float:
    """Great-circle distance on a sphere of 6,371 km."""
    phi_a, phi_b = np.radians(a.latitude_deg), np.radians(b.latitude_deg)
    half_lat = (phi_b - phi_a) / 2.0
    half_lon = np.radians(b.longitude_deg - a.longitude_deg) / 2.0
    chord = np.sin(half_lat) ** 2 + np.cos(phi_a) * np.cos(phi_b) * np.sin(half_lon) ** 2
    return float(2.0 * 6371.0 * np.arcsin(min(1.0, float(np.sqrt(chord)))))


def _value_faults(table: WeatherTable) -> Iterator[Fault]:
    """One fault for each column with values outside its limits."""
    for name, values in table.values.items():
        low, high, unit = LIMITS[name]
        bad = (values < low) | (values > high)
        if bad.any():
            i = int(np.argmax(bad))
            yield table.fault(i, name, f"{values[i]:g}{and_more(bad)}", f"{low:g} to {high:g} {unit}".strip())


def _spread(column: FloatArray, row: IntArray) -> FloatArray:
    """A column of the table on the year's intervals, NaN where there is no row."""
    return np.where(row >= 0, column[row], np.nan)


def _usable_albedo(table: WeatherTable, row: IntArray) -> tuple[FloatArray | None, list[str]]:
    """The albedo column without its holes, None where it says nothing; notes."""
    if "albedo" not in table.values:
        return None, []
    albedo = _spread(table.values["albedo"], row)
    known = ~np.isnan(albedo)
    if not np.any(albedo[known] > 0.0):
        what = "all zero" if known.any() else "empty"
        return None, [f"{table.file}: the albedo column is {what}: taken as missing"]
    if known.mean() < 0.9:
        return None, [f"{table.file}: the albedo column is {100 * (1 - known.mean()):.0f} % empty: not used"]
    return bridge(albedo, known), []


def _offset_notes(values: dict[str, FloatArray], file: str) -> list[str]:
    below = sum(int(np.sum(values[name] < 0.0)) for name in LIGHT)
    return [f"{file}: {below:,} light values between −4 and 0 W/m² are taken as 0"] if below else []
