"""TMY3 files: a typical year put together from months of several years, for one station.

Wilcox & Marion, Users Manual for TMY3 Data Sets, NREL/TP-581-43156 (2008), tables 1-1 to 1-3.
"""

import csv

import numpy as np
import pandas as pd

from sites.errors import Fault, InputError
from sites.site import Location
from sites.weather_cells import cells, need_columns, numbers, stamps, station_of
from sites.weather_table import WeatherTable

TMY3_COLUMNS = {
    "ghi": "GHI (W/m^2)",
    "dni": "DNI (W/m^2)",
    "dhi": "DHI (W/m^2)",
    "air_c": "Dry-bulb (C)",
    "wind_m_s": "Wspd (m/s)",
    "albedo": "Alb (unitless)",
}
TMY3_DATE, TMY3_TIME = "Date (MM/DD/YYYY)", "Time (HH:MM)"
TMY3_MISSING = -9900.0


def read_tmy3_text(text: str, file: str) -> tuple[WeatherTable, Location]:
    """A TMY3 file's rows and station. Stamps mark the hour's end, in standard time. Raises InputError."""
    head = next(csv.reader([text.partition("\n")[0]]))
    if len(head) < 7:
        raise InputError([Fault(file, "line 1", f"{len(head)} cells", "seven, the last the elevation")])
    zone, latitude, longitude, elevation = head[3:7]
    station = station_of(head[1], latitude, longitude, zone, elevation, file)
    frame = cells(text, file, 1, header=True)
    *needed, albedo = TMY3_COLUMNS.values()
    need_columns((TMY3_DATE, TMY3_TIME, *needed), (albedo,), list(frame.columns), file, "line 2")
    date = frame[TMY3_DATE].str.replace(r"^(\d\d)/(\d\d)/(\d{4})$", r"\3-\1-\2", regex=True)
    clock = frame[TMY3_TIME].str.extract(r"^(\d\d?):([0-5]\d)$").apply(pd.to_numeric)
    minutes = (60.0 * clock[0] + clock[1]).to_numpy(np.float64)
    cell = frame[TMY3_DATE].str.cat(frame[TMY3_TIME], sep=" ")
    stamp = stamps(date, minutes, cell, file, TMY3_DATE, "MM/DD/YYYY and 01:00 to 24:00")
    faults: list[Fault] = []
    values = {n: numbers(frame, c, file, faults) for n, c in TMY3_COLUMNS.items() if c in frame.columns}
    if faults:
        raise InputError(faults)
    for column in values.values():
        column[column <= TMY3_MISSING] = np.nan
    names = {**TMY3_COLUMNS, "time": TMY3_DATE}
    source = f"TMY3 file {file}, {station.name}"
    lines = frame.index.to_numpy(np.int64)
    return WeatherTable(file, source, stamp, float(zone), 1.0, 1.0, lines, names, values, station), station
