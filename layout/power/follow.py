"""Power of strings of panels with every cell followed, by the compiled kernel."""

from functools import lru_cache

import numpy as np

from layout.power.follow_types import Tables, omega_table
from layout.power.full_curve import Wiring
from layout.power.panel_model import PanelModel, check_range
from layout.power.peak import warmth
from layout.power.reverse import Reverse, reverse_of, reverse_table
from sites.conventions import Float32Array, FloatArray


def followed_power(
    light_w_m2: Float32Array, plan: Wiring, model: PanelModel, cell_c: FloatArray | Float32Array
) -> tuple[Float32Array, Float32Array]:
    """Highest power, W, of n hours of a string of panels in series, and its voltage there, V; (n,) float32 each.

    light_w_m2 : (n, panels, n_points) float32 [W/m²] after the glass's angular loss; cell_c : (n, panels) float [°C]
    plan : from `layout.power.full_curve.wiring`

    Against the full solution, 600 patterns each of shadow edges and scattered shade on 10 × 6, half-cut and thin-film
    cells: with diodes (or thin film) within 0.0015 of nameplate at the 99th percentile, without diodes 0.006, 0.0001 in
    the mean. The first call on a machine compiles for some seconds; others find that on disk.
    Raises PhysicsError where light or temperature lie outside all that is possible.
    """
    # the compiler takes half a second to load, which only those who follow cells need
    from layout.power.follow_kernel import follow

    cell = np.asarray(cell_c, dtype=np.float64)
    check_range(light_w_m2, cell)
    warm = warmth(model.cell_diode, cell)
    terms = np.stack([warm.light_current, warm.saturation, warm.series, warm.ideality, warm.shift], axis=-1)
    power, volts = np.zeros(len(cell)), np.zeros(len(cell))
    follow(
        np.ascontiguousarray(light_w_m2, dtype=np.float32),
        np.ascontiguousarray(terms),
        np.ascontiguousarray(plan.order, dtype=np.int64),
        np.ascontiguousarray(plan.weight, dtype=np.float64),
        model.groups,
        model.halves,
        model.diodes,
        _tables(reverse_of(model.panel_type), warm.shunt, model.panel_type.voc_v / model.groups),
        power,
        volts,
    )
    return power.astype(np.float32), volts.astype(np.float32)


@lru_cache(maxsize=32)
def _tables(reverse: Reverse, shunt: float, group_v: float) -> Tables:
    table = reverse_table(reverse)
    return Tables(
        omega_table(), table.by_share, reverse.breakdown_v, reverse.dark_shunt, table.share_limit, shunt, group_v
    )
