"""How far the year's electrical method and the full solution are apart, as a result tells it."""

from dataclasses import asdict, dataclass
from typing import Any


@dataclass(frozen=True)
class HoursGap:
    """hours : how many; energy_fraction : energy by the fast method over that of the full solution, minus 1;
    furthest_fraction : the same of the hour that is furthest off. NaN where nothing is produced."""

    hours: int
    energy_fraction: float
    furthest_fraction: float


@dataclass(frozen=True)
class StringsGap:
    """The same of trackers: trackers, panels : looked at, every cell; in_part : trackers of which some strings only."""

    trackers: int
    panels: int
    in_part: int
    worst: HoursGap
    median: HoursGap


@dataclass(frozen=True)
class MethodGap:
    """method : the year's, in words; panels : looked at, every cell; worst, median : the hours in which
    uneven light costs most, and those about the median of the power; strings : the same of panels in series on their
    trackers, None where there are none."""

    method: str
    panels: int
    worst: HoursGap
    median: HoursGap
    strings: StringsGap | None = None

    def to_dict(self) -> dict[str, Any]:
        """Plain numbers."""
        return asdict(self)
