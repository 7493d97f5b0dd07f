"""The table [wiring] of a plan file."""

from typing import Annotated, Literal

from pydantic import Field

from sites.tables import Table, key_of, text, whole

PanelNumber = Annotated[int, Field(strict=True, ge=0)]

LONGEST_STRING = 60
"""Panels; 1500 V over some 25 V, the largest system voltage and the smallest panels of the trade: our choice."""


class StringTable(Table):
    """[[wiring.string]]: one string of mode = "list" """

    layout: str = text("the layout whose panels they are", accepts="the name of a layout")
    panels: Annotated[tuple[PanelNumber, ...], Field(min_length=1, max_length=LONGEST_STRING)] = key_of(
        "its panels, counted from 0 in the order built", f"1 to {LONGEST_STRING} whole numbers from 0"
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
    string: tuple[StringTable, ...] = key_of("the strings of mode list", "tables, [[wiring.string]]", ())

    @property
    def source(self) -> str:
        """What the step from panels to strings rests on."""
        if self.mode == "panel":
            return "panel-level electronics" + ("" if "mode" in self.model_fields_set else ", our assumption")
        return f"up to {self.panels_per_string} panels, one current" if self.mode == "row" else "strings of the plan"


PANEL_LEVEL = WiringTable()
