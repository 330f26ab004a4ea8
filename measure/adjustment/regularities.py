"""Regularities: parallel, square, collinear, equal radius, concentric, as hypotheses that the data must bear out.

Each is proposed from the features, weighed against its plain alternative ("any angle", "any radius nearby") by Bayes'
rule with the covariance at hand, and taken, when accepted, as an observation of small but finite variance: made parts
are regular, but not perfectly so. Source of the weighing: H. Jeffreys, Theory of Probability (1939), point hypothesis
against a diffuse one.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from typing import Literal, get_args

import numpy as np

from calib.arrays import Array
from measure.geometry.features import F, Feature, Line, Round, direction, is_round, length, middle, right_normal

RegularityKind = Literal["parallel", "square", "collinear", "equal-radius", "concentric"]
KINDS: tuple[RegularityKind, ...] = get_args(RegularityKind)

TURN_TOLERANCE_RAD = 0.0005
"""How far made edges are from parallel or square."""
PLACE_TOLERANCE_MM = 0.02
"""How far made radii are from equal, centres from concentric, edges from one line (at their middles)."""
REACH_RAD = math.radians(2)
"""The plain alternative: any angle this close to parallel or square."""
REACH_RADIUS_MM = 0.6
"""The plain alternative: any radius this close."""
REACH_PLACE_MM = 1.0
"""The plain alternative: any place this close."""
ACCEPT = 0.9
"""Odds, as a probability, from which a regularity is taken."""
PRIOR = {"directions": 0.8, "collinear": 0.5, "equal-radius": 0.6, "concentric": 0.5}
"""How probable each is before looking, of made things that come so near (common sense, no statistics are known)."""
HOPELESS = 5.0
"""Squares of gaps, in variances a gap, from which on no regularity is left to be weighed: e⁻²·⁵ each."""
SHORTEST_MM, SAME_WAY = 1.5, 0.99
"""Shorter edges are not looked at; edges on one line run the same way, cosine."""


@dataclass(frozen=True, slots=True)
class Regularity:
    """One accepted hypothesis, as observation equations ``0 = gap + row @ dx``.

    Attributes:
        kind: what is regular.
        features: labels; the first is the datum.
        gaps: (k,) how far the features are from it, mm or rad.
        rows: (k, m) gradient of the gaps in the stacked parameters.
        sd: standard deviation of the made part from perfect, mm or rad.
        probability: that it holds, given the data.
    """

    kind: RegularityKind
    features: tuple[str, ...]
    gaps: Array
    rows: Array
    sd: float
    probability: float

    def at(self, step: Array) -> Regularity:
        """The same with the features moved by a small step (m,) of their parameters."""
        return replace(self, gaps=self.gaps + self.rows @ step)


@dataclass(slots=True)
class _Proposals:
    """What all proposals need: features, where their parameters stand, and the covariance."""

    features: Sequence[Feature]
    slices: dict[str, slice]
    covariance: Array
    found: list[Regularity] = field(default_factory=list)

    def row(self, *parts: tuple[Feature, Sequence[float]]) -> Array:
        out = np.zeros(len(self.covariance))
        for f, g in parts:
            out[self.slices[f.label]] += g
        return out

    def weigh(self, gaps: Array, rows: Array, sd: float, prior: float, reach: float) -> float:
        """Probability of the regularity against "anywhere within ± reach" in each component."""
        if np.abs(gaps).max() > reach:
            return 0.0
        near = np.nonzero(rows.any(axis=0))[0]
        few = rows[:, near]
        v = few @ self.covariance[near[:, None], near] @ few.T + np.eye(len(gaps)) * sd**2
        if (gaps**2 / v.diagonal()).max() > HOPELESS * len(gaps):  # all together are no nearer than the farthest alone
            return 0.0
        chi2 = float(gaps @ np.linalg.solve(v, gaps))
        if chi2 > HOPELESS * len(gaps):
            return 0.0
        like = math.exp(-0.5 * chi2) / math.sqrt((2 * math.pi) ** len(gaps) * float(np.linalg.det(v)))
        other = (2 * reach) ** -len(gaps)
        return prior * like / (prior * like + (1 - prior) * other)


def propose(
    features: Sequence[Feature],
    slices: dict[str, slice],
    covariance: Array,
    kinds: Sequence[RegularityKind] = KINDS,
    held: Sequence[Regularity] = (),
) -> list[Regularity]:
    """Regularities that the data bear out, each feature tied to one datum of its kind, never in a closed chain.

    Args:
        features: the features.
        slices: where each feature's parameters stand in the stack.
        covariance: (m, m) of the stacked parameters.
        kinds: what to look for.
        held: those taken before, for `collinear`, which asks for parallel edges.
    """
    proposals = _Proposals(features, slices, covariance, list(held))
    steps = {"parallel": _directions, "collinear": _collinear, "equal-radius": _radii, "concentric": _concentric}
    for kind, step in steps.items():
        if kind in kinds:
            step(proposals)
    return proposals.found[len(held) :]


def _tie(
    proposals: _Proposals,
    members: Sequence[F],
    hypothesis: Callable[[F, F], tuple[RegularityKind, Array, Array] | None],
    sd: float,
    prior: float,
    reach: float,
) -> None:
    """Each member, best known first, is tied to the datum that fits it best, or becomes a datum itself."""
    data: list[F] = []
    for f in members:
        best: Regularity | None = None
        for d in data:
            said = hypothesis(d, f)
            if said is None:
                continue
            kind, gaps, rows = said
            p = proposals.weigh(gaps, rows, sd, prior, reach)
            if p >= ACCEPT and (best is None or p > best.probability):
                best = Regularity(kind, (d.label, f.label), gaps, rows, sd, p)
        if best:
            proposals.found.append(best)
        else:
            data.append(f)


def _directions(proposals: _Proposals) -> None:
    lines = sorted(
        (f for f in proposals.features if f.kind == "line" and length(f) > SHORTEST_MM), key=lambda f: -length(f)
    )

    bearing = {f.label: math.atan2(*direction(f)[::-1]) for f in lines}

    def hypothesis(d: Line, f: Line) -> tuple[RegularityKind, Array, Array] | None:
        angle = bearing[f.label] - bearing[d.label]
        quarter = round(angle / (math.pi / 2))
        gap = np.array([angle - quarter * math.pi / 2])
        if abs(gap[0]) > REACH_RAD:
            return None
        return ("square" if quarter % 2 else "parallel"), gap, proposals.row((d, (0, -1)), (f, (0, 1)))[None]

    _tie(proposals, lines, hypothesis, TURN_TOLERANCE_RAD, PRIOR["directions"], REACH_RAD)


def _collinear(proposals: _Proposals) -> None:
    parallel = {frozenset(r.features) for r in proposals.found if r.kind == "parallel"}
    datum = {r.features[1]: r.features[0] for r in proposals.found if r.kind in ("parallel", "square")}
    lines = sorted(
        (f for f in proposals.features if f.kind == "line" and length(f) > SHORTEST_MM), key=lambda f: -length(f)
    )

    def hypothesis(d: Line, f: Line) -> tuple[RegularityKind, Array, Array] | None:
        same = datum.get(d.label, d.label) == datum.get(f.label, f.label) or {d.label, f.label} in parallel
        if not same or direction(d) @ direction(f) < SAME_WAY:
            return None
        u, n, apart = direction(d), right_normal(d), middle(f) - middle(d)
        if abs(float(u @ apart)) < (length(d) + length(f)) / 2:  # side by side: a step, not one line
            return None
        row = proposals.row((d, (-1, float(u @ apart))), (f, (float(right_normal(f) @ n), 0)))
        return "collinear", np.array([float(n @ apart)]), row[None]

    _tie(proposals, lines, hypothesis, PLACE_TOLERANCE_MM, PRIOR["collinear"], REACH_PLACE_MM)


def _radii(proposals: _Proposals) -> None:
    rounds = [f for f in proposals.features if is_round(f)]
    classes: dict[tuple[str, bool, str | None], list[Round]] = {}
    for f in rounds:
        classes.setdefault((f.kind, f.loop == 0, f.turn if f.kind == "arc" else None), []).append(f)
    for members in classes.values():
        members.sort(key=lambda f: proposals.covariance[proposals.slices[f.label], proposals.slices[f.label]][2, 2])

        def hypothesis(d: Round, f: Round) -> tuple[RegularityKind, Array, Array] | None:
            if abs(f.radius - d.radius) > REACH_RADIUS_MM:
                return None
            row = proposals.row((d, (0, 0, -1)), (f, (0, 0, 1)))
            return "equal-radius", np.array([f.radius - d.radius]), row[None]

        _tie(proposals, members, hypothesis, PLACE_TOLERANCE_MM, PRIOR["equal-radius"], REACH_RADIUS_MM)


def _concentric(proposals: _Proposals) -> None:
    rounds = [f for f in proposals.features if is_round(f)]
    rounds.sort(
        key=lambda f: np.trace(proposals.covariance[proposals.slices[f.label], proposals.slices[f.label]][:2, :2])
    )

    def hypothesis(d: Round, f: Round) -> tuple[RegularityKind, Array, Array] | None:
        gaps = np.subtract(f.centre, d.centre)
        if np.hypot(*gaps) > REACH_PLACE_MM:
            return None
        rows = [proposals.row((d, (-1, 0, 0)), (f, (1, 0, 0))), proposals.row((d, (0, -1, 0)), (f, (0, 1, 0)))]
        return "concentric", gaps, np.array(rows)

    _tie(proposals, rounds, hypothesis, PLACE_TOLERANCE_MM, PRIOR["concentric"], REACH_PLACE_MM)
