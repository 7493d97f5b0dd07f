"""Reflector types by name from the bundled invented ones, and from a plan's values."""

from dataclasses import dataclass
from importlib import resources
from pathlib import Path

from layout.optics.facets import total_factor
from layout.pieces import Reflector
from layout.sheet_tables import ReflectorTable, ReflectorValues
from sites.conventions import FloatArray
from sites.errors import Fault, InputError
from sites.tables import check_table, nearest, parse_toml, read_text, shown

LIBRARY = Path(str(resources.files("layout"))) / "library" / "reflectors"

BRIGHTEST = 0.97
"""Solar reflectance beyond which a value is doubted: new silvered mirrors reach about 0.95. Common practice, no
source."""

TOTALS_SHOWN_DEG = (0.0, 60.0)


@dataclass(frozen=True)
class ReflectorType:
    """One type of reflector.

    reflectance : of the facets, new and clean, solar-weighted [-]
    slope_rms_deg : rms slope along the sheet's ``along`` and ``up`` edges; (0, 0) is a plane mirror
    diffuse : share of the reflectance that leaves Lambertian [-]
    ageing_factor, soiling_factor : 0 to 1, both multiply the reflectance
    """

    name: str
    reflectance: float
    slope_rms_deg: tuple[float, float] = (0.0, 0.0)
    diffuse: float = 0.0
    ageing_factor: float = 1.0
    soiling_factor: float = 1.0
    note: str = ""

    @property
    def facet_reflectance(self) -> float:
        """Reflectance of the facets as they are, aged and soiled [-]."""
        return self.reflectance * self.ageing_factor * self.soiling_factor

    def total_reflectance(self, incidence_deg: float) -> float:
        """Reflectance of the whole sheet, aged and soiled: the facets' less what they hide from one another [-].

        The mean of light that comes in along and across the sheet; the Lambertian share hides nothing.

        >>> round(ReflectorType("x", 1.0, (20.0, 20.0)).total_reflectance(60.0), 2)
        0.87
        """
        return self.facet_reflectance * _kept(self.slope_rms_deg, self.diffuse, incidence_deg)

    @property
    def values(self) -> str:
        """The type's values in words."""
        along, across = self.slope_rms_deg
        totals = " and ".join(f"{self.total_reflectance(a):.2f} at {a:g}°" for a in TOTALS_SHOWN_DEG)
        return (
            f"facets reflect {self.reflectance:.3g}, aged × {self.ageing_factor:g}, soiled × {self.soiling_factor:g}; "
            f"slopes {along:g}° along, {across:g}° across; Lambertian share {self.diffuse:g}; the whole sheet {totals}"
        )

    @property
    def line(self) -> str:
        """The type's name, values and note in one line."""
        return f"{self.name}: {self.values}{'; ' + self.note if self.note else ''}"

    def piece(self, corner: FloatArray, along: FloatArray, up: FloatArray) -> Reflector:
        """A sheet of this type; (3,) float [m] each."""
        return Reflector(corner, along, up, self.facet_reflectance, self.slope_rms_deg, self.diffuse)


def list_reflector_types() -> tuple[str, ...]:
    """Names of the bundled invented reflector types."""
    return tuple(sorted(path.stem for path in LIBRARY.glob("*.toml")))


def load_reflector_type(name: str, file: str = "reflector", key: str = "name") -> ReflectorType:
    """A bundled reflector type. ``file`` and ``key`` say who asked. Raises InputError for an unknown name."""
    if name not in list_reflector_types():
        accepted = nearest(name, list_reflector_types())
        raise InputError([Fault(file, key, f"no bundled reflector type {shown(name)}", accepted)])
    path = LIBRARY / f"{name}.toml"
    faults: list[Fault] = []
    data = parse_toml(read_text(path, path.name, path.name), path.name)
    table = check_table(ReflectorTable, data, path.name, "", faults)
    kind = reflector_from_values(name, table, table.note, path.name, "", faults) if table else None
    if kind is None:
        raise InputError(faults)
    return kind


def reflector_from_values(
    name: str, table: ReflectorValues, note: str, file: str, key: str, faults: list[Fault]
) -> ReflectorType | None:
    """A reflector type from its values, or None with every fault added to ``faults``."""
    prefix = f"{key}." if key else ""
    given = [k for k in ("reflectance", "total_reflectance") if getattr(table, k) is not None]
    if len(given) != 1:
        found = "reflectance beside total_reflectance" if given else "neither reflectance nor total_reflectance"
        faults.append(Fault(file, f"{prefix}reflectance", found, "one of the two, 0 to 1"))
        return None
    reflectance = table.reflectance
    if reflectance is None:
        assert table.total_reflectance is not None
        most = _kept(table.slope_rms_deg, table.diffuse, 0.0)
        reflectance = table.total_reflectance / most
        if reflectance > 1.0 + 1e-9:
            accepted = f"up to {_floor(most)}: with these slopes the facets hide the rest from one another"
            faults.append(Fault(file, f"{prefix}total_reflectance", f"{table.total_reflectance:g}", accepted))
            return None
    return ReflectorType(
        name,
        min(1.0, reflectance),
        table.slope_rms_deg,
        table.diffuse,
        table.ageing_factor,
        table.soiling_factor,
        note.strip(),
    )


def reflector_doubts(kind: ReflectorType, key: str) -> list[str]:
    """What is possible but looks wrong."""
    if kind.reflectance <= BRIGHTEST:
        return []
    return [f"{key}: facets that reflect {kind.reflectance:.3g} of the sunlight are brighter than new silvered mirrors"]


def _kept(slope_rms_deg: tuple[float, float], diffuse: float, incidence_deg: float) -> float:
    """Share of the facets' reflectance that the sheet as a whole keeps."""
    return (1.0 - diffuse) * total_factor(slope_rms_deg, incidence_deg) + diffuse


def _floor(share: float) -> float:
    """Rounded down to what is still accepted."""
    return int(share * 1e4) / 1e4
