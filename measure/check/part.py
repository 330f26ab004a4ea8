"""Figures of the part in a photo: where it lies, and how its boundary shows."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calib.arrays import Array
from calib.light.exposure import glare
from calib.light.profile import OPPONENT, Light, take
from calib.light.sharpness import Edges, edges_along
from calib.view.view import View
from measure.edges.rings import evenly, outward
from measure.tracing import parts

U8 = NDArray[np.uint8]

WIDTH = 4
"""Neighbouring profiles that are averaged."""
BESIDE_PX, BESIDE_MM = 3.0, 0.4
"""How far off the boundary its two sides are looked at: the larger of the two."""
FARTHER_MM = 12.0
"""How far off the open table is looked at."""
FAINT_SHARE, FAINT_STEP = 0.2, 0.002
"""A boundary whose step of light is lower than this share of the part's usual step, or than this share of full light,
hardly shows."""
SHADE = 0.55
"""Ground beside the part that is darker than this share of the open table lies in a shadow."""
CLIPPED = 0.05
"""Share of clipped samples from which a stretch of boundary counts as clipped."""

REACH, TABLE_QUANTILE = 2.5, 0.7
"""Profiles reach so many wall widths; and which of the table's levels, from the darkest, stands for its light: shadows
are darker (chosen)."""


@dataclass(frozen=True, slots=True)
class PartFigures:
    """A part, or an opening, that was found.

    Attributes:
        mm_per_px: size of a pixel there.
        edge_room: its least distance from the photo's edge, as a share of the short side.
        lean_mm: how wide its wall is seen at the most.
        glare: share of its face that mirrors a lamp.
        clipped: share of its boundary at the sensor's limit.
        shaded, faint: shares that a shadow hides, or that hardly show for another reason.
    """

    mm_per_px: float
    edge_room: float
    lean_mm: float
    glare: float
    clipped: float
    shaded: float
    faint: float


def part_figures(rgb: U8, view: View, contours_px: list[Array], height_mm: float) -> tuple[PartFigures, Edges]:
    """Figures of a part, and the steps of light across its boundary.

    Args:
        rgb: (h, w, 3) the photo.
        view: the solved view.
        contours_px: rough contours, the outer one first.
        height_mm: of the upper edge.
    """
    light = Light.of(rgb, parts.box_around(contours_px, view, height_mm))
    outer = contours_px[0]
    points, normals = evenly(outer), outward(evenly(outer))
    edges = edges_along(light, points, normals)
    middle = np.asarray(view.plane(outer).mean(0))
    px_mm = view.mm_per_px(middle)
    shaded, faint = _hidden(light, points, normals, px_mm)
    unfound = float(np.isnan(edges.sigma_px).mean())
    clipped = float((edges.clipped > CLIPPED).mean())
    h, w = rgb.shape[:2]
    room = min(outer.min(), w - 1 - outer[:, 0].max(), h - 1 - outer[:, 1].max()) / min(h, w)
    away = float(np.hypot(*(view.plane(outer) - view.centre_mm[:2]).T).max())
    camera = float(view.centre_mm[2])
    return (
        PartFigures(
            mm_per_px=px_mm,
            edge_room=float(room),
            lean_mm=height_mm * away / (camera - height_mm),
            glare=glare(*box_of(rgb, outer)),
            clipped=clipped,
            shaded=shaded,
            faint=max(faint, unfound - shaded),
        ),
        edges,
    )


def _hidden(light: Light, points_px: Array, normals_px: Array, px_mm: float) -> tuple[float, float]:
    """Shares of a boundary that a shadow hides, and that hardly show for another reason.

    The open table is what lies farther out, in the median of the whole boundary: the ground's own brightness.
    """
    n = len(points_px) // WIDTH * WIDTH
    beside = max(BESIDE_PX, BESIDE_MM / px_mm)
    far = FARTHER_MM / px_mm
    p = take(light, points_px[:n], normals_px[:n], REACH * beside, REACH * beside, WIDTH)
    inner, outer = (s * p.offsets_px for s in (-1, 1))
    face = np.median(p.light[:, (inner >= beside) & (inner <= 2 * beside)], 1)
    ground = np.median(p.light[:, (outer >= beside) & (outer <= 2 * beside)], 1)
    open_px = points_px[:n:WIDTH] + far * normals_px[:n:WIDTH]
    table = float(np.quantile(light.sample(open_px[None])[0] @ OPPONENT[:, 0], TABLE_QUANTILE))
    step = np.linalg.norm(face - ground, axis=1)
    hidden = step < max(FAINT_SHARE * float(np.median(step)), FAINT_STEP)
    dark = ground[:, 0] < SHADE * table
    return float((hidden & dark).mean()), float((hidden & ~dark).mean())


def box_of(rgb: U8, ring_px: Array) -> tuple[U8, U8]:
    """A cut-out of the photo round an outline, and (h, w) where it is inside."""
    import cv2

    h, w = rgb.shape[:2]
    x0, y0 = (int(v) for v in np.clip(np.floor(ring_px.min(0)), 0, [w - 2, h - 2]))
    x1, y1 = (int(v) for v in np.clip(np.ceil(ring_px.max(0)) + 1, [x0 + 2, y0 + 2], [w, h]))
    inside = np.zeros((y1 - y0, x1 - x0), np.uint8)
    cv2.fillPoly(inside, [np.round(ring_px - [x0, y0]).astype(np.int32)], 1)
    return rgb[y0:y1, x0:x1], inside
