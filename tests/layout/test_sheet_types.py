"""Reflector and diffuser types, bundled and of a plan, and what sheets can pass and reflect."""

from pathlib import Path

import numpy as np
import pvlib
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.special import erf

from layout.diffuser_types import DiffuserType, list_diffuser_types, load_diffuser_type
from layout.optics.facets import total_factor
from layout.optics.sunlight_split import (
    BAND_EDGE_NM,
    USABLE_SHARE,
    heat_transmittance_range,
    usable_transmittance,
)
from layout.pieces import Diffuser, Reflector
from layout.plan import Plan, parse_plan
from layout.reflector_types import ReflectorType, list_reflector_types, load_reflector_type
from sites.errors import InputError

NOTE = "invented; replace by your own bench values"


def plan_of(tables: str) -> Plan:
    layout = '[[layout]]\nname = "own"\nkind = "pieces"\n[[layout.panel]]\ncorner = [0, 0, 1]\nalong = [1, 0, 0]\n'
    return parse_plan(f'[site]\nname = "tannerfold"\n{tables}\n{layout}up = [0, 1, 0]\n', "plan.toml", Path())


def test_bundled_reflectors() -> None:
    slopes = {name: load_reflector_type(name).slope_rms_deg for name in list_reflector_types()}
    assert slopes == {
        "mirror": (0, 0),
        "matt": (0, 0),
        "one_way_spreader": (12, 1),
        "rod_array": (25, 2),
        "two_way_spreader": (10, 10),
    }
    assert load_reflector_type("matt").diffuse == 1.0
    assert load_reflector_type("mirror").diffuse == 0.0


@pytest.mark.parametrize("name", list_reflector_types())
def test_bundled_reflectors_tell_what_they_are(name: str) -> None:
    kind = load_reflector_type(name)
    assert kind.name == name
    assert kind.note.startswith(NOTE)
    assert kind.facet_reflectance < kind.reflectance < 0.95
    assert f"{kind.total_reflectance(0):.2f} at 0° and {kind.total_reflectance(60):.2f} at 60°" in kind.line
    assert kind.line.endswith(kind.note)
    piece = kind.piece(np.zeros(3), np.array([1.0, 0, 0]), np.array([0, 1.0, 0]))
    assert isinstance(piece, Reflector)
    assert piece.reflectance == kind.reflectance * kind.ageing_factor * kind.soiling_factor


@pytest.mark.parametrize("name", list_diffuser_types())
def test_bundled_diffusers_tell_what_they_are(name: str) -> None:
    kind = load_diffuser_type(name)
    assert (kind.name, kind.note) == (name, NOTE)
    assert kind.line.endswith(kind.note)
    least, most = heat_transmittance_range(kind.transmittance)
    assert least < kind.heat_transmittance < most
    piece = kind.piece(np.zeros(3), np.array([1.0, 0, 0]), np.array([0, 1.0, 0]))
    assert isinstance(piece, Diffuser)
    assert (piece.transmittance, piece.heat_transmittance) == (kind.transmittance, kind.heat_transmittance)


def test_unknown_types_name_the_nearest() -> None:
    with pytest.raises(InputError, match=r"no bundled reflector type 'miror'; accepted: 'mirror'"):
        load_reflector_type("miror")
    with pytest.raises(InputError, match=r"no bundled diffuser type 'satin'"):
        load_diffuser_type("satin")


def test_a_mirror_loses_nothing_to_masking() -> None:
    mirror = ReflectorType("x", 0.9, ageing_factor=0.9, soiling_factor=0.8)
    assert mirror.total_reflectance(0) == mirror.total_reflectance(60) == pytest.approx(0.9 * 0.9 * 0.8)


def test_totals_of_a_rough_sheet() -> None:
    # Slopes of 20° both ways keep 0.93 at normal incidence and 0.87 at 60°: our own figures, agreed on before the code.
    rough = ReflectorType("x", 1.0, (20.0, 20.0))
    assert rough.total_reflectance(0) == pytest.approx(0.93, abs=0.005)
    assert rough.total_reflectance(60) == pytest.approx(0.87, abs=0.005)
    half = ReflectorType("x", 1.0, (20.0, 20.0), diffuse=0.5)
    assert half.total_reflectance(60) == pytest.approx(0.5 + 0.5 * rough.total_reflectance(60))


def ribs_total(slope_deg: float, incidence_deg: float) -> float:
    """Share of the facets' reflectance kept by a sheet whose facets slope along it only.

    The integral over the slopes m of their Gaussian times masking, by plain summation; the mean of light that comes
    in along and across the sheet. Masking after Walter, Marschner, Li & Torrance, Microfacet Models for Refraction
    (EGSR 2007), in the exact form: G1 = 2 / (1 + erf a + exp(−a²)/(a√π)), a = 1/(α tan θ).
    """
    sigma, theta = np.tan(np.radians(slope_deg)), np.radians(incidence_deg)
    m = np.linspace(-8, 8, 200_001) * sigma
    share = np.exp(-0.5 * (m / sigma) ** 2)
    share /= share.sum()

    def seen(along: np.ndarray, height: np.ndarray) -> np.ndarray:
        a = np.maximum(height, 1e-12) / np.maximum(np.sqrt(2.0) * sigma * np.abs(along), 1e-9)
        return np.where(height > 0, 2.0 / (1.0 + erf(a) + np.exp(-(a**2)) / (a * np.sqrt(np.pi))), 0.0)

    totals = []
    sz = np.cos(theta)
    for sx in (np.sin(theta), 0.0):  # the rest of a source across the sheet lies along the ribs
        facing = (sz - m * sx) / (1 + m**2)  # (s·h)/|h before scaling|
        ox, oz = -2 * m * facing - sx, 2 * facing - sz
        kept = np.where(facing > 0, seen(np.array(sx), np.array(sz)) * seen(ox, oz) * (sz - m * sx), 0.0)
        totals.append(float((share * kept).sum()) / sz)
    return float(np.mean(totals))


@pytest.mark.parametrize("incidence", [0.0, 30.0, 60.0, 75.0])
@pytest.mark.parametrize("slope", [3.0, 12.0, 25.0])
def test_totals_against_a_plain_integral(slope: float, incidence: float) -> None:
    assert total_factor((slope, 0.0), incidence) == pytest.approx(ribs_total(slope, incidence), abs=0.002)


@settings(deadline=None, max_examples=30)
@given(
    total=st.floats(0.05, 0.95),
    along=st.floats(0, 30),
    across=st.floats(0, 30),
    diffuse=st.floats(0, 1),
)
def test_total_reflectance_is_solved_for_the_facets(total: float, along: float, across: float, diffuse: float) -> None:
    table = (
        f'[[reflector]]\nname = "x"\ntotal_reflectance = {total}\nslope_rms_deg = [{along}, {across}]\n'
        f"diffuse = {diffuse}\n"
    )
    try:
        kind = plan_of(table).sheets.reflector("x")
    except InputError as error:
        message = str(error)
        most = (1 - diffuse) * total_factor((along, across), 0.0) + diffuse
        assert "total_reflectance" in message
        assert total > most
    else:
        assert kind.total_reflectance(0.0) == pytest.approx(total)
        assert kind.reflectance <= 1.0


def test_types_of_a_plan_stand_beside_the_bundled_ones() -> None:
    plan = plan_of('[[diffuser]]\nname = "haze"\ntransmittance = 0.7\nspread_rms_deg = [5, 6]\nnote = "mine"\n')
    assert plan.sheets.diffuser("haze") == DiffuserType("haze", 0.7, 0.7, (5.0, 6.0), 0.0, "mine")
    assert plan.sheets.diffuser("clear_cover") == load_diffuser_type("clear_cover")
    assert plan.sheets.reflector("mirror") == load_reflector_type("mirror")


def standard_spectrum() -> tuple[np.ndarray, np.ndarray]:
    """Wavelengths, nm, and each one's share of the power of the global standard spectrum, ASTM G173-03."""
    spectrum = pvlib.spectrum.get_reference_spectra(standard="ASTM G173-03")["global"]
    nm, value = spectrum.index.to_numpy(), spectrum.to_numpy()
    return nm, value * np.gradient(nm) / np.trapezoid(value, nm)


def test_usable_share_of_the_standard_spectrum() -> None:
    nm, share = standard_spectrum()
    assert share[nm <= BAND_EDGE_NM].sum() == pytest.approx(USABLE_SHARE, abs=0.005)


@pytest.mark.parametrize("beyond", [0.0, 0.3, 0.8, 1.0])
@pytest.mark.parametrize("below", [0.0, 0.4, 0.9, 1.0])
def test_heat_bound_against_sharp_filters(below: float, beyond: float) -> None:
    # A filter that passes one share below the band edge and another beyond it, over the standard spectrum.
    nm, share = standard_spectrum()
    passed = float((np.where(nm <= BAND_EDGE_NM, below, beyond) * share).sum())
    least, most = heat_transmittance_range(passed)
    assert least - 0.02 <= beyond <= most + 0.02
    assert usable_transmittance(passed, beyond) == pytest.approx(below, abs=0.005)
    if below == 1.0:
        assert beyond == pytest.approx(least, abs=0.02)  # no filter of that transmittance holds back more


def test_a_clear_enough_sheet_passes_heat_too() -> None:
    assert heat_transmittance_range(1.0) == pytest.approx((1.0, 1.0))
    assert heat_transmittance_range(USABLE_SHARE) == (0.0, 1.0)
    assert heat_transmittance_range(0.0) == (0.0, 0.0)


def test_readme_tells_the_bundled_values() -> None:
    readme = (Path(__file__).parents[2] / "README.md").read_text(encoding="utf-8").splitlines()
    for name in list_reflector_types():
        kind = load_reflector_type(name)
        along, across = kind.slope_rms_deg
        values = f"{kind.reflectance:g} × {kind.ageing_factor:g} × {kind.soiling_factor:g} | {along:g}°, {across:g}°"
        totals = " | ".join(f"{kind.total_reflectance(angle):.2f}" for angle in (0.0, 60.0))
        assert f"| `{name}` | {values} | {kind.diffuse:g} | {totals} |" in readme
    for name in list_diffuser_types():
        sheet = load_diffuser_type(name)
        along, across = sheet.spread_rms_deg
        passed = f"{sheet.transmittance:g} | {sheet.heat_transmittance:g} | {sheet.usable_transmittance:.2f}"
        assert f"| `{name}` | {passed} | {along:g}°, {across:g}° | {sheet.diffuse:g} |" in readme
