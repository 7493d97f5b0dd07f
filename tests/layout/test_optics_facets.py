"""Facets of a reflector: the slope distribution, its masking, the lobe."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.special import erf

from layout.light.lattice import fibonacci_lattice
from layout.optics.facets import facet_normals, lobe_weights, masking, mirrored, total_factor

slopes = st.tuples(st.floats(0.0, 40.0), st.floats(0.0, 40.0))
angles = st.tuples(st.floats(0.0, 89.0), st.floats(0.0, 360.0))


def alpha(slope_rms):
    return np.sqrt(2.0) * np.tan(np.radians(slope_rms))


def direction(theta_deg, phi_deg):
    theta, phi = np.radians(theta_deg), np.radians(phi_deg)
    return np.array([np.sin(theta) * np.cos(phi), np.sin(theta) * np.sin(phi), np.cos(theta)])


def beckmann(h, ax, ay):
    """D(h) as Walter et al. (EGSR 2007) eq. 25 write it, with two widths."""
    slope = (h[..., 0] / ax) ** 2 + (h[..., 1] / ay) ** 2
    return np.exp(-slope / h[..., 2] ** 2) / (np.pi * ax * ay * h[..., 2] ** 4)


def hemisphere(n=500):
    """Directions and solid angles of a product rule: midpoints in azimuth, Gauss nodes in cos θ."""
    z, w = np.polynomial.legendre.leggauss(n)
    z, w = 0.5 * (z + 1), 0.5 * w
    phi = (np.arange(240) + 0.5) * (2 * np.pi / 240)
    r = np.sqrt(1 - z**2)
    d = np.stack(
        [r[:, None] * np.cos(phi), r[:, None] * np.sin(phi), np.broadcast_to(z[:, None], (n, len(phi)))], axis=-1
    )
    return d, np.broadcast_to(w[:, None] * (2 * np.pi / len(phi)), d.shape[:2])


def test_distribution_has_unit_projected_area():
    """∫ D cosθ dω = 1 (α 0.1 and 0.3), and the drawn normals follow D·cosθ: their rms slopes are α/√2, and means of
    any function of the normal agree with the integral."""
    ax, ay = 0.1, 0.3
    d, w = hemisphere()
    weight = beckmann(d, ax, ay) * d[..., 2] * w
    assert weight.sum() == pytest.approx(1.0, abs=1e-6)
    rms = np.degrees(np.arctan(np.array([ax, ay]) / np.sqrt(2.0)))
    h = facet_normals(tuple(rms), fibonacci_lattice(17711))
    assert np.linalg.norm(h, axis=1) == pytest.approx(np.ones(len(h)), abs=1e-12)
    drawn = np.sqrt(((h[:, :2] / h[:, 2:]) ** 2).mean(axis=0))
    print("rms slopes drawn over α/√2:", (drawn * np.sqrt(2.0) / [ax, ay]).round(5))
    assert drawn == pytest.approx(np.array([ax, ay]) / np.sqrt(2.0), rel=2e-3)
    for function in (
        lambda n: n[..., 2],
        lambda n: np.abs(n[..., 0]),
        lambda n: n[..., 1] ** 2,
        lambda n: (n[..., 0] > 0.05) * n[..., 1] ** 2,
    ):
        assert function(h).mean() == pytest.approx((function(d) * weight).sum(), rel=4e-3)


@pytest.mark.parametrize(("a", "expected"), [(0.5, 0.83358), (1.0, 0.97549), (1.6, 0.99820)])
@pytest.mark.parametrize(("rms", "phi"), [((20.0, 20.0), 0.0), ((12.0, 30.0), 0.0), ((12.0, 30.0), 90.0)])
def test_masking_at_the_printed_arguments(a, expected, rms, phi):
    """G1 at a = cot θ/α, exact error-function form of Walter et al. (EGSR 2007), section 5.2; worked with more digits
    than their rational fit has."""
    width = alpha(rms[0] if phi == 0.0 else rms[1])
    theta = np.degrees(np.arctan2(1.0, a * width))
    assert masking(rms, direction(theta, phi)[None])[0] == pytest.approx(expected, abs=5e-6)


@pytest.mark.parametrize("rms", [(5.0, 5.0), (25.0, 2.0), (10.0, 30.0), (40.0, 40.0)])
@pytest.mark.parametrize("view", [(0.0, 0.0), (30.0, 0.0), (60.0, 40.0), (80.0, 90.0), (85.0, 15.0)])
def test_masked_facets_fill_the_projected_sheet(rms, view):
    """∫ G1(o)·max(0, o·h)·D(h) dω = o·n for every view: the visible facets' projected area is the sheet's (Heitz, J.
    Computer Graphics Techniques 3(2) (2014), section 2.2; title and section from memory). Sums over slopes."""
    o, spread = direction(*view), np.tan(np.radians(rms))
    grid = np.linspace(-7.0, 7.0, 1401)
    p = np.exp(-0.5 * grid**2)
    p /= p.sum()
    x, y = grid[:, None] * spread[0], grid[None, :] * spread[1]
    # o·h dω D = p(slopes) (o_z − x o_x − y o_y)
    facing = np.maximum(0.0, o[2] - x * o[0] - y * o[1])
    area = (p[:, None] * p[None, :] * facing).sum()
    assert masking(rms, o[None])[0] * area == pytest.approx(o[2], rel=2e-4)


def test_masking_of_smooth_sheets_and_from_below():
    d = np.array([direction(t, 20.0) for t in (0, 40, 89.9, 90.1, 120)])
    assert masking((0.0, 0.0), d).tolist() == [1, 1, 1, 0, 0]
    assert masking((10.0, 10.0), d)[3:].tolist() == [0, 0]
    # Ribs that run along `up` shade each other along `along` only.
    across, along = direction(85, 90), direction(85, 0)
    found = masking((20.0, 0.0), np.array([across, along]))
    assert found == pytest.approx([1.0, _g1(along, alpha(20.0), 1e-9)], abs=1e-9)
    assert found[1] < 0.5


@settings(max_examples=60, deadline=None, derandomize=True)
@given(slopes, angles)
def test_lobe_never_carries_more_than_arrives(rms, source):
    """Mean weight = flux that leaves per area ≤ s·n, the flux that arrives: exactly, in the limit of many draws."""
    s = direction(*source)
    _, weight = lobe_weights(rms, s[None], facet_normals(rms, fibonacci_lattice(10946)))
    assert (weight >= 0).all()
    assert weight.mean() <= s[2] * (1 + 3e-3)


@settings(max_examples=60, deadline=None, derandomize=True)
@given(slopes, angles, st.integers(0, 986))
def test_facet_sends_as_much_back(rms, source, which):
    """Reciprocity: the same facet turns light from o into s with the same weight."""
    s, h = direction(*source)[None], facet_normals(rms, fibonacci_lattice(987))[which : which + 1]
    o, there = lobe_weights(rms, s, h)
    back, home = lobe_weights(rms, o, h)
    assert np.linalg.norm(o) == pytest.approx(1.0, abs=1e-12)
    assert mirrored(o, h) == pytest.approx(s, abs=1e-12)
    assert back == pytest.approx(s, abs=1e-12)
    if there[0] > 0 and s[0, 2] > 1e-6:
        assert home == pytest.approx(there, rel=1e-9)


@settings(max_examples=40, deadline=None, derandomize=True)
@given(angles)
def test_plane_mirror(source):
    s = direction(*source)[None]
    o, weight = lobe_weights((0.0, 0.0), s, facet_normals((0.0, 0.0), fibonacci_lattice(13)))
    assert o == pytest.approx(np.repeat(s * [-1, -1, 1], 13, axis=0), abs=1e-12)
    assert weight == pytest.approx(np.full(13, s[0, 2]), abs=1e-12)


@pytest.mark.parametrize("rms", [(8.0, 8.0), (20.0, 20.0), (25.0, 2.0), (30.0, 30.0)])
def test_totals_against_the_reflection_function(rms):
    """∫ f cosθ_o dω_o with f = D·G/(4 (s·n)(o·n)) (Walter et al. eq. 20, facets of reflectance 1), summed over the
    outgoing hemisphere, which draws no facets."""
    o, w = hemisphere(400)
    ax, ay = alpha(rms[0]), alpha(rms[1])
    for incidence in (0.0, 60.0):
        totals = []
        for phi in (0.0, 90.0):
            s = direction(max(incidence, 1e-6), phi)
            h = o + s
            h /= np.linalg.norm(h, axis=-1, keepdims=True)
            root = [_g1(np.broadcast_to(v, o.shape), ax, ay) for v in (s, o)]
            f = beckmann(h, ax, ay) * root[0] * root[1] / (4 * s[2] * o[..., 2])
            totals.append((f * o[..., 2] * w).sum())
        found = total_factor(rms, incidence)
        print(f"slopes {rms}, {incidence:.0f}°: {found:.4f}, integral {np.mean(totals):.4f}")
        assert found == pytest.approx(np.mean(totals), abs=1.5e-3)


def _g1(d, ax, ay):
    """Smith's masking of a Gaussian surface through Λ = (exp(−a²)/(a√π) − erfc a)/2, G1 = 1/(1 + Λ)."""
    a = d[..., 2] / np.hypot(ax * d[..., 0], ay * d[..., 1])
    return 1.0 / (1.0 + 0.5 * (np.exp(-(a**2)) / (a * np.sqrt(np.pi)) - (1.0 - erf(a))))


def test_totals_of_the_design():
    """Slopes of 20° both ways keep 0.93 at normal incidence and 0.87 at 60°."""
    assert round(total_factor((20.0, 20.0), 0.0), 2) == 0.93
    assert round(total_factor((20.0, 20.0), 60.0), 2) == 0.87
    assert total_factor((0.0, 0.0), 60.0) == pytest.approx(1.0, abs=1e-12)
