"""A closer look at one candidate: its shape, sides and corners in the full photo.

Quick, and done before the view is solved: it chooses which candidate is worth that.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from itertools import product

import numpy as np
from numpy.typing import NDArray

from calib.arrays import Array
from calib.light.profile import Light
from calib.rectangle.corners import Radius, corner_radius
from calib.rectangle.laying import LaidQuadrilateral, Look, corners_of, lay
from calib.rectangle.seen_shape import area, seen_shape
from calib.reference.reference import Reference
from calib.view.view import BROAD, Prior

REACH_MM, REACH_PX = 0.9, (6.0, 24.0)
"""How far off a candidate's sides edges are looked for: a card's shadow at 50° from the upright; at least, at most."""
LOW_LIGHT = 2.0
"""How many times as far they are looked for where that did not do: the same at 67°, a lamp low at one side."""
EDGES = 3
FAINT = 0.6
"""A step of colour that counts half as an edge, in hundredths of the square root of linear light."""
RATIO_SD = 0.003
"""Relative standard deviation of the ratio of sides, a rim or a narrow shadow taken for one of them or not."""
FINE_RATIO_SD, SQUARE_SD = 0.0015, 0.0015
"""How far ratio and right angle stray when the right edge has been taken for each side: relative, radians."""
FAR, EDGE_PRICE = 60.0, 6.0
"""Cost of a shape that is wholly wrong; and of passing over a side's strongest edge for a hardly visible one."""
FOCALS_SD = np.linspace(-2, 2.5, 10)
"""Focal lengths that are tried where none is known, in standard deviations."""
RIVALS, RIVAL = 4, 10.0
"""How many combinations of edges are told apart by their corners, and how much worse by shape they may be."""
UNEVEN_MM = 0.12
"""How much the four corners' radii differ when the right edge has been taken for each side."""
MOST_BOW_MM, MOST_BOW_PX, BOW_STEP_PX, BOW_REACH_PX = 1.3, 20.0, 1.5, 5.0
"""Bows that are tried: at most, in either unit; their spacing; and how far off the side's ends may lie then."""
LENS_SD = 2.5
"""A lens farther from what is known beforehand, in standard deviations, is a bent card."""
BOWED_PX = 1.5
"""From what a lens bows a side by, its corners are where curved sides meet."""
FRAME_RADIUS_MM, FRAME_MARGIN_MM = 1.5, (0.4, 4.5)
"""Corners of a frame printed on a card, and how far it stands off the card's sides: at least, at most."""
MARGIN_PX, MARGIN_SHARE = 40.0, 0.04
"""What is looked at around a candidate: px, and share of its size."""

GOOD_RATIO, GOOD_CORNER_MM, GOOD_SQUARE = 0.004, 0.3, 0.006
"""How far ratio, corner radius and square of a good sight of a card are off. ISO/IEC 7810 allows ratios ± 0.0025 and
radii ± 0.30 mm; how exactly ratio and square are seen comes on top (chosen)."""
UNSEEN_CORNERS, UNEVEN = 5.0, (0.4, 6.0)
"""What corners count that are not seen; and corners that differ: in units of this, mm, up to that (chosen)."""


@dataclass(frozen=True, slots=True)
class Sighting:
    """A candidate as measured in the full photo.

    Attributes:
        corners_px: (4, 2) where the sides meet, in the quadrilateral's order.
        support: (4,) share of each side that is an edge.
        ratio, ratio_sd: long side over short side, and its relative standard deviation.
        square_off: cosine of the angle between neighbouring sides, 0 for a rectangle.
        tilt_deg: of its plane.
        mm_per_px: were it the reference.
        radius: of its corners, were its long side the reference's.
        bow_mm, bow_sd_mm: (4,) of its sides, likewise, less what the lens makes of straight ones; outwards is positive.
        whole: whether all four corners lie in the photo.
        look: colour of the photo around it.
        focal_px: by which it is most like the reference; as known beforehand, where that is known well.
        radial: k1 of the lens, by the sides' bows and what is known beforehand; lens_off: from that, in standard
            deviations.
    """

    corners_px: Array
    support: Array
    ratio: float
    ratio_sd: float
    square_off: float
    tilt_deg: float
    mm_per_px: float
    radius: Radius
    bow_mm: Array
    bow_sd_mm: Array
    whole: bool
    look: Look
    focal_px: float
    radial: float
    lens_off: float

    @property
    def score(self) -> float:
        """How much of the outline was seen, at best 2: mean and worst side."""
        return float(self.support.mean() + self.support.min())

    def off(self, reference: Reference) -> float:
        """Relative departure of the ratio of sides from the reference's, as a logarithm."""
        return math.log(self.ratio / reference.ratio)

    def strangeness(self, reference: Reference) -> float:
        """How much this differs from a perfect sight of the reference; 0 is best, a few is good."""
        low, high = reference.limits.corner_mm
        by_ratio = self.off(reference) / (0.5 * self.ratio_sd + GOOD_RATIO)
        seen = math.isfinite(self.radius.radius_mm)
        by_corners = (
            (self.radius.radius_mm - (low + high) / 2) / (self.radius.sd_mm + GOOD_CORNER_MM)
            if seen
            else UNSEEN_CORNERS
        )
        uneven = min(self.radius.sd_mm / UNEVEN[0], UNEVEN[1])
        square = self.square_off / GOOD_SQUARE
        return by_ratio**2 + by_corners**2 + uneven**2 + square**2 + 8 * (2 - self.score) ** 2


def box_around(corners_px: Array) -> tuple[int, int, int, int]:
    """x0, y0, x1, y1 of a crop around corners."""
    margin = MARGIN_PX + MARGIN_SHARE * float(np.ptp(corners_px, 0).max())
    low, high = np.floor(corners_px.min(0) - margin), np.ceil(corners_px.max(0) + margin)
    return int(low[0]), int(low[1]), int(high[0]), int(high[1])


def inside(corners_px: Array, size_px: tuple[int, int]) -> bool:
    """Whether all corners lie in the photo."""
    return bool(((corners_px >= 0) & (corners_px <= np.array(size_px) - 1)).all())


def closer_look(
    rgb: NDArray[np.uint8],
    corners_px: Array,
    reference: Reference,
    prior: Prior,
    reach_px: float | None = None,
    *,
    farther: float = 1.0,
) -> Sighting:
    """Measure a candidate in the full photo.

    Args:
        rgb: (h, w, 3) 8-bit sRGB.
        corners_px: (4, 2) its rough corners.
        reference: what it may be.
        prior: of the camera.
        reach_px: how far off its sides edges are looked for; as far as a candidate of `calib.rectangle.quads` asks for
        if None. farther: how many times as far as that.
    """
    size = (rgb.shape[1], rgb.shape[0])
    light = Light.of(rgb, box_around(corners_px))

    def look(points: Array) -> NDArray[np.float32]:
        return np.asarray(100 * np.sqrt(np.maximum(light.sample(points), 0)), np.float32)

    size_mm2 = reference.rectangle.width_mm * reference.rectangle.height_mm
    mm_per_px = math.sqrt(size_mm2 / max(area(corners_px), 1.0))
    reach = farther * float(np.clip(REACH_MM / mm_per_px, *REACH_PX)) if reach_px is None else reach_px
    on, radius, focal_px = _likeliest(look, corners_px, reach, reference, prior, size)
    bow = min(MOST_BOW_MM / mm_per_px, MOST_BOW_PX)
    bows = np.linspace(-bow, bow, 2 * math.ceil(bow / BOW_STEP_PX) + 1)
    curved = LaidQuadrilateral.of([edges[0] for edges in lay(look, on.corners_px, size, BOW_REACH_PX, FAINT, bows)])
    camera = replace(prior, focal_px=focal_px)
    radial, by_lens = _by_lens(curved, on.corners_px, camera)
    if np.abs(by_lens).max() > BOWED_PX:  # where straight lines through them meet is not where the sides do
        on = curved
    shape, by_focal = shape_of(_straightened(on.corners_px, radial, camera), camera)
    if on is curved:
        radius = _radius(look, on.corners_px, float(shape[0]), reference, size)
    return Sighting(
        corners_px=on.corners_px,
        support=on.support,
        ratio=float(max(shape[0], 1 / shape[0])),
        ratio_sd=math.hypot(RATIO_SD, by_focal),
        square_off=float(abs(shape[1])),
        tilt_deg=float(shape[2]),
        mm_per_px=mm_per_px,
        radius=radius,
        bow_mm=(curved.bow_px - by_lens) * mm_per_px,
        bow_sd_mm=curved.bow_sd_px * mm_per_px,
        whole=inside(on.corners_px, size),
        look=look,
        focal_px=focal_px,
        radial=radial,
        lens_off=(radial - prior.radial) / prior.radial_sd,
    )


def _by_lens(sides: LaidQuadrilateral, corners_px: Array, camera: Prior) -> tuple[float, Array]:
    """k1 of the lens, by the sides' bows and what is known beforehand; and how far (4,) it bows straight sides, px.

    A lens bows all sides by one law, the more the longer they are and the farther from the photo's middle; a bent card
    bows two.
    """
    ends = (np.stack([corners_px, np.roll(corners_px, -1, 0)]) - np.array(camera.centre_px)) / camera.focal_px
    middle = ends.mean(0)
    out = middle - middle.mean(0)
    out /= np.hypot(*out.T)[:, None]
    at_ends, at_middle = (q * (q**2).sum(-1, keepdims=True) for q in (ends, middle))
    unit = ((at_middle - at_ends.mean(0)) * out).sum(1) * camera.focal_px
    weight = np.where(np.isfinite(sides.bow_sd_px), 1 / sides.bow_sd_px**2, 0.0)
    known = 1 / camera.radial_sd**2
    radial = (known * camera.radial + weight * unit @ sides.bow_px) / (known + weight @ unit**2)
    most = LENS_SD * camera.radial_sd
    radial = camera.radial + float(np.clip(radial - camera.radial, -most, most))
    return radial, np.asarray(radial * unit)


def _straightened(points_px: Array, radial: float, camera: Prior) -> Array:
    """(n, 2) pixels where a lens without distortion would show what is seen at others."""
    q = (points_px - np.array(camera.centre_px)) / camera.focal_px
    far = np.hypot(*q.T)
    true = far.copy()
    for _ in range(4):
        true -= (true * (1 + radial * true**2) - far) / (1 + 3 * radial * true**2)
    return np.asarray(q * (true / np.maximum(far, 1e-9))[:, None] * camera.focal_px + np.array(camera.centre_px))


def grown(s: Sighting, reference: Reference) -> Array | None:
    """(4, 2) where the corners would be if a candidate were a frame printed on the reference; None if it can't be one.

    Such a frame has square corners and is as far from all four sides, so that its ratio of sides tells how far.
    """
    w, h = reference.rectangle.width_mm, reference.rectangle.height_mm
    if not s.whole or not s.radius.radius_mm < FRAME_RADIUS_MM:
        return None
    margin = (s.ratio * h - w) / (2 * (s.ratio - 1))
    if not FRAME_MARGIN_MM[0] < margin < FRAME_MARGIN_MM[1]:
        return None
    long_first = bool(np.hypot(*(s.corners_px[1] - s.corners_px[0])) > np.hypot(*(s.corners_px[2] - s.corners_px[1])))
    a, b = (w, h) if long_first else (h, w)
    inner = np.array([[margin, margin], [a - margin, margin], [a - margin, b - margin], [margin, b - margin]])
    return _mapped(np.array([[0, 0], [a, 0], [a, b], [0, b]]), inner, s.corners_px)


def _mapped(points: Array, plane: Array, picture: Array) -> Array:
    """(n, 2) points under the homography that takes four points (4, 2) of a plane to a picture's."""
    import cv2

    H = cv2.getPerspectiveTransform(plane.astype(np.float32), picture.astype(np.float32))
    q = np.c_[points, np.ones(len(points))] @ H.T
    return np.asarray(q[:, :2] / q[:, 2:])


def shape_of(corners_px: Array, prior: Prior) -> tuple[Array, float]:
    """(3,) shape of a quadrilateral, see `calib.rectangle.seen_shape.seen_shape`, and how far the focal length's doubt
    shifts its ratio of sides, relative."""
    focals = prior.focal_px * np.array([1, 1 + prior.focal_relative, 1 - prior.focal_relative])
    shape, more, less = (seen_shape(corners_px[None], float(f), prior.centre_px)[0] for f in focals)
    return shape, abs(math.log(more[0] / less[0])) / 2


def _likeliest(
    look: Look, corners: Array, reach: float, reference: Reference, prior: Prior, size_px: tuple[int, int]
) -> tuple[LaidQuadrilateral, Radius, float]:
    """Of the edges along a candidate's sides (face, rim, shadow, print) those most like the reference; and by which
    focal length they are.

    Ratio and right angles decide. Where they leave it open the corners do: if a shadow's edge is taken for a side, the
    outline goes round its two corners otherwise than round the rest.
    """
    sides = lay(look, corners, size_px, reach, FAINT, most=EDGES)
    picks = list(product(*(range(len(s)) for s in sides)))
    ends = np.array([[sides[i][k].ends_px for i, k in enumerate(pick)] for pick in picks])
    loss = np.array([sum(1 - sides[i][k].share / sides[i][0].share for i, k in enumerate(p) if k) for p in picks])
    focals, shapes, cost = _by_focal(corners_of(ends), reference, prior)
    cost = cost + EDGE_PRICE * loss
    order = [int(i) for i in np.argsort(cost, kind="stable")[:RIVALS] if cost[i] < cost.min() + RIVAL]
    found = [LaidQuadrilateral.of([sides[i][k] for i, k in enumerate(picks[at])]) for at in order]
    radii = [_radius(look, on.corners_px, shapes[k, 0], reference, size_px) for k, on in zip(order, found, strict=True)]
    uneven = [_uneven(r) for r in radii]
    best = int(np.argmin([cost[at] + u for at, u in zip(order, uneven, strict=True)]))
    return found[best], radii[best], float(focals[order[best]])


def _by_focal(corners_px: Array, reference: Reference, prior: Prior) -> tuple[Array, Array, Array]:
    """Of quadrilaterals (m, 4, 2): the focal length (m,) by which each is most like the reference, its shape (m, 3) by
    that, and what it lacks (m,). A focal length that is known is taken as it is."""
    broad = prior.focal_relative > BROAD
    spread = FOCALS_SD * prior.focal_relative if broad else np.zeros(1)
    by_focal = 0.0 if broad else shape_of(corners_px[0], prior)[1]
    focals = prior.focal_px * np.exp(spread)
    shapes = np.stack([seen_shape(corners_px, float(f), prior.centre_px) for f in focals])
    ratio = np.maximum(shapes[..., 0], 1 / shapes[..., 0])
    off = np.log(ratio / reference.ratio) / math.hypot(FINE_RATIO_SD, by_focal)
    cost = np.minimum(off**2 + (shapes[..., 1] / SQUARE_SD) ** 2, FAR)
    if broad:
        cost += FOCALS_SD[:, None] ** 2
    best = cost.argmin(0)
    each = np.arange(len(corners_px))
    return focals[best], shapes[best, each], cost[best, each]


def _uneven(radius: Radius) -> float:
    """Cost of corners that differ."""
    off = (radius.each_mm - radius.radius_mm) / UNEVEN_MM
    seen = off[np.isfinite(off)]
    return min(float((seen**2).mean()), FAR) if len(seen) else FAR


def _radius(look: Look, corners: Array, ratio: float, reference: Reference, size_px: tuple[int, int]) -> Radius:
    """Corner radius, were the long side the reference's; ratio: of the first side to the second."""
    w = reference.rectangle.width_mm
    return corner_radius(look, corners, *((w, w / ratio) if ratio >= 1 else (w * ratio, w)), size_px)
