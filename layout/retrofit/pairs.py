"""Pairs of candidates that change each other's effect: which they are, and which are alike.

Roofs repeat themselves: the sheet before a row and the sheet behind the next do to each other what the same two do one
row farther on. One pair of each such class is traced, its effect holds for all of them until a whole tracing corrects
it.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import combinations

import numpy as np
from scipy.spatial import cKDTree

from layout.plan_sheets import SheetTypes
from layout.retrofit.candidates import Candidate, Found
from layout.retrofit.effects import Effect, Part, Roof, case_effects, pair_effect
from layout.retrofit.model import Pair, Problem
from layout.retrofit.sums import moved, pair_by_sum
from layout.workers import Told
from sites.conventions import FloatArray, IntArray

ALL_PAIRS = 16
"""Up to so many candidates no pairs count as alike, and all that may matter are known before the first choice."""

CLASSES_FIRST = 24
"""With more candidates, classes of pairs known before the first choice: those that bring most light together."""

TOUCHES = 2e-3
"""Share of a panel's yearly light that both of a pair have to change before the pair is traced. What others do to one
another the whole tracing finds."""

TOUCHES_FEW = 3e-4
"""The same where a pair is chosen among up to FEW candidates: small gains are told better then."""

FEW = 60

ALIKE_M = 0.01
"""Sheets and panels that lie as near to each other's places, seen from their pair, count as alike."""

Key = tuple[object, ...]


@dataclass(frozen=True, eq=False)
class Pairs:
    """All pairs of a roof's candidates that touch the same panel and may stand together.

    classes : pairs that are alike, the first of each two the one that comes first in the class's own order
    of_pair : the class of each pair (i, j), i < j; strong : those that both do much to one panel
    light : what traced pairs do to the light beyond the sum of both
    """

    roof: Roof
    found: Found
    effects: Sequence[Effect]
    types: SheetTypes
    classes: dict[Key, list[Pair]]
    of_pair: dict[Pair, Key]
    strong: frozenset[Pair]
    light: Mapping[Pair, tuple[Part, ...]] = field(default_factory=dict)

    @classmethod
    def of(cls, roof: Roof, found: Found, effects: Sequence[Effect], types: SheetTypes) -> "Pairs":
        """Gather them. With few candidates no two are taken as alike."""
        near = neighbours(found, effects, roof.light_kwh, TOUCHES_FEW if len(effects) <= FEW else TOUCHES)
        marks = [_mark(c) for c in found.candidates]
        classes: dict[Key, list[Pair]] = {}
        of_pair: dict[Pair, Key] = {}
        for i, j in near:
            key, first, second = _key(found.candidates, marks, i, j) if len(effects) > ALL_PAIRS else ((i, j), i, j)
            classes.setdefault(key, []).append((first, second))
            of_pair[(i, j)] = key
        strong = frozenset(neighbours(found, effects, roof.light_kwh, TOUCHES))
        return cls(roof, found, effects, types, classes, of_pair, strong)

    def first(self) -> list[Pair]:
        """Pairs worked out before the first choice: with few candidates all in which one at least brings energy by
        itself, else one of each class that brings much light."""
        if len(self.effects) <= ALL_PAIRS:
            brings = [e.dc_kwh.sum() > 0 for e in self.effects]
            return [(i, j) for i, j in self.of_pair if (i, j) in self.strong and (brings[i] or brings[j])]
        light = np.array([e.light_kwh.sum() for e in self.effects])
        place = np.array([c.place for c in self.found.candidates])
        best = {int(np.flatnonzero(place == p)[light[place == p].argmax()]) for p in np.unique(place)}
        among = [p for p in self.of_pair if p in self.strong and best.issuperset(p)]
        return self.one_a_class(sorted(among, key=lambda p: -(light[p[0]] + light[p[1]])))[:CLASSES_FIRST]

    def one_a_class(self, pairs: Iterable[Pair]) -> list[Pair]:
        """The first of each class."""
        first: dict[Key, Pair] = {}
        for pair in pairs:
            first.setdefault(self.of_pair[pair], pair)
        return list(first.values())

    def unknown(self, chosen: Sequence[int]) -> list[Pair]:
        """Pairs of a choice that were not traced, one of those that are alike."""
        mine = [p for p in combinations(sorted(chosen), 2) if p in self.of_pair and p not in self.light]
        found: list[Pair] = []
        known: set[Pair] = set()
        for pair in mine:
            if pair not in known:
                found.append(pair)
                known.update(key for key, _ in self._alike(pair))
        return found

    def estimated(self, problem: Problem, pairs: Sequence[Pair]) -> Problem:
        """The model with these pairs and all that are alike as their summed light makes them: nothing is traced, what
        the two do to each other's light is left to the tracing of those that are chosen."""
        known = dict(problem.pairs)
        for pair in pairs:
            extra = pair_by_sum(self.roof, self.effects[pair[0]], self.effects[pair[1]])
            for key, to in self._alike(pair):
                if key not in self.light:
                    known[key] = _at(to, np.arange(len(extra)), extra)
        return replace(problem, pairs=known)

    def traced(
        self, problem: Problem, pairs: Sequence[Pair], told: Told | None, processes: int
    ) -> tuple[Problem, "Pairs"]:
        """The model with these pairs traced, and with all that are alike; what they do to the light is kept."""
        cases = [[self.found.candidates[i], self.found.candidates[j]] for i, j in pairs]
        both = case_effects(self.roof, cases, self.types, told, processes, "what neighbours do to each other")
        known, light = dict(problem.pairs), dict(self.light)
        for pair, case in zip(pairs, both, strict=True):
            effect = pair_effect(case, self.effects[pair[0]], self.effects[pair[1]])
            for key, to in self._alike(pair):
                if key not in light:
                    known[key] = _at(to, effect.panels, effect.dc_kwh)
                    light[key] = moved(effect.parts, to, self.roof)
        return replace(problem, pairs=known), replace(self, light=light)

    def _alike(self, pair: Pair) -> Iterator[tuple[Pair, IntArray]]:
        """Pairs of a pair's class whose panels lie and are as the pair's own, itself among them, and for each panel the
        one there, (n,), -1 where none."""
        reached = self._reached(pair)
        for other in self.classes[self.of_pair[(min(pair), max(pair))]]:
            to = self._panels_there(pair, other)
            if set(to[reached].tolist()) == set(self._reached(other).tolist()):
                yield (min(other), max(other)), to

    def _reached(self, pair: Pair) -> IntArray:
        """Panels that both of a pair reach."""
        return np.intersect1d(self.effects[pair[0]].panels, self.effects[pair[1]].panels)

    def _panels_there(self, pair: Pair, other: Pair) -> IntArray:
        """For each panel the one that lies to another pair of a class as it lies to this one, (n,); -1 where none."""
        r = self.roof.rectangles
        first = next(p for p in self.classes[self.of_pair[(min(pair), max(pair))]] if set(p) == set(pair))
        move = _corner(self.found.candidates[other[0]]) - _corner(self.found.candidates[first[0]])
        if not move.any():
            return np.arange(len(r))
        corners = np.concatenate([r.corner, r.corner + r.along, r.corner + r.up], axis=1)
        away, at = cKDTree(corners).query(corners + np.tile(move, 3), distance_upper_bound=ALIKE_M)
        return np.where(np.isfinite(away), at, -1)

    def changes(self, chosen: Sequence[int]) -> list[Part]:
        """What a set does to the light: its parts, and its pairs as far as they were traced."""
        found = [part for i in chosen for part in self.effects[i].parts]
        inside = [pair for pair in combinations(sorted(chosen), 2) if pair in self.light]
        return found + [part for pair in inside for part in self.light[pair]]


def _at(to: IntArray, panels: IntArray, values: FloatArray) -> FloatArray:
    """Values of some panels at the places of others, (n,)."""
    out, there = np.zeros(len(to)), to[panels] >= 0
    np.add.at(out, to[panels[there]], values[there])
    return out


def neighbours(found: Found, effects: Sequence[Effect], light: FloatArray, touches: float) -> list[Pair]:
    """Pairs (i, j), i < j, of different places that both change some panel's light by more than the share ``touches``
    and may stand together."""
    apart = {(int(i), int(j)) for i, j in found.conflicts}
    reach = [set(e.panels[np.abs(e.light_kwh) > touches * light[e.panels]].tolist()) for e in effects]
    return [
        (i, j)
        for i, j in combinations(np.flatnonzero([len(r) > 0 for r in reach]).tolist(), 2)
        if found.candidates[i].place != found.candidates[j].place and (i, j) not in apart and reach[i] & reach[j]
    ]


def _corner(candidate: Candidate) -> FloatArray:
    return candidate.sheets.corner[0]


def _steps(values: FloatArray) -> tuple[int, ...]:
    return tuple(np.round(values / ALIKE_M).astype(np.int64).reshape(-1).tolist())


def _mark(candidate: Candidate) -> Key:
    """What makes candidates alike, wherever they stand."""
    s = candidate.sheets
    shape = np.concatenate([s.along, s.up, s.corner - s.corner[0]])
    return (candidate.kind.words, candidate.facing, *_steps(shape))


def _key(candidates: Sequence[Candidate], marks: Sequence[Key], i: int, j: int) -> tuple[Key, int, int]:
    """The class of a pair, and its two in the class's own order."""
    away = _steps(_corner(candidates[j]) - _corner(candidates[i]))
    one, other = (marks[i], marks[j], away), (marks[j], marks[i], tuple(-a for a in away))
    return (one, i, j) if repr(one) <= repr(other) else (other, j, i)
