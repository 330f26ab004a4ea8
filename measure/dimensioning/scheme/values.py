"""A dimensioning as a value: what to state, and what to draw without words."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Literal

from measure.dimensioning.gauging import Stated
from measure.geometry.features import Feature, Point
from measure.geometry.offsetting import scaled
from measure.geometry.symmetry import Axis, Turning

Form = Literal["linear", "slot", "diameter", "radius", "pitch", "tips", "roots", "angle"]
CIRCLES: Mapping[Form, int] = {"tips": 1, "roots": -1}
"""Forms that speak of a circle round all teeth, not of one feature; farthest out and farthest in."""


@dataclass(frozen=True, slots=True)
class End:
    """One end of a linear dimension.

    Attributes:
        points: places (mm) where its extension line may start.
        clear_mm: how far from there the line begins: past the centre mark, or a small gap from an edge.
        corner: for a theoretical corner, the labels of the two edges that meet there.
    """

    points: tuple[Point, ...]
    clear_mm: float
    corner: tuple[str, str] | None = None


@dataclass(frozen=True, slots=True)
class PlannedDimension:
    """A dimension that the drawing is to carry.

    Attributes:
        form: how it is drawn; a slot is a width that is noted on a leader.
        stated: the size with its uncertainty.
        count: of how many equal features it speaks, or how many teeth have this tip or root circle.
        members: features that a leader may point at.
        direction_rad: linear only, the direction in which it is measured.
        ends: linear only.
        auxiliary: it follows from others and stands in brackets for convenience.
        scale: millimetres on paper to one of the part's; the places are on paper, the size is the part's.
    """

    form: Form
    stated: Stated
    count: int = 1
    members: tuple[str, ...] = ()
    direction_rad: float = 0.0
    ends: tuple[End, End] | None = None
    auxiliary: bool = False
    scale: float = 1.0

    @property
    def paper_mm(self) -> float:
        """A length as long as it is on paper."""
        return self.stated.value * self.scale


@dataclass(frozen=True, slots=True)
class Plan:
    """A dimensioning.

    Attributes:
        turn_rad: turn from the features' own frame to the drawing's.
        features: the features, turned.
        wanted: the dimensions.
        datums: labels of the upright and the level datum edge, or of the round that serves for want of one.
        axes: mirror axes that are level or upright.
        turning: how the outer boundary repeats, if it does.
        shared: centres in one line that share a dimension: whether the line is upright, and their labels.
        pitches: centre and labels of rounds on a pitch circle.
        loose: labels of features whose place or size no dimension states.
    """

    turn_rad: float
    features: tuple[Feature, ...]
    wanted: tuple[PlannedDimension, ...]
    datums: tuple[str | None, str | None]
    axes: tuple[Axis, ...]
    turning: Turning | None
    shared: tuple[tuple[bool, tuple[str, ...]], ...]
    pitches: tuple[tuple[Point, tuple[str, ...]], ...]
    loose: tuple[str, ...]

    def at_scale(self, scale: float) -> Plan:
        """The same as it is drawn at a scale, about the origin: places on paper, the part's own sizes."""
        if scale == 1.0:
            return self

        def at(p: Point) -> Point:
            return p[0] * scale, p[1] * scale

        def end(e: End) -> End:
            return replace(e, points=tuple(at(p) for p in e.points))

        return replace(
            self,
            features=scaled(self.features, scale),
            wanted=tuple(
                replace(w, scale=scale, ends=w.ends and (end(w.ends[0]), end(w.ends[1]))) for w in self.wanted
            ),
            axes=tuple(replace(a, through_mm=at(a.through_mm)) for a in self.axes),
            turning=self.turning and replace(self.turning, centre_mm=at(self.turning.centre_mm)),
            pitches=tuple((at(middle), labels) for middle, labels in self.pitches),
        )

    @property
    def toothed(self) -> bool:
        """Whether teeth are told as such."""
        return any(w.form in CIRCLES for w in self.wanted)

    @property
    def named(self) -> tuple[Feature, ...]:
        """Features that are labelled on the drawing: of teeth, those of one."""
        return tuple(f for f in self.features if not (self.toothed and f.loop == 0 and f.label not in self.loose))
