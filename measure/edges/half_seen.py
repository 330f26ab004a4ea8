"""Holes of which only a wall was seen: where the bottom has the face's light, a crescent is left of them.

A wall that is seen ends where its foot is. Where a hole's boundary runs along the foot of its own opposite side, what
lies beyond looks like the part's face, and nobody knows how far the hole goes on.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from calib.arrays import Array
from calib.reference.found import Caution
from calib.view.view import View
from calib.words import Words
from measure.edges.sight import Wall
from measure.geometry.features import Estimate
from measure.geometry.polylines import evenly

STEP_MM, REACH = 0.1, 3
"""Points of a boundary, and over how many to either side its direction is taken."""
OPPOSITE = -0.3
"""A rim and a foot belong to opposite sides where the cosine between their directions is less (chosen)."""
NEAR_MM = 0.15
"""A boundary that lies so near to a foot runs along it (chosen: an outline of pixels)."""
CLEAR = 3.0
"""A foot displaced by fewer times that is not told from the rim that it belongs to."""
ALONG = 0.12
"""Share of a hole's boundary that runs along the foot of its opposite side, from which it is half seen: of 174 holes of
rendered parts those came to 0.21 and 0.35, all others to 0.07 at most."""
HOLLOW = 0.93
"""A crescent fills less of its convex hull than this, a whole round hole or slot more (chosen; half seen ones 0.6 and
0.8). A whole one may run along its opposite side's foot as well, where this is seen a diameter away."""


def half_seen_holes(found: Estimate, faces_mm: Sequence[Array], view: View, wall: Wall) -> tuple[Caution, ...]:
    """A caution that names the holes whose boundary is the foot of their own wall.

    Args:
        found: the features; faces_mm: (n, 2) boundary of the face's colour of each loop, the outer one first.
        view, wall: where and how high the part's wall stands.
    """
    named = []
    for loop, face in list(enumerate(faces_mm))[1:]:
        if solidity(face) < HOLLOW and along_its_foot(face, view, wall) > ALONG:
            labels = [f.label for f in found.features if f.loop == loop]
            named.append(labels[0] if len(labels) == 1 else f"{labels[0]} … {labels[-1]}")
    if not named:
        return ()
    text = Words(
        "Of a hole ({named}) only its dark wall is seen, and its bottom looks like the part: put something light "
        "under the part, or look into the picture and measure the hole.",
        named=", ".join(named),
    )
    return (Caution("half-seen-hole", text),)


def solidity(rim_mm: Array) -> float:
    """Area of a closed boundary (n, 2) over that of its convex hull."""
    import shapely

    whole = shapely.Polygon(rim_mm)
    return float(whole.area / max(whole.convex_hull.area, 1e-9))


def along_its_foot(rim_mm: Array, view: View, wall: Wall) -> float:
    """Share of a hole's boundary (n, 2) that runs along where the foot of its own wall is seen."""
    from scipy.spatial import cKDTree

    rim = evenly(np.vstack([rim_mm, rim_mm[:1]]), STEP_MM)
    ahead = np.roll(rim, -REACH, 0) - np.roll(rim, REACH, 0)
    ahead /= np.maximum(np.hypot(*ahead.T), 1e-9)[:, None]
    foot = view.plane(view.pixels(rim, wall.lower_mm), wall.upper_mm)
    if np.hypot(*(foot - rim).T).mean() < CLEAR * NEAR_MM:
        return 0.0
    away, nearest = cKDTree(foot).query(rim)
    return float(((away < NEAR_MM) & ((ahead * ahead[nearest]).sum(1) < OPPOSITE)).mean())
