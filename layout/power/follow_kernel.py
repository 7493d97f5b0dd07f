"""Power of strings of panels with every cell followed: the compiled kernel of the year's method.

Compiled, so loops over hours, parts and cells are what it is made of. For each hour and string one of three ways, the
first that is good enough:

    nearly even light ─► power of the mean light, less what its variance costs
    parts (halves, groups) each nearly evenly lit ─► maxima lie at the weakest cells' knees ─► exact looks there
    else ─► parts' curves on a few currents, closest about the knees ─► two halves in parallel: group curves ─► groups
            in series: power on a net of currents ─► exact looks at the net's highest maxima

Groups lit alike are followed once. Numba keeps what it compiled on disk, until a file of this package changes.
"""

import numpy as np

from layout.power.follow_cells import fill_levels, match_groups, read
from layout.power.follow_curves import string_net
from layout.power.follow_search import best_at_knees, best_of_net
from layout.power.follow_types import FULL, Series, Tables, Work, compiled, entry, inlined, work_room
from layout.power.panel_model import DARK_W_M2
from sites.conventions import Float32Array, FloatArray

FULL_LIGHT = 1000.0

MILD_DEPTH, MILD_SPREAD = 0.06, 0.10
MILD_POWER, MILD_MOST = 1.0 / 3.0, 2.5
"""Where no cell lies further below the mean, and no two are further apart, over the mean, the variance decides. Dimmer
light may differ more for the same error in watts: by this power of 1000 W/m² over the mean, but no more than so many
times. On 12,000 hours each of uneven light in the demo's layouts, whichever way they went, power was within 0.003 of
nameplate of the full solution at the 99th percentile, 0.0001 in the mean."""

EVEN = 0.01
"""Where no two cells are further apart, over the mean, the variance costs less than 0.0003 of the power."""

SMOOTH, SMOOTH_MOST = 0.25, 0.5
"""Parts whose darkest cell lies by no more than this share below their brightest are nearly evenly lit; more in dim
light, by the root of 1000 W/m² over the brightest cell's light, up to the other share."""

LEVEL, LEVEL_MOST = 0.015, 0.06
"""Cells of a part whose light differs by no more than this share count as one level; likewise."""


@inlined
def mean_of(light: Float32Array, p0: int, p1: int, s: Series) -> tuple[float, float, float]:
    """Mean, least and most light of panels p0 to p1."""
    parts = s.groups * s.halves
    low = light[s.bounds[p0 * parts]]
    high, total, number = low, 0.0, 0.0
    for p in range(p0, p1):
        a, b = s.bounds[p * parts], s.bounds[(p + 1) * parts]
        own = np.float32(0.0)
        for i in range(a, b):  # a panel's points lie together
            low, high = min(low, light[i]), max(high, light[i])
            own += light[i]
        total += s.counts[p] * own / (b - a)
        number += s.counts[p]
    return total / number, low, high


@inlined
def variance_of(light: Float32Array, mean: float, p0: int, p1: int, s: Series) -> float:
    """Variance of light over the mean's square along the series connection. Of parallel halves each counts with its
    own variance, but only the mean of both against other groups."""
    within, square, number = 0.0, 0.0, 0.0
    for p in range(p0, p1):
        count = s.counts[p]
        number += count
        for g in range(p * s.groups, (p + 1) * s.groups):
            group = 0.0
            for part in range(g * s.halves, (g + 1) * s.halves):
                a, b = s.bounds[part], s.bounds[part + 1]
                summed, squared = np.float32(0.0), np.float32(0.0)
                for i in range(a, b):
                    v = light[s.order[i]]
                    summed += v
                    squared += v * v
                own = summed / (b - a)
                within += count * (squared / (b - a) - own * own)
                group += own
            off = group / s.halves - mean
            square += count * off * off
    number *= s.groups
    return max(within / (number * s.halves) + square / number, 0.0) / (mean * mean)


@inlined
def nearly_even(
    light: Float32Array, cell_c: FloatArray, mean: float, spread: float, p0: int, p1: int, s: Series, t: Tables
) -> tuple[float, float]:
    """Power of nearly even light [W] and its voltage [V]."""
    power, heat, number = 0.0, 0.0, 0.0
    for p in range(p0, p1):
        number += s.counts[p]
        heat += s.counts[p] * cell_c[p]
        power += s.counts[p] * s.scale[p] * read(t.per_light, mean, cell_c[p])
    heat /= number
    loss = 1.0
    if spread > EVEN * mean:
        loss += 0.5 * variance_of(light, mean, p0, p1, s) * read(t.mismatch, mean, heat)
    return power * mean / loss, number * read(t.peak_volts, mean, heat)


@inlined
def alike(p0: int, p1: int, s: Series) -> bool:
    """Whether the panels have one size."""
    same = True
    for p in range(p0, p1):
        same = same and s.scale[p] == s.scale[p0]
    return same


@inlined
def widest_part(low: float, high: float, p0: int, p1: int, s: Series, w: Work) -> float:
    """How far a part's darkest cell lies below its brightest, a share, at most; of the whole string without diodes."""
    if not s.diodes:
        return 1.0 - low / high if alike(p0, p1, s) else 1.0
    widest, parts = 0.0, s.groups * s.halves
    for part in range(p0 * parts, p1 * parts):
        widest = max(widest, 1.0 - w.level[part, 0, FULL] / w.level[part, w.number[part] - 1, FULL])
    return widest


@inlined
def level_share(high: float) -> float:
    """Share by which cells of one level may differ."""
    return min(LEVEL * np.sqrt(FULL_LIGHT / high), LEVEL_MOST)


@compiled
def best_of_string(
    light: Float32Array, cell_c: FloatArray, p0: int, p1: int, s: Series, t: Tables, w: Work
) -> tuple[float, float]:
    """Highest power [W] of panels p0 to p1 in series in one hour, and its voltage [V]."""
    mean, low, high = mean_of(light, p0, p1, s)
    if high < DARK_W_M2:
        return 0.0, 0.0
    more = min(max((FULL_LIGHT / mean) ** MILD_POWER, 1.0), MILD_MOST) * mean
    if mean - low <= MILD_DEPTH * more and high - low <= MILD_SPREAD * more and alike(p0, p1, s):
        return nearly_even(light, cell_c, mean, high - low, p0, p1, s, t)
    level, g0 = level_share(high), p0 * s.groups
    top = fill_levels(light, cell_c, p0, p1, level, s, t, w)
    match_groups(p0, p1, level, s, w)
    if not t.leaky and widest_part(low, high, p0, p1, s, w) <= min(SMOOTH * np.sqrt(FULL_LIGHT / high), SMOOTH_MOST):
        return best_at_knees(g0, s, t, w)
    string_net(top, p0, s, t, w)
    return best_of_net(g0, s, t, w)


@entry
def follow(light: Float32Array, cell_c: FloatArray, s: Series, t: Tables, power: FloatArray, held: FloatArray) -> None:
    """Highest power of n hours of one string, and its voltage, into ``power`` and ``held`` (n,) [W], [V].

    light : (n, points) [W/m²], a panel's points together; cell_c : (n, panels) [°C]
    """
    w = work_room(s)
    for hour in range(len(light)):
        power[hour], held[hour] = best_of_string(light[hour], cell_c[hour], 0, len(s.counts), s, t, w)
