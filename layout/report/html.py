"""Pages from the templates: one file each, nothing loaded from elsewhere."""

from pathlib import Path
from typing import Any

from jinja2 import Environment, FileSystemLoader, StrictUndefined
from markupsafe import Markup

from layout.report.numbers import glued

TEMPLATES = Path(__file__).parent / "templates"


def page_text(template: str, **values: Any) -> str:
    """A template filled in, every value escaped; numbers stay beside their units, units stay whole.

    The page's style is there for the template as ``css``.
    """
    environment = Environment(
        loader=FileSystemLoader(TEMPLATES), autoescape=True, undefined=StrictUndefined, trim_blocks=False
    )
    css = Markup((TEMPLATES / "page.css").read_text(encoding="utf-8"))
    return glued(environment.get_template(template).render(css=css, **values))
