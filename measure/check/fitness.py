"""What a photo is like for measuring: figures of its light, sharpness, view and part, before anything is traced.

Nothing is judged here; `measure.check.rules` does that. A photo without a card or a part has figures too, as far as
they can be had, since a blurred or dark photo is often the reason why neither is found.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from calib.arrays import Array
from calib.card.face import flat_face, shows_number
from calib.finding.finding import find_reference
from calib.light.exposure import Exposure, exposure, glare
from calib.light.sharpness import blur_px, edges_of_photo
from calib.messages import Message
from calib.rectangle.refusals import Failure
from calib.reference.found import Found
from calib.reference.wanted import ANY, Wanted
from measure.check.part import PartFigures, box_of, part_figures
from measure.edges.blur import confirmed, edges_of
from measure.silhouette.silhouette import NoSilhouette
from measure.tracing import parts
from measure.tracing.request import Request
from measure.tracing.whereabouts import find_part

if TYPE_CHECKING:
    from calib.photo.photo import Photo


TYPICAL_THICKNESS_MM = 4.0
"""Stands for a thickness that nobody has measured yet: that of an ordinary flat part (chosen)."""


@dataclass(frozen=True, slots=True)
class CardFigures:
    """A reference that was found.

    Attributes:
        tilt_deg, camera_height_mm, mm_per_px: of the view.
        glare: share of the face that mirrors a lamp.
        shows_number: whether there is a row of digits on the face.
        cautions: codes of what the search remarked.
    """

    tilt_deg: float
    camera_height_mm: float
    mm_per_px: float
    glare: float
    shows_number: bool
    cautions: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Fitness:
    """Figures of a photo.

    Attributes:
        failure: why there is no reference or no part; None when both were found.
        exposure: of the whole photo.
        blur_px: of the edges of reference and part, or of the whole photo where there is no reference; nan where no
            edges are seen.
        off_axis: how far reference and part reach from the photo's middle, as a share of its half diagonal; nan where
            there are none.
        thickness_mm: as given, or None.
        card, part: their figures, or None where they were not found.
    """

    failure: Message | None
    exposure: Exposure
    blur_px: float
    off_axis: float = math.nan
    thickness_mm: float | None = None
    card: CardFigures | None = None
    part: PartFigures | None = None


NOTHING_KNOWN = Request()
"""A part of which nobody has told anything."""


def reference_in(photo: Photo, wanted: Wanted = ANY) -> Found | Failure:
    """The reference in a photo whose camera nobody knows more of than EXIF says."""
    return find_reference(photo.rgb, parts.prior_of(photo, None), wanted)


def fitness(photo: Photo, request: Request = NOTHING_KNOWN, found: Found | Failure | None = None) -> Fitness:
    """Look at a photo as far as the part's silhouette.

    Args:
        photo: upright.
        request: what is known of the part.
        found: what `reference_in` says of it, if that has been asked already.
    """
    subject, thickness_mm = request.subject, request.thickness_mm
    found = found or reference_in(photo, request.reference)
    rgb = photo.rgb
    light = exposure(rgb)
    if isinstance(found, Failure):
        return Fitness(found, light, blur_px(edges_of_photo(rgb)), thickness_mm=thickness_mm)
    height = 0.0 if subject == "opening" else TYPICAL_THICKNESS_MM if thickness_mm is None else thickness_mm
    card = _card_figures(rgb, found)
    edges = [edges_of(rgb, ring) for ring in found.outlines_px]
    rough = find_part(rgb, found, subject, height)
    if isinstance(rough, NoSilhouette):
        off = _off_axis(rgb, found.outlines_px)
        why = rough.message
        return Fitness(why, light, confirmed(rgb, blur_px(*edges)), off, thickness_mm, card)
    part, own_edges = part_figures(rgb, found.view, list(rough.contours_px), height)
    off = _off_axis(rgb, (*found.outlines_px, rough.contours_px[0]))
    blur = confirmed(rgb, _worst(blur_px(*edges), blur_px(own_edges)))
    return Fitness(None, light, blur, off, thickness_mm, card, part)


def _worst(*blurs: float) -> float:
    """The largest of some figures, those that are none left out."""
    return max((b for b in blurs if math.isfinite(b)), default=math.nan)


def _card_figures(rgb: NDArray[np.uint8], found: Found) -> CardFigures:
    view = found.view
    by_card = "id-1" in found.name.split("+")  # another card in the picture measures nothing
    faces = [flat_face(rgb, view, face) for face in found.faces_px]
    return CardFigures(
        tilt_deg=view.tilt_deg,
        camera_height_mm=float(view.centre_mm[2]),
        mm_per_px=view.mm_per_px(np.zeros(2)),
        glare=max((glare(*box_of(rgb, face)) for face in found.faces_px if by_card), default=0.0),
        shows_number=any(shows_number(face) for face in faces),
        cautions=tuple(c.code for c in found.cautions),
    )


def _off_axis(rgb: NDArray[np.uint8], rings_px: tuple[Array, ...]) -> float:
    """How far outlines reach from the photo's middle, as a share of its half diagonal."""
    h, w = rgb.shape[:2]
    points = np.concatenate(rings_px) - (np.array([w, h]) - 1) / 2
    return float(np.hypot(*points.T).max() / (math.hypot(w, h) / 2))
