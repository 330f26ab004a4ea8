"""A job's features as lines over its plain picture, for a page: paths in the picture's pixels, and where labels go."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from calib.arrays import Array
from measure.drawing.labels import Wish, anchor, place_beside
from measure.geometry.features import Feature, Kind
from measure.tracing.sighted import Sighted

LABEL_SHARE, LABEL_PX = 1 / 36, (9.0, 32.0)
"""Height of a label: share of the part's extent; at least, at most."""
LETTER_SHARE = 0.68
"""Width of a letter or figure, in heights."""
SMOOTH_PX = 0.12
"""A path leaves what it stands for by no more than this."""


@dataclass(frozen=True, slots=True)
class Overlaid:
    """A feature over the picture.

    Attributes:
        label, kind, loop, origin: of the feature.
        path: data of an SVG path, pixels of the picture, the corner of its first pixel at 0, 0.
        anchor_px: (2,) the point on the feature that its label is for.
        label_px: (2,) the middle of its label.
    """

    label: str
    kind: Kind
    loop: int
    origin: Literal["seen", "completed"]
    path: str
    anchor_px: tuple[float, float]
    label_px: tuple[float, float]


@dataclass(frozen=True, slots=True)
class Overlay:
    """All features over the picture, and the height that their labels were laid out for, px."""

    features: tuple[Overlaid, ...]
    label_height_px: float


def overlay(
    sighted: Sighted,
    features: Sequence[Feature],
    scale: float,
    size_px: tuple[int, int],
    avoid_px: Sequence[Array] = (),
) -> Overlay:
    """Features over a picture of the photo.

    Args:
        sighted: how they lie in the photo.
        features: in the job's frame.
        scale: the picture's pixels to one of the photo's.
        size_px: the picture's width and height.
        avoid_px: areas (n, 2) of the photo that labels had better leave alone, such as the card.
    """
    lines = [on_picture(sighted.points_px(f), scale) for f in features]
    extent = float(np.ptp(np.concatenate(lines), axis=0).max())
    size = float(np.clip(LABEL_SHARE * extent * (36 / max(len(features), 36)) ** 0.5, *LABEL_PX))
    both = list(zip(features, lines, strict=True))
    wishes = [
        Wish(*anchor(f.kind, f.loop, p), ((LETTER_SHARE * len(f.label) + 0.4) * size, 1.2 * size)) for f, p in both
    ]
    places = place_beside(wishes, lines, [on_picture(area, scale) for area in avoid_px], size_px)
    drawn = [
        Overlaid(f.label, f.kind, f.loop, f.origin, path_data(p, f.kind == "circle"), _pair(w.anchor_px), _pair(at))
        for (f, p), w, at in zip(both, wishes, places, strict=True)
    ]
    return Overlay(tuple(drawn), round(size, 1))


def on_picture(points_px: Array, scale: float) -> Array:
    """(n, 2) places in a picture, from its corner, of pixels of the photo."""
    return np.asarray((points_px + 0.5) * scale)


def path_data(points: Array, closed: bool = False) -> str:
    """Data of an SVG path through points (n, 2), of which those are left out that change nothing to be seen."""
    import cv2

    few = cv2.approxPolyDP(points.astype(np.float32)[:, None], SMOOTH_PX, False)[:, 0]
    words = [f"{x:.1f},{y:.1f}" for x, y in few[: -1 if closed else None]]
    return "M" + "L".join(words) + ("Z" if closed else "")


def _pair(p: Array) -> tuple[float, float]:
    return round(float(p[0]), 1), round(float(p[1]), 1)
