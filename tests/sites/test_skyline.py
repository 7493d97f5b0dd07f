"""The skyline: interpolation all the way round, tables and CSV files."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sites.errors import InputError
from sites.skyline import OPEN_SKYLINE, Skyline, skyline_from_csv, skyline_from_points

points = st.lists(
    st.tuples(st.integers(0, 3599).map(lambda i: i / 10), st.floats(0, 80)),
    min_size=1,
    max_size=12,
    unique_by=lambda p: p[0],
).map(sorted)


def test_straight_lines_between_points_and_across_north() -> None:
    skyline = skyline_from_points([(10.0, 4.0), (90.0, 8.0), (350.0, 0.0)], "plan", "skyline")
    found = skyline.at(np.array([10.0, 50.0, 90.0, 220.0, 350.0, 355.0, 0.0, 5.0]))
    np.testing.assert_allclose(found, [4.0, 6.0, 8.0, 4.0, 0.0, 1.0, 2.0, 3.0], atol=1e-12)


def test_open_skyline_is_level() -> None:
    assert OPEN_SKYLINE.at(np.array([[0.0, 359.0], [180.0, -20.0]])).tolist() == [[0.0, 0.0], [0.0, 0.0]]


def test_one_point_is_a_ring() -> None:
    np.testing.assert_allclose(Skyline(np.array([77.0]), np.array([3.0])).at(np.arange(0.0, 360.0, 7.0)), 3.0)


@given(table=points, azimuth=st.floats(0, 360), turns=st.integers(-3, 3))
def test_between_its_points_and_the_same_after_a_turn(
    table: list[tuple[float, float]], azimuth: float, turns: int
) -> None:
    skyline = skyline_from_points(table, "plan", "skyline")
    found = float(skyline.at(azimuth))
    elevations = [p[1] for p in table]
    assert min(elevations) - 1e-9 <= found <= max(elevations) + 1e-9
    assert float(skyline.at(azimuth + 360.0 * turns)) == pytest.approx(found, abs=1e-6 * (1 + max(elevations)) * 100)


@given(table=points)
def test_turning_the_world_turns_the_skyline(table: list[tuple[float, float]]) -> None:
    skyline = skyline_from_points(table, "plan", "skyline")
    np.testing.assert_allclose(skyline.at(skyline.azimuth_deg), [p[1] for p in table], atol=1e-9)


def test_csv() -> None:
    skyline = skyline_from_csv("# hills\n\nazimuth_deg, elevation_deg\n0, 2.5\n 180 ,1\n\n# end\n", "hills.csv")
    assert skyline.azimuth_deg.tolist() == [0.0, 180.0]
    assert skyline.elevation_deg.tolist() == [2.5, 1.0]


@pytest.mark.parametrize(
    ("content", "lines"),
    [
        ("", ["hills.csv: line 1: found an empty file; accepted: the header azimuth_deg,elevation_deg"]),
        (
            "azimuth_deg,elevation_deg\n0,1,2\n10\n20,x\n",
            [
                "hills.csv: line 2: found '0,1,2'; accepted: two numbers, azimuth_deg,elevation_deg",
                "hills.csv: line 3: found '10'; accepted: two numbers, azimuth_deg,elevation_deg",
                "hills.csv: line 4: found '20,x'; accepted: two numbers, azimuth_deg,elevation_deg",
            ],
        ),
        (
            "azimuth_deg,elevation_deg\n0,inf\n",
            ["hills.csv: line 2: found '0,inf'; accepted: two numbers, azimuth_deg,elevation_deg"],
        ),
        (
            "azimuth_deg,elevation_deg\n# a remark\n-10,1\n5,-2\n5,86\n",
            [
                "hills.csv: line 3: found -10; accepted: an azimuth from 0 to below 360",
                "hills.csv: line 4: found -2; accepted: an elevation from 0 to 85",
                "hills.csv: line 5: found 5 a second time; accepted: each azimuth once",
                "hills.csv: line 5: found 86; accepted: an elevation from 0 to 85",
            ],
        ),
    ],
)
def test_wrong_csv(content: str, lines: list[str]) -> None:
    with pytest.raises(InputError) as error:
        skyline_from_csv(content, "hills.csv")
    assert str(error.value).splitlines() == lines
