"""What is asked of a trace, as one value from the command line or the page down to the search for edges."""

from __future__ import annotations

from dataclasses import dataclass, replace

from calib.reference.wanted import ANY, Wanted
from measure.rim import RimWord
from measure.silhouette.strokes import NO_STROKES, Stroke, Strokes
from measure.subject import Subject


@dataclass(frozen=True, slots=True)
class Request:
    """What is known of a part, and how its photo is to be looked at.

    Attributes:
        thickness_mm: height of the part's upper edge over the reference's plane; 0 or None where nobody has measured
            it.
        subject: part or opening.
        reference: the reference to look for; whichever is there by default.
        in_two: whether the part is broken in two pieces that lie side by side and are to be joined.
        strokes: what a person has marked in the photo as part and as something else.
        corners_px: (4, 2) about where the reference's corners are, if a person has marked them.
        rim: whether the part's upper edge is rounded, as a person says.
    """

    thickness_mm: float | None = None
    subject: Subject = "part"
    reference: Wanted = ANY
    in_two: bool = False
    strokes: Strokes = NO_STROKES
    corners_px: Stroke | None = None
    rim: RimWord = "unknown"

    @property
    def height_mm(self) -> float:
        """The thickness, 0 where it is not known."""
        return self.thickness_mm or 0.0

    def unmarked(self) -> Request:
        """The same of another photo, in which nothing has been marked."""
        return replace(self, strokes=NO_STROKES, corners_px=None)
