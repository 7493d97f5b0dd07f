"""Types of see-through sheets by name from the bundled invented ones, and from a plan's values."""

from dataclasses import dataclass
from importlib import resources
from pathlib import Path

from layout.optics.sunlight_split import BAND_EDGE_NM, USABLE_SHARE, heat_transmittance_range, usable_transmittance
from layout.pieces import Diffuser
from layout.sheet_tables import DiffuserTable, DiffuserValues
from sites.conventions import FloatArray
from sites.errors import Fault, InputError
from sites.tables import MISSING, check_table, nearest, parse_toml, read_text, shown

LIBRARY = Path(str(resources.files("layout"))) / "library" / "diffusers"

CLEAREST = 0.97
"""Transmittance beyond which a value is doubted: coated glass reaches about 0.96. Common practice, no source."""

ROUNDING = 5e-4
"""A heat transmittance this far out of its range is taken for a rounded value."""


@dataclass(frozen=True)
class DiffuserType:
    """One type of see-through sheet.

    transmittance : at normal incidence, of all sunlight by power [-]
    heat_transmittance : of the sunlight that cells cannot use [-]
    spread_rms_deg : rms turn of the light along the sheet's ``along`` and ``up`` edges; (0, 0) only weakens
    diffuse : share of the light that leaves Lambertian on the far side [-]
    """

    name: str
    transmittance: float
    heat_transmittance: float
    spread_rms_deg: tuple[float, float] = (0.0, 0.0)
    diffuse: float = 0.0
    note: str = ""

    @property
    def usable_transmittance(self) -> float:
        """Transmittance of the sunlight that cells can use [-]."""
        return usable_transmittance(self.transmittance, self.heat_transmittance)

    @property
    def values(self) -> str:
        """The type's values in words."""
        along, across = self.spread_rms_deg
        return (
            f"passes {self.transmittance:.3g} of the sunlight, {self.heat_transmittance:.3g} of that beyond "
            f"{BAND_EDGE_NM:g} nm and so {self.usable_transmittance:.3g} of what cells can use; turns it by {along:g}° "
            f"along, {across:g}° across; Lambertian share {self.diffuse:g}"
        )

    @property
    def line(self) -> str:
        """The type's name, values and note in one line."""
        return f"{self.name}: {self.values}{'; ' + self.note if self.note else ''}"

    def piece(self, corner: FloatArray, along: FloatArray, up: FloatArray) -> Diffuser:
        """A sheet of this type; (3,) float [m] each."""
        return Diffuser(
            corner, along, up, self.transmittance, self.heat_transmittance, self.spread_rms_deg, self.diffuse
        )


def list_diffuser_types() -> tuple[str, ...]:
    """Names of the bundled invented diffuser types."""
    return tuple(sorted(path.stem for path in LIBRARY.glob("*.toml")))


def load_diffuser_type(name: str, file: str = "diffuser", key: str = "name") -> DiffuserType:
    """A bundled diffuser type. ``file`` and ``key`` say who asked. Raises InputError for an unknown name."""
    if name not in list_diffuser_types():
        accepted = nearest(name, list_diffuser_types())
        raise InputError([Fault(file, key, f"no bundled diffuser type {shown(name)}", accepted)])
    path = LIBRARY / f"{name}.toml"
    faults: list[Fault] = []
    data = parse_toml(read_text(path, path.name, path.name), path.name)
    table = check_table(DiffuserTable, data, path.name, "", faults)
    kind = diffuser_from_values(name, table, table.note, path.name, "", faults) if table else None
    if kind is None:
        raise InputError(faults)
    return kind


def diffuser_from_values(
    name: str, table: DiffuserValues, note: str, file: str, key: str, faults: list[Fault]
) -> DiffuserType | None:
    """A diffuser type from its values, or None with every fault added to ``faults``."""
    prefix = f"{key}." if key else ""
    if table.transmittance is None:
        faults.append(Fault(file, f"{prefix}transmittance", MISSING, "a number from 0 to 1"))
        return None
    passed = table.transmittance
    heat = passed if table.heat_transmittance is None else table.heat_transmittance
    least, most = heat_transmittance_range(passed)
    usable = 100 * USABLE_SHARE
    if not least - ROUNDING <= heat <= most + ROUNDING:
        if heat < least:
            accepted = (
                f"from {least:.3f}: {usable:g} % of the sun's power lies below {BAND_EDGE_NM:g} nm (ASTM G173-03), so "
                f"a sheet that passes {passed:g} of all must pass that much of the rest"
            )
        else:
            accepted = (
                f"up to {most:.3f}: {100 - usable:g} % of the sun's power lies beyond {BAND_EDGE_NM:g} nm (ASTM "
                f"G173-03), and the sheet passes {passed:g} of all"
            )
        faults.append(Fault(file, f"{prefix}heat_transmittance", f"{heat:g}", accepted))
        return None
    return DiffuserType(
        name, passed, float(min(max(heat, least), most)), table.spread_rms_deg, table.diffuse, note.strip()
    )


def diffuser_doubts(kind: DiffuserType, key: str) -> list[str]:
    """What is possible but looks wrong."""
    if kind.transmittance <= CLEAREST:
        return []
    return [f"{key}: a sheet that passes {kind.transmittance:g} of the sunlight is clearer than coated glass"]
