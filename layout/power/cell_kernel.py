"""Compiled: voltage of strings of cells at many currents, the full solution's innermost loop.

Single precision, panel-hours innermost: the compiler turns those loops into vector instructions, for which ln and exp
are written out here.
"""

import numpy as np

from layout.power.follow_types import entry, inlined
from sites.conventions import Float32Array

LANES = 256
"""Panel-hours at once: the cells of a part, some dozens, then stay in the fastest cache while currents change."""

_LN2, _PER_LN2 = np.float32(np.log(2.0)), np.float32(1.0 / np.log(2.0))
_ROOT_HALF = np.int32(np.float32(np.sqrt(0.5)).view(np.int32))
_MANTISSA, _BIAS = np.int32(23), np.int32(127)
_ZERO, _ONE, _TWO, _HALF = np.float32(0.0), np.float32(1.0), np.float32(2.0), np.float32(0.5)
_LEAST_Z, _SMALL = np.float32(-20.0), np.float32(0.632)
_INVERSE = tuple(np.float32(1.0 / k) for k in (2, 3, 5, 6, 7, 9, 24))
_OF_2, _OF_3, _OF_5, _OF_6, _OF_7, _OF_9, _OF_24 = _INVERSE


@inlined
def _ln(x: np.float32) -> np.float32:
    """ln x for normal x > 0, to 1e-7: x = m · 2^e with m about 1; ln m = 2 artanh((m - 1) / (m + 1)), its series."""
    bits = np.float32(x).view(np.int32)
    e = np.int32(np.int32(bits - _ROOT_HALF) >> _MANTISSA)
    m = np.int32(bits - np.int32(e << _MANTISSA)).view(np.float32)
    s = (m - _ONE) / (m + _ONE)
    q = s * s
    series = _ONE + q * (_OF_3 + q * (_OF_5 + q * (_OF_7 + q * _OF_9)))
    return np.float32(e) * _LN2 + _TWO * s * series


@inlined
def _exp(x: np.float32) -> np.float32:
    """exp x for -80 <= x <= 1, to 5e-5, which a step of Newton's method follows: 2^k · exp(r), the series to r^4."""
    k = np.int32(x * _PER_LN2 - _HALF)
    r = x - np.float32(k) * _LN2
    series = _ONE + r * (_ONE + r * (_HALF + r * (_OF_6 + r * _OF_24)))
    return series * np.int32(np.int32(k + _BIAS) << _MANTISSA).view(np.float32)


@inlined
def ln_omega(z: np.float32) -> np.float32:
    """ln ω with ω + ln ω = z: start of `layout.power.peak.wright_omega`, a step of Newton's method; within
    2e-5 A of the explicit curve at any voltage. Below -20, ω is nothing beside z; very small numbers would be slow."""
    held = max(z, _LEAST_Z)
    small = _exp(min(held, _ONE))
    small = small / (_ONE + _SMALL * small)
    large = max(held, _ONE)
    large = large - _ln(large)
    omega = small if held < _ONE else large
    found = _ln(omega * (held + _ONE - _ln(omega)) / (_ONE + omega))
    return found if z > _LEAST_Z else z


@entry
def strings_volts(
    current: Float32Array,
    cells: tuple[Float32Array, ...],
    row: np.ndarray,
    series: Float32Array,
    ideality: Float32Array,
    weight: Float32Array,
    table: Float32Array,
    columns: int,
    breakdown_v: np.float32,
    volts: Float32Array,
) -> None:
    """Voltage of each part at its currents (k, parts, n) [A] into ``volts`` (k, parts, n) [V].

    cells : full, start, step, base, leak, (points, parts, n) each, and row of the reverse table, as
        `layout.power.cell_volts.Cells`; series, ideality : (parts, n); weight : (points, parts)
    table : flat, rows of ``columns``; breakdown_v < 0
    """
    full, start, step, base, leak = cells
    last, steps = np.int32(columns - 2), np.float32(columns - 1)
    points, parts, n = full.shape
    ahead, between = np.zeros(LANES, np.float32), np.zeros(LANES, np.float32)
    low, high = np.zeros(LANES, np.float32), np.zeros(LANES, np.float32)
    place = np.zeros(LANES, np.uint32)
    for p in range(parts):
        number = _ZERO
        for c in range(points):
            number += weight[c, p]
        for first in range(0, n, LANES):
            span = slice(first, min(first + LANES, n))
            own_a, own_r = ideality[p, span], series[p, span]
            lanes = len(own_a)
            for k in range(len(current)):
                through, out = current[k, p, span], volts[k, p, span]
                for j in range(lanes):
                    out[j] = -number * own_r[j] * through[j]
            for c in range(points):
                cell = weight[c, p]
                if cell == _ZERO:
                    continue
                f, a, s, b = full[c, p, span], start[c, p, span], step[c, p, span], base[c, p, span]
                y, r = leak[c, p, span], row[c, p, span]
                for k in range(len(current)):
                    through, out = current[k, p, span], volts[k, p, span]
                    for j in range(lanes):
                        ahead[j] = (ln_omega(a[j] - s[j] * through[j]) + b[j]) * own_a[j]
                    for j in range(lanes):
                        share = max(through[j] - f[j], _ZERO) * y[j]
                        x = share / (_ONE + share) * steps
                        i = min(np.int32(x), last)
                        between[j] = x - np.float32(i)
                        place[j] = r[j] + i
                    for j in range(lanes):
                        low[j], high[j] = table[place[j]], table[place[j] + 1]
                    for j in range(lanes):
                        behind = (low[j] + (high[j] - low[j]) * between[j]) * breakdown_v
                        out[j] += cell * (behind if through[j] > f[j] else ahead[j])
