"""Plans that come with the program: the demo that ``compare`` runs, and the starter that ``new`` writes."""

from importlib import resources
from pathlib import Path

LIBRARY = Path(str(resources.files("layout"))) / "library"

DEMO_PLAN = LIBRARY / "demo.toml"
OPTIMISE_DEMO = LIBRARY / "optimise_demo.toml"


def starter_plan() -> str:
    """The text of a plan to begin with, every line of it said."""
    return (LIBRARY / "starter.toml").read_text(encoding="utf-8")
