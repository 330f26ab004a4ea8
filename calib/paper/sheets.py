"""A sheet of paper, or a person's own rectangle, in the photo: found and judged, or refused by name of the reason.

A photo has no absolute scale: a sheet of A5 looks like one of A4 from farther away. That it has the size it is taken
for is a person's word, or a card's beside it (`calib.finding.together`); here only shape, corners and sides are judged.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from calib.arrays import Array
from calib.light.profile import Light
from calib.messages import Remedy
from calib.paper.formats import CUT_SHARE
from calib.paper.sides import STAGES, located_sheet
from calib.rectangle.quads import Quad, quadrilaterals, same
from calib.rectangle.refusals import Failure, too_oblique
from calib.rectangle.seen_shape import area
from calib.rectangle.sighting import box_around, inside, shape_of
from calib.rectangle.underlay import stands_out
from calib.reference.found import Caution
from calib.reference.reference import Reference, look_alikes
from calib.view.joint import JointView, LyingRectangle, solve_jointly
from calib.view.settling import MAD_TO_SD
from calib.view.view import BROAD, Prior, SideEdges, first_guess, project, shape_covariance, side_points
from calib.words import Words

ROUGH_RATIO, ROUGH_SQUARE = 0.05, 0.06
"""How far a rough outline may stray: ratio of sides, right angle; relative."""
LEAST_SEEN, LEAST_AREA, CUT_SIDES = 0.9, 0.02, 0.75
"""What must be seen of an outline, of 2; how much of the photo it must cover; and how much of three sides is seen of a
sheet that is cut off by the photo's edge."""
SMALL_MM = 150.0
"""Nobody takes something smaller for a sheet."""
WELL_SEEN = 1.5
"""What is seen, of 2, of something whose shape can be told."""
TRIALS = 6
LARGE = 0.4
"""What the largest of all candidates is put before a small one, as much of a score: of a sheet and the boxes printed on
it the sheet is looked into first."""
FOCALS = (1.0, 0.75, 1.3, 1.65)
"""Focal lengths that are tried where none is known, as shares of the best value."""
ROUGH_PX = 2.0
"""How well rough sides are known."""
SAME = 3.0 / 300
"""Two sheets whose corners lie this near, as a share of their size, are one (chosen)."""
INSIDE, LARGER = 0.97, 1.1
"""How much of something lies within another's outline if it is printed on it; and how much larger that is at least."""
MOST_RADIAL = 0.3
"""No lens bends more: a side was taken from something else."""
SEEN, CURLED_SEEN, AGREES = 0.45, 0.3, 4.0
"""Share of a side along which its edge must be seen; along which a curled one is; and how well a point must agree, in
standard deviations."""
LOOSE_SHARE = 0.1
"""Standard deviation of the height for solving as if it were not known."""
STRICT = 3.5
OBLIQUE_DEG = 30.0
"""A tilt that a person is told of."""
MOST_BOW_MM, ODD_BOW_MM = 2.0, 0.9
"""A sheet's side that bows more lies hollow or is curled; less does where the shape is odd too."""
CORNER_MM, ROUND_SHARE = 3.0, 0.55
"""Corners of a tenth of a card's side and less may be dog-eared; a point this far in on the corner's bisector must
still be of the sheet's colour."""
CORNER_SHARE = 0.03
"""The same as a share of half the sheet's size, where that is more (chosen)."""
WITHIN, WITHOUT, AT_TIP = 0.35, 0.6, (0.25, 0.3, 0.35)
"""Where the sheet's colour, the ground's and the tip's own are taken, in corner lengths from the corner."""
LEAST_SIGMA_PX = 0.1
"""Points agree with a side within so much, however sure they are."""
SQUARE_LOG, SHAPE_SD = 0.02, 0.01
"""A seen shape nearer to a square says not which side is the longer; and how exactly a rough shape is seen (chosen)."""
ALONG, PLACES = 0.45, 9
"""A side is looked at so far from its middle either way, of its length, in so many places."""


@dataclass(frozen=True, slots=True)
class FoundSheet:
    """A sheet that was found and passed all tests.

    Attributes:
        reference: what it is.
        joint: the view from it alone.
        edges: located points of its four sides.
        corners_px: (4, 2) of its upper face, in the reference's order.
    """

    reference: Reference
    joint: JointView
    edges: tuple[SideEdges, ...]
    corners_px: Array

    @property
    def cautions(self) -> tuple[Caution, ...]:
        """What a person should know of the view."""
        tilt = self.joint.view.tilt_deg
        if tilt <= OBLIQUE_DEG:
            return ()
        text = Words("The photo was taken from the side ({tilt:.0f}°); straight down is better.", tilt=tilt)
        return (Caution("tilt", text),)

    @property
    def body(self) -> LyingRectangle:
        """For solving together with others."""
        return LyingRectangle(self.edges, self.reference.rectangle, cut_sd_mm(self.reference))


def cut_sd_mm(reference: Reference) -> float:
    """How far a side's ends and middle stray."""
    return CUT_SHARE * reference.rectangle.height_sd_mm


def find_sheet(
    rgb: NDArray[np.uint8], prior: Prior, reference: Reference, quads: list[Quad] | None = None, blur_px: float = 1.0
) -> FoundSheet | Failure:
    """The sheet in a photo.

    Args:
        rgb: (h, w, 3) 8-bit sRGB.
        prior: of the camera.
        reference: its format.
        quads: rough quadrilaterals; looked for when None.
        blur_px: optical blur, standard deviation.

    Returns:
        The sheet; or why there is none that can be trusted.
    """
    size = (rgb.shape[1], rgb.shape[0])
    if quads is None:
        quads = _rough(rgb, prior, reference)
    least = LEAST_AREA * size[0] * size[1]
    large = [q for q in quads if q.seen > LEAST_SEEN and area(q.corners_px) > least]
    near = [q for q in large if _off(q, reference, prior) < 1 and inside(q.corners_px, size)]
    passed: list[FoundSheet] = []
    failures: list[Failure] = []
    most = max((area(q.corners_px) for q in near), default=1.0)
    broad = prior.focal_relative > BROAD  # nothing is then known of the proportions that a sheet shows
    near.sort(key=lambda q: -(q.seen if broad else q.score) - LARGE * area(q.corners_px) / most)
    for k, q in enumerate(near):
        inner = [s for s in passed if _within(s.corners_px, q.corners_px)]
        if k >= TRIALS and not inner:
            continue
        if any(_same(q.corners_px, s.corners_px) or _within(q.corners_px, s.corners_px) for s in passed):
            continue
        result = judge_sheet(rgb, q.corners_px, reference, prior, blur_px)
        if isinstance(result, Failure):
            failures.append(result)
            continue
        # what lies within a sheet's outline is printed on it
        passed = [s for s in passed if not _within(s.corners_px, result.corners_px)]
        if not any(_same(result.corners_px, s.corners_px) for s in passed):
            passed.append(result)
    if len(passed) > 1:
        return Failure(
            "two-sheets",
            Words("There are two things of the shape of the {words}; leave only one.", words=reference.words),
        )
    if passed:
        return passed[0]
    telling = [f for f in failures if f.code not in ("unclear", "curled", "unsolved")]
    return telling[0] if telling else _nothing(rgb, quads, failures, reference, prior)


def _rough(rgb: NDArray[np.uint8], prior: Prior, reference: Reference) -> list[Quad]:
    """Rough quadrilaterals; where the focal length is hardly known, those that any likely one makes the reference."""
    factors = FOCALS if prior.focal_relative > BROAD else (1.0,)
    out: list[Quad] = []
    for factor in factors:
        for q in quadrilaterals(rgb, factor * prior.focal_px, reference.ratio):
            if not any(same(q.corners_px, other.corners_px, 1.0) for other in out):
                out.append(q)
    return out


def _off(q: Quad, reference: Reference, prior: Prior) -> float:
    """How far a rough shape is from the reference's, 1 being the most that is looked into."""
    shape, by_focal = shape_of(q.corners_px, prior)
    ratio = abs(math.log(max(shape[0], 1 / shape[0]) / reference.ratio)) / (ROUGH_RATIO + 3 * by_focal)
    return max(ratio, abs(float(shape[1])) / (ROUGH_SQUARE + 3 * by_focal))


def _same(q: Array, other: Array) -> bool:
    near = SAME * math.sqrt(area(q))
    return bool((np.hypot(*np.moveaxis(q[:, None] - other[None], -1, 0)).min(0) < near).all())


def _within(inner: Array, outer: Array) -> bool:
    """Whether a quadrilateral lies within a clearly larger one, sides in common allowed."""
    import cv2

    both, _ = cv2.intersectConvexConvex(outer.astype(np.float32), inner.astype(np.float32))
    return bool(both > INSIDE * area(inner) and area(outer) > LARGER * area(inner))


def judge_sheet(
    rgb: NDArray[np.uint8], corners_px: Array, reference: Reference, prior: Prior, blur_px: float = 1.0
) -> FoundSheet | Failure:
    """Solve the view from a candidate's rough corners (4, 2), long side first, and judge the result."""
    size = (rgb.shape[1], rgb.shape[0])
    light = Light.of(rgb, box_around(corners_px))
    cut = cut_sd_mm(reference)
    found: tuple[JointView, tuple[SideEdges, ...]] | None = None
    d = np.hypot(*(np.roll(corners_px, -1, 0) - corners_px).T)
    shape = shape_of(corners_px, prior)[0]
    long_first = shape[0] > 1 if abs(math.log(shape[0])) > SQUARE_LOG else d[0] + d[2] > d[1] + d[3]
    ordered = corners_px if long_first else np.roll(corners_px, -1, 0)
    for guess in first_guess(ordered, reference.rectangle, prior):
        try:
            rough = solve_jointly([LyingRectangle(_straight(ordered), reference.rectangle, cut)], prior, guess, size)
        except np.linalg.LinAlgError:
            continue
        other = located_sheet(light, rough.view.parameters, reference.rectangle, cut, prior, size, blur_px)
        if other and other[0].view.centre_mm[2] > 0 and (found is None or other[0].loss < found[0].loss - 1):
            found = other
    if found is None:
        return _unsolved(reference)
    return _judged(rgb, light, *found, reference, prior)


def _straight(corners_px: Array) -> tuple[SideEdges, ...]:
    """Rough sides, straight from corner to corner: the focal length must fit them, or a large sheet's are missed."""
    out, shape = [], shape_covariance(ROUGH_PX)
    along = np.linspace(-ALONG, ALONG, PLACES)
    for k, (a, b) in enumerate(zip(corners_px, np.roll(corners_px, -1, 0), strict=True)):
        d = b - a
        n = np.array([-d[1], d[0]]) / np.hypot(*d)
        points = a + (along + 0.5)[:, None] * d
        out.append(SideEdges(k, along, True, points, np.tile(n, (9, 1)), np.full(9, ROUGH_PX), shape))
    return tuple(out)


def _judged(
    rgb: NDArray[np.uint8],
    light: Light,
    joint: JointView,
    edges: tuple[SideEdges, ...],
    reference: Reference,
    prior: Prior,
) -> FoundSheet | Failure:
    """Tilt, whether each side is seen, ratio of sides, straightness and corners."""
    size, nominal = joint.view.size_px, reference.rectangle
    why = too_oblique(joint.view.tilt_deg)
    if why is not None:
        return why
    seen = _seen(joint, edges)
    if abs(joint.view.parameters[9]) > MOST_RADIAL:
        return _unsolved(reference)
    loose = replace(nominal, height_sd_mm=LOOSE_SHARE * nominal.height_mm)
    try:
        shape = solve_jointly([LyingRectangle(edges, loose, cut_sd_mm(reference))], prior, joint.view.parameters, size)
    except np.linalg.LinAlgError:
        return _unsolved(reference)
    height, height_sd = shape.bodies[0].rectangle.height_mm, float(np.sqrt(shape.bodies[0].size_covariance[1, 1]))
    allowed = math.hypot(height_sd, nominal.height_sd_mm, nominal.width_sd_mm * nominal.height_mm / nominal.width_mm)
    bow = _bow_mm(joint, edges) if seen.min() > CURLED_SEEN else 0.0
    odd = seen.min() > SEEN and abs(height - nominal.height_mm) > STRICT * allowed
    if bow > max(ODD_BOW_MM if odd else MOST_BOW_MM, 3 * nominal.height_sd_mm):
        return Failure(
            "curled",
            Words(
                "The {words} does not lie flat: its sides are curved in the photo; press it flat.",
                words=reference.words,
            ),
        )
    if odd:
        return _other_shape(nominal.width_mm / height, height_sd / height, reference)
    if seen.min() < SEEN:
        return _unclear(reference)
    w, h = joint.bodies[0].rectangle.width_mm / 2, joint.bodies[0].rectangle.height_mm / 2
    corners = joint.view.pixels(np.array([[-w, -h], [w, -h], [w, h], [-w, h]]), nominal.thickness_mm)
    if not inside(corners, size):
        return _cut_off(reference)
    if not stands_out(rgb, corners):
        return _unclear(reference)
    if _round_corners(light, joint, min(w, h)):
        return Failure(
            "round-corners",
            Words("What looks like the {words} has round corners; use one with square corners.", words=reference.words),
        )
    return FoundSheet(reference, joint, edges, corners)


def _seen(joint: JointView, edges: tuple[SideEdges, ...]) -> Array:
    """(4,) share of each side where an edge was located that agrees with the view."""
    body = joint.bodies[0]
    out = np.zeros(4)
    for e, residuals in zip(edges, body.residuals, strict=True):
        X = side_points(e.side, np.array([-0.5, 0.5]), body.rectangle.width_mm, body.rectangle.height_mm, 0.0)
        length = float(np.hypot(*np.diff(project(joint.view.parameters, X), axis=0)[0]))
        spread = max(1.0, MAD_TO_SD * float(np.median(np.abs(residuals))))
        agree = np.abs(residuals) * e.sigma_px < AGREES * spread * np.maximum(e.sigma_px, LEAST_SIGMA_PX)
        out[e.side] = agree.sum() * STAGES[-1][1] / length
    return out


def _bow_mm(joint: JointView, edges: tuple[SideEdges, ...]) -> float:
    """How far the middle of the most curved side is off the line through its ends, all points taken."""
    most = 0.0
    for e in edges:
        across = joint.view.plane(e.points_px)[:, 1 if e.side % 2 == 0 else 0]
        most = max(most, abs(float(np.polyfit(e.along, across, 2)[0])) / 4)
    return most


def _round_corners(light: Light, joint: JointView, half_mm: float) -> bool:
    """Whether the corners' tips are the ground's colour instead of the sheet's, on most corners."""
    r = joint.bodies[0].rectangle
    tip = max(CORNER_MM, CORNER_SHARE * half_mm)
    missing = 0
    for sx, sy in ((-1, -1), (1, -1), (1, 1), (-1, 1)):
        corner, way = np.array([sx * r.width_mm, sy * r.height_mm]) / 2, np.array([sx, sy], float)
        aside = np.array([[4 * tip * -sx, 0.0], [0.0, 4 * tip * -sy]])

        def mean(points: Array) -> Array:
            return np.asarray(np.median(np.sqrt(np.maximum(light.sample(joint.view.pixels(points)), 0)), 0))

        within = mean(corner + aside - WITHIN * tip * way)
        without = mean(corner + aside + WITHOUT * tip * way)
        at = mean(corner - np.array(AT_TIP)[:, None] * tip * way)
        across = without - within
        share = float((at - within) @ across / max(float(across @ across), 1e-9))
        missing += share > ROUND_SHARE
    return missing >= 3


def _nothing(
    rgb: NDArray[np.uint8], quads: list[Quad], failures: list[Failure], reference: Reference, prior: Prior
) -> Failure:
    """Why no candidate could be solved: what is there has another shape, or is cut off; or its sides are not seen."""
    size = (rgb.shape[1], rgb.shape[0])
    least = LEAST_AREA * size[0] * size[1]
    for q in sorted(quads, key=lambda q: -q.seen):
        if area(q.corners_px) < least or not inside(q.corners_px, size) or q.seen < WELL_SEEN:
            continue
        shape, by_focal = shape_of(q.corners_px, prior)
        if _off(q, reference, prior) > 1 and abs(float(shape[1])) < ROUGH_SQUARE and stands_out(rgb, q.corners_px):
            return _other_shape(float(max(shape[0], 1 / shape[0])), math.hypot(SHAPE_SD, by_focal), reference)
    if failures:
        return next((f for f in failures if f.code == "curled"), failures[0])
    for q in quads:
        if area(q.corners_px) > least and not inside(q.corners_px, size) and np.sort(q.support)[1] > CUT_SIDES:
            return _cut_off(reference)
    return no_sheet(reference)


def no_sheet(reference: Reference) -> Failure:
    """That nothing like the sheet is there."""
    return Failure(
        "no-sheet",
        Words("There is no {words} in the photo; lay one flat, all of it in the picture.", words=reference.words),
    )


def _other_shape(ratio: float, relative_sd: float, reference: Reference) -> Failure:
    others = [x for x in look_alikes(ratio, relative_sd) if x.width_mm > SMALL_MM and x.ratio != reference.ratio]
    named = Words(" and looks like {words}", words=others[0].words) if others else ""
    return Failure(
        "wrong-shape",
        Words(
            "What lies there is no {words}: its sides are {ratio:.3f} to 1 instead of {ratio2:.3f} to 1{named}",
            words=reference.words,
            ratio=ratio,
            ratio2=reference.ratio,
            named=named,
        ),
        (Words("lay one there"), Remedy("name-reference")),
    )


def _cut_off(reference: Reference) -> Failure:
    return Failure(
        "cut-off",
        Words(
            "The {words} is cut off by the photo's edge: take the photo again with all four of its corners in.",
            words=reference.words,
        ),
    )


def _unsolved(reference: Reference) -> Failure:
    """That sides were seen which no camera sees so of a flat sheet."""
    return Failure(
        "unsolved",
        Words(
            "What may be the {words} is seen, but its four sides fit no flat sheet in one view: "
            "lay it flat, with nothing over its edges and nothing like it beside, and take the "
            "photo from straight above.",
            words=reference.words,
        ),
    )


def _unclear(reference: Reference) -> Failure:
    return Failure(
        "unclear",
        Words(
            "The sides of the {words} can't be made out; keep them free of other things, on a "
            "ground of another colour.",
            words=reference.words,
        ),
    )
