"""[[layout.booster]]: reflectors around panels, one table for each place.

All but posts are hinged sheets: an edge, from which the sheet leads away from the panel by its width, the far edge
lifted out of the ground's or the panel's plane by its angle. The mirror side looks back to the panel. A type's first
slope is the one along that edge.
"""

from collections.abc import Mapping
from typing import Annotated, Any, Literal

from pydantic import Field

from sites.errors import Fault
from sites.tables import MISSING, Table, check_table, key_of, nearest, number, shown, text

Side = Literal["lower", "upper", "left", "right"]
ALL_SIDES: tuple[Side, ...] = ("lower", "upper", "left", "right")

Wall = Literal["north", "east", "south", "west"]


Adjust = Literal["never", "monthly"]

ANGLES = {
    "aisle": ("tilt_deg", 90.0),
    "wings": ("opening_deg", 135.0),
    "strips": ("tilt_deg", 80.0),
    "between": ("tilt_deg", 90.0),
}
"""The angle by which the sheets of each place are set by hand, and its largest value."""


def _adjust() -> Adjust:
    adjust: Adjust = key_of(
        "'monthly': work out beside it what setting the angle by hand each month would bring",
        "'never' or 'monthly'",
        "never",
    )
    return adjust


def _reflector() -> str:
    name: str = text("its reflector type", accepts="the name of a reflector type")
    return name


def _tilt(meaning: str, most: float) -> float:
    tilt: float = number(meaning, 0.0, ge=0, le=most)
    return tilt


class AisleBooster(Table):
    """Place "aisle": a strip on the ground from the foot of each row toward the row in front"""

    reflector: str = _reflector()
    place: Literal["aisle"] = key_of("a strip on the ground from each row toward the row in front", "'aisle'")
    width_m: float = number("from the near to the far edge", ge=0.02, le=50)
    tilt_deg: float = _tilt("against the ground, far edge lifted", 90)
    gap_m: float = number("horizontal, from the panels' lower edge to the near edge", 0.0, ge=0, le=50)
    adjust: Adjust = _adjust()


class WingsBooster(Table):
    """Place "wings": sheets hinged at the edges of panels that stand apart, else at those of the row"""

    reflector: str = _reflector()
    place: Literal["wings"] = key_of(
        "sheets hinged at panels' edges; where neighbours stand too close for two sheets, at the row's edges only",
        "'wings'",
    )
    sides: Annotated[tuple[Side, ...], Field(min_length=1)] = key_of(
        "edges with a sheet, left and right as seen from the front",
        "some of 'lower', 'upper', 'left', 'right'",
        ALL_SIDES,
    )
    depth_m: float = number("from the hinge to the far edge", ge=0.02, le=20)
    opening_deg: float = number("0 in the panel's plane, 90 upright on it, more leans over it", ge=0, le=135)
    adjust: Adjust = _adjust()


class StripsBooster(Table):
    """Place "strips": narrow strips in the gaps around each panel"""

    reflector: str = _reflector()
    place: Literal["strips"] = key_of("strips along all four edges of each panel, in the gaps", "'strips'")
    width_m: float = number("of each strip; two share a gap", ge=0.005, le=5)
    tilt_deg: float = _tilt("against the panel's plane, far edge lifted", 80)
    adjust: Adjust = _adjust()


class BetweenBooster(Table):
    """Place "between": sheets on the ground around each tower"""

    reflector: str = _reflector()
    place: Literal["between"] = key_of(
        "a sheet on the ground in front of each upright face with panels, as long as the face", "'between'"
    )
    width_m: float = number("from the near to the far edge", ge=0.02, le=50)
    tilt_deg: float = _tilt("against the ground, far edge lifted", 90)
    gap_m: float = number("horizontal, from the tower to the near edge", 0.0, ge=0, le=50)
    faces: tuple[Wall, ...] = key_of(
        "faces with a sheet in front; absent: all with panels", "some of 'north', 'east', 'south', 'west'", ()
    )
    adjust: Adjust = _adjust()


class PostsBooster(Table):
    """Place "posts": upright sheets beside towers"""

    reflector: str = _reflector()
    place: Literal["posts"] = key_of("an upright sheet beside each tower, half way to the next", "'posts'")
    width_m: float = number("of the sheet", ge=0.02, le=100)
    height_m: float = number("of the sheet, from the ground", ge=0.02, le=200)
    azimuth_deg: float = number("where the sheet looks; its tower stands there", ge=0, le=360)


Booster = AisleBooster | WingsBooster | StripsBooster | BetweenBooster | PostsBooster

PLACES: dict[str, type[Booster]] = {
    "aisle": AisleBooster,
    "wings": WingsBooster,
    "strips": StripsBooster,
    "between": BetweenBooster,
    "posts": PostsBooster,
}

ROW_PLACES = ("aisle", "wings", "strips")
TOWER_PLACES = ("between", "posts")
PLACES_OF_KIND = {"rows": ROW_PLACES, "upright": ROW_PLACES, "towers": TOWER_PLACES, "pieces": (), "roof": ()}


def read_boosters(value: Any, kind: str, file: str, key: str, faults: list[Fault]) -> tuple[Booster, ...]:
    """The boosters of one layout, those without fault; ``key`` is the layout's dotted path."""
    if kind == "pieces":
        found = "boosters of a layout of pieces"
        faults.append(Fault(file, f"{key}.booster", found, "[[layout.reflector]], each piece for itself"))
        return ()
    if kind == "roof":
        found = "boosters of a roof"
        faults.append(Fault(file, f"{key}.booster", found, "none: the command retrofit finds reflectors for a roof"))
        return ()
    if not isinstance(value, list):
        faults.append(Fault(file, f"{key}.booster", shown(value), "tables, [[layout.booster]]"))
        return ()
    read = (_booster(table, kind, file, f"{key}.booster[{i}]", faults) for i, table in enumerate(value))
    return tuple(booster for booster in read if booster is not None)


def _booster(table: Any, kind: str, file: str, key: str, faults: list[Fault]) -> Booster | None:
    """One booster by its place."""
    if not isinstance(table, Mapping):
        faults.append(Fault(file, key, shown(table), "a table, [[layout.booster]]"))
        return None
    place, places = table.get("place"), PLACES_OF_KIND[kind]
    if not isinstance(place, str) or place not in places:
        found = MISSING if place is None else shown(place)
        if isinstance(place, str) and place in PLACES:
            found += f" in a layout of kind {kind!r}"
        accepted = nearest(place, places) if isinstance(place, str) else nearest("", places)
        faults.append(Fault(file, f"{key}.place", found, accepted))
        return None
    return check_table(PLACES[place], table, file, key, faults)
