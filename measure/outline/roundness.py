"""Whether a loop is a full circle."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from calib.arrays import Array
from measure.outline.chains import sound
from measure.outline.drafts import (
    NOT_ONE_MM,
    UNEVEN_MM,
    UNEVEN_OVER_MM,
    UNSOUND,
    WAVE_POINTS,
    Draft,
    settled,
    sums_of,
    wave,
)
from measure.outline.joining import BUMP_HEIGHT_MM, normal
from measure.outline.moves import BUMP_LENGTH_MM
from measure.outline.suppositions import ACCIDENT_COST
from measure.outline.unevenness import stray

OVAL_MM = 0.2
"""A loop that strays so far from its best circle, on average, is no circle."""


def as_circle(draft: Draft) -> Draft | None:
    """The whole loop as one circle, unless it is nowhere near."""
    c = draft.chains
    n = len(c.points)
    sums = sums_of(draft)
    if sums.fits(np.array([0]), np.array([n])).circle_ms[0] > OVAL_MM**2:
        return None
    whole = sums.pieces(np.array([0]), np.array([n]), np.array([True]))
    none = np.zeros(1, bool)
    chains = replace(c, pieces=whole, first=np.zeros(1, int), linked=none, tangent=none, most=np.full(n, np.inf))
    ring = settled(replace(draft, chains=chains, eq=normal(chains)))
    most = _accidents(ring)
    return settled(replace(ring, chains=replace(ring.chains, most=most))) if np.isfinite(most).any() else ring


def _accidents(ring: Draft) -> Array:
    """(n,) the most that each point of a circle may cost, if the few that stray are taken for a bump."""
    cost, n = ring.eq.cost, len(ring.eq.cost)
    stray = cost > ACCIDENT_COST
    stray |= np.roll(stray, 1) & np.roll(stray, -1)
    short = stray.sum() * ring.step_mm <= min(BUMP_LENGTH_MM, n * ring.step_mm / 4)
    low = np.abs(ring.eq.residual[stray]).max(initial=0.0) < BUMP_HEIGHT_MM
    return np.where(stray & short & low, ACCIDENT_COST, np.inf)


def round_enough(ring: Draft, draft: Draft) -> bool:
    """Whether the loop is better taken for a circle than for what it has been cut into."""
    if len(draft.chains.first) < 2:
        return False
    seen = ring.chains.seen
    around = len(seen) * ring.step_mm
    uneven = UNEVEN_MM * min(1.0, around / UNEVEN_OVER_MM)
    c = ring.chains
    shifts = np.roll(ring.shifts, -ring.shift, axis=0)
    uneven = math.hypot(uneven, stray(c.pieces, c.points, 1 / c.variance, shifts))
    typical = float(np.median(ring.chains.variance[seen])) * ring.noise.shared_by
    ripple = 3 * math.sqrt(min(typical, 5 * typical / ring.noise.shared_by) / WAVE_POINTS)
    limit = 3 * uneven + ripple
    strays = float(wave(ring.chains, ring.eq.residual).max())
    if strays > NOT_ONE_MM:
        return False
    counted = seen.sum() * uneven**2 / typical if strays < limit else 0.0
    d = draft.chains
    parameters = int((2 + d.pieces.arc.astype(int) - (d.linked & d.tangent)).sum()) - 3
    saved = (ring.eq.cost.sum() - draft.eq.cost.sum()) / ring.noise.shared_by
    saved -= UNSOUND * (~sound(d, draft.eq.joints)).sum()
    return bool(saved / (1 + counted) < parameters * ring.price)
