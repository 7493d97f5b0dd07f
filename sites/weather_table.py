"""The rows of a weather file, and where in a year each of them belongs."""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import pandas as pd

from sites.conventions import FloatArray, IntArray
from sites.errors import Fault
from sites.site import Location
from sites.weather import and_more

TYPICAL_YEAR = 2002
"""Year given to files whose months come from several years: without a leap day and in the middle between two,
so that the sun is nowhere more than a day from where it was."""


@dataclass(frozen=True, eq=False)
class WeatherTable:
    """The rows of a weather file.

    file : name of the file;  source : what it is, in words
    stamp : DatetimeIndex (r,) without zone, in the file's own time, no summer time
    zone_h : hours by which that time is ahead of UTC
    label : fraction of the interval that a stamp marks: 0 its start, 0.5 its middle, 1 its end
    interval_h : length of the intervals, None: to be found from the stamps
    line : (r,) int, line of each row in the file
    column : name of each quantity's column as the file has it; "time" for the stamps
    values : (r,) float per quantity, NaN where missing; ghi, dni, dhi, air_c, wind_m_s and perhaps albedo
    station : where the file says it was recorded, or None
    """

    file: str
    source: str
    stamp: pd.DatetimeIndex
    zone_h: float
    label: float
    interval_h: float | None
    line: IntArray
    column: dict[str, str]
    values: dict[str, FloatArray]
    station: Location | None = None
    notes: tuple[str, ...] = ()

    def fault(self, row: int, name: str, found: str, accepted: str) -> Fault:
        """A fault in one cell of the file."""
        return Fault(self.file, f"line {self.line[row]}, column {self.column[name]}", found, accepted)


def year_grid(table: WeatherTable, faults: list[Fault]) -> tuple[pd.DatetimeIndex, float, IntArray, list[str]]:
    """Starts (n,) UTC of the year's intervals, their length, the row (n,) of each (−1: none), notes.

    Adds to ``faults``; what is returned means nothing then.
    """
    nothing = table.stamp[:0].tz_localize("UTC"), 1.0, np.zeros(0, dtype=np.int64), list[str]()
    order = np.arange(len(table.stamp))
    interval_h = table.interval_h or _interval(table, faults)
    if interval_h is None:
        return nothing
    local = table.stamp - pd.Timedelta(hours=table.label * interval_h)
    notes: list[str] = []
    if local.year.nunique() > 1 and not _is_one_run(local):
        local, order, notes = _typical(table, local, faults)
    faults.extend(_order_faults(table, local, order))
    if faults:
        return nothing
    step = pd.Timedelta(hours=interval_h)
    begin = local[0]
    n = round((begin + pd.DateOffset(years=1) - begin) / step)
    place = np.asarray((local - begin) / step, dtype=np.float64)
    off = np.abs(place - np.round(place)) > 1e-6
    if off.any():
        i = int(np.argmax(off))
        found = f"{_stamp_text(table, order[i])}, off the step of {60 * interval_h:g} minutes{and_more(off)}"
        faults.append(table.fault(int(order[i]), "time", found, "equal steps"))
        return nothing
    index = np.round(place).astype(np.int64)
    if index[-1] >= n:
        i = int(np.argmax(index >= n))
        found = f"{_stamp_text(table, order[i])}, more than a year after the first{and_more(index >= n)}"
        faults.append(table.fault(int(order[i]), "time", found, "one year"))
        return nothing
    row = np.full(n, -1, dtype=np.int64)
    row[index] = order
    start = pd.date_range(begin, periods=n, freq=step) - pd.Timedelta(hours=table.zone_h)
    return start.tz_localize("UTC"), interval_h, row, notes


def _interval(table: WeatherTable, faults: list[Fault]) -> float | None:
    """Most frequent step between stamps, in hours; None and a fault where it is not one that is accepted."""
    accepted = "a step of 1 to 60 minutes that divides the hour"
    if len(table.stamp) < 2:
        faults.append(Fault(table.file, "rows", f"{len(table.stamp)}", "a whole year of rows"))
        return None
    minutes = np.diff(table.stamp.as_unit("s").asi8) / 60.0
    steps, count = np.unique(minutes[minutes > 0.0], return_counts=True)
    step = float(steps[np.argmax(count)]) if steps.size else 0.0
    if step < 1.0 or step > 60.0 or (60.0 / step) % 1.0 > 1e-9:
        faults.append(Fault(table.file, f"column {table.column['time']}", f"steps of {step:g} minutes", accepted))
        return None
    return step / 60.0


def _is_one_run(start: pd.DatetimeIndex) -> bool:
    """Times that rise and span no more than a year and a month, as a measured year does."""
    return bool(start.is_monotonic_increasing and start[-1] - start[0] < pd.Timedelta(days=396))


def _typical(
    table: WeatherTable, local: pd.DatetimeIndex, faults: list[Fault]
) -> tuple[pd.DatetimeIndex, IntArray, list[str]]:
    """Months of several years as one year: starts, the table's row of each, notes."""
    keep = np.flatnonzero(~((local.month == 2) & (local.day == 29)))
    local = local[keep]
    years, months = local.year.to_numpy(), local.month.to_numpy()
    # A zone's offset may carry hours at the edge of a month into the next one.
    inside = (local.day.to_numpy() > 1) & (local.day.to_numpy() < 28)
    of_month = np.zeros(13, dtype=np.int64)
    of_month[months[inside][::-1]] = years[inside][::-1]  # the first one stays
    stray = inside & (years != of_month[months])
    if stray.any():
        i = int(np.argmax(stray))
        found = f"{_stamp_text(table, keep[i])}, a second year inside one month{and_more(stray)}"
        faults.append(table.fault(int(keep[i]), "time", found, "one year for each month, times that rise"))
        return local, keep, []
    begin = pd.DatetimeIndex(pd.to_datetime({"year": TYPICAL_YEAR, "month": local.month, "day": local.day})) + (
        local - local.normalize()
    )
    falls = np.flatnonzero(np.diff(begin.as_unit("s").asi8) < 0)
    if falls.size == 1 and begin[-1] < begin[0]:  # the zone's offset put the year's end at its beginning
        turn = int(falls[0]) + 1
        turned = np.roll(np.arange(len(keep)), -turn)
        begin, keep = begin[turned], keep[turned]
    several = of_month[of_month > 0]
    dropped = len(table.stamp) - len(keep)
    note = f"{table.file}: months from several years ({several.min()} to {several.max()}) are told as {TYPICAL_YEAR}"
    return begin, keep, [note + (f"; {dropped} rows of 29 February are left out" if dropped else "")]


def _order_faults(table: WeatherTable, start: pd.DatetimeIndex, order: IntArray) -> Iterator[Fault]:
    """Times that stand twice, and times that run backward."""
    twice = start.duplicated(keep="first")
    if twice.any():
        i = int(np.argmax(twice))
        first = int(np.argmax(start == start[i]))
        found = f"{_stamp_text(table, order[i])}, which line {table.line[order[first]]} has too{and_more(twice)}"
        yield table.fault(int(order[i]), "time", found, "each time once")
    back = np.zeros(len(start), dtype=bool)
    back[1:] = np.diff(start.as_unit("s").asi8) < 0
    if back.any() and not twice.any():
        i = int(np.argmax(back))
        found = f"{_stamp_text(table, order[i])} after {_stamp_text(table, order[i - 1])}{and_more(back)}"
        yield table.fault(int(order[i]), "time", found, "times that rise")


def _stamp_text(table: WeatherTable, row: int) -> str:
    return f"{table.stamp[row]:%Y-%m-%d %H:%M}"
