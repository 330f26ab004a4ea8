"""What a photo alone tells of a part: its features, and the scale that they were measured by."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from measure.features import Estimate

Array = NDArray[np.float64]
Subject = Literal["part", "opening"]


@dataclass(frozen=True, slots=True)
class Scale:
    """What the reference says of the photo.

    Attributes:
        reference: which one, such as ``id-1``.
        mm_per_px: size of a pixel on the reference's plane, at the part.
        u95_relative: relative half-width of the interval that holds the true scale 19 times in 20.
        camera_height_mm: height of the camera over the plane.
        tilt_deg: between the optical axis and the plane's normal.
        lens: ``none``, ``estimated``, or the name of the profile that was given.
    """

    reference: str
    mm_per_px: float
    u95_relative: float
    camera_height_mm: float
    tilt_deg: float
    lens: str


@dataclass(frozen=True, slots=True)
class Caution:
    """Something that a person should know of a result that still holds: a short code and a sentence."""

    code: str
    text: str


@dataclass(frozen=True, slots=True)
class Trace:
    """A traced photo.

    Attributes:
        estimate: the features with their covariance.
        scale: how they were scaled.
        subject: part or opening.
        thickness_mm: height of the upper edge over the reference's plane, as given.
        cautions: what a person should know.
        reference_px: (n, 2) closed outline of the reference in the photo.
        seen_px: for each feature in order, (n, 2) points along it as it is seen in the photo.
    """

    estimate: Estimate
    scale: Scale
    subject: Subject
    thickness_mm: float
    cautions: tuple[Caution, ...]
    reference_px: Array
    seen_px: tuple[Array, ...]
