"""EPW files: the open hourly format of building science; a typical or a real year of one station.

Field numbers and marks of missing values from memory of the format's published description.
"""

import numpy as np

from sites.errors import Fault, InputError
from sites.weather_cells import cells, numbers, stamps, station_of
from sites.weather_table import WeatherTable

EPW_FIELDS = {"ghi": 13, "dni": 14, "dhi": 15, "air_c": 6, "wind_m_s": 21, "albedo": 32}
EPW_MISSING = {"ghi": 9999.0, "dni": 9999.0, "dhi": 9999.0, "air_c": 99.9, "wind_m_s": 999.0, "albedo": 999.0}
"""Counted from 0; the mark or anything above it stands for a missing value."""
EPW_HEADER_LINES = 8


def read_epw(text: str, file: str) -> WeatherTable:
    """An EPW file's rows. Hours count from 1, stamps mark the hour's end. Raises InputError."""
    head = text.partition("\n")[0].split(",")
    if len(head) < 10:
        raise InputError([Fault(file, "line 1", f"{len(head)} cells", "ten, the last the elevation")])
    station = station_of(head[1], head[6], head[7], head[8], head[9], file)
    frame = cells(text, file, EPW_HEADER_LINES, header=False)
    if frame.shape[1] <= max(EPW_FIELDS["wind_m_s"], 4):
        found = f"{frame.shape[1]} cells"
        raise InputError([Fault(file, f"line {EPW_HEADER_LINES + 1}", found, "22 or more, an EPW line")])
    faults: list[Fault] = []
    hour, minute = numbers(frame, 3, file, faults), numbers(frame, 4, file, faults)
    values = {n: numbers(frame, k, file, faults) for n, k in EPW_FIELDS.items() if k in frame.columns}
    if faults:
        raise InputError(faults)
    if np.unique(minute).size > 1:
        found = "minutes that change from line to line"
        raise InputError([Fault(file, "column 5", found, "one line for each hour, its minute 0 or 60 throughout")])
    date = frame[0].str.cat(frame[[1, 2]], sep="-")
    cell = date.str.cat(frame[3], sep=" hour ")
    stamp = stamps(date, 60.0 * hour, cell, file, "1 to 4", "year, month, day and hours 1 to 24")
    for name, column in values.items():
        column[column >= EPW_MISSING[name]] = np.nan
    names = {n: f"{k + 1} ({n})" for n, k in EPW_FIELDS.items()} | {"time": "1 to 4 (date and hour)"}
    lines = frame.index.to_numpy(np.int64)
    source = f"EPW file {file}, {station.name}"
    return WeatherTable(file, source, stamp, float(head[8]), 1.0, 1.0, lines, names, values, station)
