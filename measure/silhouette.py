"""Which pixels are the part.

In the whole photo, much reduced, the table is learned and what is not table is found: a part with its shadow, or an
opening. In a window round that, at about a quarter of a millimetre per pixel, crisp edges tell part from shadow, and a
cheapest cut (`mincut`) weighs colour against edges, twice: once to know the part's colours, once to find its boundary
with them. Holes are looked for inside (`holes`).

What is returned is rough, within half a millimetre: its use is to tell a search for edges where to look.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import cv2
import numpy as np
from numpy.typing import NDArray

from calib.view import View
from measure.candidates import Candidate, Reserved, survey
from measure.contours import smooth_contour
from measure.evidence import Evidence, gather
from measure.holes import find_holes
from measure.region import first_guess, refine
from measure.standing import lower_from_upper
from measure.strokes import NO_STROKES, Strokes
from measure.tabletop import U8, Mask, disc

Array = NDArray[np.float64]
Subject = Literal["part", "opening"]
Reason = Literal["no-part", "several-parts", "part-touches-card", "part-at-edge"]

_CARD_GAP_MM = 3.0
_DOWN = (0.2, 0.4, 0.6, 0.8, 1.0)  # shares of the wall's height
_RIVAL = 0.6  # share of the heaviest candidate's weight from which another might as well be the part
_LEAST_CRISP = 1.2
_LEAST_SIZE_MM = 6.0

_TEXT: dict[Reason, str] = {
    "no-part": "No part can be told from the table; lay it beside the card on a plain surface of another colour.",
    "several-parts": "Several things of like size lie beside the card; leave only the part and take the photo again.",
    "part-touches-card": "The part touches the card or lies too close to it; move it a finger's width away.",
    "part-at-edge": "The part reaches the edge of the photo; take the photo again with all of the part in it.",
}


@dataclass(frozen=True, slots=True)
class Silhouette:
    """Rough closed contours of what is seen of the part: upper face and visible wall, shadow excluded.

    Attributes:
        contours_px: (n, 2) photo pixel coordinates each, pixel centres at whole numbers, not closed on themselves;
            first the outer boundary, then the holes' upper rims, largest first. Outer clockwise as seen in the picture
            (y down), holes the other way round.
    """

    contours_px: tuple[Array, ...]


@dataclass(frozen=True, slots=True)
class NoSilhouette:
    """Why there is no silhouette. It is false, a silhouette is true."""

    reason: Reason

    @property
    def text(self) -> str:
        """One sentence for people: what is wrong and what to do."""
        return _TEXT[self.reason]

    def __bool__(self) -> bool:
        return False


def silhouette(
    rgb: U8,
    view: View,
    reserved: Reserved,
    subject: Subject,
    thickness_mm: float,
    strokes: Strokes = NO_STROKES,
) -> Silhouette | NoSilhouette:
    """Find the part, or the opening, beside the reference card.

    Args:
        rgb: (h, w, 3) upright sRGB pixels.
        view: of the plane that the part lies on.
        reserved: where no part can be.
        subject: a part that lies on the table, or an opening in it.
        thickness_mm: height of the part's upper face; tells where its wall can be seen.
        strokes: what a person is sure of.
    """
    px_per_mm = 1 / view.mm_per_px(np.zeros(2))
    scene = survey(rgb, reserved, px_per_mm, strokes)
    choice = _choose(scene.candidates)
    if isinstance(choice, NoSilhouette):
        return choice
    seen = gather(rgb, scene, choice, reserved, px_per_mm, strokes)
    region = first_guess(seen, subject)
    if region is None:
        return NoSilhouette("no-part")
    shifts: list[Array] = []
    if subject == "part" and thickness_mm > 0:
        to_window = seen.window.matrix_from_photo()
        back = np.linalg.inv(to_window)
        shifts = [to_window @ lower_from_upper(view, thickness_mm, share) @ back for share in _DOWN]
    region, opened = refine(seen, region, subject, shifts)
    trouble = _trouble(seen, region, rgb.shape[:2])
    if trouble:
        return NoSilhouette(trouble)
    outer = smooth_contour(region, seen.px_per_mm)
    holes = find_holes(seen, region, opened, shifts) if subject == "part" else []
    return Silhouette(tuple(seen.window.to_photo(c) for c in (outer, *holes)))


def _choose(candidates: tuple[Candidate, ...]) -> Candidate | NoSilhouette:
    """The one that is the part, or why none is. What strokes mark as part is it, in one piece or in several."""
    meant = [c for c in candidates if c.marked > 0]
    if meant:
        mask = np.asarray(np.max([c.mask for c in meant], axis=0), np.uint8)
        at_edge = any(c.at_edge for c in meant)
        return Candidate(mask, sum(c.area_mm2 for c in meant), max(c.crisp for c in meant), at_edge, 1)
    free = tuple(c for c in candidates if c.marked == 0)
    candidates = free if any(c.crisp > _LEAST_CRISP and not c.at_edge for c in free) else candidates
    inner = [c for c in candidates if not c.at_edge and c.crisp > _LEAST_CRISP]
    outer = [c for c in candidates if c.at_edge and c.crisp > 3 * _LEAST_CRISP]
    if not inner or (outer and outer[0].weight > 3 * inner[0].weight):
        return NoSilhouette("part-at-edge" if outer else "no-part")
    if len(inner) > 1 and inner[1].weight > _RIVAL * inner[0].weight:
        return NoSilhouette("several-parts")
    return inner[0]


def _trouble(seen: Evidence, region: Mask, photo: tuple[int, int]) -> Reason | None:
    """What forbids measuring this region."""
    if not region.any():
        return "no-part"
    rows, cols = np.nonzero(region)
    if max(np.ptp(rows), np.ptp(cols)) < _LEAST_SIZE_MM * seen.px_per_mm:
        return "no-part"
    corners = seen.window.to_photo(np.array([[cols.min(), rows.min()], [cols.max(), rows.max()]], float))
    margin = 1.5 * seen.window.factor
    if corners.min() < margin or corners[1, 0] > photo[1] - 1 - margin or corners[1, 1] > photo[0] - 1 - margin:
        return "part-at-edge"
    if (cv2.dilate(seen.card, disc(_CARD_GAP_MM * seen.px_per_mm)) & region).any():
        return "part-touches-card"
    return None
