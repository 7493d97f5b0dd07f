"""The choice of parts against trying every set, each rule of the model active in at least one case."""

from dataclasses import replace
from itertools import chain, combinations

import numpy as np
import pytest

from layout.retrofit.model import Limits, Problem, Row, Seen, solve

PANELS = 5


def problem(seed: int, count: int) -> Problem:
    """A made-up roof: gains of some kWh, a third of the entries losses, places of two or three candidates."""
    rng = np.random.default_rng(seed)
    gain = rng.normal(2.0, 3.0, (count, PANELS)) * (rng.random((count, PANELS)) < 0.6)
    place = np.sort(rng.integers(0, max(1, count // 2), count))
    pairs = {
        (i, j): rng.normal(-0.3, 0.8, PANELS)
        for i, j in combinations(range(count), 2)
        if place[i] != place[j] and rng.random() < 0.3
    }
    free = [(i, j) for i, j in combinations(range(count), 2) if place[i] != place[j] and rng.random() < 0.25]
    area = rng.uniform(0.2, 1.5, count)
    return Problem(
        gain=gain,
        pairs=pairs,
        worth=0.96,
        price=rng.uniform(0.2, 1.0, count),
        place=place,
        kind=rng.integers(0, 5, count),
        plane=rng.integers(0, 2, count),
        area_m2=area,
        kg=6.0 * area,
        money=30.0 * area + 5.0,
        plane_m2=np.array([6.0, 8.0]),
        conflicts=np.array(free, dtype=np.int64).reshape(-1, 2),
        limits=Limits(kinds=5),
        slack_kwh=np.full(PANELS, 0.05),
    )


def value(p: Problem, chosen: tuple[int, ...]) -> float:
    """The objective of a set, from the definition: the most energy that every rule allows it."""
    index = np.array(chosen, dtype=np.int64)
    energy = float(p.panel_gain(index).sum())
    for seen in p.seen:
        inside = set(seen.chosen.tolist())
        promise = np.maximum(0.0, p.gain).sum(axis=1)
        for (i, j), extra in p.pairs.items():
            promise[[i, j]] += np.maximum(0.0, extra).sum()
        back = max(0.0, seen.promised_kwh - seen.energy_kwh) - np.minimum(0.0, p.gain[seen.chosen]).sum()
        more = sum(promise[i] for i in chosen if i not in inside) + back * len(inside - set(chosen))
        energy = min(energy, seen.energy_kwh + more)
    return p.worth * energy - float(p.price[index].sum())


def broken(p: Problem, chosen: tuple[int, ...]) -> set[str]:
    """Names of the rules that a set breaks."""
    index, found = np.array(chosen, dtype=np.int64), set()
    total = p.panel_gain(index)
    checks = {
        "panel": bool((total < -p.slack_kwh - 1e-9).any()),
        "place": len(set(p.place[index])) < len(index),
        "conflict": any(i in chosen and j in chosen for i, j in p.conflicts),
        "kinds": len(set(p.kind[index])) > p.limits.kinds,
        "weight": p.limits.kg_per_m2 is not None
        and any(p.kg[index][p.plane[index] == k].sum() > p.limits.kg_per_m2 * p.plane_m2[k] + 1e-9 for k in (0, 1)),
        "sail": p.limits.sail_m2 is not None and p.area_m2[index].sum() > p.limits.sail_m2 + 1e-9,
        "money": p.limits.money is not None and p.money[index].sum() > p.limits.money + 1e-9,
        "row": any(
            sum(w for i, w in zip(r.candidates, r.weights, strict=True) if i in chosen) > r.most + 1e-9 for r in p.rows
        ),
    }
    found = {name for name, is_broken in checks.items() if is_broken}
    return found


def every_set(count: int) -> list[tuple[int, ...]]:
    return list(chain.from_iterable(combinations(range(count), k) for k in range(count + 1)))


def best(p: Problem, without: str | None = None) -> float:
    """Largest objective of all sets that hold, one rule left out."""
    sets = every_set(len(p.price))
    return max(value(p, s) for s in sets if not broken(p, s) - ({without} if without else set()))


def rules(seed: int, count: int) -> dict[str, Problem]:
    """The made-up roof with one rule each that costs something."""
    p = problem(seed, count)
    free = solve(p)
    p_money = replace(p, limits=replace(p.limits, money=0.6 * float(p.money[free.chosen].sum())))
    cell = Row(free.chosen, np.full(len(free.chosen), 40.0), 40.0 * len(free.chosen) - 10.0, "light")
    seen = Seen(free.chosen, 0.5 * free.energy_kwh, free.energy_kwh)
    return {
        "kinds": replace(p, limits=replace(p.limits, kinds=1)),
        "weight": replace(p, limits=replace(p.limits, kg_per_m2=0.5)),
        "sail": replace(p, limits=replace(p.limits, sail_m2=0.5 * float(p.area_m2[free.chosen].sum()))),
        "money": p_money,
        "row": replace(p, rows=(cell,)),
        "seen": replace(p, seen=(seen,)),
        "panel": p,
        "place": p,
        "conflict": p,
    }


@pytest.mark.parametrize("seed", range(6))
def test_as_good_as_trying_every_set(seed: int) -> None:
    count = 6 + seed  # up to 11; all 16 in one case below
    for name, p in rules(seed, count).items():
        choice = solve(p)
        assert not broken(p, tuple(choice.chosen)), name
        assert choice.value == pytest.approx(value(p, tuple(choice.chosen)), abs=1e-6), name
        assert choice.value == pytest.approx(best(p), abs=1e-6), name


def test_sixteen_candidates_with_all_rules_at_once() -> None:
    p = problem(3, 16)
    free = solve(p)
    limits = Limits(kinds=3, kg_per_m2=1.5, sail_m2=0.8 * float(p.area_m2[free.chosen].sum()), money=150.0)
    p = replace(p, limits=limits)
    choice = solve(p)
    assert len(choice.chosen)
    assert not broken(p, tuple(choice.chosen))
    assert choice.value == pytest.approx(best(p), abs=1e-6)


@pytest.mark.parametrize("rule", ["kinds", "weight", "sail", "money", "row", "panel", "place", "conflict"])
def test_every_rule_costs_something_somewhere(rule: str) -> None:
    """Left out, a better set would be found in at least one of the cases above."""
    cases = (rules(seed, 6 + seed)[rule] for seed in range(6))
    assert any(best(p, without=rule) > best(p) + 1e-6 for p in cases)


def test_a_seen_set_costs_something() -> None:
    assert any(best(r["panel"]) > best(r["seen"]) + 1e-6 for r in (rules(seed, 6 + seed) for seed in range(4)))


def test_nothing_where_nothing_pays() -> None:
    p = problem(1, 8)
    p = replace(p, gain=-np.abs(p.gain), pairs={})
    assert len(solve(p).chosen) == 0
    empty = replace(p, gain=np.zeros((0, PANELS)), price=np.zeros(0))
    assert len(solve(empty).chosen) == 0
