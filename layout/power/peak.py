"""Best operating point of groups of cells in series under uneven light: the numeric kernel.

Shifting and scaling the one-diode equation leaves one universal function. With suns g, the current at 1 sun
J, the shunt conductance at 1 sun G, and

    Vd = a · (w + L + ln g),   L = ln(G·a / I0),   ω = exp(w)

the current is I = g·J + I0 - g·G·a·(ω + w + L + ln g), where g·G·a·ω is the diode's current. Going from w to
I is explicit; the other way is ω + ln ω = z, the Wright ω function (Corless & Jeffrey, AISC 2002: from
memory). For k groups the unknown is q = 1/(1 + ω) of the weakest: dP/dI is nearly linear in it, so that
Newton's method needs one step.
"""

from dataclasses import dataclass

import numpy as np

from layout.power.diode import DiodeParameters, temperature_terms
from sites.conventions import FloatArray

LEAST_SHUNT = 1e-9
"""Least shunt conductance, of Isc/Voc: keeps the formulas finite where the datasheet leaves none."""

NEWTON_STEPS = 1
"""Steps of the fast method. On 180 patterns of 3 and 4 groups (random, within 3 %, some dark) the worst
error against the tabulated curve was 1e-5 of nameplate after 1, 2 and 3 steps alike, which is the table's
own."""


@dataclass(frozen=True, eq=False)
class Warmth:
    """What depends on temperature alone; (n,) float each, whole panel: J [A], I0 [A], Rs [ohm], a [V], L
    [-]."""

    light_current: FloatArray
    saturation: FloatArray
    series: FloatArray
    ideality: FloatArray
    shift: FloatArray
    shunt: float


def warmth(parameters: DiodeParameters, cell_c: FloatArray) -> Warmth:
    """Temperature terms for cell temperatures (n,) [°C]."""
    light_current, saturation, series, ideality = temperature_terms(parameters, np.asarray(cell_c, dtype=np.float64))
    shunt = max(parameters.shunt_siemens, LEAST_SHUNT * parameters.light_current_a / parameters.ideality_v)
    shift = np.log(shunt * ideality / saturation)
    return Warmth(light_current, saturation, series, ideality, shift, shunt)


def wright_omega(z: FloatArray, steps: int = 2) -> FloatArray:
    """ω with ω + ln ω = z, for real z above about -600. Starting value and Newton's method.

    >>> wright_omega(np.array([1.0, 20.0]), 3).round(6).tolist()
    [1.0, 17.157561]
    """
    with np.errstate(under="ignore"):
        small = np.exp(np.clip(z, -600.0, 1.0))
    large = np.maximum(z, 1.0)
    omega = np.where(z < 1.0, small / (1.0 + 0.632 * small), large - np.log(large))
    for _ in range(steps):
        omega = omega * (1.0 + z - np.log(omega)) / (1.0 + omega)
    return omega


def best_power(
    suns: FloatArray,
    warm: Warmth,
    groups: int,
    bypass_v: float,
    lowered_v: FloatArray | None = None,
    steps: int = NEWTON_STEPS,
) -> FloatArray:
    """Highest power, W, with the given groups conducting and all others of the panel bypassed.

    suns : (k, n) float [-] light of the conducting groups over 1000 W/m², brightest first, all above 0
    warm : temperature terms, (n,)
    groups : groups of the panel; each has 1/groups of its cells
    bypass_v : voltage lost in each of the groups - k bypass diodes [V]
    lowered_v : (k, n) float [V] taken off each group's voltage, times ``groups``; None: nothing
    Returns (n,) float, a point that lies on the curve, so never above the true maximum.
    """
    return best_point(suns, warm, groups, bypass_v, lowered_v, steps)[0]


def best_point(
    suns: FloatArray,
    warm: Warmth,
    groups: int,
    bypass_v: float,
    lowered_v: FloatArray | None = None,
    steps: int = NEWTON_STEPS,
) -> tuple[FloatArray, FloatArray]:
    """Highest power, W, and the panel's voltage there, V; arguments as of `best_power`."""
    k = len(suns)
    logs = np.log(suns)
    lost = bypass_v * (groups - k) * groups + (0.0 if lowered_v is None else lowered_v.sum(axis=0))
    unit = warm.shunt * warm.ideality  # diode and shunt currents come in multiples of it
    weakest = suns[-1] * unit
    q = _starting_value(suns, logs[-1], warm, unit, lost)
    for _ in range(steps):
        point = _operate(q, suns, logs, warm, unit)
        slope, curvature = _slopes(q, point, suns, warm)
        miss = point.volts - lost + point.current * slope
        step = miss * q**2 * (1.0 - q) / (curvature * weakest)
        q = np.clip(q - step, 0.2 * q, np.minimum(5.0 * q, 1.0 - 1e-9))
    point = _operate(q, suns, logs, warm, unit)
    volts = (point.volts - lost) / groups
    return np.maximum(volts * point.current, 0.0), volts


@dataclass(frozen=True, eq=False)
class _Point:
    """Common current (n,) [A]; volts (n,) [V], the groups' sum times the number of groups; omega (k - 1, n)
    of the groups other than the weakest."""

    current: FloatArray
    volts: FloatArray
    omega: FloatArray


def _operate(q: FloatArray, suns: FloatArray, logs: FloatArray, warm: Warmth, unit: FloatArray) -> _Point:
    k = len(suns)
    omega = (1.0 - q) / q
    reduced = np.log(omega) + warm.shift + logs[-1]
    current = suns[-1] * (warm.light_current - unit * (omega + reduced)) + warm.saturation
    if k == 1:
        return _Point(current, warm.ideality * reduced - warm.series * current, omega[None, :0])
    others = (warm.light_current + (warm.saturation - current) / suns[:-1]) / unit - warm.shift - logs[:-1]
    omega = wright_omega(others)
    # ln ω = z - ω loses digits where ω is large
    reduced = reduced + (np.log(omega) + logs[:-1]).sum(axis=0) + (k - 1) * warm.shift
    return _Point(current, warm.ideality * reduced - k * warm.series * current, omega)


def _slopes(q: FloatArray, point: _Point, suns: FloatArray, warm: Warmth) -> tuple[FloatArray, FloatArray]:
    """d volts / dI, and d (volts + I d volts / dI) / dI, which is the second derivative of power."""
    k = len(suns)
    resistance = q / (suns[-1] * warm.shunt)
    total = resistance + k * warm.series
    bend = resistance**2 * (1.0 - q)
    if k > 1:
        other = 1.0 / (suns[:-1] * warm.shunt * (1.0 + point.omega))
        total = total + other.sum(axis=0)
        bend = bend + (other**2 * point.omega / (1.0 + point.omega)).sum(axis=0)
    return -total, -2.0 * total - point.current * bend / warm.ideality


def _starting_value(
    suns: FloatArray, log_weakest: FloatArray, warm: Warmth, unit: FloatArray, lost: FloatArray | float
) -> FloatArray:
    """q from the condition at the maximum with brighter groups' currents taken as offsets:
    Σ y / (1 + δi y) = V / (I a), y = 1 / (diode plus shunt current of the weakest)."""
    k = len(suns)
    full = suns[-1] * warm.light_current
    volts = k * warm.ideality * (np.log(warm.light_current / warm.saturation) + log_weakest - 2.8) - lost
    target = np.maximum(volts / (0.94 * full) - k * warm.series, 0.05 * volts / full) / warm.ideality
    target = np.maximum(target, 0.2 / full)
    if k == 1:
        return np.clip(suns[-1] * unit * target, 1e-14, 1.0 - 1e-6)
    offsets = (suns[:-1] - suns[-1]) * (warm.light_current + unit)
    y = target / k
    for _ in range(3):
        parts = 1.0 / (1.0 + offsets * y)
        value = y * (1.0 + parts.sum(axis=0)) - target
        y = y - value / (1.0 + (parts * parts).sum(axis=0))
    return np.clip(suns[-1] * unit * y, 1e-14, 1.0 - 1e-6)
