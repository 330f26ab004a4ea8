"""Where the camera stood, by what the photo shows of the part's own walls.

A card seen from straight above says next to nothing of the camera's height unless the focal length is known; how far
the part's upper edge seems displaced then hangs in the air. Where a wall is seen, its two edges tell: they are the same
outline at two heights that a caliper has measured, and their distance in the photo is that height times the tangent of
the angle at which the camera sees them.

What the runs of outline along which a foot is seen (`wall_feet`) say together is the likelihood of the few combinations
of the view's unknowns that walls depend on at all; with the view's own covariance as the prior the posterior's mean and
covariance are summed up over a grid (Bayes), for where a shadow passes for a foot it has two tops.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from calib.arrays import Array
from calib.light.profile import Light
from calib.view.terms import view_root
from calib.view.view import View, project, to_plane
from measure.edges.rounded import apart_density, believed, rounded_share
from measure.edges.sight import Wall
from measure.edges.wall_feet import NARROWEST, RATIO_STEP, RUN_MM, Runs, wall_feet
from measure.geometry.polylines import evenly
from measure.rim import RimWord

APART_MM = (-0.06, 0.3)
"""How far a rounded rim lets the upper line lie inside the outline, at the least and at the most."""
COMBINATIONS = 3
"""Of the view's unknowns: the camera's height and the two coordinates of its foot point."""
REACH, FINE_REACH, TURNS = 3.5, 4.0, 3
"""The grid reaches so many standard deviations of the prior, then of the posterior; how often it is laid."""
POINTS = ((29, 7, 7, 9), (17, 9, 9, 9))
"""Points of the first and of the later grids, for each of COMBINATIONS and for the rim."""
LEAST_FOCAL = 0.4
"""A focal length below so much of the best value beforehand is none."""
LEAST_GAIN_MM = 0.03
"""Walls whose widths the view knows better than this, standard deviation, tell nothing new."""
STEP = 0.01
"""Of the differences by which derivatives with unit terms are found."""
MOST_STRAIN, MOST_UNHEARD = 3.0, 0.6
"""Walls are not believed that would move the view by more standard deviations, or where more of the evidence for feet
is left unexplained: what lies there is no foot, or the part is not as thick as is said. Of 47 rendered parts, traced
with their EXIF and without, the most was 2.1 and 0.49; with a thickness of 1.4 times the true one two thirds of those
whose walls are wide enough came to more."""

HEARD, BORNE_OUT = 7.0, 0.15
"""Feet bear a wall out that say so much at least, log likelihood, and of which no more is left unexplained: of eight
rendered photos whose wall's light could be a shadow's five came to 9 and more and to 0.06 at most, and were right; the
three others, two of them wrong, to 4.5 at most."""


@dataclass(frozen=True, slots=True)
class Standpoint:
    """A view once walls have been heard.

    Attributes:
        view: solved anew.
        rounded: probability that the upper rim is rounded, by how much wider walls are seen than they are; None where
            they told nothing.
        contradicted: whether feet are plainly seen where no view allows for them. Then they moved nothing.
    """

    view: View
    rounded: float | None = None
    contradicted: bool = False


def by_walls(
    light: Light, view: View, outlines_mm: tuple[Array, ...], wall: Wall, sigma_px: float, told: RimWord
) -> Standpoint:
    """The view, as the walls of a part have it.

    Args:
        light: the photo around the part.
        view: as the reference has it, with its covariance.
        outlines_mm: (n, 2) closed outlines of the part's face, the outer boundary first.
        wall: heights of the part's edges; sigma_px: optical blur.
        told: what a person says of the upper rim.
    """
    height = wall.upper_mm - wall.lower_mm
    if height <= 0 or _known(view, outlines_mm[0], wall):
        return Standpoint(view)
    runs = wall_feet(light, view, outlines_mm, wall, sigma_px)
    if runs is None:
        return Standpoint(view)
    root = view_root(view.covariance)
    ways = _ways(view, runs, wall, root)
    found = _posterior(view.parameters, root @ ways, runs, wall, told)
    if found.strain > MOST_STRAIN or found.unheard > MOST_UNHEARD:
        return Standpoint(view, contradicted=True)
    keep = np.eye(len(root)) - ways @ (np.eye(COMBINATIONS) - found.covariance) @ ways.T
    by_prior = None if view.by_prior is None else root @ keep @ np.linalg.pinv(root) @ view.by_prior
    now = replace(
        view,
        parameters=view.parameters + root @ ways @ found.mean,
        covariance=root @ keep @ root.T,
        by_prior=by_prior,
    )
    return Standpoint(now, found.rounded)


def feet_as_expected(light: Light, view: View, outlines_mm: tuple[Array, ...], wall: Wall, sigma_px: float) -> bool:
    """Whether feet are plainly seen, and where the view has them: then what is drawn as a wall is no shadow.

    Args:
        light, view, outlines_mm, wall, sigma_px: see `by_walls`.
    """
    runs = wall_feet(light, view, outlines_mm, wall, sigma_px)
    return runs is not None and runs.evidence > HEARD and _unheard(view.parameters, runs, wall) < BORNE_OUT


def apart_mm(one: View, other: View, outline_mm: Array, wall: Wall) -> float:
    """How far two views displace an outline's upper edge differently against its foot, at the most."""
    shift, others = (v.pixels(outline_mm, wall.upper_mm) - v.pixels(outline_mm, wall.lower_mm) for v in (one, other))
    return float(np.hypot(*(others - shift).T).max() * one.mm_per_px(outline_mm.mean(0)))


@dataclass(frozen=True, slots=True)
class _Posterior:
    """What walls say of the unit terms.

    Attributes:
        mean: (c,); covariance: (c, c).
        rounded: see `Standpoint`.
        unheard: share of the runs' evidence that the mean leaves unexplained.
    """

    mean: Array
    covariance: Array
    rounded: float
    unheard: float

    @property
    def strain(self) -> float:
        """By how many standard deviations of what was known before the view is moved."""
        return float(np.abs(self.mean).max())


def _known(view: View, outline_mm: Array, wall: Wall) -> bool:
    """Whether the view already says how wide walls are seen."""
    ends = evenly(np.vstack([outline_mm, outline_mm[:1]]), RUN_MM)
    px = view.pixels(ends, wall.upper_mm)
    by = view.plane_sensitivity(px, wall.upper_mm) - view.plane_sensitivity(px, wall.lower_mm)
    variance = np.einsum("nip,pq,niq->n", by, view.covariance, by)
    return bool(np.sqrt(variance.max()) < LEAST_GAIN_MM)


def _widths(parameters: Array, runs: Runs, wall: Wall) -> Array:
    """(g,) width at which a view sees the wall of each run, px."""
    top = to_plane(parameters, runs.upper_px, wall.upper_mm)
    foot = project(parameters, np.c_[top, np.full(len(top), wall.lower_mm)])
    return np.asarray(((foot - runs.upper_px) * runs.across).sum(1))


def _widths_at(parameters: Array, ways: Array, axes: list[Array], runs: Runs, wall: Wall) -> Array:
    """(n, g) widths over a grid of the unit terms: exact in the first one, linear in the others."""
    least = LEAST_FOCAL * parameters[6]

    def at(terms: Array) -> Array:
        q = parameters + ways @ terms
        return _widths(q if q[6] > least else parameters, runs, wall)

    unit = np.eye(COMBINATIONS)
    middle = float(axes[0].mean()) * unit[0]
    first = np.stack([at(x * unit[0]) for x in axes[0]])
    rest = [(at(middle + STEP * u) - at(middle - STEP * u)) / (2 * STEP) for u in unit[1:]]
    others = np.stack(np.meshgrid(*axes[1:], indexing="ij"), -1).reshape(-1, COMBINATIONS - 1)
    return np.asarray((first[:, None] + others @ np.stack(rest)).reshape(-1, first.shape[1]))


def _ways(view: View, runs: Runs, wall: Wall, root: Array) -> Array:
    """(10, COMBINATIONS) orthonormal: the unit terms that widths depend on most."""
    q = view.parameters
    by = [(_widths(q + STEP * c, runs, wall) - _widths(q - STEP * c, runs, wall)) / (2 * STEP) for c in root.T]
    return np.asarray(np.linalg.svd(np.stack(by, 1), full_matrices=True)[2][:COMBINATIONS].T)


def _posterior(parameters: Array, ways: Array, runs: Runs, wall: Wall, told: RimWord) -> _Posterior:
    """The unit terms' mean and covariance, the rim's share summed out."""
    axes = [*(np.linspace(-REACH, REACH, n) for n in POINTS[0][:-1]), np.linspace(*APART_MM, POINTS[0][-1])]
    for _ in range(TURNS):
        terms = np.stack(np.meshgrid(*axes[:-1], indexing="ij"), -1).reshape(-1, COMBINATIONS)
        real = parameters[6] + terms @ ways[6] > LEAST_FOCAL * parameters[6]
        widths = _widths_at(parameters, ways, axes[:-1], runs, wall)
        cost = _cost(runs, widths[:, None] + axes[-1][:, None] * runs.px_per_mm)
        cost += 0.5 * (terms**2).sum(1)[:, None] - np.log(np.maximum(apart_density(axes[-1], told), 1e-12))
        cost[~real] = np.inf
        share = np.exp(cost.min() - cost)
        share /= share.sum()
        at_mm = axes[-1]
        grid = np.concatenate([np.repeat(terms, len(axes[-1]), 0), np.tile(axes[-1], len(terms))[:, None]], 1)
        mean = share.ravel() @ grid
        covariance = (grid - mean).T @ ((grid - mean) * share.reshape(-1, 1))
        sd = np.maximum(np.sqrt(np.diag(covariance)), [(a[1] - a[0]) / 4 for a in axes])
        axes = [
            np.linspace(m - FINE_REACH * s, m + FINE_REACH * s, n) for m, s, n in zip(mean, sd, POINTS[1], strict=True)
        ]
    rounded = believed(float(share.sum(0) @ rounded_share(at_mm, told)))
    unheard = _unheard(parameters + ways @ mean[:COMBINATIONS], runs, wall)
    return _Posterior(mean[:COMBINATIONS], covariance[:COMBINATIONS, :COMBINATIONS], rounded, unheard)


def _unheard(parameters: Array, runs: Runs, wall: Wall) -> float:
    """Share of the runs' evidence that a view leaves unexplained, be the rim as round as it may."""
    apart = np.linspace(0, APART_MM[1], POINTS[0][-1])[:, None] * runs.px_per_mm
    return float(_cost(runs, _widths(parameters, runs, wall) + apart).min() / max(runs.evidence, 1e-9))


def _cost(runs: Runs, widths_px: Array) -> Array:
    """(...) what widths (..., g) of all runs cost together."""
    at = np.clip((widths_px / runs.width_px - NARROWEST) / RATIO_STEP, 0, runs.costs.shape[1] - 1 - 1e-9)
    low = at.astype(int)
    run = np.arange(len(runs.width_px))
    return np.asarray(((1 - at + low) * runs.costs[run, low] + (at - low) * runs.costs[run, low + 1]).sum(-1))
