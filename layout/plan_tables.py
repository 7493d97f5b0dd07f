"""The tables of a plan file, one model each; what they accept stands at their keys.

A new table is a new model here, read in ``plan.parse_plan``; a new kind of layout is
a new model in ``LAYOUT_KINDS``.
"""

from typing import Annotated, Literal

from pydantic import Field

from layout.booster_tables import Booster
from layout.piece_tables import PanelPieceTable, PieceTable
from layout.roof_tables import RoofLayout
from layout.sheet_tables import CoverTable, DiffuserPieceTable, ReflectorPieceTable
from sites.tables import Number, Table, flag, key_of, number, text, whole

OUR_ASSUMPTION = "our assumption"

INVERTER_PCT = (93.5, 95.8, 97.1, 97.4, 97.6, 97.9, 97.8, 97.4)
"""Our assumption: an invented inverter without transformer, typical of the trade."""

Face = Literal["north", "east", "south", "west", "top"]
ALL_FACES: tuple[Face, ...] = ("north", "east", "south", "west", "top")

NAME_PATTERN = r"^[\w][\w .+-]{0,39}$"
NAME_ACCEPTS = "up to 40 letters, digits, spaces and . _ + -"

Orientation = Literal["portrait", "landscape"]
Efficiency = Annotated[float, Field(strict=True, gt=0.0, le=100.0, allow_inf_nan=False)]
Eight = Annotated[tuple[Efficiency, ...], Field(min_length=8, max_length=8)]
ColumnCount = Annotated[int, Field(strict=True, ge=1)]
CellCount = Annotated[int, Field(strict=True, ge=1, le=200)]


class PanelTable(Table):
    """[panel] with datasheet values at standard test conditions"""

    length_m: float = number("longer edge", ge=0.01, le=10)
    width_m: float = number("the other edge", ge=0.01, le=10)
    cells: tuple[CellCount, CellCount] = key_of(
        "cells along the length, along the width", "two whole numbers from 1 to 200"
    )
    half_cut: bool = flag("two halves in parallel, one above the other along the length", False)
    bypass_groups: int = whole("groups of cells with a bypass diode each; 0: no diode", 3, ge=0, le=200)
    group_direction: Literal["length", "width"] = key_of(
        "the edge along which each group is a strip", "'length' or 'width'", "length"
    )
    pmax_w: float = number("rated power", ge=0.01)
    vmp_v: float = number("voltage at rated power", ge=0.1)
    imp_a: float = number("current at rated power", ge=0.001)
    voc_v: float = number("open-circuit voltage", ge=0.1)
    isc_a: float = number("short-circuit current", ge=0.001)
    alpha_isc_pct_per_k: float = number("change of isc_a with temperature", ge=-0.5, le=0.5)
    beta_voc_pct_per_k: float = number("change of voc_v with temperature", ge=-1, lt=0)
    gamma_pmax_pct_per_k: float = number("change of pmax_w with temperature", ge=-1.5, le=0.5)
    bifaciality: float = number("rear over front power; 0: one face", 0.0, ge=0, le=1)
    max_cell_c: float | None = number("hottest cell that the maker allows", None, ge=40, le=200)
    max_light_w_m2: float | None = number("brightest light that the maker allows", None, ge=500, le=100_000)
    u0_w_m2_k: float = number("heat loss in still air (Faiman's U0)", 25.0, ge=2, le=200)
    u1_w_s_m3_k: float = number("heat loss with wind (Faiman's U1)", 6.84, ge=0, le=100)
    note: str = text("a remark", " ")


class NamedPanelTable(Table):
    """[panel] with the name of a bundled type"""

    name: str = text("a bundled panel type", accepts="the name of a bundled panel type")


class InverterTable(Table):
    """[inverter]"""

    ac_limit_kw: float | None = number("most that leaves the inverter; absent: no clipping", None, gt=0)
    start_kw: float = number("DC power below which the inverter stays off", 0.0, ge=0, le=10_000)
    efficiency_pct: Eight = key_of(
        "efficiency at 5, 10, 20, 25, 30, 50, 75 and 100 % of rated power",
        "eight numbers above 0 to 100",
        INVERTER_PCT,
    )


class LossTable(Table):
    """[losses]; each acts on what is left by the steps before it"""

    soiling_pct: float = number("light kept off by dust, pollen and droppings", 2.0, ge=0, lt=100)
    wiring_pct: float = number("heat in the DC cables, mean of the year", 1.0, ge=0, lt=100)
    availability_pct: float = number("AC energy of hours in which the plant stands still", 0.5, ge=0, lt=100)

    @property
    def soiling_source(self) -> str:
        """Where the figure comes from."""
        return self._source("soiling_pct")

    @property
    def wiring_source(self) -> str:
        """Where the figure comes from."""
        return self._source("wiring_pct")

    @property
    def availability_source(self) -> str:
        """Where the figure comes from."""
        return self._source("availability_pct")

    def _source(self, key: str) -> str:
        return "the plan" if key in self.model_fields_set else OUR_ASSUMPTION


class RunTable(Table):
    """[run]; ways of working"""

    full_cells: bool = flag("trace every cell instead of a coarser net of points", False)
    repetition: bool = flag("trace panels with equal surroundings once", True)
    bounces: int = whole("reflectors that light may meet on its way", 1, ge=1, le=3)


def _name() -> str:
    name: str = key_of("its name in the results", NAME_ACCEPTS, strict=True, pattern=NAME_PATTERN)
    return name


def _panel() -> str | None:
    name: str | None = text("a bundled panel type for this layout", None, "the name of a bundled panel type")
    return name


def _boosters() -> tuple[Booster, ...]:
    boosters: tuple[Booster, ...] = key_of("reflectors around the panels", "tables, [[layout.booster]]", ())
    return boosters


def _positions() -> tuple[float, ...]:
    positions: tuple[Number, ...] = key_of(
        "lower edge of each row from the plot's origin, horizontal, away from azimuth_deg; pitch_m then counts for the "
        "pattern without end only",
        "numbers in metres, rising",
        (),
    )
    return positions


def _row_columns() -> tuple[int, ...]:
    columns: tuple[ColumnCount, ...] = key_of(
        "most panels side by side in each row of positions_m; absent: as many as fit",
        "whole numbers from 1, one for each of positions_m",
        (),
    )
    return columns


def _cover() -> CoverTable | None:
    cover: CoverTable | None = key_of("a see-through sheet over each panel", "a table, [layout.cover]", None)
    return cover


class RowsLayout(Table):
    """[[layout]] with kind = "rows": tilted rows"""

    name: str = _name()
    kind: Literal["rows"] = key_of("what it is", "'rows'")
    tilt_deg: float = number("of the panels", ge=0, le=90)
    azimuth_deg: float = number("where the panels face", ge=0, le=360)
    pitch_m: float = number("from row to row, horizontal", ge=0.05, le=200)
    positions_m: tuple[Number, ...] = _positions()
    row_columns: tuple[ColumnCount, ...] = _row_columns()
    clearance_m: float = number("lower edge above the ground vertically below", 0.6, ge=0, le=50)
    panels_high: int = whole("panels one above the other", 1, ge=1, le=20)
    orientation: Orientation = key_of(
        "which edge lies along the row: landscape the length, portrait the width",
        "'portrait' or 'landscape'",
        "landscape",
    )
    panel_gap_m: float = number("between neighbouring panels", 0.02, ge=0, le=5)
    panel: str | None = _panel()
    booster: tuple[Booster, ...] = _boosters()
    cover: CoverTable | None = _cover()


class UprightLayout(Table):
    """[[layout]] with kind = "upright": rows of panels on edge"""

    name: str = _name()
    kind: Literal["upright"] = key_of("what it is", "'upright'")
    azimuth_deg: float = number("where the fronts face", ge=0, le=360)
    pitch_m: float = number("from row to row, horizontal", ge=0.05, le=200)
    positions_m: tuple[Number, ...] = _positions()
    row_columns: tuple[ColumnCount, ...] = _row_columns()
    clearance_m: float = number("lower edge above the ground vertically below", 0.6, ge=0, le=50)
    panels_high: int = whole("panels one above the other", 1, ge=1, le=20)
    orientation: Orientation = key_of(
        "which edge lies along the row: landscape the length, portrait the width",
        "'portrait' or 'landscape'",
        "landscape",
    )
    panel_gap_m: float = number("between neighbouring panels", 0.02, ge=0, le=5)
    panel: str | None = _panel()
    booster: tuple[Booster, ...] = _boosters()
    cover: CoverTable | None = _cover()


class TowersLayout(Table):
    """[[layout]] with kind = "towers": square towers on a square grid"""

    name: str = _name()
    kind: Literal["towers"] = key_of("what it is", "'towers'")
    side_m: float = number("edge of the square base", ge=0.05, le=100)
    height_m: float = number("of the box", ge=0.05, le=200)
    base_height_m: float = number("box above the highest ground under it", 0.0, ge=0, le=50)
    spacing_m: float = number("from centre to centre, along both axes of the grid", ge=0.05, le=500)
    sites: tuple[tuple[Number, Number], ...] = key_of(
        "middle of each tower; spacing_m then counts for the pattern without end only", "pairs [x, y] in metres", ()
    )
    azimuth_deg: float = number("turn of towers and grid, clockwise", 0.0, ge=0, le=360)
    faces: Annotated[tuple[Face, ...], Field(min_length=1)] = key_of(
        "faces with panels; the others are opaque",
        "some of 'north', 'east', 'south', 'west', 'top'",
        ALL_FACES,
    )
    panel: str | None = _panel()
    booster: tuple[Booster, ...] = _boosters()
    cover: CoverTable | None = _cover()


class PiecesLayout(Table):
    """[[layout]] with kind = "pieces": rectangles, each for itself"""

    name: str = _name()
    kind: Literal["pieces"] = key_of("what it is", "'pieces'")
    panel: Annotated[tuple[PanelPieceTable, ...], Field(min_length=1)] = key_of(
        "the panels", "at least one table, [[layout.panel]]"
    )
    blocker: tuple[PieceTable, ...] = key_of("opaque rectangles", "tables, [[layout.blocker]]", ())
    reflector: tuple[ReflectorPieceTable, ...] = key_of("reflecting rectangles", "tables, [[layout.reflector]]", ())
    diffuser: tuple[DiffuserPieceTable, ...] = key_of("see-through rectangles", "tables, [[layout.diffuser]]", ())
    cover: CoverTable | None = _cover()


Layout = RowsLayout | UprightLayout | TowersLayout | PiecesLayout | RoofLayout

LAYOUT_KINDS: dict[
    str, type[RowsLayout] | type[UprightLayout] | type[TowersLayout] | type[PiecesLayout] | type[RoofLayout]
] = {
    "rows": RowsLayout,
    "upright": UprightLayout,
    "towers": TowersLayout,
    "pieces": PiecesLayout,
    "roof": RoofLayout,
}
