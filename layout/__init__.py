"""What stands there: pieces, arrangements, light, power, the year, reports."""

from layout.light import light_map
from layout.pieces import Blocker, Ground, Panel, Scene
from layout.plan import read_plan
from layout.run import run_plan

__all__ = ["Blocker", "Ground", "Panel", "Scene", "light_map", "read_plan", "run_plan"]
