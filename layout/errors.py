"""Errors of this package; the family's base lives in sites.errors."""

from sites.errors import BrightacreError


class SceneError(BrightacreError, ValueError):
    """A piece or scene that cannot exist: zero area, edges not at right angles, numbers out of range."""


class PhysicsError(BrightacreError):
    """A result beyond a physical bound: a defect of the program, never clamped away."""


class ProcessEndedError(BrightacreError):
    """A process that this program began ended before its work was done, for want of memory perhaps."""
