"""Positions chosen by the solver against enumeration of every choice of the same model."""

from itertools import combinations

import numpy as np
import pytest

from layout.optimise.positions_model import choose
from layout.optimise.positions_nets import START, Cross, Limit, RowNet, SiteNet
from layout.optimise.positions_start import start_of
from layout.optimise.row_bounds import row_bounds
from layout.optimise.site_counts import count_bound, counts
from layout.optimise.solver import UnmetLimitsError

GAP = 1e-6
SEEDS = range(30)


def row_net(rng: np.random.Generator, n: int) -> RowNet:
    panels = rng.integers(3, 12, n).astype(float)
    at = np.cumsum(rng.uniform(0.4, 1.4, n))
    pairs = [(START, i, 99.0) for i in range(n)]
    pairs += [(j, i, at[i] - at[j]) for i in range(n) for j in range(i) if at[i] - at[j] >= 1.2]
    tail, head = (np.array([p[k] for p in pairs], dtype=np.int64) for k in (0, 1))
    away = np.array([p[2] for p in pairs])
    each = 100.0 * (1.0 - 0.9 / away**1.5) * rng.uniform(0.9, 1.0, n)[head]
    back = np.where(tail >= 0, 6.0 / away * panels[np.maximum(tail, 0)], 0.0)
    return RowNet(panels, tail, head, each * panels[head] - back, each, away - 1.2)


def site_net(rng: np.random.Generator, m: int) -> SiteNet:
    at = rng.uniform(0, 6, (m, 2))
    pairs = np.array(list(combinations(range(m), 2)), dtype=np.int64).reshape(-1, 2)
    away = np.linalg.norm(at[pairs[:, 0]] - at[pairs[:, 1]], axis=1)
    near = away < 1.5
    return SiteNet(rng.uniform(300, 420, m), np.full(m, 8.0), pairs[~near], 350.0 / away[~near] ** 2, pairs[near])


def row_subsets(net: RowNet, limit_panels: float | None, least: int = 0) -> dict[tuple[int, ...], float]:
    """Energy of every path; with a limit, the panels that add least are left away first."""
    n = len(net.panels)
    arc = {(int(t), int(h)): a for a, (t, h) in enumerate(zip(net.tail, net.head, strict=True))}
    found = {(): 0.0}
    for size in range(1, n + 1):
        for some in combinations(range(n), size):
            arcs = [arc.get(pair) for pair in zip((START, *some), some, strict=False)]
            if None in arcs:
                continue
            a = np.array(arcs)
            kwh = float(net.kwh[a].sum())
            over = max(0.0, net.panels[list(some)].sum() - limit_panels) if limit_panels is not None else 0.0
            for k in a[np.argsort(net.kwh_per_panel[a])]:
                gone = min(over, net.panels[net.head[k]] - 1.0)
                kwh, over = kwh - gone * net.kwh_per_panel[k], over - gone
            if over <= 0:
                found[some] = kwh
    return found


def site_subsets(net: SiteNet) -> dict[tuple[int, ...], float]:
    m = len(net.kwh)
    loss, near = np.zeros((m, m)), np.zeros((m, m), dtype=bool)
    loss[tuple(net.pairs.T)] = net.loss
    near[tuple(net.conflicts.T)] = True
    masks = (np.arange(2**m)[:, None] >> np.arange(m)) & 1
    kwh = masks @ net.kwh - ((masks @ loss) * masks).sum(axis=1)
    fits = ((masks @ near) * masks).sum(axis=1) == 0
    return {tuple(np.flatnonzero(mask).tolist()): float(e) for mask, e in zip(masks[fits], kwh[fits], strict=True)}


@pytest.mark.parametrize("seed", SEEDS)
def test_rows_as_by_enumeration(seed: int) -> None:
    rng = np.random.default_rng(seed)
    net = row_net(rng, int(rng.integers(4, 17)) if seed % 2 else int(rng.integers(4, 13)))
    most = None if seed % 2 else float(rng.integers(5, 40))
    limits = [] if most is None else [Limit("panels", "panels", 1.0, most=most)]
    best = choose(net, None, limits=limits)
    assert best.kwh == pytest.approx(max(row_subsets(net, most).values()), rel=GAP)
    assert best.gap_fraction <= GAP
    assert most is None or best.panels.sum() <= most + 1e-9
    known = start_of(net, None, None, limits)
    assert known is not None
    assert 0.97 * best.kwh <= known.kwh <= best.kwh * (1 + GAP)
    # What cannot lie in the best choice goes, and nothing of it.
    bounds = row_bounds(net, limits)
    assert bounds.kwh >= best.kwh * (1 - GAP)
    arcs = {(START if i == 0 else int(best.rows[i - 1]), int(r)) for i, r in enumerate(best.rows)}
    kept = bounds.worth(best.kwh * (1 - GAP))
    assert arcs <= set(zip(net.tail[kept].tolist(), net.head[kept].tolist(), strict=True))


@pytest.mark.parametrize("seed", SEEDS)
def test_sites_as_by_enumeration(seed: int) -> None:
    rng = np.random.default_rng(100 + seed)
    net = site_net(rng, int(rng.integers(5, 16)))
    most = None if seed % 2 else int(rng.integers(1, 5))
    limits = [] if most is None else [Limit("towers", "towers", site=np.ones(len(net.kwh)), most=most)]
    best = choose(None, net, limits=limits)
    every = {k: e for k, e in site_subsets(net).items() if most is None or len(k) <= most}
    assert best.kwh == pytest.approx(max(every.values()), rel=GAP)
    for n in range(1, 1 + max(map(len, every))):
        of_n = [e for k, e in every.items() if len(k) == n]
        assert not of_n or count_bound(net, n) >= max(of_n) * (1 - GAP)
    assert len(best.sites) in counts(net, limits, best.kwh * (1 - GAP))
    assert best.gap_fraction <= GAP


@pytest.mark.parametrize("seed", SEEDS)
def test_both_as_by_enumeration(seed: int) -> None:
    rng = np.random.default_rng(200 + seed)
    n, m = int(rng.integers(3, 9)), int(rng.integers(3, 8))
    rows, sites = row_net(rng, n), site_net(rng, m)
    splits = np.sort(rng.integers(0, n + 1, 3))
    depth = rng.uniform(0, n, m)
    pairs = np.array([(i, j) for i in range(n) for j in range(m)], dtype=np.int64)
    cross = Cross(pairs, rng.uniform(0, 60, len(pairs)), np.arange(n) < splits[:, None], depth > splits[:, None])
    most = None if seed % 2 else float(rng.integers(8, 40))
    limits = [] if most is None else [Limit("panels", "panels", 1.0, site=sites.panels, most=most)]
    best = choose(rows, sites, cross, limits)
    assert most is None or best.panels.sum() + sites.panels[best.sites].sum() <= most + 1e-9
    loss = np.zeros((n, m))
    loss[tuple(pairs.T)] = cross.loss
    top = -np.inf
    for s, f in site_subsets(sites).items():
        left = None if most is None else most - sites.panels[list(s)].sum()
        for r, e in row_subsets(rows, left).items() if left is None or left >= 0 else ():
            if any(
                a[list(r)].all() and b[list(s)].all()
                for a, b in zip(cross.rows_allowed, cross.sites_allowed, strict=True)
            ):
                top = max(top, e + f - loss[np.ix_(r, s)].sum())
    assert best.kwh == pytest.approx(top, rel=GAP)
    assert best.gap_fraction <= GAP


def test_limits_that_cannot_be_met_are_named_with_what_is_missing() -> None:
    net = row_net(np.random.default_rng(1), 8)
    everything = max(row_subsets(net, None), key=lambda k: net.panels[list(k)].sum())
    room = net.panels[list(everything)].sum()
    with pytest.raises(UnmetLimitsError) as error:
        choose(net, None, limits=[Limit("fewest panels", "panels", 1.0, least=room + 7)])
    (unmet,) = error.value.unmet
    assert (unmet.name, unmet.missing) == ("fewest panels", pytest.approx(-7.0))
    assert str(unmet) == f"fewest panels: 7 panels short of the {room + 7:,.6g} panels asked for"


def test_losses_left_out_of_the_search_keep_the_bound() -> None:
    for seed in range(5):
        net = site_net(np.random.default_rng(seed), 12)
        exact, folded = choose(None, net), choose(None, net, fold_kwh=25.0)
        assert folded.kwh <= exact.kwh + 1e-6
        assert folded.bound_kwh >= exact.kwh - 1e-6
