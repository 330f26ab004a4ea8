"""Whether two photos show the very same view: one photo twice, however it was written, turned or made smaller.

Such photos tell nothing apart, and taken for two they would make everything look surer than it is. They are compared
by their fine structure at a reduced size: writing a photo anew, even in few colours, leaves 0.98 of its correlation
and more; held by hand a camera never comes back to within a five-hundredth of the picture, where 0.94 is left.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Glance = NDArray[np.float32]

LONG_PX = 256
"""Long side of the reduced photo: noise and compression are averaged away, texture is still there."""
COARSE_PX = 2.0
"""What is coarser is left out, since light and dark halves are alike in many photos."""
BLANK = 0.1
"""Code values: structure weaker than this, in the mean square, is none."""
ALIKE = 0.96


def glance(rgb: NDArray[np.uint8]) -> Glance:
    """(h, w) fine structure of a photo (h, w, 3) at reduced size, of length 1."""
    import cv2

    size = tuple(max(1, round(s * LONG_PX / max(rgb.shape[:2]))) for s in rgb.shape[1::-1])
    grey = cv2.cvtColor(cv2.resize(rgb, size, interpolation=cv2.INTER_AREA), cv2.COLOR_RGB2GRAY).astype(np.float32)
    fine = grey - cv2.GaussianBlur(grey, (0, 0), COARSE_PX)
    return np.asarray(fine / max(float(np.linalg.norm(fine)), BLANK * fine.size**0.5), np.float32)


def same_view(one: Glance, other: Glance) -> bool:
    """Whether two photos show the same view, whichever way up they are."""
    turned = (np.rot90(other, quarter) for quarter in range(4))
    return any(t.shape == one.shape and float((t * one).sum()) > ALIKE for t in turned)


class Views:
    """The views that photos have shown so far."""

    def __init__(self) -> None:
        self._known: list[tuple[Glance, str]] = []

    def twin(self, rgb: NDArray[np.uint8], name: str) -> str | None:
        """The name of the photo (h, w, 3) before that shows the same view; None for a new view, which is remembered."""
        now = glance(rgb)
        for before, other in self._known:
            if same_view(before, now):
                return other
        self._known.append((now, name))
        return None
