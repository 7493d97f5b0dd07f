"""Power of strings in parallel on one tracker, whose voltage has limits, with every cell followed: compiled.

Strings on one tracker share a voltage; their currents add. Where all would choose the same voltage, each gives what it
gives alone. Elsewhere each string's voltage is tabulated over its current, the currents are summed on a net of
voltages, and its two highest maxima are looked at again with currents solved by Newton's method. A string that is too
dark for the voltage counts as blocked: it takes nothing back.
"""

from typing import NamedTuple

import numpy as np

from layout.power.follow_cells import fill_levels, match_groups
from layout.power.follow_curves import string_net
from layout.power.follow_kernel import best_of_string, level_share, mean_of
from layout.power.follow_search import begin, string_at
from layout.power.follow_types import NET, Series, Tables, Work, compiled, entry, inlined, work_room
from sites.conventions import Float32Array, FloatArray, IntArray

SAME_VOLTS = 0.004
"""Strings whose own best voltages differ by less than this share count as holding each other back by nothing. Power
falls off from its maximum as about 14 times the square of the relative voltage: 0.00006 at half this share."""

EDGE = 0.01
"""Within this share of an edge of the tracker's voltages the voltage of a string's maximum, which may be that of its
mean light, does not tell on which side it lies."""

VOLTS = 56
LEAST_SHARE = 0.1
"""Voltages looked at: so many, from this share of the highest open-circuit voltage up."""

MAXIMA = 2
TURNS = 5
NEWTON = 12


class Parallel(NamedTuple):
    """Strings of a tracker: times (strings,) how many of each; lit (strings,); net, volts (strings, NET) of each; power
    (VOLTS,) on the net of voltages; used (VOLTS,) which maxima were looked at; first (strings + 1,) panel of each."""

    times: FloatArray
    lit: np.ndarray
    net: FloatArray
    volts: FloatArray
    power: FloatArray
    used: IntArray
    first: IntArray


@inlined
def node_at(volts: float, own: FloatArray) -> int:
    """The last node of a falling curve at or above a voltage."""
    i = 0
    while i < NET - 2 and own[i + 1] >= volts:
        i += 1
    return i


@inlined
def read_current(volts: float, current: FloatArray, own: FloatArray) -> float:
    """Current of a string at a voltage from its net."""
    if volts >= own[0]:
        return 0.0
    i = node_at(volts, own)
    fall = own[i] - own[i + 1]
    share = (own[i] - volts) / fall if fall > 1e-9 else 0.5
    return current[i] + min(max(share, 0.0), 1.0) * (current[i + 1] - current[i])


@compiled
def current_of(volts: float, k: int, p: Parallel, s: Series, t: Tables, w: Work) -> tuple[float, float]:
    """Current of a string at a voltage and its derivative, exactly; 0 above its open-circuit voltage."""
    own, nodes = p.volts[k], p.net[k]
    if volts >= own[0]:
        return 0.0, 0.0
    i = node_at(volts, own)
    low, high = nodes[max(i - 3, 0)], nodes[min(i + 4, NET - 1)]  # the net is read from tables
    current, slope = max(read_current(volts, nodes, own), 1e-6 * nodes[NET - 1]), -1.0
    g0 = p.first[k] * s.groups
    begin(low, g0, s, w)  # no group that still conducts somewhere between the ends counts as bypassed
    for _ in range(NEWTON):
        found, slope = string_at(current, g0, s, t, w)
        slope = min(slope, -1e-6)
        if found < volts:
            high = current
        else:
            low = current
        new = current + (volts - found) / slope
        # past a knee the tangent leads astray: halve what is left
        new = new if low <= new <= high else 0.5 * (low + high)
        move, current = abs(new - current), new
        if move < 2e-4 * current:
            break
    return current, 1.0 / slope


@compiled
def power_at(volts: float, p: Parallel, s: Series, t: Tables, w: Work) -> tuple[float, float]:
    """Power of the tracker at a voltage and its derivative."""
    current, slope = 0.0, 0.0
    for k in range(len(p.times)):
        if p.lit[k]:
            own, rise = current_of(volts, k, p, s, t, w)
            current += p.times[k] * own
            slope += p.times[k] * rise
    return volts * current, current + volts * slope


@compiled
def best_between(low: float, high: float, p: Parallel, s: Series, t: Tables, w: Work) -> tuple[float, float]:
    """Highest power [W] between two voltages, and its voltage."""
    gap = (high - low) / (VOLTS - 1)
    for j in range(VOLTS):
        volts, current = low + j * gap, 0.0
        for k in range(len(p.times)):
            if p.lit[k]:
                current += p.times[k] * read_current(volts, p.net[k], p.volts[k])
        p.power[j], p.used[j] = volts * current, 0
    best, held = 0.0, high
    for _ in range(MAXIMA):
        peak = -1
        for j in range(VOLTS):
            over = j == 0 or p.power[j] >= p.power[j - 1]
            over = over and (j == VOLTS - 1 or p.power[j] >= p.power[j + 1])
            if over and p.used[j] == 0 and (peak < 0 or p.power[j] > p.power[peak]):
                peak = j
        if peak < 0:
            break
        p.used[peak] = 1
        volts, before, step = low + peak * gap, 0.0, 0.0
        a, b = max(low, volts - 2.0 * gap), min(high, volts + 2.0 * gap)  # the net, read from tables, is blunt
        for turn in range(TURNS):
            found, rise = power_at(volts, p, s, t, w)
            if found > best:
                best, held = found, volts
            if rise > 0.0:
                a = volts
            else:
                b = volts
            bend = (rise - before) / step if turn and abs(step) > 0.0 else -28.0 * found / (volts * volts)
            new = 0.5 * (a + b)
            if bend < 0.0 and a <= volts - rise / bend <= b:
                new = volts - rise / bend
            step, before, volts = new - volts, rise, new
            if abs(step) < 1e-3 * volts:
                break
    return best, held


@compiled
def tracker_hour(
    light: Float32Array, cell_c: FloatArray, window: tuple[float, float], p: Parallel, s: Series, t: Tables, w: Work
) -> tuple[float, float, float]:
    """Power of an hour: a tracker each, in parallel, within the window [W]."""
    alone, lowest, highest = 0.0, 1e30, 0.0
    for k in range(len(p.times)):
        power, volts = best_of_string(light, cell_c, p.first[k], p.first[k + 1], s, t, w)
        alone += p.times[k] * power
        p.lit[k] = power > 0.0
        if power > 0.0:
            lowest, highest = min(lowest, volts), max(highest, volts)
    low, high = window
    inside = lowest >= low * (1.0 + EDGE) and highest <= high * (1.0 - EDGE)
    same = highest - lowest <= SAME_VOLTS * highest
    if alone <= 0.0 or (inside and same):
        return alone, alone, alone
    top_v = 0.0
    for k in range(len(p.times)):
        if p.lit[k]:
            bright = mean_of(light, p.first[k], p.first[k + 1], s)[2]
            level = level_share(bright)
            top = fill_levels(light, cell_c, p.first[k], p.first[k + 1], level, s, t, w)
            match_groups(p.first[k], p.first[k + 1], level, s, w)
            string_net(top, p.first[k], s, t, w)
            for i in range(NET):
                p.net[k, i], p.volts[k, i] = w.net[i], w.volts[i]
            top_v = max(top_v, w.volts[0])
    least = LEAST_SHARE * top_v
    free, volts = best_between(least, top_v, p, s, t, w)
    free = min(free, alone)
    if same:
        free = alone
    if low <= volts <= high:
        return alone, free, free
    least, top_v = max(least, low), min(top_v, high)
    if least > top_v:
        return alone, free, 0.0
    return alone, free, min(best_between(least, top_v, p, s, t, w)[0], free)


@entry
def follow_tracker(
    light: Float32Array, cell_c: FloatArray, first: IntArray, times: FloatArray, window: tuple[float, float],
    s: Series, t: Tables, found: FloatArray,
) -> None:  # fmt: skip
    """Power of n hours of strings on one tracker, into ``found`` (3, n) [W]: a tracker each, in parallel, within the
    window of voltages.

    light : (n, points) [W/m²], a panel's points together, string after string; cell_c : (n, panels) [°C]
    first : (strings + 1,) first panel of each string; times : (strings,) how many of each
    """
    strings = len(times)
    w = work_room(s)
    p = Parallel(
        times, np.zeros(strings, np.bool_), np.zeros((strings, NET)), np.zeros((strings, NET)), np.zeros(VOLTS),
        np.zeros(VOLTS, np.int64), first,
    )  # fmt: skip
    for hour in range(len(light)):
        alone, free, held = tracker_hour(light[hour], cell_c[hour], window, p, s, t, w)
        found[0, hour], found[1, hour], found[2, hour] = alone, free, held
