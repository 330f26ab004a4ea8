"""The bank-size card in a photo: found, measured and judged, or refused by name of the reason."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from calib.corners import Radius, corner_radius
from calib.profile import Light
from calib.quads import Quad, quadrilaterals
from calib.reference import ID_1, Reference
from calib.sides import CORNER_MARGIN_MM, located
from calib.sighting import (
    Failure,
    Sighting,
    bent,
    box_around,
    cut_off,
    looked_at,
    named_ratio,
    oblique,
    rejection,
    shape_of,
    wrong_radius,
)
from calib.view import Prior, SideEdges, Solution, first_guess, project, side_points, solve

Array = NDArray[np.float64]

LEAST_SEEN = 1.1
"""Outlines seen worse than this are not looked at (2 is a fully seen one)."""
TELLING, FAR_RATIO = 1.3, 0.08
"""What a thing must show of its outline to be talked of, and how far its ratio may be off to be called a card at all."""
CLOSER_LOOKS, AT_ONCE, SOLVED = 9, 3, 4
"""How many candidates are measured in the full photo at most, how many before the view is solved for the best of them,
and for how many it is solved in all."""
ROUGH_RATIO, ROUGH_SQUARE = 0.06, 0.06
"""How far a rough outline of the card may stray, shadows and rims included: ratio of sides, relative; right angle, rad."""
WELL_SEEN, SEEN = 0.6, 0.4
"""Share of a side where its edge was located: what is good, and the least that is taken."""
SIDE_DOUBT_MM = 0.10
"""Standard deviation of the card's measured height when shadow or rim stand beside its sides."""
STRICT = 3.5
"""How many standard deviations a measured size or radius may lie off."""
LOOSE_MM = 5.0
MOST_RADIUS_SD_MM = 0.4
"""Corners that differ more tell that a shadow or a print was taken for a side."""


@dataclass(frozen=True, slots=True)
class Caution:
    """What a person should know of a card that was taken all the same: a short code and a sentence."""

    code: str
    text: str


@dataclass(frozen=True, slots=True)
class Card:
    """A reference that was found and passed all tests.

    Attributes:
        reference: what it is.
        solution: view and size.
        edges: located points of its four sides.
        corners_px: (4, 2) where the sides of its upper face meet, counter-clockwise from the lower left as seen when its
            long sides lie level.
        radius: measured at its corners.
        height_mm, height_sd_mm: its short side, measured by its long one.
        seen: (4,) share of each side where its edge was located.
        cautions: see `Caution`.
    """

    reference: Reference
    solution: Solution
    edges: tuple[SideEdges, ...]
    corners_px: Array
    radius: Radius
    height_mm: float
    height_sd_mm: float
    seen: Array
    cautions: tuple[Caution, ...]


def find_card(
    rgb: NDArray[np.uint8], prior: Prior, blur_px: float = 1.0, reference: Reference = ID_1
) -> Card | Failure:
    """The card in a photo.

    Args:
        rgb: (h, w, 3) 8-bit sRGB.
        prior: of the camera.
        blur_px: optical blur, standard deviation.
        reference: what to look for.

    Returns:
        The card; or why there is none that can be trusted.
    """
    quads = [
        q
        for q in quadrilaterals(rgb, prior.focal_px, reference.ratio)
        if q.support.mean() + q.support.min() > LEAST_SEEN
    ]
    near = [q for q in quads if _near(q, reference, prior)][:CLOSER_LOOKS]
    failures: list[tuple[Sighting, Failure]] = []
    tries = SOLVED
    for first in range(0, len(near), AT_ONCE):
        sightings = [looked_at(rgb, q, reference, prior) for q in near[first : first + AT_ONCE]]
        whys = [rejection(s, reference) for s in sightings]
        failures += [(s, why) for s, why in zip(sightings, whys, strict=True) if why is not None]
        promising = [s for s, why in zip(sightings, whys, strict=True) if why is None]
        for s in sorted(promising, key=lambda s: _strangeness(s, reference))[:tries]:
            judged = _judged(rgb, s, reference, prior, blur_px)
            tries -= 1
            if isinstance(judged, Card):
                return _alone(rgb, judged, quads, prior)
            failures.append((s, judged))
    far = [looked_at(rgb, q, reference, prior) for q in quads if all(q is not n for n in near)][:CLOSER_LOOKS]
    failures += [(s, why) for s in far if (why := rejection(s, reference)) is not None]
    return _reason(failures, reference)


def _near(quad: Quad, reference: Reference, prior: Prior) -> bool:
    """Whether a candidate's rough shape allows for the reference."""
    shape, by_focal = shape_of(quad.corners_px, prior)
    ratio = max(shape[0], 1 / shape[0])
    return (
        abs(math.log(ratio / reference.ratio)) < ROUGH_RATIO + 3 * by_focal
        and abs(shape[1]) < ROUGH_SQUARE + 3 * by_focal
    )


def _strangeness(s: Sighting, reference: Reference) -> float:
    """How much a candidate differs from a perfect sight of the reference; 0 is best."""
    low, high = reference.limits.corner_mm
    off = math.log(s.ratio / reference.ratio) / (0.5 * s.ratio_sd + 0.004)
    round_off = (s.radius.radius_mm - (low + high) / 2) / (s.radius.sd_mm + 0.3)
    return off**2 + round_off**2 + (s.square_off / 0.003) ** 2 / 4 + 8 * (2 - s.score) ** 2


def _judged(rgb: NDArray[np.uint8], s: Sighting, reference: Reference, prior: Prior, blur_px: float) -> Card | Failure:
    """Solve the view from a candidate's sides, and test the result against what the reference must be."""
    size = (rgb.shape[1], rgb.shape[0])
    nominal = reference.rectangle
    corners = s.corners_px if _first_is_long(s.corners_px) else np.roll(s.corners_px, -1, 0)
    guesses = first_guess(corners, nominal, prior)
    light = Light.of(rgb, box_around(corners, 60 + 0.05 * float(np.ptp(corners, 0).max())))
    found = located(light, guesses[0], nominal, prior, size, blur_px)
    unclear = _unclear(s, reference)
    if found is None:
        return unclear
    solution, edges = found
    solution = _better_pose(solution, edges, guesses, reference, prior, size)
    seen = _seen(edges, solution)
    loose = solve(edges, replace(nominal, height_sd_mm=LOOSE_MM), prior, solution.view.parameters, size)
    height, height_sd = loose.rectangle.height_mm, loose.size_sd_mm[1]
    corners_px = _corners(solution)
    radius = corner_radius(s.look, corners_px, nominal.width_mm, nominal.height_mm, size)
    why = oblique(solution.view.tilt_deg)
    if why is not None:
        return why
    doubt = math.hypot(height_sd, SIDE_DOUBT_MM)
    if abs(height - nominal.height_mm) > STRICT * math.hypot(doubt, nominal.height_sd_mm):
        return named_ratio(nominal.width_mm / height, doubt / height, reference) if seen.min() > WELL_SEEN else unclear
    wrong = wrong_radius(radius, reference)
    if wrong is not None:
        return wrong
    if seen.min() < SEEN or radius.sd_mm > MOST_RADIUS_SD_MM:
        return unclear
    if not _inside(corners_px, size):
        return cut_off()
    why = bent(s, _lens_bow_mm(solution, s.mm_per_px))
    if why is not None:
        return why
    return Card(
        reference, solution, tuple(edges), corners_px, radius, height, height_sd, seen, _cautions(seen, solution)
    )


def _unclear(s: Sighting, reference: Reference) -> Failure:
    """Why no view could be solved: a shape that is a little off, else sides that can't be told from their surroundings."""
    if abs(math.log(s.ratio / reference.ratio)) > 3 * s.ratio_sd:
        return named_ratio(s.ratio, s.ratio_sd, reference)
    return Failure("unclear", "The card's sides can't be made out; give it more light, or a ground of another colour.")


def _inside(corners: Array, size_px: tuple[int, int]) -> bool:
    return bool(((corners >= 0) & (corners <= np.array(size_px) - 1)).all())


def _first_is_long(corners: Array) -> bool:
    d = np.hypot(*(np.roll(corners, -1, 0) - corners).T)
    return bool(d[0] + d[2] >= d[1] + d[3])


def _better_pose(
    solution: Solution,
    edges: list[SideEdges],
    guesses: list[Array],
    reference: Reference,
    prior: Prior,
    size: tuple[int, int],
) -> Solution:
    """The solution, or the one on the other side of the two-fold pose if that explains the sides better."""
    for other in guesses[1:]:
        try:
            tried = solve(edges, reference.rectangle, prior, other, size)
        except np.linalg.LinAlgError:
            continue
        if tried.chi2 < solution.chi2 - 1 and tried.view.centre_mm[2] > 0:
            solution = tried
    return solution


def _seen(edges: list[SideEdges], solution: Solution) -> Array:
    """(4,) share of each side, corners left out, where an edge was located in blocks four pixels wide."""
    r = solution.rectangle
    out = np.zeros(4)
    for e in edges:
        ends = project(
            solution.view.parameters, side_points(e.side, np.array([-0.5, 0.5]), r.width_mm, r.height_mm, 0.0)
        )
        length_mm = r.width_mm if e.side % 2 == 0 else r.height_mm
        straight = float(np.hypot(*(ends[1] - ends[0]))) * (1 - 2 * CORNER_MARGIN_MM / length_mm)
        out[e.side] = min(len(e.along) / max(straight / 4, 1), 1.0)
    return out


def _corners(solution: Solution) -> Array:
    """(4, 2) corners of the upper face, px."""
    r = solution.rectangle
    X = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) * [r.width_mm / 2, r.height_mm / 2]
    return solution.view.pixels(X, r.thickness_mm)


def _lens_bow_mm(solution: Solution, mm_per_px: float) -> Array:
    """(4,) how far the lens makes the sides bow outwards."""
    r = solution.rectangle
    out = []
    middle = solution.view.pixels(np.zeros((1, 2)))[0]
    for side in range(4):
        X = side_points(side, np.array([-0.42, 0.0, 0.42]), r.width_mm, r.height_mm, 0.0)
        a, m, b = project(solution.view.parameters, X)
        d = b - a
        n = np.array([d[1], -d[0]]) / np.hypot(*d)
        n = n if (middle - m) @ n < 0 else -n
        out.append(float((m - (a + b) / 2) @ n) * mm_per_px / (4 * 0.42**2))
    return np.array(out)


def _cautions(seen: Array, solution: Solution) -> tuple[Caution, ...]:
    out = []
    if seen.min() < WELL_SEEN:
        out.append(
            Caution(
                "faint-side", "One side of the card hardly stands out from what it lies on, so the scale is less sure."
            )
        )
    if solution.view.tilt_deg > 30:
        out.append(
            Caution(
                "tilt", f"The photo was taken from the side ({solution.view.tilt_deg:.0f}°); straight down is better."
            )
        )
    return tuple(out)


def _alone(rgb: NDArray[np.uint8], card: Card, quads: list[Quad], prior: Prior) -> Card | Failure:
    """The card, unless another lies beside it: measured in its view, the other would be of the same size."""
    view, r = card.solution.view, card.reference.rectangle
    for q in quads:
        X = view.plane(q.corners_px, r.thickness_mm)
        if np.hypot(*X.mean(0)) < 0.6 * r.height_mm:
            continue  # the same card
        sides = np.hypot(*(np.roll(X, -1, 0) - X).T)
        long, short = sorted((float(sides[::2].mean()), float(sides[1::2].mean())), reverse=True)
        if abs(long - r.width_mm) > 0.03 * r.width_mm or abs(short - r.height_mm) > 0.05 * r.height_mm:
            continue
        if rejection(looked_at(rgb, q, card.reference, prior), card.reference) is None:
            return Failure("two-cards", "There are two cards in the photo; leave only one beside the part.")
    return card


def _reason(failures: list[tuple[Sighting, Failure]], reference: Reference) -> Failure:
    """The failure to tell: of what a person would take for the card, something large and card-shaped."""
    none = Failure(
        "no-card", f"There is no {reference.words} in the photo; lay one flat beside the part, whole in the picture."
    )
    telling = [(s, f) for s, f in failures if f.text and s.score > TELLING]
    if not telling:
        return none
    largest = min(s.mm_per_px for s, _ in telling)

    def unlikely(s: Sighting, f: Failure) -> float:
        off = min(abs(math.log(s.ratio / reference.ratio)) / 0.1, 2.0) if s.whole else 0.5
        return off + 2 * math.log(s.mm_per_px / largest) + (2 - s.score) + 0.02 * min(_strangeness(s, reference), 100.0)

    s, failure = min(telling, key=lambda sf: unlikely(*sf))
    if failure.code == "wrong-shape" and abs(math.log(s.ratio / reference.ratio)) > FAR_RATIO:
        return none
    return failure


__all__ = ["Card", "Caution", "Failure", "Quad", "find_card"]
