"""Rows and towers that stand where the plan says."""

from pathlib import Path

import numpy as np
import pytest
import shapely

from layout.arrange import Arrangement, arrange
from layout.arrange.pattern import pack
from layout.geometry.rectangles import Rectangles
from layout.plan import Plan, parse_plan

DENT = "boundary = [[0, 0], [40, 0], [40, 30], [22, 30], [22, 12], [18, 12], [18, 30], [0, 30]]"
TOWERS = 'kind = "towers"\nside_m = 2\nheight_m = 3\nspacing_m = 8\n'


def plan_of(layout: str, plot: str) -> Plan:
    text = f'[site]\nname = "tannerfold"\n[plot]\n{plot}\n[[layout]]\nname = "it"\n{layout}'
    return parse_plan(text, "plan.toml", Path())


def built(layout: str, plot: str = "boundary = [[0, 0], [40, 0], [40, 30], [0, 30]]") -> Arrangement:
    plan = plan_of(layout, plot)
    return arrange(plan, plan.layouts[0])


def rows(positions: list[float], azimuth: float = 180.0) -> str:
    return f'kind = "rows"\ntilt_deg = 25\nazimuth_deg = {azimuth}\npitch_m = 5\npositions_m = {positions}\n'


def test_rows_stand_at_their_positions_and_fill_them() -> None:
    # mono_glass lies 1.76 + 0.02 m along the row; see below for the count by hand.
    one = built(rows([1.0, 4.5, 20.0]))
    corner = Rectangles.of(one.scene.panels).corner
    assert np.unique(corner[:, 1].round(6)).tolist() == [1.0, 4.5, 20.0]
    width = float(np.linalg.norm(one.scene.panels[0].along))
    assert np.bincount(one.string).tolist() == [int((40.0 + 0.02) // (width + 0.02))] * 3


def test_rows_cut_to_so_many_columns() -> None:
    one = built(rows([1.0, 9.0]) + "row_columns = [3, 7]\npanels_high = 2\n")
    assert np.bincount(one.string).tolist() == [3, 3, 7, 7]


def test_positions_count_against_the_azimuth() -> None:
    corner = Rectangles.of(built(rows([-25.0, -9.0], 0.0)).scene.panels).corner
    assert np.unique(corner[:, 1].round(6)).tolist() == [9.0, 25.0]


def test_a_row_parted_by_a_dent_is_packed_on_both_sides() -> None:
    one = built(rows([5.0, 15.0]), DENT)
    panels = Rectangles.of(one.scene.panels)
    hulls = shapely.convex_hull(
        shapely.multipoints(
            np.stack([panels.corner, panels.corner + panels.along, panels.corner + panels.up], axis=1)[..., :2]
        )
    )
    plot = plan_of(rows([5.0]), DENT).site.plot
    assert plot is not None
    assert shapely.covers(plot.usable.buffer(2e-6), hulls).all()
    step = float(np.linalg.norm(panels.along[0])) + 0.02
    assert (panels.corner[:, 1] > 14).sum() == 2 * int((18 + 0.02) // step)


def test_a_row_without_room_is_told() -> None:
    one = built(rows([5.0, 29.5]))
    assert "1 of the rows asked for has no room" in one.fit[0]


def test_towers_stand_on_their_sites_and_others_are_told() -> None:
    one = built(TOWERS + "sites = [[5, 5], [20.5, 11], [39.5, 15], [60, 15]]")
    assert one.fit[0].startswith("2 towers fit")
    assert one.fit[1] == "2 more towers of the same pattern touch the plot but do not fit: 2 across the boundary"
    corner = Rectangles.of(one.scene.pieces).corner
    assert corner[:, 0].min() == pytest.approx(4.0)
    assert corner[:, 0].max() == pytest.approx(21.5)


def test_packing_is_the_most_by_enumeration() -> None:
    rng = np.random.default_rng(5)
    for _ in range(40):
        ends = np.sort(rng.choice(np.arange(40), 6, replace=False)).reshape(3, 2).astype(float)
        begin, number = pack(ends, 4.0)
        at = np.concatenate([np.arange(a, b + 1) for a, b in ends])
        best = np.zeros(len(at), dtype=int)  # most units of which the last begins at each place
        for i, x in enumerate(at):
            best[i] = 1 + max([best[j] for j in range(i) if at[j] <= x - 4.0], default=0)
        assert len(begin) == best.max()
        together = np.diff(number) == 1
        assert np.array_equal(together, np.abs(np.diff(begin) - 4.0) < 1e-9)
