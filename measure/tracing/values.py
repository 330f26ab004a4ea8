"""What a photo tells of a part, as values: the scale, the trace, and how well two pieces of a broken part fit."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from calib.arrays import Array
from calib.reference.found import Caution, Found
from measure.edges.edge_loop import EdgeLoop
from measure.edges.rounded import Rim
from measure.geometry.features import Estimate, Feature
from measure.subject import Subject

if TYPE_CHECKING:
    from measure.tracing.sighted import Sighted


@dataclass(frozen=True, slots=True)
class Gap:
    """How well two pieces fit along their break.

    Attributes:
        length_mm: of the break where they touch.
        rms_mm, worst_mm: distance between its two faces, square to them: root of the mean square, and the largest.
    """

    length_mm: float
    rms_mm: float
    worst_mm: float

    def in_words(self) -> str:
        """One sentence."""
        return (
            f"Two pieces are joined along a break of {self.length_mm:.0f} mm: between them lie {self.rms_mm:.2f} mm on "
            f"average (RMS) and {self.worst_mm:.2f} mm at most."
        )


@dataclass(frozen=True, slots=True)
class Scale:
    """What the reference says of the photo.

    Attributes:
        reference: which one, such as ``id-1``.
        mm_per_px: size of a pixel on the reference's plane, at the part.
        u95_relative: relative half-width of the interval that holds the true scale 19 times in 20.
        camera_height_mm: height of the camera over the plane.
        tilt_deg: between the optical axis and the plane's normal.
        lens: ``none``, ``estimated``, or the name of the profile that was given.
    """

    reference: str
    mm_per_px: float
    u95_relative: float
    camera_height_mm: float
    tilt_deg: float
    lens: str


@dataclass(frozen=True, slots=True)
class Trace:
    """A traced photo.

    Attributes:
        estimate: the features with their covariance.
        scale: how they were scaled.
        subject: part or opening.
        thickness_mm: height of the upper edge over the reference's plane, as given.
        cautions: what a person should know.
        reference: what gave the scale, and where it lies in the photo.
        seen_px: for each feature in order, (n, 2) points along it as it is seen in the photo.
        sighted: how features of the estimate's frame lie in the photo.
        rim: what is known of the upper rim; None of a part whose thickness is not known.
        broken: the break between two pieces that were put together, in the frame of the features.
        gap: how well they fit, if so.
        also_px: of features that run over both pieces, position and (n, 2) points of what is seen on the other one.
        edges: the points that each loop was fitted to, in the frame of the features; none of several photos or pieces.
        break_px: (n, 2) points along each stretch of the break, as seen on either piece.
    """

    estimate: Estimate
    scale: Scale
    subject: Subject
    thickness_mm: float
    cautions: tuple[Caution, ...]
    reference: Found
    seen_px: tuple[Array, ...]
    sighted: Sighted
    rim: Rim | None = None
    broken: tuple[Feature, ...] = ()
    gap: Gap | None = None
    also_px: tuple[tuple[int, Array], ...] = ()
    break_px: tuple[Array, ...] = ()
    edges: tuple[EdgeLoop, ...] = ()
