"""Where the command begins: what it needs takes a second to load, and Ctrl-C must be answered meanwhile too."""

import os
import signal
import sys
from types import FrameType

STOPPED = 130
WORDS = "stopped; nothing half-written"


def main() -> int:
    """Load the program and run a command; returns its exit code."""
    # A compiled module that is stopped while it loads tells of an ImportError instead: no exception must reach it.
    before = signal.signal(signal.SIGINT, _leave)
    from layout.cli import main as run

    try:
        signal.signal(signal.SIGINT, before)
        return run()
    except KeyboardInterrupt:
        print(WORDS, file=sys.stderr)
        return STOPPED


def _leave(number: int, frame: FrameType | None) -> None:
    """End at once: there is nothing yet to clear away."""
    os.write(sys.stderr.fileno(), f"{WORDS}\n".encode())
    os._exit(STOPPED)
