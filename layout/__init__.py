"""What stands there: pieces, arrangements, light, power, the year, reports."""

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from layout.light.light_map import LightMap, light_map
    from layout.pieces import Blocker, Diffuser, Ground, Panel, Reflector, Scene
    from layout.plan import read_plan
    from layout.run import run_plan

__all__ = [
    "Blocker",
    "Diffuser",
    "Ground",
    "LightMap",
    "Panel",
    "Reflector",
    "Scene",
    "light_map",
    "read_plan",
    "run_plan",
]

_HOMES = {
    "LightMap": "layout.light.light_map",
    "light_map": "layout.light.light_map",
    "read_plan": "layout.plan",
    "run_plan": "layout.run",
}


def __getattr__(name: str) -> Any:
    """The public names, each loaded when it is first asked for: the command must answer Ctrl-C before that."""
    if name not in __all__:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(import_module(_HOMES.get(name, "layout.pieces")), name)


def __dir__() -> list[str]:
    return sorted({*globals(), *__all__})
