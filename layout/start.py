"""Where the command begins: what it needs takes a second to load, and Ctrl-C must be answered meanwhile too."""

import sys

STOPPED = 130


def main() -> int:
    """Load the program and run a command; returns its exit code."""
    try:
        from layout.cli import main as run
    except KeyboardInterrupt:
        print("stopped; nothing half-written", file=sys.stderr)
        return STOPPED
    return run()
