"""A set of parts traced whole: every panel, the strings, the socket."""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from layout.arrange.arrangement import Arrangement
from layout.conditions import Conditions, local_clock
from layout.evaluate import Evaluator, FieldYear, _BlockYear, evaluate
from layout.field import Block, Field, build_field
from layout.ledger import electricity
from layout.plan_sheets import SheetTypes
from layout.power.glass import transmission_ratio
from layout.retrofit.candidates import Candidate
from layout.string_year import PanelYear, strings_dc_w
from layout.strings import strings_of
from layout.year import evaluator_of
from layout.year_figures import Settings, capacity_kw
from sites.conventions import FloatArray, IntArray


@dataclass(frozen=True, eq=False)
class _Keeping(Evaluator):
    """An evaluator that keeps what strings are worked out from, for each string by itself."""

    kept: dict[int, PanelYear] = field(default_factory=dict)

    def block_year(self, field: Field, block: Block) -> _BlockYear:
        """One block over the year."""
        part = super().block_year(field, block)
        self.kept.update(part.kept)
        return part


@dataclass(frozen=True, eq=False)
class Whole:
    """A set of parts on the roof, traced whole; n panels.

    dc_kwh, light_kwh : (n,) of a year: each panel on a tracker of its own; light on its front before the glass
    strings : panels of each string; string_kwh : (s,) DC of each
    ac_kwh : of the year; monthly_ac_kwh : (12,) by the site's clock
    """

    arrangement: Arrangement
    field: Field
    evaluator: Evaluator
    year: FieldYear
    dc_kwh: FloatArray
    light_kwh: FloatArray
    strings: tuple[IntArray, ...]
    string_kwh: FloatArray
    ac_kwh: float
    monthly_ac_kwh: FloatArray


def with_parts(arrangement: Arrangement, parts: Sequence[Candidate], types: SheetTypes) -> Arrangement:
    """The roof with some parts on it."""
    sheets = [sheet for part in parts for sheet in part.reflectors(types)]
    scene = replace(arrangement.scene, reflectors=(*arrangement.scene.reflectors, *sheets))
    return replace(arrangement, scene=scene)


def trace_whole(arrangement: Arrangement, conditions: Conditions, settings: Settings) -> Whole:
    """A year of a roof with all that stands on it."""
    plain = evaluator_of(arrangement, conditions, settings)
    evaluator = _Keeping(
        plain.conditions, plain.matrix, plain.kind, plain.model, plain.dirt, plain.cover_colour, plain.wiring
    )
    roof = build_field(arrangement, conditions, settings.full_cells, repetition=False)
    year = evaluate(roof, evaluator, transmission_ratio, lambda _: None)
    socket = socket_kwh(arrangement, conditions, settings, year.hour["wired"])
    month = local_clock(conditions.site, conditions.sky.sun.start).month
    strings = strings_of(arrangement, settings.wiring)
    return Whole(
        arrangement=arrangement,
        field=roof,
        evaluator=evaluator,
        year=year,
        dc_kwh=year.panel["dc"],
        light_kwh=year.panel["front"] * roof.rectangles.area,
        strings=strings,
        string_kwh=string_year(strings, evaluator.kept, roof, evaluator),
        ac_kwh=float(socket.sum()),
        monthly_ac_kwh=np.asarray(np.bincount(month - 1, socket, 12)[:12], dtype=np.float64),
    )


def socket_kwh(arrangement: Arrangement, conditions: Conditions, settings: Settings, wired_w: FloatArray) -> FloatArray:
    """AC energy of each hour (k,) from a roof's DC power as wired, after inverter and losses."""
    power = electricity(wired_w, capacity_kw(arrangement), settings.inverter, settings.losses)
    return np.asarray(power.ac_kw * conditions.weather.interval_h, dtype=np.float64)


def string_year(
    strings: Sequence[IntArray], kept: dict[int, PanelYear], roof: Field, evaluator: Evaluator
) -> FloatArray:
    """DC energy of each string, a tracker each, (strings,) kWh; kept : the years of its panels."""
    scale, found = roof.arrangement.area_scale, []
    for string in strings:
        alone = np.sum([kept[int(p)].dc_w * scale[p] for p in string], axis=0)
        found.append(strings_dc_w((string,), kept, roof, evaluator.model, alone).sum())
    return np.array(found) * evaluator.conditions.hour_kwh
