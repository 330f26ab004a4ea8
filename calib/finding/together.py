"""A card and a sheet in one photo: one view from both, after each has been held against the other."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from calib.arrays import Array
from calib.card.card import Card
from calib.paper.formats import ALLOWED_MM, FORMATS
from calib.paper.sheets import FoundSheet
from calib.rectangle.refusals import Failure
from calib.rectangle.underlay import holds
from calib.reference.found import Caution, Found
from calib.reference.reference import Reference
from calib.view.joint import LyingRectangle, solve_jointly
from calib.view.view import Prior, View
from calib.words import Words

PAPER_MM = 0.1
"""Thickness of a sheet of office paper, 80 g/m² (common practice)."""
LOOSE_SHARE = 0.1
"""Standard deviation of a sheet's sides for measuring it by the card alone, as a share of its sides."""
DOUBTFUL, GROSS = 13.82, 3.5
"""Chi-square of two degrees of freedom at 0.001, from which two references are said to disagree; and how many standard
deviations beyond what its standard allows a sheet must measure to be refused."""
NEAR = 0.05
"""How near the rough size of what a card lies on must come to a format's to be looked into, relative."""


def as_measured(card: Card, corners_px: Array) -> Reference | None:
    """The format of paper that something under a card has by the card's scale, roughly; None if it has none."""
    long, short = sorted(_rough_size(card.solution.view, corners_px), reverse=True)
    for reference in FORMATS.values():
        r = reference.rectangle
        if max(abs(math.log(long / r.width_mm)), abs(math.log(short / r.height_mm))) < NEAR:
            return reference
    return None


def joined(card: Card, by_card: Found, sheet: FoundSheet, by_sheet: Found, prior: Prior) -> Found | Failure:
    """One view from card and sheet.

    The sheet is first measured in the card's view: a size that no sheet of its format may have is refused, one that is
    odd for such a sheet is told.

    Args:
        card, sheet: as found.
        by_card, by_sheet: what each alone gives to the measuring.
        prior: of the camera.
    """
    size = card.solution.view.size_px
    on_sheet = holds(sheet.corners_px, card.corners_px)
    # the sheet's upper face is the plane; a card beside it stands on the table, lower by the sheet's thickness
    own = LyingRectangle(card.edges, card.reference.rectangle, base_mm=0.0 if on_sheet else -PAPER_MM)
    other = replace(sheet.body, place=_place(card.solution.view, sheet))
    r = other.rectangle
    width, height = _rough_size(card.solution.view, sheet.corners_px)
    loose = {"width_sd_mm": LOOSE_SHARE * width, "height_sd_mm": LOOSE_SHARE * height}
    unknown = replace(r, width_mm=width, height_mm=height, **loose)
    start = card.solution.view.parameters
    try:
        free = solve_jointly([own, replace(other, rectangle=unknown)], prior, start, size)
    except np.linalg.LinAlgError:
        return _disagree(sheet.reference, None)
    measured = free.bodies[1].rectangle
    off = np.array([measured.width_mm - r.width_mm, measured.height_mm - r.height_mm])
    own_doubt = free.bodies[1].size_covariance
    beyond = np.abs(off) - max(ALLOWED_MM if not r.thickness_mm else 0.0, 3 * r.width_sd_mm)
    if (beyond > GROSS * np.sqrt(np.diag(own_doubt))).any():
        return _disagree(sheet.reference, (measured.width_mm, measured.height_mm))
    doubt = own_doubt + np.diag([r.width_sd_mm**2, r.height_sd_mm**2])
    cautions = (*by_card.cautions, *by_sheet.cautions)
    if off @ np.linalg.solve(doubt, off) > DOUBTFUL:
        text = Words(
            "By the card the {words} measures {width_mm:.1f} × {height_mm:.1f} mm instead of "
            "{width_mm2:g} × {height_mm2:g}, so the scale was taken from the card alone.",
            words=sheet.reference.words,
            width_mm=measured.width_mm,
            height_mm=measured.height_mm,
            width_mm2=r.width_mm,
            height_mm2=r.height_mm,
        )
        cautions = (*cautions, Caution("references-disagree", text))
        view = free.view
    else:
        try:
            view = solve_jointly([own, other], prior, free.view.parameters, size).view
        except np.linalg.LinAlgError:
            return _disagree(sheet.reference, None)
    return replace(
        by_sheet,
        name=f"{by_card.name}+{by_sheet.name}",
        words=f"{by_card.words} and {by_sheet.words}",
        view=view,
        outlines_px=(*by_card.outlines_px, *by_sheet.outlines_px),
        taken_px=by_card.taken_px,
        faces_px=by_card.faces_px,
        cautions=cautions,
        underlay_px=by_card.underlay_px,
    )


def _rough_size(view: View, corners_px: Array) -> tuple[float, float]:
    """Length of a quadrilateral's first and second pair of sides in a view's plane."""
    X = view.plane(corners_px)
    sides = np.hypot(*(np.roll(X, -1, 0) - X).T)
    return float(sides[::2].mean()), float(sides[1::2].mean())


def _place(view: View, sheet: FoundSheet) -> tuple[float, float, float]:
    """Where a sheet lies in the card's plane."""
    X = view.plane(sheet.corners_px)
    along = X[1] - X[0] + X[2] - X[3]
    return float(X[:, 0].mean()), float(X[:, 1].mean()), math.atan2(along[1], along[0])


def _disagree(reference: Reference, measured_mm: tuple[float, float] | None) -> Failure:
    r = reference.rectangle
    found = (
        Words(
            "it measures {measured_mm:.0f} × {measured_mm2:.0f} mm",
            measured_mm=measured_mm[0],
            measured_mm2=measured_mm[1],
        )
        if measured_mm
        else Words("they don't fit one view")
    )
    return Failure(
        "references-disagree",
        Words(
            "The {words} ({width_mm:g} × {height_mm:g} mm) and the card contradict each other: by "
            "the card {found}; lay both flat on the same surface, or leave only one of them.",
            words=reference.words,
            width_mm=r.width_mm,
            height_mm=r.height_mm,
            found=found,
        ),
    )
