"""Fair per square metre: light that belongs to the neighbour, and the pattern without end."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pvlib
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely.geometry import box

from layout.arrange.endless import endless_arrangement
from layout.conditions import Conditions, conditions
from layout.evaluate import Evaluator, evaluate
from layout.fair import horizontal_light, light_from_beyond
from layout.field import build_field
from layout.geometry.rectangles import Rectangles
from layout.light.coefficients import engine_of, light_coefficients
from layout.light.lattice import grid_lattice
from layout.light.net import Net
from layout.pieces import Panel, Scene
from layout.plan import parse_plan
from layout.power.glass import transmission_ratio
from layout.power.panel_model import panel_model
from layout.run import ENDLESS_REACH_M, endless_reach_m
from sites.conventions import unit_vector
from sites.site import Site, WeatherSource
from sites.skyline import OPEN_SKYLINE
from sites.weather_files import read_tmy3

STATION = Path(pvlib.__file__).parent / "data" / "723170TYA.CSV"


def site_year(albedo=0.2):
    weather, station = read_tmy3(STATION)
    source = WeatherSource(STATION, None, None)
    return conditions(Site(station, np.full(12, albedo), OPEN_SKYLINE, None, source), weather)


@pytest.fixture(scope="module")
def year():
    return site_year()


@pytest.fixture(scope="module")
def black():
    """The same over black ground, one hour in seven."""
    c = site_year(0.0)
    return c.picked(np.arange(0, len(c.albedo), 7))


# Light from beyond the plot ------------------------------------------------------------------------------------------


def one_sun(elevation, azimuth, year):
    """A year of hours that all have the sun in one place."""
    at = year.at_hours(np.argsort(year.sky.beam)[-100:])
    return replace(at, parts=replace(at.parts, sun=unit_vector(np.full(100, elevation), np.full(100, azimuth))))


def tower(side, height):
    """South, east, north, west and top, from the ground up."""
    x, y, z = np.array([side, 0, 0]), np.array([0, side, 0]), np.array([0, 0, height])
    low = np.zeros(3)
    walls = [(low, x), (low + x, y), (low + x + y, -x), (low + y, -y)]
    return [*(Panel(c, a, z, cells=(6, 4)) for c, a in walls), Panel(z, x, y, cells=(6, 4))]


def beam_of(panels, c):
    r, net = Rectangles.of(panels), Net(12, 4, grid_lattice(1, 1))
    out = light_coefficients(engine_of(Scene(panels), np.ones_like), c.parts, r, net, np.ones_like)
    return r, out.before[: len(c.parts.sun)].mean(axis=2)


@pytest.mark.parametrize("elevation", [15.0, 30.0, 60.0])
def test_a_lone_tower_on_the_plots_edge(elevation, year):
    """A tower of height h on a plot that is as large as its base, the sun in the south: of its shadow h/tan(elevation)
    + side, the first part lies beyond the plot."""
    side, height = 2.0, 6.0
    c = one_sun(elevation, 180.0, year)
    r, beam = beam_of(tower(side, height), c)
    shadow = height / np.tan(np.radians(elevation))
    found = light_from_beyond(r, beam, c, box(0, 0, side, side))
    # All faces together take the beam of that shadow, the top the part farthest from the base.
    assert found == pytest.approx(shadow / (shadow + side), abs=0.01)
    wall = light_from_beyond(r[np.array([0])], beam[:, :1], c, box(-0.5, 0, side + 0.5, 0.25 * shadow))
    assert wall == pytest.approx(0.75, abs=0.01)
    assert light_from_beyond(r, beam, c, box(-1, -1, side + 1, shadow + side + 1)) == 0.0
    assert light_from_beyond(r, beam, c, box(50, 50, 51, 51)) == 1.0


def test_half_a_shadow_beyond_the_boundary(year):
    """A level panel at height 3 m in a sun at 45° in the south: its shadow lies 3 m to the north."""
    panel = [Panel((0, 0, 3), (2, 0, 0), (0, 2, 0), cells=(6, 4))]
    c = one_sun(45.0, 180.0, year)
    r, beam = beam_of(panel, c)
    for north, beyond in ((3.0, 1.0), (4.0, 0.5), (5.0, 0.0)):
        assert light_from_beyond(r, beam, c, box(-1, -1, 3, north)) == pytest.approx(beyond, abs=0.01)


def test_slope_moves_the_landing(year):
    """On ground that falls to the north at 45° a sun from the south at 60° lands farther off than on level ground."""
    plot = parse_plan(
        'title = "s"\n[site]\nname = "tannerfold"\n[plot]\nboundary = [[-9,-9],[9,-9],[9,9],[-9,9]]\nslope_deg = 30\n'
        'slope_azimuth_deg = 0\n[[layout]]\nname = "r"\nkind = "rows"\ntilt_deg = 40\nazimuth_deg = 180\npitch_m = 6',
        "s.toml",
        Path("."),
    ).site.plot
    level = one_sun(60.0, 180.0, year)
    slope = replace(level, site=replace(level.site, plot=plot))
    panel = [Panel((0, 0, 3), (2, 0, 0), (0, 2, 0), cells=(6, 4))]
    r, beam = beam_of(panel, level)
    # The panel's northern edge, y = 2: level ground is met 3/tan 60° = 1.73 m on, the slope where
    # 3 − t·tan 60° = −(2 + t)·tan 30°, t = 3.60 m on.
    boundary = box(-1, -1, 3, 2 + 1.8)
    assert light_from_beyond(r, beam, level, boundary) == 0.0
    assert light_from_beyond(r, beam, slope, boundary) > 0.45


def test_no_beam_none_from_beyond(year):
    r, beam = beam_of(tower(1.0, 2.0), year)
    assert light_from_beyond(r, 0.0 * beam, year, box(0, 0, 1, 1)) == 0.0


# The pattern without end ---------------------------------------------------------------------------------------------

ROWS = 'kind = "rows"\ntilt_deg = {tilt}\nazimuth_deg = {azimuth}\npitch_m = {pitch}\nclearance_m = 0.5'
UPRIGHT = 'kind = "upright"\nazimuth_deg = {azimuth}\npitch_m = {pitch}\nclearance_m = 0.5'
TOWERS = (
    'kind = "towers"\nside_m = 1.15\nheight_m = {height}\nbase_height_m = 0.2\nspacing_m = {spacing}\n'
    'azimuth_deg = {azimuth}\nfaces = ["north", "east", "south", "west", "top"]'
)


def pattern(text, reach, **values):
    plan = parse_plan(
        'title = "e"\n[site]\nname = "tannerfold"\n[[layout]]\nname = "x"\n' + text.format(**values),
        "e.toml",
        Path("."),
    )
    return endless_arrangement(plan, plan.layouts[0], reach)


def endless(c: Conditions, text, reach, **values):
    """Light on both faces and DC of the pattern without end per m² of ground, kWh/m²."""
    arrangement, unit, area = pattern(text, reach, **values)
    kind = arrangement.panel_type
    evaluator = Evaluator(c, c.matrix(), kind, panel_model(kind), 0.0)
    field = build_field(arrangement, c, full_cells=False, repetition=False, only=unit)
    found = evaluate(field, evaluator, transmission_ratio, lambda _: None)
    size = field.rectangles.area[unit]
    light = ((found.panel["front"] + found.panel["rear"])[unit] * size).sum() / area
    return light, found.panel["dc"][unit].sum() / area


def global_light(c):
    """Global horizontal irradiation of the hours, kWh/m²."""
    return float(c.sky.ghi.sum()) * c.hour_kwh


def test_horizontal_light_is_the_global_irradiation(year):
    """The bound is the weather's own GHI but for its closure, and the part of the horizon band that brightens."""
    band = np.maximum(0.0, year.sky.horizon).sum() * year.hour_kwh
    assert horizontal_light(year) - band == pytest.approx(global_light(year), rel=0.005)
    assert band < 0.05 * global_light(year)


SPACE = st.floats(1.0, 4.0)
TURN = st.floats(0.0, 90.0)


@settings(max_examples=6, deadline=None, derandomize=True)
@given(st.floats(5.0, 80.0), SPACE, st.floats(120.0, 240.0))
def test_rows_without_end_never_beat_the_sky(black, tilt, gap, azimuth):
    light, _ = endless(black, ROWS, 25.0, tilt=tilt, azimuth=azimuth, pitch=1.1 * np.cos(np.radians(tilt)) + 0.3 * gap)
    assert light <= global_light(black)


@settings(max_examples=6, deadline=None, derandomize=True)
@given(SPACE, st.floats(0.0, 360.0))
def test_upright_rows_without_end_never_beat_the_sky(black, pitch, azimuth):
    light, _ = endless(black, UPRIGHT, 25.0, azimuth=azimuth, pitch=pitch)
    assert light <= global_light(black)


@settings(max_examples=6, deadline=None, derandomize=True)
@given(st.sampled_from([1.8, 3.6, 7.2]), st.floats(1.7, 6.0), TURN)
def test_towers_without_end_never_beat_the_sky(black, height, spacing, azimuth):
    light, _ = endless(black, TOWERS, 30.0, height=height, spacing=spacing, azimuth=azimuth)
    assert light <= global_light(black)


BOOSTED = (
    ROWS
    + """
panel_gap_m = {gap}
[[layout.booster]]
reflector = "{reflector}"
{place}"""
)


@settings(max_examples=4, deadline=None, derandomize=True)
@given(
    st.floats(15.0, 45.0),
    st.floats(1.0, 2.5),
    st.sampled_from(["mirror", "two_way_spreader", "matt"]),
    st.sampled_from(
        [
            'place = "aisle"\nwidth_m = 1.0\ntilt_deg = 10',
            'place = "wings"\nsides = ["lower", "upper"]\ndepth_m = 0.4\nopening_deg = 60',
            'place = "strips"\nwidth_m = 0.1\ntilt_deg = 30',
        ]
    ),
)
def test_rows_with_reflectors_without_end_never_beat_the_sky(black, tilt, gap, reflector, place):
    pitch = 1.1 * np.cos(np.radians(tilt)) + gap
    light, _ = endless(
        black, BOOSTED, 15.0, tilt=tilt, azimuth=180.0, pitch=pitch, gap=0.3, reflector=reflector, place=place
    )
    assert light <= global_light(black)


def test_nearly_all_light_is_caught_where_hardly_any_ground_is_left(black):
    """The bound is sharp: level panels edge to edge take all but the gaps between them."""
    light, _ = endless(black, ROWS, 20.0, tilt=1.0, azimuth=180.0, pitch=1.12)
    covered = 1.76 * 1.10 / (1.78 * 1.12)
    assert light == pytest.approx(covered * global_light(black), rel=0.01)


def test_advantage_of_towers_shrinks_as_the_grid_tightens(black):
    """Light per m² of base: a lone tower takes several times what falls on its base, in a tight grid hardly more than
    its share of the ground; per m² of ground the tight grid still takes most."""
    base = 1.15**2
    per_base, per_ground = [], []
    for spacing in (30.0, 12.0, 6.0, 3.5, 2.3):
        light, _ = endless(black, TOWERS, 31.0, height=3.6, spacing=spacing, azimuth=0.0)
        per_ground.append(light / global_light(black))
        per_base.append(light * spacing**2 / base / global_light(black))
    print("\nper m² of base", np.round(per_base, 2), "per m² of ground", np.round(per_ground, 3))
    assert (np.diff(per_base) < 0).all()
    assert (np.diff(per_ground) > 0).all()
    assert per_base[0] > 4.0
    assert per_base[-1] < 0.6 * per_base[0]
    assert per_ground[-1] < 1.0


def test_reach_grows_with_the_pattern():
    assert endless_reach_m(np.array([1.8, 0]), np.array([0, -2.5])) == ENDLESS_REACH_M[0]
    assert endless_reach_m(np.array([6.0, 0]), np.array([0, 8.0])) == 120.0
    assert endless_reach_m(np.array([1.8, 0]), np.array([0, -90.0])) == ENDLESS_REACH_M[1]


@pytest.mark.long
@pytest.mark.parametrize(
    ("name", "text", "values"),
    [
        ("rows", ROWS, {"tilt": 25, "azimuth": 180, "pitch": 4.4}),
        ("upright", UPRIGHT, {"azimuth": 90, "pitch": 6.0}),
        ("towers", TOWERS, {"height": 5.4, "spacing": 6.0, "azimuth": 0}),
        ("towers far apart", TOWERS, {"height": 5.4, "spacing": 12.0, "azimuth": 0}),
    ],
)
def test_experiment_behind_the_reach(name, text, values, year):
    """What the endless figure changes as more of the pattern is built around the unit that is looked at."""
    chosen = endless_reach_m(*pattern(text, 1.0, **values)[0].repeat)
    print(f"\n{name}, built to {chosen:.0f} m; against 300 m:")
    light, dc = endless(year, text, 300.0, **values)
    for reach in (30.0, 60.0, 120.0, chosen):
        found = endless(year, text, reach, **values)
        print(f"  {reach:4.0f} m: light {found[0] / light - 1:+.2%}, DC {found[1] / dc - 1:+.2%}")
    assert found == pytest.approx((light, dc), rel=0.005)
