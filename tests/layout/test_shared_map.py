"""The shared light map against the light map of every panel by itself."""

import numpy as np
import pytest

import layout.light.shared_map
from layout.light.light_map import LightMap, light_map
from layout.light.shared_map import shared_light_map
from layout.pieces import Blocker, Ground, Panel, Reflector, Scene

SUN = (38.0, 165.0)


def rows(columns: int, lines: int, bifacial: bool = False, spread: float = 0.0, diffuse: float = 0.0) -> Scene:
    """Rows that face south, each with a strip in front and a chimney among them."""
    tilt = np.radians(35)
    up = (0.0, np.cos(tilt), np.sin(tilt))
    corners = [(1.05 * i, 3.0 * j, 0.3) for j in range(lines) for i in range(columns)]
    panels = [Panel(c, (1.0, 0, 0), up, cells=(3, 2), bifacial=bifacial) for c in corners]
    strips = [
        Reflector((c[0], c[1] - 1.3, 0.05), (1.05, 0, 0), (0, 1.2, 0), slope_rms=(spread, spread), diffuse=diffuse)
        for c in corners
    ]
    chimney = Blocker((1.0, 4.6, 0.0), (0.4, 0, 0), (0, 0, 1.5))
    return Scene(panels, strips, blockers=[chimney], ground=Ground(albedo=0.3))


def every(light: LightMap, name: str) -> np.ndarray:
    return np.array([x[0] for x in getattr(light, name)])


@pytest.mark.parametrize(
    ("bifacial", "spread", "diffuse"), [(False, 0.0, 0.0), (True, 0.0, 0.0), (False, 8.0, 0.0), (False, 0.0, 1.0)]
)
def test_shared_is_the_same_as_each_by_itself(bifacial: bool, spread: float, diffuse: float) -> None:
    scene = rows(2, 1, True) if bifacial else rows(4, 2, False, spread, diffuse)
    alone = light_map(scene, [SUN[0]], [SUN[1]], 900.0)
    shared = shared_light_map(scene, SUN, 900.0, bounces=1, ground=True)
    assert shared.traced < len(scene.panels) or bifacial, "a small field has hardly two rears alike"
    assert every(shared.light, "direct") == pytest.approx(every(alone, "direct"), abs=1e-6)
    for name in ("reflected", "total"):
        assert np.abs(every(shared.light, name) - every(alone, name)).max() < 0.01 * 900.0
    if bifacial:
        behind = [np.asarray(x) for x in shared.light.rear if x is not None]
        assert len(behind) == len(scene.panels)
        assert np.array(behind) == pytest.approx(np.array(alone.rear), abs=0.01 * 900.0)
    else:
        assert set(shared.light.rear) == {None}


def test_without_repetition_each_panel_is_traced() -> None:
    scene = rows(3, 2)
    alone = light_map(scene, [SUN[0]], [SUN[1]], 900.0)
    own = shared_light_map(scene, SUN, 900.0, bounces=1, ground=True, repetition=False)
    assert own.traced == 6
    for name in ("direct", "reflected", "total"):
        assert every(own.light, name) == pytest.approx(every(alone, name), abs=1e-3)


def test_no_bounces_is_straight_light_only() -> None:
    scene = rows(3, 2)
    shared = shared_light_map(scene, SUN, 900.0, bounces=0)
    assert every(shared.light, "reflected").max() == 0.0
    assert every(shared.light, "total") == pytest.approx(every(shared.light, "direct"))


def test_without_the_ground_only_sheets_send_light_on() -> None:
    scene = rows(3, 2)
    shared = shared_light_map(scene, SUN, 900.0, bounces=1, repetition=False)
    alone = light_map(Scene(scene.panels, scene.reflectors, blockers=scene.blockers), [SUN[0]], [SUN[1]], 900.0)
    assert every(shared.light, "reflected") == pytest.approx(every(alone, "reflected"), abs=1e-3)


def test_a_slope_hides_the_sun_from_all_sheets() -> None:
    """The ground falls to the north by 50°, more than the sun's 38° above the southern horizon."""
    slope = Ground(slope_deg=50.0, slope_azimuth_deg=SUN[1] + 180.0)
    up = slope.normal
    level = np.cross(up, (0.0, 0.0, 1.0)) / np.linalg.norm(np.cross(up, (0.0, 0.0, 1.0)))
    panel = Panel((0, 0, 30.0), (1.0, 0, 0), (0, 1.0, 0), cells=(2, 2))
    mirror = Reflector((0.0, 0.0, 31.0), level, up)
    for ground, lit in ((slope, False), (None, True)):
        light = shared_light_map(Scene([panel], [mirror], ground=ground), SUN, 900.0, bounces=1).light
        assert bool(every(light, "direct").max() > 0.0) == lit
        assert bool(every(light, "total").max() > 0.0) == lit


def test_progress_counts_to_the_end() -> None:
    told: list[tuple[int, int]] = []
    shared = shared_light_map(
        rows(4, 3), SUN, 900.0, bounces=1, ground=True, tick=lambda done, total: told.append((done, total))
    )
    assert told[-1] == (12 + shared.traced, 12 + shared.traced)
    assert [done for done, _ in told] == sorted(done for done, _ in told)


def _experiment() -> None:
    """Panels traced and the largest error of a cell, W/m² at 900 W/m², against the tolerance."""
    for name, scene in (
        ("mirror", rows(10, 5)),
        ("spread 8°", rows(10, 5, spread=8.0)),
        ("matt", rows(10, 5, diffuse=1.0)),
        ("bifacial", rows(10, 5, bifacial=True)),
    ):
        alone = light_map(scene, [SUN[0]], [SUN[1]], 900.0)
        for tolerance in (0.001, 0.002, 0.005, 0.01, 0.02):
            layout.light.shared_map.TOLERANCE = tolerance
            shared = shared_light_map(scene, SUN, 900.0, bounces=1, ground=True)
            off = np.abs(every(shared.light, "reflected") - every(alone, "reflected")).max()
            if shared.light.rear[0] is not None:
                off = max(off, np.abs(np.array(shared.light.rear) - np.array(alone.rear)).max())
            print(f"{name}: tolerance {tolerance:g}, {shared.traced} of {len(scene.panels)} traced, off by {off:.2f}")


if __name__ == "__main__":
    _experiment()
