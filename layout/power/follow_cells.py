"""Compiled: a string's cells as levels of light, and the voltage of a part at a current.

ln ω of `layout.power.peak` and the reverse branch of `layout.power.reverse` are read from tables.
"""

import numpy as np

from layout.power.follow_types import (
    BASE,
    CELLS,
    FAR_NODE,
    FAR_STEP,
    FAR_TO,
    FINE_FROM,
    FINE_NODES,
    FINE_STEP,
    FINE_TO,
    FULL,
    LEAK,
    ROW,
    START,
    STEP,
    WIDE_STEP,
    WIDE_TO,
    Series,
    Tables,
    Work,
    compiled,
    inlined,
)
from layout.power.panel_model import CELL_RANGE_C, HEAT_NODES, LIGHT_LIMIT_W_M2, LIGHT_NODES
from sites.conventions import Float32Array, FloatArray

LEAST_SUNS = 1e-4
"""Darker cells count as this bright, as in layout.power.cell_volts."""

LIKE, LIKE_HEAT = 0.25, 7e-4
"""Groups lit alike: share of what cells of one level may differ by, and of the absolute temperature: some 0.2 K."""

COLDEST_C = CELL_RANGE_C[0]
LIGHT_STEPS = (LIGHT_NODES - 1) / LIGHT_LIMIT_W_M2**0.5
HEAT_STEPS = (HEAT_NODES - 1) / (CELL_RANGE_C[1] - CELL_RANGE_C[0])
"""Nodes of the panel model's tables a root of W/m², a degree. `Tables.warm` has a node a degree."""


@inlined
def log_omega(z: float, table: FloatArray) -> tuple[float, float]:
    """ln ω and its derivative."""
    if z < FINE_TO:
        if z <= FINE_FROM:
            return z, 1.0
        x = (z - FINE_FROM) * (1.0 / FINE_STEP)
        i = int(x)
        rise = table[i + 1] - table[i]
        return table[i] + rise * (x - i), rise * (1.0 / FINE_STEP)
    if z < WIDE_TO:
        x = (z - FINE_TO) * (1.0 / WIDE_STEP)
        k = int(x)
        rise = table[k + FINE_NODES + 1] - table[k + FINE_NODES]
        return table[k + FINE_NODES] + rise * (x - k), rise * (1.0 / WIDE_STEP)
    if z < FAR_TO:
        x = (z - WIDE_TO) * (1.0 / FAR_STEP)
        k = int(x)
        rise = table[k + FAR_NODE + 1] - table[k + FAR_NODE]
        return table[k + FAR_NODE] + rise * (x - k), rise * (1.0 / FAR_STEP)
    log = np.log(z)
    return np.log(z - log), 1.0 / z


@inlined
def part_volts(current: float, part: int, w: Work, t: Tables) -> tuple[float, float]:
    """Voltage of a part [V] and its derivative [V/A] at a current [A] through it."""
    volts, slope = 0.0, 0.0
    nodes, ideality = t.reverse.shape[1], w.ideality[part]
    for k in range(w.number[part]):
        level = w.level[part, k]
        over = current - level[FULL]
        if over <= 0.0:
            log, rise = log_omega(level[START] - level[STEP] * current, t.omega)
            volts += level[CELLS] * ideality * (level[BASE] + log)
            slope -= level[CELLS] * ideality * rise * level[STEP]
        else:
            y = over * level[LEAK]
            q = 1.0 / (1.0 + y)
            x = y * q * (nodes - 1)
            i = min(int(x), nodes - 2)
            row = int(level[ROW])
            low = t.reverse[row, i]
            rise = t.reverse[row, i + 1] - low
            volts += level[CELLS] * t.breakdown_v * (low + rise * (x - i))
            slope += level[CELLS] * t.breakdown_v * rise * (nodes - 1) * level[LEAK] * q * q
    return volts - w.drop[part] * current, slope - w.drop[part]


@inlined
def insert(values: FloatArray, count: int, value: float) -> int:
    """Put a value into the first ``count``, which rise; returns the new count."""
    i = count
    while i > 0 and values[i - 1] > value:
        values[i] = values[i - 1]
        i -= 1
    values[i] = value
    return count + 1


@inlined
def read(table: Float32Array, light: float, cell: float) -> float:
    """As layout.power.panel_model.LightHeatTable.at, of one value."""
    x, y = np.sqrt(light) * LIGHT_STEPS, (cell - COLDEST_C) * HEAT_STEPS
    i, j = int(x), int(y)
    x -= i
    y -= j
    node = i * HEAT_NODES + j
    first = table[node] + (table[node + 1] - table[node]) * y
    node += HEAT_NODES
    second = table[node] + (table[node + 1] - table[node]) * y
    return first + (second - first) * x


@inlined
def warm_terms(cell: float, table: FloatArray, out: FloatArray) -> None:
    """Light current at 1000 W/m², saturation current, series resistance, ideality, shift at a temperature [°C]."""
    y = cell - COLDEST_C
    j = int(y)
    y -= j
    for k in range(5):
        out[k] = table[j, k] + (table[j + 1, k] - table[j, k]) * y


@inlined
def fill_levels(
    light: Float32Array, cell_c: FloatArray, p0: int, p1: int, level: float, s: Series, t: Tables, w: Work
) -> float:
    """Levels of the parts of panels p0 to p1; returns the light current of the brightest cell.

    Cells of a part whose light differs by no more than ``level``, a share, count as one, at their mean.
    light : (points,) W/m², a row; cell_c : (panels,)
    """
    parts, top = s.groups * s.halves, 0.0
    shunt_v = -1.0 / (t.shunt * t.breakdown_v)
    lowest, highest = np.log(t.dark_shunt), np.log(t.share_limit)
    rows = (t.reverse.shape[0] - 1) / (highest - lowest)
    warm = w.warm
    for p in range(p0, p1):
        warm_terms(cell_c[p], t.warm, warm)
        unit, size, small = t.shunt * warm[3], s.scale[p], 1.0 / s.scale[p]
        for part in range(p * parts, (p + 1) * parts):
            n = 0
            for i in range(s.bounds[part], s.bounds[part + 1]):
                n = insert(w.line, n, light[s.order[i]])
            k, i, each = 0, 0, s.each[part]
            while i < n:
                j, summed = i, 0.0
                limit = max(w.line[i] * (1.0 + level * (1.0 + k)), 1000.0 * LEAST_SUNS)
                while j < n and w.line[j] <= limit:
                    summed += w.line[j]
                    j += 1
                suns = max(summed / (j - i) * 1e-3, LEAST_SUNS)
                log, own = np.log(suns), w.level[part, k]
                step = 1.0 / (suns * unit)
                own[FULL] = suns * warm[0] * size
                own[START] = warm[0] / unit + warm[1] * step - log - warm[4]
                own[STEP] = step * small
                own[BASE] = log + warm[4]
                own[LEAK] = shunt_v * small / min(max(suns, t.dark_shunt), t.share_limit)
                own[ROW] = int((min(max(log, lowest), highest) - lowest) * rows + 0.5)
                own[CELLS] = each * (j - i)
                k, i = k + 1, j
            w.number[part], w.ideality[part] = k, warm[3]
            w.drop[part] = each * n * warm[2] * small
            top = max(top, w.level[part, k - 1, FULL])
    return top


@inlined
def lit_alike(g: int, other: int, near: float, s: Series, w: Work) -> bool:
    """Whether the cells of two groups have the same light and temperature; near : share of light, as levels have it."""
    if s.scale[g // s.groups] != s.scale[other // s.groups]:
        return False
    for half in range(s.halves):
        a, b = g * s.halves + half, other * s.halves + half
        if w.number[a] != w.number[b] or abs(w.ideality[a] - w.ideality[b]) > LIKE_HEAT * w.ideality[b]:
            return False
        for k in range(w.number[a]):
            one, two = w.level[a, k], w.level[b, k]
            if abs(one[FULL] - two[FULL]) > near * two[FULL] or one[CELLS] != two[CELLS]:
                return False
    return True


@compiled
def match_groups(p0: int, p1: int, level: float, s: Series, w: Work) -> None:
    """Find the groups of panels p0 to p1 that are lit alike: one of each kind stands for all of it."""
    g0, kinds, near = p0 * s.groups, 0, LIKE * level
    for g in range(g0, p1 * s.groups):
        ends = 0.0
        for part in range(g * s.halves, (g + 1) * s.halves):
            ends += w.level[part, 0, FULL] + w.level[part, w.number[part] - 1, FULL]
        like = -1
        for i in range(g0, g0 + kinds):
            other = w.kind[i]
            if abs(w.weak[other] - ends) <= near * ends and lit_alike(g, other, near, s, w):
                like = other
                break
        if like < 0:
            like, w.times[g], w.weak[g] = g, 0.0, ends
            w.kind[g0 + kinds] = g
            kinds += 1
        w.times[like] += s.counts[g // s.groups]
    w.kinds[g0] = kinds
