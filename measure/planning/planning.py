"""Which reading next: what each reading that jaws can take would do to the dimensions, before anyone takes it.

The covariance after a reading does not depend on what the reading will say, so it is known beforehand: a reading with
gradient g and variance s² takes (D C g)² / (gᵀ C g + s²) off the variances of the dimensions D. Readings are chosen
one by one, then exchanged one for another as long as that betters the set (V. V. Fedorov, "Theory of Optimal
Experiments", 1972, exchange for trace-optimal designs).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from calib.arrays import Array
from calib.tools.at_hand import AtHand
from calib.tools.budget import K95
from calib.tools.jaws import TOOLS, Tool
from measure.adjustment.equations import Unknowns, equation, prior, reading_covariance, unknowns
from measure.geometry.dimensions import list_dimensions, size_of, stacked
from measure.geometry.features import Estimate
from measure.geometry.rejoin import joints
from measure.planning.reach import POCKET, comfortable_readings
from measure.readings.readings import Reading, ReadingKind
from measure.subject import Subject

GAUGE = "gauge"
"""The tool that reads radii; every other reading is a caliper's."""
WORTH = 0.02
"""A reading that takes a smaller share than this off the variances that are left is not worth the while."""

GOAL_MM = 0.1
"""Half-width of the interval that a dimension should have, if nobody says so: what a printer of the usual kind keeps
(common practice, no source)."""


@dataclass(frozen=True, slots=True)
class Suggestion:
    """A reading that is worth taking.

    Attributes:
        kind, features: as a reading has them.
        tool: that it would be taken with.
        expected_mm: what it will show, about.
        share: of the sum of variances that was left before it, how much it takes off.
        settled: how many dimensions fall under the goal with it.
    """

    kind: ReadingKind
    features: tuple[str, ...]
    tool: str
    expected_mm: float
    share: float
    settled: int

    def words(self) -> str:
        """As a reading is written, without its value."""
        return " ".join([self.kind, *self.features])


@dataclass(frozen=True, slots=True)
class Advice:
    """Readings in the order they are best taken.

    Attributes:
        suggestions: the readings; none when all dimensions are certain enough, or none is worth the while.
        dimensions: how many dimensions there are.
        open_before, open_after: how many of them are less certain than the goal, without and with those readings.
        goal_mm: the u95 that is wanted.
    """

    suggestions: tuple[Suggestion, ...]
    dimensions: int
    open_before: int
    open_after: int
    goal_mm: float


def advise(
    estimate: Estimate,
    *,
    thickness_mm: float,
    subject: Subject = "part",
    tool: str = "caliper",
    tools: Mapping[str, Tool] = TOOLS,
    gauge: bool = False,
    taken: Sequence[tuple[str, tuple[str, ...]]] = (),
    count: int = 3,
    goal_mm: float = GOAL_MM,
    caliper: AtHand = POCKET,
) -> Advice:
    """The readings that make the dimensions most certain.

    Args:
        estimate: the features as they are known by now.
        thickness_mm: as they were traced with.
        subject: part or opening.
        tool: the caliper at hand.
        tools: by name.
        gauge: whether radius gauges are at hand as well.
        taken: kind and features of readings that need not be taken again.
        count: how many readings at most.
        goal_mm: u95 below which a dimension is certain enough.
        caliper: how far the one at hand reaches, and what its jaws go into.
    """
    easy = comfortable_readings(estimate, thickness_mm, subject, caliper)
    design = _Design.of(estimate, easy, thickness_mm, subject, tool, tools, gauge, taken)
    goal = (goal_mm / K95) ** 2
    at_first = design.variances(design.c)
    chosen = design.chosen(count) if (at_first > goal).any() else []
    suggestions = []
    left = design.c
    for i in chosen:
        before, left = left, _after(left, design.rows[i], design.variance[i])
        v0, v1 = design.variances(before), design.variances(left)
        r = design.readings[i]
        share = 1 - float(v1.sum() / v0.sum())
        settled = int(((v0 > goal) & (v1 <= goal)).sum())
        suggestions.append(Suggestion(r.kind, r.features, r.tool, r.value_mm, share, settled))
    at_last = design.variances(left)
    return Advice(tuple(suggestions), len(at_first), int((at_first > goal).sum()), int((at_last > goal).sum()), goal_mm)


@dataclass(frozen=True, slots=True)
class _Design:
    """Candidates and dimensions in one frame of unknowns.

    Attributes:
        readings: what could be taken, with the value to expect.
        rows: (n, u) their gradients; variance: (n,) theirs.
        c: (u, u) covariance of the unknowns; d: (k, u) gradients of the dimensions.
    """

    readings: tuple[Reading, ...]
    rows: Array
    variance: Array
    c: Array
    d: Array

    @classmethod
    def of(
        cls,
        estimate: Estimate,
        easy: Sequence[tuple[ReadingKind, tuple[str, ...], float]],
        thickness_mm: float,
        subject: Subject,
        tool: str,
        tools: Mapping[str, Tool],
        gauge: bool,
        taken: Sequence[tuple[str, tuple[str, ...]]],
    ) -> _Design:
        done = {(kind, frozenset(features)) for kind, features in taken}
        readings = tuple(
            Reading(kind, labels, expected, "mm", GAUGE if kind == "radius" else tool)
            for kind, labels, expected in easy
            if (kind, frozenset(labels)) not in done and (gauge or kind != "radius")
        )
        k = unknowns(estimate, joints(estimate.features), readings, tools)
        mean, c = prior(k, tools)
        features = {f.label: f for f in estimate.features}
        rows = [equation(k, r, features, np.zeros_like(mean), thickness_mm, tools, subject).row for r in readings]
        return cls(
            readings,
            np.array(rows).reshape(-1, k.size),
            np.diag(reading_covariance(readings, tools)).copy(),
            c,
            _gradients(estimate, k),
        )

    def variances(self, c: Array) -> Array:
        """(k,) of the dimensions."""
        return np.asarray(np.einsum("ij,jk,ik->i", self.d, c, self.d, optimize=True))

    def gains(self, c: Array) -> Array:
        """(n,) what each reading alone would take off the sum of the dimensions' variances."""
        cg = self.rows @ c
        return np.asarray(((cg @ self.d.T) ** 2).sum(1) / ((cg * self.rows).sum(1) + self.variance))

    def chosen(self, count: int) -> list[int]:
        """The best readings, best first: one by one, then exchanged as long as the sum falls."""
        picked: list[int] = []
        c = self.c
        while len(picked) < min(count, len(self.readings)):
            gains = self.gains(c)
            gains[picked] = 0.0
            best = int(np.argmax(gains))
            if gains[best] < WORTH * self.variances(c).sum():
                break
            picked.append(best)
            c = _after(c, self.rows[best], self.variance[best])
        for _ in range(len(picked) and 2 * count):
            better = False
            for slot in range(len(picked)):
                rest = self.c
                for i in picked[:slot] + picked[slot + 1 :]:
                    rest = _after(rest, self.rows[i], self.variance[i])
                gains = self.gains(rest)
                gains[picked[:slot] + picked[slot + 1 :]] = 0.0
                best = int(np.argmax(gains))
                if gains[best] > gains[picked[slot]] * (1 + 1e-9):
                    picked[slot], better = best, True
            if not better:
                break
        return self._in_order(picked)

    def _in_order(self, picked: list[int]) -> list[int]:
        """The same readings, each the best of those that are left."""
        out: list[int] = []
        c = self.c
        while len(out) < len(picked):
            gains = self.gains(c)
            best = max((i for i in picked if i not in out), key=lambda i: gains[i])
            out.append(best)
            c = _after(c, self.rows[best], self.variance[best])
        return out


def _after(c: Array, row: Array, variance: float) -> Array:
    """(u, u) covariance after a reading."""
    cg = c @ row
    return np.asarray(c - np.outer(cg, cg) / (row @ cg + variance))


def _gradients(estimate: Estimate, k: Unknowns) -> Array:
    """(n, u) gradients of all dimensions that a job lists."""
    features = {f.label: f for f in estimate.features}
    rows = [
        stacked(size_of(d.kind, [features[x] for x in d.features]), d.features, k.slices, k.size)
        for d in list_dimensions(estimate)
    ]
    return np.array(rows).reshape(-1, k.size)
