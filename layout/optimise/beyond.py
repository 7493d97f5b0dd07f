"""Light that belongs to the neighbour, as the optimiser counts it; the figure itself is `layout.fair`'s.

A search asks for a share without a year's tracing: the same light by a few rays of each panel, shadows in, glass and
cells left out. For the model of places each row and each tower counts by itself, as if nothing else stood there.
"""

from dataclasses import replace

import numpy as np

from layout.arrange.arrangement import Arrangement
from layout.conditions import Conditions
from layout.evaluate import FieldYear
from layout.fair import beam_beyond, light_from_beyond
from layout.field import Field, build_field
from layout.geometry.rays import START_OFFSET_M
from layout.geometry.rectangles import Rectangles
from layout.light.lattice import grid_lattice
from layout.pieces import Scene
from layout.reached_light import arriving_beam
from layout.year_figures import Settings
from sites.conventions import FloatArray
from sites.plot import Plot

BEYOND = "light_from_beyond_plot_fraction"
"""Key of the limit and of the figure."""

POINTS = grid_lattice(2, 2)
"""Points of a panel from which a search looks at the sun. Experiment: tests/layout/test_optimise_each_limit.py."""


def traced_share(field: Field, year: FieldYear, conditions: Conditions) -> float:
    """The share of a layout traced whole, as ``compare`` tells it. Raises ValueError without a plot."""
    beam = np.concatenate([year.beam - year.by_sheets, arriving_beam(field, conditions)], axis=1)
    return light_from_beyond(_lit(field), beam, conditions, _plot(conditions).boundary)


def quick_share(arrangement: Arrangement, conditions: Conditions, settings: Settings) -> float:
    """The same by a few rays. Raises ValueError without a plot."""
    field = build_field(arrangement, conditions, settings.full_cells, repetition=False)
    beam = np.concatenate([straight_beam(field, conditions), arriving_beam(field, conditions)], axis=1)
    return light_from_beyond(_lit(field), beam, conditions, _plot(conditions).boundary)


def straight_beam(field: Field, conditions: Conditions) -> FloatArray:
    """Straight beam on each panel, on both faces where it has two, by sun direction, (m, n) [-]."""
    panels, sun = field.rectangles, conditions.parts.sun
    two = np.array([p.bifacial for p in field.arrangement.scene.panels], dtype=bool)
    facing = sun @ panels.normal.T
    beam = np.zeros(facing.shape)
    for side in (1.0, -1.0):
        seen = side * facing * (two if side < 0 else 1.0)
        points = (panels.points(*POINTS.T) + side * START_OFFSET_M * panels.normal[:, None]).reshape(-1, 3)
        if (seen > 0).any():
            free = ~field.engine.kernel.blocked(points, sun)
            beam += np.maximum(0.0, seen) * free.reshape(len(sun), len(panels), len(POINTS)).mean(axis=2)
    return beam


def alone(arrangement: Arrangement, conditions: Conditions, settings: Settings) -> tuple[FloatArray, FloatArray]:
    """Beam on each panel as if nothing else stood there, and the part of it from beyond the plot, (n,) kWh each."""
    bare = replace(arrangement, scene=Scene(panels=arrangement.scene.panels, ground=arrangement.scene.ground))
    field = build_field(bare, conditions, settings.full_cells, repetition=False)
    facing = conditions.parts.sun @ field.rectangles.normal.T
    two = np.array([p.bifacial for p in bare.scene.panels], dtype=bool)
    beam = np.where(two, np.abs(facing), np.maximum(0.0, facing))
    return beam_beyond(field.rectangles, beam, conditions, _plot(conditions).boundary)


def _lit(field: Field) -> Rectangles:
    return field.rectangles.joined(Rectangles.of(field.arrangement.scene.reflectors))


def _plot(conditions: Conditions) -> Plot:
    if conditions.site.plot is None:
        raise ValueError("light from beyond a plot needs a plot")
    return conditions.site.plot
