"""One-diode parameters from datasheets."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from layout.power.cells import PanelDataError
from layout.power.diode import DiodeParameters, translate
from layout.power.diode_fit import Datasheet, fit_datasheet, peak_power

THERMAL_V = 0.025693


def curve_points(parameters: DiodeParameters, cell_c: float = 25.0) -> tuple[float, float, float, float]:
    """Isc, Voc, Imp, Vmp read off a dense curve, independent of the fit."""
    top = parameters.ideality_v * 1.4 * np.log(parameters.light_current_a / parameters.saturation_current_a)
    current, voltage = translate(parameters, 1000.0, cell_c).at_diode_voltage(np.linspace(-0.1 * top, top, 40_001))
    best = int(np.argmax(current * voltage))
    isc, voc = np.interp(0.0, voltage, current), np.interp(0.0, -current, voltage)
    return float(isc), float(voc), float(current[best]), float(voltage[best])


@st.composite
def possible_panels(draw: st.DrawFn) -> tuple[DiodeParameters, int]:
    """Physically possible panels: ideality, resistances and cell voltage of silicon cells."""
    cells = draw(st.sampled_from([36, 54, 60, 66, 72, 108, 150]))
    isc = draw(st.floats(1.0, 18.0))
    voc = cells * draw(st.floats(0.55, 0.74))
    series = draw(st.floats(0.003, 0.12)) * voc / isc
    shunt = 10.0 ** draw(st.floats(-4.0, -0.8)) * isc / voc
    ideality = draw(st.floats(0.9, 1.6)) * cells * THERMAL_V
    light = isc * (1.0 + series * shunt)
    saturation = (light - voc * shunt) / np.expm1(voc / ideality)
    parameters = DiodeParameters(light, saturation, series, shunt, ideality, isc * draw(st.floats(2e-4, 8e-4)))
    return parameters, cells


def sheet_of(parameters: DiodeParameters, cells: int, digits: int | None = None) -> Datasheet:
    isc, voc, imp, vmp = curve_points(parameters)
    beta = (curve_points(parameters, 27.0)[1] - voc) / 2.0
    gamma = (peak_power(parameters, 1000.0, 65.0) / (imp * vmp) - 1.0) / 40.0
    values = [isc, voc, imp, vmp, parameters.alpha_a_per_k, beta]
    if digits:
        values = [float(f"{v:.{digits}g}") for v in values]
    return Datasheet(*values, cells, gamma)


@settings(max_examples=60, deadline=None)
@given(possible_panels())
def test_reference_conditions_return(panel: tuple[DiodeParameters, int]) -> None:
    """All four points to 0.1 %, coefficients of voltage and power, for any possible panel."""
    sheet = sheet_of(*panel)
    fit = fit_datasheet(sheet)
    isc, voc, imp, vmp = curve_points(fit.parameters)
    assert isc == pytest.approx(sheet.isc_a, rel=1e-3)
    assert voc == pytest.approx(sheet.voc_v, rel=1e-3)
    assert imp * vmp == pytest.approx(sheet.imp_a * sheet.vmp_v, rel=1e-3)
    assert vmp == pytest.approx(sheet.vmp_v, rel=1e-3)
    assert (curve_points(fit.parameters, 27.0)[1] - voc) / 2.0 == pytest.approx(sheet.beta_v_per_k, rel=2e-2)
    assert sheet.gamma_per_k is not None
    if not fit.notes:
        power = peak_power(fit.parameters, 1000.0, 65.0)
        assert power == pytest.approx(imp * vmp * (1.0 + 40.0 * sheet.gamma_per_k), rel=1e-3)


@settings(max_examples=40, deadline=None)
@given(possible_panels())
def test_rounded_sheets_fit_or_are_refused(panel: tuple[DiodeParameters, int]) -> None:
    """A sheet rounded to three digits either has its points met to 0.1 % or is refused in one line."""
    sheet = sheet_of(*panel, digits=3)
    try:
        fit = fit_datasheet(sheet)
    except PanelDataError:
        with pytest.raises(PanelDataError, match=r"^panel: .*accepted: [^\n]*$"):
            fit_datasheet(sheet)
        return
    assert curve_points(fit.parameters) == pytest.approx((sheet.isc_a, sheet.voc_v, sheet.imp_a, sheet.vmp_v), rel=1e-3)
    assert min(fit.parameters.series_ohm, fit.parameters.shunt_siemens) >= 0.0


def test_parameters_come_back_exactly() -> None:
    """A sheet made from known parameters has them as its only answer."""
    known = DiodeParameters(9.5, 3e-10, 0.28, 1 / 180.0, 1.6, 0.005)
    isc, voc, imp, vmp = curve_points(known)
    beta = (curve_points(known, 27.0)[1] - voc) / 2.0
    found = fit_datasheet(Datasheet(isc, voc, imp, vmp, 0.005, beta, 60)).parameters
    assert found.series_ohm == pytest.approx(known.series_ohm, rel=0.02)
    assert found.ideality_v == pytest.approx(known.ideality_v, rel=0.01)
    assert found.light_current_a == pytest.approx(known.light_current_a, rel=1e-3)


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"imp_a": 9.5}, "imp_a: found 9.5; accepted: below isc_a"),
        ({"vmp_v": 39.0}, "vmp_v: found 39; accepted: below voc_v"),
        ({"vmp_v": 37.6, "imp_a": 9.38}, "no one-diode"),
        ({"vmp_v": 18.0}, "above one half each"),
        ({"isc_a": 0.0}, "isc_a: found 0; accepted: above 0"),
        ({"beta_v_per_k": 0.5}, "beta_voc_pct_per_k"),
    ],
)
def test_impossible_sheets_are_refused_with_the_reason(changes: dict[str, float], words: str) -> None:
    values = {
        "isc_a": 9.43, "voc_v": 38.3, "imp_a": 8.71, "vmp_v": 31.0, "alpha_a_per_k": 0.0057,
        "beta_v_per_k": -0.138, "cells": 60,
    }  # fmt: skip
    with pytest.raises(PanelDataError, match=words):
        fit_datasheet(Datasheet(**(values | changes)), "trial")  # type: ignore[arg-type]


def test_power_coefficient_out_of_reach_is_said() -> None:
    fit = fit_datasheet(Datasheet(9.43, 38.3, 8.71, 31.0, 0.0057, -0.138, 60, gamma_per_k=0.0))
    assert "gamma_pmax_pct_per_k: found 0" in fit.notes[0]


def test_one_cell_has_its_share() -> None:
    whole = DiodeParameters(13.0, 1e-10, 0.2, 1 / 300.0, 1.5, 0.006)
    cell = whole.of_one_cell(series=60, parallel=2)
    current, voltage = translate(whole, 700.0, 40.0).at_diode_voltage(np.array(30.0))
    cell_current, cell_voltage = translate(cell, 700.0, 40.0).at_diode_voltage(np.array(0.5))
    assert 2 * cell_current == pytest.approx(current)
    assert 60 * cell_voltage == pytest.approx(voltage)
