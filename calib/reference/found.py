"""What any reference gives to the measuring: the view, and where in the photo the reference itself lies."""

from __future__ import annotations

from dataclasses import dataclass

from calib.arrays import Array
from calib.light.optics import USUAL, Optics
from calib.messages import Message
from calib.view.view import View


@dataclass(frozen=True, slots=True)
class Caution(Message):
    """What a person should know although the result holds."""


@dataclass(frozen=True, slots=True)
class Found:
    """A reference that was found in a photo and passed all tests.

    Attributes:
        name: as on the command line and in files, such as ``id-1``.
        words: as in a sentence, such as "card".
        view: the camera over the reference's plane.
        outlines_px: closed outlines (n, 2), as they are drawn into pictures.
        taken_px: areas (n, 2) that a reference lies on, so that no part can be there.
        field_px: (n, 2) the area that a part must lie in; None if it may lie anywhere.
        beside_px: (n, 2) what is taken if no part lies in the field, and the part is looked for beside it; None if it
            must lie in the field.
        underlay_px: (n, 2) outline of something that lies under the reference, if that shows: a part that does not lie
            on it too may lie lower.
        faces_px: outlines (n, 2) of faces that nobody else is to see; they are made unrecognisable in every picture.
        cautions: see `Caution`.
        optics: how the photo's edges were softened and sharpened.
    """

    name: str
    words: str
    view: View
    outlines_px: tuple[Array, ...]
    taken_px: tuple[Array, ...]
    field_px: Array | None
    faces_px: tuple[Array, ...]
    cautions: tuple[Caution, ...]
    beside_px: Array | None = None
    underlay_px: Array | None = None
    optics: Optics = USUAL
