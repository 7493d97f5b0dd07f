"""Cells under reverse voltage: what a shaded cell does when brighter ones push their current through it.

Bishop's term multiplies the shunt current as the voltage nears breakdown:

    I = IL - I0 · (exp(Vd / a) - 1) - Vd · G · (1 + factor · (1 - Vd / Vbr)^(-exponent))

Departures: De Soto's shunt conductance G falls with light to 0 in the dark, which suits the forward side,
where it was fitted. A dark cell still leaks in reverse: there G stays at ``dark_shunt`` of its value at 1000
W/m² or above, and the breakdown current goes with the value at 1000 W/m² at any light. In forward direction,
where Bishop's term is small against the shunt current, it is left out, so that even light gives the
datasheet's curve exactly.
"""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from layout.panel_type import PanelType
from sites.conventions import Float32Array, FloatArray


@dataclass(frozen=True)
class Reverse:
    """Reverse behaviour of one cell.

    breakdown_v : Vbr [V], negative; factor, exponent : of Bishop's term [-]
    dark_shunt : least reverse shunt conductance over that at 1000 W/m² [-]
    """

    breakdown_v: float
    factor: float
    exponent: float
    dark_shunt: float


WAFER = Reverse(breakdown_v=-21.0, factor=0.002, exponent=3.0, dark_shunt=0.25)
"""Cells cut from wafers. Our assumption, of the size of the example in Bishop, Solar Cells 25 (1988) 73-89.
Cells of one make differ several times over."""

STRIP = Reverse(breakdown_v=-8.0, factor=0.05, exponent=3.0, dark_shunt=0.25)
"""Thin-film strips, which leak and break down at a few volts. Our assumption."""


def reverse_of(panel_type: PanelType) -> Reverse:
    """Behaviour assumed for a panel type: strips where the cells run over a whole edge, wafers otherwise."""
    return STRIP if min(panel_type.cells) == 1 else WAFER


def bishop_current(
    diode_v: FloatArray | float,
    light_current_a: FloatArray | float,
    saturation_current_a: FloatArray | float,
    shunt_siemens: FloatArray | float,
    ideality_v: FloatArray | float,
    reverse: Reverse,
) -> FloatArray:
    """Current, A, at a diode voltage above the breakdown voltage; all broadcast.

    Source: Bishop, Solar Cells 25 (1988) 73-89, sign conventions as in ``pvlib.singlediode.bishop88``.
    """
    volts = np.asarray(diode_v, dtype=np.float64)
    grown = reverse.factor * (1.0 - volts / reverse.breakdown_v) ** -reverse.exponent
    dark = saturation_current_a * np.expm1(volts / ideality_v)
    return np.asarray(light_current_a - dark - volts * shunt_siemens * (1.0 + grown))


_VOLT_NODES = 513
_SHARE_NODES = 129
_SHARE_LIMIT = 4.0


@dataclass(frozen=True, eq=False)
class ReverseTable:
    """Reverse voltage over breakdown voltage, v, that solves v · (1 + (factor / s) · (1 - v)^(-exponent)) =
    y.

    s is the linear conductance over that at 1000 W/m², y the current beyond the light current over (linear
    conductance × breakdown voltage). Nodes are even in y / (1 + y), read linearly, and in ln s, nearest
    (half a step is 1 % of s in the breakdown term alone); (share nodes × volt nodes) float32.
    """

    reverse: Reverse
    values: Float32Array

    @property
    def by_share(self) -> Float32Array:
        """The table, (share nodes, volt nodes); rows even in ln s from ``dark_shunt`` to `share_limit`."""
        return self.values.reshape(_SHARE_NODES, _VOLT_NODES)

    @property
    def compiled(self) -> tuple[Float32Array, int, np.float32]:
        """As `layout.power.cell_kernel` takes it: flat, columns, breakdown voltage [V]."""
        return self.values, _VOLT_NODES, np.float32(self.reverse.breakdown_v)

    @property
    def share_limit(self) -> float:
        """s of the last row."""
        return _SHARE_LIMIT

    def place(self, suns: Float32Array) -> tuple[np.ndarray, Float32Array]:
        """First node of the nearest row, and s, for cells of given light over 1000 W/m²."""
        share = np.clip(suns, np.float32(self.reverse.dark_shunt), np.float32(_SHARE_LIMIT))
        first, last = np.log(self.reverse.dark_shunt), np.log(_SHARE_LIMIT)
        x = (np.log(share) - np.float32(first)) * np.float32((_SHARE_NODES - 1) / (last - first))
        return (x + np.float32(0.5)).astype(np.int32) * _VOLT_NODES, share

    def volts(self, excess: Float32Array, row: np.ndarray) -> Float32Array:
        """Voltage [V], negative, for y = ``excess`` >= 0 in rows from `place`."""
        x = excess / (1.0 + excess) * np.float32(_VOLT_NODES - 1)
        column = np.minimum(x.astype(np.int32), _VOLT_NODES - 2)
        x -= column
        column += row
        low = self.values.take(column)
        column += 1
        return (low + (self.values.take(column) - low) * x) * np.float32(self.reverse.breakdown_v)


@lru_cache(maxsize=8)
def reverse_table(reverse: Reverse) -> ReverseTable:
    """The table of one behaviour, solved by bisection."""
    t = np.linspace(0.0, 1.0, _VOLT_NODES)[:-1]
    wanted = t / (1.0 - t)
    share = np.geomspace(reverse.dark_shunt, _SHARE_LIMIT, _SHARE_NODES)[:, None]
    low = np.zeros((_SHARE_NODES, _VOLT_NODES - 1))
    high = np.ones_like(low)
    for _ in range(30):
        middle = 0.5 * (low + high)
        with np.errstate(divide="ignore"):
            value = middle * (1.0 + reverse.factor / share * (1.0 - middle) ** -reverse.exponent)
        low, high = np.where(value < wanted, middle, low), np.where(value < wanted, high, middle)
    values = np.concatenate([0.5 * (low + high), np.ones((_SHARE_NODES, 1))], axis=1).astype(np.float32)
    flat = values.reshape(-1)
    flat.flags.writeable = False
    return ReverseTable(reverse, flat)
