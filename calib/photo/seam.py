"""A seam that damage leaves in a JPEG whose stream is still valid: from one block on, all of the picture is lighter,
darker or of another colour.

JPEG codes the mean of each block as a difference to the block before (ITU-T T.81, F.1.2.1). One wrong difference shifts
all blocks that follow, to the end of the picture, and no decoder can know. What is seen is a straight horizontal step
across the whole picture: along the upper boundary of a row of blocks, and to the left of the damage along the lower
one. A camera's edges are neither that straight nor on the grid nor of no width.
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
    return bool((largest_steps(rgb, rows) > (LUMA_STEP, CHROMA_STEP, CHROMA_STEP)).any())


def largest_steps(rgb: NDArray[np.uint8], rows: int) -> NDArray[np.float64]:
    """(3,) the largest step across the whole picture in luma, red and blue chroma, grey levels.

    Args:
        rgb: (h, w, 3) as decoded.
        rows: height of the smallest coded unit, pixels.
    """
    at = range(rows, len(rgb) - 3, rows)
    if len(at) < 2 or rgb.shape[1] < PIECES:
        return np.zeros(3)
    steps = _steps(np.concatenate([_means(rgb, at[k : k + AT_ONCE]) for k in range(0, len(at), AT_ONCE)]))
    upper, lower = steps[:-1], steps[1:]
    largest = np.zeros(3)
    for split in range(PIECES + 1):  # right of it the seam runs on the upper boundary, left of it on the lower one
        along = np.concatenate([lower[..., :split], upper[..., split + 1 :]], axis=-1)
        held = np.partition(along, MAY_MISS, axis=-1)[..., MAY_MISS]
        largest = np.maximum(largest, held.max(axis=(0, 1)))
    return largest


def _means(rgb: NDArray[np.uint8], at: range) -> NDArray[np.float64]:
    """(boundaries, 6, PIECES, 3) means of luma and chroma over the pieces of the three rows on either side of each."""
    import cv2

    width = rgb.shape[1] // PIECES
    rows = rgb[np.add.outer(at, np.arange(-3, 3)).ravel(), : PIECES * width]
    planes = cv2.cvtColor(rows, cv2.COLOR_RGB2YCrCb).reshape(-1, width, 3)
    sums = cv2.reduce(planes, 1, cv2.REDUCE_SUM, dtype=cv2.CV_64F)
    return np.asarray(sums.reshape(len(at), 6, PIECES, 3) / width, np.float64)


def _steps(means: NDArray[np.float64]) -> NDArray[np.float64]:
    """(boundaries, 2, 3, PIECES) mean step up and down between rows 2 and 3 of six, beyond the mean slope beside it.

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
    return np.asarray(np.stack([beyond, -beyond], 1) - steep[:, None], np.float64)
