"""DC power under uneven light, the year's method: every cell is followed.

Light that differs little from cell to cell costs power with its variance: V of a cell at a given current
bends down with light, so a series connection has the voltage of the mean light less half the bend times the
variance (Bucciarelli, Solar Energy 23 (1979) 277-288, for the idea; the factor is worked out from the
panel's own model). Where any cell lies further below the mean, the curves of all cells count, forward and reverse,
as in the full solution: `layout.power.follow_kernel`.
"""

import numpy as np

from layout.power.follow import PanelGroup, followed_power, tracker_followed_power
from layout.power.panel_model import ANY_VOLTAGE, PanelModel
from sites.conventions import Float32Array, FloatArray, IntArray


def cells_dc_power(
    light_w_m2: Float32Array, groups: IntArray, model: PanelModel, cell_c: FloatArray | Float32Array
) -> Float32Array:
    """Power, W, of n panel-hours on panels with a tracker of their own.

    light_w_m2 : (n, n_points) float32 [W/m²] light that cells take up, after the glass's angular loss
    groups : (n_points,) int, from `layout.power.cells.group_map`, flattened as the points are
    cell_c : (n,) float [°C]
    Returns (n,) float32. Raises PhysicsError where light or temperature lie outside all that is possible.
    """
    return followed_power(light_w_m2, [PanelGroup(groups)], model, np.asarray(cell_c, dtype=np.float64)[:, None])[0]


def series_dc_power(
    light_w_m2: Float32Array, groups: IntArray, model: PanelModel, cell_c: FloatArray | Float32Array
) -> Float32Array:
    """Power, W, of n hours of a string of equal panels in series: light (n, panels, n_points), cell_c (n,
    panels)."""
    n, panels, _ = light_w_m2.shape
    return followed_power(light_w_m2.reshape(n, -1), [PanelGroup(groups)] * panels, model, cell_c)[0]


def parallel_dc_power(
    light_w_m2: Float32Array,
    groups: IntArray,
    model: PanelModel,
    cell_c: FloatArray | Float32Array,
    window_v: tuple[float, float] = ANY_VOLTAGE,
) -> tuple[Float32Array, Float32Array, Float32Array]:
    """Power, W, of n hours of equal strings of equal panels on one tracker: had each a tracker of its own, as they are
    were any voltage allowed, and within ``window_v``; (n,) float32 each.

    light_w_m2 : (n, strings, panels, n_points) float32 [W/m²]; cell_c : (n, strings, panels) float [°C]
    window_v : lowest and highest voltage that the tracker can hold
    Raises PhysicsError where light or temperature lie outside all that is possible.
    """
    n, strings, panels, _ = light_w_m2.shape
    each = [([PanelGroup(groups)] * panels, 1.0)] * strings
    return tracker_followed_power(
        light_w_m2.reshape(n, -1), each, model, np.asarray(cell_c, dtype=np.float64).reshape(n, -1), window_v
    )
