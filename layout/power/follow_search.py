"""Compiled: the current at which a string gives most, on its exact curve."""

import numpy as np

from layout.power.follow_cells import part_volts
from layout.power.follow_curves import between, place
from layout.power.follow_types import FULL, NET, Series, Tables, Work, compiled, inlined
from layout.power.panel_model import BYPASS_V

MAXIMA = 2
NEARLY = 0.9
"""Maxima looked at on the exact curve, and the share of the highest estimate from which others count."""

TURNS = 5
SPLITS = 10
WIDE = 0.3
DEEP = 4.0
CLOSE, NEAR_VOLTS = 0.005, 0.03
"""Looks at each; most steps that share a current out among halves, and how far beyond them one may be driven; times the
diode's voltage by which a group's own lies below 0 on its curve where the diode surely carries the current. Halves are
near enough where the step left is short over the current and their voltages differ by little over the group's: near a
knee a short step alone may still be volts."""

STEEP = 30.0
"""d ln(-I · dV/dI / V) / d ln I near a maximum, where that is 1: for the first step."""

NEAR, NEAR_SMOOTH = 0.004, 0.006
"""A step shorter than this share of the current is the last; the power it still brings is added."""

KNEE, BELOW, ABOVE = 0.975, 0.85, 1.12
"""Where the parts are each nearly evenly lit, the maximum lies near this share of the light current of the weakest
group that conducts: 0.948 to 1.01 on the demo's light with differences up to 0.25 within a part. The looks begin
there, between the other two shares."""

OUT = 0.8
"""Groups whose brightest cells have less than this share of the current at a maximum are bypassed there."""

APART = 0.08
"""Groups whose light differs by less than this share belong to the same maximum."""


@inlined
def joined_at(current: float, g: int, least: float, t: Tables, w: Work) -> tuple[float, float]:
    """Voltage of a group's two halves in parallel and its derivative: Newton's method, kept between ends that close
    in, since past a knee the tangent leads astray. Below ``least`` it need not be exact."""
    first, own, rise, before = w.share[g] * current, 0.0, 0.0, np.inf
    low, high = -WIDE * current, (1.0 + WIDE) * current
    for _ in range(SPLITS):
        va, sa = part_volts(first, 2 * g, w, t)
        vb, sb = part_volts(current - first, 2 * g + 1, w, t)
        if va < least and vb < least:  # their common voltage lies between the two
            return max(va, vb), 0.0
        off = vb - va
        move = off / (sa + sb)
        own, rise = va + sa * move, sa * sb / (sa + sb)
        if move > 0.0:
            low = first
        else:
            high = first
        if abs(off) < NEAR_VOLTS * t.group_v and abs(move) < CLOSE * current:
            first += move
            break
        new = first + move
        first = new if low < new < high and abs(off) < 0.5 * before else 0.5 * (low + high)
        before = abs(off)
    w.share[g] = first / current
    return own, rise


@compiled
def string_at(current: float, g0: int, s: Series, t: Tables, w: Work) -> tuple[float, float]:
    """Voltage of the string from group g0 on [V] and its derivative [V/A] at a current, exactly; the halves' shares are
    where the last look left them."""
    volts, slope = 0.0, 0.0
    for at in range(g0, g0 + w.kinds[g0]):
        g = w.kind[at]
        if w.off[g]:
            volts -= w.times[g] * BYPASS_V
            continue
        if s.halves == 1:
            own, rise = part_volts(current, g, w, t)
        else:
            own, rise = joined_at(current, g, -BYPASS_V if s.diodes else -np.inf, t, w)
        if s.diodes and own < -BYPASS_V:
            own, rise = -BYPASS_V, 0.0
        volts += w.times[g] * own
        slope += w.times[g] * rise
    return volts, slope


@compiled
def best_near(
    low: float, start: float, high: float, near: float, g0: int, s: Series, t: Tables, w: Work
) -> tuple[float, float, int, bool]:
    """Highest power [W] between two currents and its voltage, from a start between them: secants of
    ln(-I · dV/dI / V), 0 at a maximum, kept between the ends, which close in. Also on which side it may go on, -1, 0 or
    1, and whether the last step was short."""
    best, held, current, step, before, left, right = 0.0, 0.0, start, 0.0, 0.0, -1, 1
    for turn in range(TURNS):
        volts, slope = string_at(current, g0, s, t, w)
        rise, fall = volts + current * slope, -slope * current
        if rise > 0.0:
            low, left = current, 0
        else:
            high, right = current, 0
        new = 0.5 * (low + high)
        if fall > 1e-3 * volts and volts > 0.0:
            steep = np.log(fall / volts)
            bend = (steep - before) / step if turn and before != 0.0 else STEEP / current
            if bend > 0.0 and low < current - steep / bend < high:
                new = current - steep / bend
            before = steep
        else:
            before = 0.0
        step, found = new - current, volts * current
        short = abs(step) < near * current
        if short:
            found += 0.5 * rise * step
        if found > best:
            best, held = found, volts
        if short:
            return best, held, left + right, True
        current = new
    return best, held, left + right, False


@inlined
def begin(current: float, g0: int, s: Series, w: Work) -> None:
    """Shares of halves, and which groups' diodes carry the current, from the curves."""
    for at in range(g0, g0 + w.kinds[g0]):
        g = w.kind[at]
        nodes, n = w.group_i[g], w.group_n[g]
        i = place(current, 0, nodes, n)
        w.off[g] = s.diodes and between(current, i, nodes, w.group_v[g]) < -DEEP * BYPASS_V
        if s.halves == 2 and current > 0.0:
            w.share[g] = between(current, i, nodes, w.first_i[g]) / current


@compiled
def best_of_net(g0: int, s: Series, t: Tables, w: Work) -> tuple[float, float]:
    """Highest power [W] and its voltage, from the net's highest maxima."""
    best, held, first = 0.0, 0.0, 0.0
    w.used[:] = 0
    for k in range(NET):
        w.power[k] = w.net[k] * w.volts[k]
    for _ in range(MAXIMA):
        peak = 0
        for k in range(1, NET - 1):
            top = w.used[k] == 0 and w.power[k] >= w.power[k - 1] and w.power[k] >= w.power[k + 1]
            if top and (peak == 0 or w.power[k] > w.power[peak]):
                peak = k
        if peak == 0 or w.power[peak] < NEARLY * first:
            break
        w.used[peak], first, side = 1, max(first, w.power[peak]), 0
        for again in range(2):
            if again and side == 0:
                break
            at = min(max(peak + 2 * side, 1), NET - 2)
            begin(w.net[at - 1], g0, s, w)
            found, where, side, _ = best_near(w.net[at - 1], w.net[at], w.net[at + 1], NEAR, g0, s, t, w)
            if found > best:
                best, held = found, where
    return best, held


@inlined
def knees_of(g0: int, s: Series, t: Tables, w: Work) -> tuple[float, float, float, float]:
    """Currents of the groups whose maxima promise most and second most, and what they promise [W]; with the shares of
    halves and the currents of the weakest levels."""
    total, kinds = 0.0, w.kinds[g0]
    for k in range(kinds):
        g = w.kind[g0 + k]
        current = w.level[g, 0, FULL]
        if s.halves == 2:
            current = w.level[2 * g, 0, FULL] + w.level[2 * g + 1, 0, FULL]
            w.share[g] = w.level[2 * g, 0, FULL] / current
        w.weak[g] = current
        total += w.times[g]
        i = k
        while i > 0 and w.weak[w.rank[i - 1]] < current:
            w.rank[i] = w.rank[i - 1]
            i -= 1
        w.rank[i] = g
    at, beside, first, second, reached = 0.0, 0.0, -1.0, -1.0, 0.0
    for i in range(kinds):
        current = w.weak[w.rank[i]]
        reached += w.times[w.rank[i]]
        if not s.diodes and i < kinds - 1:
            continue
        power = current * (reached * (t.rest_v + BYPASS_V) - total * BYPASS_V)
        if power > first or not s.diodes:
            if first >= 0.0 and at - current > APART * at:
                second, beside = first, at
            first, at = power, current
        elif power > second and at - current > APART * at:
            second, beside = power, current
    return at, beside, first, second


@compiled
def best_at_knees(g0: int, s: Series, t: Tables, w: Work) -> tuple[float, float]:
    """Highest power [W] and its voltage where each part is nearly evenly lit; without diodes, where all are."""
    at, beside, first, second = knees_of(g0, s, t, w)
    best, held = 0.0, 0.0
    for turn in range(2):
        if turn and second < NEARLY * first:
            break
        knee = beside if turn else at
        for i in range(g0, g0 + w.kinds[g0]):
            g, strongest = w.kind[i], 0.0
            for part in range(g * s.halves, (g + 1) * s.halves):
                strongest += w.level[part, w.number[part] - 1, FULL]
            w.off[g] = s.diodes and strongest < OUT * knee
        low, start, high = BELOW * knee, KNEE * knee, ABOVE * knee
        for _ in range(3):
            found, where, side, short = best_near(low, start, high, NEAR_SMOOTH, g0, s, t, w)
            if found > best:
                best, held = found, where
            if short or side == 0:
                break
            if side > 0:
                low, start, high = start, 1.06 * high, 1.2 * high
            else:
                low, start, high = 0.8 * low, 0.94 * low, start
    return best, held
