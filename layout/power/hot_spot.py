"""Hot spots: power that a shaded cell takes up from the brighter ones in series with it, and how warm it
gets.

The estimate spreads that power evenly over the cell. Real cells leak at spots, which can be far hotter; the
standard tests (IEC 61215-2, MQT 09) look for these. The panel counts as one of a string whose other panels
are evenly lit.
"""

from dataclasses import dataclass

import numpy as np

from layout.power.full_curve import cell_power, tracker_power
from layout.power.heat import cell_temperature
from layout.power.panel_model import PanelModel
from layout.power.reverse import Reverse
from sites.conventions import Float32Array, FloatArray, IntArray


@dataclass(frozen=True, eq=False)
class HotSpot:
    """The cell that takes up most power in each panel-hour; (n,) each.

    cell : index among the points; taken_up_w : power it takes up [W], 0 where every cell gives power
    cell_c : its temperature [°C]
    """

    cell: IntArray
    taken_up_w: FloatArray
    cell_c: FloatArray


def hot_spot(
    light_w_m2: Float32Array,
    groups: IntArray,
    model: PanelModel,
    air_c: FloatArray,
    wind_10m: FloatArray,
    panels: int = 1,
    diodes: bool | None = None,
    reverse: Reverse | None = None,
) -> HotSpot:
    """Power taken up by the most stressed cell while the string is held at its highest power.

    light_w_m2 : (n, n_points) float32 [W/m²] on the cells of the shaded panel, one point a cell
    groups : (n_points,) int, from `layout.power.cells.group_map`
    air_c, wind_10m : (n,) [°C], [m/s at 10 m]
    panels : panels in the string; the others lie in the light of this one's brightest cell
    diodes : False: as if the bypass diodes had failed open; None: as the panel type says
    reverse : behaviour of cells under reverse voltage; None: assumed for the type
    Source of the temperature: `layout.power.heat.cell_temperature` with the power taken up added to the
    light.
    """
    kind, n = model.panel_type, len(light_w_m2)
    warm = cell_temperature(light_w_m2.mean(axis=1), air_c, wind_10m, kind.u0_w_m2_k, kind.u1_w_s_m3_k)
    string = np.repeat(light_w_m2.max(axis=1)[:, None, None], min(panels, 2), axis=1)
    string = np.repeat(string, light_w_m2.shape[1], axis=2)
    string[:, 0] = light_w_m2
    count = np.array([[1.0, panels - 1.0][: string.shape[1]]])
    held = tracker_power(string[:, None], groups, model, warm[:, None, None], diodes, reverse, count=count)
    given = cell_power(light_w_m2, groups, model, warm, held.part_current[:, 0, 0], reverse)
    cell = given.argmin(axis=1)
    rows = np.arange(n)
    taken = np.maximum(-given[rows, cell].astype(np.float64), 0.0)
    area = kind.area_m2 / (kind.cells[0] * kind.cells[1])
    heat = light_w_m2[rows, cell] + taken / area
    return HotSpot(cell, taken, cell_temperature(heat, air_c, wind_10m, kind.u0_w_m2_k, kind.u1_w_s_m3_k))


def hot_spot_cautions(working: HotSpot, failed: HotSpot, model: PanelModel) -> tuple[str, ...]:
    """Lines for the user: the warmest cell with working diodes, and with failed ones where that differs."""
    kind, lines = model.panel_type, []
    cases = [(working, "" if model.diodes else " (panels without bypass diodes)")]
    if model.diodes:
        cases.append((failed, " should a bypass diode have failed open"))
    for found, condition in cases:
        if not len(found.cell_c):
            continue
        worst = int(np.argmax(found.cell_c))
        if found.taken_up_w[worst] <= 0.0 or found.cell_c[worst] <= kind.max_cell_c:
            continue
        lines.append(
            f"Hot spot: a shaded cell takes up {found.taken_up_w[worst]:.0f} W and reaches about "
            f"{found.cell_c[worst]:.0f} °C in the worst hour{condition}; the panel's limit "
            f"is {kind.max_cell_c:.0f} °C. Leaks at spots inside the cell can be hotter. Have shaded panels "
            "checked by a licensed electrician."
        )
    return tuple(lines)
