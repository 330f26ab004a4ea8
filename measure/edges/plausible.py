"""Whether an outline runs along the part's edge: second thoughts once it has been found.

Where light hardly tells the edge, or where the outline has left the boundary of the face's colour, it may run along a
shadow or along nothing.
"""

from __future__ import annotations

from collections.abc import Callable, Container, Sequence

import numpy as np

from calib.arrays import Array
from calib.errors import PartRefused
from calib.light.profile import CLIPPED, Light
from calib.reference.found import Caution
from calib.view.view import View
from calib.words import Words
from measure.edges.edge_loop import EdgeLoop
from measure.geometry.features import FINE_MM, Estimate, flatten
from measure.geometry.polylines import arc_lengths, evenly

FAINT_MM = 0.08
"""A quarter of the outline's points less sure than this mean that there is hardly an edge: in photos of light parts on
white paper and of black parts on dark wood that can be measured they stay below 0.022 mm."""
DOUBTFUL_MM, OFF_MM, FAR_MM, SHORT_MM = 0.09, 0.3, 0.45, 2.0
"""A feature longer than SHORT_MM is doubtful where a quarter of its points are less sure than DOUBTFUL_MM, or a quarter
of it lies farther than OFF_MM from the boundary of the face's colour, or half of SHORT_MM of it farther than FAR_MM:
twice what 99 of 100 right features of rendered photos reach; a speck at the boundary is no reason. Short features
named one right photo in eleven."""
STEP_MM = 0.1
UNSURE_PERCENT = 75
"""The percentile of points that a quarter of them are less sure than, or farther off."""

_NO_EDGE = Words(
    "Hardly an edge can be seen between the part and what it lies on; lay it on a ground "
    "of quite another colour, or in light from one side, and take the photo again."
)


_UNSURE = Words(
    "The part stands out from what it lies on, but its edge is no clear step of light: a "
    "rounded or stepped rim, glare or a shadow close by blurs it; take the photo again in "
    "even light from all sides, from nearer."
)
STANDS_OUT = 0.5
"""A part that is lighter or darker than its ground by this (natural logarithm, in the median along its edge) stands out
from it, whatever its edge is like: two thirds lighter (chosen)."""
BESIDE_MM = 1.5
"""So far to either side of an edge part and ground are looked at."""


def require_edges(loops: Sequence[EdgeLoop], contrast: Callable[[Array], float]) -> None:
    """Check that the outer boundary was seen.

    Args:
        loops: located points, the outer boundary's first.
        contrast: how much lighter or darker the part is than its ground along an outline (n, 2) mm, as a logarithm.

    Raises:
        PartRefused: a quarter of its points hang on next to nothing.
    """
    sigma = loops[0].sigma_mm
    sigma = sigma[np.isfinite(sigma)]
    if len(sigma) and float(np.percentile(sigma, UNSURE_PERCENT)) <= FAINT_MM:
        return
    if contrast(loops[0].points_mm) > STANDS_OUT:
        raise PartRefused(_UNSURE, "unsure-edge")
    raise PartRefused(_NO_EDGE, "faint-edge")


def contrast_along(light: Light, view: View, height_mm: float, points_mm: Array) -> float:
    """How much lighter or darker a part is than its ground, in the median along an outline: a natural logarithm.

    Args:
        light: the photo around it; view, height_mm: of its upper edge.
        points_mm: (n, 2) the outline, counter-clockwise.
    """
    sides = [points_mm + by * BESIDE_MM * _outward(points_mm) for by in (-1, 1)]
    inner, outer = (light.sample(view.pixels(s, height_mm)).mean(1) for s in sides)
    return float(abs(np.median(np.log(np.maximum(inner, DARKEST)) - np.log(np.maximum(outer, DARKEST)))))


def burnt_out(light: Light, view: View, height_mm: float, points_mm: Array, colours: int = 3) -> float:
    """Share of a part's boundary along which its face is at the sensor's limit in so many colours.

    Such a face spreads over its edges, and its walls are as white as it is.

    Args:
        light: the photo around it; view, height_mm: of its upper edge.
        points_mm: (n, 2) the outline, counter-clockwise.
        colours: 1 to 3.
    """
    face = light.sample(view.pixels(points_mm - WITHIN_MM * _outward(points_mm), height_mm), cubic=False)
    return float(((face > CLIPPED).sum(1) >= colours).mean())


def _outward(points_mm: Array) -> Array:
    """(n, 2) normals of a closed outline (n, 2), counter-clockwise."""
    along = np.roll(points_mm, -1, 0) - np.roll(points_mm, 1, 0)
    return np.asarray(np.stack([along[:, 1], -along[:, 0]], 1) / np.maximum(np.hypot(*along.T), 1e-9)[:, None])


WITHIN_MM = 0.8
"""So far inside its outline a face is looked at: beyond a rounded rim (chosen)."""
DARKEST = 1 / 255
"""Light below this is noise."""


def doubtful_edges(
    found: Estimate, loops: Sequence[EdgeLoop], faces_mm: Sequence[Array], toothed: Container[int] = ()
) -> tuple[Caution, ...]:
    """A caution that names the features that may run along a shadow, or along nothing.

    Args:
        found: the features; loops: the points that they were fitted to, in the same frame.
        faces_mm: (n, 2) boundary of the face's colour of each loop; empty where it was not looked for.
        toothed: loops whose teeth are one mean tooth: how sure the points of one edge of one of them are says nothing.
    """
    from scipy.spatial import cKDTree

    trees = [cKDTree(e.points_mm) for e in loops]
    faces = [cKDTree(evenly(np.vstack([f, f[:1]]), STEP_MM)) for f in faces_mm]
    named = []
    for f in found.features:
        path = flatten(f, FINE_MM)
        if arc_lengths(path)[-1] < SHORT_MM:
            continue
        along = evenly(path, STEP_MM)
        sigma = loops[f.loop].sigma_mm[np.unique(trees[f.loop].query(along)[1])]
        seen = np.isfinite(sigma)
        unsure = seen.mean() > 0.5 and float(np.percentile(sigma[seen], UNSURE_PERCENT)) > DOUBTFUL_MM
        unsure &= f.loop not in toothed
        away = faces[f.loop].query(along)[0] if f.loop < len(faces) else np.zeros(1)
        strayed = (
            np.percentile(away, UNSURE_PERCENT) > OFF_MM or STEP_MM * np.count_nonzero(away > FAR_MM) > SHORT_MM / 2
        )
        if unsure or strayed:
            named.append(f.label)
    if not named:
        return ()
    text = Words(
        "The part's edge is hardly seen along {named}: a shadow may be taken for it; look at it in the picture.",
        named=", ".join(named),
    )
    return (Caution("faint-edge", text),)
