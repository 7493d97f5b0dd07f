"""One-diode parameters from datasheet values (De Soto), by nested root finding that cannot wander off.

For a given ``a`` and Rs the three points (0, Isc), (Vmp, Imp), (Voc, 0) are linear in IL, I0 and 1/Rsh, so
these have a closed form. dP/dV = 0 at the maximum then gives Rs for each ``a``: a one-parameter family of
curves through all datasheet points. The temperature coefficient of Voc picks the member (De Soto), and where
no member has it at silicon's band gap, the band gap is fitted instead (thin film; sheets with rounded
values). The coefficient of power hardly depends on the member; Rs's change with temperature takes up what is
missing.
"""

from dataclasses import dataclass, replace

import numpy as np
from scipy.optimize import brentq

from layout.power.cells import PanelDataError
from layout.power.diode import BAND_GAP_EV, BOLTZMANN_EV_K, KELVIN, REFERENCE_C, DiodeParameters, translate
from sites.conventions import FloatArray

_THERMAL_V = BOLTZMANN_EV_K * (REFERENCE_C + KELVIN)

IDEALITY_RANGE = (0.3, 3.5)
"""Ideality factor per cell searched. Values below 1 are results of the fit (rounded sheets), not physics."""

BAND_GAP_RANGE_EV = (0.4, 3.0)
"""Accepted where the band gap has to be fitted. Common absorbers lie between 1.0 and 1.8 eV."""

SERIES_PER_K_LIMIT = 0.02
"""Largest relative change of Rs per kelvin used to meet the power's coefficient."""

BETA_STEP_K = 2.0
"""Voc's coefficient is met between 25 and 27 °C."""

GAMMA_STEP_K = 40.0
"""The power's coefficient is met between 25 and 65 °C, where panels work."""

_SERIES_STEPS = 240
_IDEALITY_STEPS = 161


@dataclass(frozen=True)
class Datasheet:
    """Values at 1000 W/m² and 25 °C and their changes in A/K, V/K and (relative) 1/K; ``cells`` in series."""

    isc_a: float
    voc_v: float
    imp_a: float
    vmp_v: float
    alpha_a_per_k: float
    beta_v_per_k: float
    cells: int
    gamma_per_k: float | None = None


@dataclass(frozen=True)
class Fit:
    """Parameters, and what could not be met (lines, empty where everything was)."""

    parameters: DiodeParameters
    notes: tuple[str, ...] = ()


def fit_datasheet(sheet: Datasheet, name: str = "panel") -> Fit:
    """One-diode parameters whose curve has the datasheet's Isc, Voc, Imp and Vmp (to rounding) with the
    maximum at (Vmp, Imp), and whose temperature coefficients are the datasheet's.

    Raises PanelDataError, with the reason, where no such curve exists.
    Source: De Soto, Klein & Beckman, Solar Energy 80 (2006) 78-88, eq. 3 to 10, the maximum's condition as in
    Duffie & Beckman, eq. 23.2.6. Departures: how it is solved; band gap and Rs(T) where De Soto's cannot do.
    """
    _refuse_impossible(sheet, name)
    family = _family(sheet, name)
    parameters = _pick_by_voltage_coefficient(sheet, family, name)
    if sheet.gamma_per_k is None:
        return Fit(parameters)
    return _meet_power_coefficient(sheet, parameters)


def _refuse_impossible(sheet: Datasheet, name: str) -> None:
    values = {"isc_a": sheet.isc_a, "voc_v": sheet.voc_v, "imp_a": sheet.imp_a, "vmp_v": sheet.vmp_v}
    for key, value in values.items():
        if not (np.isfinite(value) and value > 0):
            raise PanelDataError(f"{name}: {key}: found {value:g}; accepted: above 0")
    if sheet.imp_a >= sheet.isc_a:
        raise PanelDataError(f"{name}: imp_a: found {sheet.imp_a:g}; accepted: below isc_a = {sheet.isc_a:g}")
    if sheet.vmp_v >= sheet.voc_v:
        raise PanelDataError(f"{name}: vmp_v: found {sheet.vmp_v:g}; accepted: below voc_v = {sheet.voc_v:g}")
    if sheet.imp_a <= sheet.isc_a / 2 or sheet.vmp_v <= sheet.voc_v / 2:
        raise PanelDataError(
            f"{name}: imp_a, vmp_v: found {sheet.imp_a / sheet.isc_a:.2f} of isc_a and "
            f"{sheet.vmp_v / sheet.voc_v:.2f} of voc_v; accepted: above one half each"
        )


@dataclass(frozen=True, eq=False)
class _Curves:
    """Curves through the three points for given ``a`` and Rs, any shape; ``gap``: dI/dV + Imp/Vmp at the
    maximum, 0 where it is one."""

    light_current: FloatArray
    saturation: FloatArray
    shunt: FloatArray
    gap: FloatArray

    @property
    def possible(self) -> np.ndarray:
        return (self.light_current > 0) & (self.saturation > 0) & (self.shunt >= -1e-12)


def _through_points(sheet: Datasheet, ideality: FloatArray | float, series: FloatArray | float) -> _Curves:
    """IL, I0 and 1/Rsh in closed form. The diode terms are scaled by exp(Voc/a) so that nothing overflows."""
    voc, vmp, imp, isc = sheet.voc_v, sheet.vmp_v, sheet.imp_a, sheet.isc_a
    v_short, v_peak = isc * series, vmp + imp * series
    e_short, e_peak, e_zero = (np.exp((v - voc) / ideality) for v in (v_short, v_peak, 0.0))
    # differences from the open-circuit point remove IL: I_j = S (1 - e_j) + G (Voc - v_j), S = I0 exp(Voc/a)
    a11, a12, b1 = 1.0 - e_short, voc - v_short, isc
    a21, a22, b2 = 1.0 - e_peak, voc - v_peak, imp
    det = a11 * a22 - a12 * a21
    det = np.where(np.abs(det) < 1e-14, 1e-14, det)
    scaled = (b1 * a22 - a12 * b2) / det
    shunt = (a11 * b2 - a21 * b1) / det
    slope = scaled * e_peak / ideality + shunt
    return _Curves(
        light_current=scaled * (1.0 - e_zero) + shunt * voc,
        saturation=scaled * e_zero,
        shunt=shunt,
        gap=imp / vmp - slope / (1.0 + slope * series),
    )


def _family(sheet: Datasheet, name: str) -> list[tuple[float, float]]:
    """Members (a, Rs) with the maximum in its place, ordered by ``a``.

    Raises PanelDataError where there is none.
    """
    ideality = sheet.cells * _THERMAL_V * np.geomspace(*IDEALITY_RANGE, _IDEALITY_STEPS)
    largest = (sheet.voc_v - sheet.vmp_v) / sheet.imp_a
    series = np.linspace(0.0, largest * (1.0 - 1e-9), _SERIES_STEPS)
    grid = _through_points(sheet, ideality[:, None], series[None, :])
    cross = np.signbit(grid.gap[:, 1:]) != np.signbit(grid.gap[:, :-1])
    usable = cross & (grid.possible[:, 1:] | grid.possible[:, :-1])
    members = []
    for i, j in np.argwhere(usable):
        root = _series_root(sheet, float(ideality[i]), float(series[j]), float(series[j + 1]))
        if root is not None:
            members.append((float(ideality[i]), root))
    if not members:
        fill = sheet.imp_a * sheet.vmp_v / (sheet.isc_a * sheet.voc_v)
        raise PanelDataError(
            f"{name}: isc_a, voc_v, imp_a, vmp_v: found values (fill factor {fill:.3f}) that no one-diode "
            f"curve of {sheet.cells} cells in series meets with its maximum at vmp_v, imp_a and resistances "
            "of 0 or more; accepted: the four values of one datasheet"
        )
    return members


def _series_root(sheet: Datasheet, ideality: float, low: float, high: float) -> float | None:
    """Rs between two bounds that puts the maximum in its place; None where it would take a negative
    resistance."""

    def gap(series: float) -> float:
        return float(_through_points(sheet, ideality, series).gap)

    if gap(low) * gap(high) > 0:
        return None
    root = float(brentq(gap, low, high, xtol=1e-14))
    curve = _through_points(sheet, ideality, root)
    return root if bool(curve.possible) and abs(float(curve.gap)) < 1e-6 * sheet.imp_a / sheet.vmp_v else None


def _parameters(sheet: Datasheet, ideality: float, series: float, gap_ev: float) -> DiodeParameters:
    curve = _through_points(sheet, ideality, series)
    return DiodeParameters(
        light_current_a=float(curve.light_current),
        saturation_current_a=float(curve.saturation),
        series_ohm=series,
        shunt_siemens=max(0.0, float(curve.shunt)),
        ideality_v=ideality,
        alpha_a_per_k=sheet.alpha_a_per_k,
        band_gap_ev=gap_ev,
    )


def _voltage_miss(sheet: Datasheet, parameters: DiodeParameters) -> float:
    """Current [A] left at the warmer open-circuit voltage that the datasheet asks for; 0 where it is met."""
    state = translate(parameters, 1000.0, REFERENCE_C + BETA_STEP_K)
    current, _ = state.at_diode_voltage(np.asarray(sheet.voc_v + sheet.beta_v_per_k * BETA_STEP_K))
    return float(current)


def _pick_by_voltage_coefficient(sheet: Datasheet, family: list[tuple[float, float]], name: str) -> DiodeParameters:
    misses = [_voltage_miss(sheet, _parameters(sheet, a, rs, BAND_GAP_EV)) for a, rs in family]
    crossings = [i for i in range(len(family) - 1) if misses[i] * misses[i + 1] <= 0.0]
    for i in crossings:
        found = _between(sheet, family[i], family[i + 1])
        if found is not None:
            return found
    nearest = family[int(np.argmin(np.abs(misses)))]
    return _fit_band_gap(sheet, nearest, name)


def _between(sheet: Datasheet, first: tuple[float, float], second: tuple[float, float]) -> DiodeParameters | None:
    """The member between two neighbours that has Voc's coefficient at silicon's band gap."""
    reach = abs(first[1] - second[1]) + 1e-9
    low, high = max(0.0, min(first[1], second[1]) - reach), max(first[1], second[1]) + reach

    def member(ideality: float) -> DiodeParameters | None:
        root = _series_root(sheet, ideality, low, high)
        return None if root is None else _parameters(sheet, ideality, root, BAND_GAP_EV)

    def miss(ideality: float) -> float:
        found = member(ideality)
        return np.nan if found is None else _voltage_miss(sheet, found)

    ends = miss(first[0]), miss(second[0])
    if not np.all(np.isfinite(ends)) or ends[0] * ends[1] > 0:
        return None
    ideality = float(brentq(miss, first[0], second[0], xtol=1e-13, rtol=1e-13))
    return member(ideality)


def _fit_band_gap(sheet: Datasheet, member: tuple[float, float], name: str) -> DiodeParameters:
    def miss(gap_ev: float) -> float:
        return _voltage_miss(sheet, _parameters(sheet, *member, gap_ev))

    low, high = BAND_GAP_RANGE_EV
    if miss(low) * miss(high) > 0:
        beta = 100.0 * sheet.beta_v_per_k / sheet.voc_v
        raise PanelDataError(
            f"{name}: beta_voc_pct_per_k: found {beta:g}; accepted: a value that goes with {sheet.cells} "
            f"cells in series of {sheet.voc_v / sheet.cells:.3f} V each (about -0.2 to -0.45)"
        )
    return _parameters(sheet, *member, float(brentq(miss, low, high, xtol=1e-12)))


def _meet_power_coefficient(sheet: Datasheet, parameters: DiodeParameters) -> Fit:
    assert sheet.gamma_per_k is not None
    wanted = sheet.imp_a * sheet.vmp_v * (1.0 + sheet.gamma_per_k * GAMMA_STEP_K)

    def miss(series_per_k: float) -> float:
        trial = replace(parameters, series_per_k=series_per_k)
        return peak_power(trial, 1000.0, REFERENCE_C + GAMMA_STEP_K) - wanted

    low, high = -SERIES_PER_K_LIMIT, SERIES_PER_K_LIMIT
    ends = miss(low), miss(high)
    if ends[0] * ends[1] <= 0.0:
        return Fit(replace(parameters, series_per_k=float(brentq(miss, low, high, xtol=1e-12))))
    best = low if abs(ends[0]) < abs(ends[1]) else high
    reached = (ends[0] if best == low else ends[1]) + wanted
    gamma = (reached / (sheet.imp_a * sheet.vmp_v) - 1.0) / GAMMA_STEP_K
    return Fit(
        replace(parameters, series_per_k=best),
        (
            f"gamma_pmax_pct_per_k: found {100 * sheet.gamma_per_k:g}; the one-diode model of these values "
            f"comes to {100 * gamma:.3f}",
        ),
    )


def peak_power(parameters: DiodeParameters, light_w_m2: float, cell_c: float) -> float:
    """Maximum power, W, at one light and temperature, by bisection on dP/dVd (Bishop's explicit curve)."""
    state = translate(parameters, light_w_m2, cell_c)
    a, i0 = float(state.ideality_v), float(state.saturation_current_a)
    rs, gs = float(state.series_ohm), float(state.shunt_siemens)

    def slope(diode_v: float) -> float:
        current, voltage = state.at_diode_voltage(np.asarray(diode_v))
        di = -i0 / a * np.exp(diode_v / a) - gs
        return float(voltage * di + current * (1.0 - rs * di))

    highest = a * float(np.log1p(state.light_current_a / i0))
    if slope(0.0) <= 0.0:
        return 0.0
    diode_v = float(brentq(slope, 0.0, highest, xtol=1e-12))
    current, voltage = state.at_diode_voltage(np.asarray(diode_v))
    return float(current * voltage)
