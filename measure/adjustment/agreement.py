"""The adjustment under way: what is believed, where the features are by now, and how well they are known.

Unknown are the features' parameters, the terms that all of them share, and the tools' zeros
(`measure.adjustment.equations`). The photo is the prior; readings and regularities are observations. Nearly linear, so
two or three rounds settle it.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from calib.arrays import Array
from calib.tools.jaws import Tool
from measure.adjustment.equations import (
    Equation,
    Unknowns,
    equation,
    key,
    predicted,
    prior,
    reading_covariance,
    unknowns,
)
from measure.adjustment.judging import LOOSER, Judgement, ReadingSet, judge
from measure.adjustment.least_squares import CRITICAL, LeastSquares, Observations, solve, whitener
from measure.adjustment.regularities import Regularity, RegularityKind, propose
from measure.geometry.features import Estimate, Feature
from measure.geometry.rejoin import Joint, about_new_middles, closing, joints, rejoined, shifted_all
from measure.readings.readings import Reading
from measure.subject import Subject

REGULARITY_CRITICAL = 2.6
"""Regularities go earlier than readings: two-sided critical value for 1 %."""
ROUNDS = 3
"""Rounds of linearisation; the equations are so nearly linear that the third changes nothing."""
SETTLED_MM = 1e-5
"""A round that changes nothing by more than this is the last one: a hundredth of a micrometre."""


class Agreement:
    """The adjustment under way: what is believed, and where the features are now."""

    def __init__(
        self,
        estimate: Estimate,
        readings: tuple[Reading, ...],
        thickness_mm: float,
        subject: Subject,
        tools: Mapping[str, Tool],
    ) -> None:
        self.estimate, self.readings, self.thickness_mm, self.subject = estimate, readings, thickness_mm, subject
        self.tools = tools
        self.found: list[Joint] = joints(estimate.features)
        self.k: Unknowns = unknowns(estimate, self.found, readings, tools)
        self.covariance = reading_covariance(readings, tools)
        self.mean, self.prior = prior(self.k, tools)
        self.prior_root: Array | None = None
        self.kept = list(range(len(readings)))
        self.regularities: list[Regularity] = []
        self.dropped: list[Regularity] = []
        self.rest_at = np.zeros(self.k.size)
        self.x = self.mean.copy()
        self.solution: LeastSquares | None = None

    @property
    def solved(self) -> LeastSquares:
        """The last solution."""
        assert self.solution is not None
        return self.solution

    # ------------------------------------------------------------ equations
    def features_at(self, x: Array) -> dict[str, Feature]:
        return {f.label: f for f in shifted_all(self.estimate.features, x[: self.k.m])}

    def equations(self, which: Sequence[int], x: Array) -> list[Equation]:
        features = self.features_at(x)
        args = (features, x, self.thickness_mm, self.tools, self.subject)
        return [equation(self.k, self.readings[i], *args) for i in which]

    def groups(self) -> list[Observations]:
        """Prior, believed readings and regularities, linearised at `x`."""
        out = [Observations(np.eye(self.k.size), self.mean - self.x, self.prior, self.prior_root)]
        at = self.equations(self.kept, self.x)
        read = np.array([self.readings[i].value_mm for i in self.kept])
        a = np.array([e.row for e in at]).reshape(-1, self.k.size)
        c = self.covariance[np.ix_(self.kept, self.kept)]
        out.append(Observations(a, read - np.array([e.reading_mm for e in at]), c))
        rows = np.concatenate([np.zeros((0, self.k.m)), *(r.rows for r in self.regularities)])
        gaps = np.concatenate([np.zeros(0), *(r.gaps for r in self.regularities)])
        variance = np.repeat([r.sd**2 for r in self.regularities], [len(r.gaps) for r in self.regularities])
        moved = self.x[: self.k.m] - self.rest_at[: self.k.m]
        rest = np.zeros((len(gaps), self.k.size - self.k.m))
        out.append(Observations(np.hstack([rows, rest]), -(gaps + rows @ moved), variance))
        return out

    # ------------------------------------------------------------ steps
    def judge(self) -> Judgement:
        """The readings against the photo alone."""
        at = self.equations(range(len(self.readings)), self.mean)
        bench = ReadingSet(
            design=np.array([e.row for e in at]).reshape(-1, self.k.size),
            observed=np.array([r.value_mm - e.reading_mm for r, e in zip(self.readings, at, strict=True)]),
            covariance=self.covariance,
            tools=[r.tool for r in self.readings],
            zeroed=[r.tool in self.k.zeros for r in self.readings],
            keys=[key(r) for r in self.readings],
            is_thickness=[r.kind == "thickness" for r in self.readings],
            features=self.k.m,
        )
        return judge(bench, [(f, predicted(self.k, self.tools, bench.design, f)) for f in LOOSER])

    def believe(self, judged: Judgement) -> None:
        """Let in the readings that are believed, and the photo as far as it is."""
        gone = {*judged.aside, *(i for z in judged.zeros for i in z.rows)}
        self.kept = [i for i in range(len(self.readings)) if i not in gone]
        if judged.looser != 1.0 or judged.misplaced:
            self.mean, self.prior = prior(self.k, self.tools, judged.looser, judged.misplaced)
        self.prior_root = whitener(self.prior)
        self.x = self.mean.copy()

    def adjust(self, rounds: int = ROUNDS) -> LeastSquares:
        """Solve, linearise anew, and again."""
        for _ in range(rounds):
            solution = solve(self.groups(), tested=(1, 2))
            self.x = self.x + solution.x
            if np.abs(solution.x).max() < SETTLED_MM:
                break
        self.solution = solution
        return solution

    def regularise(self) -> None:
        """Propose regularities, and drop those that the readings or the other regularities contradict."""
        self.take_regularities(("parallel", "square"))
        self.take_regularities(("collinear", "equal-radius", "concentric"))  # directions are better known by now

    def take_regularities(self, kinds: Sequence[RegularityKind]) -> None:
        """Those of some kinds that hold, beside those taken before."""
        now = list(self.features_at(self.x).values())
        held = [r.at(self.x[: self.k.m] - self.rest_at[: self.k.m]) for r in self.regularities]
        self.rest_at = self.x.copy()
        found = propose(now, self.k.slices, self.solved.covariance[: self.k.m, : self.k.m], kinds, held)
        self.regularities = [*held, *found]
        while self.regularities:
            solution = self.adjust(1)
            w = np.abs(solution.groups[2].standardised())
            of = np.repeat(np.arange(len(self.regularities)), [len(r.gaps) for r in self.regularities])
            against = np.abs(solution.groups[1].standardised()).max(initial=0.0)
            if w.max() <= REGULARITY_CRITICAL and against <= CRITICAL:
                break
            self.dropped.append(self.regularities.pop(int(of[np.argmax(w)])))
        self.adjust(2)

    def close(self) -> None:
        """Let tangent neighbours touch exactly; the linear conditions left some micrometres."""
        self.x[: self.k.m] += closing(list(self.features_at(self.x).values()), self.found)

    def adjusted_estimate(self) -> Estimate:
        """Features where they are now, joined, and their covariance split into shared terms and the rest."""
        return moved_estimate(self.estimate, self.found, self.x, self.solved.covariance)

    def covariance_without_readings(self) -> Array:
        """(m, m) of the feature parameters by the photo and the regularities alone."""
        groups = self.groups()
        return solve([groups[0], groups[2]], tested=()).covariance[: self.k.m, : self.k.m]


def moved_estimate(estimate: Estimate, found: Sequence[Joint], x: Array, covariance: Array) -> Estimate:
    """Features moved and joined, and their covariance split into shared terms and the rest.

    Args:
        estimate: m parameters and s shared terms.
        found: its junctions before the move.
        x: (u,) changes, the features' parameters first.
        covariance: (u, u) of the unknowns: features' parameters, then shared terms, then whatever else.
    """
    m, s = estimate.sensitivity.shape
    now = shifted_all(estimate.features, x[:m])
    joined = rejoined(now, found)
    turned = about_new_middles(now, joined)
    t = slice(m, m + s)
    own = turned @ covariance[:m, :m] @ turned.T
    cross = turned @ covariance[:m, t]
    shared = covariance[t, t]
    sensitivity = np.asarray(cross @ np.linalg.pinv(shared, rcond=1e-12, hermitian=True))
    white = own - sensitivity @ shared @ sensitivity.T
    return replace(
        estimate, features=tuple(joined), white=(white + white.T) / 2, sensitivity=sensitivity, shared=shared
    )
