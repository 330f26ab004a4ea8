"""Edge points become lines, arcs, full circles and curves that join end to end, with the covariance of all of them.

The loops are cut (`segmentation`), the cut is bettered piece by piece (`selection`), the noise is measured from what
is left, and the last fit of each loop, all its pieces together, gives parameters and covariance (`labelling`).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from calib.arrays import Array
from measure.edges.edge_loop import EdgeLoop
from measure.geometry.features import Estimate
from measure.outline.drafts import (
    FIRST_SHARED_BY,
    Draft,
    KnownCut,
    first_cut,
    first_draft,
    residual_runs,
    settled,
    with_noise,
)
from measure.outline.labelling import labelled
from measure.outline.noise import Noise, before_fitting, from_residuals, local_scale
from measure.outline.pieces import Mask
from measure.outline.ring import corners
from measure.outline.selection import ROUNDS, improve, straightened
from measure.outline.teeth import alike, cut_alike, even_teeth
from measure.outline.unevenness import modes

PASSES = 4
"""The noise is measured and the outline bettered so many times at most."""

FIRST_ROUNDS = 4
"""A first look is bettered so many times at most."""

NEWS = 0.25
"""A change of the variance by so much (logarithm) is worth another look."""

BLUR_MM = 0.1
"""Blur that is reckoned with when nothing is said: one to two pixels of a photo that the part fills."""


def outline(
    loops: Sequence[EdgeLoop],
    shared_names: tuple[str, ...],
    shared: Array,
    blur_mm: float = BLUR_MM,
    passes: int = PASSES,
    *,
    even: float = 1.0,
) -> Estimate:
    """Labelled features of all loops, with covariance.

    Args:
        loops: the outer boundary first, then the holes in the order they are to be numbered in; at least one.
        shared_names: of the s terms that all points share.
        shared: (s, s) covariance of the shared terms.
        blur_mm: standard width of the blur of the edges, of the lens and of the averaging along the edge together:
            it rounds sharp corners and moves arcs towards their centres.
        passes: how often the outline is bettered with the noise as it was then found; 0 for a first look.
        even: how many times the noise teeth that look alike are cut by, and drawn alike; 0 for not alike.

    Returns:
        Features labelled E1… (lines), R1… (arcs), D1… (full circles) and C1… (curves), loop by loop in order of
        travel, each loop from the joint that lies lowest; neighbours end in the same point. `white` holds the edge
        noise as it was measured from the residuals, not as it was stated.
    """
    teeth = [even_teeth(loop) if even else None for loop in loops]
    cuts = [cut_alike(t, blur_mm, even) if t else None for t in teeth]
    teeth = [t if c else None for t, c in zip(teeth, cuts, strict=True)]
    loops = [c[0] if c else loop for c, loop in zip(cuts, loops, strict=True)]
    drafts = draft_loops(loops, shared, blur_mm, passes, [c[1] if c else None for c in cuts])
    estimate = labelled(drafts, [loop.sensitivity for loop in loops], shared_names, shared)
    for number, t in enumerate(teeth):
        estimate = alike(estimate, number, t) if t else estimate
    return estimate


def draft_loops(
    loops: Sequence[EdgeLoop],
    shared: Array,
    blur_mm: float = BLUR_MM,
    passes: int = PASSES,
    known: Sequence[KnownCut | None] = (),
) -> list[Draft]:
    """The loops cut into pieces and fitted, with the noise that was found; `known` has cuts of some of them."""
    stated = [(np.asarray(p.points_mm, float), np.asarray(p.sigma_mm, float)) for p in loops]
    variances = [s**2 for _, s in stated]
    noise = before_fitting(stated)
    cuts, sums, noise = first_cut([(p, v) for (p, _), v in zip(stated, variances, strict=True)], noise)
    cut_already = known or [None] * len(loops)
    cuts = [(k.first, k.arc) if k else c for k, c in zip(cut_already, cuts, strict=True)]
    drafts = [
        first_draft(p, v, noise, s, cut[0], cut[1], blur_mm, modes(loop.sensitivity, shared), k)
        for loop, (p, _), v, s, cut, k in zip(loops, stated, variances, sums, cuts, cut_already, strict=True)
    ]
    for i in range(passes + 1):
        scaled = [v * _scale(d, v) ** 2 for d, v in zip(drafts, variances, strict=True)]
        measured = _noise_of(drafts, scaled)
        if not i:
            measured = replace(measured, shared_by=max(measured.shared_by, FIRST_SHARED_BY))
        before, habits = drafts, _habits(drafts)
        drafts = [
            settled(replace(with_noise(d, v, measured), habit=h), 3)
            for d, v, h in zip(drafts, scaled, habits, strict=True)
        ]
        fresh = [_news(a, b) | (i == 0) for a, b in zip(before, drafts, strict=True)]
        fresh = [np.zeros_like(f) if k else f for f, k in zip(fresh, cut_already, strict=True)]
        if not any(f.any() for f in fresh):
            break
        drafts = improve(drafts, fresh, FIRST_ROUNDS if not passes else ROUNDS)
    scaled = [v * _scale(d, v) ** 2 for d, v in zip(drafts, variances, strict=True)]
    measured = _noise_of(drafts, scaled)
    return [straightened(settled(with_noise(d, v, measured))) for d, v in zip(drafts, scaled, strict=True)]


def _noise_of(drafts: Sequence[Draft], variances: Sequence[Array]) -> Noise:
    """What is left after the fit, against variances (n,) of each loop."""
    return from_residuals([run for d, v in zip(drafts, variances, strict=True) for run in residual_runs(d, v)])


def _news(before: Draft, now: Draft) -> Mask:
    """(k,) around which pieces the noise, or what other loops say of corners, has changed enough to matter."""
    a, b = before.chains.variance * before.noise.shared_by, now.chains.variance * now.noise.shared_by
    change = np.log(np.roll(b, now.shift) / np.roll(a, before.shift))
    by_piece = np.add.reduceat(np.roll(change, -now.shift), now.chains.first)
    count = np.diff(np.append(now.chains.first, len(change)))
    if before.habit != now.habit:
        return np.ones(len(count), bool)
    return np.asarray(np.abs(by_piece / count) > NEWS)


def _habits(drafts: Sequence[Draft]) -> list[tuple[int, int]]:
    """For each loop, how many corners of the others are rounded, and how many are sharp."""
    own = [corners(d) for d in drafts]
    rounded, sharp = sum(r for r, _ in own), sum(s for _, s in own)
    return [(rounded - r, sharp - s) for r, s in own]


def _scale(draft: Draft, variance: Array) -> Array:
    """(n,) how much noisier than the part as a whole the loop is around each point, in the order it was given."""
    residual = np.concatenate([r for r, _ in residual_runs(draft, variance)])
    return np.roll(local_scale(residual, draft.noise.factor), draft.shift)
