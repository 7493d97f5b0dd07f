"""The command line."""

import argparse
import os
import sys
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import fields
from pathlib import Path
from typing import Any

from rich.console import Console
from rich.progress import BarColumn, Progress, TextColumn, TimeElapsedColumn

from layout.arrange import arrange
from layout.bench_reading import AIR_C, WIND_M_S
from layout.geometry.rays import worker_count
from layout.light_command import OPTION, LightOptions, light_command
from layout.plan import Layout, Plan, read_plan
from layout.power.follow import FIRST_USE, compiled_before
from layout.report import outputs
from layout.report.demo import DEMO_PLAN, OPTIMISE_DEMO, starter_plan
from layout.report.files import to_json, write_all
from layout.report.outputs import Output
from layout.report.tables import WIDTH, wrapped
from layout.run import run_plan
from layout.strings import strings_of
from layout.workers import Told
from layout.year_figures import wired_doubts
from sites.errors import BrightacreError, Fault, InputError
from sites.read import list_sites, load_site
from sites.tables import nearest, shown
from sites.weather_files import load_weather

PROGRAM = "brightacre"
DEFAULT_FOLDER = Path("brightacre-out")
DONE, NO_READER, BAD_INPUT, STOPPED = 0, 1, 2, 130
"""Exit codes."""


def _out(*lines: str) -> None:
    for line in lines:
        print(line)


def _err(*lines: str) -> None:
    for line in lines:
        print(line, file=sys.stderr)


@contextmanager
def _progress() -> Iterator[Told | None]:
    """A progress callable that draws bars on standard error; None where that is no terminal."""
    console = Console(stderr=True)
    if not console.is_terminal:
        yield None
        return
    if not compiled_before():
        _err(FIRST_USE)
    columns = (
        TextColumn("{task.description}", markup=False),
        BarColumn(),
        TextColumn("{task.percentage:>3.0f} %"),
        TimeElapsedColumn(),
    )
    bars = Progress(*columns, console=console, transient=True)
    tasks: dict[str, Any] = {}

    def report(label: str, done: int, total: int) -> None:
        if not tasks:
            bars.start()  # not before: its thread must not run yet when work is shared out to processes
        if label not in tasks:
            tasks[label] = bars.add_task(label, total=total)
        bars.update(tasks[label], completed=done, total=total)

    try:
        yield report
    finally:
        bars.stop()


def _show(output: Output) -> None:
    """Tables and lines on standard output, at most 100 columns wide."""
    console = Console(highlight=False)
    console.width = min(console.width, WIDTH) if console.is_terminal else WIDTH
    for item in output.show:
        if isinstance(item, str):
            _out(wrapped(item, console.width))
        else:
            console.print(item)


def _finish(args: argparse.Namespace, output: Output) -> int:
    """Write a command's files, all of them or none, and show what it found.

    Files come first: a reader that goes away (a pager that is closed) must not cost them.
    """
    targets: dict[Path, str | bytes] = {}
    if output.files:
        folder = args.out or DEFAULT_FOLDER
        targets |= {folder / name: content for name, content in output.files.items()}
    elif args.out is not None:
        targets[args.out / f"{args.command}.json"] = to_json(output.data)
    if args.json is not None:
        targets[args.json] = to_json(output.data)
    try:
        written = write_all(targets)
    except BrightacreError:
        _show(output)  # at least that, after the work of minutes
        raise
    _show(output)
    _out(*(f"wrote {path}" for path in written))
    return DONE


def _check_targets(args: argparse.Namespace) -> None:
    """Raises InputError where files cannot lie there, before the work of minutes."""
    faults = []
    if args.out is not None and args.out.exists() and not args.out.is_dir():
        faults.append(Fault(OPTION, "--out", f"{args.out}, a file", "a folder, there already or new"))
    if args.json is not None and args.json.is_dir():
        faults.append(Fault(OPTION, "--json", f"{args.json}, a folder", "a file's name"))
    if faults:
        raise InputError(faults)


def _layouts(plan: Plan, name: str | None) -> tuple[Layout, ...]:
    """The layout of that name, or all; raises InputError where the plan has none of that name."""
    if name is None:
        return plan.layouts
    found = tuple(layout for layout in plan.layouts if layout.name == name)
    if not found:
        accepted = nearest(name, [layout.name for layout in plan.layouts])
        raise InputError([Fault(plan.file, "LAYOUT", f"no layout {shown(name)}", accepted)])
    return found


def _plan(path: Path) -> Plan:
    """A plan file, its warnings told."""
    plan = read_plan(path)
    _err(*(f"warning: {line}" for line in plan.warnings))
    return plan


def compare(args: argparse.Namespace) -> int:
    """Every layout of a plan on its plot."""
    plan = _plan(args.plan or DEMO_PLAN)
    with _progress() as progress:
        result = run_plan(plan, progress, processes=worker_count())
    return _finish(args, outputs.compare_output(result, args.per_panel, worker_count()))


def yield_(args: argparse.Namespace) -> int:
    """One layout in depth."""
    plan = _plan(args.plan)
    _layouts(plan, args.layout)
    with _progress() as progress:
        result = run_plan(plan, progress, only=[args.layout])
    return _finish(args, outputs.yield_output(result, args.layout, args.per_panel))


def light(args: argparse.Namespace) -> int:
    """Beam on the cells at one sun position, and each panel's expected watts, volts and temperature."""
    plan = _plan(args.plan)
    layouts = _layouts(plan, args.layout)
    asked = LightOptions(**{option.name: getattr(args, option.name) for option in fields(LightOptions)})
    with _progress() as progress:
        output = light_command(plan, layouts, asked, progress)
    return _finish(args, output)


def retrofit(args: argparse.Namespace) -> int:
    """Reflectors around panels that stand on a roof."""
    # Loaded here: the solver takes time that other commands need not wait for.
    from layout.retrofit.command import retrofit_command
    from layout.retrofit.parts_command import parts_command

    plan = _plan(args.plan)
    source = args.plan.read_text(encoding="utf-8-sig")
    with _progress() as progress:
        if args.parts is None:
            output = retrofit_command(plan, progress, source)
        else:
            output = parts_command(plan, args.parts, source, progress)
    return _finish(args, output)


def optimise(args: argparse.Namespace) -> int:
    """The best shapes of a plan's layouts."""
    from layout.optimise.command import optimise_command

    path = args.plan or OPTIMISE_DEMO
    plan = _plan(path)
    with _progress() as progress:
        output = optimise_command(plan, path.read_text(encoding="utf-8-sig"), args.out or DEFAULT_FOLDER, progress)
    return _finish(args, output)


def sun(args: argparse.Namespace) -> int:
    """Sun paths and the spacing they ask for."""
    if args.site in list_sites():
        return _finish(args, outputs.sun_output(load_site(args.site), args.site))
    path = Path(args.site)
    if path.suffix != ".toml" and not path.exists():
        accepted = f"a plan file or a bundled site: {nearest(args.site, list_sites())}"
        raise InputError([Fault(OPTION, "SITE", shown(args.site), accepted)])
    return _finish(args, outputs.sun_output(_plan(path).site, path.stem))


def check(args: argparse.Namespace) -> int:
    """What is wrong with a plan, or that nothing is: its tables, its weather, what fits on the plot."""
    try:
        plan = _plan(args.plan)
        weather = load_weather(plan.site)
        built = [arrange(plan, layout) for layout in plan.layouts]
        for arrangement in built:
            strings_of(arrangement, plan.wiring, plan.file)
        doubts = [f"{a.name}: {line}" for a in built for line in wired_doubts(a, plan.inverter, plan.wiring)]
    except InputError as error:
        data = {"file": str(args.plan), "ok": False, "faults": [vars(fault) for fault in error.faults]}
        targets = {path: to_json(data) for path in (args.json, args.out and args.out / "check.json") if path}
        write_all(targets)
        raise
    return _finish(args, outputs.check_output(plan.file, built, weather.notes, plan.warnings, doubts))


def new(args: argparse.Namespace) -> int:
    """A starter plan in a new file."""
    path = args.out / args.file if args.out else args.file
    if path.exists():
        raise InputError([Fault(str(path), "FILE", "a file that is there already", "a new name; nothing was written")])
    write_all({path: starter_plan()} | ({args.json: to_json({"file": str(path)})} if args.json else {}))
    _out(f"wrote {path}", f"next: {PROGRAM} check {path}")
    return DONE


def sites(args: argparse.Namespace) -> int:
    """The bundled sites."""
    return _finish(args, outputs.sites_output({name: load_site(name) for name in list_sites()}))


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog=PROGRAM, description="Which layout of panels gets most solar electricity from a plot?"
    )
    commands = parser.add_subparsers(dest="command", required=True, metavar="COMMAND")

    def command(name: str, run: Callable[[argparse.Namespace], int], does: str) -> argparse.ArgumentParser:
        sub = commands.add_parser(name, help=does, description=does)
        sub.add_argument("--json", type=Path, metavar="FILE", help="write the numbers to FILE, units in the keys")
        folder = f"folder for files (default where there are any: {DEFAULT_FOLDER})"
        sub.add_argument("--out", type=Path, metavar="FOLDER", help=folder)
        sub.set_defaults(run=run)
        return sub

    per_panel = "put yearly figures of each panel into the JSON file"
    sub = command("compare", compare, "every layout of a plan on its plot: table, HTML report, JSON")
    sub.add_argument("plan", type=Path, nargs="?", metavar="PLAN", help="plan file (default: the bundled demo)")
    sub.add_argument("--per-panel", action="store_true", help=per_panel)
    sub = command("yield", yield_, "one layout in depth: hourly file, months, steps from sunlight to socket")
    sub.add_argument("plan", type=Path, metavar="PLAN")
    sub.add_argument("layout", metavar="LAYOUT", help="name of a layout in the plan")
    sub.add_argument("--per-panel", action="store_true", help=per_panel)
    sub = command("optimise", optimise, "the shapes of layouts (pitch, tilt, reflectors) that are best within limits")
    sub.add_argument("plan", type=Path, nargs="?", metavar="PLAN", help="plan file (default: a bundled demo)")
    sub = command("retrofit", retrofit, "reflectors around panels that stand on a roof, and what they bring")
    sub.add_argument("plan", type=Path, metavar="PLAN", help="plan file with a layout of kind 'roof'")
    sub.add_argument("--parts", type=Path, metavar="LIST", help="no search: trace the sheets of a parts list (CSV)")
    sub = command("light", light, "beam on every cell at one moment, a picture, and what a meter should read")
    sub.add_argument("plan", type=Path, metavar="PLAN")
    sub.add_argument("layout", nargs="?", metavar="LAYOUT", help="name of a layout (default: all)")
    sub.add_argument("--at", metavar="TIME", help="e.g. 2025-03-21T10:30, on the site's clock")
    sub.add_argument("--elevation", type=float, metavar="DEG", help="of the sun, instead of --at")
    sub.add_argument("--azimuth", type=float, metavar="DEG", help="of the sun, clockwise from north")
    clear = "(default: that of a clear sky)"
    sub.add_argument("--dni", type=float, metavar="W/M2", help=f"direct normal irradiance {clear}")
    sub.add_argument("--dhi", type=float, metavar="W/M2", help=f"diffuse horizontal irradiance {clear}")
    sub.add_argument("--air-c", type=float, metavar="C", help=f"air temperature (default: {AIR_C:g})")
    sub.add_argument("--wind", type=float, metavar="M/S", help=f"wind at the panels (default: {WIND_M_S:g})")
    ground = "add the beam that comes by way of the ground; up to a second for each panel traced"
    sub.add_argument("--ground", action="store_true", help=ground)
    bounces = "reflectors that light may meet on its way (default: 1; 0: straight light only)"
    sub.add_argument("--bounces", type=int, default=1, metavar="N", help=bounces)
    sub.add_argument("--per-cell", action="store_true", help="put the light on every cell into the JSON file")
    sub = command("sun", sun, "sun paths over a site and the row spacing they ask for")
    sub.add_argument("site", metavar="SITE", help="name of a bundled site, or a plan file")
    sub = command("check", check, "what is wrong with a plan and where, or that nothing is")
    sub.add_argument("plan", type=Path, metavar="PLAN")
    sub = command("new", new, "a starter plan in a new file")
    sub.add_argument("file", type=Path, metavar="FILE")
    command("sites", sites, "the bundled sites")
    return parser


def main(argv: Sequence[str] | None = None) -> int:
    """Run a command; returns the exit code: 0 done, 2 bad input, 130 stopped by Ctrl-C."""
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(encoding="utf-8")
    args = _parser().parse_args(argv)
    try:
        _check_targets(args)
        code: int = args.run(args)
        sys.stdout.flush()
    except BrightacreError as error:
        _err(*str(error).splitlines())
        return BAD_INPUT
    except KeyboardInterrupt:
        _err("stopped; nothing half-written")
        return STOPPED
    except BrokenPipeError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return NO_READER
    return code
