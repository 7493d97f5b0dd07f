"""Valid plans with keys taken away, renamed, replaced or retyped: InputError or a plan, nothing else."""

import copy
import datetime
import math
import tomllib
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from layout.arrange import arrange
from layout.plan import Plan, parse_plan, read_plan
from sites.errors import InputError

ROOT = Path(__file__).parents[2]
PLANS = sorted([*(ROOT / "examples").glob("*.toml"), *(ROOT / "layout" / "library").glob("*.toml")])

SMALL_M2 = 6000.0
"""Plots up to this size are also built on."""


def toml_of(value: Any) -> str:
    """A value as inline TOML."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        escaped = "".join(c if c.isprintable() and c not in '"\\' else f"\\U{ord(c):08x}" for c in value)
        return f'"{escaped}"'
    if isinstance(value, dict):
        return "{" + ", ".join(f"{toml_of(k)} = {toml_of(v)}" for k, v in value.items()) + "}"
    if isinstance(value, list):
        return "[" + ", ".join(map(toml_of, value)) + "]"
    if isinstance(value, datetime.date):
        return value.isoformat()
    if isinstance(value, float) and not math.isfinite(value):
        return "nan" if math.isnan(value) else "inf" if value > 0 else "-inf"
    return repr(value)


def document(plan: dict[str, Any]) -> str:
    return "".join(f"{toml_of(key)} = {toml_of(value)}\n" for key, value in plan.items())


text = st.text(st.characters(exclude_categories=["Cs"]), max_size=12)
scalars = st.one_of(
    st.booleans(),
    st.integers(-(10**30), 10**30),
    st.floats(),
    st.sampled_from([0, -1, 1, 1e-300, 1e300, 5e-324, 90, 180, 360, 10**400]),
    text,
    st.sampled_from(
        ["rows", "pieces", "towers", "upright", "portrait", "aisle", "posts", "mirror", "tannerfold", "../x", "\0"]
    ),
    st.dates(),
)
values = st.recursive(
    scalars,
    lambda inner: st.one_of(st.lists(inner, max_size=4), st.dictionaries(text, inner, max_size=3)),
    max_leaves=6,
)


def places(node: Any, path: tuple[Any, ...] = ()) -> list[tuple[Any, ...]]:
    """Paths to everything inside a document."""
    inside = node.items() if isinstance(node, dict) else enumerate(node) if isinstance(node, list) else ()
    return [found for key, value in inside for found in ((*path, key), *places(value, (*path, key)))]


def mutate(plan: dict[str, Any], data: st.DataObject) -> None:
    """One change somewhere in the document."""
    path = data.draw(st.sampled_from(places(plan)), label="where")
    parent: Any = plan
    for key in path[:-1]:
        parent = parent[key]
    key = path[-1]
    what = data.draw(st.sampled_from(["delete", "replace", "scale", "rename", "double", "borrow"]), label="what")
    if what == "delete":
        del parent[key]
    elif what == "replace":
        parent[key] = data.draw(values, label="value")
    elif what == "scale" and isinstance(parent[key], int | float) and not isinstance(parent[key], bool):
        parent[key] = parent[key] * data.draw(st.sampled_from([-1, 0, 0.01, 0.3, 1.5, 10, 1e6]), label="by")
    elif what == "rename" and isinstance(parent, dict):
        parent[data.draw(text.filter(bool), label="name")] = parent.pop(key)
    elif what == "double" and isinstance(parent, list):
        parent.append(copy.deepcopy(parent[key]))
    elif what == "borrow":
        other: Any = plan
        for step in data.draw(st.sampled_from(places(plan)), label="from"):
            other = other[step]
        parent[key] = copy.deepcopy(other)


def try_plan(source: str, folder: Path) -> None:
    """Read and build; InputError is the only way to fail."""
    try:
        plan = parse_plan(source, "mutated.toml", folder)
    except InputError as error:
        lines = str(error).splitlines()
    else:
        build(plan)
        return
    assert lines
    assert all(line.startswith(("mutated.toml: ", "wood_edge")) for line in lines)


def build(plan: Plan) -> None:
    """Build every layout of a plan on a small plot."""
    assert len(plan.layouts) >= 1
    if plan.site.plot is not None and plan.site.plot.area_m2 > SMALL_M2:
        return
    for layout in plan.layouts:
        try:
            arrangement = arrange(plan, layout)
        except InputError as error:
            wrong = str(error)
        else:
            wrong = ""
            assert len(arrangement.area_scale) == len(arrangement.scene.panels) >= 1
        assert not wrong or "no room for a single" in wrong or "covers that" in wrong


@pytest.mark.parametrize("path", PLANS, ids=lambda path: path.stem)
def test_bundled_plans_are_good(path: Path) -> None:
    plan = read_plan(path)
    assert plan.warnings == ()
    again = parse_plan(document(tomllib.loads(path.read_text(encoding="utf-8"))), str(path), path.parent)
    assert again.layouts == plan.layouts


@settings(max_examples=250, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(data=st.data())
def test_mutated_plan(data: st.DataObject) -> None:
    path = data.draw(st.sampled_from(PLANS))
    plan = tomllib.loads(path.read_text(encoding="utf-8"))
    for _ in range(data.draw(st.integers(1, 3))):
        if plan:
            mutate(plan, data)
    try_plan(document(plan), path.parent)


@settings(max_examples=120, deadline=None)
@given(data=st.data())
def test_torn_text(data: st.DataObject) -> None:
    path = data.draw(st.sampled_from(PLANS))
    source = path.read_text(encoding="utf-8")
    start = data.draw(st.integers(0, len(source)))
    end = data.draw(st.integers(start, min(len(source), start + 60)))
    try_plan(source[:start] + data.draw(text) + source[end:], path.parent)
