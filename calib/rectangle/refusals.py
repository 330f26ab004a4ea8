"""Why something in a photo is not taken for the reference: the sentences, and the quick tests that lead to them."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from calib.arrays import Array
from calib.messages import Message
from calib.rectangle.corners import Radius
from calib.rectangle.sighting import Sighting
from calib.reference.reference import Reference, look_alikes
from calib.words import Words, alternatives, joined
from calib.written import with_article

SHADOW_RATIO = 0.03
"""How far a shadow or a rim taken for a side may shift the ratio of sides: no candidate further off is looked into."""
ROUND_SLACK_MM, MOST_ROUND_SLACK_MM = 0.10, 0.6
"""What shadow and rim may add to a corner's radius, and the most that a measured radius may lie outside the limits."""
MOST_RADIUS_SD_MM = 0.6
"""Corners that differ more are not those of one card, and have no radius that could be told."""
BOW_LIMIT_MM, BOW_DOUBT_MM = 0.10, 0.07
"""A card whose side bows more than this is bent: at arm's length its middle stands some millimetre off the table. A bow
less well known than the second figure says nothing."""
ODD = 16.7
"""Chi-square of five degrees of freedom, four sides and a lens, at 0.005."""
TILT_LIMIT_DEG = 45.0
SHORTEST_PX = 160.0
SQUARE_MM = 0.8
"""Corners of less than this radius are called square."""
CUT_CORNER_MM, CUT_SIDE = 0.6, 0.6
"""A card cut off by the photo's edge still shows its corners' radius within the first, and so much of three sides."""


@dataclass(frozen=True, slots=True)
class Failure(Message):
    """Why something is not taken for a reference; it has no words where there is nothing to tell.

    Its code is one of the names of the functions below with dashes, ``look-alike``, ``wrong-shape``,
    ``square-corners``, ``corners``, or ``no-card``.
    """


def rejection(s: Sighting, reference: Reference) -> Failure | None:
    """Why a candidate can't be the reference, from size, shape, sides and corners in the photo; None if it may be."""
    if not s.whole:
        return _part_of_card(s, reference) or Failure("no-card", "")
    off = abs(math.log(s.ratio / reference.ratio))
    wrong = wrong_radius(s.radius, reference)
    if off > SHADOW_RATIO + 2 * s.ratio_sd or (wrong is not None and off > 4 * s.ratio_sd):
        return named_ratio(s.ratio, s.ratio_sd, reference)
    tests = (
        too_small(reference.rectangle.width_mm / s.mm_per_px),
        too_oblique(s.tilt_deg - 3 - 2 * math.degrees(s.ratio_sd)),
        unclear() if math.isfinite(s.radius.radius_mm) and s.radius.sd_mm > MOST_RADIUS_SD_MM else wrong,
        bent(s.bow_mm, s.bow_sd_mm, s.lens_off),
    )
    return next((why for why in tests if why is not None), None)


def named_ratio(ratio: float, relative_sd: float, reference: Reference) -> Failure:
    """That the ratio of sides is wrong, and what it fits instead."""
    others = look_alikes(ratio, relative_sd)
    found = (
        Words("looks like {things}", things=alternatives([x.words for x in others]))
        if others
        else Words("has another shape")
    )
    sides = Words(
        "its sides are {ratio:.3f} to 1, those of {with_article} {ratio2:.3f} to 1",
        ratio=ratio,
        with_article=with_article(reference.words),
        ratio2=reference.ratio,
    )
    return _instead("look-alike" if others else "wrong-shape", joined(": ", (found, sides)), reference)


def _instead(code: str, what: str, reference: Reference) -> Failure:
    none = Words("There is no {words} in the photo, what comes nearest {what}", words=reference.words, what=what)
    return Failure(
        code,
        Words("{none}; lay {with_article} beside the part.", none=none, with_article=with_article(reference.words)),
    )


def wrong_radius(radius: Radius, reference: Reference) -> Failure | None:
    """Whether the corners are too round or not round enough, with all doubt."""
    low, high = reference.limits.corner_mm
    if not math.isfinite(radius.radius_mm):  # every corner at the photo's edge
        return cut_off()
    slack = min(ROUND_SLACK_MM + 2 * radius.sd_mm, MOST_ROUND_SLACK_MM)
    return None if low - slack < radius.radius_mm < high + slack else by_corners(radius, reference)


def by_corners(radius: Radius, reference: Reference) -> Failure:
    """That the corners are wrong."""
    low, high = reference.limits.corner_mm
    right = Words(
        "those of {with_article} are round, {low} to {high} mm",
        with_article=with_article(reference.words),
        low=low,
        high=high,
    )
    if radius.radius_mm < SQUARE_MM + radius.sd_mm:
        return _instead("square-corners", Words("has square corners: {right}", right=right), reference)
    return _instead(
        "corners",
        Words("has corners of {radius_mm:.1f} mm radius: {right}", radius_mm=radius.radius_mm, right=right),
        reference,
    )


def bent(bow_mm: Array, bow_sd_mm: Array, lens_off: float = 0.0) -> Failure | None:
    """Whether the sides are curved: one of them much, or all together with a lens that would have to be an odd one.

    Args:
        bow_mm, bow_sd_mm: (4,) each side's middle off the line through its ends, less what the lens does, and standard
            deviation.
        lens_off: how far that lens is from what is known of lenses, standard deviations.
    """
    known = bow_sd_mm < BOW_DOUBT_MM
    over = np.abs(bow_mm) - BOW_LIMIT_MM - 4 * bow_sd_mm
    together = lens_off**2 + float(((bow_mm / np.hypot(bow_sd_mm, BOW_LIMIT_MM / 2))[known] ** 2).sum())
    if not (known & (over > 0)).any() and (not known.any() or together < ODD):
        return None
    return Failure(
        "bent", Words("The card is bent: its sides are curved in the photo; flatten it, or take another card.")
    )


def too_oblique(tilt_deg: float) -> Failure | None:
    """Whether the photo was taken too much from the side."""
    if tilt_deg <= TILT_LIMIT_DEG:
        return None
    return Failure(
        "too-oblique",
        Words(
            "The photo was taken too much from the side (more than {tilt_limit_deg:.0f}°); hold "
            "the camera over the part, looking straight down.",
            tilt_limit_deg=TILT_LIMIT_DEG,
        ),
    )


def too_small(long_px: float) -> Failure | None:
    """Whether a card's long side spans too few pixels to give a scale."""
    if long_px >= SHORTEST_PX:
        return None
    return Failure(
        "too-small",
        Words(
            "The card has too few pixels ({long_px:.0f} along its long side): go nearer, and send "
            "the photo at full size.",
            long_px=long_px,
        ),
    )


def cut_off() -> Failure:
    """That the card is not whole in the photo."""
    return Failure(
        "cut-off", Words("The card is cut off by the photo's edge; take the photo again with the whole card in it.")
    )


def two_cards() -> Failure:
    """That nobody knows which card to believe."""
    return Failure("two-cards", Words("There are two cards in the photo; leave only one beside the part."))


def raised() -> Failure:
    """That the card is nearer to the camera than the table, so that it gives the part a wrong scale."""
    return Failure(
        "card-raised",
        Words(
            "The card does not lie on the table, its shadow falls too far off: lay a bank-size "
            "card flat beside the part, with nothing under it alone and nothing within a finger's "
            "width."
        ),
    )


def drawn() -> Failure:
    """That a line was taken for a card."""
    return Failure(
        "card-drawn",
        Words("There is only the outline of a card, drawn or printed; lay a bank-size card beside the part."),
    )


def unclear() -> Failure:
    """That the card was found, but not its sides."""
    return Failure(
        "unclear", Words("The card's sides can't be made out; give it more light, or a ground of another colour.")
    )


def no_card(reference: Reference) -> Failure:
    """That nothing like a card is there."""
    text = Words(
        "There is no {words} in the photo; lay one flat beside the part, whole in the picture.", words=reference.words
    )
    return Failure("no-card", text)


def _part_of_card(s: Sighting, reference: Reference) -> Failure | None:
    """That a card is cut off by the photo's edge, if what is in the photo has a card's corners and sides."""
    low, high = reference.limits.corner_mm
    seen = s.radius.each_mm[np.isfinite(s.radius.each_mm)]
    fits = (seen > low - CUT_CORNER_MM) & (seen < high + CUT_CORNER_MM)
    return cut_off() if fits.sum() >= 2 and np.sort(s.support)[1] > CUT_SIDE else None
