"""All that is worked out once for a panel type, so that a year of it is table look-ups and a few Newton
steps."""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from layout.errors import PhysicsError
from layout.panel_type import PanelType
from layout.power.cells import PanelDataError, cells_in_series, check_cells, group_count, halves
from layout.power.diode import DiodeParameters
from layout.power.diode_fit import Datasheet, fit_datasheet
from layout.power.peak import best_point, best_power, warmth
from sites.conventions import Float32Array, FloatArray

BYPASS_V = 0.5
"""Voltage across a bypass diode that carries the panel's current. Common practice, no source."""

DARK_W_M2 = 1.0
"""Light below this gives nothing."""

ANY_VOLTAGE = (0.0, np.inf)
"""The window of a tracker that can hold any voltage."""

LIGHT_LIMIT_W_M2 = 20000.0
"""Light beyond this is refused: no reflector of this program concentrates so far."""

CELL_RANGE_C = (-80.0, 320.0)
"""Cell temperatures beyond these are refused; the upper one only keeps windless concentrated light
countable."""

LEAKY_SHARE = 0.04
"""Share of the light current that runs through the shunt at rated voltage from which curves slope too much to
look for maxima by the weakest cells: the bundled panels with diodes have 0.014. Our choice."""

POWER_MISMATCH = 0.02
"""Largest relative difference accepted between pmax_w and vmp_v · imp_a."""

LIGHT_NODES, HEAT_NODES = 1025, 101
"""Of the tables over light and cell temperature."""


@dataclass(frozen=True, eq=False)
class LightHeatTable:
    """A quantity on a net that is even in the square root of light and in temperature.

    values : (light nodes × heat nodes) float32, heat runs fastest
    """

    values: Float32Array

    def at(self, light_w_m2: Float32Array, cell_c: Float32Array) -> Float32Array:
        """Value by bilinear interpolation; (n,) each. Raises PhysicsError outside the table."""
        check_range(light_w_m2, cell_c)
        low = CELL_RANGE_C[0]
        x = np.sqrt(light_w_m2) * np.float32((LIGHT_NODES - 1) / np.sqrt(LIGHT_LIMIT_W_M2))
        y = (cell_c - np.float32(low)) * np.float32((HEAT_NODES - 1) / (CELL_RANGE_C[1] - low))
        i, j = x.astype(np.int32), y.astype(np.int32)
        x -= i
        y -= j
        node = i * HEAT_NODES + j
        table = self.values
        first = table[node] + (table[node + 1] - table[node]) * y
        node += HEAT_NODES
        second = table[node] + (table[node + 1] - table[node]) * y
        return first + (second - first) * x


def check_range(light_w_m2: FloatArray | Float32Array, cell_c: FloatArray | Float32Array) -> None:
    """Raises PhysicsError where light [W/m²] or cell temperature [°C] is beyond all that is possible."""
    if not light_w_m2.size:
        return
    low, high = float(light_w_m2.min()), float(light_w_m2.max())
    if not (low >= 0.0 and high < LIGHT_LIMIT_W_M2):
        raise PhysicsError(f"light on cells: found {low:g} to {high:g}; possible: 0 to {LIGHT_LIMIT_W_M2:g} W/m²")
    low, high = float(cell_c.min()), float(cell_c.max())
    if not (low >= CELL_RANGE_C[0] and high < CELL_RANGE_C[1]):
        raise PhysicsError(
            f"cell temperature: found {low:g} to {high:g}; possible: {CELL_RANGE_C[0]:g} to {CELL_RANGE_C[1]:g} °C"
        )


@dataclass(frozen=True, eq=False)
class PanelModel:
    """A panel type made ready for the year.

    diode : one-diode parameters of the whole panel; `cell_diode` for one cell
    groups : groups that set their own current; diodes : whether each has a bypass diode
    halves : strings of cells in parallel in a group
    rated_w : Vmp · Imp, what the model gives at 1000 W/m² and 25 °C
    per_light : maximum power under even light, over that light [W per W/m²]
    mismatch : m where power under slightly uneven light is that of its mean over (1 + m · variance / 2),
        variance relative to the square of the mean and along the series connection
    peak_volts : voltage at the maximum power under even light [V]
    notes : what of the datasheet the model cannot meet, one line each
    """

    panel_type: PanelType
    diode: DiodeParameters
    cells_in_series: int
    groups: int
    diodes: bool
    halves: int
    rated_w: float
    per_light: LightHeatTable
    mismatch: LightHeatTable
    peak_volts: LightHeatTable
    notes: tuple[str, ...]

    def even_power(self, light_w_m2: Float32Array, cell_c: Float32Array) -> Float32Array:
        """Power, W, under even light; (n,) float32 each."""
        power = self.per_light.at(light_w_m2, cell_c) * light_w_m2
        return np.where(light_w_m2 < DARK_W_M2, np.float32(0.0), power)

    @property
    def cell_diode(self) -> DiodeParameters:
        """One-diode parameters of one cell."""
        return self.diode.of_one_cell(self.cells_in_series, self.halves)

    @property
    def leaky_share(self) -> float:
        """Shunt current at rated voltage over the light current, at 1000 W/m² and 25 °C [-]."""
        return self.diode.shunt_siemens * self.panel_type.vmp_v / self.diode.light_current_a


def datasheet(panel_type: PanelType) -> Datasheet:
    """The panel type's electrical values in absolute units."""
    t = panel_type
    return Datasheet(
        isc_a=t.isc_a,
        voc_v=t.voc_v,
        imp_a=t.imp_a,
        vmp_v=t.vmp_v,
        alpha_a_per_k=t.alpha_isc_pct_per_k / 100.0 * t.isc_a,
        beta_v_per_k=t.beta_voc_pct_per_k / 100.0 * t.voc_v,
        cells=cells_in_series(t),
        gamma_per_k=t.gamma_pmax_pct_per_k / 100.0,
    )


@lru_cache(maxsize=32)
def panel_model(panel_type: PanelType) -> PanelModel:
    """The model of a panel type.

    Raises PanelDataError, with the reason, where the datasheet's values do not go together.
    """
    check_cells(panel_type)
    point = panel_type.vmp_v * panel_type.imp_a
    if abs(panel_type.pmax_w / point - 1.0) > POWER_MISMATCH:
        raise PanelDataError(
            f"{panel_type.name}: pmax_w: found {panel_type.pmax_w:g}; accepted: vmp_v · imp_a = {point:.1f} "
            f"to {100 * POWER_MISMATCH:g} %"
        )
    fit = fit_datasheet(datasheet(panel_type), panel_type.name)
    per_light, mismatch, peak_volts = _tables(fit.parameters)
    return PanelModel(
        panel_type=panel_type,
        diode=fit.parameters,
        cells_in_series=cells_in_series(panel_type),
        groups=group_count(panel_type),
        diodes=panel_type.bypass_groups > 0,
        halves=halves(panel_type),
        rated_w=point,
        per_light=per_light,
        mismatch=mismatch,
        peak_volts=peak_volts,
        notes=fit.notes,
    )


_LARGEST_MISMATCH = 100.0
_MISMATCH_STEP = 0.01
"""Relative light difference from which the mismatch table is worked out."""


def _tables(parameters: DiodeParameters) -> tuple[LightHeatTable, LightHeatTable, LightHeatTable]:
    """Power over light; the mismatch factor, from two halves in series at 1 ± 1 % of the light; voltage at the
    maximum."""
    light = np.linspace(0.0, np.sqrt(LIGHT_LIMIT_W_M2), LIGHT_NODES) ** 2
    light[0] = 0.25 * light[1]
    light_nodes, cell = np.meshgrid(light, np.linspace(*CELL_RANGE_C, HEAT_NODES), indexing="ij")
    suns, warm = light_nodes.reshape(-1) / 1000.0, warmth(parameters, cell.reshape(-1))
    power, volts = best_point(suns[None], warm, 1, 0.0, steps=12)
    pair = np.stack([suns * (1.0 + _MISMATCH_STEP), suns * (1.0 - _MISMATCH_STEP)])
    uneven = best_power(pair, warm, 2, 0.0, steps=12)
    lost = np.divide(power - uneven, power, out=np.zeros_like(power), where=power > 0.0)
    factor = np.clip(2.0 * lost / _MISMATCH_STEP**2, 0.0, _LARGEST_MISMATCH)
    tables = [(v.astype(np.float32)) for v in (power / (1000.0 * suns), factor, volts)]
    for table in tables:
        table.flags.writeable = False
    return LightHeatTable(tables[0]), LightHeatTable(tables[1]), LightHeatTable(tables[2])


def even_light_power(
    light_w_m2: FloatArray | Float32Array, cell_c: FloatArray | Float32Array, model: PanelModel
) -> Float32Array:
    """Power, W, of a panel whose cells all take up the same light.

    light_w_m2 : (...) float [W/m²] after the glass's angular loss; cell_c : (...) float [°C], same shape
    """
    light = np.asarray(light_w_m2, dtype=np.float32)
    cell = np.broadcast_to(np.asarray(cell_c, dtype=np.float32), light.shape)
    return model.even_power(light.reshape(-1), cell.reshape(-1)).reshape(light.shape)
