"""The table [wiring] of a plan file."""

from collections.abc import Mapping
from typing import Annotated, Any, Literal

import numpy as np
from pydantic import Field

from sites.errors import Fault
from sites.tables import Table, check_table, key_of, nearest, number, shown, text, whole

PanelNumber = Annotated[int, Field(strict=True, ge=0)]

LONGEST_STRING = 60
"""Panels; 1500 V over some 25 V, the largest system voltage and the smallest panels of the trade: our choice."""

MOST_IN_PARALLEL = 40
"""Strings on one tracker; more belong to a central inverter that nobody puts on uneven light: our choice."""

HIGHEST_V = 2000.0
"""Volts; above the largest system voltage of the trade, 1500 V: our choice."""


class StringTable(Table):
    """[[wiring.string]]: one string of mode = "list" """

    layout: str = text("the layout whose panels they are", accepts="the name of a layout")
    panels: Annotated[tuple[PanelNumber, ...], Field(min_length=1, max_length=LONGEST_STRING)] = key_of(
        "its panels, counted from 0 in the order built", f"1 to {LONGEST_STRING} whole numbers from 0"
    )
    tracker: int | None = whole(
        "the tracker it hangs on: strings of a layout with one number are in parallel; absent: one of its own",
        None,
        ge=0,
        le=9999,
    )


class WiringTable(Table):
    """[wiring]"""

    mode: Literal["panel", "row", "list"] = key_of(
        "panel: electronics of its own on each panel; row: strings along each row, level or tower face; list: "
        "[[wiring.string]], the rest with electronics of their own",
        "'panel', 'row' or 'list'",
        "panel",
    )
    panels_per_string: int = whole("most panels of a string of mode row", 12, ge=1, le=LONGEST_STRING)
    strings_per_tracker: int = whole(
        "most strings of mode row in parallel on one tracker: strings of equal length, in the order built",
        1,
        ge=1,
        le=MOST_IN_PARALLEL,
    )
    tracker_min_v: float = number("lowest voltage that a tracker of strings can hold", 0.0, ge=0, le=HIGHEST_V)
    tracker_max_v: float | None = number(
        "highest voltage that a tracker of strings can hold; absent: any", None, gt=0, le=HIGHEST_V
    )
    string: tuple[StringTable, ...] = key_of("the strings of mode list", "tables, [[wiring.string]]", ())

    @property
    def window_v(self) -> tuple[float, float]:
        """Lowest and highest voltage that a tracker of strings can hold."""
        return self.tracker_min_v, float("inf") if self.tracker_max_v is None else self.tracker_max_v

    @property
    def any_voltage(self) -> bool:
        """Whether its trackers hold any voltage."""
        return self.window_v == (0.0, float("inf"))

    @property
    def in_parallel(self) -> bool:
        """Whether some tracker may have more than one string."""
        return self.strings_per_tracker > 1 or any(s.tracker is not None for s in self.string)

    @property
    def source(self) -> str:
        """What the step from panels to strings rests on."""
        if self.mode == "panel":
            return "panel-level electronics" + ("" if "mode" in self.model_fields_set else ", our assumption")
        return f"up to {self.panels_per_string} panels, one current" if self.mode == "row" else "strings of the plan"

    @property
    def trackers(self) -> str:
        """What the step from strings to trackers rests on."""
        if self.mode == "list":
            return "trackers of the plan, one voltage"
        return f"up to {self.strings_per_tracker} strings, one voltage"

    @property
    def window(self) -> str:
        """The trackers' voltages in words."""
        low, high = self.window_v
        if np.isinf(high):
            return f"from {low:g} V" if low else "any voltage"
        return f"{low:g} to {high:g} V"


PANEL_LEVEL = WiringTable()


def read_wiring(data: Mapping[str, Any], file: str, faults: list[Fault], warnings: list[str]) -> WiringTable | None:
    """How panels are put in series and strings on trackers; listed strings name a layout of the plan and belong to mode
    list, trackers to strings."""
    table = check_table(WiringTable, data.get("wiring", {}), file, "wiring", faults)
    if table is None:
        return None
    if (table.mode == "list") != bool(table.string):
        found = f"{shown(table.mode)} with {len(table.string)} [[wiring.string]]"
        faults.append(Fault(file, "wiring.mode", found, "'list' with at least one [[wiring.string]], or none"))
    layouts = data.get("layout")
    names = [t.get("name") for t in layouts if isinstance(t, Mapping)] if isinstance(layouts, list) else []
    known = [name for name in names if isinstance(name, str)]
    for index, string in enumerate(table.string):
        if known and string.layout not in known:
            key = f"wiring.string[{index}].layout"
            faults.append(Fault(file, key, shown(string.layout), nearest(string.layout, known)))
    faults.extend(_tracker_faults(table, file))
    warnings.extend(_unequal_strings(table))
    return table


def _tracker_faults(table: WiringTable, file: str) -> list[Fault]:
    """Keys of trackers that go with no string, and a window without inside."""
    faults = []
    if table.strings_per_tracker > 1 and table.mode != "row":
        found = f"{table.strings_per_tracker} with mode {shown(table.mode)}"
        accepted = "1, or mode 'row'; mode 'list' takes tracker = NUMBER in each [[wiring.string]]"
        faults.append(Fault(file, "wiring.strings_per_tracker", found, accepted))
    if table.mode == "panel":
        for key in ("tracker_min_v", "tracker_max_v"):
            if key in table.model_fields_set:
                found = f"{getattr(table, key):g} with mode 'panel'"
                faults.append(Fault(file, f"wiring.{key}", found, "only with mode 'row' or 'list'"))
    low, high = table.window_v
    if low >= high:
        faults.append(Fault(file, "wiring.tracker_min_v", f"{low:g}", f"a number below tracker_max_v, {high:g}"))
    return faults


def _unequal_strings(table: WiringTable) -> list[str]:
    """Trackers with listed strings of unequal length: they pull each other off their best voltage."""
    lengths: dict[tuple[str, int], list[int]] = {}
    for string in table.string:
        if string.tracker is not None:
            lengths.setdefault((string.layout, string.tracker), []).append(len(string.panels))
    return [
        f"wiring: tracker {number} of '{layout}' has strings of {min(found)} to {max(found)} panels in parallel; "
        "strings of equal length are usual"
        for (layout, number), found in lengths.items()
        if min(found) != max(found)
    ]
