"""Layouts of a plan built on its plot."""

from layout.arrange.arrangement import Arrangement
from layout.arrange.pieces_kind import arrange_pieces
from layout.arrange.roof import arrange_roof
from layout.arrange.rows import arrange_rows
from layout.arrange.towers import arrange_towers
from layout.arrange.upright import arrange_upright
from layout.plan import Layout, PiecesLayout, Plan, RoofLayout, RowsLayout, TowersLayout, UprightLayout
from sites.errors import Fault, InputError

__all__ = ["Arrangement", "arrange"]


def arrange(plan: Plan, layout: Layout) -> Arrangement:
    """Build a layout of a plan on its plot.

    Raises InputError where not one panel fits.
    """
    arrangement = _by_kind(plan, layout)
    if not arrangement.scene.panels:
        key = f"layout[{[other.name for other in plan.layouts].index(layout.name)}]"
        found = "no room for a single panel; " + "; ".join(arrangement.fit[1:])
        raise InputError([Fault(plan.file, key, found, "a layout of which some part fits on the plot")])
    return arrangement


def _by_kind(plan: Plan, layout: Layout) -> Arrangement:
    if isinstance(layout, RowsLayout):
        return arrange_rows(plan, layout)
    if isinstance(layout, UprightLayout):
        return arrange_upright(plan, layout)
    if isinstance(layout, TowersLayout):
        return arrange_towers(plan, layout)
    if isinstance(layout, RoofLayout):
        return arrange_roof(plan, layout)
    assert isinstance(layout, PiecesLayout)
    return arrange_pieces(plan, layout)
