"""DC power of a string of panels in series by the weakest-cell rule of `layout.power.panel_power`.

All groups of the string share one current, each conducts up to its weakest cell's and is bypassed beyond. Power over
current has a maximum a little below the current of each group; which of them are high is told by counting the groups
that reach it:

    power near the current x of the k-th brightest group  ≈  x · (k · Vg - (groups - k) · Vbypass)

The two best are looked at on the curve itself: a few currents around each, then two parabolas.
"""

import numpy as np

from layout.power.cell_volts import log_omega
from layout.power.follow_kernel import MILD_DEPTH, MILD_SPREAD
from layout.power.panel_model import BYPASS_V, DARK_W_M2, PanelModel, check_range
from layout.power.panel_power import join_halves
from layout.power.peak import Warmth, warmth
from sites.conventions import Float32Array, FloatArray, IntArray

NEAR = (0.85, 0.90, 0.935, 0.96, 0.985)
"""Currents looked at, over the light current of the weakest conducting group: its maximum alone lies at about 0.95,
under brighter groups closer to 1."""

PARABOLAS = 2

APART = 0.08
"""Groups whose light differs by less than this share belong to the same maximum."""

_CHUNK_VALUES = 1 << 19


def string_rule_power(
    weakest: Float32Array, model: PanelModel, cell_c: Float32Array, counts: IntArray, scale: FloatArray
) -> Float32Array:
    """Power, W, of n hours of one string with a tracker of its own; the panels have bypass diodes.

    weakest : (groups × halves, panels, n) float32 [W/m²] light of the weakest cell of each group
    cell_c : (panels, n) float32 [°C]
    counts : (panels,) int, panels of the string that each stands for
    scale : (panels,) float, area of each over the type's
    Returns (n,) float32. Raises PhysicsError where light or temperature lie outside all that is possible.
    """
    check_range(weakest, cell_c)
    parts, panels, n = weakest.shape
    power = np.zeros(n, dtype=np.float32)
    step = max(1, _CHUNK_VALUES // (parts * panels))
    for start in range(0, n, step):
        part = slice(start, start + step)
        power[part] = _chunk(weakest[:, :, part], model, cell_c[:, part], counts, scale)
    return power


def _chunk(
    weakest: Float32Array, model: PanelModel, cell_c: Float32Array, counts: IntArray, scale: FloatArray
) -> Float32Array:
    share = (counts / counts.sum()).astype(np.float32)[None, :, None]
    groups, mean, mild, dark = spread_of(weakest, model, counts, scale)
    power = np.zeros(weakest.shape[2], dtype=np.float32)
    even = np.flatnonzero(mild & ~dark)
    if len(even):
        variance = (((groups[..., even] - mean[even]) ** 2) * share).sum(axis=(0, 1)) / model.groups / mean[even] ** 2
        warm = (cell_c[:, even] * share[0]).sum(axis=0)
        size = (counts * scale).astype(np.float32)[:, None]
        each = (size * np.stack([model.even_power(mean[even], t) for t in cell_c[:, even]])).sum(axis=0)
        power[even] = each / (1.0 + 0.5 * variance * model.mismatch.at(mean[even], warm))
    rest = np.flatnonzero(~mild & ~dark)
    if len(rest):
        power[rest] = StringCurve.of(weakest[..., rest], model, cell_c[:, rest], counts, scale).best()
    return power


def spread_of(
    weakest: Float32Array, model: PanelModel, counts: IntArray, scale: FloatArray
) -> tuple[Float32Array, Float32Array, np.ndarray, np.ndarray]:
    """Light of each group (groups, panels, n), the string's mean (n,), whether the string is nearly evenly lit, whether
    it is dark; (n,) bool. Arguments as of `string_rule_power`."""
    panels, n = weakest.shape[1:]
    share = (counts / counts.sum()).astype(np.float32)[None, :, None]
    groups = weakest.reshape(model.groups, model.halves, panels, n).mean(axis=1)
    mean = (groups * share).sum(axis=(0, 1)) / model.groups
    low, high = weakest.min(axis=(0, 1)), weakest.max(axis=(0, 1))
    mild = (mean - low <= MILD_DEPTH * mean) & (high - low <= MILD_SPREAD * mean) & (np.ptp(scale) == 0.0)
    return groups, mean, mild, high < DARK_W_M2


class StringCurve:
    """The groups of one string, (rows, n) each; rows = groups × panels."""

    def __init__(self, suns: Float32Array, lowered: Float32Array, warm: Warmth, counts: IntArray, scale: FloatArray,
                 model: PanelModel) -> None:  # fmt: skip
        groups = model.groups
        self.groups, self.volts_each = groups, model.panel_type.vmp_v / groups
        self.counts = np.tile(counts, groups).astype(np.float32)[:, None]
        self.scale = np.tile(scale, groups).astype(np.float32)[:, None]

        def rows(values: FloatArray) -> Float32Array:
            return np.tile(values.astype(np.float32), (groups, 1))

        unit = warm.shunt * warm.ideality
        logs = np.log(suns)
        self.full = suns * rows(warm.light_current) * self.scale
        self.step = 1.0 / (suns * rows(unit) * self.scale)
        self.start = rows(warm.light_current / unit) + rows(warm.saturation / unit) / suns - rows(warm.shift) - logs
        self.base = rows(warm.shift) + logs
        self.ideality, self.series = rows(warm.ideality), rows(warm.series) / self.scale
        self.lowered = lowered

    @classmethod
    def of(
        cls, weakest: Float32Array, model: PanelModel, cell_c: Float32Array, counts: IntArray, scale: FloatArray
    ) -> "StringCurve":
        """From (groups × halves, panels, n)."""
        n = weakest.shape[2]
        warm = warmth(model.diode, cell_c.astype(np.float64))
        suns = (np.maximum(weakest, np.float32(DARK_W_M2)) / 1000.0).astype(np.float64)
        lowered = np.zeros((1, 1))
        if model.halves == 2:
            suns, less = join_halves(suns[0::2], suns[1::2], model, warm)
            lowered = less.reshape(-1, n)
        return cls(suns.reshape(-1, n).astype(np.float32), lowered.astype(np.float32), warm, counts, scale, model)

    def power(self, current: Float32Array) -> Float32Array:
        """Power at string currents (n,) [A]."""
        return self.volts(current) * current

    def volts(self, current: Float32Array) -> Float32Array:
        """Voltage at string currents (n,) [A]."""
        total: Float32Array = (self._group_volts(log_omega(self.start - self.step * current), current)).sum(axis=0)
        return total

    def volts_and_slope(self, current: Float32Array) -> tuple[Float32Array, Float32Array]:
        """Voltage at string currents (n,) [A], and its derivative [V/A], 0 or below."""
        logs = log_omega(self.start - self.step * current)
        slope = np.float32(-1.0 / self.groups) * (self.ideality * self.step / (1.0 + np.exp(logs)) + self.series)
        volts = self._group_volts(logs, current)
        return volts.sum(axis=0), (slope * self.counts * (volts > -BYPASS_V * self.counts)).sum(axis=0)

    def _group_volts(self, logs: Float32Array, current: Float32Array) -> Float32Array:
        """Voltage of the groups of each row, (rows, n), from ln ω."""
        volts = logs + self.base
        volts *= self.ideality
        volts -= self.series * current
        volts -= self.lowered
        volts *= np.float32(1.0 / self.groups)
        np.maximum(volts, np.float32(-BYPASS_V), out=volts)
        volts *= self.counts
        return volts

    def candidates(self) -> tuple[Float32Array, Float32Array]:
        """Light currents (n,) of the groups at the two maxima that promise most."""
        order = np.argsort(-self.full, axis=0)
        current = np.take_along_axis(self.full, order, axis=0)
        reached = np.cumsum(np.take_along_axis(np.broadcast_to(self.counts, order.shape), order, axis=0), axis=0)
        score = current * (reached * (self.volts_each + BYPASS_V) - reached[-1] * BYPASS_V)
        columns = np.arange(score.shape[1])
        first = current[score.argmax(axis=0), columns]
        score[np.abs(current - first) < APART * first] = -np.inf
        second = current[score.argmax(axis=0), columns]
        return first, second

    def best(self) -> Float32Array:
        """Highest power found, (n,) [W]."""
        found = np.zeros(self.full.shape[1], dtype=np.float32)
        for light in self.candidates():
            found = np.maximum(found, self._near(light))
        return found

    def _near(self, light: Float32Array) -> Float32Array:
        """Highest power near the current of one group."""
        nodes = np.array(NEAR, dtype=np.float32)[:, None] * light
        power = np.stack([self.power(node) for node in nodes])
        middle = np.clip(power.argmax(axis=0), 1, len(NEAR) - 2)
        columns = np.arange(power.shape[1])
        x = np.stack([nodes[middle + i, columns] for i in (-1, 0, 1)])
        p = np.stack([power[middle + i, columns] for i in (-1, 0, 1)])
        best = power.max(axis=0)
        for _ in range(PARABOLAS):
            top = vertex(x, p)
            here = self.power(top)
            best = np.maximum(best, here)
            x, p = _narrowed(x, p, top, here)
        return best


def vertex(x: Float32Array, p: Float32Array) -> Float32Array:
    """Top of the parabola through three points (3, n), kept between the outer ones."""
    left, right = (p[1] - p[0]) / (x[1] - x[0]), (p[2] - p[1]) / (x[2] - x[1])
    bend = (right - left) / (x[2] - x[0])
    safe = np.where(bend < 0.0, bend, np.float32(-1.0))
    top = np.where(bend < 0.0, 0.5 * (x[0] + x[1]) - 0.5 * left / safe, x[1])
    return np.clip(top, x[0] + 0.02 * (x[2] - x[0]), x[2] - 0.02 * (x[2] - x[0]))


def _narrowed(
    x: Float32Array, p: Float32Array, top: Float32Array, here: Float32Array
) -> tuple[Float32Array, Float32Array]:
    """The best of four points with its neighbours, (3, n)."""
    xs, ps = np.concatenate([x, top[None]]), np.concatenate([p, here[None]])
    order = np.argsort(xs, axis=0)
    xs, ps = np.take_along_axis(xs, order, axis=0), np.take_along_axis(ps, order, axis=0)
    middle = np.clip(ps.argmax(axis=0), 1, 2)
    columns = np.arange(xs.shape[1])
    index = [middle - 1, middle, middle + 1]
    x = np.stack([xs[i, columns] for i in index])
    gap = np.float32(1e-6) * x[2]
    x[0], x[2] = np.minimum(x[0], x[1] - gap), np.maximum(x[2], x[1] + gap)
    return x, np.stack([ps[i, columns] for i in index])
