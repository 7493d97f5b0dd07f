"""[[layout]] with kind = "roof": panels that already stand on one or more roof planes.

Places on a plane are told as on a drawing of it, seen from outside: the first number runs to the right along the
eave, the second up the slope, both in true metres from the plane's origin.
"""

from typing import Annotated, Literal

from pydantic import Field

from layout.sheet_tables import CoverTable
from sites.tables import Number, Outline, Point, Table, key_of, number, text, whole

OUTLINE_ACCEPTS = "at least 3 corners [right, up] in metres"
Edge = Annotated[float, Field(strict=True, ge=0.05, le=10.0, allow_inf_nan=False)]
Way = Literal["portrait", "landscape"]
Above = Annotated[float, Field(strict=True, ge=0.0, le=20.0, allow_inf_nan=False)]
Place = tuple[Number, Number, Above]
PLACE_ACCEPTS = "[right, up, above] in metres, above from 0 to 20"


def _at() -> Point:
    point: Point = key_of("lower left corner on the plane, as seen from outside", "[right, up] in metres")
    return point


def _size() -> tuple[float, float] | None:
    size: tuple[float, float] | None = key_of(
        "edges [along, up] of a panel of another size; its power goes with its area",
        "two numbers from 0.05 to 10",
        None,
    )
    return size


def _way() -> Way:
    way: Way = key_of(
        "which edge lies along: landscape the length, portrait the width", "'portrait' or 'landscape'", "portrait"
    )
    return way


def _frame() -> float:
    tilt: float = number("tilt against the roof, the lower edge held", 0.0, ge=0, le=90)
    return tilt


def _turn() -> float:
    turn: float = number(
        "turn on the roof about the lower left corner, clockwise as seen from outside", 0.0, ge=0, le=360
    )
    return turn


def _standoff() -> float:
    gap: float = number("from the roof to the panel's lower edge", 0.12, ge=0.01, le=5)
    return gap


class RoofPanelTable(Table):
    """[[layout.plane.panel]]: one panel"""

    at: Point = _at()
    size_m: tuple[Edge, Edge] | None = _size()
    orientation: Way = _way()
    frame_tilt_deg: float = _frame()
    turn_deg: float = _turn()
    standoff_m: float = _standoff()


class RoofGridTable(Table):
    """[[layout.plane.grid]]: equal panels in rows and columns, counted row by row from the lower left"""

    at: Point = _at()
    columns: int = whole("panels side by side", ge=1, le=500)
    rows: int = whole("rows one above the other, or one behind the other", 1, ge=1, le=500)
    gap_m: float = number("between neighbours in a row", 0.02, ge=0, le=20)
    row_gap_m: float = number(
        "between rows, along the roof: from a row's upper edge, seen at right angles to the roof, to the next", 0.02,
        ge=0, le=50,
    )  # fmt: skip
    size_m: tuple[Edge, Edge] | None = _size()
    orientation: Way = _way()
    frame_tilt_deg: float = _frame()
    turn_deg: float = _turn()
    standoff_m: float = _standoff()


class RoofReflectorTable(Table):
    """[[layout.plane.reflector]]: a sheet that stands on the roof; it leads from its near edge to the left of the way
    from near_from to near_to, as seen from outside, and mirrors back over that edge"""

    name: str = text("what it is, such as its number on a drawing", "reflector")
    type: str = text("its type", accepts="the name of a reflector type")
    near_from: Place = key_of("one end of the near edge", PLACE_ACCEPTS)
    near_to: Place = key_of("its other end", PLACE_ACCEPTS)
    width_m: float = number("from the near to the far edge", ge=0.005, le=10)
    tilt_deg: float = number(
        "turn about the near edge: 0 lies along the roof, above 0 the far edge is lifted", ge=-180, le=180
    )


class RoofPathTable(Table):
    """[[layout.plane.path]]: access that has to stay clear"""

    name: str = text("what it is", "access path")
    outline: Outline = key_of("where no part may lie", OUTLINE_ACCEPTS)


class RoofObstacleTable(Table):
    """[[layout.plane.obstacle]]: chimney, dormer, anything upright"""

    name: str = text("what it is", "chimney")
    outline: Outline = key_of("its outline on the plane", OUTLINE_ACCEPTS)
    height_m: float = number("vertical, above the highest roof under it", gt=0, le=50)


class RoofPlaneTable(Table):
    """[[layout.plane]]"""

    name: str = text("what it is", "roof")
    origin: tuple[Number, Number] = key_of("where [0, 0] of the plane lies on the map", "[x, y] in metres")
    height_m: float = number("of [0, 0] above the ground below it", ge=0, le=500)
    tilt_deg: float = number("of the plane", ge=0, le=80)
    azimuth_deg: float = number("where the plane faces; of a flat roof, where 'down' on its drawing is", ge=0, le=360)
    outline: Outline = key_of("the plane's outline", OUTLINE_ACCEPTS)
    edge_clearance_m: float = number("strip along the outline where no part may lie", 0.0, ge=0, le=20)
    grid: tuple[RoofGridTable, ...] = key_of("panels in rows and columns", "tables, [[layout.plane.grid]]", ())
    panel: tuple[RoofPanelTable, ...] = key_of("panels one by one", "tables, [[layout.plane.panel]]", ())
    reflector: tuple[RoofReflectorTable, ...] = key_of(
        "reflectors that stand there", "tables, [[layout.plane.reflector]]", ()
    )
    path: tuple[RoofPathTable, ...] = key_of("access that stays clear", "tables, [[layout.plane.path]]", ())
    obstacle: tuple[RoofObstacleTable, ...] = key_of(
        "chimneys, dormers and the like", "tables, [[layout.plane.obstacle]]", ()
    )


ROOF_TABLES: tuple[tuple[str, type[Table]], ...] = (
    ("[[layout.plane]]", RoofPlaneTable),
    ("[[layout.plane.grid]]", RoofGridTable),
    ("[[layout.plane.panel]]", RoofPanelTable),
    ("[[layout.plane.reflector]]", RoofReflectorTable),
    ("[[layout.plane.path]]", RoofPathTable),
    ("[[layout.plane.obstacle]]", RoofObstacleTable),
)
"""The tables inside a roof, for the README."""


class RoofLayout(Table):
    """[[layout]] with kind = "roof": panels that stand on roof planes already"""

    name: str = key_of(
        "its name in the results",
        "up to 40 letters, digits, spaces and . _ + -",
        strict=True,
        pattern=r"^[\w][\w .+-]{0,39}$",
    )
    kind: Literal["roof"] = key_of("what it is", "'roof'")
    plane: Annotated[tuple[RoofPlaneTable, ...], Field(min_length=1, max_length=50)] = key_of(
        "the roof's planes", "1 to 50 tables, [[layout.plane]]"
    )
    close_u0_factor: float = number(
        "on u0_w_m2_k of the panel type where panels lie within 0.3 m of the roof and along it: air passes one face "
        "only; common practice, no source",
        0.75, ge=0.2, le=1,
    )  # fmt: skip
    panel: str | None = text("a bundled panel type for this layout", None, "the name of a bundled panel type")
    cover: CoverTable | None = key_of("a see-through sheet over each panel", "a table, [layout.cover]", None)
