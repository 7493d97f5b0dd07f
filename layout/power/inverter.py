"""The inverter: efficiency over load, and the AC limit."""

from collections.abc import Mapping, Sequence

import numpy as np

from sites.conventions import FloatArray

Curve = Sequence[float] | FloatArray
"""Efficiency [-] at `LOADS`."""

LOADS = (0.05, 0.10, 0.20, 0.25, 0.30, 0.50, 0.75, 1.00)
"""Loads at which efficiency is given, over rated power: the levels of EN 50530 (from memory)."""

EURO_WEIGHTS: Mapping[float, float] = {0.05: 0.03, 0.10: 0.06, 0.20: 0.13, 0.30: 0.10, 0.50: 0.48, 1.00: 0.20}
"""European weighting of efficiency by load (EN 50530, annex D)."""

CALIFORNIA_WEIGHTS: Mapping[float, float] = {
    0.10: 0.04,
    0.20: 0.05,
    0.30: 0.12,
    0.50: 0.21,
    0.75: 0.53,
    1.00: 0.05,
}
"""Californian weighting of efficiency by load (EN 50530, annex D)."""


def efficiency(load: FloatArray, curve: Curve) -> FloatArray:
    """Efficiency at a load.

    load : (...) float [-] DC power over rated power
    curve : efficiency at `LOADS`
    Returns (...) float [-]. Linear between the loads; above rated power the last value; below the lowest
    load the power lost there stays lost, so efficiency falls to 0 (our assumption: the electronics' own
    consumption).
    """
    part = np.asarray(load, dtype=np.float64)
    own = LOADS[0] * (1.0 - curve[0])
    low = 1.0 - own / np.maximum(part, own)
    return np.where(part < LOADS[0], low, np.interp(part, LOADS, curve))


def ac_power(
    dc_kw: FloatArray,
    rated_kw: float,
    ac_limit_kw: float | None,
    curve: Curve,
    start_kw: float = 0.0,
) -> tuple[FloatArray, FloatArray]:
    """AC power, and AC power cut off by the limit, both kW.

    dc_kw : (...) float [kW] at the inverter's terminals
    rated_kw : power that counts as full load: the AC limit where there is one, the DC capacity otherwise
    ac_limit_kw : most that leaves the inverter; None: no clipping
    start_kw : DC power below which the inverter stays off
    Returns (ac_kw, clipped_kw), shaped as dc_kw.
    """
    dc = np.asarray(dc_kw, dtype=np.float64)
    dc = np.where(dc < start_kw, 0.0, dc)
    ac = dc * efficiency(dc / rated_kw, curve)
    if ac_limit_kw is None:
        return ac, np.zeros_like(ac)
    kept = np.minimum(ac, ac_limit_kw)
    return kept, ac - kept


def weighted_efficiency(curve: Curve, weights: Mapping[float, float]) -> float:
    """Efficiency weighted by how often a load occurs: `EURO_WEIGHTS` or `CALIFORNIA_WEIGHTS`.

    >>> round(weighted_efficiency([0.9, 0.94, 0.96, 0.963, 0.965, 0.97, 0.965, 0.96], EURO_WEIGHTS), 4)
    0.9623
    """
    return float(sum(w * np.interp(x, LOADS, curve) for x, w in weights.items()))
