"""The tables of a plan file that give rectangles one by one."""

from sites.tables import Table, Vector, flag, key_of


def _corner(meaning: str) -> Vector:
    vector: Vector = key_of(meaning, "[x, y, z] in metres")
    return vector


class PieceTable(Table):
    """[[layout.blocker]]: an opaque rectangle"""

    corner: Vector = _corner("z above the ground vertically below")
    along: Vector = _corner("one edge")
    up: Vector = _corner("the other edge, at right angles")


class PanelPieceTable(PieceTable):
    """[[layout.panel]]: a rectangle of cells; it faces along × up"""

    bifacial: bool = flag("the rear produces too", False)
