"""The part on the sheet that gives the scale, or beside it; the card on something that the part does not lie on."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from calib.errors import ReferenceRefused
from calib.finding.finding import find_reference
from calib.reference.found import Found
from calib.reference.wanted import wanted
from calib.view.view import project
from measure.silhouette.silhouette import Silhouette
from measure.tracing.whereabouts import find_part, require_same_surface
from tests.drawn_sheets import BLUE, Thing, camera, photo, prior

RED, GREEN = (0.4, 0.05, 0.04), (0.05, 0.3, 0.08)
Q = camera(height=480.0)
SHEET = Thing(297.0, 210.0, at=(50.0, 0.0))
PART = Thing(50.0, 30.0, RED, turn=30.0)
CARD = Thing(85.60, 53.98, BLUE, top=0.76, radius=3.18, turn=10.0)


def found_part(found: Found, rgb: np.ndarray) -> np.ndarray:
    seen = find_part(rgb, found, "part", 0.0)
    assert isinstance(seen, Silhouette), seen
    return np.asarray(seen.contours_px[0])


def test_a_part_on_the_sheet_and_one_beside_it() -> None:
    for at, on in (((20.0, 10.0), True), ((-160.0, -60.0), False)):
        rgb = photo(Q, SHEET, replace(PART, at=at))
        found = find_reference(rgb, prior(), wanted("a4"))
        assert isinstance(found, Found), found
        outline = found_part(found, rgb)
        X = found.view.plane(outline)
        sheet = found.view.plane(found.outlines_px[0])
        inside = (np.abs(X - sheet.mean(0)) < np.ptp(sheet, axis=0) / 2).all()
        assert inside == on
        true = found.view.plane(project(Q, np.array([[*at, 0.0]])))[0]
        assert np.hypot(*((X.min(0) + X.max(0)) / 2 - true)) < 3.0


def test_a_card_on_something_else_than_the_part_is_told() -> None:
    """A green book of 150 × 110 mm (invented), 20 mm thick or thin as paper: the photo does not tell."""
    book = Thing(150.0, 110.0, GREEN, at=(30.0, 20.0))
    q = camera(height=330.0)
    card = replace(CARD, at=(30.0, 20.0))
    for at, refused in (((-90.0, -30.0), True), (None, False)):
        rgb = photo(q, book, card, replace(PART, at=at)) if at else photo(q, card, replace(PART, at=(-90.0, -30.0)))
        found = find_reference(rgb, prior())
        assert isinstance(found, Found), found
        part = find_part(rgb, found, "part", 0.0)
        assert isinstance(part, Silhouette)
        if refused:
            with pytest.raises(ReferenceRefused, match="same surface"):
                require_same_surface(found, part)
        else:
            require_same_surface(found, part)
