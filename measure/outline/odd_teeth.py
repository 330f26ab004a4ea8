"""Whether teeth that are drawn alike are alike, and drawn as they were seen."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely

from calib.reference.found import Caution
from calib.words import Words
from measure.edges.edge_loop import EdgeLoop
from measure.geometry.features import FINE_MM, Estimate, flatten
from measure.outline.teeth import Teeth, even_teeth, off_the_others, tooth_numbers
from measure.outline.tooth_shape import OVER_MM

FOUND = 0.9
"""Share of a tooth's edges that are found along the mean tooth where it is like the others (chosen)."""
UNLIKE, UNLIKE_MM = 4.0, 0.07
"""A tooth is unlike the others that strays so many times as far as most do, root mean square, and as far (chosen: no
right one of 31 wheels does)."""
MISFIT_MM, MISFIT = 0.02, 3.5
"""Standard deviation of what the mean tooth and its shape have wrong over a short stretch, and so many of it are a
misfit (31 wheels, of which none strays so far)."""


def teeth_that_differ(first: Sequence[EdgeLoop], again: Sequence[EdgeLoop]) -> tuple[Caution, ...]:
    """Says where teeth are drawn like the others although they do not look it.

    Args:
        first: points as they were located at first.
        again: as they were located along the mean tooth: an edge that is found there after all is no odd one.
    """
    out = []
    for a, b in zip(first, again, strict=True):
        t, u = even_teeth(a), even_teeth(b)
        if t is None or u is None or t.count != u.count:
            continue
        odd = [k for k in {*t.odd, *u.odd} if k in u.odd or not _found_after_all(b, t, k)]
        odd += [k for k in _unlike(b, u) if k not in odd]
        if odd:
            out.append(
                Caution(
                    "teeth-differ",
                    Words(
                        "{odd} of {count} teeth seem to differ from the others by up to {odd_mm:.1f} mm and "
                        "are drawn like them: look whether they are worn, or a shadow was taken for their edge",
                        odd=len(odd),
                        count=t.count,
                        odd_mm=max(t.odd_mm, u.odd_mm),
                    ),
                )
            )
    return tuple(out)


def _found_after_all(loop: EdgeLoop, teeth: Teeth, tooth: int) -> bool:
    """Whether a tooth's edges were found along the mean tooth."""
    own = tooth_numbers(loop.points_mm, teeth.centre, teeth.count) == tooth
    return bool(own.any() and np.isfinite(loop.sigma_mm[own]).mean() > FOUND)


def _unlike(loop: EdgeLoop, teeth: Teeth) -> list[int]:
    """Numbers of teeth that stray farther from the mean than chance, and what all teeth have wrong, would have it."""
    away = off_the_others(loop.points_mm, loop.normals, teeth.centre, teeth.step_rad, teeth.count)
    away = np.where(np.isfinite(loop.sigma_mm), away, 0.0)
    which = tooth_numbers(loop.points_mm, teeth.centre, teeth.count)
    number = np.maximum(np.bincount(which, minlength=teeth.count), 1)
    each = np.sqrt(np.bincount(which, away**2, teeth.count) / number)
    return np.flatnonzero(each > np.maximum(UNLIKE * np.median(each), UNLIKE_MM)).tolist()


def misfit(estimate: Estimate, number: int, teeth: Teeth) -> float:
    """How far the drawn outline of a loop strays from the mean tooth, at worst over a short stretch, in units of what
    both may have wrong.

    Args:
        estimate: labelled features; number: of the loop; teeth: as they were found there.
    """
    drawn = np.concatenate([flatten(f, FINE_MM)[:-1] for f in estimate.features if f.loop == number])
    m = len(teeth.loop.points_mm) // teeth.count
    points, sigma = teeth.loop.points_mm[:m], teeth.loop.sigma_mm[:m]
    off = np.asarray(shapely.distance(shapely.points(points), shapely.LinearRing(drawn)))
    n = max(round(OVER_MM / float(np.median(np.hypot(*np.diff(points, axis=0).T)))), 1)
    stretch = (np.arange(m)[:, None] + np.arange(n)) % m
    sd = np.hypot(np.sqrt((sigma**2)[stretch].mean(1) / n), MISFIT_MM)
    return float((off[stretch].mean(1) / sd).max())
