"""The tables [optimise] and [prices] of a plan file."""

import re
from collections.abc import Mapping
from typing import Annotated, Any, Literal, get_args

from pydantic import Field

from layout.booster_tables import ALL_SIDES, PLACES, ROW_PLACES, Booster
from layout.plan_tables import Face, Layout, RowsLayout, TowersLayout, UprightLayout
from sites.tables import Table, key_of, number, text, whole

Objective = Literal["kwh_per_m2_plot", "energy_ac_kwh", "kwh_per_m2_panel", "cost_per_kwh"]
BOOSTER_KEY = re.compile(r"^booster\[(\d)\]\.(\w+)$")
FIXED = (
    "name", "kind", "place", "booster", "cover", "positions_m", "row_columns", "sites", "sides", "faces", "adjust",
    "reflector", "panel", "orientation",
)  # fmt: skip
"""Keys without a number."""

WORDS = ("orientation", "panel", "faces")
"""Keys of a layout that ``choices`` may vary."""

BOOSTER_WORDS = ("reflector", "place", "sides", "faces")
"""The same of a booster."""

SEVERAL = ("sides", "faces")
"""Those that hold several words; a choice gives them parted by commas."""

SAME_IN_PLACE = {"width_m": "depth_m", "depth_m": "width_m", "tilt_deg": "opening_deg", "opening_deg": "tilt_deg"}
"""A sheet's depth and angle have other names in other places; a booster that changes its place keeps them."""

Value = float | str
"""What a key that varies may have."""


class VaryTable(Table):
    """[[optimise.vary]]"""

    layout: str = text("the layout that varies", accepts="the name of a layout")
    key: str = text(
        "its key; of a booster: booster[0].width_m",
        accepts="a key of that layout",
    )
    low: float | None = number("smallest value; needed unless choices are given", None)
    high: float | None = number("largest value; needed unless choices are given", None)
    step: float | None = number("values lie so far apart, from low on; absent: a 256th of the range", None, gt=0)
    choices: tuple[str, ...] = key_of(
        "instead of low and high, words to choose from: orientation, panel, faces of towers ('east, west'), "
        "booster[0].reflector, .place (aisle, wings, strips; depth and angle are kept), .sides, .faces",
        "at least two words",
        (),
    )

    @property
    def range(self) -> tuple[float, float]:
        """Smallest and largest value. Raises ValueError where the table gives choices."""
        if self.low is None or self.high is None:
            raise ValueError(f"{self.key} has no range")
        return self.low, self.high


class LimitsTable(Table):
    """[optimise.limits]; absent: no limit"""

    panels: int | None = whole("most panels", None, ge=1, le=1_000_000)
    dc_capacity_kw: float | None = number("most rated power", None, gt=0, le=1e6)
    reflector_area_m2: float | None = number("most area of reflectors", None, ge=0, le=1e7)
    height_m: float | None = number("highest edge of panels and sheets above the ground", None, gt=0, le=500)
    aisle_m: float | None = number("least free ground between rows or towers, sheets left out", None, ge=0, le=500)
    hottest_cell_c: float | None = number("hottest cell", None, ge=0, le=300)
    peak_cell_ratio: float | None = number("brightest cell over its panel's mean", None, ge=1, le=1000)
    light_from_beyond_plot_fraction: float | None = number(
        "most share of the sunlight that would otherwise have reached the ground outside the plot", None, ge=0, le=1
    )
    money: float | None = number("most money at the beginning, by [prices]", None, gt=0, le=1e12)


class PositionsTable(Table):
    """[optimise.positions]; may be empty; absent: the regular pattern stays"""

    layouts: tuple[str, ...] = key_of(
        "layouts that are placed; absent: all of kind rows, upright and towers that vary, or all where nothing varies",
        "names of layouts",
        (),
    )
    rows_net_m: float = number("rows may begin at places so far apart", 0.2, ge=0.05, le=10)
    sites_net_m: float | None = number(
        "towers may stand at places so far apart; absent: some 60 places", None, ge=0.1, le=100
    )
    gap_pct: float = number("the solver stops once no choice can be better by more", 0.5, ge=0, le=20)
    time_s: float = number("or after so many seconds", 60.0, ge=1, le=3600)
    mixed: tuple[tuple[str, str], ...] = key_of(
        "pairs of layouts that may share the plot, one in front of the other", "pairs of layouts' names", ()
    )


class OptimiseTable(Table):
    """[optimise]"""

    objective: Objective = key_of(
        "what is to be best",
        "'kwh_per_m2_plot', 'energy_ac_kwh', 'kwh_per_m2_panel' or 'cost_per_kwh'",
        "kwh_per_m2_plot",
    )
    second: Objective | None = key_of(
        "a second aim, weighed against the first by the product of powers", "as objective", None
    )
    weight: float = number("power of the first aim, that of the second is the rest to 1", 0.5, ge=0, le=1)
    evaluations: int = whole("shapes of a layout that the search works out at most", 120, ge=5, le=100_000)
    vary: Annotated[tuple[VaryTable, ...], Field(max_length=40)] = key_of(
        "what may vary; needed without positions", "tables, [[optimise.vary]]", ()
    )
    limits: LimitsTable = key_of("what has to be kept", "a table, [optimise.limits]", LimitsTable())
    positions: PositionsTable | None = key_of(
        "rows and towers placed one by one on the plot", "a table, [optimise.positions]", None
    )


class PricesTable(Table):
    """[prices]; all in one currency"""

    panel: float = number("of one panel", 0.0, ge=0, le=1e6)
    support_rows: float = number("support and wiring of one panel in rows", 0.0, ge=0, le=1e6)
    support_upright: float = number("the same in upright rows", 0.0, ge=0, le=1e6)
    support_towers: float = number("the same on towers", 0.0, ge=0, le=1e6)
    support_other: float = number("the same in other layouts", 0.0, ge=0, le=1e6)
    reflector_m2: float = number("of one m² of reflector, support included", 0.0, ge=0, le=1e6)
    land_m2: float = number("of one m² of plot", 0.0, ge=0, le=1e6)
    per_kw: float = number("inverter and connection, per kW of rated power", 0.0, ge=0, le=1e6)
    upkeep_kw_year: float = number("yearly upkeep per kW of rated power", 0.0, ge=0, le=1e6)
    discount_pct: float = number("yearly discount rate", 5.0, ge=0, le=50)
    years: int = whole("of use", 25, ge=1, le=100)
    degradation_pct: float = number("energy lost from year to year", 0.5, ge=0, le=10)


def variable_keys(layout: Layout) -> list[str]:
    """Keys of a layout that hold one number."""
    if not isinstance(layout, RowsLayout | UprightLayout | TowersLayout):
        return []
    found = [k for k, v in layout if k not in FIXED and isinstance(v, int | float) and not isinstance(v, bool)]
    for i, booster in enumerate(layout.booster):
        found += [f"booster[{i}].{k}" for k, v in booster if isinstance(v, int | float)]
    return found


def word_keys(layout: Layout) -> list[str]:
    """Keys of a layout that hold words which may vary."""
    if not isinstance(layout, RowsLayout | UprightLayout | TowersLayout):
        return []
    found = [k for k, _ in layout if k in WORDS]
    for i, booster in enumerate(layout.booster):
        found += [f"booster[{i}].{k}" for k, _ in booster if k in BOOSTER_WORDS and (k != "place" or movable(booster))]
    return found


def movable(booster: Booster) -> bool:
    """Whether a booster may change its place: those of rows, which all have a depth and an angle."""
    return booster.place in ROW_PLACES


def words_for(layout: Layout, key: str) -> tuple[str, ...] | None:
    """Words that a key of a layout may have; None where they are names of types."""
    match = BOOSTER_KEY.match(key)
    word = match[2] if match else key
    if word == "orientation":
        return ("landscape", "portrait")
    if word == "place":
        return ROW_PLACES
    if word == "sides":
        return ALL_SIDES
    if word == "faces":
        return ("north", "east", "south", "west") if match else get_args(Face)
    return None


def whole_number(layout: Layout, key: str) -> bool:
    """Whether a key of a layout holds whole numbers only."""
    match = BOOSTER_KEY.match(key)
    return isinstance(getattr(layout.booster[int(match[1])], match[2]) if match else getattr(layout, key), int)  # type: ignore[union-attr]


def accepted_by(layout: Layout, key: str) -> str:
    """What a key of a layout may have, in words."""
    match = BOOSTER_KEY.match(key)
    table, word = (layout.booster[int(match[1])], match[2]) if match else (layout, key)  # type: ignore[union-attr]
    extra = type(table).model_fields[word].json_schema_extra
    return str(extra["accepts"]) if isinstance(extra, dict) else "another value"


def with_values(layout: Layout, values: Mapping[str, Value]) -> Layout:
    """The layout with some of its values set. Raises pydantic.ValidationError where one is out of its range."""
    told = layout.model_dump()
    boosters = [dict(b) for b in told.get("booster", ())]
    set_values(told, boosters, values)
    rest = {k: v for k, v in told.items() if k != "booster"}
    made = type(layout).model_validate(rest)
    return made.model_copy(update={"booster": tuple(PLACES[b["place"]].model_validate(b) for b in boosters)})


def set_values(table: dict[str, Any], boosters: list[dict[str, Any]], values: Mapping[str, Value]) -> None:
    """Set values in a layout's table and those of its boosters; a booster's place before its other keys."""
    for key, value in sorted(values.items(), key=lambda kv: not kv[0].endswith(".place")):
        match = BOOSTER_KEY.match(key)
        into, word = (boosters[int(match[1])], match[2]) if match else (table, key)
        if match and word == "place":
            _move(into, str(value))
        elif match and word not in PLACES[into["place"]].model_fields:
            if SAME_IN_PLACE.get(word) in PLACES[into["place"]].model_fields:
                into[SAME_IN_PLACE[word]] = value
        elif word in SEVERAL:
            into[word] = [w.strip() for w in str(value).split(",")]
        elif isinstance(value, str):
            into[word] = value
        else:
            into[word] = round(value) if isinstance(into.get(word), int) and value == round(value) else float(value)


def _move(booster: dict[str, Any], place: str) -> None:
    """Give a booster another place: its depth and angle by their names there, what has no sense there left out."""
    keys = PLACES[place].model_fields
    for old, new in SAME_IN_PLACE.items():
        if old in booster and old not in keys and new in keys:
            booster[new] = booster.pop(old)
    for key in [k for k in booster if k not in keys]:
        del booster[key]
    booster["place"] = place
    if place == "wings":
        booster.setdefault("opening_deg", 0.0)
