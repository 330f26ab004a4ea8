"""A seam that damage leaves in a JPEG whose stream is still valid: from one block on, all of the picture is lighter,
darker or of another colour.

JPEG codes the mean of each block as a difference to the block before (ITU-T T.81, F.1.2.1). One wrong difference shifts
all blocks that follow, to the end of the picture, and no decoder can know. What is seen is a straight horizontal step
across the whole picture: along the upper boundary of a row of blocks, and to the left of the damage along the lower
one. A camera's edges are neither that straight nor on the grid nor of no width. Lines of print may be all of it by
chance, but then they are as steep off the grid; and what a line of print or of a cutting mat darkens is as light again
some rows farther on.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

PIECES = 16
"""A row is judged in so many pieces, each some 250 pixels wide in a photo of twelve megapixels."""
MAY_MISS = 2
"""Pieces that need not show the step: white and black paper stay what they are. One more holds the damage itself."""
LUMA_STEP, CHROMA_STEP = 1.0, 3.0
"""Grey levels over which a step is a seam. The largest of some 90 undamaged photos, real and rendered, are 0.4 in luma
and 2.4 in chroma, whose means are coded in coarser steps; smaller steps move no edge."""
OVER_PRINT = 2.0
"""How much larger a seam is than what the picture itself has off the grid: of 24 pictures of newsprint, drawn along the
rows and aslant, the largest step on the grid is 1.1 in luma, off it 1.1."""
FARTHER_ON, LASTS = 8, 0.5
"""So many rows to either side of a seam most pieces still differ by this share of the step: a line 2 mm wide, seen at
0.25 mm a row, does not (chosen)."""
TEXTURE_SLOPE = 4.0
"""Grey levels a row that wood's grain and weave have in the mean of a piece; joints of tiles along the rows have 20."""
AT_ONCE = 32
"""Boundaries whose rows are copied at once: 2 MB of a photo of twelve megapixels."""


def has_seam(rgb: NDArray[np.uint8], rows: int) -> bool:
    """Whether a horizontal step runs across a picture on the grid of its blocks.

    Args:
        rgb: (h, w, 3) as decoded, neither turned nor converted.
        rows: height of the smallest coded unit, pixels (8, or 16 where colour is halved).
    """
    found, limit = largest_steps(rgb, rows), np.array([LUMA_STEP, CHROMA_STEP, CHROMA_STEP])
    if not (found > limit).any():
        return False
    middle = rows // 2
    print_steps = np.maximum(*(largest_steps(rgb, rows, off) for off in (middle, middle + 1)))
    return bool((found > np.maximum(limit, OVER_PRINT * print_steps)).any())


def is_torn(rgb: NDArray[np.uint8]) -> bool:
    """Whether a horizontal step runs across a picture between any two rows: where each pixel is coded as a difference.

    Args:
        rgb: (h, w, 3) as decoded. Undamaged photos have up to 0.2 grey levels in luma and 0.7 in chroma (13, tried).
    """
    return bool((largest_steps(rgb, 1) > np.array([LUMA_STEP, CHROMA_STEP, CHROMA_STEP])).any())


def largest_steps(rgb: NDArray[np.uint8], rows: int, off: int = 0) -> NDArray[np.float64]:
    """(3,) the largest step across the whole picture in luma, red and blue chroma, grey levels.

    Args:
        rgb: (h, w, 3) as decoded.
        rows: height of the smallest coded unit, pixels.
        off: how far below the units' boundaries steps are looked for.
    """
    at = range(rows + off, len(rgb) - FARTHER_ON, rows)
    if len(at) < 2 or rgb.shape[1] < PIECES:
        return np.zeros(3)
    steps = _steps(np.concatenate([_means(rgb, at[k : k + AT_ONCE]) for k in range(0, len(at), AT_ONCE)]))
    upper, lower = steps[:, :-1], steps[:, 1:]
    largest = np.zeros(3)
    for split in range(PIECES + 1):  # right of it the seam runs on the upper boundary, left of it on the lower one
        along, lasting = np.concatenate([lower[..., :split], upper[..., split + 1 :]], axis=-1)
        held = np.partition(along, MAY_MISS, axis=-1)[..., MAY_MISS]
        held = np.where(np.median(lasting, -1) > LASTS * np.median(along, -1), held, 0.0)
        largest = np.maximum(largest, held.max(axis=(0, 1)))
    return largest


def _means(rgb: NDArray[np.uint8], at: range) -> NDArray[np.float64]:
    """(boundaries, 8, PIECES, 3) means of luma and chroma over pieces: three rows on either side of a boundary,
    and of one farther up and one farther down."""
    import cv2

    width = rgb.shape[1] // PIECES
    near = np.r_[np.arange(-3, 3), -FARTHER_ON, FARTHER_ON - 1]
    rows = rgb[np.maximum(np.add.outer(at, near), 0).ravel(), : PIECES * width]
    planes = cv2.cvtColor(rows, cv2.COLOR_RGB2YCrCb).reshape(-1, width, 3)
    sums = cv2.reduce(planes, 1, cv2.REDUCE_SUM, dtype=cv2.CV_64F)
    return np.asarray(sums.reshape(len(at), 8, PIECES, 3) / width, np.float64)


def _steps(means: NDArray[np.float64]) -> NDArray[np.float64]:
    """(2, boundaries, 2, 3, PIECES) mean step up and down between rows 2 and 3 of six, beyond the mean slope beside it;
    and what is left of it farther on.

    What is steeper beside it than texture is counts against it: an edge that lens and sensor have spread over some rows
    is no step. Chroma that was halved is spread over the two rows next to the boundary, which are left out. The means'
    step is the mean step, since it is linear in them.

    Args:
        means: see `_means`.
    """
    rows = np.moveaxis(means, -1, 2)  # (boundaries, 6, 3, pieces)
    luma, chroma = rows[:, :, :1], rows[:, :, 1:]
    step = np.concatenate([luma[:, 3] - luma[:, 2], chroma[:, 4] - chroma[:, 1]], axis=1)
    above = np.concatenate([luma[:, 2] - luma[:, 1], 3 * (chroma[:, 1] - chroma[:, 0])], axis=1)
    below = np.concatenate([luma[:, 4] - luma[:, 3], 3 * (chroma[:, 5] - chroma[:, 4])], axis=1)
    beyond = step - (above + below) / 2
    steep = np.maximum(np.maximum(abs(above), abs(below)) - TEXTURE_SLOPE, 0)
    lasting = rows[:, 7] - rows[:, 6]
    return np.stack(
        [np.stack([beyond, -beyond], 1) - steep[:, None], np.stack([lasting, -lasting], 1)], dtype=np.float64
    )
