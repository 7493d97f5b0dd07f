"""DC power of panels under uneven light: the year's fast method.

Rule: the weakest cell of each bypass group sets the group's current until the diode carries the panel's
current; the panel takes its best operating point. Since groups with more light have more voltage at any
current, the best set of k conducting groups is that of the k brightest, and the panel's curve has one
maximum for each k.
"""

from itertools import pairwise

import numpy as np

from layout.power.panel_model import (
    BYPASS_V,
    DARK_W_M2,
    PanelModel,
    check_range,
    even_light_power,
    panel_model,
)
from layout.power.peak import Warmth, best_power, warmth
from sites.conventions import Float32Array, FloatArray, IntArray

__all__ = ["PanelModel", "even_light_power", "group_light_power", "panel_dc_power", "panel_model"]

EVEN_SPREAD = 1e-3
"""Groups whose light differs by less than this share of the brightest count as evenly lit, at their mean.
Power is then off by less than that share times one half."""

TOGETHER = 1.2
"""Where the darkest of g groups has this times (g - 1)/g of the brightest one's light, all conduct at the best point:
g groups at the darkest's light then give more than g - 1 at the brightest's, as long as efficiency grows by less than
a fifth from the one to the other."""

_CHUNK = 16384
_KERNEL_CHUNK = 4096


def panel_dc_power(
    light_w_m2: Float32Array,
    groups: IntArray,
    model: PanelModel,
    cell_c: FloatArray | Float32Array,
) -> Float32Array:
    """Power, W, of n panel-hours.

    light_w_m2 : (n, n_points) float32 [W/m²] light that cells take up, after the glass's angular loss
    groups : (n_points,) int, from `layout.power.cells.group_map`, flattened as the points are
    cell_c : (n,) float [°C]
    Returns (n,) float32, of a panel of the type's own size. Raises PhysicsError where light or temperature
    lie outside all that is possible.
    """
    n = len(light_w_m2)
    order = np.argsort(groups, kind="stable")
    bounds = np.searchsorted(groups[order], np.arange(model.groups * model.halves + 1))
    power = np.zeros(n, dtype=np.float32)
    for start in range(0, n, _CHUNK):
        part = slice(start, start + _CHUNK)
        points = np.ascontiguousarray(light_w_m2[part].T)[order]
        weakest = np.stack([points[a:b].min(axis=0) for a, b in pairwise(bounds)])
        power[part] = group_light_power(weakest, model, np.asarray(cell_c[part], dtype=np.float32))
    return power


def group_light_power(weakest: Float32Array, model: PanelModel, cell_c: Float32Array) -> Float32Array:
    """Power, W, from the weakest cell's light in each group.

    weakest : (groups × halves, n) float32 [W/m²]; cell_c : (n,) float32 [°C]
    """
    if len(weakest) == 1:
        return model.even_power(weakest[0], cell_c)
    brightest, darkest = weakest.max(axis=0), weakest.min(axis=0)
    uneven = brightest - darkest > np.float32(EVEN_SPREAD) * brightest
    together = (darkest >= np.float32(TOGETHER * (1.0 - 1.0 / model.groups)) * brightest) & (darkest >= DARK_W_M2)
    power = model.even_power(np.float32(0.5) * (brightest + darkest), cell_c)
    for chosen, fewest in (
        (uneven & together, model.groups),
        (uneven & ~together, 1 if model.diodes else model.groups),
    ):
        columns = np.flatnonzero(chosen)
        for start in range(0, len(columns), _KERNEL_CHUNK):
            part = columns[start : start + _KERNEL_CHUNK]
            power[part] = _uneven_power(weakest[:, part], model, cell_c[part], fewest)
    return power


def _uneven_power(weakest: Float32Array, model: PanelModel, cell_c: Float32Array, fewest: int) -> FloatArray:
    """Best over k brightest groups, k from ``fewest``; weakest (groups × halves, n)."""
    check_range(weakest, cell_c)
    warm = warmth(model.diode, cell_c.astype(np.float64))
    suns = weakest.astype(np.float64) / 1000.0
    lowered = None
    if model.halves == 2:
        suns, lowered = join_halves(suns[0::2], suns[1::2], model, warm)
    suns, lowered = _brightest_first(suns, lowered)
    least = DARK_W_M2 / 1000.0
    lit = suns >= least
    suns = np.maximum(suns, least)
    power = np.zeros(suns.shape[1])
    for k in range(fewest, model.groups + 1):
        off = None if lowered is None else lowered[:k]
        power = np.maximum(power, best_power(suns[:k], warm, model.groups, BYPASS_V, off) * lit[k - 1])
    return power


def join_halves(
    first: FloatArray, second: FloatArray, model: PanelModel, warm: Warmth
) -> tuple[FloatArray, FloatArray]:
    """One curve for two parallel halves at different light: that of their mean light, lowered.

    Both halves stand at the same voltage; their currents differ by δ about the mean. Summing the two diode
    currents gives I0 · cosh(Rs δ / a) in place of I0, which lowers the voltage by a · ln cosh(Rs δ / a) at a
    given current. δ = ΔIL / (1 + Rs dI/dVd) with the slope at the maximum, Imp / Vmp per sun.
    """
    mean = 0.5 * (first + second)
    slope = model.panel_type.imp_a / model.panel_type.vmp_v * mean
    half_difference = 0.5 * (first - second) * warm.light_current / (1.0 + warm.series * slope)
    ratio = warm.series * half_difference / warm.ideality
    return mean, warm.ideality * np.log(np.cosh(np.minimum(np.abs(ratio), 300.0)))


def _brightest_first(suns: FloatArray, lowered: FloatArray | None) -> tuple[FloatArray, FloatArray | None]:
    """Groups in falling order of light, by odd-even transposition (few groups, many columns)."""
    suns = suns.copy()
    lowered = None if lowered is None else lowered.copy()
    for turn in range(len(suns)):
        for i in range(turn % 2, len(suns) - 1, 2):
            first, second = suns[i].copy(), suns[i + 1].copy()
            suns[i], suns[i + 1] = np.maximum(first, second), np.minimum(first, second)
            if lowered is not None:
                swap = second > first
                a, b = lowered[i].copy(), lowered[i + 1].copy()
                lowered[i], lowered[i + 1] = np.where(swap, b, a), np.where(swap, a, b)
    return suns, lowered
