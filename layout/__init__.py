"""What stands there: pieces, arrangements, light, power, the year, reports."""

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
