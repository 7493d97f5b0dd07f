"""The panels of a layout as the light engine sees them: families, nets, traced panels, blocks."""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from layout.arrange.arrangement import Arrangement
from layout.conditions import Conditions
from layout.geometry.rectangles import Rectangles
from layout.light.coefficients import (
    LightCoefficients,
    engine_of,
    ground_light,
    light_coefficients,
    year_places,
)
from layout.light.lattice import fibonacci_lattice
from layout.light.net import Net, full_net, group_net, year_net
from layout.light.receive import Engine
from layout.light.sky_parts import Glass
from layout.light.surroundings import Year, equal_surroundings, every_panel
from layout.panel_type import PanelType
from layout.pieces import Scene
from layout.power.cells import group_map
from layout.power.glass import transmission_ratio
from sites.conventions import BoolArray, FloatArray, IntArray

BLOCK_VALUES = 12_000_000
"""Cell-hours held at once by one thread: about 50 MB in single precision."""

EDGE_POINTS = 13
"""Points of every cell where peaks are looked for under see-through sheets: the sun shines in under their edges, and a
strip narrower than a cell must not count as the cell's light. Experiment, row under a satin cover 5 cm off: brightest
cell 1260 W/m² by the cells' middles, 849 by 13 points, 840 by 55."""


@dataclass(frozen=True, eq=False)
class Family:
    """Panels that share cells, orientation and faces, hence one net.

    traced : (t,) int, indices of the panels that are traced; counts : (t,) float, the area-weighted number of
        panels each stands for
    groups : (cells,) int, bypass group of each net cell
    """

    net: Net
    groups: IntArray
    bifacial: bool
    traced: IntArray
    counts: FloatArray


@dataclass(frozen=True, eq=False)
class Field:
    """A layout ready for tracing.

    of_panel : (n,) int, index of the traced panel that stands for each panel
    """

    arrangement: Arrangement
    rectangles: Rectangles
    engine: Engine
    families: tuple[Family, ...]
    of_panel: IntArray

    @property
    def traced_panels(self) -> int:
        """How many panels are traced."""
        return sum(len(f.traced) for f in self.families)

    def with_full_cells(self, panels: IntArray) -> "Field":
        """Only some of the traced panels, every cell of them."""
        families = (_full_cells(f, self.arrangement, np.isin(f.traced, panels)) for f in self.families)
        return replace(self, families=tuple(f for f in families if len(f.traced)))


def build_field(
    arrangement: Arrangement,
    conditions: Conditions,
    full_cells: bool,
    repetition: bool,
    only: IntArray | None = None,
    around: Scene | None = None,
) -> Field:
    """Choose nets and traced panels of a layout.

    full_cells : every cell instead of the year's coarser net
    repetition : let panels with equal surroundings share a tracing
    only : indices of the panels that matter (default all); the others still shade
    around : what stands around instead of the arrangement's own scene; the panels then neither shade nor are part of it
    """
    scene = arrangement.scene
    panels = Rectangles.of(scene.panels)
    engine = engine_of(scene if around is None else around, transmission_ratio)
    chosen = np.arange(len(panels)) if only is None else only
    number = _family_numbers(arrangement)
    if repetition:
        near = equal_surroundings(
            engine,
            panels[chosen],
            number[chosen],
            np.array([scene.panels[i].bifacial for i in chosen], dtype=bool),
            Year(
                conditions.parts.sun,
                conditions.sun_light(),
                float(conditions.sky.dome.sum()) * conditions.hour_kwh,
                float(conditions.albedo.mean()),
            ),
        )
    else:
        near = every_panel(len(chosen))
    traced, of_panel = chosen[near.traced], np.full(len(panels), -1, dtype=np.int64)
    of_panel[chosen] = traced[near.of_panel]
    counts = np.bincount(of_panel[chosen], minlength=len(panels)).astype(np.float64)
    families = tuple(
        _family(arrangement, traced[number[traced] == f], counts, full_cells) for f in np.unique(number[traced])
    )
    return Field(arrangement, panels, engine, families, of_panel)


def _family_numbers(arrangement: Arrangement) -> IntArray:
    features = [
        (*p.cells, p.bifacial, int(o)) for p, o in zip(arrangement.scene.panels, arrangement.orientation, strict=True)
    ]
    return np.unique(np.array(features).reshape(-1, 4), axis=0, return_inverse=True)[1].reshape(-1)


def _family(arrangement: Arrangement, traced: IntArray, counts: FloatArray, full_cells: bool) -> Family:
    first = arrangement.scene.panels[traced[0]]
    kind, orientation = arrangement.panel_type, int(arrangement.orientation[traced[0]])
    net = full_net(*first.cells) if full_cells else _year_net(kind, orientation, first.cells)
    groups = _groups(kind, orientation, net, first.cells)
    return Family(net, groups, first.bifacial, traced, counts[traced])


def _full_cells(family: Family, arrangement: Arrangement, keep: BoolArray) -> Family:
    first = int(family.traced[0])
    cells = arrangement.scene.panels[first].cells
    net = full_net(*cells)
    if arrangement.scene.diffusers:
        net = replace(net, pattern=fibonacci_lattice(EDGE_POINTS))
    groups = _groups(arrangement.panel_type, int(arrangement.orientation[first]), net, cells)
    return replace(family, net=net, groups=groups, traced=family.traced[keep], counts=family.counts[keep])


def _year_net(kind: PanelType, orientation: int, cells: tuple[int, int]) -> Net:
    """The coarser net of the year: with bypass diodes the first cell that a shadow reaches costs its group, without
    them each shaded cell adds to the loss."""
    choose = group_net if kind.bypass_groups else year_net
    return choose(*cells, *groups_along_edges(kind, orientation))


def _groups(kind: PanelType, orientation: int, net: Net, cells: tuple[int, int]) -> IntArray:
    """Group of each net cell: that of the panel's cell in its middle."""
    way: Literal["portrait", "landscape"] = "portrait" if orientation == 0 else "landscape"
    rows, columns = (np.floor(at * n).astype(np.int64) for at, n in zip(net.middles(), cells, strict=True))
    return group_map(kind, way, *cells)[np.ix_(rows, columns)].reshape(-1)


def groups_along_edges(kind: PanelType, orientation: int) -> tuple[int, int]:
    """Bypass groups side by side along the panel's ``up`` and ``along`` edges."""
    groups = max(1, kind.bypass_groups)
    strips_along_length = kind.group_direction == "length"
    length_is_up = orientation == 0
    # Strips that run along the length stand side by side across the width.
    across_up = strips_along_length != length_is_up
    halves = 2 if kind.half_cut else 1
    up, along = (groups, 1) if across_up else (1, groups)
    return (up * halves, along) if length_is_up else (up, along * halves)


@dataclass(frozen=True, eq=False)
class Block:
    """Some traced panels of one family with their coefficients.

    panels : (b,) int; counts : (b,)
    front, rear : rear is None where the family has one face
    """

    family: Family
    panels: IntArray
    counts: FloatArray
    front: LightCoefficients
    rear: LightCoefficients | None


def blocks(field: Field, conditions: Conditions, glass: Glass) -> Iterator[Block]:
    """Trace a field block by block, so that memory stays bounded."""
    hours = max(1, len(conditions.albedo))
    store = ground_light(field.engine, conditions.parts, year_places(field.rectangles))
    for family in field.families:
        size = max(1, BLOCK_VALUES // (hours * family.net.cells))
        for start in range(0, len(family.traced), size):
            index = family.traced[start : start + size]
            args = (field.engine, conditions.parts, field.rectangles[index], family.net, glass)
            front = light_coefficients(*args, store=store, numbers=index)
            rear = light_coefficients(*args, rear=True, store=store, numbers=index) if family.bifacial else None
            yield Block(family, index, family.counts[start : start + size], front, rear)
