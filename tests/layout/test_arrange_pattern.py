"""Where a pattern's units fit on a plot, and why the others do not."""

from collections.abc import Sequence

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely.geometry import Polygon, box

from layout.arrange.pattern import (
    SHIFTS,
    Pattern,
    best_places,
    footprints,
    left_out_words,
    start_region,
)
from sites.conventions import FloatArray
from sites.plot import Obstacle, Plot
from sites.read import list_sites, load_site

TOLERANCE = 1e-5


def rectangle(width: float, depth: float) -> FloatArray:
    return np.array([[0, 0], [width, 0], [width, depth], [0, depth]], dtype=np.float64)


def pattern_of(width: float, depth: float, gap: float, pitch: float, turn_deg: float = 0.0) -> Pattern:
    c, s = np.cos(np.radians(turn_deg)), np.sin(np.radians(turn_deg))
    turn = np.array([[c, s], [-s, c]])
    return Pattern(
        rectangle(width, depth) @ turn,
        np.array([width + gap, 0.0]) @ turn,
        np.array([0.0, pitch]) @ turn,
    )


def star(radii: Sequence[float]) -> Polygon:
    angle = np.linspace(0.0, 2.0 * np.pi, len(radii), endpoint=False)
    return Polygon(np.column_stack([radii * np.cos(angle), radii * np.sin(angle)]))


stars = st.lists(st.floats(8, 40), min_size=5, max_size=9).map(star)
patterns = st.builds(
    pattern_of,
    width=st.floats(0.5, 3),
    depth=st.one_of(st.floats(0.0, 4), st.floats(0, 1e-6)),
    gap=st.floats(0, 0.5),
    pitch=st.floats(4, 9),
    turn_deg=st.floats(0, 360),
)


def overlap_m2(shapes: np.ndarray) -> float:
    """The largest area that two of the shapes share."""
    first, second = shapely.STRtree(shapes).query(shapes, predicate="intersects")
    pairs = first < second
    areas = shapely.area(shapely.intersection(shapes[first[pairs]], shapes[second[pairs]], grid_size=1e-7))
    return float(areas.max(initial=0.0))


def test_a_tight_grid_fills_a_rectangle() -> None:
    places = best_places(pattern_of(2.0, 1.0, 0.0, 1.0), Plot(box(0, 0, 20, 7)))
    assert len(places.origins) == 70
    assert sum(places.left_out.values()) == 0


def test_exactly_fitting_units_fit_inside_a_setback() -> None:
    places = best_places(pattern_of(2.0, 1.0, 0.5, 3.0), Plot(box(0, 0, 11.0, 11.0), setback_m=2.0))
    assert len(places.origins) == 9  # 2 + 0.5 + 2 + 0.5 + 2 = 7 along, 1 + 2 · 3 = 7 across


def test_reasons_in_a_plain_case() -> None:
    # A row of ten unit squares along a strip one wide: the first and last stand in the setback, one on the
    # keep-out, two on the obstacle.
    plot = Plot(
        box(0, 0, 10, 3.0),
        setback_m=1.0,
        keep_outs=(box(2.2, 0, 2.8, 3),),
        obstacles=(Obstacle(box(5.5, 1, 6.5, 2), 3.0),),
    )
    places = best_places(pattern_of(1.0, 1.0, 0.0, 50.0), plot)
    assert len(places.origins) == 5
    assert places.left_out == {"boundary": 0, "setback": 2, "keep-out": 1, "obstacle": 2}
    assert left_out_words(places.left_out, "panel", 2) == (
        "10 more panels of the same pattern touch the plot but do not fit: "
        "4 in the setback, 2 on a keep-out, 4 on an obstacle",
    )
    assert left_out_words({"boundary": 1, "setback": 0}, "tower") == (
        "1 more tower of the same pattern touches the plot but does not fit: 1 across the boundary",
    )
    assert left_out_words({"boundary": 0}, "tower") == ()


def test_no_room() -> None:
    places = best_places(pattern_of(5.0, 5.0, 0.0, 6.0), Plot(box(0, 0, 4, 4)))
    assert places.origins.shape == (0, 2)
    assert places.left_out["boundary"] >= 1


@settings(deadline=None)
@given(boundary=stars, pattern=patterns, setback=st.floats(0, 2))
def test_units_lie_inside_and_apart(boundary: Polygon, pattern: Pattern, setback: float) -> None:
    plot = Plot(
        boundary,
        setback,
        keep_outs=(box(-2, -1, 3, 1),),
        obstacles=(Obstacle(Polygon([(3, 3), (6, 3), (4, 6)]), 5.0),),
    )
    places = best_places(pattern, plot)
    shapes = footprints(places.origins, pattern.footprint)
    assert shapely.covers(plot.usable.buffer(TOLERANCE), shapes).all()
    assert len(np.unique(places.index, axis=0)) == len(places.index)
    assert overlap_m2(shapes) < 1e-5
    # Origins are those of the index on one net.
    if len(places.origins):
        steps = places.index @ np.stack([pattern.first, pattern.second])
        np.testing.assert_allclose(places.origins - places.origins[0], steps - steps[0], atol=1e-9)


@settings(deadline=None, max_examples=30)
@given(boundary=stars, pattern=patterns)
def test_every_unit_of_the_net_is_placed_or_told(boundary: Polygon, pattern: Pattern) -> None:
    plot = Plot(boundary, 1.0, keep_outs=(box(-2, -1, 3, 1),))
    places = best_places(pattern, plot)
    if len(places.origins) == 0:
        return
    # The whole net around, by plain geometry, unit by unit.
    reach = int(90 / min(np.linalg.norm(pattern.first), np.linalg.norm(pattern.second))) + 2
    grid = np.stack(np.meshgrid(np.arange(-reach, reach + 1), np.arange(-reach, reach + 1)), axis=-1)
    origins = places.origins[0] + grid.reshape(-1, 2) @ np.stack([pattern.first, pattern.second])
    shapes = footprints(origins, pattern.footprint)
    inside = shapely.covers(plot.usable.buffer(1e-6, join_style="mitre"), shapes)
    touching = shapely.intersects(boundary.buffer(-1e-6, join_style="mitre"), shapes)
    assert int(inside.sum()) == len(places.origins)
    assert int((touching & ~inside).sum()) == sum(places.left_out.values())


@settings(deadline=None)
@given(boundary=stars, pattern=patterns, east=st.floats(-45, 45), north=st.floats(-45, 45))
def test_start_region_is_where_footprints_lie_inside(
    boundary: Polygon, pattern: Pattern, east: float, north: float
) -> None:
    start = np.array([east, north])
    shape = footprints(start[None], pattern.footprint)[0]
    region = start_region(boundary, pattern.footprint)
    if boundary.exterior.distance(shape) > 1e-6:  # away from the edge of a decision
        assert region.contains(shapely.Point(start)) == boundary.contains(shape)


def test_start_region_of_two_parts_and_a_hole() -> None:
    area = shapely.union_all([box(0, 0, 4, 4).difference(box(1, 1, 2, 2)), box(10, 0, 13, 3)])
    region = start_region(area, rectangle(1.0, 1.0))
    # In the ring no square of edge 1 passes below or left of the hole but flush: only its right and top bands
    # of 1 m stay, and the corners; in the other part 2 × 2.
    assert shapely.intersection(region, box(10, 0, 13, 3)).area == pytest.approx(4.0)
    assert shapely.intersection(region, box(0, 0, 4, 4)).area == pytest.approx(3 * 3 - 2 * 2)


def test_more_shifts_hardly_gain() -> None:
    """The experiment behind SHIFTS: units placed against 32 × 32 shifts, three sites, three patterns."""
    plots = [load_site(name).plot for name in list_sites()]
    tried = [
        pattern_of(1.76, 2.0, 0.02, 4.4),
        pattern_of(1.76, 0.0, 0.02, 6.0, 90.0),
        pattern_of(2.2, 2.2, 5.3, 7.5),
    ]
    counts = {
        n: np.array([len(best_places(p, plot, n).origins) for plot in plots if plot is not None for p in tried])
        for n in (1, 4, 8, SHIFTS, 32)
    }
    share = {n: float((count / counts[32]).mean()) for n, count in counts.items()}
    print("units placed by shifts along each step, against 32:", {n: f"{s:.4f}" for n, s in share.items()})
    assert share[SHIFTS] > 0.99
    assert share[1] < share[SHIFTS] <= 1.005
