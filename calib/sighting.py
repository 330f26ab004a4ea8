"""A closer look at one candidate: its shape, sides and corners in the full photo, and what that says of it.

These tests are quick and come before the view is solved: they choose which candidate is worth that, and name what a
refused one is instead.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import product

import numpy as np
from numpy.typing import NDArray

from calib.corners import Radius, corner_radius
from calib.laying import Laid, Look, laid, met
from calib.profile import Light
from calib.quads import Quad
from calib.reference import Reference, look_alike
from calib.seen_shape import seen_shape
from calib.view import Prior

Array = NDArray[np.float64]

REACH_MM, REACH_PX = 0.9, (6.0, 24.0)
"""How far from a candidate's sides edges are looked for: a card's shadow at 50° from the upright; at least and at most."""
EDGES = 3
FINE_RATIO_SD, SQUARE_SD = 0.0015, 0.0015
"""How far ratio and right angle stray when the right edge has been taken for each side: relative, radians."""
RIVALS, RIVAL = 5, 14.0
"""How many combinations of edges are told apart by their corners, and how much worse by shape they may be."""
UNEVEN_MM = 0.12
FAR, EDGE_PRICE = 60.0, 6.0
"""Beyond the first the shape says nothing; and what it costs to pass over a side's strongest edge for a much weaker one."""
FAINT = 0.6
"""A step of colour that counts half as an edge, in hundredths of the square root of linear light."""
MOST_BOW_MM, MOST_BOW_PX, BOW_REACH_PX = 0.6, 8.0, 4.0
MARGIN_PX = 40
RATIO_SD = 0.003
"""Relative standard deviation of a ratio of sides from strong edges, when these are the sides."""
SHADOW_RATIO = 0.03
"""How far a shadow or a rim taken for a side may shift the ratio: the cap on what is looked at more closely."""
ROUND_SLACK_MM, MOST_ROUND_SLACK_MM = 0.15, 0.6
"""What shadow and rim may add to a corner's radius, and the most that a measured radius may lie outside the limits."""
BOW_LIMIT_MM, BOW_DOUBT_MM = 0.12, 0.03
"""A card whose side bows more than this is bent: at arm's length its middle stands some millimetre off the table. A bow
less well known than the second figure says nothing."""
TILT_LIMIT_DEG = 45.0
SHORTEST_PX = 160.0


@dataclass(frozen=True, slots=True)
class Failure:
    """Why something is not taken for a reference: falsy, so that ``find_card(…) or …`` reads as it should.

    Attributes:
        code: a short stable word; text: one sentence that says what is wrong and what to do.
    """

    code: str
    text: str

    def __bool__(self) -> bool:
        return False


@dataclass(frozen=True, slots=True)
class Sighting:
    """A candidate as measured in the full photo.

    Attributes:
        quad: as it was found.
        corners_px: (4, 2) where the sides meet, in the quad's order.
        support: (4,) share of each side that is an edge.
        ratio, ratio_sd: long side over short side, and its relative standard deviation.
        square_off: cosine of the angle between neighbouring sides, 0 for a rectangle.
        tilt_deg: of its plane.
        mm_per_px: were it the reference.
        radius: of its corners, were it the reference's size.
        bow_mm, bow_sd_mm: (4,) of its sides, likewise; outwards is positive.
        whole: whether all four corners lie in the photo.
        look: colour of the photo around it.
    """

    quad: Quad
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

    @property
    def score(self) -> float:
        """Share of the outline that was seen, at best 2: mean and worst side."""
        return float(self.support.mean() + self.support.min())


def box_around(corners_px: Array, margin_px: float) -> tuple[int, int, int, int]:
    """x0, y0, x1, y1 of a crop around corners."""
    low, high = np.floor(corners_px.min(0) - margin_px), np.ceil(corners_px.max(0) + margin_px)
    return int(low[0]), int(low[1]), int(high[0]), int(high[1])


def looked_at(rgb: NDArray[np.uint8], quad: Quad, reference: Reference, prior: Prior) -> Sighting:
    """Measure a candidate in the full photo."""
    size = (rgb.shape[1], rgb.shape[0])
    margin = MARGIN_PX + 0.04 * float(np.ptp(quad.corners_px, 0).max())
    light = Light.of(rgb, box_around(quad.corners_px, margin))

    def look(points: Array) -> NDArray[np.float32]:
        return np.asarray(100 * np.sqrt(np.maximum(light.sample(points), 0)), np.float32)

    n = np.roll(quad.corners_px, -1, 0)
    area = abs((quad.corners_px[:, 0] * n[:, 1] - quad.corners_px[:, 1] * n[:, 0]).sum()) / 2
    mm_per_px = float(np.sqrt(reference.rectangle.width_mm * reference.rectangle.height_mm / max(area, 1.0)))
    on, radius = _likeliest(look, quad.corners_px, mm_per_px, reference, prior, size)
    bow = min(MOST_BOW_MM / mm_per_px, MOST_BOW_PX)
    bows = np.linspace(-bow, bow, 2 * math.ceil(bow / 1.0) + 1)
    curved = Laid.of([edges[0] for edges in laid(look, on.corners_px, size, BOW_REACH_PX, FAINT, bows)])
    shape, by_focal = shape_of(on.corners_px, prior)
    ratio_sd = math.hypot(RATIO_SD, by_focal)
    ratio = float(max(shape[0], 1 / shape[0]))
    corners = on.corners_px
    return Sighting(
        quad,
        corners,
        on.support,
        ratio,
        ratio_sd,
        float(abs(shape[1])),
        float(shape[2]),
        mm_per_px,
        radius,
        curved.bow_px * mm_per_px,
        curved.bow_sd_px * mm_per_px,
        bool(((corners >= 0) & (corners <= np.array(size) - 1)).all()),
        look,
    )


def _likeliest(
    look: Look, corners: Array, mm_per_px: float, reference: Reference, prior: Prior, size_px: tuple[int, int]
) -> tuple[Laid, Radius]:
    """Of the edges along a candidate's sides (face, rim, shadow) those that together come nearest to the reference; and its
    corner radius."""
    reach = float(np.clip(REACH_MM / mm_per_px, *REACH_PX))
    sides = laid(look, corners, size_px, reach, FAINT, most=EDGES)
    picks = list(product(*(range(len(s)) for s in sides)))
    ends = np.array([[sides[i][k].ends_px for i, k in enumerate(pick)] for pick in picks])
    loss = np.array([sum(1 - sides[i][k].share / sides[i][0].share for i, k in enumerate(p) if k) for p in picks])
    shape = seen_shape(met(ends), prior.focal_px, prior.centre_px)
    _, by_focal = shape_of(met(ends[:1])[0], prior)
    off = np.log(np.maximum(shape[:, 0], 1 / shape[:, 0]) / reference.ratio) / math.hypot(FINE_RATIO_SD, by_focal)
    cost = np.minimum(off**2 + (shape[:, 1] / SQUARE_SD) ** 2, FAR) + EDGE_PRICE * loss
    order = [int(i) for i in np.argsort(cost, kind="stable")[:RIVALS] if cost[i] < cost.min() + RIVAL]
    found = [Laid.of([sides[i][k] for i, k in enumerate(picks[at])]) for at in order]
    radii = [
        _radius(look, on.corners_px, shape[at, 0], reference, size_px) for at, on in zip(order, found, strict=True)
    ]
    # an edge of a shadow taken for a side gives away itself at the corners: they come out unequal
    uneven = [float(np.nanmean(((r.each_mm - r.radius_mm) / UNEVEN_MM) ** 2)) for r in radii]
    best = int(np.argmin([cost[at] + min(u, FAR) for at, u in zip(order, uneven, strict=True)]))
    return found[best], radii[best]


def _radius(look: Look, corners: Array, ratio: float, reference: Reference, size_px: tuple[int, int]) -> Radius:
    """Corner radius, were the long side the reference's; ratio: of the first side to the second."""
    w = reference.rectangle.width_mm
    return corner_radius(look, corners, *((w, w / ratio) if ratio >= 1 else (w * ratio, w)), size_px)


def shape_of(corners: Array, prior: Prior) -> tuple[Array, float]:
    """Shape of the quadrilateral (see `seen_shape`) and how far the focal length's doubt shifts its ratio, relative."""
    focals = prior.focal_px * np.array([1, 1 + prior.focal_relative, 1 - prior.focal_relative])
    shape, more, less = (seen_shape(corners[None], float(f), prior.centre_px)[0] for f in focals)
    return shape, abs(math.log(more[0] / less[0])) / 2


def rejection(s: Sighting, reference: Reference) -> Failure | None:
    """Why a candidate can't be the reference, from its size, shape, sides and corners in the photo; None if it may be."""
    if not s.whole:
        return _cut_off(s, reference)
    off = abs(math.log(s.ratio / reference.ratio))
    wrong = wrong_radius(s.radius, reference)
    if off > SHADOW_RATIO + 2 * s.ratio_sd or (wrong and off > 4 * s.ratio_sd):
        return named_ratio(s.ratio, s.ratio_sd, reference)
    return too_small(s, reference) or wrong or bent(s) or oblique(s.tilt_deg - 3 - 2 * math.degrees(s.ratio_sd))


def wrong_radius(radius: Radius, reference: Reference) -> Failure | None:
    """Whether the corners are too round or not round enough, with all doubt."""
    low, high = reference.limits.corner_mm
    slack = min(ROUND_SLACK_MM + 3 * radius.sd_mm, MOST_ROUND_SLACK_MM)
    return None if low - slack < radius.radius_mm < high + slack else by_corners(radius, reference)


def named_ratio(ratio: float, relative_sd: float, reference: Reference) -> Failure:
    """That the ratio of sides is wrong, and what it fits instead."""
    other = look_alike(ratio, relative_sd)
    instead = (
        f"looks like {other.words}, not {_article(reference.words)}" if other else f"is not {_article(reference.words)}"
    )
    return Failure(
        "look-alike" if other else "wrong-shape",
        f"What comes nearest to a card in the photo {instead}: its sides are {ratio:.3f} to 1, not {reference.ratio:.3f}; "
        f"lay {_article(reference.words)} beside the part.",
    )


def by_corners(radius: Radius, reference: Reference) -> Failure:
    """That the corners are wrong."""
    low, high = reference.limits.corner_mm
    if radius.radius_mm < 1.0:
        return Failure(
            "square-corners",
            f"What comes nearest to a card in the photo has square corners, so it is not {_article(reference.words)}, whose corners are round "
            f"({low}–{high} mm); lay {_article(reference.words)} beside the part.",
        )
    return Failure(
        "corners",
        f"What comes nearest to a card in the photo would have corners of {radius.radius_mm:.1f} mm radius, where "
        f"{_article(reference.words)} has "
        f"{low}–{high} mm; lay {_article(reference.words)} beside the part.",
    )


def bent(s: Sighting, expected_mm: Array | float = 0.0) -> Failure | None:
    """Whether a side is curved.

    Args:
        s: the candidate.
        expected_mm: (4,) what the lens makes the sides bow.
    """
    sure = s.bow_sd_mm < BOW_DOUBT_MM
    over = np.abs(s.bow_mm - expected_mm) - BOW_LIMIT_MM - 4 * s.bow_sd_mm
    if (sure & (over > 0)).any():
        return Failure("bent", "The card is bent: its sides are curved in the photo; flatten it, or take another card.")
    return None


def _cut_off(s: Sighting, reference: Reference) -> Failure | None:
    """That a card is cut off by the photo's edge, when what is in the photo has a card's corners."""
    low, high = reference.limits.corner_mm
    seen = s.radius.each_mm[np.isfinite(s.radius.each_mm)]
    fits = (seen > low - 0.6) & (seen < high + 0.6)
    if fits.sum() >= 2 and np.sort(s.support)[1] > 0.6:
        return cut_off()
    return Failure("no-card", "")


def cut_off() -> Failure:
    """That the card is not whole in the photo."""
    return Failure(
        "cut-off", "The card is cut off by the edge of the photo; take the photo again with the whole card in it."
    )


def oblique(tilt_deg: float) -> Failure | None:
    """Whether the photo was taken too much from the side."""
    if tilt_deg <= TILT_LIMIT_DEG:
        return None
    return Failure(
        "too-oblique",
        f"The photo was taken too much from the side ({tilt_deg:.0f}°, at most {TILT_LIMIT_DEG:.0f}°); hold the camera "
        "over the part, looking straight down.",
    )


def too_small(s: Sighting, reference: Reference) -> Failure | None:
    """Whether the candidate is too small in the photo to give a scale."""
    long_px = reference.rectangle.width_mm / s.mm_per_px
    if long_px >= SHORTEST_PX:
        return None
    return Failure("too-small", f"The card is too small in the photo ({long_px:.0f} pixels long); go nearer.")


def _article(words: str) -> str:
    return f"a {words}"
