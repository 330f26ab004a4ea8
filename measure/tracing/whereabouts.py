"""Where the part lies: on the sheet that gives the scale or beside it; on what the card lies on, or lower."""

from __future__ import annotations

from collections.abc import Callable
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from calib.errors import ReferenceRefused
from calib.reference.found import Found
from calib.words import Words
from measure.silhouette.candidates import Reserved
from measure.silhouette.silhouette import NoSilhouette, Reason, Silhouette, several_pieces, silhouette
from measure.silhouette.strokes import NO_STROKES, Strokes
from measure.subject import Subject

T = TypeVar("T", Silhouette, tuple[Silhouette, ...])

ON = 0.95
"""Share of a part's outline that must lie over the card's underlay for the part to lie on it."""
UNDERLAY = Words(
    "The card lies on something that the part does not lie on, so that they may be at "
    "different heights and the scale wrong: lay both on the same surface and take the "
    "photo again."
)


def find_part(
    rgb: NDArray[np.uint8],
    reference: Found,
    subject: Subject,
    thickness_mm: float,
    strokes: Strokes = NO_STROKES,
) -> Silhouette | NoSilhouette:
    """The part's silhouette: looked for on the reference's field, or all over the table; then beside the sheet, or
    beside what the card lies on, which may look like a part itself.

    Args:
        rgb: (h, w, 3) the photo.
        reference: what gave the view.
        subject, thickness_mm, strokes: see `measure.silhouette.silhouette.silhouette`.
    """
    return _on_or_beside(
        lambda where: silhouette(rgb, reference.view, where, subject, thickness_mm, strokes), reference, "several-parts"
    )


def find_pieces(
    rgb: NDArray[np.uint8], reference: Found, thickness_mm: float, count: int = 2
) -> tuple[Silhouette, ...] | NoSilhouette:
    """The silhouettes of several things, such as both pieces of a broken part, the largest first; looked for as
    `find_part` looks for a part.

    Args:
        rgb: (h, w, 3) the photo.
        reference: what gave the view.
        thickness_mm: see `measure.silhouette.silhouette.silhouette`.
        count: how many there are.
    """
    return _on_or_beside(
        lambda where: several_pieces(rgb, reference.view, where, thickness_mm, count), reference, "more-pieces"
    )


def _on_or_beside(look: Callable[[Reserved], T | NoSilhouette], reference: Found, final: Reason) -> T | NoSilhouette:
    """What is found on the reference's field, or all over the table; else beside the sheet, or beside what the card
    lies on. Where both fail, or the first for the reason `final`, why the first did."""
    found = look(Reserved(reference.taken_px, reference.field_px))
    other = reference.underlay_px if reference.beside_px is None else reference.beside_px
    if not isinstance(found, NoSilhouette) or other is None or found.reason == final:
        return found
    beside = look(Reserved((*reference.taken_px, other), None))
    return found if isinstance(beside, NoSilhouette) else beside


def require_same_surface(reference: Found, part: Silhouette) -> None:
    """Refuse a part that does not lie on what the card lies on: a book under the card alone makes the scale wrong.

    Raises:
        ReferenceRefused: it does not.
    """
    import cv2

    if reference.underlay_px is None:
        return
    under = reference.underlay_px.astype(np.float32)
    inside = [cv2.pointPolygonTest(under, (float(x), float(y)), False) >= 0 for x, y in part.contours_px[0]]
    if np.mean(inside) <= ON:
        raise ReferenceRefused(UNDERLAY, "underlay")
