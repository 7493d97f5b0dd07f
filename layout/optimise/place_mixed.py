"""Two layouts on one plot: two kinds of rows in any order, or rows on one side of a line and towers on the other.

What comes out is a layout of single pieces, which a plan takes as kind "pieces".
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from layout.arrange import arrange
from layout.arrange.arrangement import Arrangement
from layout.arrange.obstacles import obstacle_blockers
from layout.arrange.rows import column_of
from layout.arrange.towers import tower_of
from layout.conditions import Conditions
from layout.optimise.mixed_losses import (
    RowKind,
    column_by_tower,
    half_depth_m,
    mixed_curve,
    read_clipped,
    tower_by_rows,
)
from layout.optimise.pair_losses import RowCurve
from layout.optimise.place_trace import Placed, rounds_of
from layout.optimise.positions_model import choose
from layout.optimise.positions_nets import START, Chosen, Cross, Limit, RowNet, SiteNet
from layout.optimise.positions_rows import RowCandidates, curve_pitches, row_candidates, row_net, undominated
from layout.optimise.positions_towers import SiteCandidates, site_candidates
from layout.piece_tables import PanelPieceTable, PieceTable
from layout.pieces import Ground, Rectangle
from layout.plan import Layout, PiecesLayout, Plan, RowsLayout, TowersLayout, UprightLayout
from layout.sheet_tables import ReflectorPieceTable
from layout.year_figures import Settings
from sites.conventions import LENGTH_TOLERANCE_M, FloatArray, IntArray

SPLITS = 8
"""Lines between rows and towers that are tried, each with the rows before and behind. Our choice."""

FOLD_FRACTION = 0.002
"""Pairs of a row and a tower that take less than this share of a tower's energy are left out of the search."""


@dataclass(frozen=True)
class SharedLimit:
    """A limit on both layouts together. each : what a panel of the first and of the second takes of it"""

    name: str
    unit: str
    each: tuple[float, float]
    most: float

    def on_rows(self, panels: FloatArray, of: IntArray) -> Limit:
        """For rows of two kinds: panels (a,) of the row at the end of each arc, and its kind (a,).

        Panels left away count as those that take least.
        """
        least = min(self.each)
        return Limit(self.name, self.unit, least, (np.array(self.each)[of] - least) * panels, most=self.most)

    def on_rows_and_sites(self, tower_panels: FloatArray) -> Limit:
        """For rows and towers of so many panels (m,)."""
        return Limit(self.name, self.unit, self.each[0], site=self.each[1] * tower_panels, most=self.most)


@dataclass(frozen=True, eq=False)
class Task:
    """What a mixture is made in. gap : the solver may stop there;  aisle_m : free ground between rows or towers"""

    plan: Plan
    year: Conditions
    settings: Settings
    limits: Sequence[SharedLimit]
    gap: float
    time_limit_s: float
    aisle_m: float


def pieces_layout(name: str, parts: Sequence[Arrangement], ground: Ground, obstacles: int) -> PiecesLayout:
    """Arrangements on one plot as single pieces. obstacles : blockers at the end of each that are the plot's own"""
    panels = [p for a in parts for p in a.scene.panels]
    sheets = [r for a in parts for r in a.scene.reflectors]
    blockers = [b for a in parts for b in a.scene.blockers[: len(a.scene.blockers) - obstacles]]

    def edges(piece: Rectangle) -> dict[str, tuple[float, ...]]:
        x, y, z = (float(v) for v in piece.corner)
        corner = (x, y, z - float(ground.z(x, y)))
        return {"corner": corner} | {k: tuple(float(v) for v in getattr(piece, k)) for k in ("along", "up")}

    return PiecesLayout(
        name=name,
        kind="pieces",
        panel=tuple(PanelPieceTable.model_validate(edges(p) | {"bifacial": p.bifacial}) for p in panels),
        blocker=tuple(PieceTable.model_validate(edges(b)) for b in blockers),
        reflector=tuple(
            ReflectorPieceTable.model_validate(
                edges(r) | {"reflectance": r.reflectance, "slope_rms_deg": r.slope_rms, "diffuse": r.diffuse}
            )
            for r in sheets
        ),
    )


def _as_pieces(task: Task, name: str, layouts: Sequence[Layout]) -> PiecesLayout:
    parts = [arrange(task.plan, layout) for layout in layouts]
    ground = parts[0].scene.ground
    assert ground is not None
    return pieces_layout(name, parts, ground, len(obstacle_blockers(task.plan.site.plot)))


def _rows_with(layout: RowsLayout | UprightLayout, at: FloatArray, columns: IntArray) -> RowsLayout | UprightLayout:
    """A layout with its rows at these places, so many columns each."""
    update = {"positions_m": tuple(np.round(at, 4).tolist()), "row_columns": tuple(columns.tolist())}
    return layout.model_copy(update=update)


def mix_rows(
    task: Task,
    name: str,
    first: RowsLayout | UprightLayout,
    second: RowsLayout | UprightLayout,
    net_m: float,
) -> Placed:
    """The best rows of two kinds, in any order from front to back; both face the same way, as many panels high."""
    kinds = [RowKind(x, column_of(task.plan, x)) for x in (first, second)]
    found = [row_candidates(task.plan, x, task.year, task.settings, net_m, 0.0) for x in (first, second)]
    curves = {
        (t, h): mixed_curve(
            task.plan,
            kinds[t],
            kinds[h],
            task.year,
            task.settings,
            curve_pitches(kinds[t].behind_m + kinds[h].before_m, 0.0),
        )
        for t, h in ((0, 1), (1, 0))
    }
    both = BothKinds.of(found)
    at, of = both.positions_m, both.kind

    def solve(scale: float, base: float) -> tuple[Chosen, Layout, float]:
        net = _two_kinds_net(task, kinds, found, both, curves, scale, base)
        limits = [x.on_rows(net.panels[net.head], of[net.head]) for x in task.limits]
        chosen = choose(net, None, limits=limits, gap=task.gap, time_limit_s=task.time_limit_s)
        columns = np.round(chosen.panels / net.step).astype(int)
        parts = []
        for k in (0, 1):
            mine = of[chosen.rows] == k
            if mine.any():
                parts.append(_rows_with((first, second)[k], at[chosen.rows[mine]], columns[mine]))
        alone = (both.factor * np.array([c.curve.free_kwh for c in found])[of])[chosen.rows]
        return chosen, _as_pieces(task, name, parts), float(alone @ columns)

    return rounds_of(task.plan, task.year, task.settings, solve, np.column_stack([of, at]))


@dataclass(frozen=True, eq=False)
class BothKinds:
    """Rows of two kinds, n of them, from front to back. kind : (n,) 0 or 1; the others as of `RowCandidates`"""

    kind: IntArray
    positions_m: FloatArray
    columns: FloatArray
    factor: FloatArray

    @staticmethod
    def of(found: Sequence[RowCandidates]) -> "BothKinds":
        """All rows of both."""
        kind = np.repeat([0, 1], [len(c.positions_m) for c in found])
        every = [np.concatenate([getattr(c, k) for c in found]) for k in ("positions_m", "columns", "factor")]
        order = np.argsort(every[0], kind="stable")
        return BothKinds(kind[order], *(v[order] for v in every))


def _two_kinds_net(
    task: Task,
    kinds: Sequence[RowKind],
    found: Sequence[RowCandidates],
    both: BothKinds,
    curves: Mapping[tuple[int, int], RowCurve],
    scale: float,
    base: float,
) -> RowNet:
    """The network of rows of both kinds."""
    of, at, columns, factor = both.kind, both.positions_m, both.columns, both.factor
    high = found[0].panels_high
    free = np.array([c.curve.free_kwh for c in found])[of]
    behind, before, depth = (np.array([getattr(k, n) for k in kinds]) for n in ("behind_m", "before_m", "depth_m"))
    need = np.maximum(behind[of][:, None] + before[of], depth[of][:, None] + task.aisle_m)
    tail, head = np.nonzero(at - at[:, None] >= need - 1e-9)
    away = at[head] - at[tail]
    front, back = np.zeros(len(away)), np.zeros(len(away))
    for t in (0, 1):
        for h in (0, 1):
            mine = (of[tail] == t) & (of[head] == h)
            curve = found[t].curve if t == h else curves[t, h]
            front[mine], back[mine] = curve.losses(away[mine])
    each = factor[head] * (base * free[head] - scale * front) / high
    kwh = each * columns[head] * high - scale * factor[tail] * back * np.minimum(columns[tail], columns[head])
    if not task.limits:
        keep = undominated(len(at), tail, head, kwh)
        tail, head, kwh, each, away = (v[keep] for v in (tail, head, kwh, each, away))
    alone = base * factor * free
    return RowNet(
        panels=columns * high,
        tail=np.concatenate([np.full(len(at), START), tail]),
        head=np.concatenate([np.arange(len(at)), head]),
        kwh=np.concatenate([alone * columns, kwh]),
        kwh_per_panel=np.concatenate([alone / high, each]),
        clear_m=np.concatenate([np.full(len(at), np.inf), away - depth[of[tail]]]),
        step=high,
    )


def mix_rows_and_towers(
    task: Task,
    name: str,
    rows: RowsLayout | UprightLayout,
    towers: TowersLayout,
    net_m: float,
    sites_m: FloatArray,
) -> Placed:
    """The best rows on one side of a line along them and the best towers on the other."""
    kind = RowKind(rows, column_of(task.plan, rows))
    more = max(0.0, kind.depth_m + task.aisle_m - kind.behind_m - kind.before_m)
    found = row_candidates(task.plan, rows, task.year, task.settings, net_m, more)
    sites = site_candidates(task.plan, towers, task.year, task.settings, sites_m, 0.0, task.aisle_m)
    cross = _cross(task, kind, found, towers, sites)

    def solve(scale: float, base: float) -> tuple[Chosen, Layout, float]:
        net = row_net(found, more, scale, prune=False, base=base)
        each = np.full(len(sites.sites), float(sites.panels))
        towers_net = SiteNet(base * sites.kwh, each, sites.pairs, scale * sites.loss, sites.conflicts)
        scaled = Cross(cross.pairs, scale * cross.loss, cross.rows_allowed, cross.sites_allowed)
        fold = FOLD_FRACTION * float(sites.kwh.max(initial=0.0))
        limits = [x.on_rows_and_sites(each) for x in task.limits]
        chosen = choose(net, towers_net, scaled, limits, task.gap, task.time_limit_s, fold)
        columns = np.round(chosen.panels / found.panels_high).astype(int)
        parts: list[Layout] = []
        if len(chosen.rows):
            parts.append(_rows_with(rows, found.positions_m[chosen.rows], columns))
        if len(chosen.sites):
            parts.append(towers.model_copy(update={"sites": tuple(map(tuple, sites.sites[chosen.sites].tolist()))}))
        free = float(found.curve.free_kwh * (found.factor[chosen.rows] @ columns) + sites.kwh[chosen.sites].sum())
        return chosen, _as_pieces(task, name, parts), free

    return rounds_of(task.plan, task.year, task.settings, solve, sites.sites)


def _cross(task: Task, kind: RowKind, found: RowCandidates, towers: TowersLayout, sites: SiteCandidates) -> Cross:
    """Losses between rows and towers, and the lines that may part them."""
    plan, tower = task.plan, tower_of(task.plan, towers)
    args = (plan, kind, towers, tower, task.year, task.settings, task.aisle_m)
    by_rows, by_tower = tower_by_rows(*args), column_by_tower(*args)
    axis = kind.column.pattern.first / np.linalg.norm(kind.column.pattern.first)
    middle, along = sites.sites @ kind.back, sites.sites @ axis
    half = half_depth_m(tower, kind.back)
    n, m = len(found.positions_m), len(sites.sites)
    row, site = (v.reshape(-1) for v in np.meshgrid(np.arange(n), np.arange(m), indexing="ij"))
    away = found.positions_m[row] - middle[site]
    loss = by_rows.at(-away)
    width = np.array([len(b) for b in found.begins])
    column = np.concatenate([np.zeros(0), *found.begins])
    first = np.concatenate([[0], np.cumsum(width)])
    for j in range(m):  # one tower at a time: all columns of all rows
        at = np.column_stack([column - along[j], np.repeat(found.positions_m, width) - middle[j]])
        taken = read_clipped(by_tower, at)
        loss[site == j] += np.add.reduceat(taken, first[:-1])
    lines = np.quantile(np.concatenate([middle, found.positions_m]), np.linspace(0.1, 0.9, SPLITS))
    rows_before = found.positions_m + kind.behind_m <= lines[:, None] - 0.5 * task.aisle_m + LENGTH_TOLERANCE_M
    rows_behind = found.positions_m - kind.before_m >= lines[:, None] + 0.5 * task.aisle_m - LENGTH_TOLERANCE_M
    towers_before = middle + half <= lines[:, None] - 0.5 * task.aisle_m + LENGTH_TOLERANCE_M
    towers_behind = middle - half >= lines[:, None] + 0.5 * task.aisle_m - LENGTH_TOLERANCE_M
    every = np.array([True]), np.array([False])
    return Cross(
        np.column_stack([row, site]),
        np.maximum(0.0, loss),
        np.concatenate([rows_before, rows_behind, *(np.broadcast_to(v, (1, n)) for v in every)]),
        np.concatenate([towers_behind, towers_before, *(np.broadcast_to(v, (1, m)) for v in every[::-1])]),
    )
