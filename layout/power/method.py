"""Which of the year's two fast methods suits a panel type: the weakest-cell rule, or every cell's curve."""

from layout.power.panel_model import LEAKY_SHARE, PanelModel
from layout.power.panel_power import panel_dc_power
from layout.power.uneven import cells_dc_power
from sites.conventions import Float32Array, FloatArray, IntArray


def follows_cells(model: PanelModel) -> bool:
    """Whether a year needs every cell's curve: panels without bypass diodes or with low shunt resistance.

    The rule lets a group's weakest cell block all current above its own until the diode carries it. Without a diode,
    or where cells leak, current goes backward through that cell instead:
    the rule is then off by 15 % of nameplate in the mean on shadow blocks without diodes.
    """
    return not model.diodes or model.leaky_share > LEAKY_SHARE


def method_name(model: PanelModel) -> str:
    """The method in a few words."""
    if follows_cells(model):
        return "every cell's curve, forward and reverse"
    return "weakest cell of each bypass group"


def dc_power(
    light_w_m2: Float32Array, groups: IntArray, model: PanelModel, cell_c: FloatArray | Float32Array
) -> Float32Array:
    """Power, W, of n panel-hours by the method that suits the type.

    light_w_m2 : (n, n_points) float32 [W/m²] light that cells take up, after the glass's angular loss
    groups : (n_points,) int, from `layout.power.cells.group_map`, flattened as the points are
    cell_c : (n,) float [°C]
    Returns (n,) float32. Raises PhysicsError where light or temperature lie outside all that is possible.
    """
    method = cells_dc_power if follows_cells(model) else panel_dc_power
    return method(light_w_m2, groups, model, cell_c)
