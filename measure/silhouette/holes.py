"""Holes in a part: what its face's flat surface does not reach, and what tells them from prints and specks.

A hole shows a wall, a floor in part shadow or nothing but dark: it is uneven, or it is table, or it is black. A print
is as even as the face that it is on, and its edge is as strong on every side.
"""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from measure.silhouette.contours import smooth_contour
from measure.silhouette.evidence import Evidence
from measure.silhouette.mincut import cheapest_region
from measure.silhouette.region import depth_mm, parting_cost, touched
from measure.silhouette.standing import wall_below
from measure.silhouette.tabletop import F32, Mask, disc

_LEAST_WIDTH_MM = 1.9  # with the edge's blur on both sides: a bore of about 1.5 mm
_RIM_MM = 0.5  # this near to the outer boundary no hole is looked for
_PLUG_MM = 0.2
_NEAR_BLACK = 22  # code value of the brightest channel
_MEANT = 1.0  # strength of a rim, at least, that a person's stroke lies in
_FACE_MM = 0.3
"""From this distance to the boundary on a pixel shows the face's own colour: beyond the edge's blur."""
_QUIET_MM, _QUIET_PERCENT = 0.8, 40
"""Where the face's own texture is looked at, and the percentile of its edges that is usual."""
_LEVELS, _QUIETS, _FAINT = (0.5, 0.2), 3.0, 0.06
"""Levels at which flooding stops, per mm, and a last one: so many times the usual, and this much more. High levels part
what noise has joined, low ones find faint rims: from level to level a hole may grow."""
_PAD_MM = 1.2
"""What is looked at round an island."""
_ROUND, _SAME_RIM, _GROWN_RIM = 0.85, 0.6, 0.35
"""Share of its hull that a hole joined of several fills; how strong the rim of a hole that has grown, or swallowed
several, is at least against theirs."""
_BLUNT_MM, _BLUNT, _LEAST_AREA_MM2 = 0.8, 0.6, 1.0
"""Half the width of what runs off a hole that a print's edge may have left, or this share of the hole's own; and the
least area."""
_FLAT_MM, _OUTER_MM, _OPEN_MM = 0.35, 1.6, 0.5
"""Flooding begins so far from the boundary, in what lies within the second; half the width of what is no island."""
_STRIP_MM, _STRIP, _SLENDER = 1.7, 0.6, 3
"""A strip of wall: so much of it lies so near to the boundary, and it is so many squares of its width long."""
_AT_RIM_MM, _AT_RIM = 0.75, 0.2
"""A patch that reaches the boundary: so much of its outline is so near to it."""
_CREST_MM, _WEAK, _LEAST_RIM = 0.4, (10, 50), 0.35
"""How far off its outline a rim's crest is looked for; the percentiles of it that are weak and usual; the least usual
one."""
_RING_MM, _CORE_MM, _CORE = 1.0, 0.9, 0.45
"""How far round an island the face is looked at; how deep its core lies, or this share of its width."""
_ENDS, _STEP, _UNEVEN = (10, 90), (0.15, 0.12), 0.3
"""Percentiles between which a core is uneven; steps of lightness and hues, and unevenness, below which nothing is
there."""
_LIGHTER, _OWN = 0.1, 0.6
"""Glare, or light paint: lighter than the face by this, and so much of it no shadow."""
_EVEN_EDGE, _EVEN_RIM = 0.25, 0.88
"""A print's edge: its core is no more uneven, and its weak edges nearly as strong as the usual ones."""
_EVEN, _EVEN_PAINT, _PAINT, _PAINT_STEP = 0.06, 0.12, 0.7, 0.9
"""Paint: more even than the first; or than the second, if so much of it is no shadow and the step no greater."""
_SUMMIT_MM, _CREST_NEAR_MM, _TOLERANCE = 3.0, 0.4, np.array([0.12, 0.08, 0.08], np.float32)
"""Within what the depth of a hole is looked for; how far its rim may lie off; and what counts as the face's own
colour."""
_GAIN, _EDGE, _ELSE, _SURE_MM, _SURE = 0.05, 0.25, 0.1, 0.9, 0.6
"""Worth of a colour that is none of the face's; strength of an edge, per mm; what edges leave of that worth at least;
and how deep, or at what share of the depth near by, a pixel surely is hole."""
_RIM_FACE_MM, _OFF_MM, _EDGES, _EDGE_PERCENT, _LEAST_EDGE = 0.5, 0.3, 1.5, 80, 0.05
"""Where the face round holes is looked at; how far off a wall's rim an edge may run; and how strong that is: so many
times the face's percentile, and this much more."""
_BESIDE_MM, _AWAY_MM, _FREE_MM, _FREE, _RUNS = 0.6, 0.8, 2.0, 0.6, 0.75
"""What is the hole's own edge; how far off the hole a wall's rim lies; how much of it, mm and share, must be free of
other edges; and share of that along which an edge runs. All of these were chosen on the photos of tests/accuracy."""


def find_holes(
    seen: Evidence, region: Mask, opened: Mask, shifts: list[NDArray[np.float64]]
) -> list[NDArray[np.float64]]:
    """Contours of the upper rims, largest first, then by position.

    Args:
        region: (h, w) the part, holes filled.
        opened: (h, w) 1 in holes that a person has marked, about.
        shifts: homographies in the window's pixels from the upper edge of a wall to what lies below it.

    Returns:
        (n, 2) points each, in the window's pixel coordinates, counter-clockwise as seen in the picture.
    """
    scale = seen.px_per_mm
    inset = depth_mm(region, scale)
    quiet = float(np.percentile(seen.crisp[inset > _QUIET_MM], _QUIET_PERCENT)) if (inset > _QUIET_MM).any() else 0.0
    chosen = np.zeros(region.shape, np.int32)
    strength = [0.0]
    for level in (*_LEVELS, _QUIETS * quiet + _FAINT):
        islands = _not_flooded(seen.crisp, inset, level, scale)
        n, label, stats, _ = cv2.connectedComponentsWithStats(islands, connectivity=4)
        face = (region > 0) & (islands == 0) & (inset > _FACE_MM)
        for i in range(1, n):
            x, y, w, h, _ = stats[i]
            pad = round(_PAD_MM * scale) + 1
            win = np.s_[max(0, y - pad) : y + h + pad, max(0, x - pad) : x + w + pad]
            island = (label[win] == i).astype(np.uint8)
            before = np.unique(chosen[win][island > 0])
            before = before[before > 0]
            # a lit floor and a dark wall are pieces of one hole; two holes joined are not rounded as a whole
            if len(before) > 1 and _roundness(island) < _ROUND:
                continue
            meant = seen.marked[win][island > 0]
            if (meant > 0).any() and not (meant < 0).any():
                continue
            edge = _rim_strength(seen, island, face[win], inset[win], win)
            if (meant < 0).any():
                edge = max(edge, _MEANT)
            least = _SAME_RIM if len(before) == 1 else _GROWN_RIM
            if edge <= 0 or edge < least * max((strength[k] for k in before), default=0.0):
                continue
            chosen[win][np.isin(chosen[win], before)] = 0
            chosen[win][island > 0] = len(strength)
            strength.append(edge)
    holes = (chosen > 0).astype(np.uint8)
    left = (seen.marked < 0) & (cv2.erode(region, disc(_RIM_MM * scale)) > 0) & (holes == 0)
    holes |= touched(opened, left) & (inset > _RIM_MM)
    if not holes.any():
        return []
    holes = _to_the_rim(seen, holes, region, scale)
    if shifts:
        holes = _with_walls(seen, holes, region, [np.asarray(np.linalg.inv(m), float) for m in shifts])
    n, label, stats, _ = cv2.connectedComponentsWithStats(holes, connectivity=4)
    found = []
    for i in range(1, n):
        x, y, w, h, area = stats[i]
        hole = cv2.copyMakeBorder((label[y : y + h, x : x + w] == i).astype(np.uint8), 1, 1, 1, 1, cv2.BORDER_CONSTANT)
        blunt = min(_BLUNT_MM * scale, _BLUNT * float(cv2.distanceTransform(hole, cv2.DIST_L2, 3).max()))
        hole = cv2.morphologyEx(hole, cv2.MORPH_OPEN, disc(blunt))  # a print's edge may run into the rim
        contour = smooth_contour(hole, scale)
        if len(contour) and area > _LEAST_AREA_MM2 * scale**2:
            found.append((-area, y, x, contour[::-1] + np.array([x - 1, y - 1])))
    return [f[3] for f in sorted(found, key=lambda f: f[:3])]


def _not_flooded(crisp: F32, inset: F32, level: float, scale: float) -> Mask:
    """Islands that a flood over flat pixels, from the part's rim inwards, can't reach."""
    plug = disc(_PLUG_MM * scale)
    flat = cv2.erode(((crisp < level) & (inset > _FLAT_MM)).astype(np.uint8), plug)
    n, label = cv2.connectedComponents(flat, connectivity=4)
    flooded = np.zeros(n, np.uint8)
    flooded[np.unique(label[(inset < _OUTER_MM) & (flat > 0)])] = 1
    flooded[0] = 0
    islands = ((cv2.dilate(flooded[label], plug) == 0) & (inset > _RIM_MM)).astype(np.uint8)
    return np.asarray(cv2.morphologyEx(islands, cv2.MORPH_OPEN, disc(_OPEN_MM * scale)), np.uint8)


def _roundness(island: Mask) -> float:
    """Share of its convex hull that an island fills."""
    outlines, _ = cv2.findContours(island, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    outline = max(outlines, key=cv2.contourArea)
    return float(cv2.contourArea(outline) / max(cv2.contourArea(cv2.convexHull(outline)), 1e-6))


def _rim_strength(seen: Evidence, island: Mask, face: NDArray[np.bool_], inset: F32, win: tuple[slice, slice]) -> float:
    """Crispness of an island's edge, per mm, if it is a hole; 0 if it is a print, a speck, a strip of wall or noise."""
    scale = seen.px_per_mm
    depth = cv2.distanceTransform(cv2.copyMakeBorder(island, 1, 1, 1, 1, cv2.BORDER_CONSTANT), cv2.DIST_L2, 3)[
        1:-1, 1:-1
    ]
    depth = depth / scale
    width = 2 * float(depth.max())
    if width < _LEAST_WIDTH_MM:
        return 0.0
    area = float(island.sum()) / scale**2
    outline, _ = cv2.findContours(island, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    line = max(outline, key=len)[:, 0]
    strip = (inset[island > 0] < _STRIP_MM).mean() > _STRIP and area > _SLENDER * width**2
    if strip or (inset[line[:, 1], line[:, 0]] < _AT_RIM_MM).mean() > _AT_RIM:
        return 0.0  # a strip of wall, or a patch of another colour that reaches the part's boundary
    crest = cv2.dilate(seen.crisp[win], disc(_CREST_MM * scale))[line[:, 1], line[:, 0]]
    weak, usual = np.percentile(crest, _WEAK)
    if usual < _LEAST_RIM:
        return 0.0
    ring = face & (cv2.dilate(island, disc(_RING_MM * scale)) > 0)
    ring &= cv2.dilate(island, disc(_FACE_MM * scale)) == 0
    core = depth > min(_CORE_MM, _CORE * width)
    if not ring.any() or not core.any():
        return 0.0
    colour = seen.colour[win]
    inner, outer = colour[core], np.median(colour[ring], 0)
    step = np.abs(np.median(inner, 0) - outer)
    uneven = float(np.ptp(np.percentile(inner[:, 0], _ENDS)))
    if step[0] < _STEP[0] and step[1:].max() < _STEP[1] and uneven < _UNEVEN:
        return 0.0
    own = float(seen.lit[win][core].mean())
    if np.median(inner[:, 0]) > outer[0] + _LIGHTER and own > _OWN:
        return 0.0  # glare, or light paint
    table = float(seen.strange[win][core].mean()) < 0.5
    black = float(np.median(seen.window.rgb[win].max(2)[core])) < _NEAR_BLACK
    even_edge = uneven < _EVEN_EDGE and weak > _EVEN_RIM * usual
    even_paint = uneven < _EVEN or (uneven < _EVEN_PAINT and own > _PAINT and step[0] < _PAINT_STEP)
    return float(usual) if table or black or not (even_edge or even_paint) else 0.0


def _to_the_rim(seen: Evidence, holes: Mask, region: Mask, scale: float) -> Mask:
    """Holes whose boundary lies on the crest of the edge between the face and what is inside."""
    depth = depth_mm(holes, scale)
    summit = cv2.dilate(depth, disc(_SUMMIT_MM * scale))
    near = cv2.dilate(holes, disc(_CREST_NEAR_MM * scale))
    # compare each pixel with the face nearest to it
    face = ((near == 0) & (depth_mm(region, scale) > _FACE_MM)).astype(np.uint8)
    _, nearest = cv2.distanceTransformWithLabels(1 - face, cv2.DIST_L2, 3, labelType=cv2.DIST_LABEL_PIXEL)
    smooth = cv2.blur(seen.colour, (3, 3))
    rows, cols = np.nonzero(face)
    if not len(rows):
        return holes
    of_face = np.zeros((int(nearest.max()) + 1, 3), np.float32)
    of_face[nearest[rows, cols]] = smooth[rows, cols]
    off = np.abs(seen.colour - of_face[nearest]) / _TOLERANCE
    gain = _GAIN * np.clip(off.max(2) - 1, -1, 1)
    gain *= np.maximum(np.exp(-((seen.crisp / (2 * _EDGE)) ** 2)), _ELSE)
    known = np.zeros(holes.shape, np.int8)
    known[depth > np.minimum(_SURE_MM, _SURE * summit)] = 1
    known[near == 0] = -1
    known[(seen.marked < 0) & (holes > 0)] = 1
    known[seen.marked > 0] = -1
    return cheapest_region(gain.astype(np.float32), parting_cost(seen.crisp, scale, _EDGE), known)


def _with_walls(seen: Evidence, holes: Mask, region: Mask, rises: list[NDArray[np.float64]]) -> Mask:
    """Holes of which only the floor was found, widened by the wall where a faint edge runs along its expected rim.

    On a dark part the rim hardly shows; what shows is where the floor ends.
    """
    scale = seen.px_per_mm
    inside = depth_mm(region, scale) > _RIM_MM
    face = inside & (cv2.dilate(holes, disc(_RIM_FACE_MM * scale)) == 0)
    if not face.any():
        return holes
    usual = float(np.percentile(seen.crisp[face], _EDGE_PERCENT))
    edge = cv2.dilate(seen.crisp, disc(_OFF_MM * scale)) > _EDGES * usual + _LEAST_EDGE
    near = cv2.dilate(holes, disc(_BESIDE_MM * scale))
    n, label = cv2.connectedComponents(holes, connectivity=4)
    out = holes.copy()
    for i in range(1, n):
        hole = (label == i).astype(np.uint8)
        wall = wall_below(hole, rises)
        both = hole | wall
        rim = (both > 0) & (cv2.erode(both, disc(1)) == 0) & (depth_mm(1 - hole, scale) > _AWAY_MM)
        free = rim & inside & (near == 0)
        if free.sum() > max(_FREE_MM * scale, _FREE * rim.sum()) and edge[free].mean() > _RUNS:
            out |= wall
    return out
