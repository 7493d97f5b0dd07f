"""The error family. Every fault of an input is one line: file, key, what was found, what is accepted."""

from collections.abc import Iterable
from dataclasses import dataclass


class BrightacreError(Exception):
    """Base of all errors that are meant for the user."""


@dataclass(frozen=True)
class Fault:
    """One thing wrong with an input.

    file : name of the file as the user gave it
    key : dotted path inside it, e.g. ``layout[0].pitch_m``, or ``line 14``
    found : what stands there
    accepted : what would be accepted
    """

    file: str
    key: str
    found: str
    accepted: str

    def line(self) -> str:
        """The fault as one line.

        >>> Fault("a.toml", "site.latitude_deg", "95", "-90 to 90").line()
        'a.toml: site.latitude_deg: found 95; accepted: -90 to 90'
        """
        text = f"{self.file}: {self.key}: found {self.found}; accepted: {self.accepted}"
        return " ".join(text.split())


class InputError(BrightacreError):
    """An input file that cannot be used, with all its faults at once."""

    def __init__(self, faults: Iterable[Fault]) -> None:
        self.faults = tuple(faults)
        super().__init__("\n".join(fault.line() for fault in self.faults))

    def __reduce__(self) -> tuple[type["InputError"], tuple[tuple[Fault, ...]]]:
        """Faults survive the way from one process to another."""
        return type(self), (self.faults,)
