"""Several photos' outlines of one part made one: a least-squares adjustment over all that each photo says.

Gauss–Markov (Mikhail and Ackermann 1976): unknown are the features of the first outline, each described about a point
of its own (`measure.geometry.local_form`), the terms that features share, and for each further outline the turn and
shift by which it is laid on the first. Known are the features as each photo shows them, with their edge noise, and the
size of the shared terms. Where photos disagree on a feature by more than chance, their difference is taken for the
standard deviation that it shows, so that the result spans both.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from calib.arrays import Array
from measure.adjustment.equations import THICKNESS, with_edge_error
from measure.adjustment.least_squares import ALPHA0, GroupResult, LeastSquares, Observations, chi2_limit, solve
from measure.edges.rounded import RIM
from measure.geometry.features import PARAMETERS, Estimate, Feature, as_fitted
from measure.geometry.local_form import Base, base_of, by_motion, by_parameters, form, parameters_of
from measure.geometry.motion import Motion
from measure.geometry.rejoin import about_new_middles, closing, joints, rejoined, shifted_all

KEPT = (THICKNESS, RIM)
"""Shared terms that readings of the joined outline speak through."""
VIEW = "view"
"""Names of the terms that are a photo's own view begin so."""
UNCHECKED = 1e-7
"""What is checked by less than this share of the best checked is not tested."""
ROUNDS = 3
"""Rounds of laying outlines on the first; the third changes nothing."""


@dataclass(frozen=True, slots=True)
class LaidOutline:
    """A further outline, laid on the first one.

    Attributes:
        estimate: its features as its own photo gives them.
        motion: how it is laid on the first.
        pairs: positions of partners in the first outline and in this one.
    """

    estimate: Estimate
    motion: Motion
    pairs: tuple[tuple[int, int], ...]


@dataclass(frozen=True, slots=True)
class JoinedOutlines:
    """Outlines made one.

    Attributes:
        estimate: in the first one's frame and with its labels. Of the shared terms only the part's own are left, which
            readings tell of; what the others do is part of `white`.
        terms: (s,) best values of the shared terms, and their (s, s) covariance, in the order of `names`.
        motions: how each further outline lies on the first.
        chi2, freedom: global test, before anything was taken for less sure.
        apart: labels of features on which the photos disagree.
        misfits: for each further outline and each of its pairs how far it contradicts all the rest, chi-square, before
            anything was taken for less sure.
        views: for each photo how far its view contradicts the others', chi-square, and its freedom: what a reference
            that does not lie on the part's plane does. Where it is more than the freedom, the views count as so much
            less sure.
    """

    estimate: Estimate
    names: tuple[str, ...]
    terms: Array
    covariance: Array
    motions: tuple[Motion, ...]
    chi2: float
    freedom: int
    apart: tuple[str, ...]
    misfits: tuple[tuple[float, ...], ...]
    views: tuple[tuple[float, int], ...]


def joined(first: Estimate, others: Sequence[LaidOutline]) -> JoinedOutlines:
    """Make outlines of one part one.

    Args:
        first: whose frame and labels the result has.
        others: laid on it. Shared terms of one name are one error in all of them.
    """
    work = _Work(with_edge_error(first), [replace(o, estimate=with_edge_error(o.estimate)) for o in others])
    solution = work.settled()
    chi2, freedom = solution.chi2, solution.freedom
    misfits = tuple(work.misfits(solution, k) for k in range(len(others)))
    while (worst := work.worst(solution)) is not None:
        work.doubt(*worst)
        solution = work.settled()
    views = work.views(solution)
    if work.loosen(views):
        solution = work.settled()
    m, s = work.m, len(work.names)
    terms = slice(m, m + s)
    return JoinedOutlines(
        work.result(solution),
        work.names,
        solution.x[terms],
        solution.covariance[terms, terms],
        tuple(o.motion for o in work.others),
        chi2,
        freedom,
        tuple(first.features[i].label for i in sorted(work.doubted)),
        misfits,
        views,
    )


@dataclass(slots=True)
class _Work:
    """The adjustment under way."""

    first: Estimate
    others: list[LaidOutline]
    bases: dict[int, Base] = field(init=False)
    at: list[slice] = field(init=False)
    m: int = field(init=False)
    names: tuple[str, ...] = field(init=False)
    extra: dict[tuple[int, int], Array] = field(default_factory=dict)
    doubted: list[int] = field(default_factory=list)
    looser: Array = field(init=False)

    def __post_init__(self) -> None:
        e = self.first
        self.at = list(e.slices().values())
        self.m = len(e.white)
        self.bases = {i: base_of(f) for i, f in enumerate(e.features) if f.kind != "curve"}
        every = [e, *(o.estimate for o in self.others)]
        self.names = tuple(dict.fromkeys(n for one in every for n in one.shared_names))
        self.looser = np.ones(len(self.names))

    # ------------------------------------------------------------ equations
    def settled(self) -> LeastSquares:
        """Solve, lay the outlines better, and again."""
        for _ in range(ROUNDS):
            solution = solve(self.groups())
            motions = solution.x[self.m + len(self.names) :].reshape(-1, 3)
            self.others = [
                replace(o, motion=o.motion.then(Motion(float(d[0]), (float(d[1]), float(d[2])))))
                for o, d in zip(self.others, motions, strict=True)
            ]
            if np.abs(motions).max(initial=0.0) < 1e-6:
                break
        return solution

    def groups(self) -> list[Observations]:
        """What each photo says, and last what is known of the shared terms."""
        u = self.m + len(self.names) + 3 * len(self.others)
        out = []
        change = self.changes()
        design = np.zeros((self.m, u))
        design[:, : self.m] = np.eye(self.m)
        design[:, self.m : self.m + len(self.names)] = -change @ self.spread_out(self.first)
        rows = [(i, self.at[i]) for i in self.bases]
        out.append(Observations(design, np.zeros(self.m), self.noise(0, change @ self.first.white @ change.T, rows)))
        for k, o in enumerate(self.others):
            out.append(self.sighted(k, o, u))
        prior = np.zeros((len(self.names), u))
        prior[:, self.m : self.m + len(self.names)] = np.eye(len(self.names))
        out.append(Observations(prior, np.zeros(len(self.names)), self.prior()))
        return out

    def sighted(self, k: int, o: LaidOutline, u: int) -> Observations:
        """What a further photo says of the first one's features."""
        own = list(o.estimate.slices().values())
        rows = self.rows_of(o)
        n = rows[-1][1].stop
        change, design, observed = np.zeros((n, len(o.estimate.white))), np.zeros((n, u)), np.zeros(n)
        for (i, r), (_, j) in zip(rows, o.pairs, strict=True):
            f, base = as_fitted(self.first.features[i]), self.bases[i]
            g = o.motion.of(as_fitted(o.estimate.features[j]))
            change[r, own[j]] = by_parameters(g, base) @ o.motion.of_parameters(g)
            design[r, self.at[i]] = np.eye(r.stop - r.start)
            motion = self.m + len(self.names) + 3 * k
            design[r, motion : motion + 3] = -by_motion(g, base)
            observed[r] = form(g, base) - form(f, base)
        design[:, self.m : self.m + len(self.names)] = -change @ self.spread_out(o.estimate)
        return Observations(design, observed, self.noise(k + 1, change @ o.estimate.white @ change.T, rows))

    def noise(self, number: int, white: Array, rows: Sequence[tuple[int, slice]]) -> Array:
        """Edge noise of a photo's features, and what was added to it in doubt."""
        out = (white + white.T) / 2
        for i, r in rows:
            out[r, r] += self.extra.get((number, i), 0.0)
        return out

    def changes(self) -> Array:
        """(m, m) change of the forms of the first outline's features with their parameters."""
        out = np.zeros((self.m, self.m))
        for i, base in self.bases.items():
            out[self.at[i], self.at[i]] = by_parameters(as_fitted(self.first.features[i]), base)
        return out

    def spread_out(self, e: Estimate) -> Array:
        """(p, s) an outline's sensitivities to all terms."""
        out = np.zeros((len(e.white), len(self.names)))
        out[:, [self.names.index(n) for n in e.shared_names]] = e.sensitivity
        return out

    def prior(self) -> Array:
        """(s, s) covariance of all terms."""
        out = np.zeros((len(self.names), len(self.names)))
        for e in (self.first, *(o.estimate for o in self.others)):
            at = [self.names.index(n) for n in e.shared_names]
            out[np.ix_(at, at)] = e.shared
        out *= np.outer(self.looser, self.looser)
        return out + np.diag(np.diag(out) * 1e-12 + 1e-18)

    # ------------------------------------------------------------ tests
    def views(self, solution: LeastSquares) -> tuple[tuple[float, int], ...]:
        """How far each photo's view is from what all the rest says of it: chi-square and freedom."""
        return tuple(_error_of(solution.groups[-1], own)[:2] for own in self.view_terms())

    def view_terms(self) -> list[NDArray[np.intp]]:
        """Which terms are each photo's own view."""
        every = [self.first, *(o.estimate for o in self.others)]
        return [np.array([self.names.index(n) for n in e.shared_names if n.startswith(VIEW)], np.intp) for e in every]

    def loosen(self, views: Sequence[tuple[float, int]]) -> bool:
        """Take views for as unsure as their contradictions show (Birge 1932); whether any is."""
        for own, (chi2, freedom) in zip(self.view_terms(), views, strict=True):
            self.looser[own] = math.sqrt(max(chi2 / max(freedom, 1), 1.0))
        return bool((self.looser > 1).any())

    def misfits(self, solution: LeastSquares, k: int) -> tuple[float, ...]:
        """How far each feature of a further outline contradicts everything else, chi-square."""
        return tuple(_error_of(solution.groups[k + 1], r)[0] for _, r in self.rows_of(self.others[k]))

    def rows_of(self, o: LaidOutline) -> list[tuple[int, slice]]:
        """Where each pair of a further outline stands in its group: the first outline's feature, and the rows."""
        out, row = [], 0
        for i, _ in o.pairs:
            n = PARAMETERS[self.first.features[i].kind]
            out.append((i, slice(row, row + n)))
            row += n
        return out

    def worst(self, solution: LeastSquares) -> tuple[int, Array] | None:
        """The feature on which the photos disagree most, beyond chance, with the difference; None if there is none."""
        found: tuple[float, int, Array] | None = None
        for k, o in enumerate(self.others):
            t = solution.groups[k + 1]
            for i, r in self.rows_of(o):
                if i in self.doubted:
                    continue
                statistic, freedom, error = _error_of(t, r)
                excess = statistic / chi2_limit(freedom, ALPHA0) if freedom else 0.0
                if excess > 1 and (found is None or excess > found[0]):
                    found = (excess, i, error)
        return None if found is None else found[1:]

    def doubt(self, i: int, difference: Array) -> None:
        """Take a feature for as unsure in every photo as their difference shows."""
        self.doubted.append(i)
        for number in range(len(self.others) + 1):
            self.extra[number, i] = np.outer(difference, difference) / 2

    # ------------------------------------------------------------ result
    def result(self, solution: LeastSquares) -> Estimate:
        """The first outline moved to where all photos have it, with its covariance."""
        e, m = self.first, self.m
        by = np.zeros(m)
        for i, base in self.bases.items():
            f = as_fitted(e.features[i])
            by[self.at[i]] = parameters_of(form(f, base) + solution.x[self.at[i]], f, base)
        found = [
            replace(j, tangent=j.tangent and not {j.first, j.second} & set(self.doubted)) for j in joints(e.features)
        ]
        now = shifted_all(e.features, by)
        now = shifted_all(now, closing(now, found))
        whole = tuple(rejoined(now, found))
        back = about_new_middles(now, whole) @ np.linalg.inv(self.changes_at(now))
        full = back @ solution.covariance[:m, :m] @ back.T
        names = [n for n in self.names if n in KEPT]
        at = [m + self.names.index(n) for n in names]
        shared = solution.covariance[np.ix_(at, at)]
        cross = back @ solution.covariance[:m, at]
        sensitivity = cross @ np.linalg.inv(shared) if at else cross
        white = full - sensitivity @ shared @ sensitivity.T
        return Estimate(whole, (white + white.T) / 2, tuple(names), sensitivity, shared)

    def changes_at(self, features: Sequence[Feature]) -> Array:
        """As `changes`, for features where they are now, described about the first outline's bases."""
        out = np.zeros((self.m, self.m))
        for i, base in self.bases.items():
            out[self.at[i], self.at[i]] = by_parameters(as_fitted(features[i]), base)
        return out


def _error_of(t: GroupResult, rows: slice | NDArray[np.intp]) -> tuple[float, int, Array]:
    """How far some observations disagree with everything else: chi-square and its freedom, and the error that they
    would have if they alone were wrong (Teunissen 2000)."""
    u, m = t.weighted[rows], t.cofactor[rows][:, rows]
    size = np.sqrt(np.maximum(np.diag(m), 1e-30))
    values, vectors = np.linalg.eigh(m / np.outer(size, size))
    checked = values > UNCHECKED
    along = vectors[:, checked].T @ (u / size) / values[checked]
    return float((along**2) @ values[checked]), int(checked.sum()), vectors[:, checked] @ along / size
