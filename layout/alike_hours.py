"""A year's electricity from one in a few alike hours: the loss by uneven light is worked out there and taken as a share
of each hour's power under even light, which is worked out in every hour."""

import numpy as np
from scipy.sparse import csr_array

from layout.conditions import Conditions
from layout.evaluate import Evaluator
from layout.field import Family
from layout.power.heat import cell_temperature
from layout.power.method import dc_power
from layout.power.panel_model import even_light_power
from sites.conventions import FloatArray, IntArray

ELEVATION_STEP_DEG, AZIMUTH_STEP_DEG = 6.0, 12.0
"""The sun stands in one place within so much."""

DARK_W = 1e-3
"""Power of a panel below which its share is of no account."""


def alike_hours(year: Conditions, each: int) -> tuple[IntArray, IntArray]:
    """Groups of ``each`` hours with the sun in about one place and about the same share of beam: the hour that stands
    for each group (g,), and the group of each hour (k,)."""
    sky = year.sky
    steps = np.array([ELEVATION_STEP_DEG, AZIMUTH_STEP_DEG])
    at = np.floor(np.column_stack([sky.sun.elevation_deg, sky.sun.azimuth_deg]) / steps)
    place = np.unique(at, axis=0, return_inverse=True)[1].reshape(-1)
    clear = sky.beam / np.maximum(sky.beam + sky.dome, 1e-9)
    # Up in one place and down in the next, so that hours of a group that lies in two are alike, too.
    order = np.lexsort((np.where(place % 2 == 1, -clear, clear), place))
    group = np.zeros(len(order), dtype=np.int64)
    group[order] = np.arange(len(order)) // each
    count = -(-len(order) // each)
    picked = order[np.minimum(np.arange(count) * each + each // 2, len(order) - 1)]
    return picked, group


def alike_power(
    electric: np.ndarray,
    heat: np.ndarray,
    family: Family,
    e: Evaluator,
    matrix: csr_array,
    picked: IntArray,
    group: IntArray,
) -> FloatArray:
    """Power of each panel of the type's size in each hour, on a tracker of its own, (k, b) W.

    electric : (2m + 4, b, cells) float32, light that cells take up; heat : (2m + 4, b) float32, what warms each panel
    matrix : (k, 2m + 4), the sky year; picked, group : of `alike_hours`
    """
    columns, b, cells = electric.shape
    c = e.conditions
    warmth = np.maximum(0.0, matrix @ heat)
    panel_c = cell_temperature(warmth, c.air_c[:, None], c.wind_m_s[:, None], e.kind.u0_w_m2_k, e.kind.u1_w_s_m3_k)
    even = even_light_power(np.maximum(0.0, matrix @ family.net.panel_means(electric)), panel_c, e.model)
    light = matrix[picked] @ electric.reshape(columns, b * cells)
    light = np.maximum(light, 0.0, out=light).reshape(-1, cells)
    there = dc_power(light, family.groups, e.model, panel_c[picked].reshape(-1)).reshape(-1, b)
    share = np.where(even[picked] > DARK_W, there / np.maximum(even[picked], DARK_W), 1.0)
    return np.asarray(even * share[group])
