"""The plan file: read whole, every fault told at once."""

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from layout.booster_tables import read_boosters
from layout.hot_water_table import HotWaterTable
from layout.optimise_checks import read_optimise
from layout.optimise_tables import OptimiseTable, PricesTable
from layout.panel_type import PanelType
from layout.panel_types import BIFACIAL, MONO, load_panel_type, panel_from_datasheet
from layout.plan_checks import layout_faults
from layout.plan_sheets import NO_TYPES, SheetTypes, read_sheet_types, sheet_faults, type_faults
from layout.plan_tables import (
    LAYOUT_KINDS,
    InverterTable,
    Layout,
    LossTable,
    NamedPanelTable,
    PanelTable,
    PiecesLayout,
    RowsLayout,
    RunTable,
    TowersLayout,
    UprightLayout,
)
from layout.retrofit_table import RetrofitTable, with_prices
from layout.roof_tables import RoofLayout
from layout.uncertainty_table import UncertaintyTable
from layout.wiring_tables import WiringTable, read_wiring
from sites.errors import Fault, InputError
from sites.read import build_site
from sites.site import Site
from sites.tables import (
    MISSING,
    check_table,
    name_beside_keys,
    nearest,
    parse_toml,
    read_text,
    shown,
    unknown_key,
    without_misspelt,
)

__all__ = [
    "InverterTable",
    "Layout",
    "LossTable",
    "PiecesLayout",
    "Plan",
    "RoofLayout",
    "RowsLayout",
    "RunTable",
    "TowersLayout",
    "UprightLayout",
    "panel_type_of",
    "parse_plan",
    "read_plan",
]

KEYS = (
    "title", "site", "plot", "panel", "reflector", "diffuser", "inverter", "losses", "wiring", "uncertainty", "run",
    "retrofit", "hot_water", "optimise", "prices", "layout",
)  # fmt: skip

LONGEST_TITLE = 200


@dataclass(frozen=True, eq=False)
class Plan:
    """A plan file, checked.

    file : its name as given;  folder : what file names in it count from
    panel : type of the panels unless a layout names its own
    panel_given : False where the plan has no [panel] and ``panel`` is the bundled mono type
    warnings : lines about what looks wrong but may be meant
    sheets : reflector and diffuser types, the plan's own and the bundled ones, by name
    """

    title: str
    file: str
    folder: Path
    site: Site
    panel: PanelType
    panel_given: bool
    layouts: tuple[Layout, ...]
    inverter: InverterTable
    losses: LossTable
    run: RunTable
    uncertainty: UncertaintyTable
    wiring: WiringTable
    warnings: tuple[str, ...]
    sheets: SheetTypes = NO_TYPES
    retrofit: RetrofitTable | None = None
    optimise: OptimiseTable | None = None
    prices: PricesTable | None = None
    hot_water: HotWaterTable | None = None


def read_plan(path: str | Path) -> Plan:
    """Read and check a plan file. Raises InputError with every fault found."""
    path = Path(path)
    return parse_plan(read_text(path, str(path), str(path), accepted="a plan file"), str(path), path.parent)


def parse_plan(source: str, file: str, folder: Path) -> Plan:
    """Check a plan's text.

    file : its name in messages;  folder : what file names in it count from
    Raises InputError with every fault found.
    """
    data = parse_toml(source, file)
    faults = [unknown_key(file, "", word, KEYS) for word in data if word not in KEYS]
    title = _title(data.get("title", ""), file, faults)
    warnings: list[str] = []
    panel, given = _panel(data, file, faults, warnings)
    inverter = _inverter(data.get("inverter", {}), file, faults)
    losses = check_table(LossTable, data.get("losses", {}), file, "losses", faults)
    wiring = read_wiring(data, file, faults, warnings)
    doubt = check_table(UncertaintyTable, data.get("uncertainty", {}), file, "uncertainty", faults)
    run = check_table(RunTable, data.get("run", {}), file, "run", faults)
    sheets = read_sheet_types(data, file, faults, warnings)
    layouts = _layouts(data.get("layout"), file, faults)
    optimise, prices = read_optimise(data, layouts, sheets.known["reflector"], file, faults)
    retrofit = _retrofit(data, sheets, prices, file, faults)
    hot_water = _hot_water(data, file, faults)
    if hot_water and panel and hot_water.a1 < 0.5 * panel.u0_w_m2_k:
        warnings.append(
            f"hot_water.a1: {hot_water.a1:g} W/m²K, of a covered collector, on panels that lose u0 = "
            f"{panel.u0_w_m2_k:g} W/m²K; their own losses limit the heat"
        )
    site = build_site(data.get("site"), data.get("plot"), folder, file, faults)
    types = _layout_types(layouts, panel, given, file, faults)
    for index, layout in layouts.items():
        faults.extend(sheet_faults(layout, file, f"layout[{index}]", warnings))
    type_faults(data.get("layout"), sheets, file, faults)
    if site is not None:
        faults.extend(_plot_missing(site, layouts, file))
        for index, layout in layouts.items():
            kind = types.get(index)
            if kind is not None:
                faults.extend(layout_faults(layout, kind, site.plot, file, f"layout[{index}]"))
                warnings.extend(_layout_doubts(layout, kind, f"layout[{index}]"))
    if faults or not (site and panel and inverter and losses and run and doubt and wiring):
        raise InputError(without_misspelt(faults))  # nothing is missing without a fault
    return Plan(
        title=title,
        file=file,
        folder=folder,
        site=site,
        panel=panel,
        panel_given=given,
        layouts=tuple(layouts.values()),
        inverter=inverter,
        losses=losses,
        run=run,
        uncertainty=doubt,
        wiring=wiring,
        warnings=(*site.warnings, *warnings),
        sheets=sheets,
        retrofit=retrofit,
        optimise=optimise,
        prices=prices,
        hot_water=hot_water,
    )


def panel_type_of(plan: Plan, layout: Layout) -> PanelType:
    """The type of a layout's panels: its own, else the plan's, else the bundled one that suits it."""
    return _type_for(layout, plan.panel if plan.panel_given else None)


def _type_for(layout: Layout, given: PanelType | None, file: str = "plan", key: str = "layout") -> PanelType:
    if not isinstance(layout, PiecesLayout) and layout.panel is not None:
        return load_panel_type(layout.panel, file, f"{key}.panel")
    if given is not None:
        return given
    two_faces = isinstance(layout, UprightLayout) or (
        isinstance(layout, PiecesLayout) and any(p.bifacial for p in layout.panel)
    )
    return load_panel_type(BIFACIAL if two_faces else MONO)


def _title(value: Any, file: str, faults: list[Fault]) -> str:
    if not isinstance(value, str) or len(value) > LONGEST_TITLE or not value.isprintable():
        faults.append(Fault(file, "title", shown(value), f"one line of up to {LONGEST_TITLE} letters"))
        return ""
    return value


def _panel(
    data: Mapping[str, Any], file: str, faults: list[Fault], warnings: list[str]
) -> tuple[PanelType | None, bool]:
    """The plan's panel type and whether the plan says it."""
    if "panel" not in data:
        return load_panel_type(MONO), False
    table = data["panel"]
    if not isinstance(table, Mapping) or "name" not in table:
        return panel_from_datasheet("the plan's panel", table, file, "panel", faults, warnings), True
    faults.extend(name_beside_keys(table, PanelTable, file, "panel"))
    named = check_table(NamedPanelTable, {"name": table["name"]}, file, "panel", faults)
    if named is None:
        return None, True
    try:
        return load_panel_type(named.name, file, "panel.name"), True
    except InputError as error:
        faults.extend(error.faults)
        return None, True


def _inverter(value: Any, file: str, faults: list[Fault]) -> InverterTable | None:
    """The inverter's table; one that starts above its own limit would never run."""
    table = check_table(InverterTable, value, file, "inverter", faults)
    if table is not None and max(table.efficiency_pct) <= 1.0:
        found = f"{shown(list(table.efficiency_pct))}, none above 1"
        faults.append(Fault(file, "inverter.efficiency_pct", found, "percent, such as 97.5"))
    if table is not None and table.ac_limit_kw is not None and table.start_kw >= table.ac_limit_kw:
        accepted = f"a number below ac_limit_kw, {table.ac_limit_kw:g}"
        faults.append(Fault(file, "inverter.start_kw", f"{table.start_kw:g}", accepted))
    return table


def _hot_water(data: Mapping[str, Any], file: str, faults: list[Fault]) -> HotWaterTable | None:
    """Heat off the panels; its temperatures must rise from mains to set to most."""
    if "hot_water" not in data:
        return None
    table = check_table(HotWaterTable, data["hot_water"], file, "hot_water", faults)
    if table is None:
        return None
    if table.set_c <= table.cold_c:
        accepted = f"a temperature above cold_c, {table.cold_c:g}"
        faults.append(Fault(file, "hot_water.set_c", f"{table.set_c:g}", accepted))
    if table.most_c < table.set_c:
        faults.append(Fault(file, "hot_water.most_c", f"{table.most_c:g}", f"at least set_c, {table.set_c:g}"))
    return table


def _retrofit(
    data: Mapping[str, Any], sheets: SheetTypes, prices: PricesTable | None, file: str, faults: list[Fault]
) -> RetrofitTable | None:
    """Limits of a retrofit; the layout and the types that it names must be there, money needs prices."""
    if "retrofit" not in data:
        return None
    table = check_table(RetrofitTable, data["retrofit"], file, "retrofit", faults)
    if table is None:
        return None
    told = data.get("layout")
    tables = [t for t in told if isinstance(t, Mapping)] if isinstance(told, list) else []
    roofs = [str(t.get("name")) for t in tables if t.get("kind") == "roof"]  # a faulty roof has told its own fault
    if table.layout is not None and table.layout not in roofs:
        faults.append(Fault(file, "retrofit.layout", shown(table.layout), nearest(table.layout, roofs)))
    for i, name in enumerate(table.reflectors):
        if name in table.reflectors[:i]:
            faults.append(Fault(file, f"retrofit.reflectors[{i}]", f"{shown(name)} a second time", "each once"))
        if name not in sheets.known["reflector"]:
            accepted = nearest(name, sheets.known["reflector"])
            faults.append(Fault(file, f"retrofit.reflectors[{i}]", f"no reflector type {shown(name)}", accepted))
    money = with_prices(table, prices)
    for key, wants in (("objective", table.objective == "money"), ("most_money", table.most_money is not None)):
        if wants and not money.priced:
            accepted = "price_per_m2 beside it, or [prices] with reflector_m2 above 0"
            faults.append(Fault(file, f"retrofit.{key}", "a question of money without prices", accepted))
    if table.objective == "money" and table.price_per_kwh is None:
        accepted = "price_per_kwh beside objective 'money'"
        faults.append(Fault(file, "retrofit.price_per_kwh", MISSING, accepted))
    return table


def _layouts(value: Any, file: str, faults: list[Fault]) -> dict[int, Layout]:
    """The valid layouts by their place in the file."""
    if not isinstance(value, list) or not value:
        found = MISSING if value is None else shown(value)
        faults.append(Fault(file, "layout", found, "at least one table, [[layout]]"))
        return {}
    layouts: dict[int, Layout] = {}
    names: set[str] = set()
    for index, table in enumerate(value):
        layout = _layout(table, file, f"layout[{index}]", faults)
        if layout is None:
            continue
        if layout.name in names:
            found = f"{shown(layout.name)} a second time"
            faults.append(Fault(file, f"layout[{index}].name", found, "a name that no other layout has"))
        names.add(layout.name)
        layouts[index] = layout
    return layouts


def _layout(table: Any, file: str, key: str, faults: list[Fault]) -> Layout | None:
    """One layout by its kind."""
    if not isinstance(table, Mapping):
        faults.append(Fault(file, key, shown(table), "a table, [[layout]]"))
        return None
    kind = table.get("kind")
    if not isinstance(kind, str) or kind not in LAYOUT_KINDS:
        found = MISSING if kind is None else shown(kind)
        accepted = nearest(kind, LAYOUT_KINDS) if isinstance(kind, str) else nearest("", LAYOUT_KINDS)
        faults.append(Fault(file, f"{key}.kind", found, accepted))
        return None
    if "booster" not in table:
        return check_table(LAYOUT_KINDS[kind], table, file, key, faults)
    before = len(faults)
    boosters = read_boosters(table["booster"], kind, file, key, faults)
    rest = {word: value for word, value in table.items() if word != "booster"}
    layout = check_table(LAYOUT_KINDS[kind], rest, file, key, faults)
    # Each booster was checked against the table of its place.
    return layout.model_copy(update={"booster": boosters}) if layout and len(faults) == before else None


def _layout_types(
    layouts: Mapping[int, Layout], panel: PanelType | None, given: bool, file: str, faults: list[Fault]
) -> dict[int, PanelType]:
    """The panel type of each layout whose type is known."""
    types = {}
    for index, layout in layouts.items():
        if panel is None and (isinstance(layout, PiecesLayout) or layout.panel is None):
            continue  # the fault of [panel] says why
        try:
            types[index] = _type_for(layout, panel if given else None, file, f"layout[{index}]")
        except InputError as error:
            faults.extend(error.faults)
    return types


def _plot_missing(site: Site, layouts: Mapping[int, Layout], file: str) -> list[Fault]:
    if site.plot is not None or all(isinstance(layout, PiecesLayout | RoofLayout) for layout in layouts.values()):
        return []
    return [Fault(file, "plot", MISSING, "a table, [plot], unless every layout is 'pieces' or 'roof'")]


def _layout_doubts(layout: Layout, kind: PanelType, key: str) -> list[str]:
    if isinstance(layout, UprightLayout) and kind.bifaciality == 0.0:
        return [f"{key}: upright panels of a type with bifaciality 0; their rears produce nothing"]
    return []
