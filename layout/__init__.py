"""What stands there: pieces, arrangements, light, power, the year, reports."""

from layout.pieces import Blocker, Ground, Panel, Scene

__all__ = ["Blocker", "Ground", "Panel", "Scene"]
