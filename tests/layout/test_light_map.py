"""The light map's coarser way for weak matt light."""

import numpy as np
import pytest

import layout.light.light_map as light_map_module
from layout.light.light_map import light_map
from layout.pieces import Panel, Reflector, Scene


def hinged_sheets(slopes: tuple[float, float], diffuse: float) -> Scene:
    """A panel tilted by 35° with a sheet at its lower and its left edge, opened 65° from its plane."""
    t, o = np.radians(35.0), np.radians(65.0)
    along, up = np.array([1.3, 0.0, 0.0]), 1.6 * np.array([0.0, np.cos(t), np.sin(t)])
    panel = Panel((0.0, 0.0, 1.2), along, up, cells=(8, 6))
    sheets = []
    for start, edge, out in ((panel.corner, along, -up), (panel.corner + up, -up, -along)):
        rise = 1.1 * (np.cos(o) * out / np.linalg.norm(out) + np.sin(o) * panel.normal)
        sheets.append(Reflector(start + edge, -edge, rise, reflectance=0.9, slope_rms=slopes, diffuse=diffuse))
        assert sheets[-1].normal @ (panel.centre - sheets[-1].centre) > 0
    return Scene([panel], sheets)


@pytest.mark.parametrize(("slopes", "diffuse"), [((9.0, 9.0), 0.15), ((20.0, 3.0), 0.06), ((0.0, 0.0), 0.1)])
def test_weak_matt_light_by_fewer_rays(
    monkeypatch: pytest.MonkeyPatch, slopes: tuple[float, float], diffuse: float
) -> None:
    """Within a tenth of what maps are held to (1 % in the mean, 3 % of the brightest cell)."""
    scene, sun = hinged_sheets(slopes, diffuse), ([52.0, 20.0], [185.0, 140.0])
    quick = light_map(scene, *sun).total[0]
    monkeypatch.setattr(light_map_module, "WEAK_MATT", 0.0)
    full = light_map(scene, *sun).total[0]
    mean = quick.mean(axis=(1, 2)) / full.mean(axis=(1, 2)) - 1.0
    cell = np.abs(quick - full).max(axis=(1, 2)) / full.max(axis=(1, 2))
    print(f"\nslopes {slopes}, matt share {diffuse}: mean {np.abs(mean).max():.3%}, cell {cell.max():.3%}")
    assert (quick != full).any()
    assert np.abs(mean).max() < 1e-3
    assert cell.max() < 5e-3
