"""Coefficients × sky year → light, heat and electricity of each panel, summed as they come."""

from collections import deque
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass

import numpy as np
from scipy.sparse import csr_array

from layout.conditions import Conditions
from layout.endless import EndlessTrackers
from layout.field import Block, Field, blocks
from layout.geometry.rays import worker_count
from layout.light.coefficients import LightCoefficients
from layout.light.sky_parts import Glass
from layout.panel_type import PanelType
from layout.power.glass import transmission_ratio
from layout.power.heat import cell_temperature
from layout.power.method import dc_power
from layout.power.panel_model import PanelModel, even_light_power
from layout.string_year import PanelYear, panel_years, trackers_dc_w
from layout.strings import trackers_of
from layout.wiring_tables import PANEL_LEVEL, WiringTable
from sites.conventions import FloatArray, IntArray

STANDARD_C = 25.0
PANEL_SUMS = ("front", "rear", "useful", "dc_cool", "dc_even", "dc")
LEAST_FACE, LIT, SHADED = 0.02, 0.5, 0.99
"""Least cosine at which the beam on a panel counts; shares of it above which a net cell is lit and below which it is
shaded: single points are either, means of several may be both."""

HOUR_SUMS = ("front", "rear", "direct", "open_direct", "panel_c", "dc_even", "dc")


@dataclass(frozen=True, eq=False)
class FieldYear:
    """A year of a layout before wiring and inverter; k sun-up hours, m sun directions, n panels.

    panel : (n,) float by name, a year's sum of each panel (that of the panel standing for it): ``front``, ``rear``
        [kWh/m² before glass], ``useful`` [kWh/m² after glass and dirt, rear by bifaciality], ``dc_cool``,
        ``dc_even``, ``dc`` [kWh: even light at 25 °C, even light as warm as it gets, as it is]
    hour : (k,) float by name: ``front``, ``rear`` [W/m², area means before glass], ``direct``, ``open_direct`` [W/m²,
        straight beam on both faces of bifacial panels, as shaded and as if alone], ``panel_c`` [°C, area mean],
        ``dc_even``, ``dc`` [W, the whole layout, each panel on a tracker of its own], ``series`` [W, each string on a
        tracker of its own], ``parallel`` [W, with strings in parallel], ``wired`` [W, within the trackers' voltages]
    beam : (m, n) float32 [-] beam on each panel, both faces, before glass, by sun direction
    brightest, warmest : (2m + 4, n) float32 [-] the largest coefficient of any cell of each panel: on the front
        before glass, and of both faces after it
    mean : (2m + 4, n) float32 [-] the mean coefficient of each front before glass
    rest : (m + 4, n) float32 [-] mean coefficient of each panel's light that cells use, all but the sun's own columns
    some_dark, some_lit : (m, n) bool, whether some of each panel's points lie in shade, whether some take up beam
    by_sheets : (m, n) float32 [-] the part of ``beam`` that came by way of reflectors and diffusers
    stress : (k,) float32 [(W/m²)²] light of a panel's darkest cell times what it lacks to the brightest, the most of
        any panel: current times reverse voltage of a hot spot, roughly; stressed : (k,) int, that panel
    """

    panel: dict[str, FloatArray]
    hour: dict[str, FloatArray]
    beam: np.ndarray
    brightest: np.ndarray
    warmest: np.ndarray
    mean: np.ndarray
    rest: np.ndarray
    some_dark: np.ndarray
    some_lit: np.ndarray
    by_sheets: np.ndarray
    stress: np.ndarray
    stressed: IntArray


@dataclass(frozen=True, eq=False)
class _BlockYear:
    block: Block
    panel: dict[str, FloatArray]
    hour: dict[str, FloatArray]
    beam: np.ndarray
    brightest: np.ndarray
    warmest: np.ndarray
    mean: np.ndarray
    rest: np.ndarray
    some_dark: np.ndarray
    some_lit: np.ndarray
    by_sheets: np.ndarray
    kept: dict[int, PanelYear]
    stress: np.ndarray
    stressed: IntArray


@dataclass(frozen=True, eq=False)
class Evaluator:
    """What turns coefficients into electricity.

    matrix : (k, 2m + 4), the sky year; dirt : share of the light that soiling takes
    kind : the panel type, its cooling as hindered by a cover
    cover_colour : what a cover passes of the light that cells use over what it passes of all sunlight; 1 without
    wiring : how panels are put in series and strings on trackers
    """

    conditions: Conditions
    matrix: csr_array
    kind: PanelType
    model: PanelModel
    dirt: float
    cover_colour: float = 1.0
    wiring: WiringTable = PANEL_LEVEL

    def block_year(self, field: Field, block: Block) -> _BlockYear:
        """One block over the year."""
        hours, means = self.conditions.hour_kwh, block.family.net.panel_means
        front, rear = block.front, block.rear
        electric: np.ndarray = front.after * np.float32((1.0 - self.dirt) * self.cover_colour)
        heat: np.ndarray = means(front.after)
        before = {"front": means(front.before), "rear": np.zeros_like(heat)}
        warm = front.after
        if rear is not None:
            electric = electric + np.float32(self.kind.bifaciality * (1.0 - self.dirt)) * rear.after
            heat = heat + means(rear.after)
            before["rear"] = means(rear.before)
            warm = warm + rear.after
        light = self._hourly(electric)
        panel_c = self._temperature(np.maximum(0.0, self.matrix @ heat))
        scale = field.arrangement.area_scale[block.panels]
        power = self._power(light, panel_c, block, scale)
        year = np.asarray(self.matrix.sum(axis=0)).reshape(-1)
        m = len(self.conditions.parts.sun)
        panel = {name: year @ before[name] * hours for name in ("front", "rear")}
        panel["useful"] = means(light).sum(axis=0, dtype=np.float64) * hours
        panel |= {name: w.sum(axis=0) * hours for name, w in power.items()}
        area = block.counts * field.rectangles.area[block.panels]
        share = area / (field.rectangles.area[field.of_panel >= 0].sum())
        hour = {name: self.matrix @ (before[name] @ share) for name in before}
        cosine = self.conditions.parts.sun @ field.rectangles.normal[block.panels].T
        beam = before["front"][:m] + before["rear"][:m]
        by_sheets = front.by_sheets if rear is None else front.by_sheets + rear.by_sheets
        free = np.maximum(0.0, cosine) if rear is None else np.abs(cosine)
        hour["direct"] = self.matrix[:, :m] @ ((beam - by_sheets) @ share)
        hour["open_direct"] = self.matrix[:, :m] @ (free @ share)
        hour["panel_c"] = panel_c @ share
        for name in ("dc_even", "dc"):
            hour[name] = power[name] @ block.counts
        brightest, warmest = front.before.max(axis=2), warm.max(axis=2)
        kept = {}
        if self.wiring.mode != "panel":
            kept = panel_years(block, light, panel_c, power["dc"] / scale)
        stress, stressed = most_stressed(light)
        seen = brightest, warmest, before["front"], means(electric[m:]), *self._shades(electric[:m], cosine, rear)
        return _BlockYear(block, panel, hour, beam, *seen, by_sheets, kept, stress, block.panels[stressed])

    def _shades(
        self, beam: np.ndarray, cosine: FloatArray, rear: LightCoefficients | None
    ) -> tuple[np.ndarray, np.ndarray]:
        """Whether some points of panels lie in shade and whether some take up beam, (m, b) bool; beam : (m, b, points)
        as cells use it, cosine : (m, b) to the front."""
        behind = 0.0 if rear is None else self.kind.bifaciality
        face = np.where(cosine > 0.0, self.cover_colour, behind) * np.abs(cosine)
        free = (1.0 - self.dirt) * face * transmission_ratio(np.abs(cosine))
        there = face > LEAST_FACE
        return there & (beam.min(axis=2) < SHADED * free), there & (beam.max(axis=2) > LIT * free)

    def _hourly(self, coefficients: np.ndarray) -> np.ndarray:
        """(2m + 4, b, cells) -> (k, b, cells) W/m²; the horizon band may be negative, a cell's light is not."""
        columns, b, cells = coefficients.shape
        light = self.matrix @ coefficients.reshape(columns, b * cells)
        return np.maximum(light, 0.0, out=light).reshape(-1, b, cells)

    def _temperature(self, heat: np.ndarray) -> FloatArray:
        c = self.conditions
        return cell_temperature(heat, c.air_c[:, None], c.wind_m_s[:, None], self.kind.u0_w_m2_k, self.kind.u1_w_s_m3_k)

    def _power(self, light: np.ndarray, panel_c: FloatArray, block: Block, scale: FloatArray) -> dict[str, FloatArray]:
        k, b, cells = light.shape
        warm = panel_c.reshape(-1)
        mean = block.family.net.panel_means(light).reshape(-1)
        watts = {
            "dc_cool": even_light_power(mean, np.full_like(warm, STANDARD_C), self.model),
            "dc_even": even_light_power(mean, warm, self.model),
            "dc": dc_power(light.reshape(-1, cells), block.family.groups, self.model, warm),
        }
        return {name: w.reshape(k, b) * scale for name, w in watts.items()}


def evaluate(
    field: Field,
    evaluator: Evaluator,
    glass: Glass,
    tick: Callable[[int], None],
    keep_light: bool = True,
    hung: EndlessTrackers | None = None,
) -> FieldYear:
    """A year of a field. ``tick`` is told how many traced panels each finished block held.

    keep_light : False leaves the arrays of coefficients empty (n = 0): a pattern without end has ten thousand panels
    hung : the trackers of a pattern without end, in place of the wiring's on the plot
    """
    c = evaluator.conditions
    n, k, m = len(field.rectangles), len(c.albedo), len(c.parts.sun)
    held = n if keep_light else 0
    panel = {name: np.full(n, np.nan) for name in PANEL_SUMS}
    hour = {name: np.zeros(k) for name in HOUR_SUMS}
    beam, by_sheets = (np.zeros((m, held), dtype=np.float32) for _ in range(2))
    kept: dict[int, PanelYear] = {}
    stress, stressed = np.full(k, -1.0, dtype=np.float32), np.zeros(k, dtype=np.int64)
    brightest, warmest, mean = (np.zeros((c.parts.columns, held), dtype=np.float32) for _ in range(3))
    rest = np.zeros((c.parts.columns - m, held), dtype=np.float32)
    some_dark, some_lit = (np.zeros((m, held), dtype=bool) for _ in range(2))
    for part in _run(blocks(field, c, glass), lambda b: evaluator.block_year(field, b)):
        for name, values in part.panel.items():
            panel[name][part.block.panels] = values
        for name, values in part.hour.items():
            hour[name] += values
        chosen = part.block.panels
        if keep_light:
            beam[:, chosen], by_sheets[:, chosen] = part.beam, part.by_sheets
            brightest[:, chosen], warmest[:, chosen], mean[:, chosen] = part.brightest, part.warmest, part.mean
            rest[:, chosen], some_dark[:, chosen], some_lit[:, chosen] = part.rest, part.some_dark, part.some_lit
        kept |= part.kept
        more = part.stress > stress
        stress[more], stressed[more] = part.stress[more], part.stressed[more]
        tick(len(chosen))
    hour |= _wired(field, evaluator, kept, hour["dc"], hung)
    stands = np.where(field.of_panel >= 0, field.of_panel, 0)
    panel = {name: np.where(field.of_panel >= 0, values[stands], np.nan) for name, values in panel.items()}
    if keep_light:
        beam, by_sheets = (values[:, stands] for values in (beam, by_sheets))
    light = beam, brightest, warmest, mean, rest, some_dark, some_lit, by_sheets
    return FieldYear(panel, hour, *light, stress, stressed)


def _wired(
    field: Field, evaluator: Evaluator, kept: dict[int, PanelYear], dc_w: FloatArray, hung: EndlessTrackers | None
) -> dict[str, FloatArray]:
    """The hours' power in strings, on trackers and within their voltages, of the panels that are worked out."""
    wiring = evaluator.wiring
    if hung is None:
        there = [[s[field.of_panel[s] >= 0] for s in tracker] for tracker in trackers_of(field.arrangement, wiring)]
        parts = [tuple(s for s in tracker if len(s)) for tracker in there]
        trackers, times = tuple(t for t in parts if t), None
    else:
        trackers, times = hung.trackers, hung.per_unit
    found = trackers_dc_w(trackers, kept, field, evaluator.model, dc_w, wiring.window_v, times)
    return {"series": found.series, "parallel": found.parallel, "wired": found.held}


def stress_of(light: np.ndarray) -> np.ndarray:
    """How prone panels are to a hot spot: (k, b, cells) -> (k, b), as `FieldYear.stress`."""
    low = light.min(axis=2)
    return np.asarray(low * (light.max(axis=2) - low))


def most_stressed(light: np.ndarray) -> tuple[np.ndarray, IntArray]:
    """The panel most prone to a hot spot in each hour: (k, b, cells) -> its stress (k,) and its place among b (k,)."""
    stress = stress_of(light)
    worst = stress.argmax(axis=1)
    return stress[np.arange(len(stress)), worst], worst


def _run(items: Iterable[Block], work: Callable[[Block], _BlockYear]) -> Iterator[_BlockYear]:
    """Work on blocks in as many threads as there are cores; results in order, so that sums repeat exactly."""
    with ThreadPoolExecutor(worker_count()) as pool:
        pending: deque[Future[_BlockYear]] = deque()
        for item in items:
            pending.append(pool.submit(work, item))
            if len(pending) > worker_count():
                yield pending.popleft().result()
        while pending:
            yield pending.popleft().result()
