"""Which pixels are the part.

In the whole photo, much reduced, the table is learned and what is not table is found: a part with its shadow, or an
opening. In a window round that, at about a quarter of a millimetre per pixel, crisp edges tell part from shadow, and a
cheapest cut (`mincut`) weighs colour against edges, twice: once to know the part's colours, once to find its boundary
with them. Holes are looked for inside (`holes`).

What is returned is rough, within half a millimetre: its use is to tell a search for edges where to look.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

import cv2
import numpy as np

from calib.arrays import Array
from calib.messages import Message, Remedy
from calib.view.view import View
from calib.words import Words
from measure.silhouette.candidates import Candidate, Reserved, survey
from measure.silhouette.contours import smooth_contour
from measure.silhouette.evidence import Evidence, gather
from measure.silhouette.holes import find_holes
from measure.silhouette.region import first_guess, largest, refine
from measure.silhouette.standing import lower_from_upper
from measure.silhouette.strokes import NO_STROKES, Strokes
from measure.silhouette.tabletop import U8, Mask, disc
from measure.subject import Subject

Reason = Literal[
    "no-part", "several-parts", "part-touches-card", "part-at-edge", "one-piece", "more-pieces", "pieces-touch"
]

_CARD_GAP_MM = 3.0
_DOWN = (0.2, 0.4, 0.6, 0.8, 1.0)  # shares of the wall's height
_RIVAL = 0.6  # share of the heaviest candidate's weight from which another might as well be the part
_LEAST_CRISP = 1.2
_LEAST_SIZE_MM = 6.0
_SOLID_MM, _EDGE_CELLS = 1.5, 1.5
"""Half the width of what is a thing rather than a line; and how near to the photo's edge, in reduced pixels, a part is
cut off."""
_PLAINLY_CRISP = 8.0
_PLAIN_AREA_MM2 = 60.0  # something so large with such edges lies on the table, whatever it is

_TWO_PIECES = Message(
    "several-parts",
    Words("Two things of like size lie there"),
    (Words("leave only the part and take the photo again"), Remedy("trace-parts"), Remedy("trace-in-two")),
)

_SAID: tuple[Message, ...] = (
    Message("no-part", Words("No part can be told from the table; lay it on a plain surface of another colour.")),
    Message(
        "several-parts",
        Words("Several things of like size lie there"),
        (Words("leave only the part and take the photo again"), Remedy("trace-parts")),
    ),
    Message(
        "one-piece",
        Words("Only one piece is found, not two"),
        (Words("lay both a finger's width apart, face up, and take the photo again"), Remedy("trace-in-one")),
    ),
    Message(
        "more-pieces",
        Words("More than two things lie there: leave only the two pieces of the broken part and take the photo again."),
    ),
    Message(
        "pieces-touch",
        Words("The pieces lie too close to each other or to what gives the scale; move them a finger's width apart."),
    ),
    Message(
        "part-touches-card",
        Words("The part touches what gives the scale, or lies too close to it; move it a finger's width away."),
    ),
    Message(
        "part-at-edge",
        Words("The part reaches the edge of the photo; take the photo again with all of the part in it."),
    ),
)


@dataclass(frozen=True, slots=True)
class Silhouette:
    """Rough closed contours of what is seen of the part: upper face and visible wall, shadow excluded.

    Attributes:
        contours_px: (n, 2) photo pixel coordinates each, pixel centres at whole numbers, not closed on themselves;
            first the outer boundary, then the holes' upper rims, largest first. Outer clockwise as seen in the picture
            (y down), holes the other way round.
        beside: how many more things plainly lie on the table.
    """

    contours_px: tuple[Array, ...]
    beside: int = 0


@dataclass(frozen=True, slots=True)
class NoSilhouette:
    """Why there is no silhouette. It is false, a silhouette is true.

    Attributes:
        reason: a short stable word.
        things: how many there are, or were found by then, where there should be one or several.
    """

    reason: Reason
    things: int = 0

    @property
    def message(self) -> Message:
        """What is said to people."""
        return (
            _TWO_PIECES
            if (self.reason, self.things) == ("several-parts", 2)
            else next(m for m in _SAID if m.code == self.reason)
        )

    def __bool__(self) -> bool:
        return False


def silhouette(
    rgb: U8,
    view: View,
    reserved: Reserved,
    subject: Subject,
    thickness_mm: float,
    strokes: Strokes = NO_STROKES,
    *,
    alone: bool = True,
) -> Silhouette | NoSilhouette:
    """Find the part, or the opening, beside the reference card.

    Args:
        rgb: (h, w, 3) upright sRGB pixels.
        view: of the plane that the part lies on.
        reserved: where no part can be.
        subject: a part that lies on the table, or an opening in it.
        thickness_mm: height of the part's upper face; tells where its wall can be seen.
        strokes: what a person is sure of.
        alone: whether nothing else of like size may lie there; if not, the largest is taken.
    """
    px_per_mm = 1 / view.mm_per_px(np.zeros(2))
    scene = survey(rgb, reserved, px_per_mm, strokes)
    nothing: Reason = "part-at-edge" if scene.cut_off else "no-part"
    choice = _choose(scene.candidates, alone, nothing)
    if isinstance(choice, NoSilhouette):
        return choice
    seen = gather(rgb, scene, choice, reserved, px_per_mm, strokes)
    region = first_guess(seen, subject)
    if region is None:
        return NoSilhouette(nothing)
    shifts: list[Array] = []
    if subject == "part" and thickness_mm > 0:
        to_window = seen.window.matrix_from_photo()
        back = np.linalg.inv(to_window)
        shifts = [to_window @ lower_from_upper(view, thickness_mm, share) @ back for share in _DOWN]
    region, opened = refine(seen, region, subject, shifts)
    trouble = _trouble(seen, region, rgb.shape[:2])
    if trouble:
        return NoSilhouette(nothing if trouble == "no-part" else trouble)
    outer = smooth_contour(region, seen.px_per_mm)
    holes = find_holes(seen, region, opened, shifts) if subject == "part" else []
    beside = sum(_plain(c) for c in scene.candidates if c is not choice and c.marked == 0) + _left(seen, region)
    return Silhouette(tuple(seen.window.to_photo(c) for c in (outer, *holes)), beside)


def several_pieces(
    rgb: U8, view: View, reserved: Reserved, thickness_mm: float, count: int = 2
) -> tuple[Silhouette, ...] | NoSilhouette:
    """Find several things that lie beside the reference card, such as the pieces of a broken part, the largest first.

    Each is looked for where those before are not: their shadows may run into each other.

    Args:
        rgb, view, reserved, thickness_mm: see `silhouette`.
        count: how many lie there, neither fewer nor more.
    """
    found: list[Silhouette] = []
    for _ in range(count):
        taken = replace(reserved, taken_px=(*reserved.taken_px, *(s.contours_px[0] for s in found)))
        one = silhouette(rgb, view, taken, "part", thickness_mm, alone=False)
        if isinstance(one, NoSilhouette):
            told: dict[Reason, Reason] = {"no-part": "one-piece", "part-touches-card": "pieces-touch"}
            return NoSilhouette(told.get(one.reason, one.reason), len(found)) if found else one
        found.append(one)
    if found[-1].beside:
        return NoSilhouette("more-pieces")
    return tuple(sorted(found, key=lambda s: -cv2.contourArea(s.contours_px[0].astype(np.float32))))


def _plain(c: Candidate) -> bool:
    """Whether something plainly lies there that is neither table nor shadow."""
    return not c.at_edge and c.crisp > _PLAINLY_CRISP and c.area_mm2 > _PLAIN_AREA_MM2


def _left(seen: Evidence, region: Mask) -> bool:
    """Whether something else is in the blob whose colour is no table in shadow: two shadows may run into each other."""
    rest = (seen.blob > 0) & (cv2.dilate(region, disc(2.0 * seen.px_per_mm)) == 0) & (seen.lit > 0.5)
    rest &= cv2.dilate(seen.card, disc(2.0 * seen.px_per_mm)) == 0
    solid = largest(cv2.morphologyEx(rest.astype(np.uint8), cv2.MORPH_OPEN, disc(_SOLID_MM * seen.px_per_mm)))
    return float(solid.sum()) > _PLAIN_AREA_MM2 * seen.px_per_mm**2


def _choose(candidates: tuple[Candidate, ...], alone: bool, nothing: Reason) -> Candidate | NoSilhouette:
    """The one that is the part, or why none is: `nothing` where there is none at all.

    What strokes mark as part is it, in one piece or in several.
    """
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
        return NoSilhouette("part-at-edge" if outer else nothing)
    like = [c for c in inner if c.weight > _RIVAL * inner[0].weight]
    if alone and len(like) > 1 and not any(_plain(c) for c in like):
        return NoSilhouette(nothing)  # shadows and stains, none of them plainly a thing
    if alone and len(like) > 1:
        return NoSilhouette("several-parts", max(len(like), sum(_plain(c) for c in inner)))
    return inner[0]


def _trouble(seen: Evidence, region: Mask, photo: tuple[int, int]) -> Reason | None:
    """What forbids measuring this region."""
    if not region.any():
        return "no-part"
    rows, cols = np.nonzero(region)
    if max(np.ptp(rows), np.ptp(cols)) < _LEAST_SIZE_MM * seen.px_per_mm:
        return "no-part"
    corners = seen.window.to_photo(np.array([[cols.min(), rows.min()], [cols.max(), rows.max()]], float))
    margin = _EDGE_CELLS * seen.window.factor
    if corners.min() < margin or corners[1, 0] > photo[1] - 1 - margin or corners[1, 1] > photo[0] - 1 - margin:
        return "part-at-edge"
    if (cv2.dilate(seen.card, disc(_CARD_GAP_MM * seen.px_per_mm)) & region).any():
        return "part-touches-card"
    return None
