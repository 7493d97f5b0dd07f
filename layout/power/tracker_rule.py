"""DC power of strings in parallel on one tracker, whose voltage has limits, by the weakest-cell rule.

Strings on one tracker share a voltage; their currents add. Where all are nearly evenly lit and would choose the same
voltage, each gives what it gives alone. Elsewhere each string's curve is tabulated over its current, the currents are
summed on a net of voltages, and the net's two highest maxima are looked at again with currents solved by Newton's
method. A string that is too dark for the voltage counts as blocked: it takes nothing back.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from layout.power.panel_model import ANY_VOLTAGE, DARK_W_M2, PanelModel
from layout.power.same_volts import undisturbed
from layout.power.string_rule import StringCurve, spread_of, string_rule_power, vertex
from sites.conventions import Float32Array, FloatArray, IntArray

SHARED_NODES = 10
RANKS = 10
KNEE_NODES = (0.93, 0.98, 1.0)
"""Currents of a string's table: evenly over its range, and about the light currents of evenly ranked groups."""

VOLT_NODES = 56
LEAST_SHARE = 0.1
"""Voltages looked at: so many, from this share of the highest open-circuit voltage up."""

MAXIMA = 2
NEAR_NODES = 5
NEWTON = 3
"""On hours of 2 to 4 strings of 6 to 12 panels with hard shadows against 1,500 voltages read from 6,000 currents:
within 0.002 of nameplate at the 99th percentile, 0.0001 in the mean; 2 steps gain nothing, 4 are a tenth slower."""

_HOURS_AT_ONCE = 1024


@dataclass(frozen=True, eq=False)
class StringHours:
    """n hours of a string, or of ``times`` equal ones on one tracker; the panels have bypass diodes.

    weakest : (groups × halves, panels, n) float32 [W/m²] light of the weakest cell of each group
    cell_c : (panels, n) float32 [°C]; counts : (panels,) int, panels of the string that each stands for
    scale : (panels,) float, area of each over the type's
    """

    weakest: Float32Array
    cell_c: Float32Array
    counts: IntArray
    scale: FloatArray
    times: int = 1

    def part(self, chosen: IntArray | slice) -> "StringHours":
        """Only some hours."""
        return StringHours(self.weakest[..., chosen], self.cell_c[:, chosen], self.counts, self.scale, self.times)

    def alone_w(self, model: PanelModel) -> Float32Array:
        """Power on a tracker of its own that holds any voltage, (n,)."""
        power = string_rule_power(self.weakest, model, self.cell_c, self.counts, self.scale)
        return np.float32(self.times) * power

    def evenly(self, model: PanelModel) -> tuple[Float32Array, np.ndarray, np.ndarray]:
        """Voltage at the maximum of its mean light, whether it is nearly evenly lit, whether it is dark: (n,) each."""
        _, mean, mild, dark = spread_of(self.weakest, model, self.counts, self.scale)
        share = (self.counts / self.counts.sum()).astype(np.float32)[:, None]
        warm = (self.cell_c * share).sum(axis=0)
        return np.float32(self.counts.sum()) * model.peak_volts.at(mean, warm), mild, dark


def tracker_rule_power(
    strings: Sequence[StringHours], model: PanelModel, window_v: tuple[float, float] = ANY_VOLTAGE
) -> tuple[Float32Array, Float32Array, Float32Array]:
    """Power, W, of n hours of strings on one tracker: had each a tracker of its own, as they are were any voltage
    allowed, and within ``window_v``, the lowest and highest voltage that the tracker holds; (n,) float32 each.

    Raises PhysicsError where light or temperature lie outside all that is possible.
    """
    alone: Float32Array = np.stack([s.alone_w(model) for s in strings]).sum(axis=0)
    low, high = window_v
    if sum(s.times for s in strings) == 1 and window_v == ANY_VOLTAGE:
        return alone, alone, alone
    own = [s.evenly(model) for s in strings]
    free, held = alone.copy(), alone.copy()
    rest = np.flatnonzero(~undisturbed(own, window_v))
    for start in range(0, len(rest), _HOURS_AT_ONCE):
        some = rest[start : start + _HOURS_AT_ONCE]
        free[some], held[some] = _Tracker([s.part(some) for s in strings], model).powers(alone[some], low, high)
    return alone, free, held


class _Tracker:
    """Strings of one tracker over n hours; curves as (nodes, n)."""

    def __init__(self, strings: Sequence[StringHours], model: PanelModel) -> None:
        self.times = [s.times for s in strings]
        self.curves = [StringCurve.of(s.weakest, model, s.cell_c, s.counts, s.scale) for s in strings]
        self.lit = [s.weakest.max(axis=(0, 1)) >= DARK_W_M2 for s in strings]
        self.tables = [_table(curve) for curve in self.curves]
        self.top = np.max([volts[0] for _, volts in self.tables], axis=0)

    def powers(self, alone: Float32Array, low: float, high: float) -> tuple[Float32Array, Float32Array]:
        """Power at any voltage, never above ``alone`` (n,), and from ``low`` to ``high``; (n,) each."""
        least = np.float32(LEAST_SHARE) * self.top
        free, volts = self._best(least, self.top)
        free = np.minimum(free, alone)
        if len(self.curves) == 1:  # equal strings choose the voltage that each would choose alone
            free = alone
        held = free.copy()
        outside = (volts < low) | (volts > high)
        if outside.any():
            lowest = np.maximum(least, np.float32(low))
            highest = np.minimum(self.top, np.float32(high))
            within = self._best(np.minimum(lowest, highest), highest)[0]
            held[outside] = np.where(lowest <= highest, np.minimum(within, free), np.float32(0.0))[outside]
        return free, held

    def _best(self, low: Float32Array, high: Float32Array) -> tuple[Float32Array, Float32Array]:
        """Highest power (n,) between the voltages ``low`` and ``high`` (n,), and its voltage."""
        share = np.linspace(0.0, 1.0, VOLT_NODES, dtype=np.float32)[:, None]
        net = low + share * (high - low)
        power = net * self._current(net, 0)
        edged = np.pad(power, ((1, 1), (0, 0)), constant_values=-1.0)
        ranked = np.where((power >= edged[:-2]) & (power >= edged[2:]), power, np.float32(-1.0))
        columns, step = np.arange(net.shape[1]), (high - low) / np.float32(VOLT_NODES - 1)
        reach = np.linspace(-1.0, 1.0, NEAR_NODES, dtype=np.float32)[:, None]
        best, held = np.zeros_like(high), high.copy()
        for _ in range(MAXIMA):
            place = ranked.argmax(axis=0)
            ranked[place, columns] = -1.0
            near = np.clip(net[place, columns] + reach * step, low, high)
            found = near * self._current(near, NEWTON)
            middle = np.clip(found.argmax(axis=0), 1, NEAR_NODES - 2)
            three = [middle + i for i in (-1, 0, 1)]
            x, p = (np.stack([values[i, columns] for i in three]) for values in (near, found))
            x[0], x[2] = x[0] - np.float32(1e-6) * self.top, x[2] + np.float32(1e-6) * self.top
            top = np.clip(vertex(x, p), low, high)[None]
            near, found = np.concatenate([near, top]), np.concatenate([found, top * self._current(top, NEWTON)])
            place = found.argmax(axis=0)
            more = found[place, columns] > best
            best = np.where(more, found[place, columns], best)
            held = np.where(more, near[place, columns], held)
        return best, held

    def _current(self, volts: Float32Array, newton: int) -> Float32Array:
        """Current of all strings at voltages (k, n)."""
        total = np.zeros_like(volts)
        for times, lit, curve, table in zip(self.times, self.lit, self.curves, self.tables, strict=True):
            total += np.float32(times) * lit * _current_at(volts, curve, table, newton)
        return total


def _table(curve: StringCurve) -> tuple[Float32Array, Float32Array]:
    """Currents (nodes, n), rising from 0 to the brightest group's, and the string's voltage at each."""
    ranked = np.sort(curve.full, axis=0)
    rows = np.unique(np.linspace(0, len(ranked) - 1, min(RANKS, len(ranked))).round().astype(np.int64))
    knees = [np.float32(share) * ranked[rows] for share in KNEE_NODES]
    shared = np.linspace(0.0, 1.0, SHARED_NODES, dtype=np.float32)[:, None] * ranked[-1]
    current = np.sort(np.concatenate([*knees, shared]), axis=0)
    return current, np.stack([curve.volts(node) for node in current])


def _current_at(
    volts: Float32Array, curve: StringCurve, table: tuple[Float32Array, Float32Array], newton: int
) -> Float32Array:
    """Current of one string at voltages (k, n), 0 above its open-circuit voltage; linear in the table, then so many
    of Newton's steps, each kept between the nodes."""
    nodes, own = table
    place = np.zeros(volts.shape, dtype=np.int16)
    for node in own[1:-1]:
        place += node >= volts
    index = place.astype(np.int64)
    i0, i1 = np.take_along_axis(nodes, index, axis=0), np.take_along_axis(nodes, index + 1, axis=0)
    v0, v1 = np.take_along_axis(own, index, axis=0), np.take_along_axis(own, index + 1, axis=0)
    share = np.clip((v0 - volts) / np.maximum(v0 - v1, np.float32(1e-6)), 0.0, 1.0)
    current = i0 + share * (i1 - i0)
    for _ in range(newton):
        pairs = [curve.volts_and_slope(row) for row in current]
        miss = volts - np.stack([v for v, _ in pairs])
        slope = np.minimum(np.stack([s for _, s in pairs]), np.float32(-1e-4))
        i0, i1 = np.where(miss < 0.0, current, i0), np.where(miss < 0.0, i1, current)
        step = current + miss / slope
        # past a knee the tangent leads astray: halve what is left
        current = np.where((step >= i0) & (step <= i1), step, np.float32(0.5) * (i0 + i1))
    return np.where(volts <= own[0], current, np.float32(0.0))
