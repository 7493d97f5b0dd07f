"""Values of the reflectors and see-through sheets in use, each type once with the layouts that use it."""

from collections.abc import Iterator

from layout.diffuser_types import DiffuserType
from layout.plan import Layout, PiecesLayout, Plan, RoofLayout
from layout.reflector_types import ReflectorType
from layout.result import PlanResult

OWN = "values of the plan"


def sheet_assumptions(result: PlanResult) -> tuple[tuple[str, str, str], ...]:
    """What, its values and where they come from, for every type of sheet in use."""
    plan, used = result.plan, dict[ReflectorType | DiffuserType, list[str]]()
    for layout in plan.layouts:
        if layout.name in result.layouts:
            for kind in _types(plan, layout):
                names = used.setdefault(kind, [])
                if layout.name not in names:
                    names.append(layout.name)
    return tuple(
        (f"{_what(kind)} of {', '.join(names)}", f"{kind.name}: {kind.values}", kind.note or OWN)
        for kind, names in used.items()
    )


def _what(kind: ReflectorType | DiffuserType) -> str:
    return "Reflectors" if isinstance(kind, ReflectorType) else "See-through sheets"


def _types(plan: Plan, layout: Layout) -> Iterator[ReflectorType | DiffuserType]:
    """Types of a layout's sheets, reflectors first."""
    if isinstance(layout, PiecesLayout):
        yield from (plan.sheets.reflector_of(piece) for piece in layout.reflector)
        yield from (plan.sheets.diffuser_of(piece) for piece in layout.diffuser)
    elif isinstance(layout, RoofLayout):
        yield from (plan.sheets.reflector(sheet.type) for plane in layout.plane for sheet in plane.reflector)
    else:
        yield from (plan.sheets.reflector(booster.reflector) for booster in layout.booster)
    if layout.cover is not None:
        yield plan.sheets.diffuser(layout.cover.diffuser)
