"""Obstacles as boxes on level and sloping ground."""

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely.geometry import Polygon, box

from layout.arrange.obstacles import STEP_M, obstacle_blockers, top_rectangles
from layout.geometry.rectangles import Rectangles
from layout.pieces import Ground, Scene
from sites.conventions import FloatArray
from sites.plot import Obstacle, Plot
from sites.read import list_sites, load_site


def plot_with(outline: Polygon, height: float, slope: float = 0.0, downhill: float = 180.0) -> Plot:
    boundary = box(-100, -100, 100, 100)
    return Plot(boundary, 0.0, (), (Obstacle(outline, height),), slope, downhill)


def top_polygons(outline: Polygon) -> list[Polygon]:
    return [
        Polygon([corner, corner + along, corner + along + across, corner + across])
        for corner, along, across in top_rectangles(outline)
    ]


def test_a_rectangular_house_is_five_exact_rectangles() -> None:
    outline = shapely.affinity.rotate(box(3, 4, 9, 8), 30)
    pieces = obstacle_blockers(plot_with(outline, 5.0))
    assert len(pieces) == 5
    assert sum(p.area_m2 for p in pieces) == pytest.approx(2 * (6 + 4) * 5 + 24)
    assert max(p.corner[2] + p.along[2] + p.up[2] for p in pieces) == pytest.approx(5.0)
    top = top_polygons(outline)
    assert len(top) == 1
    assert top[0].symmetric_difference(outline).area < 1e-6


radii = st.lists(st.floats(1.0, 6.0), min_size=3, max_size=9)


def star(values: list[float]) -> Polygon:
    angle = np.linspace(0.0, 2.0 * np.pi, len(values), endpoint=False)
    return Polygon(np.column_stack([values * np.cos(angle), values * np.sin(angle)]))


@settings(deadline=None)
@given(outline=radii.map(star))
def test_tops_lie_inside_apart_and_cover_most(outline: Polygon) -> None:
    top = top_polygons(outline)
    assert all(outline.buffer(1e-5).covers(part) for part in top)
    total = sum(part.area for part in top)
    assert total <= outline.area * (1.0 + 1e-5)
    assert total >= 0.55 * outline.area
    for i, part in enumerate(top):
        assert all(part.intersection(other, grid_size=1e-7).area < 1e-5 for other in top[i + 1 :])


def test_a_round_tree_is_covered_to_a_tenth() -> None:
    crown = shapely.Point(0, 0).buffer(3.0, quad_segs=4)
    assert sum(part.area for part in top_polygons(crown)) > 0.9 * crown.area


def seen_area(pieces: Rectangles, direction: FloatArray) -> float:
    """Area of the shadow of upright walls on a plane across a horizontal direction."""
    return float((np.abs(pieces.normal @ direction) * pieces.area).sum()) / 2.0


@settings(deadline=None)
@given(
    outline=radii.map(star),
    height=st.floats(0.5, 20),
    slope=st.floats(0, 30),
    downhill=st.floats(0, 360),
)
def test_walls_go_round_the_outline_from_ground_to_top(
    outline: Polygon, height: float, slope: float, downhill: float
) -> None:
    plot = plot_with(outline, height, slope, downhill)
    pieces = obstacle_blockers(plot)
    Scene(blockers=pieces, ground=Ground(slope_deg=slope, slope_azimuth_deg=downhill))  # nothing is buried
    walls = Rectangles.of([p for p in pieces if abs(p.normal[2]) < 0.5])
    ring = np.asarray(outline.exterior.coords)
    top = float(plot.ground_z(ring[:, 0], ring[:, 1]).max()) + height
    np.testing.assert_allclose((walls.corner + walls.up)[:, 2], top, atol=1e-9)
    assert np.linalg.norm(walls.along, axis=1).sum() == pytest.approx(outline.exterior.length, rel=1e-4)
    # Feet stand on the ground or, on a slope, above it by less than a step.
    ends = np.stack([walls.corner, walls.corner + walls.along])
    above = ends[..., 2] - plot.ground_z(ends[..., 0], ends[..., 1])
    assert above.min() >= -1e-6
    rise = np.abs(np.diff(ring, axis=0) @ plot.gradient).max()
    assert above.max() <= max(STEP_M, rise / 60) + 1e-6
    # Walls stand on the outline's edges.
    middles = shapely.points((walls.corner + 0.5 * walls.along)[:, :2])
    assert shapely.distance(outline.exterior, middles).max() < 1e-3


@pytest.mark.parametrize("name", list_sites())
def test_obstacles_of_bundled_sites(name: str) -> None:
    plot = load_site(name).plot
    assert plot is not None
    pieces = Rectangles.of(obstacle_blockers(plot))
    for obstacle in plot.obstacles:
        # From the east and from the north an upright prism of the outline shows its width times its height.
        west, south, east, north = obstacle.outline.bounds
        near = np.array(
            [obstacle.outline.buffer(0.01).covers(shapely.Point(c[:2])) for c in pieces.corner + 0.5 * pieces.along]
        )
        walls = Rectangles(pieces.corner[near], pieces.along[near], pieces.up[near])
        convex = obstacle.outline.convex_hull.area < 1.0001 * obstacle.outline.area
        if plot.slope_deg == 0 and convex:
            for direction, width in (([1.0, 0, 0], north - south), ([0, 1.0, 0], east - west)):
                assert seen_area(walls, np.array(direction)) == pytest.approx(width * obstacle.height_m, rel=1e-6)


def test_no_plot_no_obstacles() -> None:
    assert obstacle_blockers(None) == ()
