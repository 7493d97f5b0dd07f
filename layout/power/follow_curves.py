"""Compiled: curves of parts and groups on a few currents, and a string's voltage on a net of currents."""

import numpy as np

from layout.power.follow_cells import insert, part_volts
from layout.power.follow_types import FULL, LEAK, NET, Series, Tables, Work, compiled, inlined
from layout.power.panel_model import BYPASS_V
from sites.conventions import FloatArray

KNEES = 4
"""Levels of a part, evenly ranked by light, whose knees get nodes."""

KNEE_NODES = (0.94, 0.985)
SHARED_NODES = (0.0, 0.5, 0.9, 1.0)
BACK_NODES = (-0.05,)
LEAK_NODES = (0.3, 1.1)
LEAKY_NODES = (0.25, 0.4, 0.6, 0.7, 0.8)
"""Nodes of a part's curve: over the current of a knee; over that of the string's brightest cell; the same where a
brighter half drives current back through a darker one; over the current beyond the weakest cell's at which its reverse
voltage takes all of the part's; more over the brightest cell's where cells leak and curves slope everywhere."""

SPREAD = 1.4
"""Power with which the net's currents go from 0 to the brightest cell's."""


@inlined
def part_curve(part: int, top: float, back: bool, w: Work, t: Tables) -> None:
    """Tabulate a part on its nodes; top : light current of the string's brightest cell."""
    nodes, n = w.part_i[part], 0
    for share in SHARED_NODES:
        n = insert(nodes, n, share * top)
    if back:
        for share in BACK_NODES:
            n = insert(nodes, n, share * top)
    if t.leaky:
        for share in LEAKY_NODES:
            n = insert(nodes, n, share * top)
    count = w.number[part]
    knees = min(KNEES, count)
    for k in range(knees):
        level = k if knees == count else int(k * (count - 1) / (knees - 1) + 0.5)
        for share in KNEE_NODES:
            n = insert(nodes, n, share * w.level[part, level, FULL])
    own = -t.group_v / t.breakdown_v
    for share in LEAK_NODES:
        y = min(share * own, 0.9)
        n = insert(nodes, n, w.level[part, 0, FULL] + y / w.level[part, 0, LEAK])
    w.part_n[part] = n
    for i in range(n):
        w.part_v[part, i] = part_volts(nodes[i], part, w, t)[0]


@inlined
def current_at(volts: float, i: int, current: FloatArray, own: FloatArray) -> float:
    """Current of a curve at a voltage between nodes i and i + 1, or not far beyond."""
    fall = own[i] - own[i + 1]
    share = (own[i] - volts) / fall if fall > 1e-12 else 0.5
    return current[i] + min(max(share, -1.0), 2.0) * (current[i + 1] - current[i])


@inlined
def join_halves(group: int, w: Work) -> None:
    """A group's curve from its two halves' in parallel: their nodes in falling order of voltage."""
    a, b = 2 * group, 2 * group + 1
    ia, va, na = w.part_i[a], w.part_v[a], w.part_n[a]
    ib, vb, nb = w.part_i[b], w.part_v[b], w.part_n[b]
    i, j, n = 0, 0, 0
    while i < na or j < nb:
        if j >= nb or (i < na and va[i] >= vb[j]):
            volts, first = va[i], ia[i]
            second = current_at(volts, min(max(j - 1, 0), nb - 2), ib, vb)
            i += 1
        else:
            volts, second = vb[j], ib[j]
            first = current_at(volts, min(max(i - 1, 0), na - 2), ia, va)
            j += 1
        w.group_i[group, n] = max(first + second, w.group_i[group, n - 1]) if n else first + second
        w.group_v[group, n], w.first_i[group, n] = volts, first
        n += 1
    w.group_n[group] = n


@inlined
def copy_part(group: int, w: Work) -> None:
    """A group of one part."""
    n = w.part_n[group]
    for i in range(n):
        w.group_i[group, i] = w.part_i[group, i]
        w.group_v[group, i] = w.part_v[group, i]
        w.first_i[group, i] = w.part_i[group, i]
    w.group_n[group] = n


@inlined
def place(current: float, i: int, nodes: FloatArray, n: int) -> int:
    """The node at or below a current, looked for from node i up."""
    while i < n - 2 and nodes[i + 1] <= current:
        i += 1
    return i


@inlined
def between(current: float, i: int, nodes: FloatArray, values: FloatArray) -> float:
    """A group's value at a current between nodes i and i + 1, or not far beyond."""
    width = nodes[i + 1] - nodes[i]
    share = (current - nodes[i]) / width if width > 1e-12 else 0.5
    return values[i] + min(max(share, -1.0), 2.0) * (values[i + 1] - values[i])


@inlined
def add_group(g: int, diodes: bool, w: Work) -> None:
    """Add a group's voltage, as often as there are groups lit alike, to the string's: node after node of its curve,
    which goes on beyond its ends for a while as it ends."""
    nodes, values, last, k = w.group_i[g], w.group_v[g], w.group_n[g] - 2, 0
    for i in range(last + 1):
        width = nodes[i + 1] - nodes[i]
        slope = (values[i + 1] - values[i]) / width if width > 1e-12 else 0.0
        end = nodes[i + 1] if i < last else np.inf
        while k < NET and w.net[k] < end:
            v = values[i] + slope * min(w.net[k] - nodes[i], 2.0 * width)
            w.volts[k] += w.times[g] * (max(v, -BYPASS_V) if diodes else v)
            k += 1


@compiled
def string_net(top: float, p0: int, s: Series, t: Tables, w: Work) -> None:
    """Net of the current of a string from panel p0 on and the voltage there, from their parts' and groups' curves."""
    for k in range(NET):
        w.net[k], w.volts[k] = (k / (NET - 1)) ** SPREAD * top * s.halves, 0.0
    g0 = p0 * s.groups
    for at in range(g0, g0 + w.kinds[g0]):
        g = w.kind[at]
        for part in range(g * s.halves, (g + 1) * s.halves):
            part_curve(part, top, s.halves == 2, w, t)
        if s.halves == 2:
            join_halves(g, w)
        else:
            copy_part(g, w)
        add_group(g, s.diodes, w)
