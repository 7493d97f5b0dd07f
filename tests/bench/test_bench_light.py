"""Time of light maps with scattering reflectors.

Run alone: pytest -m bench tests/bench/test_bench_light.py
"""

import numpy as np
import pytest

from layout.light.light_map import light_map
from layout.pieces import Panel, Reflector, Scene

ELEVATION, AZIMUTH = 55.0, 180.0


def four_wings(slopes, diffuse=0.0):
    """A panel of 60 cells tilted by 30°, a sheet at each edge opened 60° from its plane."""
    t, o = np.radians(30.0), np.radians(60.0)
    c, along, up = np.array([0, 0, 1.5]), np.array([1.1, 0, 0]), 1.7 * np.array([0, np.cos(t), np.sin(t)])
    panel = Panel(c, along, up, cells=(10, 6))
    edges = [(c, along, -up), (c + along, up, along), (c + along + up, -along, up), (c + up, -up, -along)]
    sheets = []
    for start, edge, out in edges:
        rise = 1.2 * (np.cos(o) * out / np.linalg.norm(out) + np.sin(o) * panel.normal)
        sheets.append(Reflector(start + edge, -edge, rise, reflectance=0.9, slope_rms=slopes, diffuse=diffuse))
        assert sheets[-1].normal @ (panel.centre - sheets[-1].centre) > 0
    return Scene([panel], sheets)


@pytest.mark.bench
@pytest.mark.parametrize(
    ("slopes", "diffuse"), [((0.0, 0.0), 0.0), ((10.0, 10.0), 0.0), ((12.0, 1.0), 0.0), ((10.0, 10.0), 0.1)]
)
def test_four_wings(benchmark, slopes, diffuse):
    """Wanted: at most 0.1 s on two cores for sheets that scatter."""
    scene = four_wings(slopes, diffuse)
    m = benchmark(light_map, scene, ELEVATION, AZIMUTH)
    assert m.reflected[0].mean() > 300.0


@pytest.mark.bench
def test_four_wings_for_a_day(benchmark):
    """Thirty sun positions at once."""
    elevation, azimuth = np.linspace(10.0, 60.0, 30), np.linspace(90.0, 270.0, 30)
    m = benchmark(light_map, four_wings((12.0, 1.0)), elevation, azimuth)
    assert m.reflected[0].shape == (30, 10, 6)
