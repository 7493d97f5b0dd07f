"""Where the light on reflectors goes: shares estimated each by itself add up to what arrives, for any valid plan."""

from functools import cache
from pathlib import Path

import numpy as np
import pytest

from layout.arrange import arrange
from layout.conditions import Conditions, conditions
from layout.errors import PhysicsError
from layout.field import build_field
from layout.geometry.rectangles import Rectangles
from layout.light_ledger import _forward, light_ledger
from layout.plan import parse_plan
from layout.reached_light import arriving_beam
from layout.result import LightLedger
from layout.year_figures import adds_up
from sites.read import load_site
from sites.weather_files import load_weather

GAP = 0.01
PAIR = "[3.7, 0], [3.7, 2], [0, 2]"
"""Corners of a plot for one panel with wings."""

PLAN = """
title = "A few panels with sheets"
[site]
name = "corrawindle"
[plot]
boundary = [[0, 0], [7, 0], [7, 5], [0, 5]]
[[layout]]
name = "sheets"
{layout}
[[layout.booster]]
reflector = "{reflector}"
{booster}
"""

WINGS = 'place = "wings"\nsides = ["{side}"]\ndepth_m = {depth}\nopening_deg = {opening}'


def rows(tilt: float, pitch: float, orientation: str = "landscape") -> str:
    return (
        f'kind = "rows"\ntilt_deg = {tilt}\nazimuth_deg = 0\npitch_m = {pitch}\npanel_gap_m = 0.9\n'
        f'orientation = "{orientation}"'
    )


@cache
def the_year(bounces: int = 1) -> Conditions:
    """The plans' place is one."""
    site = load_site("corrawindle")
    return conditions(site, load_weather(site), bounces)


def ledger_of(text: str, bounces: int = 1) -> LightLedger:
    """The ledger of a plan's one layout, as a year works it out."""
    plan = parse_plan(text, "sheets.toml", Path())
    assert plan.run.bounces == bounces
    year = the_year(bounces)
    field = build_field(arrange(plan, plan.layouts[0]), year, full_cells=False, repetition=True)
    return light_ledger(field, year, arriving_beam(field, year))


def gap(layout: str, reflector: str, booster: str) -> float:
    ledger = ledger_of(PLAN.format(layout=layout, reflector=reflector, booster=booster))
    shares = [x / ledger.arrived_kwh for x in (ledger.reached_kwh, ledger.missed_kwh, ledger.absorbed_kwh)]
    told = ", ".join(
        f"{name} {share:.3f}" for name, share in zip(("reached", "missed", "absorbed"), shares, strict=True)
    )
    print(f"\n{reflector}, {' '.join(booster.split())}: gap {ledger.gap_fraction:+.2%}; {told}")
    return ledger.gap_fraction


@pytest.mark.parametrize(
    ("reflector", "side", "depth", "opening"),
    [
        ("mirror", "upper", 0.5, 75),
        ("mirror", "upper", 0.12, 75),
        ("mirror", "left", 0.4, 75),
        ("mirror", "lower", 0.4, 60),
        ("matt", "upper", 0.4, 60),
        pytest.param("one_way_spreader", "upper", 0.25, 75, marks=pytest.mark.long),
    ],
)
def test_wings(reflector: str, side: str, depth: float, opening: float) -> None:
    booster = WINGS.format(side=side, depth=depth, opening=opening)
    assert abs(gap(rows(25, 3.6), reflector, booster)) < GAP


def test_strip_in_the_aisle() -> None:
    assert abs(gap(rows(30, 3.4, "portrait"), "mirror", 'place = "aisle"\nwidth_m = 0.8\ntilt_deg = 20')) < GAP


@pytest.mark.long
def test_a_second_bounce_is_counted_where_the_plan_asks_for_it() -> None:
    """One panel between two mirrors that face each other: more light reaches it, less is called missed, all shares
    still add up."""
    booster = 'place = "wings"\nsides = ["left", "right"]\ndepth_m = 0.9\nopening_deg = 95'
    text = PLAN.format(layout=rows(25, 3.6), reflector="mirror", booster=booster).replace(
        "[7, 0], [7, 5], [0, 5]", PAIR
    )
    reached, missed = [], []
    for bounces in (1, 2):
        ledger = ledger_of(f"{text}[run]\nbounces = {bounces}\n", bounces)
        assert abs(ledger.gap_fraction) < GAP
        reached.append(ledger.reached_kwh / ledger.arrived_kwh)
        missed.append(ledger.missed_kwh / ledger.arrived_kwh)
    print(f"\nreached {reached}, missed {missed}")
    assert reached[1] > reached[0] + 0.01
    assert missed[1] < missed[0] - 0.01


@pytest.mark.parametrize("missing", [0.011, -0.011])
def test_shares_that_do_not_add_up_raise(missing: float) -> None:
    """Told, never clamped."""
    good = LightLedger(100.0, 30.0, 50.0, 12.0, 8.9)
    assert adds_up(good, "rows") is good
    with pytest.raises(PhysicsError, match=r"^rows: found shares .* miss what arrives on them by -?1\.1 %"):
        adds_up(LightLedger(100.0, 30.0, 50.0, 12.0, 8.0 - 100.0 * missing), "rows")


def test_parcels_hardly_move_from_seed_to_seed() -> None:
    """Each share by other parcels; their number is chosen by this."""
    booster = WINGS.format(side="lower", depth=0.9, opening=105)
    text = PLAN.format(layout=rows(25, 3.6), reflector="one_way_spreader", booster=booster)
    plan = parse_plan(text, "sheets.toml", Path())
    year = the_year()
    field = build_field(arrange(plan, plan.layouts[0]), year, full_cells=False, repetition=True)
    sheets, light = Rectangles.of(field.arrangement.scene.reflectors), year.sun_light()
    arrived = float((arriving_beam(field, year) @ sheets.area) @ light)
    shares = np.array([_forward(field, sheets, year, light, seed) for seed in range(4)]) / arrived
    spread = np.ptp(shares, axis=0)
    print(f"\nmissed, absorbed, masked: {shares.mean(axis=0).round(4)}, from seed to seed within {spread.round(4)}")
    assert (spread < 2e-3).all()
    assert (spread > 0).any()


@pytest.mark.long
@pytest.mark.parametrize("seed", range(24))
def test_random_plans(seed: int) -> None:
    rng = np.random.default_rng(700 + seed)
    reflector = ("mirror", "matt", "one_way_spreader", "rod_array", "two_way_spreader")[seed % 5]
    layout = rows(float(rng.uniform(10, 50)), float(rng.uniform(2.5, 5)), ("landscape", "portrait")[seed % 2])
    wings = WINGS.format(
        side=("lower", "upper", "left", "right")[seed % 4],
        depth=round(float(rng.uniform(0.08, 0.8)), 2),
        opening=round(float(rng.uniform(50, 88)), 1),
    )
    aisle = f'place = "aisle"\nwidth_m = {rng.uniform(0.2, 0.8):.2f}\ntilt_deg = {rng.uniform(0, 40):.0f}'
    assert abs(gap(layout, reflector, aisle if seed % 3 == 0 else wings)) < GAP
