"""Heat as a product: panels give heat to a store of water, which cools them.

    heat off the panels   q = eta0·G − a1·ΔT − a2·ΔT²,  ΔT = water − air    (form of ISO 9806 and EN 12975)
                          at most G − U·ΔT: what the panel's own losses, U = u0 + u1·wind, leave
    store                 C·dT/dt = area·q − draw − losses

G is the light that panels take up after the glass's angular loss, both faces, W/m². A panel that gives q is colder by
q/U than the dry one (Faiman's balance) and never colder than the water that it heats; the same balance sets the second
line, without which open panels would give heat that they do not have. The store is mixed; the pump runs while q is
above 0 and the store below its limit; its electricity is not counted. Hot water is drawn morning and evening through a
mixing valve.
"""

from dataclasses import dataclass

import numpy as np

from layout.conditions import Conditions, local_clock
from layout.hot_water_table import HotWaterTable
from layout.power.heat import wind_ratio
from layout.power.panel_model import PanelModel, even_light_power
from layout.result import HotWater
from sites.conventions import FloatArray

WATER_J_KG_K = 4186.0
DRAW_HOURS = (6, 7, 8, 18, 19, 20, 21)
"""Hours of the site's clock in which hot water is drawn, evenly. Our assumption."""
APPROACH_K = 4.0
"""Water in the panels over the store's mean, pipes and exchanger in. Our assumption."""
PARTS_OF_HOUR = 4
KELVIN = 1e-7
MOST_STEPS = 60
"""Newton's steps; 2 to 4 are needed, halving between two bounds would take fewer than this."""

Flows = tuple[float, float, float, float]


def collector_heat(
    light_w_m2: FloatArray | float, warmer_k: FloatArray | float, table: HotWaterTable
) -> FloatArray | float:
    """Heat off a m² of panel, W/m² (below 0: it would lose heat), water ``warmer_k`` above the air; broadcast."""
    return table.eta0 * light_w_m2 - table.a1 * warmer_k - table.a2 * warmer_k * np.abs(warmer_k)


@dataclass(frozen=True, eq=False)
class _Store:
    """table; area_m2 : of panels that give heat; step_s : of one part of an hour."""

    table: HotWaterTable
    area_m2: float
    step_s: float

    def flows(self, c: float, light: float, loss: float, air_c: float, litres_s: float) -> Flows:
        """Collected, drawn and lost heat [W] at the store temperature ``c``, and what all leave the store gains less
        when it is a degree warmer [W/K].

        light, loss, air_c : as in `store_year`, of one record; litres_s : wanted in a second
        """
        t, warmer = self.table, c + APPROACH_K - air_c
        own, kept = float(collector_heat(light, warmer, t)), light - loss * warmer
        heat, slope = (own, t.a1 + 2.0 * t.a2 * abs(warmer)) if own < kept else (kept, loss)
        if heat <= 0.0:
            heat, slope = 0.0, 0.0
        flow, slope = litres_s * WATER_J_KG_K, self.area_m2 * slope + t.store_loss_w_per_k
        if t.cold_c <= c < t.set_c:
            slope += flow
        drawn = flow * max(0.0, min(c, t.set_c) - t.cold_c)
        return self.area_m2 * heat, drawn, t.store_loss_w_per_k * (c - t.room_c), slope

    def step(self, before_c: float, *record: float) -> tuple[float, float, float, float]:
        """The store's temperature after a step, and collected, drawn and lost heat [J] in it; record : as in `flows`.

        Flows are those at the step's end (backward Euler): the balance closes and large fields cannot swing. Newton's
        method, kept between bounds: what is left open rises with the temperature, bend by bend.
        """
        capacity, step = self.table.store_litres * WATER_J_KG_K, self.step_s
        after, low, high = before_c, -np.inf, np.inf
        for _ in range(MOST_STEPS):
            collected, drawn, lost, slope = self.flows(after, *record)
            left = capacity * (after - before_c) - step * (collected - drawn - lost)
            low, high = (low, after) if left > 0.0 else (after, high)
            moved = left / (capacity + step * slope)
            if abs(moved) < KELVIN:
                break
            after -= moved
            if not low < after < high:
                after = 0.5 * (low + high)
        most = max(self.table.most_c, before_c)
        if after > most:  # the pump runs only as long as the store is below its limit
            after = most
            _, drawn, lost, _ = self.flows(after, *record)
            collected = max(0.0, capacity * (after - before_c) / step + drawn + lost)
        if not collected:
            # Nothing runs: what the root leaves open would be heat from nowhere.
            after = before_c - step * (drawn + lost) / capacity
        return after, step * collected, step * drawn, step * lost


def store_year(
    light: FloatArray,
    loss: FloatArray,
    air_c: FloatArray,
    litres: FloatArray,
    area_m2: float,
    table: HotWaterTable,
    interval_h: float,
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """The store through a year of n records.

    light : (n,) [W/m²] taken up by the panels; loss : (n,) [W/m²K] of the panels to the air; air_c : (n,) [°C]
    litres : (n,) hot water wanted in each record
    Returns store temperature at the end of each record (n,) [°C]; collected, drawn and lost heat (n, 3) [J]; what is
    left in the store at the end over its start (1,) [J]. The store starts at the mains' temperature.

    A loop: each record starts from the store that the one before has left.
    """
    store = _Store(table, area_m2, interval_h * 3600.0 / PARTS_OF_HOUR)
    flow = litres / (interval_h * 3600.0)
    temperature, heat = np.zeros(len(light)), np.zeros((len(light), 3))
    now = table.cold_c
    for i, record in enumerate(zip(*(x.tolist() for x in (light, loss, air_c, flow)), strict=True)):
        parts = []
        for _ in range(PARTS_OF_HOUR):
            now, *moved = store.step(now, *record)
            parts.append(moved)
        temperature[i], heat[i] = now, np.sum(parts, axis=0)
    return temperature, heat, np.array([table.store_litres * WATER_J_KG_K * (now - table.cold_c)])


def hot_water_year(
    c: Conditions,
    dry_c: FloatArray,
    cooling: tuple[float, float],
    panel_area_m2: float,
    model: PanelModel,
    table: HotWaterTable,
) -> HotWater:
    """Hot water of a layout in a year, and what it does to the panels.

    dry_c : (k,) mean cell temperature without it in the sun-up hours; cooling : u0, u1 as in layout.power.heat
    """
    loss = cooling[0] + cooling[1] * c.wind_m_s * wind_ratio()
    taken_up = np.maximum(0.0, loss * (dry_c - c.air_c))  # undoes a subtraction: may be a last digit below 0
    n, index, interval = len(c.weather.start), c.sky.index, c.weather.interval_h
    light, losses = np.zeros(n), np.full(n, cooling[0])
    light[index], losses[index] = taken_up, loss
    hours = local_clock(c.site, c.weather.start).hour
    wanted = np.isin(hours, DRAW_HOURS).astype(np.float64)
    litres = table.draw_litres_per_day * n * interval / 24.0 * wanted / max(1.0, wanted.sum())
    area = panel_area_m2 * table.panels_share
    air = np.asarray(c.weather.air_c, dtype=np.float64)
    store_c, heat, left = store_year(light, losses, air, litres, area, table, interval)
    q = heat[index, 0] / (area * interval * 3600.0)
    wet_c = dry_c - q / loss
    even = [even_light_power(taken_up, t, model).astype(np.float64) for t in (dry_c, wet_c)]
    ratio = np.divide(even[1], even[0], out=np.ones(len(q)), where=even[0] > 0)
    kwh = heat.sum(axis=0) / 3.6e6
    asked = litres.sum() * WATER_J_KG_K * (table.set_c - table.cold_c) / 3.6e6
    return HotWater(
        hot_water_kwh=float(kwh[1]),
        asked_kwh=float(asked),
        collected_kwh=float(kwh[0]),
        store_loss_kwh=float(kwh[2]),
        stored_kwh=float(left[0]) / 3.6e6,
        hours_at_set_temperature=float((store_c >= table.set_c - 1e-6).sum() * interval),
        factor=1.0 + table.panels_share * (ratio - 1.0),
        panel_c=dry_c + table.panels_share * (wet_c - dry_c),
        store_c=store_c,
        collected_kw=heat[:, 0] / (interval * 3.6e6),
        drawn_kw=heat[:, 1] / (interval * 3.6e6),
    )
