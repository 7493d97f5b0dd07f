"""Full solution: every cell's curve, forward and reverse, in groups, panels, strings and on one tracker.

    cells in series ─► half (or group) ─► two halves in parallel ─► bypass diode ─► groups of all panels of a
    string in series ─► strings in parallel ─► highest power

The first pass tabulates every part on currents that span the whole range; the next two add nodes around each
part's own current at the highest maxima found, so that the table is fine where it is read.
"""

from dataclasses import dataclass

import numpy as np

from layout.power.cell_volts import Cells, diode_volts, part_volts, prepare_cells
from layout.power.curves import current_at, in_parallel, interpolate, merge
from layout.power.full_effort import (
    FULL,
    FULL_WITHOUT_DIODES,
    KNEE_SPREAD,
    LEAK_NODES,
    NEGATIVE_SHARES,
    SPREAD,
    Effort,
)
from layout.power.panel_model import ANY_VOLTAGE, BYPASS_V, PanelModel, check_range
from layout.power.reverse import Reverse, reverse_of, reverse_table
from sites.conventions import Float32Array, FloatArray, IntArray

_CELLS_AT_ONCE = 65536

Curve = tuple[Float32Array, Float32Array]


@dataclass(frozen=True, eq=False)
class OperatingPoint:
    """Where a tracker holds its strings.

    power : (n,) float32 [W]; volts : (n,) [V]; current : (n, strings) [A]
    part_current : (n, strings, panels, groups, halves) [A] through the cells of each part
    """

    power: Float32Array
    volts: Float32Array
    current: Float32Array
    part_current: Float32Array


@dataclass(frozen=True, eq=False)
class Wiring:
    """How the points of one panel make up its parts.

    order : (points, parts) int, index of each part's points, filled up with 0; parts = groups × halves
    weight : (points, parts) float32, cells that each point stands for, 0 where filled up
    """

    order: IntArray
    weight: Float32Array
    groups: int
    halves: int


def wiring(groups: IntArray, model: PanelModel) -> Wiring:
    """Wiring of a panel whose points belong to ``groups`` (n_points,), from
    `layout.power.cells.group_map`."""
    parts = model.groups * model.halves
    counts = np.bincount(groups, minlength=parts)
    order = np.zeros((counts.max(), parts), dtype=np.int64)
    weight = np.zeros((counts.max(), parts), dtype=np.float32)
    for part in range(parts):
        order[: counts[part], part] = np.flatnonzero(groups == part)
        weight[: counts[part], part] = model.cells_in_series / model.groups / counts[part]
    return Wiring(order, weight, model.groups, model.halves)


def tracker_power(
    light_w_m2: Float32Array,
    groups: IntArray,
    model: PanelModel,
    cell_c: FloatArray | Float32Array,
    diodes: bool | None = None,
    reverse: Reverse | None = None,
    effort: Effort | None = None,
    window_v: tuple[float, float] = ANY_VOLTAGE,
    size: FloatArray | None = None,
    count: FloatArray | None = None,
) -> OperatingPoint:
    """Highest power of strings in parallel on one tracker.

    light_w_m2 : (n, strings, panels, n_points) float32 [W/m²] after the glass's angular loss
    groups : (n_points,) int, from `layout.power.cells.group_map`
    cell_c : (n, strings, panels) float [°C], or what broadcasts to it
    diodes : False: as if the bypass diodes had failed open; None: as the panel type says
    reverse : behaviour of cells under reverse voltage; None: `reverse_of` the type
    effort : None: the full solution's
    window_v : lowest and highest voltage that the tracker can hold; no power where the strings reach none inside
    size : (strings, panels) area of each panel over the type's, with which its currents go; 0: no panel there, so that
        strings may be of unequal length; None: all of the type's
    count : (strings, panels) panels in series that each stands for; None: 1
    Strings darker than the tracker's voltage count as nearly blocked: they take back next to no current.
    Raises PhysicsError where light or temperature lie outside all that is possible.
    """
    n, strings, panels, _ = light_w_m2.shape
    plan = wiring(groups, model)
    cell = np.broadcast_to(np.asarray(cell_c, dtype=np.float32), (n, strings, panels))
    check_range(light_w_m2, cell)
    with_diodes = model.diodes if diodes is None else diodes
    effort = effort or (FULL if with_diodes else FULL_WITHOUT_DIODES)
    field = _Field(model, plan, strings, panels, with_diodes, reverse, effort, window_v, size, count)
    rows = max(4, _CELLS_AT_ONCE // (strings * panels * plan.order.size))
    found = [field.solve(light_w_m2[i : i + rows], cell[i : i + rows]) for i in range(0, n, rows)]
    if not found:
        shape = (0, strings, panels, plan.groups, plan.halves)
        none = np.zeros(0, dtype=np.float32)
        return OperatingPoint(none, none, none.reshape(shape[:2]), none.reshape(shape))
    return OperatingPoint(
        *(np.concatenate([getattr(p, name) for p in found]) for name in OperatingPoint.__annotations__)
    )


def string_power(
    light_w_m2: Float32Array, groups: IntArray, model: PanelModel, cell_c: FloatArray | Float32Array
) -> Float32Array:
    """Power, W, of one string: light (n, panels, n_points), cell_c (n, panels) or (n, 1). See
    `tracker_power`."""
    cell = np.asarray(cell_c, dtype=np.float32)[:, None]
    return tracker_power(light_w_m2[:, None], groups, model, cell).power


def full_panel_power(
    light_w_m2: Float32Array, groups: IntArray, model: PanelModel, cell_c: FloatArray | Float32Array
) -> Float32Array:
    """Power, W, of single panels: light (n, n_points), cell_c (n,). See `tracker_power`."""
    cell = np.asarray(cell_c, dtype=np.float32)[:, None, None]
    return tracker_power(light_w_m2[:, None, None], groups, model, cell).power


def full_panel_curve(
    light_w_m2: Float32Array,
    groups: IntArray,
    model: PanelModel,
    cell_c: FloatArray | Float32Array,
    current_a: Float32Array,
    diodes: bool | None = None,
    reverse: Reverse | None = None,
) -> Float32Array:
    """Voltage of single panels at given currents.

    light_w_m2 : (n, n_points); cell_c : (n,) [°C]; current_a : (n, k) [A]. Returns (n, k) float32 [V].
    Half-cut groups are read between nodes; give some hundreds of currents where the knees matter.
    """
    plan = wiring(groups, model)
    field = _Field(model, plan, 1, 1, model.diodes if diodes is None else diodes, reverse, FULL)
    light, current = light_w_m2[:, None, None], np.ascontiguousarray(current_a.T, dtype=np.float32)[:, None]
    cells = field.cells(light, np.asarray(cell_c, dtype=np.float32)[:, None, None])
    nodes = np.repeat(current, field.parts, axis=1) / np.float32(plan.halves)
    nodes = np.sort(np.concatenate([field.first_nodes(cells), nodes]), axis=0)
    curve = field.group_curve(field.tabulate(cells, nodes))
    return field.string_volts(current, curve)[:, 0].T


def cell_power(
    light_w_m2: Float32Array,
    groups: IntArray,
    model: PanelModel,
    cell_c: FloatArray | Float32Array,
    part_current_a: Float32Array,
    reverse: Reverse | None = None,
) -> Float32Array:
    """Power that each cell gives, W, negative where it takes power up; (n, n_points).

    light_w_m2 : (n, n_points); cell_c : (n,); part_current_a : (n, groups, halves) [A], as in
        `OperatingPoint`
    """
    n, plan = len(light_w_m2), wiring(groups, model)
    field = _Field(model, plan, 1, 1, model.diodes, reverse, FULL)
    cells = field.cells(light_w_m2[:, None, None], np.asarray(cell_c, dtype=np.float32)[:, None, None])
    current = np.ascontiguousarray(part_current_a.reshape(n, -1).T, dtype=np.float32)
    power = (diode_volts(cells, current) - cells.series * current) * current
    found = np.zeros((len(groups), n), dtype=np.float32)
    used = plan.weight > 0.0
    found[plan.order[used]] = power[used]
    return found.T


class _Field:
    """Strings of panels of one type on one tracker. Arrays run (nodes, strings × panels × parts, n)."""

    def __init__(
        self,
        model: PanelModel,
        plan: Wiring,
        strings: int,
        panels: int,
        diodes: bool,
        reverse: Reverse | None,
        effort: Effort,
        window_v: tuple[float, float] = ANY_VOLTAGE,
        size: FloatArray | None = None,
        count: FloatArray | None = None,
    ) -> None:
        self.model, self.plan, self.diodes = model, plan, diodes
        self.strings, self.panels, self.effort, self.window = strings, panels, effort, window_v
        self.parts = panels * plan.groups * plan.halves
        self.table = reverse_table(reverse or reverse_of(model.panel_type))
        each = (strings, panels)
        number = np.ones(each) if count is None else count
        area = np.ones(each) if size is None else size
        self.count = np.repeat(np.where(area > 0.0, number, 0.0).reshape(-1), plan.order.shape[1]).astype(np.float32)
        self.size = np.repeat(np.where(area > 0.0, area, 1.0).reshape(-1), plan.order.shape[1]).astype(np.float32)
        self.least_v = -np.float32(BYPASS_V) * self.count[:: plan.halves, None]

    def cells(self, light: Float32Array, cell_c: Float32Array) -> Cells:
        """Cells of light (n, strings, panels, n_points) at cell_c (n, strings, panels)."""
        n, order, weight = len(light), self.plan.order, self.plan.weight
        moved = np.ascontiguousarray(np.moveaxis(light, 0, -1))[:, :, order]
        # strings, panels, points, parts, n
        moved = np.ascontiguousarray(np.moveaxis(moved, 2, 0)).reshape(len(order), -1, n)
        per_panel = np.moveaxis(np.broadcast_to(cell_c, light.shape[:3]), 0, -1).reshape(-1, n)
        return prepare_cells(
            moved.astype(np.float32, copy=False),
            np.repeat(per_panel, order.shape[1], axis=0),
            np.tile(weight, self.strings * self.panels) * self.count,
            self.model.cell_diode,
            self.table,
            self.size[:, None],
        )

    def tabulate(self, cells: Cells, current: Float32Array) -> Curve:
        """Each part's curve at ``current`` (nodes, all parts, n), rising along the nodes."""
        return current, part_volts(cells, current)

    def brightest(self, cells: Cells) -> Float32Array:
        """Light current of each string's brightest cell, (strings, n) [A]."""
        return cells.full.max(axis=0).reshape(self.strings, -1, cells.full.shape[-1]).max(axis=1)

    def first_nodes(self, cells: Cells) -> Float32Array:
        """Part currents of the first pass, rising: (nodes, all parts, n)."""
        share = np.linspace(0.0, 1.0, self.effort.shared) ** SPREAD
        if self.plan.halves == 2:
            share = np.concatenate([NEGATIVE_SHARES, share])
        top = np.repeat(self.brightest(cells), self.parts, axis=0)
        shared = share.astype(np.float32)[:, None, None] * top
        share = np.linspace(0.0, 1.0, self.effort.knees) ** KNEE_SPREAD
        rank = np.unique((share * (len(cells.full) - 1)).round().astype(np.int64))
        ranked = np.sort(cells.full, axis=0)[rank]
        knees = [np.float32(k) * ranked for k in self.effort.knee_nodes]
        return np.sort(np.concatenate([shared, *knees, self._leak_nodes(cells)]), axis=0)

    def _leak_nodes(self, cells: Cells) -> Float32Array:
        """Currents at which the weakest cell's reverse voltage has eaten about half and all of its part's."""
        weakest = cells.full.argmin(axis=0)[None]
        full, leak = (np.take_along_axis(values, weakest, axis=0) for values in (cells.full, cells.leak))
        own = self.model.panel_type.voc_v / self.plan.groups / -self.table.reverse.breakdown_v
        return np.concatenate([full + np.float32(min(share * own, 0.9)) / leak for share in LEAK_NODES])

    def search_nodes(self, cells: Cells) -> Float32Array:
        """String currents (nodes, strings, n)."""
        share = (np.linspace(0.0, 1.0, self.effort.search) ** SPREAD).astype(np.float32)
        return share[:, None, None] * self.brightest(cells) * np.float32(self.plan.halves)

    def group_curve(self, parts: Curve) -> Curve:
        """Each group's curve, (nodes, all groups, n), from its halves', before its diode."""
        if self.plan.halves == 1:
            return parts
        nodes, every, n = parts[0].shape
        return in_parallel(*(values.reshape(nodes, every // 2, 2, n) for values in parts))

    def string_volts(self, current: Float32Array, groups: Curve) -> Float32Array:
        """Voltage of each string at common currents (k, strings, n); returns (k, strings, n)."""
        k, strings, n = current.shape
        each = self.panels * self.plan.groups
        own = np.repeat(current, each, axis=1)
        volts = groups[1] if groups[0] is own else interpolate(own, *groups)
        if self.diodes:
            volts = np.maximum(volts, self.least_v)
        return volts.reshape(k, strings, each, n).sum(axis=2)

    def part_currents(self, current: Float32Array, parts: Curve, groups: Curve) -> Float32Array:
        """Current through each part (k, all parts, n) at string currents (k, strings, n)."""
        own = np.repeat(current, self.panels * self.plan.groups, axis=1)
        if self.plan.halves == 1 and not self.diodes:
            return own
        volts = interpolate(own, *groups)
        if self.diodes:
            volts = np.maximum(volts, self.least_v)
        return current_at(np.repeat(volts, self.plan.halves, axis=1), parts)

    def solve(self, light: Float32Array, cell_c: Float32Array) -> OperatingPoint:
        cells = self.cells(light, cell_c)
        parts = self.tabulate(cells, self.first_nodes(cells))
        groups = self.group_curve(parts)
        search = self.search_nodes(cells)
        strings = search, self.string_volts(search, groups)
        top = search[-1]
        for turn, (maxima, count, reach) in enumerate(self.effort.near):
            near = self._near_maxima(strings, top, maxima, count, reach)
            through = np.repeat(near, self.parts, axis=1)
            if self.plan.halves == 2:
                through = self.part_currents(near, parts, groups)
            parts = merge(parts, self.tabulate(cells, through))
            groups = self.group_curve(parts)
            if self.strings > 1 or self.window != ANY_VOLTAGE or turn + 1 < len(self.effort.near):
                nodes = np.sort(np.concatenate([search, near]), axis=0)
                strings = nodes, self.string_volts(nodes, groups)
        return self._best(near, self.string_volts(near, groups), strings, parts, groups)

    def _on_tracker(self, strings: Curve) -> Curve:
        """The tracker's curve, (nodes, n), from its strings' (nodes, strings, n)."""
        if self.strings == 1:
            return strings[0][:, 0], strings[1][:, 0]
        current, volts = in_parallel(strings[0][:, None], strings[1][:, None])
        return current[:, 0], volts[:, 0]

    def _near_maxima(self, strings: Curve, top: Float32Array, maxima: int, count: int, reach: float) -> Float32Array:
        """String currents around those at the tracker's highest maxima: (maxima × count, strings, n)."""
        current, volts = self._on_tracker(strings)
        power = self._inside(current * volts, volts)
        peak = (power[1:-1] >= power[:-2]) & (power[1:-1] >= power[2:])
        ranked = np.where(peak, power[1:-1], np.float32(-1.0))
        columns = np.arange(power.shape[1])
        steps = np.linspace(-reach, reach, count, dtype=np.float32)[:, None, None]
        near = []
        for _ in range(maxima):
            best = ranked.argmax(axis=0)
            ranked[best, columns] = -1.0
            held = np.repeat(volts[best + 1, columns][None, None], self.strings, axis=1)
            centre = current_at(held, strings)
            # spacing of the search there: d(share^p) = p share^((p - 1) / p) / nodes
            share = np.clip(centre / top, 1e-3, 1.0) ** ((SPREAD - 1.0) / SPREAD)
            near.append(centre + steps * share * top * np.float32(SPREAD / self.effort.search))
        for edge in self.window:
            if 0.0 < edge < np.inf:
                near.append(current_at(np.full_like(strings[1][:1], edge), strings))
        return np.concatenate(near)

    def _inside(self, power: Float32Array, volts: Float32Array) -> Float32Array:
        """Power where the tracker can hold the voltage, -1 elsewhere."""
        low, high = self.window
        return np.where((volts >= np.float32(low)) & (volts <= np.float32(high)), power, np.float32(-1.0))

    def _best(
        self, near: Float32Array, near_volts: Float32Array, strings: Curve, parts: Curve, groups: Curve
    ) -> OperatingPoint:
        """The highest of the nodes of the last pass, (nodes, strings, n), which are exact, and of the window's edges,
        read from the strings' curves."""
        n = near.shape[-1]
        volts = near_volts.reshape(-1, n)
        own = near[:, :1]
        if self.strings > 1:
            own = self._strings_at(volts, strings)
        edges = [np.full((1, n), edge, dtype=np.float32) for edge in self.window if 0.0 < edge < np.inf]
        if edges:
            at_edges = self._strings_at(np.concatenate(edges), strings)
            volts = np.concatenate([volts, *edges])
            own = np.concatenate([own, np.where(at_edges.sum(axis=1, keepdims=True) > 0.0, at_edges, 0.0)])
        power = self._inside(own.sum(axis=1) * volts, volts)
        best = power.argmax(axis=0)
        columns = np.arange(n)
        held, through = volts[best, columns], own[best, :, columns].T[None]
        shape = (self.strings, self.panels, self.plan.groups, self.plan.halves, n)
        return OperatingPoint(
            power=np.maximum(power[best, columns], np.float32(0.0)),
            volts=held,
            current=np.ascontiguousarray(through[0].T),
            part_current=np.moveaxis(self.part_currents(through, parts, groups)[0].reshape(shape), -1, 0),
        )

    def _strings_at(self, volts: Float32Array, strings: Curve) -> Float32Array:
        """Current of each string (k, strings, n) at the tracker's voltages (k, n)."""
        return current_at(np.repeat(volts[:, None], self.strings, axis=1), strings)
