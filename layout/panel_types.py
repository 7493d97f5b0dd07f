"""Panel types by name from the bundled invented ones, and from datasheet values."""

from importlib import resources
from pathlib import Path
from typing import Any

from layout.panel_type import PanelType
from layout.plan_tables import PanelTable
from sites.errors import Fault, InputError
from sites.tables import check_table, nearest, parse_toml, read_text, shown

LIBRARY = Path(str(resources.files("layout"))) / "library" / "panels"

MONO = "mono_glass"
BIFACIAL = "bifacial_glass"

POWER_TOLERANCE = 0.02
"""Datasheets round; pmax_w and vmp_v × imp_a may differ by this share."""

SUNLIGHT_W_M2 = 1000.0
"""Irradiance at standard test conditions, IEC 60904-3."""

BEST_SINGLE_JUNCTION = 0.337
"""Limit of a single-junction cell at 1.34 eV, Rühle, Solar Energy 130 (2016) 139."""

CURRENT_LIMIT_A_M2 = 438.1
"""Every photon of the standard spectrum (ASTM G173-03) above 1.12 eV counted as one electron."""

USUAL_PCT_PER_K = {"beta_voc_pct_per_k": (-0.6, -0.1), "gamma_pmax_pct_per_k": (-0.7, -0.1)}
"""Beyond these a coefficient of temperature is told: silicon and thin films of the trade lie within; common practice,
no source. Fractions and volts read as percent lie outside."""


def list_panel_types() -> tuple[str, ...]:
    """Names of the bundled invented panel types."""
    return tuple(sorted(path.stem for path in LIBRARY.glob("*.toml")))


def load_panel_type(name: str, file: str = "panel", key: str = "name") -> PanelType:
    """A bundled panel type. ``file`` and ``key`` say who asked. Raises InputError for an unknown name."""
    if name not in list_panel_types():
        accepted = nearest(name, list_panel_types())
        raise InputError([Fault(file, key, f"no bundled panel type {shown(name)}", accepted)])
    path = LIBRARY / f"{name}.toml"
    faults: list[Fault] = []
    warnings: list[str] = []
    data = {k: v for k, v in parse_toml(read_text(path, path.name, path.name), path.name).items() if k != "name"}
    panel = panel_from_datasheet(name, data, path.name, "", faults, warnings)
    if panel is None:
        raise InputError(faults)
    return panel


def panel_from_datasheet(
    name: str, data: Any, file: str, key: str, faults: list[Fault], warnings: list[str]
) -> PanelType | None:
    """A panel type from datasheet keys, or None with every fault added to ``faults``."""
    table = check_table(PanelTable, data, file, key, faults)
    if table is None:
        return None
    before = len(faults)
    prefix = f"{key}." if key else ""
    _check_curve(table, file, prefix, faults)
    _check_cells(table, file, prefix, faults)
    if len(faults) > before:
        return None
    warnings.extend(_doubts(table, prefix))
    values = table.model_dump(exclude={"max_cell_c", "max_light_w_m2"})
    limits = {k: v for k, v in table.model_dump(include={"max_cell_c", "max_light_w_m2"}).items() if v is not None}
    values["note"] = values["note"].strip()
    return PanelType(
        name=name,
        **values,
        **limits,
        max_cell_stated="max_cell_c" in limits,
        max_light_stated="max_light_w_m2" in limits,
    )


def _check_curve(table: PanelTable, file: str, prefix: str, faults: list[Fault]) -> None:
    """Points that no solar panel's curve has."""
    if table.vmp_v >= table.voc_v:
        accepted = f"below voc_v, {table.voc_v:g}"
        faults.append(Fault(file, f"{prefix}vmp_v", f"{table.vmp_v:g}", accepted))
    if table.imp_a >= table.isc_a:
        accepted = f"below isc_a, {table.isc_a:g}"
        faults.append(Fault(file, f"{prefix}imp_a", f"{table.imp_a:g}", accepted))
    product = table.vmp_v * table.imp_a
    if abs(table.pmax_w - product) > POWER_TOLERANCE * product:
        accepted = f"within 2 % of vmp_v × imp_a, {product:.1f}"
        faults.append(Fault(file, f"{prefix}pmax_w", f"{table.pmax_w:g}", accepted))
    density = table.pmax_w / (table.length_m * table.width_m)
    if density > SUNLIGHT_W_M2:
        accepted = "a panel that makes no more than 1000 W/m², the sunlight it is rated in"
        faults.append(Fault(file, f"{prefix}pmax_w", f"{table.pmax_w:g}, or {density:.0f} W/m²", accepted))


def _check_cells(table: PanelTable, file: str, prefix: str, faults: list[Fault]) -> None:
    """Cells that cannot be divided as said."""
    length, width = table.cells
    if table.half_cut and length % 2:
        found = f"{shown(table.cells)} with half_cut = true"
        faults.append(Fault(file, f"{prefix}cells", found, "an even number of cells along the length"))
        return
    across = width if table.group_direction == "length" else length // (2 if table.half_cut else 1)
    if table.bypass_groups > 1 and across % table.bypass_groups:
        accepted = f"a number that divides the {across} cells across the groups"
        faults.append(Fault(file, f"{prefix}bypass_groups", f"{table.bypass_groups}", accepted))


def _doubts(table: PanelTable, prefix: str) -> list[str]:
    """Figures that are possible but look wrong."""
    lines = []
    area = table.length_m * table.width_m
    efficiency = table.pmax_w / area / SUNLIGHT_W_M2
    if efficiency > BEST_SINGLE_JUNCTION:
        lines.append(
            f"{prefix}pmax_w: {100 * efficiency:.1f} % of the sunlight is above what one junction can give (33.7 %)"
        )
    series = table.cells[0] * table.cells[1] / (2 if table.half_cut else 1)
    if table.isc_a > CURRENT_LIMIT_A_M2 * area / series:
        lines.append(
            f"{prefix}isc_a: {table.isc_a:g} A is more than silicon cells of this size can give; "
            "look at cells and half_cut"
        )
    volts = table.voc_v / series
    if not 0.4 <= volts <= 1.3:
        lines.append(f"{prefix}voc_v: {volts:.2f} V a cell is unusual; look at cells and half_cut")
    fill = table.pmax_w / (table.voc_v * table.isc_a)
    if fill < 0.55 or fill > 0.87:
        lines.append(f"{prefix}pmax_w: a fill factor of {fill:.2f} is unusual")
    if table.width_m > table.length_m:
        lines.append(f"{prefix}width_m: longer than length_m; portrait and landscape may be mixed up")
    for name, (low, high) in USUAL_PCT_PER_K.items():
        value = getattr(table, name)
        if value <= 0 and not low <= value <= high:
            lines.append(f"{prefix}{name}: {value:g} is unusual, {high:g} to {low:g} common; percent per K, not V or W")
    if table.gamma_pmax_pct_per_k > 0:
        lines.append(f"{prefix}gamma_pmax_pct_per_k: a panel that gains power with heat is unusual")
    return lines
