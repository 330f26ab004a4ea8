"""The reference in a photo, whichever it is: who looks for what.

A reference is added here: a function from photo and prior to `Found` or `Failure`, under its name in SEEKERS.
"""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from functools import partial

import numpy as np
from numpy.typing import NDArray

from calib.arrays import Array
from calib.card.card import Card, find_card
from calib.card.others import other_cards
from calib.finding.together import as_measured, joined
from calib.messages import Remedy
from calib.paper.formats import FORMATS, own
from calib.paper.sheets import FoundSheet, find_sheet, judge_sheet, no_sheet
from calib.rectangle.quads import around, ordered
from calib.rectangle.refusals import Failure
from calib.reference.found import Found
from calib.reference.reference import Reference
from calib.reference.wanted import ANY, UNMEASURED, Wanted
from calib.target.target import find_target, no_target
from calib.view.view import Prior
from calib.words import Words
from calib.written import with_article

Photo = NDArray[np.uint8]

LONE = {"no-card", "look-alike", "wrong-shape", "square-corners", "cut-off", "unclear"}
"""Reasons for which there is no card, so that a sheet may be all that there is."""


def find_reference(rgb: Photo, prior: Prior, wanted: Wanted = ANY, corners_px: Array | None = None) -> Found | Failure:
    """The reference in a photo, with its view; or why there is none that can be trusted.

    Args:
        rgb: (h, w, 3) 8-bit sRGB.
        prior: of the camera.
        wanted: which one; whichever is there by default.
        corners_px: (4, 2) about where its corners are, marked by hand in any order. They say where to look; what is
            measured, and whether it is the reference, is found as always.
    """
    found = _found(rgb, prior, wanted, corners_px)
    if isinstance(found, Failure) or "id-1" in found.name.split("+"):
        return found
    return replace(found, faces_px=(*found.faces_px, *other_cards(rgb, found.view, prior)))


def _found(rgb: Photo, prior: Prior, wanted: Wanted, corners_px: Array | None) -> Found | Failure:
    """The same; where no card gives the scale, cards are not looked for."""
    if corners_px is not None:
        return _marked(rgb, prior, wanted, corners_px)
    if wanted.size_mm is not None:
        return _sheet(rgb, prior, own(wanted))
    if wanted.name == "sheet" or wanted.bars != UNMEASURED:
        return find_target(rgb, prior, wanted.bars) or no_target()
    if wanted.name is not None:
        return SEEKERS[wanted.name](rgb, prior)
    with ThreadPoolExecutor(1) as beside:  # the search for markers is not the interpreter's work
        target = beside.submit(find_target, rgb, prior, wanted.bars)
        other = SEEKERS[None](rgb, prior)
        return target.result() or other  # the printed sheet is like nothing else


def _marked(rgb: Photo, prior: Prior, wanted: Wanted, corners_px: Array) -> Found | Failure:
    """The reference where a person has marked its corners."""
    import cv2

    corners = around(corners_px)
    if not cv2.isContourConvex(corners.astype(np.float32)[:, None]):
        return Failure(
            "corners", Words("The four corners that were marked are no card's: mark each of its corners once.")
        )
    if wanted.name == "sheet" or wanted.bars != UNMEASURED:
        return Failure(
            "corners",
            Words(
                "The printed reference sheet is found by its own marks: lay it so that all of them are "
                "in the photo, and mark no corners."
            ),
        )
    if wanted.size_mm is None and wanted.name not in FORMATS:
        return _card(rgb, prior, corners) if wanted.name else _whichever(rgb, prior, corners)
    reference = own(wanted) if wanted.name not in FORMATS else FORMATS[wanted.name]
    sheet = judge_sheet(rgb, ordered(corners), reference, prior)
    return sheet if isinstance(sheet, Failure) else of_sheet(sheet)


def _whichever(rgb: Photo, prior: Prior, corners_px: Array | None = None) -> Found | Failure:
    """The card; and if it lies on a sheet of a known format, that too.

    A sheet alone is not taken without a person's word, as a photo can't tell A4 from A5.
    """
    card = find_card(rgb, prior, corners_px=corners_px)
    if isinstance(card, Failure):
        return _lone_sheet(rgb, prior) or card if card.code in LONE and corners_px is None else card
    if card.underlay_px is not None:
        reference = as_measured(card, card.underlay_px)
        sheet = judge_sheet(rgb, card.underlay_px, reference, prior) if reference else None
        if isinstance(sheet, FoundSheet):
            both = joined(card, of_card(card), sheet, of_sheet(sheet), prior)
            if not isinstance(both, Failure):
                return both
    return of_card(card)


def _lone_sheet(rgb: Photo, prior: Prior) -> Failure | None:
    """What to say of a sheet of a known format when there is no card; None if there is no such sheet."""
    for reference in FORMATS.values():
        if isinstance(find_sheet(rgb, prior, reference), FoundSheet):
            return Failure(
                "lone-sheet",
                Words(
                    "There is no card in the photo, only what may be {with_article}, but other formats "
                    "have its shape too",
                    with_article=with_article(reference.words),
                ),
                (Remedy("name-reference", reference.name), Words("lay a card beside the part")),
            )
    return None


def _card(rgb: Photo, prior: Prior, corners_px: Array | None = None) -> Found | Failure:
    card = find_card(rgb, prior, corners_px=corners_px)
    return card if isinstance(card, Failure) else of_card(card)


def _sheet(rgb: Photo, prior: Prior, reference: Reference) -> Found | Failure:
    """A sheet of a format that a person vouches for, checked by a card if there is one."""
    sheet = find_sheet(rgb, prior, reference)
    if isinstance(sheet, Failure) and sheet.code != "too-oblique":
        return sheet
    card = find_card(rgb, prior)
    if isinstance(sheet, Failure):  # a card seen from above is a sheet of another shape from the side
        return sheet if isinstance(card, Failure) else no_sheet(reference)
    if isinstance(card, Failure):
        return of_sheet(sheet)
    return joined(card, of_card(card), sheet, of_sheet(sheet), prior)


SEEKERS: dict[str | None, Callable[[Photo, Prior], Found | Failure]] = {
    None: _whichever,
    "id-1": _card,
    **{name: partial(_sheet, reference=reference) for name, reference in FORMATS.items()},
}
"""Who looks for which reference, by name; None for whichever is there."""


def of_card(card: Card) -> Found:
    """What a card gives to the measuring."""
    outline = _outline_px(card)
    return Found(
        name=card.reference.name,
        words=Words("card"),
        view=card.solution.view,
        outlines_px=(outline,),
        taken_px=(card.corners_px,),
        field_px=None,
        faces_px=(outline, *card.others_px),
        cautions=card.cautions,
        underlay_px=card.underlay_px,
        optics=card.optics,
    )


def of_sheet(sheet: FoundSheet) -> Found:
    """What a sheet gives to the measuring: the part may lie on it, or beside it."""
    return Found(
        name=sheet.reference.name,
        words=sheet.reference.words,
        view=sheet.joint.view,
        outlines_px=(sheet.corners_px,),
        taken_px=(),
        field_px=sheet.corners_px,
        faces_px=(),
        cautions=sheet.cautions,
        beside_px=sheet.corners_px,
    )


def _outline_px(card: Card) -> Array:
    """(n, 2) closed outline of the card's upper face, its corners rounded as the standard has them."""
    r = card.solution.rectangle
    w, h, c = r.width_mm / 2 - r.corner_mm, r.height_mm / 2 - r.corner_mm, r.corner_mm
    turn = np.linspace(0, np.pi / 2, 10)
    corner = c * np.stack([np.cos(turn), np.sin(turn)], 1)
    quarter = np.array([[0.0, 1.0], [-1.0, 0.0]])
    out = []
    for k, centre in enumerate(([w, h], [-w, h], [-w, -h], [w, -h])):
        out.append(corner @ np.linalg.matrix_power(quarter, k) + centre)
    return card.solution.view.pixels(np.concatenate(out), r.thickness_mm)
