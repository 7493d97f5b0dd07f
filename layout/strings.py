"""Which panels of a layout are in series: the plan's [wiring] on the panels as built.

Each string has a tracker of its own. Strings in parallel on one tracker are in `layout.power.full_curve`, not in the
year.
"""

import numpy as np

from layout.arrange.arrangement import Arrangement
from layout.power.method import follows_cells
from layout.power.panel_power import panel_model
from layout.wiring_tables import WiringTable
from sites.conventions import IntArray
from sites.errors import Fault, InputError


def strings_of(arrangement: Arrangement, wiring: WiringTable, file: str = "plan") -> tuple[IntArray, ...]:
    """The panels of each string of more than one panel; all others have a tracker of their own.

    Rows, levels and faces longer than ``panels_per_string`` are parted into strings as equal as can be, in the order
    built. Raises InputError where a listed panel is not there or is listed twice, or where panels without bypass
    diodes cannot be in one string.
    """
    if wiring.mode == "panel":
        return ()
    found = _listed(arrangement, wiring, file) if wiring.mode == "list" else _along_rows(arrangement, wiring)
    strings = tuple(s for s in found if len(s) > 1)
    if follows_cells(panel_model(arrangement.panel_type)):
        _check_alike(arrangement, strings, file)
    return strings


def longest_string(arrangement: Arrangement, wiring: WiringTable) -> int:
    """Panels in the longest string."""
    return max((len(s) for s in strings_of(arrangement, wiring)), default=1)


def _along_rows(arrangement: Arrangement, wiring: WiringTable) -> list[IntArray]:
    strings: list[IntArray] = []
    for number in np.unique(arrangement.string):
        panels = np.flatnonzero(arrangement.string == number)
        strings += np.array_split(panels, -(-len(panels) // wiring.panels_per_string))
    return strings


def _listed(arrangement: Arrangement, wiring: WiringTable, file: str) -> list[IntArray]:
    count, faults, seen, strings = len(arrangement.scene.panels), [], set(), []
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
        strings.append(np.array(table.panels, dtype=np.int64))
    if faults:
        raise InputError(faults)
    return strings


def _check_alike(arrangement: Arrangement, strings: tuple[IntArray, ...], file: str) -> None:
    """Where cells are followed, the panels of a string need one size and one way of lying."""
    faces = np.array([p.bifacial for p in arrangement.scene.panels])
    cells = np.array([p.cells for p in arrangement.scene.panels])
    for s in strings:
        values = np.column_stack([arrangement.area_scale[s], arrangement.orientation[s], faces[s], cells[s]])
        if (values != values[0]).any():
            found = f"panel {s[0]} of '{arrangement.name}' in series with panels of another size or way of lying"
            accepted = "equal panels in a string where the type has no bypass diodes"
            raise InputError([Fault(file, "wiring", found, accepted)])
