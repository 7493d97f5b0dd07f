"""How figures look: type, colours and hatches of layouts, the colours of light; output as SVG or PNG."""

import base64
import io
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from functools import wraps
from typing import Any, ParamSpec, TypeVar, cast

from matplotlib import rc_context
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure

P = ParamSpec("P")
T = TypeVar("T")

LIGHT_MAP = "cividis"
"""Colour map of all light: its lightness rises evenly, for every kind of colour vision."""

OKABE_ITO = ("#E69F00", "#56B4E9", "#009E73", "#F0E442", "#0072B2", "#D55E00", "#CC79A7", "#000000")
"""Okabe & Ito, Color Universal Design (2008), in their order, black last: hatches vanish in it."""

HATCHES = ("", "///", "...", "xxx", "\\\\\\", "++", "oo", "--")
"""Second cue beside colour, for print without colour."""

INK = "#23282d"
SOFT = "#6b747c"
HAIR = "#c9ced3"
LAND = "#f1eee6"
OBSTACLE = "#8d8577"

STYLE: dict[str, Any] = {
    "font.family": "DejaVu Sans",
    "font.size": 9.0,
    "axes.titlesize": 10.0,
    "axes.titleweight": "bold",
    "axes.titlelocation": "left",
    "axes.edgecolor": SOFT,
    "axes.labelcolor": INK,
    "axes.linewidth": 0.7,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "text.color": INK,
    "xtick.color": SOFT,
    "ytick.color": SOFT,
    "xtick.labelcolor": INK,
    "ytick.labelcolor": INK,
    "hatch.linewidth": 0.6,
    "legend.frameon": False,
    "legend.fontsize": 8.5,
    "figure.facecolor": "white",
    "savefig.facecolor": "white",
    "svg.fonttype": "path",  # the page looks the same on a machine without this typeface
    "svg.hashsalt": "brightacre",  # the same result gives the same file, byte by byte
}


def house_style(draw: Callable[P, T]) -> Callable[P, T]:
    """Decorator: the looks above, for as long as the function runs."""

    @wraps(draw)
    def drawn(*args: P.args, **kwargs: P.kwargs) -> T:
        with rc_context(cast(Any, STYLE)):
            return draw(*args, **kwargs)

    return drawn


@dataclass(frozen=True)
class LayoutStyle:
    """Colour and hatch that stand for one layout in every figure."""

    colour: str
    hatch: str


def layout_styles(names: Iterable[str]) -> dict[str, LayoutStyle]:
    """Colours and hatches in order; a ninth layout takes the first colour with the second hatch."""
    n = len(OKABE_ITO)
    return {name: LayoutStyle(OKABE_ITO[i % n], HATCHES[(i + i // n) % len(HATCHES)]) for i, name in enumerate(names)}


def new_figure(width_in: float, height_in: float) -> Figure:
    """An empty figure drawn without a display."""
    figure = Figure(figsize=(width_in, height_in))
    FigureCanvasAgg(figure)
    return figure


def hide_frame(axes: Axes) -> None:
    """No ticks, no spines: for maps."""
    axes.set_xticks([])
    axes.set_yticks([])
    for spine in axes.spines.values():
        spine.set_visible(False)


@house_style
def svg(figure: Figure) -> bytes:
    """The figure as SVG, without a date."""
    buffer = io.BytesIO()
    figure.savefig(buffer, format="svg", metadata={"Date": None, "Creator": None}, dpi=200)
    return buffer.getvalue()


def embedded(figure: Figure) -> str:
    """The figure as an address that holds the picture itself; pictures keep their names apart that way."""
    return "data:image/svg+xml;base64," + base64.b64encode(svg(figure)).decode("ascii")


@house_style
def png(figure: Figure, dpi: float = 160.0) -> bytes:
    """The figure as PNG."""
    buffer = io.BytesIO()
    figure.savefig(buffer, format="png", dpi=dpi, metadata={"Software": None})
    return buffer.getvalue()
