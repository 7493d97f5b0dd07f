"""The one-diode model of a panel, and how it changes with light and temperature (De Soto).

I = IL - I0 · (exp(Vd / a) - 1) - Vd / Rsh          Vd = V + I · Rs, the voltage across the diodes
"""

from dataclasses import dataclass

import numpy as np

from sites.conventions import FloatArray

REFERENCE_LIGHT_W_M2 = 1000.0
REFERENCE_C = 25.0
KELVIN = 273.15
BOLTZMANN_EV_K = 8.617333262e-5
"""Boltzmann constant over the elementary charge, V/K (CODATA 2018)."""

BAND_GAP_EV = 1.121
"""Band gap of silicon at 25 °C (De Soto et al., 2006)."""

BAND_GAP_PER_K = -0.0002677
"""Relative change of the band gap, 1/K (De Soto et al., 2006)."""


@dataclass(frozen=True)
class DiodeParameters:
    """The model at 1000 W/m² and 25 °C, and its changes.

    light_current_a : IL [A]                 saturation_current_a : I0 [A]
    series_ohm : Rs [ohm]                    shunt_siemens : 1/Rsh [1/ohm]
    ideality_v : a [V], ideality factor × cells in series × thermal voltage
    alpha_a_per_k : change of IL with temperature [A/K]
    band_gap_ev : band gap at 25 °C [eV]; sets how I0 changes with temperature
    series_per_k : relative change of Rs with temperature [1/K]. Not in De Soto's model (there 0): it lets the
        model keep the datasheet's temperature coefficient of power
    """

    light_current_a: float
    saturation_current_a: float
    series_ohm: float
    shunt_siemens: float
    ideality_v: float
    alpha_a_per_k: float
    band_gap_ev: float = BAND_GAP_EV
    series_per_k: float = 0.0

    def of_one_cell(self, series: int, parallel: int = 1) -> "DiodeParameters":
        """The same model for one of ``series`` cells in series in one of ``parallel`` equal strings."""
        return DiodeParameters(
            light_current_a=self.light_current_a / parallel,
            saturation_current_a=self.saturation_current_a / parallel,
            series_ohm=self.series_ohm * parallel / series,
            shunt_siemens=self.shunt_siemens * series / parallel,
            ideality_v=self.ideality_v / series,
            alpha_a_per_k=self.alpha_a_per_k / parallel,
            band_gap_ev=self.band_gap_ev,
            series_per_k=self.series_per_k,
        )


@dataclass(frozen=True, eq=False)
class DiodeState:
    """The five values at given light and temperature; arrays of one shape (or that broadcast)."""

    light_current_a: FloatArray
    saturation_current_a: FloatArray
    series_ohm: FloatArray
    shunt_siemens: FloatArray
    ideality_v: FloatArray

    def at_diode_voltage(self, diode_v: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Current [A] and terminal voltage [V] where the diodes stand at ``diode_v`` [V]: explicit."""
        current = (
            self.light_current_a
            - self.saturation_current_a * np.expm1(diode_v / self.ideality_v)
            - diode_v * self.shunt_siemens
        )
        return current, diode_v - current * self.series_ohm


def translate(parameters: DiodeParameters, light_w_m2: FloatArray | float, cell_c: FloatArray | float) -> DiodeState:
    """The model at other light and temperature.

    light_w_m2 : (...) float [W/m²] after the glass's angular loss; cell_c : (...) float [°C]

    Source: De Soto, Klein & Beckman, Solar Energy 80 (2006) 78-88, eq. 8 to 12: IL and 1/Rsh with light, IL
    by alpha, a by the absolute temperature, I0 by its cube and the band gap. Departure: Rs changes with
    temperature by ``series_per_k``.
    """
    p, suns = parameters, np.asarray(light_w_m2, dtype=np.float64) / REFERENCE_LIGHT_W_M2
    cell = np.asarray(cell_c, dtype=np.float64)
    warmer = cell - REFERENCE_C
    light_current, saturation, series, ideality = temperature_terms(p, cell)
    one = np.ones(np.broadcast_shapes(suns.shape, warmer.shape))
    return DiodeState(
        suns * light_current * one,
        saturation * one,
        series * one,
        suns * p.shunt_siemens * one,
        ideality * one,
    )


def temperature_terms(p: DiodeParameters, cell_c: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    """IL at 1000 W/m², I0, Rs and a at the cell temperature; (...) float each."""
    warmer = cell_c - REFERENCE_C
    reference_k = REFERENCE_C + KELVIN
    ratio = (cell_c + KELVIN) / reference_k
    gap = p.band_gap_ev * (1.0 + BAND_GAP_PER_K * warmer)
    exponent = (p.band_gap_ev - gap / ratio) / (BOLTZMANN_EV_K * reference_k)
    return (
        p.light_current_a + p.alpha_a_per_k * warmer,
        p.saturation_current_a * ratio**3 * np.exp(exponent),
        p.series_ohm * np.exp(p.series_per_k * warmer),
        p.ideality_v * ratio,
    )
