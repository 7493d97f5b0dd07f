"""Strings and trackers of the pattern without end."""

from dataclasses import dataclass
from itertools import groupby
from math import gcd

import numpy as np

from layout.arrange.arrangement import Arrangement
from layout.strings import Tracker
from layout.wiring_tables import WiringTable
from sites.conventions import FloatArray, IntArray


@dataclass(frozen=True, eq=False)
class EndlessPattern:
    """The same pattern without boundary: ``unit`` (u,) panels that repeat on ``unit_area_m2`` of ground."""

    arrangement: Arrangement
    unit: IntArray
    unit_area_m2: float

    @property
    def capacity_kw(self) -> float:
        """Rated power of a unit."""
        kind, scale = self.arrangement.panel_type, self.arrangement.area_scale
        return float(kind.pmax_w * scale[self.unit].sum()) / 1000.0


@dataclass(frozen=True, eq=False)
class EndlessTrackers:
    """trackers : by panels of the unit, each of which stands for itself in all units; per_unit : (t,) float, of each so
    many in a unit."""

    trackers: tuple[Tracker, ...]
    per_unit: FloatArray


NO_TRACKERS = EndlessTrackers((), np.zeros(0))


def endless_trackers(pattern: EndlessPattern, wiring: WiringTable) -> EndlessTrackers:
    """Strings and trackers of mode row where rows and towers go on without end.

    A level of a row is one line of panels that are all alike, parted into strings of ``panels_per_string``, and
    ``strings_per_tracker`` of them share a tracker: only the tracker's voltages can cost anything. A tower's faces are
    parted as on the plot; where ``strings_per_tracker`` does not divide a tower's strings of one length, trackers reach
    over to the next tower, and the pattern of trackers repeats after some towers.
    """
    if wiring.mode != "row":
        return NO_TRACKERS
    number, own = pattern.arrangement.string, pattern.arrangement.string[pattern.unit]
    lines = [pattern.unit[own == n] for n in np.unique(own)]
    if np.isin(np.delete(number, pattern.unit), own).any():
        return _along_rows(lines, wiring)
    return _on_faces(lines, wiring)


def _along_rows(lines: list[IntArray], wiring: WiringTable) -> EndlessTrackers:
    """Lines that go on into the next units."""
    if wiring.any_voltage:  # nothing holds equal panels back
        return NO_TRACKERS
    each, many = wiring.panels_per_string, wiring.strings_per_tracker
    trackers = tuple((np.repeat(panel, each),) * many for line in lines for panel in line[:, None])
    return EndlessTrackers(trackers, np.full(len(trackers), 1.0 / (each * many)))


def _on_faces(lines: list[IntArray], wiring: WiringTable) -> EndlessTrackers:
    """Lines that end with the unit."""
    strings = [s for line in lines for s in np.array_split(line, -(-len(line) // wiring.panels_per_string))]
    many = wiring.strings_per_tracker
    trackers: list[Tracker] = []
    per_unit: list[float] = []
    for length, group in groupby(sorted(strings, key=len, reverse=True), key=len):
        if wiring.any_voltage and length == many == 1:  # that is what panel-level electronics are
            continue
        equal = list(group)
        units = many // gcd(len(equal), many)
        row = equal * units
        found = [tuple(row[i : i + many]) for i in range(0, len(row), many)]
        trackers += found
        per_unit += [1.0 / units] * len(found)
    return EndlessTrackers(tuple(trackers), np.array(per_unit))
