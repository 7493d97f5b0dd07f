"""Power of strings of panels with every cell followed: the compiled kernel of the year's method.

Compiled, so loops over hours, parts and cells are what it is made of. For each hour:

    cells of a part (a half, or a group) ─► levels: cells of nearly the same light count as one, at their mean
    levels ─► the part's curve on a few currents, closest about the knees ─► two halves in parallel: group curve
    groups in series ─► power on a net of currents ─► the net's highest maxima, looked at again with exact slopes

ln ω of `layout.power.peak` and the reverse branch of `layout.power.reverse` are read from tables.
"""

from collections.abc import Callable
from typing import Any

import numpy as np
from numba import njit

from layout.power.follow_types import (
    FINE_FROM,
    FINE_NODES,
    FINE_STEP,
    FINE_TO,
    WIDE_STEP,
    WIDE_TO,
    Curves,
    Levels,
    Tables,
)
from sites.conventions import FloatArray, IntArray

BYPASS_V = 0.5
LEAST_SUNS = 1e-4
"""As in layout.power.panel_model and layout.power.cell_volts: compiled functions take constants of their own module."""

LEVEL = 0.015
"""Cells of a part whose light differs by no more than this share count as one level."""

KNEES = 4
"""Levels of a part, evenly ranked by light, whose knees get nodes."""

KNEE_NODES = (0.85, 0.92, 0.97, 1.0)
SHARED_NODES = (0.0, 0.3, 0.55, 0.8, 1.0)
BACK_NODES = (-0.15, -0.05, -0.015)
LEAK_NODES = (0.25, 0.5, 1.1)
"""Nodes of a part's curve: over the current of a knee; over that of the string's brightest cell; the same where a
brighter half drives current back through a darker one; over the current beyond the weakest cell's at which its reverse
voltage takes all of the part's."""

NET = 64
SPREAD = 1.4
"""String currents looked at, and the power with which they go from 0 to the brightest cell's."""

MAXIMA = 2
TURNS = 5
NEARLY = 0.9
"""Maxima of the net looked at again, exact looks at each, and the share of the net's highest power from which others
count."""

PART_NODES = 32
GROUP_NODES = 2 * PART_NODES


def compiled(function: Callable[..., Any]) -> Any:
    """A compiled function, kept on disk for the next run where there is a place to keep it."""
    try:
        return njit(cache=True, nogil=True, error_model="numpy")(function)
    except RuntimeError:  # neither the program's own folder nor the user's can be written
        return njit(nogil=True, error_model="numpy")(function)


@compiled
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
        i = int(x) + FINE_NODES
        rise = table[i + 1] - table[i]
        return table[i] + rise * (x - int(x)), rise * (1.0 / WIDE_STEP)
    log = np.log(z)
    return np.log(z - log), 1.0 / z


@compiled
def part_volts(current: float, part: int, levels: Levels, tables: Tables) -> tuple[float, float]:
    """Voltage of a part [V] and its derivative [V/A] at a current [A] through it."""
    volts, slope = 0.0, 0.0
    nodes = tables.reverse.shape[1]
    ideality = levels.ideality[part]
    for k in range(levels.number[part]):
        full, start, step = levels.values[part, k, 0], levels.values[part, k, 1], levels.values[part, k, 2]
        weight = levels.values[part, k, 5]
        if current <= full:
            log, rise = log_omega(start - step * current, tables.omega)
            volts += weight * ideality * (levels.values[part, k, 3] + log)
            slope -= weight * ideality * rise * step
        else:
            leak = levels.values[part, k, 4]
            y = (current - full) * leak
            x = y / (1.0 + y) * (nodes - 1)
            i = min(int(x), nodes - 2)
            low = tables.reverse[levels.row[part, k], i]
            rise = tables.reverse[levels.row[part, k], i + 1] - low
            volts += weight * tables.breakdown_v * (low + rise * (x - i))
            slope += weight * tables.breakdown_v * rise * (nodes - 1) * leak / (1.0 + y) ** 2
    drop = levels.cells[part] * levels.series[part]
    return volts - drop * current, slope - drop


@compiled
def insert(values: FloatArray, count: int, value: float) -> int:
    """Put a value into the first ``count``, which rise; returns the new count."""
    i = count
    while i > 0 and values[i - 1] > value:
        values[i] = values[i - 1]
        i -= 1
    values[i] = value
    return count + 1


@compiled
def fill_levels(
    light: FloatArray, order: IntArray, cells: FloatArray, warm: FloatArray, first: int, levels: Levels,
    tables: Tables, sorted_light: FloatArray,
) -> float:  # fmt: skip
    """Levels of one panel's parts, from ``first`` on; returns the light current of its brightest cell.

    light : (points,) W/m²; order, cells : (points, parts) as layout.power.full_curve.Wiring; warm : (5,) light current
    at 1000 W/m², saturation current, series resistance, ideality, shift, as layout.power.peak.Warmth
    """
    unit = tables.shunt * warm[3]
    shunt_v = -1.0 / (tables.shunt * tables.breakdown_v)
    lowest, highest = np.log(tables.dark_shunt), np.log(tables.share_limit)
    rows = tables.reverse.shape[0] - 1
    brightest = 0.0
    for q in range(order.shape[1]):
        part, points, total = first + q, 0, 0.0
        each = cells[0, q]
        for i in range(order.shape[0]):
            if cells[i, q] > 0.0:
                points = insert(sorted_light, points, light[order[i, q]])
                total += each
        k, i = 0, 0
        while i < points:
            j, summed = i, 0.0
            limit = max(sorted_light[i] * (1.0 + LEVEL), 1000.0 * LEAST_SUNS)
            while j < points and sorted_light[j] <= limit:
                summed += sorted_light[j]
                j += 1
            suns = max(summed / (j - i) * 1e-3, LEAST_SUNS)
            log = np.log(suns)
            step = 1.0 / (suns * unit)
            share = min(max(log, lowest), highest)
            levels.values[part, k, 0] = suns * warm[0]
            levels.values[part, k, 1] = warm[0] / unit + warm[1] * step - log - warm[4]
            levels.values[part, k, 2] = step
            levels.values[part, k, 3] = log + warm[4]
            levels.values[part, k, 4] = shunt_v / np.exp(share)
            levels.values[part, k, 5] = each * (j - i)
            levels.row[part, k] = int((share - lowest) * rows / (highest - lowest) + 0.5)
            brightest = max(brightest, suns * warm[0])
            k, i = k + 1, j
        levels.number[part], levels.cells[part] = k, total
        levels.series[part], levels.ideality[part] = warm[2], warm[3]
    return brightest


@compiled
def part_curve(part: int, top: float, back: bool, levels: Levels, tables: Tables, curves: Curves) -> None:
    """Tabulate a part on its nodes; top : light current of the string's brightest cell."""
    nodes, n = curves.part_i[part], 0
    for share in SHARED_NODES:
        n = insert(nodes, n, share * top)
    if back:
        for share in BACK_NODES:
            n = insert(nodes, n, share * top)
    count = levels.number[part]
    knees = min(KNEES, count)
    for k in range(knees):
        level = k if knees == count else int(k * (count - 1) / (knees - 1) + 0.5)
        for share in KNEE_NODES:
            n = insert(nodes, n, share * levels.values[part, level, 0])
    own = -tables.group_v / tables.breakdown_v
    for share in LEAK_NODES:
        y = min(share * own, 0.9)
        n = insert(nodes, n, levels.values[part, 0, 0] + y / levels.values[part, 0, 4])
    curves.part_n[part] = n
    for i in range(n):
        curves.part_v[part, i] = part_volts(nodes[i], part, levels, tables)[0]


@compiled
def current_at(volts: float, i: int, current: FloatArray, own: FloatArray) -> float:
    """Current of a curve at a voltage between nodes i and i + 1, or not far beyond."""
    fall = own[i] - own[i + 1]
    share = (own[i] - volts) / fall if fall > 1e-12 else 0.5
    return current[i] + min(max(share, -1.0), 2.0) * (current[i + 1] - current[i])


@compiled
def join_halves(group: int, curves: Curves) -> None:
    """A group's curve from its two halves' in parallel: their nodes in falling order of voltage."""
    a, b = 2 * group, 2 * group + 1
    ia, va, na = curves.part_i[a], curves.part_v[a], curves.part_n[a]
    ib, vb, nb = curves.part_i[b], curves.part_v[b], curves.part_n[b]
    i, j, n = 0, 0, 0
    while i < na or j < nb:
        if j >= nb or (i < na and va[i] >= vb[j]):
            volts, first = va[i], ia[i]
            second = current_at(volts, min(max(j - 1, 0), nb - 2), ib, vb)
            i += 1
        else:
            volts, second = vb[j], ib[j]
            first = current_at(volts, min(max(i - 1, 0), na - 2), ia, va)
            j += 1
        curves.group_i[group, n] = max(first + second, curves.group_i[group, n - 1]) if n else first + second
        curves.group_v[group, n], curves.first_i[group, n] = volts, first
        n += 1
    curves.group_n[group] = n


@compiled
def copy_part(group: int, curves: Curves) -> None:
    """A group of one part."""
    n = curves.part_n[group]
    for i in range(n):
        curves.group_i[group, i] = curves.part_i[group, i]
        curves.group_v[group, i] = curves.part_v[group, i]
        curves.first_i[group, i] = curves.part_i[group, i]
    curves.group_n[group] = n


@compiled
def place(current: float, i: int, nodes: FloatArray, n: int) -> int:
    """The node at or below a current, looked for from node i up."""
    while i < n - 2 and nodes[i + 1] <= current:
        i += 1
    return i


@compiled
def between(current: float, i: int, nodes: FloatArray, values: FloatArray) -> float:
    """A group's value at a current between nodes i and i + 1, or not far beyond."""
    width = nodes[i + 1] - nodes[i]
    share = (current - nodes[i]) / width if width > 1e-12 else 0.5
    return values[i] + min(max(share, -1.0), 2.0) * (values[i + 1] - values[i])


@compiled
def string_at(
    current: float, halves: int, diodes: bool, levels: Levels, tables: Tables, curves: Curves, groups: int
) -> tuple[float, float]:
    """Voltage of the string [V] and its derivative [V/A] at a current, exactly; halves start from the tables."""
    volts, slope = 0.0, 0.0
    for group in range(groups):
        nodes, n = curves.group_i[group], curves.group_n[group]
        i = place(current, 0, nodes, n)
        if diodes and between(current, i, nodes, curves.group_v[group]) < -2.0 * BYPASS_V:
            volts -= BYPASS_V
            continue
        if halves == 1:
            own, rise = part_volts(current, group, levels, tables)
        else:
            first = between(current, i, nodes, curves.first_i[group])
            own, rise = 0.0, 0.0
            for _ in range(2):
                va, sa = part_volts(first, 2 * group, levels, tables)
                vb, sb = part_volts(current - first, 2 * group + 1, levels, tables)
                move = (vb - va) / (sa + sb)
                own, rise = va + sa * move, sa * sb / (sa + sb)
                first += move
                if abs(move) < 0.005 * current:
                    break
        if diodes and own < -BYPASS_V:
            own, rise = -BYPASS_V, 0.0
        volts += own
        slope += rise
    return volts, slope


@compiled
def best_near(
    low: float, start: float, high: float, halves: int, diodes: bool, levels: Levels, tables: Tables, curves: Curves,
    groups: int,
) -> tuple[float, float, int]:  # fmt: skip
    """Highest power [W] between two currents and its voltage, from a start between: secants of the slope of power,
    kept between the ends, which close in; and on which side it may go on: -1, 0 or 1."""
    best, held, current, step, before, left, right = 0.0, 0.0, start, 0.0, 0.0, -1, 1
    for turn in range(TURNS):
        volts, slope = string_at(current, halves, diodes, levels, tables, curves, groups)
        if volts * current > best:
            best, held = volts * current, volts
        rise = volts + current * slope
        if rise > 0.0:
            low, left = current, 0
        else:
            high, right = current, 0
        bend = 3.0 * slope
        if turn and abs(step) > 0.0:
            bend = (rise - before) / step
        new = current - rise / bend if bend < 0.0 else 0.5 * (low + high)
        if not low < new < high:
            new = 0.5 * (low + high)
        before, step, current = rise, new - current, new
    return best, held, left + right


@compiled
def highest(
    net: FloatArray, power: FloatArray, used: IntArray, halves: int, diodes: bool, levels: Levels, tables: Tables,
    curves: Curves, groups: int,
) -> tuple[float, float]:  # fmt: skip
    """Highest power [W] and its voltage from the net of currents and the power read there from the tables."""
    best, held, first = 0.0, 0.0, 0.0
    used[:] = 0
    for _ in range(MAXIMA):
        peak = 0
        for k in range(1, NET - 1):
            top = used[k] == 0 and power[k] >= power[k - 1] and power[k] >= power[k + 1]
            if top and (peak == 0 or power[k] > power[peak]):
                peak = k
        if peak == 0 or power[peak] < NEARLY * first:
            break
        used[peak], first, side = 1, max(first, power[peak]), 0
        for again in range(2):
            at = min(max(peak + 2 * side, 1), NET - 2)
            if again and side == 0:
                break
            found, where, side = best_near(
                net[at - 1], net[at], net[at + 1], halves, diodes, levels, tables, curves, groups
            )
            if found > best:
                best, held = found, where
    return best, held


@compiled
def follow(
    light: FloatArray, warm: FloatArray, order: IntArray, cells: FloatArray, groups: int, halves: int, diodes: bool,
    tables: Tables, power: FloatArray, held: FloatArray,
) -> None:  # fmt: skip
    """Highest power of n hours of a string of panels, and its voltage, into ``power`` and ``held`` (n,) [W], [V].

    light : (n, panels, points) [W/m²]; warm : (n, panels, 5); order, cells : (points, parts) of a panel; groups,
    halves : of a panel; diodes : whether each group has one
    """
    n, panels = light.shape[0], light.shape[1]
    own, most = order.shape[1], order.shape[0]
    parts, all_groups = panels * own, panels * groups
    levels = Levels(
        np.zeros((parts, most, 6)), np.zeros((parts, most), np.int64), np.zeros(parts, np.int64), np.zeros(parts),
        np.zeros(parts), np.zeros(parts),
    )  # fmt: skip
    curves = Curves(
        np.zeros((parts, PART_NODES)), np.zeros((parts, PART_NODES)), np.zeros(parts, np.int64),
        np.zeros((all_groups, GROUP_NODES)), np.zeros((all_groups, GROUP_NODES)), np.zeros((all_groups, GROUP_NODES)),
        np.zeros(all_groups, np.int64),
    )  # fmt: skip
    sorted_light, net, volts, used = np.zeros(most + 1), np.zeros(NET), np.zeros(NET), np.zeros(NET, np.int64)
    shares = (np.arange(NET) / (NET - 1)) ** SPREAD
    for hour in range(n):
        top = 0.0
        for panel in range(panels):
            bright = fill_levels(
                light[hour, panel], order, cells, warm[hour, panel], panel * own, levels, tables, sorted_light
            )
            top = max(top, bright)
        for part in range(parts):
            part_curve(part, top, halves == 2, levels, tables, curves)
        net[:] = shares * top * halves
        volts[:] = 0.0
        for group in range(all_groups):
            if halves == 2:
                join_halves(group, curves)
            else:
                copy_part(group, curves)
            i = 0
            for k in range(NET):
                i = place(net[k], i, curves.group_i[group], curves.group_n[group])
                v = between(net[k], i, curves.group_i[group], curves.group_v[group])
                volts[k] += max(v, -BYPASS_V) if diodes else v
        volts *= net  # power from here on
        power[hour], held[hour] = highest(net, volts, used, halves, diodes, levels, tables, curves, all_groups)
