"""Plain CSV weather: a header with the columns time, ghi, dni, dhi, air_c, wind_m_s and perhaps albedo.

Times are ISO 8601; without an offset they are told by the clock of the site.
"""

import re
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd

from sites.errors import Fault, InputError
from sites.site import Location
from sites.weather import and_more
from sites.weather_cells import cells, in_our_era, need_columns, numbers
from sites.weather_table import WeatherTable

LABELS = {"start": 0.0, "middle": 0.5, "end": 1.0}

PLAIN_NEEDED = ("time", "ghi", "dni", "dhi", "air_c", "wind_m_s")
PLAIN_COLUMNS = (*PLAIN_NEEDED, "albedo")


def read_plain(text: str, file: str, location: Location, label: str | None) -> WeatherTable:
    """A plain CSV file's rows, in standard time of the site. Raises InputError."""
    frame = cells(text, file, 0, header=True)
    frame.columns = pd.Index([str(name).strip().lower() for name in frame.columns])
    need_columns(PLAIN_NEEDED, ("albedo",), list(frame.columns), file, "line 1")
    faults: list[Fault] = []
    if label not in LABELS:
        found, accepted = label or "no such key", "start, middle or end: what a stamp marks of its interval"
        faults.append(Fault(file, "site.weather_label", found, accepted))
    wanted = [name for name in PLAIN_COLUMNS if name in frame.columns]
    values = {name: numbers(frame, name, file, faults) for name in wanted if name != "time"}
    utc = _iso_times(frame["time"], file, location, faults)
    if faults or utc is None or label is None:
        raise InputError(faults)
    zone_h = standard_offset_h(location.time_zone)
    stamp = (utc + pd.Timedelta(hours=zone_h)).tz_localize(None)
    extra = [str(name) for name in frame.columns if name not in PLAIN_COLUMNS]
    notes = (f"{file}: columns that are not used: {', '.join(extra)}",) if extra else ()
    names = {name: name for name in PLAIN_COLUMNS}
    lines = frame.index.to_numpy(np.int64)
    source = f"CSV file {file}"
    return WeatherTable(file, source, stamp, zone_h, LABELS[label], None, lines, names, values, None, notes=notes)


def standard_offset_h(time_zone: str) -> float:
    """Hours that a zone's standard time is ahead of UTC."""
    zone = ZoneInfo(time_zone)
    offsets = [pd.Timestamp(2002, month, 1, tz=zone).utcoffset() for month in (1, 7)]
    return min(o.total_seconds() for o in offsets if o is not None) / 3600.0


def _iso_times(column: pd.Series, file: str, location: Location, faults: list[Fault]) -> pd.DatetimeIndex | None:
    """ISO 8601 times as UTC; those without offset are told by the site's clock."""
    column = column.str.strip()
    has_offset = column.str.contains(r"[T ]\d\d.*(?:Z|[+-]\d\d(?::?\d\d)?)$", flags=re.IGNORECASE)
    times = pd.to_datetime(column, format="ISO8601", utc=True, errors="coerce")
    bad = ~in_our_era(times)
    if bad.any():
        i = int(np.argmax(bad))
        found = f"{column.iloc[i][:40]!r}{and_more(bad)}"
        accepted = "a time in ISO 8601, such as 2023-01-31T14:00 or 2023-01-31T14:00+01:00"
        faults.append(Fault(file, f"line {column.index[i]}, column time", found, accepted))
        return None
    if has_offset.all():
        return pd.DatetimeIndex(times)
    if has_offset.any():
        i = int(np.argmax(has_offset != has_offset.iloc[0]))
        found = f"{column.iloc[i]!r}, unlike the lines before"
        faults.append(Fault(file, f"line {column.index[i]}, column time", found, "an offset everywhere or nowhere"))
        return None
    return _by_the_clock(pd.DatetimeIndex(times).tz_localize(None), file, location, faults)


def _by_the_clock(
    times: pd.DatetimeIndex, file: str, location: Location, faults: list[Fault]
) -> pd.DatetimeIndex | None:
    try:
        return times.tz_localize(location.time_zone, ambiguous="infer", nonexistent="raise").tz_convert("UTC")
    except ValueError as error:
        found = f"times that do not fit the clock of {location.time_zone} ({str(error).splitlines()[0][:80]})"
        accepted = "its summer time too, or times with an offset, or a zone without summer time (Etc/GMT…)"
        faults.append(Fault(file, "column time", found, accepted))
        return None
