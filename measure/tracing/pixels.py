"""Whether a photo has pixels enough: said of what is drawn, and instead of what would be said where nothing can be."""

from __future__ import annotations

from calib.errors import PartRefused
from calib.reference.found import Caution
from calib.words import Words, joined

FEW_MM, TOO_FEW_MM = 0.14, 0.18
"""Millimetres a pixel: an edge is located to about a tenth of a pixel, and what measures fewer than about ten, such as
a small hole or a fillet, is lost. From the first on a person is told; from the second on that is why something else
fails (chosen with rendered photos of known truth)."""
CODE = "too-far"
WHAT = Words("The photo was taken from too far away, or made smaller in sending: {value:.2f} mm a pixel.")
INSTEAD = Words("go nearer, until reference and part fill a good half of the picture, and send the photo at full size")
BY_PIXELS = ("faint-edge", "no-outline", "unsure-edge")
"""What else is said of an edge, the pixels being too few; that a part is there takes half a millimetre each."""
LEAST_SEEN_PX = 10
"""What measures fewer pixels is lost, see above."""


def caution(mm_per_px: float) -> tuple[Caution, ...]:
    """What a person should know of a photo with few pixels to a millimetre; nothing of another."""
    if mm_per_px <= FEW_MM:
        return ()
    lost = Words(
        "What is smaller than {least_mm:.1f} mm may be missing in the outline",
        least_mm=LEAST_SEEN_PX * mm_per_px,
    )
    return (Caution(CODE, joined(" ", (Words(WHAT, value=mm_per_px), lost)), (INSTEAD,)),)


def cause(why: PartRefused, mm_per_px: float) -> PartRefused:
    """A refusal as it stands, or the pixels where they are the cause of it."""
    if mm_per_px <= TOO_FEW_MM or why.code not in BY_PIXELS:
        return why
    what = joined(" ", (Words(WHAT, value=mm_per_px), Words("The part's edges can't be told so")))
    return PartRefused(what, CODE, INSTEAD)
