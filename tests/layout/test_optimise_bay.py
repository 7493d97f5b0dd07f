"""A search's bay against the same bay by the whole year's rays, and against the plot traced whole.

Run with -s to see the errors. Shapes are invented.
"""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import shapely

from layout.arrange.pattern import Pattern, best_places, most_units, start_region
from layout.conditions import Conditions, conditions
from layout.evaluate import evaluate
from layout.field import build_field
from layout.ledger import electricity
from layout.optimise.bay import Bay, build_bay
from layout.optimise.bay_year import ALIKE_HOURS, alike_hours, bay_sky, bay_year
from layout.optimise.whole import whole_figures
from layout.optimise_tables import with_values
from layout.plan import Plan, parse_plan
from layout.power.glass import transmission_ratio
from layout.run import plan_settings
from layout.year import evaluator_of
from sites.conventions import LENGTH_TOLERANCE_M
from sites.sun import sun_grid
from sites.weather_files import load_weather

PLAN = """
[site]
name = "corrawindle"
[plot]
boundary = [[0, 0], [24, -1], [26, 17], [3, 19]]
setback_m = 1
[[layout]]
name = "rows"
kind = "rows"
tilt_deg = 20
azimuth_deg = 0
pitch_m = 4
[[layout.booster]]
reflector = "one_way_spreader"
place = "aisle"
width_m = 0.8
tilt_deg = 20
gap_m = 0.2
[[layout]]
name = "upright"
kind = "upright"
azimuth_deg = 90
pitch_m = 4
[[layout]]
name = "towers"
kind = "towers"
side_m = 1.15
height_m = 1.8
spacing_m = 4
"""
SHAPES = {
    "rows": [
        {"pitch_m": 2.2, "tilt_deg": 35.0, "booster[0].width_m": 0.4, "booster[0].tilt_deg": 5.0},
        {"pitch_m": 2.9, "tilt_deg": 12.0, "booster[0].width_m": 0.9, "booster[0].tilt_deg": 28.0},
        {"pitch_m": 4.3, "tilt_deg": 30.0, "booster[0].width_m": 1.2, "booster[0].tilt_deg": 20.0},
    ],
    "upright": [{"pitch_m": 2.4}, {"pitch_m": 5.2}],
    "towers": [{"spacing_m": 3.0, "height_m": 1.2}, {"spacing_m": 6.0, "height_m": 2.4}],
}
WORST = {"rows": 0.004, "upright": 0.006, "towers": 0.008}
"""Largest error of a bay's energy."""

MOST_APART = 0.004
"""Errors of two shapes differ by no more."""


@pytest.fixture(scope="module")
def plan() -> Plan:
    return parse_plan(PLAN, "plan.toml", Path())


@pytest.fixture(scope="module")
def whole(plan: Plan) -> Conditions:
    return conditions(plan.site, load_weather(plan.site))


@pytest.fixture(scope="module")
def year(plan: Plan, whole: Conditions) -> Conditions:
    """Every third hour on a coarse net of the sun's positions."""
    few = whole.picked(np.arange(0, len(whole.albedo), 3))
    sun = few.sky.sun
    grid = sun_grid(plan.site.location.latitude_deg, sun.elevation_deg, sun.azimuth_deg, 9.0, 7)
    return replace(few, weights=grid.weights, parts=replace(few.parts, sun=grid.vectors))


def by_all_rays(plan: Plan, bay: Bay, year: Conditions) -> float:
    """AC energy of a bay by the way of `compare`."""
    settings = plan_settings(plan)
    evaluator = evaluator_of(bay.arrangement, year, settings)
    dc_w = np.zeros(len(year.albedo))
    for units, count in zip(bay.units, bay.counts, strict=True):
        field = build_field(bay.arrangement, year, False, repetition=False, only=units)
        dc_w += count * evaluate(field, evaluator, transmission_ratio, lambda _: None).hour["dc"]
    power = electricity(dc_w, bay.unit_kw * float(bay.counts.sum()), settings.inverter, settings.losses)
    return float(power.ac_kw.sum()) * year.weather.interval_h


@pytest.mark.parametrize("name", list(SHAPES))
def test_fewer_rays_points_and_hours_give_the_same_energy(name: str, plan: Plan, year: Conditions) -> None:
    (layout,) = (x for x in plan.layouts if x.name == name)
    sky, settings, errors = bay_sky(year), plan_settings(plan), []
    for values in SHAPES[name][:2]:
        bay = build_bay(plan, with_values(layout, values))  # type: ignore[arg-type]
        errors.append(bay_year(plan, bay, sky, settings)["energy_ac_kwh"] / by_all_rays(plan, bay, year) - 1.0)
    print(f"\n{name}: {', '.join(f'{e:+.2%}' for e in errors)}")
    assert np.abs(errors).max() <= WORST[name]
    assert np.ptp(errors) <= MOST_APART


def test_a_bay_ranks_shapes_as_the_whole_plot_does(year: Conditions) -> None:
    """At the best shift of the pattern; the plot has no obstacles."""
    plan = parse_plan(PLAN.replace("one_way_spreader", "mirror"), "plan.toml", Path())
    layout, sky = plan.layouts[0], bay_sky(year)
    made = [with_values(layout, v) for v in SHAPES["rows"]]
    bays = [bay_year(plan, build_bay(plan, m), sky, plan_settings(plan)) for m in made]  # type: ignore[arg-type]
    wholes = [whole_figures(plan, m, year) for m in made]
    assert [b["panels"] for b in bays] == [w["panels"] for w in wholes]
    found = np.array([[b["best_shift_energy_ac_kwh"], w["energy_ac_kwh"]] for b, w in zip(bays, wholes, strict=True)])
    ratio = found[:, 0] / found[:, 1]
    print(f"\nbay over whole plot: {', '.join(f'{r - 1:+.2%}' for r in ratio)}")
    assert np.abs(ratio - 1.0).max() <= 0.01
    assert np.ptp(ratio) <= 0.005
    assert (np.argsort(found[:, 0]) == np.argsort(found[:, 1])).all()


PLOTS = {
    "four corners": ("corrawindle", "[[0, 0], [24, -1], [26, 17], [3, 19]]", 0, 1),
    "triangle": ("ylverhem", "[[0, 0], [34, 4], [9, 30]]", 180, 1),
    "seven corners": ("tannerfold", "[[0, 0], [26, -3], [38, 3], [40, 19], [30, 28], [8, 27], [-3, 13]]", 180, 2),
}
"""Site, boundary, where the rows face, panels one above the other."""
AISLE = """
[[layout.booster]]
reflector = "mirror"
place = "aisle"
width_m = 0.8
tilt_deg = 20
gap_m = 0.2
"""


@pytest.mark.long
@pytest.mark.parametrize("boosted", [False, True], ids=["bare", "boosted"])
@pytest.mark.parametrize("place", list(PLOTS))
def test_bays_of_random_rows_are_near_the_plot_traced_whole(place: str, boosted: bool) -> None:
    """Ten shapes each, every hour, plots without obstacles."""
    site, boundary, azimuth, high = PLOTS[place]
    text = (
        f'[site]\nname = "{site}"\n[plot]\nboundary = {boundary}\nsetback_m = 1\n[[layout]]\nname = "rows"\n'
        f'kind = "rows"\ntilt_deg = 25\nazimuth_deg = {azimuth}\npitch_m = {4 * high}\npanels_high = {high}\n'
    )
    plan = parse_plan(text + AISLE * boosted, "plan.toml", Path())
    year, settings = conditions(plan.site, load_weather(plan.site)), plan_settings(plan)
    sky, rng, found = bay_sky(year), np.random.default_rng(3), []
    for pitch, tilt, width, angle in rng.uniform(size=(10, 4)):
        values = {"pitch_m": (2.2 + 2.2 * pitch) * high**0.8, "tilt_deg": 10 + 25 * tilt}
        if boosted:
            values |= {"booster[0].width_m": 0.4 + 0.7 * width, "booster[0].tilt_deg": 5 + 25 * angle}
        layout = with_values(plan.layouts[0], values)  # type: ignore[arg-type]
        bay = bay_year(plan, build_bay(plan, layout), sky, settings)["best_shift_energy_ac_kwh"]
        found.append((bay, whole_figures(plan, layout, year)["energy_ac_kwh"]))
    by_bay, whole = np.array(found).T
    error = by_bay / whole - 1.0
    print(
        f"\n{place}: mean {error.mean():+.2%}, apart {error.std(ddof=1):.2%}, {error.min():+.2%} to {error.max():+.2%}"
    )
    assert abs(error.mean()) <= 0.005
    assert error.std(ddof=1) <= 0.003
    assert whole[by_bay.argmax()] >= 0.998 * whole.max()


def test_alike_hours_share_a_place_of_the_sun_and_a_share_of_beam(whole: Conditions) -> None:
    picked, group = alike_hours(whole, ALIKE_HOURS)
    sizes = np.bincount(group)
    assert (sizes[:-1] == ALIKE_HOURS).all()
    assert 1 <= sizes[-1] <= ALIKE_HOURS
    assert (group[picked] == np.arange(len(picked))).all()
    sky = whole.sky
    clear = sky.beam / (sky.beam + sky.dome)
    sun = np.radians(sky.sun.elevation_deg)
    for values, least in ((clear, 0.9), (np.sin(sun), 0.97)):
        within = values - (np.bincount(group, values) / sizes)[group]
        assert 1.0 - within.var() / values.var() >= least


@pytest.mark.parametrize("seed", range(6))
def test_most_units_are_those_of_the_best_places(seed: int) -> None:
    """Random plots with a hole, random patterns."""
    rng = np.random.default_rng(seed)
    corners = rng.uniform(0, 30, (7, 2))
    hull = shapely.convex_hull(shapely.multipoints(corners))
    outline = np.round(shapely.get_coordinates(hull)[:-1], 2).tolist()
    x, y = np.round(shapely.get_coordinates(hull.centroid)[0], 1)
    text = PLAN.replace("[[0, 0], [24, -1], [26, 17], [3, 19]]", str(outline))
    hole = f"[[plot.keep_out]]\noutline = [[{x}, {y}], [{x + 2}, {y}], [{x + 1}, {y + 2}]]\n"
    plot = parse_plan(text.replace("[[layout]]", hole + "[[layout]]", 1), "plan.toml", Path()).site.plot
    assert plot is not None
    width, depth, pitch, turn = rng.uniform(1, 3), rng.uniform(1, 2.5), rng.uniform(2.5, 6), rng.uniform(-0.6, 0.6)
    along, back = np.array([np.cos(turn), np.sin(turn)]), np.array([-np.sin(turn), np.cos(turn)])
    foot = np.array([0 * along, width * along, width * along + depth * back, depth * back])
    pattern = Pattern(foot, (width + 0.02) * along, pitch * back)
    allowed = start_region(plot.usable.buffer(LENGTH_TOLERANCE_M, join_style="mitre"), foot)
    assert most_units(pattern, plot, allowed) == len(best_places(pattern, plot).origins)
