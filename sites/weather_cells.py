"""Cells of a weather file to numbers, times and places; what does not turn into them is a fault."""

import difflib
import io
from collections.abc import Sequence

import numpy as np
import pandas as pd

from sites.conventions import BoolArray, FloatArray
from sites.errors import Fault, InputError
from sites.site import Location
from sites.weather import and_more


def cells(text: str, file: str, skip: int, header: bool) -> pd.DataFrame:
    """The cells of a CSV text as they stand, from line ``skip`` + 1 on; the index is the line in the file.

    header : the first of these lines names the columns; else they are numbered from 0
    Raises InputError where a line has more cells than the first, or there are none.
    """
    try:
        frame = pd.read_csv(
            io.StringIO(text),
            skiprows=skip,
            header=None,
            dtype=str,
            keep_default_na=False,
            skip_blank_lines=False,
            skipinitialspace=True,
        )
    except pd.errors.ParserError as error:
        found = str(error).strip().removeprefix("Error tokenizing data. C error: ")
        raise InputError([Fault(file, "rows", found, "as many cells in each line as in the first")]) from None
    except pd.errors.EmptyDataError:
        raise InputError([Fault(file, "rows", "none", "a whole year of rows")]) from None
    frame.index = pd.RangeIndex(skip + 1, skip + 1 + len(frame))
    frame = frame.fillna("")
    if header:
        frame.columns = pd.Index(frame.iloc[0].str.strip())
        frame = frame.iloc[1:]
    return frame[(frame != "").any(axis=1)]


def numbers(frame: pd.DataFrame, key: str | int, file: str, faults: list[Fault]) -> FloatArray:
    """A column as numbers, NaN where empty. Adds a fault where a cell holds something else.

    key : the column's name, or its number from 0
    """
    column = frame[key].str.strip()
    name = key if isinstance(key, str) else str(key + 1)
    values = pd.to_numeric(column, errors="coerce").to_numpy(np.float64).copy()
    blank = column.str.lower().isin(["", "nan", "na", "null"]).to_numpy()
    values[blank] = np.nan
    bad = ~np.isfinite(values) & ~blank
    if bad.any():
        i = int(np.argmax(bad))
        found = f"{str(column.iloc[i])[:40]!r}{and_more(bad)}"
        faults.append(Fault(file, f"line {frame.index[i]}, column {name}", found, "a number, or nothing"))
    return values


def station_of(name: str, latitude: str, longitude: str, zone: str, elevation: str, file: str) -> Location:
    """The place named in a file's first line. Raises InputError with every part that is no number.

    Its time zone is named where it is a whole number of hours, else UTC stands there: times are read by the
    table's own ``zone_h``.
    """
    limits = {
        "latitude": (latitude, 90.0),
        "longitude": (longitude, 180.0),
        "time zone": (zone, 14.0),
        "elevation": (elevation, 9000.0),
    }
    values, faults = [], []
    for key, (cell, limit) in limits.items():
        try:
            value = float(cell)
        except ValueError:
            value = np.nan
        values.append(value)
        if not abs(value) <= limit:
            accepted = f"the station's {key}, {-limit:g} to {limit:g}"
            faults.append(Fault(file, "line 1", repr(cell.strip()[:40]), accepted))
    if faults:
        raise InputError(faults)
    whole = float(values[2]).is_integer()
    zone_name = f"Etc/GMT{-values[2]:+.0f}" if whole and values[2] else "UTC"
    return Location(name.strip().strip('"'), values[0], values[1], values[3], zone_name)


def stamps(
    date: pd.Series, minutes: FloatArray, cell: pd.Series, file: str, column: str, accepted: str
) -> pd.DatetimeIndex:
    """Days (text YYYY-MM-DD) and minutes into the day, as times without zone.

    cell : what stands in the file, for the message. Raises InputError with the first that is no time.
    """
    days = pd.to_datetime(date, format="%Y-%m-%d", errors="coerce")
    bad = ~in_our_era(days) | ~((minutes >= 0) & (minutes <= 24 * 60))
    if bad.any():
        i = int(np.argmax(bad))
        found = f"{cell.iloc[i][:40]!r}{and_more(bad)}"
        raise InputError([Fault(file, f"line {date.index[i]}, column {column}", found, accepted)])
    return pd.DatetimeIndex(days) + pd.to_timedelta(minutes, unit="min")


def in_our_era(times: pd.Series) -> BoolArray:
    """Which times are there and lie between 1800 and 2200, where formulas and calendars hold."""
    return np.asarray(times.dt.year.between(1800, 2200).fillna(False), dtype=np.bool_)


def need_columns(needed: Sequence[str], welcome: Sequence[str], columns: Sequence[str], file: str, line: str) -> None:
    """Raises InputError with every needed column that is missing and every known one that is there twice."""
    faults = []
    accepted = "the columns " + ", ".join(needed)
    for name in (*needed, *welcome):
        if columns.count(name) > 1:
            faults.append(Fault(file, line, f"{name!r} more than once", accepted))
        elif name in needed and name not in columns:
            near = difflib.get_close_matches(name, columns, n=1)
            hint = f" (but {near[0]!r})" if near else ""
            faults.append(Fault(file, line, f"no column {name!r}{hint}", accepted))
    if faults:
        raise InputError(faults)
