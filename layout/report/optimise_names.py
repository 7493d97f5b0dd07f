"""Names of what varies, of aims and of limits, with their units, as people read them."""

import re
from collections.abc import Mapping, Sequence

from layout.optimise_tables import BOOSTER_KEY, OptimiseTable, Value
from layout.report.numbers import number

UNITS = (("_m2", "m²"), ("_deg", "°"), ("_kw", "kW"), ("_pct", "%"), ("_c", "°C"), ("_m", "m"))
"""Ends of keys and their units, longer ends first."""

AIMS = {
    "kwh_per_m2_plot": ("energy per m² of plot", "kWh/m² a year"),
    "energy_ac_kwh": ("energy at the socket", "kWh a year"),
    "kwh_per_m2_panel": ("energy per m² of panel", "kWh/m² a year"),
    "cost_per_kwh": ("cost of a kWh", "money a kWh"),
}
"""Objectives of a plan: in words, and their unit."""

LIMITS = {
    "panels": "panels",
    "dc_capacity_kw": "rated power",
    "reflector_area_m2": "area of reflectors",
    "height_m": "height above the ground",
    "aisle_m": "free ground between rows",
    "hottest_cell_c": "hottest cell",
    "peak_cell_ratio": "brightest cell over its panel's mean",
    "money": "money at the beginning",
    "light_from_beyond_plot_fraction": "share of the beam from beyond the plot",
}
"""Keys of [optimise.limits] in words; others are told by their key."""


def parted(key: str) -> tuple[str, str]:
    """A key as words and unit.

    >>> parted("pitch_m"), parted("booster[0].tilt_deg"), parted("panels_high")
    (('pitch', 'm'), ('tilt of booster 1', '°'), ('panels high', ''))
    """
    match = BOOSTER_KEY.match(key)
    if match:
        words, unit = parted(match[2])
        return f"{words} of booster {int(match[1]) + 1}", unit
    for end, unit in UNITS:
        if key.endswith(end):
            return re.sub("_", " ", key[: -len(end)]), unit
    return key.replace("_", " "), ""


def with_unit(value: str, unit: str) -> str:
    """A number and its unit; degrees stand close.

    >>> with_unit("5", "m"), with_unit("5", "°"), with_unit("5", "")
    ('5 m', '5°', '5')
    """
    return value + ("" if unit in ("", "°") else " ") + unit


def value_words(key: str, value: Value) -> str:
    """A key's value with its unit.

    >>> value_words("tilt_deg", 25.0), value_words("orientation", "landscape")
    ('25°', 'landscape')
    """
    return value if isinstance(value, str) else with_unit(f"{value:g}", parted(key)[1])


def valued(key: str, value: Value) -> str:
    """A key with its value: ``pitch 5.2 m``."""
    return f"{parted(key)[0]} {value_words(key, value)}"


def span_words(key: str, values: Sequence[Value]) -> str:
    """From the smallest to the largest of a key's values; of words, all.

    >>> span_words("pitch_m", (4.0, 5.5)), span_words("pitch_m", (4.0, 4.0))
    ('4 to 5.5 m', '4 m only')
    >>> span_words("orientation", ("portrait", "landscape"))
    'portrait or landscape'
    """
    low, high = values[0], values[-1]
    if isinstance(low, str):
        return either([str(v) for v in values])
    if low == high:
        return f"{value_words(key, low)} only"
    return f"{low:g} to {value_words(key, high)}"


def either(items: Sequence[str]) -> str:
    """A choice in words.

    >>> either(["a"]), either(["a", "b", "c"])
    ('a', 'a, b or c')
    """
    return items[0] if len(items) == 1 else ", ".join(items[:-1]) + " or " + items[-1]


def values_words(values: Mapping[str, Value]) -> str:
    """All that varies, with its values."""
    return ", ".join(valued(k, v) for k, v in values.items())


def axis_words(key: str) -> str:
    """A key as the label of an axis: ``pitch, m``."""
    words, unit = parted(key)
    return f"{words}, {unit}" if unit else words


def limit_words(key: str) -> str:
    """A limit in words."""
    return LIMITS.get(key) or parted(key)[0]


def limit_value(key: str, value: float) -> str:
    """A limit's value with its unit; whole numbers stay whole.

    >>> limit_value("panels", 24.0), limit_value("height_m", 2.456)
    ('24', '2.46 m')
    """
    return with_unit(f"{value:.0f}" if value == round(value) else number(value), parted(key)[1])


def aim_words(table: OptimiseTable) -> str:
    """What is to be best."""
    first = AIMS[table.objective][0]
    if table.second is None:
        return first
    second = AIMS[table.second][0]
    return f"{first} (power {table.weight:g}) weighed against {second} (power {1 - table.weight:g})"


def aim_value(table: OptimiseTable, figures: Mapping[str, float]) -> str:
    """The first aim's value with its unit, and the second's."""
    told = [f"{number(figures[aim])} {AIMS[aim][1]}" for aim in (table.objective, table.second) if aim]
    return " and ".join(told)
