"""Which panels of a layout are in series and which strings are in parallel: the plan's [wiring] on the panels as
built."""

import numpy as np

from layout.arrange.arrangement import Arrangement
from layout.wiring_tables import WiringTable
from sites.conventions import IntArray
from sites.errors import Fault, InputError

Tracker = tuple[IntArray, ...]
"""The panels of each string in parallel on one tracker."""

WORKING_C = (-20.0, 75.0)
"""Cells at work are seldom colder or hotter: common practice, no source."""

WINDOW_LOSS = 0.005
"""Share of the energy lost to the trackers' voltages from which it is worth a word: our choice."""


def trackers_of(arrangement: Arrangement, wiring: WiringTable, file: str = "plan") -> tuple[Tracker, ...]:
    """The strings of each tracker; panels that are in none have electronics of their own.

    Rows, levels and faces longer than ``panels_per_string`` are parted into strings as equal as can be, in the order
    built; up to ``strings_per_tracker`` strings of equal length share a tracker, as evenly as can be. Raises InputError
    where a listed panel is not there or is listed twice.
    """
    if wiring.mode == "panel":
        return ()
    trackers = _listed(arrangement, wiring, file) if wiring.mode == "list" else _along_rows(arrangement, wiring)
    if wiring.any_voltage:  # one panel on one tracker is what panel-level electronics are
        trackers = [t for t in trackers if len(t) > 1 or len(t[0]) > 1]
    return tuple(trackers)


def strings_of(arrangement: Arrangement, wiring: WiringTable, file: str = "plan") -> tuple[IntArray, ...]:
    """The panels of each string of more than one panel. Raises as `trackers_of`."""
    return tuple(s for tracker in trackers_of(arrangement, wiring, file) for s in tracker if len(s) > 1)


def longest_string(arrangement: Arrangement, wiring: WiringTable) -> int:
    """Panels in the longest string."""
    return max((len(s) for s in strings_of(arrangement, wiring)), default=1)


def window_doubts(arrangement: Arrangement, wiring: WiringTable) -> tuple[str, ...]:
    """A line where no tracker's window holds the best voltage of any string, whatever the weather.

    The best voltage is taken to change with temperature as voc_v does.
    """
    lengths, kind = [len(s) for t in trackers_of(arrangement, wiring) for s in t], arrangement.panel_type
    if not lengths or wiring.any_voltage:
        return ()
    cold, hot = (kind.vmp_v * (1.0 + kind.beta_voc_pct_per_k / 100.0 * (c - 25.0)) for c in WORKING_C)
    lowest, highest = min(lengths) * hot, max(lengths) * cold
    low, high = wiring.window_v
    if highest >= low and lowest <= high:
        return ()
    return (
        f"Trackers: strings work best somewhere between {lowest:.0f} and {highest:.0f} V, the trackers hold "
        f"{wiring.window}: little or no energy is left.",
    )


def string_cautions(
    arrangement: Arrangement, wiring: WiringTable, coldest_c: float, window_loss: float
) -> tuple[str, ...]:
    """Lines on the strings' voltages.

    coldest_c : air in the coldest hour of daylight [°C]; window_loss : share of the energy that the trackers' voltages
    cost
    """
    longest, kind = longest_string(arrangement, wiring), arrangement.panel_type
    if longest == 1:
        return ()
    volts = longest * kind.voc_v * (1.0 + kind.beta_voc_pct_per_k / 100.0 * (min(coldest_c, 25.0) - 25.0))
    lines = [
        f"Strings: {longest} panels in series give up to {volts:.0f} V in the open circuit in the year's coldest hour "
        f"of daylight, {coldest_c:.0f} °C; colder years give more. Inverter, cables and plugs must stand it, whatever "
        "voltage the tracker holds; a licensed electrician decides."
    ]
    if window_loss > WINDOW_LOSS:
        low, high = wiring.window_v
        where = f"below {low:g} V" if np.isinf(high) else f"outside {wiring.window}"
        lines.append(
            f"Trackers: {100 * window_loss:.1f} % of the energy is lost because strings would work {where}. Strings of "
            "another length may suit the inverter better."
        )
    if wiring.mode == "list" and arrangement.repeat is not None:
        lines.append(
            "Strings: lists name panels on the plot; the figure per m² without end is that of panels with electronics "
            "of their own."
        )
    return tuple(lines)


def _along_rows(arrangement: Arrangement, wiring: WiringTable) -> list[Tracker]:
    strings: list[IntArray] = []
    for number in np.unique(arrangement.string):
        panels = np.flatnonzero(arrangement.string == number)
        strings += np.array_split(panels, -(-len(panels) // wiring.panels_per_string))
    if wiring.strings_per_tracker == 1:
        return [(s,) for s in strings]
    trackers: list[Tracker] = []
    lengths = np.array([len(s) for s in strings])
    for length in np.unique(lengths)[::-1]:
        equal = np.flatnonzero(lengths == length)
        parts = np.array_split(equal, -(-len(equal) // wiring.strings_per_tracker))
        trackers += [tuple(strings[i] for i in part) for part in parts]
    return trackers


def _listed(arrangement: Arrangement, wiring: WiringTable, file: str) -> list[Tracker]:
    count, faults, seen = len(arrangement.scene.panels), [], set()
    alone: list[Tracker] = []
    shared: dict[int, list[IntArray]] = {}
    for index, table in enumerate(wiring.string):
        if table.layout != arrangement.name:
            continue
        for panel in table.panels:
            key = f"wiring.string[{index}].panels"
            if panel >= count:
                accepted = f"0 to {count - 1}, the panels of '{arrangement.name}'"
                faults.append(Fault(file, key, f"panel {panel}", accepted))
            elif panel in seen:
                faults.append(Fault(file, key, f"panel {panel} a second time", "each panel once"))
            seen.add(panel)
        string = np.array(table.panels, dtype=np.int64)
        if table.tracker is None:
            alone.append((string,))
        else:
            shared.setdefault(table.tracker, []).append(string)
    if faults:
        raise InputError(faults)
    return alone + [tuple(strings) for strings in shared.values()]
