"""The skyline: how high hills, woods and houses far away stand above the horizontal, by azimuth."""

import csv
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from sites.conventions import FloatArray
from sites.errors import Fault, InputError
from sites.tables import shown

HIGHEST_DEG = 85.0
"""Beyond this nothing but a cellar's window would have such a skyline."""

CSV_HEADER = ("azimuth_deg", "elevation_deg")


@dataclass(frozen=True, eq=False)
class Skyline:
    """Points of the skyline, straight lines between them, all the way round.

    azimuth_deg : (k,) float [deg] rising, 0 to below 360
    elevation_deg : (k,) float [deg]
    """

    azimuth_deg: FloatArray
    elevation_deg: FloatArray

    def at(self, azimuth_deg: FloatArray | float) -> FloatArray:
        """Elevation of the skyline toward each azimuth; shape of ``azimuth_deg``, degrees. Empty: 0.

        >>> float(Skyline(np.array([10.0, 350.0]), np.array([4.0, 0.0])).at(0.0))
        2.0
        """
        azimuth = np.asarray(azimuth_deg, dtype=np.float64)
        if self.azimuth_deg.size == 0:
            return np.zeros_like(azimuth)
        return np.interp(azimuth, self.azimuth_deg, self.elevation_deg, period=360.0)


OPEN_SKYLINE = Skyline(np.zeros(0), np.zeros(0))
"""Nothing above the horizontal anywhere."""


def skyline_from_points(points: Sequence[tuple[float, float]], file: str, key: str) -> Skyline:
    """A skyline from (azimuth, elevation) pairs in degrees.

    Raises InputError with every azimuth outside 0 to below 360 or not above the one before it and every
    elevation outside 0 to 85.
    """
    faults = []
    before = -1.0
    for i, (azimuth, elevation) in enumerate(points):
        if not 0.0 <= azimuth < 360.0:
            faults.append(Fault(file, f"{key}[{i}][0]", f"{azimuth:g}", "an azimuth from 0 to below 360"))
        elif azimuth == before:
            faults.append(Fault(file, f"{key}[{i}][0]", f"{azimuth:g} a second time", "each azimuth once"))
        elif azimuth < before:
            found = f"{azimuth:g} after {before:g}"
            faults.append(Fault(file, f"{key}[{i}][0]", found, "azimuths in rising order"))
        if not 0.0 <= elevation <= HIGHEST_DEG:
            accepted = f"an elevation from 0 to {HIGHEST_DEG:g}"
            faults.append(Fault(file, f"{key}[{i}][1]", f"{elevation:g}", accepted))
        before = azimuth
    if faults:
        raise InputError(faults)
    table = np.array(points, dtype=np.float64).reshape(-1, 2)
    return Skyline(table[:, 0].copy(), table[:, 1].copy())


def skyline_from_csv(content: str, file: str) -> Skyline:
    """A skyline from a CSV file's content: a header ``azimuth_deg,elevation_deg``, then one point a line.

    Empty lines and lines that begin with # are skipped. Raises InputError with every wrong line.
    """
    lines = content.splitlines()
    rows = [(i, r[0]) for i, r in enumerate(map(_cells, lines), start=1) if r]
    accepted = ",".join(CSV_HEADER)
    if not rows or tuple(rows[0][1]) != CSV_HEADER:
        found = shown(",".join(rows[0][1])) if rows else "an empty file"
        raise InputError([Fault(file, f"line {rows[0][0] if rows else 1}", found, f"the header {accepted}")])
    points, faults = [], []
    for line, cells in rows[1:]:
        values = [_number(cell) for cell in cells]
        if len(values) != 2 or not all(np.isfinite(values)):
            faults.append(Fault(file, f"line {line}", shown(",".join(cells)), "two numbers, " + accepted))
        else:
            points.append((line, (values[0], values[1])))
    if faults:
        raise InputError(faults)
    try:
        return skyline_from_points([p for _, p in points], file, "row")
    except InputError as error:
        raise InputError(_line_fault(fault, [line for line, _ in points]) for fault in error.faults) from None


def _cells(line: str) -> list[list[str]]:
    """The cells of a line; nothing for an empty line or a comment."""
    if not line.strip() or line.lstrip().startswith("#"):
        return []
    return [[cell.strip() for cell in next(csv.reader([line]))]]


def _number(cell: str) -> float:
    try:
        return float(cell)
    except ValueError:
        return float("nan")


def _line_fault(fault: Fault, lines: list[int]) -> Fault:
    """The fault of ``row[i]...`` told by its line in the file."""
    index = int(fault.key.removeprefix("row[").split("]")[0])
    return Fault(fault.file, f"line {lines[index]}", fault.found, fault.accepted)
