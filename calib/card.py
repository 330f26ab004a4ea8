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
    by_corners,
    looked_at,
    named_ratio,
    oblique,
    rejection,
    too_small,
)
from calib.view import Prior, SideEdges, Solution, first_guess, project, side_points, solve

Array = NDArray[np.float64]

LEAST_SCORE = 1.1
"""Outlines seen worse than this are not looked at (2 is a fully seen one)."""
CLOSER_LOOKS, SOLVED = 7, 3
"""How many candidates are measured in the full photo, and for how many the view is solved."""
WELL_SEEN, SEEN = 0.6, 0.22
"""Share of a side where its edge was located: what is good, and the least that is taken."""
SIDE_DOUBT_MM = 0.10
"""Standard deviation of the card's measured height when shadow or rim stand beside its sides."""
STRICT = 3.5
"""How many standard deviations a measured size or radius may lie off."""
LOOSE_MM = 5.0


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


def find_card(rgb: NDArray[np.uint8], prior: Prior, blur_px: float = 1.0, reference: Reference = ID_1) -> Card | Failure:
    """The card in a photo.

    Args:
        rgb: (h, w, 3) 8-bit sRGB.
        prior: of the camera.
        blur_px: optical blur, standard deviation.
        reference: what to look for.

    Returns:
        The card; or why there is none that can be trusted.
    """
    quads = [q for q in quadrilaterals(rgb, prior.focal_px, reference.ratio) if q.support.mean() + q.support.min() > LEAST_SCORE]
    sightings = [looked_at(rgb, q, reference, prior) for q in quads[:CLOSER_LOOKS]]
    failures: list[tuple[float, Failure]] = []
    promising = []
    for s in sightings:
        why = too_small(s, reference) or rejection(s, reference) or bent(s) or oblique(s.tilt_deg - 5)
        if why is None:
            promising.append(s)
        else:
            failures.append((s.score, why))
    promising.sort(key=lambda s: _strangeness(s, reference))
    cards: list[Card] = []
    for s in promising[:SOLVED]:
        judged = _judged(rgb, s, reference, prior, blur_px)
        if isinstance(judged, Card):
            cards.append(judged)
            break
        failures.append((s.score + 0.5, judged))
    if not cards:
        return _reason(failures, reference)
    return _alone(cards[0], sightings, reference)


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
    unclear = Failure("unclear", "The card's sides can't be made out; give it more light, or a ground of another colour.")
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
        if seen.min() > WELL_SEEN:
            return named_ratio(nominal.width_mm / height, doubt / height, reference)
        return named_ratio(s.ratio, s.ratio_sd, reference) if abs(math.log(s.ratio / reference.ratio)) > 3 * s.ratio_sd else unclear
    low, high = reference.limits.corner_mm
    if not low - STRICT * radius.sd_mm < radius.radius_mm < high + STRICT * radius.sd_mm:
        return by_corners(radius, reference)
    if seen.min() < SEEN:
        return unclear
    why = bent(s, _lens_bow_mm(solution, s.mm_per_px))
    if why is not None:
        return why
    return Card(reference, solution, tuple(edges), corners_px, radius, height, height_sd, seen, _cautions(seen, solution))


def _first_is_long(corners: Array) -> bool:
    d = np.hypot(*(np.roll(corners, -1, 0) - corners).T)
    return bool(d[0] + d[2] >= d[1] + d[3])


def _better_pose(
    solution: Solution, edges: list[SideEdges], guesses: list[Array], reference: Reference, prior: Prior, size: tuple[int, int]
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
        ends = project(solution.view.parameters, side_points(e.side, np.array([-0.5, 0.5]), r.width_mm, r.height_mm, 0.0))
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
            Caution("faint-side", "One side of the card hardly stands out from what it lies on, so the scale is less sure.")
        )
    if solution.view.tilt_deg > 30:
        out.append(Caution("tilt", f"The photo was taken from the side ({solution.view.tilt_deg:.0f}°); straight down is better."))
    return tuple(out)


def _alone(card: Card, sightings: list[Sighting], reference: Reference) -> Card | Failure:
    """The card, unless another lies beside it: measured in its view, the other would be of the same size."""
    view, r = card.solution.view, reference.rectangle
    low, high = reference.limits.corner_mm
    for s in sightings:
        if not s.whole or s.score < 1.4 or not low - 0.8 < s.radius.radius_mm < high + 0.8:
            continue
        X = view.plane(s.corners_px, r.thickness_mm)
        if np.hypot(*X.mean(0)) < 0.5 * r.height_mm:
            continue  # the same card
        sides = np.hypot(*(np.roll(X, -1, 0) - X).T)
        long, short = sorted((float(sides[::2].mean()), float(sides[1::2].mean())), reverse=True)
        if abs(long - r.width_mm) < 0.02 * r.width_mm and abs(short - r.height_mm) < 0.03 * r.height_mm:
            return Failure("two-cards", "There are two cards in the photo; leave only one beside the part.")
    return card


def _reason(failures: list[tuple[float, Failure]], reference: Reference) -> Failure:
    """The failure to tell: of the candidate that was seen best, among those that say something."""
    telling = [f for f in failures if f[1].text]
    if not telling:
        return Failure("no-card", f"There is no {reference.words} in the photo; lay one flat beside the part, whole in the picture.")
    return max(telling, key=lambda f: f[0])[1]


__all__ = ["Card", "Caution", "Failure", "Quad", "find_card"]
