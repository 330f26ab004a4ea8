"""A lens from several photos of the printed sheet, and how good that is: what spoils it, which view is missing."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from calib.arrays import Array
from calib.view.bundle import Adjusted, PointBearer, Points, adjust
from calib.view.view import Prior, rotation

LEAST_PHOTOS = 3
BROAD_FOCAL, BROAD_CENTRE, BROAD_RADIAL = 0.15, 0.02, 0.15
"""Priors of a lens that nobody knows: focal length relative, principal point as share of the width, k1."""
FOCUS_SD = 0.005
"""How much a focal length changes with the distance that the lens is focused at, relative (common practice)."""
LEAST_RADIAL_SD = 0.0005
CENTRE_WANDERS = 0.002
"""How much the principal point moves from photo to photo, as share of the long side: the lens of a phone floats, to
steady the picture (common practice)."""
CRITICAL = 3.29
"""Of a standardised difference, at 1 in 1000."""
SPOILT_RMS = 2.5
"""Residuals of a photo, as a multiple of the others', that point to a photo of its own kind."""
LEAST_GAIN = 0.04
"""What a photo adds to how surely a lens is known counts as at least this share of the variance (chosen)."""
LEAST_SPREAD = 0.25
"""Photos were tilted to all sides when their tilts spread by this share across the way that they spread most
(chosen)."""
TILTED_DEG, OUTSIDE = 12.0, 0.75
"""A set of views needs one this much from the side, and points this far out, as share of half the diagonal."""


@dataclass(frozen=True, slots=True)
class Calibration:
    """A lens as the photos have it.

    Attributes:
        adjusted: the joint solution.
        focal_px, focal_sd_px: focal length with all that may change it.
        radial, radial_sd: k1.
        covariance: (4, 4) of focal length, centre and k1, with all that may change them.
        rms_px: of all points, each way.
        spoiling: numbers of photos that pull the lens away from what the others say, worst first.
        missing: views that would help, in words.
    """

    adjusted: Adjusted
    focal_px: float
    focal_sd_px: float
    radial: float
    radial_sd: float
    covariance: Array
    rms_px: float
    spoiling: tuple[int, ...]
    missing: tuple[str, ...]


def unknown_lens(size_px: tuple[int, int], focal_px: float) -> Prior:
    """Prior of a lens that is to be found, with a guess of its focal length."""
    w, h = size_px
    return Prior(focal_px, BROAD_FOCAL, ((w - 1) / 2, (h - 1) / 2), BROAD_CENTRE * max(w, h), 0.0, BROAD_RADIAL)


def calibrate(
    seen: Sequence[Points], points_mm: Array, sheet: PointBearer, prior: Prior, size_px: tuple[int, int]
) -> Calibration:
    """One lens for all photos.

    Args:
        seen: located points of each photo, in the sensor's frame.
        points_mm: (m, 2) all points, as drawn.
        sheet: what is known of what bears them.
        prior: of the camera.
        size_px: of the photos, in the sensor's frame.

    Raises:
        numpy.linalg.LinAlgError: the photos don't determine a lens.
    """
    a = adjust(seen, points_mm, sheet, prior, size_px)
    n = np.array([u.sum() for u in a.used])
    wanders = CENTRE_WANDERS * max(size_px)
    lens_rest = max(LEAST_RADIAL_SD**2 - a.camera_covariance[3, 3], 0.0)
    covariance = a.camera_covariance + np.diag([(FOCUS_SD * a.camera[0]) ** 2, wanders**2, wanders**2, lens_rest])
    return Calibration(
        adjusted=a,
        focal_px=float(a.camera[0]),
        focal_sd_px=float(np.sqrt(covariance[0, 0])),
        radial=float(a.camera[3]),
        radial_sd=float(np.sqrt(covariance[3, 3])),
        covariance=covariance,
        rms_px=float(np.sqrt((n * a.rms_px**2).sum() / n.sum())),
        spoiling=_spoiling(a, seen, points_mm, sheet, prior, size_px),
        missing=_missing(a, seen, size_px),
    )


def _spoiling(
    a: Adjusted, seen: Sequence[Points], points_mm: Array, sheet: PointBearer, prior: Prior, size_px: tuple[int, int]
) -> tuple[int, ...]:
    """Photos whose residuals are of another size; if there are none, those without which the lens is another one."""
    if len(seen) <= LEAST_PHOTOS:
        return ()
    rms = np.array([np.sqrt((s**2).mean()) for s in a.standardised])
    pull = np.array([rms[k] / (SPOILT_RMS * float(np.median(np.delete(rms, k)))) for k in range(len(seen))])
    if pull.max() < 1:
        for k in range(len(seen)):
            others = [s for i, s in enumerate(seen) if i != k]
            b = adjust(others, points_mm, sheet, prior, size_px)
            gained = np.diag(b.camera_covariance - a.camera_covariance)[[0, 3]]
            # what a photo may move a solution by is what it makes it surer by (Cook 1977, for a group of observations)
            sd = np.sqrt(np.maximum(gained, LEAST_GAIN * np.diag(a.camera_covariance)[[0, 3]]))
            pull[k] = float(np.abs((b.camera - a.camera)[[0, 3]] / sd).max()) / CRITICAL
    return tuple(int(k) for k in np.argsort(-pull) if pull[k] > 1)


def _missing(a: Adjusted, seen: Sequence[Points], size_px: tuple[int, int]) -> tuple[str, ...]:
    """Views that a lens can't be told without."""
    out = []
    tilts = np.array([v.tilt_deg for v in a.views])
    if tilts.max() < TILTED_DEG:
        out.append("one photo tilted by about 20 degrees")
    elif len(a.views) > 1:
        towards = np.array([rotation(v.parameters[:3])[2, :2] for v in a.views])[tilts > TILTED_DEG / 2]
        spread = np.linalg.svd(towards, compute_uv=False)
        if len(spread) < 2 or spread[1] < LEAST_SPREAD * spread[0]:
            out.append("one photo tilted by about 20 degrees to another side")
    middle = (np.array(size_px) - 1) / 2
    reached = max(float(np.hypot(*(s.points_px - middle).T).max()) for s in seen) / float(np.hypot(*middle))
    if reached < OUTSIDE:
        out.append("one photo with the sheet in a corner of the frame")
    return tuple(out)
