"""The photo beneath a drawing, faded, for the eye to check the outline by: laid flat, to the drawing's own scale.

It is cut from the plain picture that a job keeps, in which every card's face is hidden already, and is written anew, so
that nothing but pixels comes along.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calib.arrays import Array
from calib.words import Words
from measure.sheet.sheet import Sheet

MARGIN_MM = 5.0
"""Of the photo round the outline, on paper: enough to see what lies beside an edge (chosen)."""
FADED = 0.55
"""Share of the way to white: lines and figures stay easy to read over it, edges easy to see (chosen, by looking)."""
MOST_PX, PX_PER_MM = 1200, 12.0
"""Its longer side at most, and no finer than this: as fine as the plain picture of a part that fills the photo."""
QUALITY = 82
"""Of its JPEG: nobody measures in it (common practice)."""
CAPTION = Words("Beneath lies the photo, laid flat at the upper edge. Only to look at.")


@dataclass(frozen=True, slots=True)
class Beneath:
    """A picture beneath a sheet.

    Attributes:
        jpeg: the file.
        low, high: (2,) its corners on paper, mm from the lower left.
        caption: what is said of it, in the sheet's language.
    """

    jpeg: bytes
    low: Array
    high: Array
    caption: str


def beneath(
    sheet: Sheet, plain: NDArray[np.uint8], to_picture: Callable[[Array], Array], caption: str = CAPTION
) -> Beneath:
    """The photo as it lies beneath the outline of a sheet.

    Args:
        sheet: the drawing.
        plain: (h, w, 3) the plain picture, faces hidden.
        to_picture: from places (n, 2) of the features' frame, mm, to places in the picture, its first pixel's centre at
            0, 0.
        caption: in the sheet's language.
    """
    import cv2

    paper = np.concatenate([_on_paper(sheet, f) for f in _outline_mm(sheet)])
    border = np.array([sheet.width_mm, sheet.height_mm])
    low, high = (np.clip(p, 0.0, border) for p in (paper.min(0) - MARGIN_MM, paper.max(0) + MARGIN_MM))
    fine = min(PX_PER_MM, MOST_PX / float((high - low).max()))
    wide, tall = (int(v) for v in np.maximum(np.round((high - low) * fine), 2))
    x = low[0] + (np.arange(wide) + 0.5) * (high[0] - low[0]) / wide
    y = high[1] - (np.arange(tall) + 0.5) * (high[1] - low[1]) / tall
    places = np.stack(np.meshgrid(x, y), -1).reshape(-1, 2)
    at = to_picture(_off_paper(sheet, places)).astype(np.float32).reshape(tall, wide, 2)
    laid = cv2.remap(
        plain, at[..., 0], at[..., 1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_CONSTANT, borderValue=(255, 255, 255)
    )
    faded = 255 - (1 - FADED) * (255.0 - laid)
    ok, jpeg = cv2.imencode(".jpg", np.round(faded).astype(np.uint8)[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, QUALITY])
    assert ok
    return Beneath(bytes(jpeg), low, high, caption)


def _outline_mm(sheet: Sheet) -> list[Array]:
    from measure.geometry.features import COARSE_MM, flatten

    return [flatten(f, COARSE_MM) for f in sheet.features]


def _turn(sheet: Sheet) -> Array:
    c, s = np.cos(sheet.turn_rad), np.sin(sheet.turn_rad)
    return np.array([[c, -s], [s, c]])


def _on_paper(sheet: Sheet, points_mm: Array) -> Array:
    return np.asarray(points_mm @ _turn(sheet).T / sheet.reduced + sheet.shift_mm)


def _off_paper(sheet: Sheet, points: Array) -> Array:
    return np.asarray((points - sheet.shift_mm) * sheet.reduced @ _turn(sheet))
