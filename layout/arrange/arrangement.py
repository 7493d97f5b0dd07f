"""What an arranger hands on: the scene of one layout and how it came about."""

from dataclasses import dataclass, field, replace
from typing import Any

from layout.diffuser_types import DiffuserType
from layout.panel_type import PanelType
from layout.pieces import Scene
from sites.conventions import FloatArray, IntArray


@dataclass(frozen=True)
class Cover:
    """The see-through sheet over each panel's front, parallel to it."""

    kind: DiffuserType
    gap_m: float


@dataclass(frozen=True, eq=False)
class Arrangement:
    """One layout, built.

    name, kind : as in the plan
    scene : panels, blockers (obstacles on the plot as boxes included), ground
    panel_type : the type of all panels
    area_scale : (n_panels,) float [-] power of each panel over the type's (its area over the type's; 1 for whole
        panels)
    orientation : (n_panels,) int: 0 where the type's length lies along ``up`` (portrait), 1 where along ``along``
    string : (n_panels,) int, panels with the same number sit in one row or tower face, for wiring
    fit : lines: how many fit and why others did not
    repeat : two (2,) plan vectors by which the same pattern may go on beyond the boundary (endless figure), or
        None where the layout has no pattern ("pieces" alone on no plot)
    cover : the cover over each panel, None where there is none; its sheets are the last of the scene's diffusers
    """

    name: str
    kind: str
    scene: Scene
    panel_type: PanelType
    area_scale: FloatArray
    orientation: IntArray
    string: IntArray
    fit: tuple[str, ...]
    options: dict[str, Any] = field(default_factory=dict)
    repeat: tuple[FloatArray, FloatArray] | None = None
    cover: Cover | None = None

    @property
    def reflector_area_m2(self) -> float:
        """Area of all reflectors, mirror side only, m²."""
        return sum(sheet.area_m2 for sheet in self.scene.reflectors)

    @property
    def cover_area_m2(self) -> float:
        """Area of all covers and other see-through sheets, one side, m²."""
        return sum(sheet.area_m2 for sheet in self.scene.diffusers)

    def without_reflectors(self) -> "Arrangement":
        """The same layout with its reflectors and diffusers taken away."""
        return self.without_sheets().without_mirrors()

    def without_mirrors(self) -> "Arrangement":
        """The same layout with its reflectors taken away; covers and other see-through sheets stay."""
        return replace(self, scene=replace(self.scene, reflectors=()))

    def without_sheets(self) -> "Arrangement":
        """The same layout with its covers and other see-through sheets taken away; reflectors stay."""
        return replace(self, scene=replace(self.scene, diffusers=()), cover=None)
