"""The tables of a plan file that tell of reflectors and diffusers: their types, and pieces of them."""

from typing import Annotated

from pydantic import Field

from layout.piece_tables import PieceTable
from layout.pieces import WIDEST_DEG
from sites.tables import Table, key_of, number, text

TYPE_PATTERN = r"^[\w][\w .+-]{0,39}$"
TYPE_ACCEPTS = "up to 40 letters, digits, spaces and . _ + -"

Spread = Annotated[float, Field(strict=True, ge=0.0, le=WIDEST_DEG, allow_inf_nan=False)]
SPREAD_ACCEPTS = f"two numbers from 0 to {WIDEST_DEG:g}"


class NamedType(Table):
    """A type that the plan defines"""

    name: str = key_of("its name for the layouts", TYPE_ACCEPTS, strict=True, pattern=TYPE_PATTERN)


class ReflectorValues(Table):
    """What a reflector does to light, with the new sheet's reflectance"""

    reflectance: float | None = number(
        "of the facets, new and clean, all sunlight; this or total_reflectance", None, ge=0, le=1
    )
    total_reflectance: float | None = number(
        "of the whole new sheet at normal incidence; the facets' is worked out from it", None, ge=0, le=1
    )
    slope_rms_deg: tuple[Spread, Spread] = key_of(
        "rms slope of the facets along the sheet, across it; [0, 0]: a plane mirror", SPREAD_ACCEPTS, (0.0, 0.0)
    )
    diffuse: float = number("share of the reflectance that leaves in all directions (Lambertian)", 0.0, ge=0, le=1)
    ageing_factor: float = number("reflectance of the aged over that of the new sheet", 1.0, ge=0, le=1)
    soiling_factor: float = number("reflectance of the soiled over that of the clean sheet", 1.0, ge=0, le=1)


class DiffuserValues(Table):
    """What a see-through sheet does to light"""

    transmittance: float | None = number("at normal incidence, all sunlight by power; needed", None, ge=0, le=1)
    heat_transmittance: float | None = number(
        "of the sunlight that cells cannot use (beyond 1107 nm); absent: as transmittance", None, ge=0, le=1
    )
    spread_rms_deg: tuple[Spread, Spread] = key_of(
        "rms turn of the light along the sheet, across it", SPREAD_ACCEPTS, (0.0, 0.0)
    )
    diffuse: float = number("share of the light that leaves in all directions on the far side", 0.0, ge=0, le=1)


class ReflectorTable(ReflectorValues, NamedType):
    """[[reflector]]: a type of reflector"""

    note: str = text("a remark", " ")


class DiffuserTable(DiffuserValues, NamedType):
    """[[diffuser]]: a type of see-through sheet"""

    note: str = text("a remark", " ")


class ReflectorPieceTable(ReflectorValues, PieceTable):
    """[[layout.reflector]]: a reflecting rectangle; its mirror side is along × up, its rear black"""

    type: str | None = text("a reflector type instead of the values", None, "the name of a reflector type")


class DiffuserPieceTable(DiffuserValues, PieceTable):
    """[[layout.diffuser]]: a see-through rectangle"""

    type: str | None = text("a diffuser type instead of the values", None, "the name of a diffuser type")


class CoverTable(Table):
    """[layout.cover]: a see-through sheet over each panel's front"""

    diffuser: str = text("its type", accepts="the name of a diffuser type")
    gap_m: float = number("from the panel's front to the sheet", ge=0.002, le=1)
