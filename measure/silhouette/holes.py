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
    quiet = float(np.percentile(seen.crisp[inset > 0.8], 40)) if (inset > 0.8).any() else 0.0
    chosen = np.zeros(region.shape, np.int32)
    strength = [0.0]
    # High levels part what noise has joined, low ones find faint rims: from level to level a hole may grow.
    for level in (0.5, 0.2, 3 * quiet + 0.06):
        islands = _not_flooded(seen.crisp, inset, level, scale)
        n, label, stats, _ = cv2.connectedComponentsWithStats(islands, connectivity=4)
        face = (region > 0) & (islands == 0) & (inset > 0.3)
        for i in range(1, n):
            x, y, w, h, _ = stats[i]
            pad = round(1.2 * scale) + 1
            win = np.s_[max(0, y - pad) : y + h + pad, max(0, x - pad) : x + w + pad]
            island = (label[win] == i).astype(np.uint8)
            before = np.unique(chosen[win][island > 0])
            before = before[before > 0]
            # a lit floor and a dark wall are pieces of one hole; two holes joined are not rounded as a whole
            if len(before) > 1 and _roundness(island) < 0.85:
                continue
            meant = seen.marked[win][island > 0]
            if (meant > 0).any() and not (meant < 0).any():
                continue
            edge = _rim_strength(seen, island, face[win], inset[win], win)
            if (meant < 0).any():
                edge = max(edge, _MEANT)
            least = 0.6 if len(before) == 1 else 0.35
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
        blunt = min(0.8 * scale, 0.6 * float(cv2.distanceTransform(hole, cv2.DIST_L2, 3).max()))
        hole = cv2.morphologyEx(hole, cv2.MORPH_OPEN, disc(blunt))  # a print's edge may run into the rim
        contour = smooth_contour(hole, scale)
        if len(contour) and area > 1.0 * scale**2:
            found.append((-area, y, x, contour[::-1] + np.array([x - 1, y - 1])))
    return [f[3] for f in sorted(found, key=lambda f: f[:3])]


def _not_flooded(crisp: F32, inset: F32, level: float, scale: float) -> Mask:
    """Islands that a flood over flat pixels, from the part's rim inwards, can't reach."""
    plug = disc(_PLUG_MM * scale)
    flat = cv2.erode(((crisp < level) & (inset > 0.35)).astype(np.uint8), plug)
    n, label = cv2.connectedComponents(flat, connectivity=4)
    flooded = np.zeros(n, np.uint8)
    flooded[np.unique(label[(inset < 1.6) & (flat > 0)])] = 1
    flooded[0] = 0
    islands = ((cv2.dilate(flooded[label], plug) == 0) & (inset > _RIM_MM)).astype(np.uint8)
    return np.asarray(cv2.morphologyEx(islands, cv2.MORPH_OPEN, disc(0.5 * scale)), np.uint8)


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
    strip = (inset[island > 0] < 1.7).mean() > 0.6 and area > 3 * width**2
    if strip or (inset[line[:, 1], line[:, 0]] < 0.75).mean() > 0.2:
        return 0.0  # a strip of wall, or a patch of another colour that reaches the part's boundary
    crest = cv2.dilate(seen.crisp[win], disc(0.4 * scale))[line[:, 1], line[:, 0]]
    weak, usual = np.percentile(crest, (10, 50))
    if usual < 0.35:
        return 0.0
    ring = face & (cv2.dilate(island, disc(1.0 * scale)) > 0) & (cv2.dilate(island, disc(0.3 * scale)) == 0)
    core = depth > min(0.9, 0.45 * width)
    if not ring.any() or not core.any():
        return 0.0
    colour = seen.colour[win]
    inner, outer = colour[core], np.median(colour[ring], 0)
    step = np.abs(np.median(inner, 0) - outer)
    uneven = float(np.ptp(np.percentile(inner[:, 0], (10, 90))))
    if step[0] < 0.15 and step[1:].max() < 0.12 and uneven < 0.3:
        return 0.0
    own = float(seen.lit[win][core].mean())
    if np.median(inner[:, 0]) > outer[0] + 0.1 and own > 0.6:
        return 0.0  # glare, or light paint
    table = float(seen.strange[win][core].mean()) < 0.5
    black = float(np.median(seen.window.rgb[win].max(2)[core])) < _NEAR_BLACK
    even_edge = uneven < 0.25 and weak > 0.88 * usual
    even_paint = uneven < 0.06 or (uneven < 0.12 and own > 0.7 and step[0] < 0.9)
    return float(usual) if table or black or not (even_edge or even_paint) else 0.0


def _to_the_rim(seen: Evidence, holes: Mask, region: Mask, scale: float) -> Mask:
    """Holes whose boundary lies on the crest of the edge between the face and what is inside."""
    depth = depth_mm(holes, scale)
    summit = cv2.dilate(depth, disc(3 * scale))
    near = cv2.dilate(holes, disc(0.4 * scale))
    # compare each pixel with the face nearest to it
    face = ((near == 0) & (depth_mm(region, scale) > 0.3)).astype(np.uint8)
    _, nearest = cv2.distanceTransformWithLabels(1 - face, cv2.DIST_L2, 3, labelType=cv2.DIST_LABEL_PIXEL)
    smooth = cv2.blur(seen.colour, (3, 3))
    rows, cols = np.nonzero(face)
    if not len(rows):
        return holes
    of_face = np.zeros((int(nearest.max()) + 1, 3), np.float32)
    of_face[nearest[rows, cols]] = smooth[rows, cols]
    off = np.abs(seen.colour - of_face[nearest]) / np.array([0.12, 0.08, 0.08], np.float32)
    gain = 0.05 * np.clip(off.max(2) - 1, -1, 1)
    sigma = 0.25
    gain *= np.maximum(np.exp(-((seen.crisp / (2 * sigma)) ** 2)), 0.1)
    known = np.zeros(holes.shape, np.int8)
    known[depth > np.minimum(0.9, 0.6 * summit)] = 1
    known[near == 0] = -1
    known[(seen.marked < 0) & (holes > 0)] = 1
    known[seen.marked > 0] = -1
    return cheapest_region(gain.astype(np.float32), parting_cost(seen.crisp, scale, sigma), known)


def _with_walls(seen: Evidence, holes: Mask, region: Mask, rises: list[NDArray[np.float64]]) -> Mask:
    """Holes of which only the floor was found, widened by the wall where a faint edge runs along its expected rim.

    On a dark part the rim hardly shows; what shows is where the floor ends.
    """
    scale = seen.px_per_mm
    inside = depth_mm(region, scale) > _RIM_MM
    face = inside & (cv2.dilate(holes, disc(0.5 * scale)) == 0)
    if not face.any():
        return holes
    edge = cv2.dilate(seen.crisp, disc(0.3 * scale)) > 1.5 * float(np.percentile(seen.crisp[face], 80)) + 0.05
    near = cv2.dilate(holes, disc(0.6 * scale))
    n, label = cv2.connectedComponents(holes, connectivity=4)
    out = holes.copy()
    for i in range(1, n):
        hole = (label == i).astype(np.uint8)
        wall = wall_below(hole, rises)
        both = hole | wall
        rim = (both > 0) & (cv2.erode(both, disc(1)) == 0) & (depth_mm(1 - hole, scale) > 0.8)
        free = rim & inside & (near == 0)
        if free.sum() > max(2 * scale, 0.6 * rim.sum()) and edge[free].mean() > 0.75:
            out |= wall
    return out
