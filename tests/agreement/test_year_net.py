"""The year's coarser net of points against every cell: alternating current over a year.

The net has 6 × 4 points or more a panel; the weakest of a group's points sets its current, so the danger is that
shadows slip between points. What the issue of the net is worth is printed.
"""

from dataclasses import replace
from pathlib import Path

import pytest

from layout.plan import parse_plan, read_plan
from layout.report.demo import DEMO_PLAN
from layout.run import run_plan

AC = 0.003

PLAN = """
title = "Six ways to mount a panel"
[site]
name = "tannerfold"
[plot]
boundary = [[0, 0], [19, -2], [22, 12], [3, 15]]
setback_m = 0.5
[[plot.obstacle]]
name = "shed"
outline = [[1, 10], [4, 10], [4, 13], [1, 13]]
height_m = 3.5
[[layout]]
name = "landscape"
kind = "rows"
tilt_deg = 30
azimuth_deg = 180
pitch_m = 2.1
orientation = "landscape"
[[layout]]
name = "portrait"
kind = "rows"
tilt_deg = 25
azimuth_deg = 200
pitch_m = 2.8
orientation = "portrait"
[[layout]]
name = "film"
kind = "rows"
tilt_deg = 25
azimuth_deg = 160
pitch_m = 2.4
panels_high = 2
panel = "thin_film"
[[layout]]
name = "upright"
kind = "upright"
azimuth_deg = 80
pitch_m = 3.5
[[layout]]
name = "towers"
kind = "towers"
side_m = 1.15
height_m = 1.8
spacing_m = 4.0
"""
NAMES = ["landscape", "portrait", "film", "upright", "towers"]


def ac_kwh(plan, name, full_cells):
    plan = replace(plan, run=plan.run.model_copy(update={"full_cells": full_cells}))
    return run_plan(plan, only=[name]).layouts[name].energy_ac_kwh


def difference(plan, name):
    each = ac_kwh(plan, name, True)
    error = ac_kwh(plan, name, False) / each - 1.0
    print(f"\n{name}: {each:.0f} kWh AC with every cell, the year's net {error:+.3%}")
    return error


LATER = ("film", "upright", "towers")
"""In the long battery, beside the demo's own."""


@pytest.mark.parametrize("name", [pytest.param(n, marks=pytest.mark.long if n in LATER else ()) for n in NAMES])
def test_net_of_the_year_on_a_small_plot(name):
    assert abs(difference(parse_plan(PLAN, "small.toml", Path(".")), name)) < AC


@pytest.mark.long
@pytest.mark.parametrize("name", ["rows", "upright", "towers"])
def test_net_of_the_year_on_the_demo(name):
    assert abs(difference(read_plan(DEMO_PLAN), name)) < AC
