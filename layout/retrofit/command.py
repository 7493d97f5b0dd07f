"""``brightacre retrofit PLAN``: from a plan to what it shows and writes."""

import tomllib

from layout.arrange import arrange
from layout.arrange.roof import planes_of
from layout.conditions import conditions
from layout.plan import Plan, RoofLayout, panel_type_of
from layout.report.outputs import Output
from layout.report.retrofit_output import Findings, findings_of, retrofit_output
from layout.retrofit.candidates import Found, find_candidates
from layout.retrofit.parts_back import plan_with_parts
from layout.retrofit.places import places_of
from layout.retrofit.refine import Retrofit, Task, retrofit
from layout.retrofit_table import RetrofitTable, with_prices
from layout.roof_shapes import roof_panels
from layout.run import plan_settings
from layout.workers import Told
from sites.errors import Fault, InputError
from sites.weather_files import load_weather

DEFAULT_REFLECTOR = "mirror"


def retrofit_command(plan: Plan, told: Told | None = None, source: str | None = None) -> Output:
    """Find reflectors for a plan's roof.

    source : the plan file's text, from which a plan with the parts on the roof is made; None: none is written
    Raises InputError where the plan has no roof, or several and names none.
    """
    layout = roof_of(plan)
    weather = load_weather(plan.site)
    year = conditions(plan.site, weather, plan.run.bounces)
    arrangement, planes = arrange(plan, layout), planes_of(plan, layout)
    table = table_of(plan)
    task = Task(arrangement, planes, year, plan_settings(plan), plan.sheets, table)
    result: Retrofit = retrofit(task, found_of(plan), told)
    panels = roof_panels(layout, planes, panel_type_of(plan, layout))
    words = findings_of(plan, task, result, [p.plane for p in panels], weather.notes)
    return retrofit_output(words, _made_plan(plan, layout, words, source))


def _made_plan(plan: Plan, layout: RoofLayout, words: Findings, source: str | None) -> str | None:
    """The plan with the chosen parts on its roof; None where there are none or the plan's text is not at hand."""
    if source is None or not words.lines:
        return None
    sheets = [(sheet.plane, sheet.table) for sheet in words.sheets]
    return plan_with_parts(tomllib.loads(source), plan.folder, layout.name, sheets)


def table_of(plan: Plan) -> RetrofitTable:
    """The plan's [retrofit] or ours, with what [prices] says."""
    return with_prices(plan.retrofit or RetrofitTable(), plan.prices)


def found_of(plan: Plan) -> Found:
    """The candidates for a plan's roof."""
    layout = roof_of(plan)
    arrangement, planes, table = arrange(plan, layout), planes_of(plan, layout), table_of(plan)
    places = places_of(arrangement.scene.panels, roof_panels(layout, planes, panel_type_of(plan, layout)), planes)
    return find_candidates(places, planes, arrangement.scene, table, reflector_names(plan, table))


def reflector_names(plan: Plan, table: RetrofitTable) -> tuple[str, ...]:
    """The types to try: those named, else the plan's own, else the bundled mirror."""
    return table.reflectors or tuple(plan.sheets.reflectors) or (DEFAULT_REFLECTOR,)


def roof_of(plan: Plan) -> RoofLayout:
    """The roof that the plan's [retrofit] means. Raises InputError."""
    roofs = [layout for layout in plan.layouts if isinstance(layout, RoofLayout)]
    wanted = plan.retrofit.layout if plan.retrofit else None
    named = [layout for layout in roofs if wanted is None or layout.name == wanted]
    if not roofs:
        accepted = "at least one layout of kind 'roof'"
        raise InputError([Fault(plan.file, "layout", "no layout of kind 'roof'", accepted)])
    if len(named) > 1:
        names = ", ".join(repr(layout.name) for layout in named)
        raise InputError([Fault(plan.file, "retrofit.layout", "nothing, with several roofs", f"one of {names}")])
    return named[0]
