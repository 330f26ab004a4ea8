"""The bank-size card in a photo: found, measured and judged, or refused by name of the reason."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calib.arrays import Array
from calib.card.judging import GOOD, WELL_SEEN, AcceptedCard, judge
from calib.card.lying import beside, surroundings
from calib.card.others import other_cards
from calib.light.optics import USUAL, Optics
from calib.light.profile import Light
from calib.rectangle.corners import Radius
from calib.rectangle.quads import Quad, around, ordered, quadrilaterals, same
from calib.rectangle.refusals import Failure, cut_off, drawn, no_card, raised, rejection, two_cards
from calib.rectangle.sighting import LOW_LIGHT, Sighting, closer_look, grown, inside, shape_of
from calib.rectangle.underlay import underlay
from calib.reference.found import Caution
from calib.reference.reference import ID_1, Reference
from calib.view.view import Prior, SideEdges, Solution
from calib.words import Words

LEAST_SEEN = 1.1
"""Outlines seen worse than this are not looked at (2 is a fully seen one)."""
ROUGH_RATIO, ROUGH_SQUARE = 0.06, 0.06
"""How far a rough outline of the card may stray, shadows and rims included: ratio of sides, right angle; relative."""
CLOSER_LOOKS, TRIALS, CONVINCING = 12, 4, 3.0
"""How many candidates are measured in the full photo at most; how many are tried; and how little strange a candidate
must be to be tried before the others are looked at."""
SECOND_SEEN, SECOND_WIDTH, SECOND_HEIGHT = 1.5, 0.03, 0.05
"""A second card: how much of its outline must be seen, and how near its rough sides come to the size, relative."""
MOST_RATIO = 2.6
TELLING, FAR_RATIO, STRANGE = 1.1, 0.035, 15.0
"""What must be seen of a thing to be talked of; how far its ratio may be off, and how strange it may be, for it to be
called a card at all."""
HAND_PX = (6.0, 12.0, 24.0, 40.0)
"""How far corners that were marked by hand may lie off the card's sides; the last is the most for its corners too."""
SAME_HAND_PX = 1.5
"""Outlines whose corners lie this close are looked at once."""
HALF_SEEN, LEAST_LEG = ("no-card", "wrong-shape", "look-alike", "unclear", "corners", "square-corners"), 0.6
"""What may be said of a card that is cut off, and how much of three of its sides is seen within the photo (chosen)."""
SIDE_SEEN = 0.45
"""How much of each side must be seen for a thing's shape to be talked of."""
MOSTLY_BURNT_OUT = 0.5
"""Share of its sides from which a card that is overexposed in all colours is said to be (chosen)."""
OBLIQUE_DEG = 30.0
"""A tilt that a person is told of."""


@dataclass(frozen=True, slots=True)
class Card:
    """A reference that was found and passed all tests.

    Attributes:
        reference: what it is.
        solution: view and size.
        edges: located points of its four sides.
        corners_px: (4, 2) where the sides of its upper face meet, counter-clockwise as seen, from the lower left when
            its long sides lie level.
        radius: measured at its corners.
        height_mm, height_sd_mm: its short side, measured by its long one.
        seen: (4,) share of each side where its edge was located.
        underlay_px: (4, 2) outline of what it lies on, if that shows: a sheet, or something that lifts it.
        others_px: outlines (4, 2) of further cards, cut off or partly covered.
        cautions: see `Caution`.
        optics: see `calib.card.rims.Rims`.
    """

    reference: Reference
    solution: Solution
    edges: tuple[SideEdges, ...]
    corners_px: Array
    radius: Radius
    height_mm: float
    height_sd_mm: float
    seen: Array
    underlay_px: Array | None
    cautions: tuple[Caution, ...]
    others_px: tuple[Array, ...] = ()
    optics: Optics = USUAL


ELSEWHERE = 0.6
"""Another card's middle lies at least so many card heights away."""
SHAPE_OFF, ODD_SIGHT, TELLING_CODES = 0.15, (0.02, 25.0), {"bent": 0.8, "unclear": 1.0}
"""What makes a candidate unlikely to be what a person takes for the card: its shape, in units of this; its strangeness,
times this and up to that; and the reasons that speak for it (chosen)."""


def find_card(
    rgb: NDArray[np.uint8],
    prior: Prior,
    blur_px: float = 1.0,
    reference: Reference = ID_1,
    corners_px: Array | None = None,
) -> Card | Failure:
    """The card in a photo.

    Args:
        rgb: (h, w, 3) 8-bit sRGB.
        prior: of the camera.
        blur_px: optical blur, standard deviation.
        reference: what to look for.
        corners_px: (4, 2) about where its corners are, in any order: nothing but what lies there is looked at. They say
            where to look and nothing else; measured and judged is what is seen there, as always.

    Returns:
        The card; or why there is none that can be trusted.
    """
    found = quadrilaterals(rgb, prior.focal_px, reference.ratio)
    quads = [q for q in found if q.seen > LEAST_SEEN]
    near = [q for q in quads if _near(q, reference, prior)][:CLOSER_LOOKS]
    starts = [q.corners_px for q in near] if corners_px is None else _by_hand(rgb, corners_px, quads, reference, prior)
    failures: list[tuple[Sighting, Failure]] = []
    waiting: list[Sighting] = []
    trials = 0
    for corners in [*starts, None]:
        for s, why in _sights(rgb, corners, reference, prior) if corners is not None else ():
            if why is None:
                waiting = sorted([*waiting, s], key=lambda s: s.strangeness(reference))
            else:
                failures.append((s, why))
        while waiting and trials < TRIALS and (corners is None or waiting[0].strangeness(reference) < CONVINCING):
            trials += 1
            result = judge(rgb, waiting[0], reference, prior, blur_px)
            if isinstance(result, AcceptedCard):
                return _alone(rgb, result, found, reference, prior)
            failures.append((waiting.pop(0), result))
    far = [q for q in quads if not any(q is n for n in near) and _card_like(q, prior)][:CLOSER_LOOKS]
    for s in (closer_look(rgb, q.corners_px, reference, prior) for q in far if corners_px is None):
        why = rejection(s, reference)
        if why is not None:
            failures.append((s, why))
    why = _reason(failures, reference)
    if corners_px is None and why.code in HALF_SEEN and _reaches_out(rgb, found, reference, prior):
        return cut_off()
    return why


def _reaches_out(rgb: NDArray[np.uint8], quads: list[Quad], reference: Reference, prior: Prior) -> bool:
    """Whether a card is cut off by the photo's edge: three sides are seen as far as the photo goes, and two corners are
    a card's."""
    size = (rgb.shape[1], rgb.shape[0])
    for q in quads:
        if inside(q.corners_px, size) or np.sort(q.support)[1] < LEAST_LEG:
            continue
        why = rejection(closer_look(rgb, q.corners_px, reference, prior), reference)
        if why is not None and why.code == "cut-off":
            return True
    return False


def _by_hand(
    rgb: NDArray[np.uint8], corners_px: Array, quads: list[Quad], reference: Reference, prior: Prior
) -> list[Array]:
    """(4, 2) corners each of what may be meant: the edges most like the reference, looked for nearer and farther."""
    rough = ordered(around(corners_px))
    looks = [closer_look(rgb, rough, reference, prior, reach).corners_px for reach in HAND_PX]
    out: list[Array] = []
    for corners in (*looks, *(q.corners_px for q in quads)):
        there = np.isfinite(corners).all() and same(corners, rough, HAND_PX[-1])
        if there and not any(same(corners, o, SAME_HAND_PX) for o in out):
            out.append(ordered(corners))
    return out


def _sights(
    rgb: NDArray[np.uint8], corners_px: Array, reference: Reference, prior: Prior
) -> list[tuple[Sighting, Failure | None]]:
    """A candidate measured and judged; and what else it may be, if that is like the reference: a frame printed on it,
    which is often bolder than the card's own edge; or one with a wide shadow, which is as well."""
    s = closer_look(rgb, corners_px, reference, prior)
    out = [(s, rejection(s, reference))]
    if out[0][1] is None:
        return out
    outer = grown(s, reference)
    others = [closer_look(rgb, outer, reference, prior)] if outer is not None else []
    shaded = closer_look(rgb, corners_px, reference, prior, farther=LOW_LIGHT)
    if shaded.strangeness(reference) < GOOD:  # who looks far finds something: it must be as good as a card
        others.append(shaded)
    return [*out, *((o, None) for o in others if rejection(o, reference) is None)]


def _near(quad: Quad, reference: Reference, prior: Prior) -> bool:
    """Whether a candidate's rough shape allows for the reference."""
    shape, by_focal = shape_of(quad.corners_px, prior)
    off = math.log(max(shape[0], 1 / shape[0]) / reference.ratio)
    return abs(off) < ROUGH_RATIO + 3 * by_focal and abs(shape[1]) < ROUGH_SQUARE + 3 * by_focal


def _card_like(quad: Quad, prior: Prior) -> bool:
    """Whether somebody might take a candidate for a card: no strip, and a rectangle rather than a kite."""
    shape, by_focal = shape_of(quad.corners_px, prior)
    return bool(max(shape[0], 1 / shape[0]) < MOST_RATIO and abs(shape[1]) < ROUGH_SQUARE + 3 * by_focal)


def _alone(
    rgb: NDArray[np.uint8], card: AcceptedCard, quads: list[Quad], reference: Reference, prior: Prior
) -> Card | Failure:
    """The card, unless another lies beside it (measured in its view, the other would be of the same size), or it does
    not lie on the table."""
    view, r = card.solution.view, reference.rectangle
    for q in quads:
        if q.seen < SECOND_SEEN:
            continue
        X = view.plane(q.corners_px, r.thickness_mm)
        sides = np.hypot(*(np.roll(X, -1, 0) - X).T)
        long, short = sorted((float(sides[::2].mean()), float(sides[1::2].mean())), reverse=True)
        as_large = (
            abs(long - r.width_mm) < SECOND_WIDTH * r.width_mm
            and abs(short - r.height_mm) < SECOND_HEIGHT * r.height_mm
        )
        elsewhere = np.hypot(*X.mean(0)) > ELSEWHERE * r.height_mm
        if as_large and elsewhere and rejection(closer_look(rgb, q.corners_px, reference, prior), reference) is None:
            return two_cards()
    light = Light.of(rgb, surroundings(view, r))
    around = beside(light, view, r)
    if around.drawn:
        return drawn()
    if around.raised:
        return raised()
    below = underlay(rgb, card.corners_px, [q for q in quads if q.seen > LEAST_SEEN])
    return Card(
        reference,
        card.solution,
        card.edges,
        card.corners_px,
        card.radius,
        card.height_mm,
        card.height_sd_mm,
        card.seen,
        below,
        _cautions(card),
        other_cards(rgb, view, prior, (card.corners_px,), quads, reference),
        card.optics,
    )


def _cautions(card: AcceptedCard) -> tuple[Caution, ...]:
    out = []
    if card.disagreed:
        text = Words(
            "A shadow or a stripe beside the card may be taken for one of its sides, so the scale is less sure: "
            "measure the part once along its length, or take the photo again in soft light."
        )
        out.append(Caution("sides-disagree", text))
    if card.seen.min() < WELL_SEEN:
        text = Words("One side of the card hardly stands out from what it lies on, so the scale is less sure.")
        out.append(Caution("faint-side", text))
    if card.burnt_out > MOSTLY_BURNT_OUT:
        text = Words(
            "The card is so bright in the photo that its edges spread, so the scale is less sure: take the photo "
            "again with less light on it, or lay another card."
        )
        out.append(Caution("bright-card", text))
    if card.solution.view.tilt_deg > OBLIQUE_DEG:
        text = Words(
            "The photo was taken from the side ({tilt_deg:.0f}°); straight down is better.",
            tilt_deg=card.solution.view.tilt_deg,
        )
        out.append(Caution("tilt", text))
    return tuple(out)


def _sensible(s: Sighting, f: Failure, reference: Reference) -> bool:
    """Whether a failure that speaks of "the card" comes from something that may be one."""
    if f.code in ("look-alike", "wrong-shape") and s.support.min() < SIDE_SEEN:
        return False  # where a side was only put in, nobody knows the shape
    most = {"bent": STRANGE, "unclear": STRANGE, "too-oblique": 4 * STRANGE}
    return s.strangeness(reference) < most.get(f.code, math.inf)


def _reason(failures: list[tuple[Sighting, Failure]], reference: Reference) -> Failure:
    """The failure to tell: that of what a person would take for the card, something large and card-shaped."""
    telling = [(s, f) for s, f in failures if f.text and s.score > TELLING and _sensible(s, f, reference)]
    if not telling:
        return no_card(reference)
    largest = min(s.mm_per_px for s, _ in telling)

    def unlikely(s: Sighting, f: Failure) -> float:
        shape = abs(s.off(reference)) / SHAPE_OFF if s.whole else 0.5
        size = 2 * math.log(s.mm_per_px / largest)
        strange = ODD_SIGHT[0] * min(s.strangeness(reference), ODD_SIGHT[1]) + 2 * (2 - s.score)
        return shape + size + strange - TELLING_CODES.get(f.code, 0.0)

    s, failure = min(telling, key=lambda sf: unlikely(*sf))
    no = failure.code == "wrong-shape" and abs(s.off(reference)) > FAR_RATIO
    return no_card(reference) if no else failure


__all__ = ["Card", "Failure", "find_card"]
