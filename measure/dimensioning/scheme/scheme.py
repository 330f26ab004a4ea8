"""The dimensioning while it is being chosen: what the drawing shows without words, and what is still free."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

import numpy as np
import shapely

from measure.dimensioning.gauging import (
    SIZES,
    Gauge,
    Shape,
    Stated,
    acute_deg,
    as_good_as_unknown,
    crossing,
    hardly_known,
    line_through,
    shape_of,
    shapes_of,
)
from measure.dimensioning.scheme import ideal
from measure.dimensioning.scheme import relations as rel
from measure.dimensioning.scheme.freedom import Freedom
from measure.dimensioning.scheme.groups import MORE_THAN_HALF, in_line, located, openings
from measure.dimensioning.scheme.values import End, PlannedDimension
from measure.geometry.features import COARSE_MM, Feature, Line, Point, Round, as_round, flatten, length, sweep_rad
from measure.geometry.symmetry import mirror_axes, turning

LEAST_TEETH, MOST_OF_HULL = 8, 0.985
"""Fewer repetitions are lobes; what fills more of its convex hull has corners, but no teeth."""

FIT = 2.5, 0.1, 0.4
"""A mirrored piece lies within so many tolerances of its partner, but between these limits, mm (chosen)."""
SQUARE_DEG = 0.6, 3.0
"""An edge is upright or level within its uncertainty, but between these limits."""
AT_RIM_MM, RIM_WORTH, FIRST_WORTH_MM = 0.3, 0.35, 0.01
"""A row so near to the part's rim is at it; that is worth so much of the part's length when a datum is chosen, and the
lower or left rim this little more (chosen)."""
VERTEX_NEAR_MM = 30.0
"""An angle is drawn if its vertex lies so near to the part, on paper: about where the third row of dimensions runs. Of
edges that are nearly parallel it lies metres away (chosen)."""
CONCENTRIC_MM, CLEAR_MM = 0.06, 3.5
"""Rounds with centres nearer than this are concentric; extension lines start so far from a centre or a circle, on paper
(ISO 129-1 leaves it open; chosen)."""


def mirror_fit(tolerance_mm: float) -> float:
    """How far a mirrored piece may lie from its partner: both are uncertain, and their ends more so."""
    return min(max(FIT[0] * tolerance_mm, FIT[1]), FIT[2])


def off_deg(angle: float, other: float) -> float:
    """Degrees between two undirected lines at angles in radians."""
    return acute_deg(angle - other)


@dataclass
class Scheme:
    """The state of choosing. "Up" means: measured level, between upright edges or centres side by side.

    Attributes:
        features: all loops, in the drawing's frame.
        gauge: says how large a size is and how sure.
        tolerance: how well places are known on the whole, mm.
        wanted: what has been taken so far.
    """

    features: tuple[Feature, ...]
    gauge: Gauge
    tolerance: float
    wanted: list[PlannedDimension] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.of = {f.label: f for f in self.features}
        self.unseen = {f.label for f in self.features if f.origin == "completed"}
        self.shapes = shapes_of(self.features)
        self.openings = openings(self.features)
        self.slots = [o for o in self.openings if o.form == "slot"]
        self.rounds = located(self.features, self.slots)
        self.box = np.array([p for f in self.features for p in flatten(f, COARSE_MM)])
        self.low, self.high = self.box.min(0), self.box.max(0)
        fit = mirror_fit(self.tolerance)
        self.axes = [
            a
            for a in mirror_axes(self.features, fit)
            if min(off_deg(a.angle_rad, 0), off_deg(a.angle_rad, math.pi / 2)) < 1
        ]
        repeats = turning(self.features, fit)
        self.turning = repeats if repeats is not None and repeats.order != 4 else None  # a square is drawn by its sides
        self.teeth = self._teeth()
        self.toothed = bool(self.teeth) and self.turning is not None and self._has_hollows(self.turning.order)
        self.lines = {True: self._lines(math.pi / 2), False: self._lines(0.0)}
        self.rows = {up: self._in_line(self.lines[up], up) for up in (True, False)}
        self.datum = {up: self._datum(up) for up in (True, False)}
        self.free = self._freedom()
        self.overall: set[tuple[str, ...]] = set()
        self.shared: list[tuple[bool, tuple[str, ...]]] = []
        self.pitches: list[tuple[Point, tuple[str, ...]]] = []
        self.main = max(self.rounds, key=lambda f: (abs(sweep_rad(f)) > MORE_THAN_HALF, f.radius), default=None)

    def _lines(self, angle: float) -> list[Line]:
        """Edges that are upright or level, within what the photo can tell."""
        ref = max((f for f in self.features if f.kind == "line"), key=length, default=None)
        out = []
        for f in self.features:
            if f.kind != "line" or f.label in self.teeth:
                continue
            u = self.gauge("angle", (ref.label, f.label)).u95 if ref is not None and ref is not f else 0.0
            if off_deg(shape_of(f).s, angle) < min(max(SQUARE_DEG[0], u or 0.0), SQUARE_DEG[1]):
                out.append(f)
        return out

    def _teeth(self) -> set[str]:
        """Pieces of an outline that repeats and has straight flanks: one tooth of it is given by a table."""
        if self.turning is None:
            return set()
        pieces = [f for f, j in zip(self.features, self.turning.partner, strict=True) if j >= 0]
        return {f.label for f in pieces} if any(f.kind == "line" for f in pieces) else set()

    def _has_hollows(self, order: int) -> bool:
        """Whether an outline that repeats has teeth, and not the corners of a nut."""
        outer = [flatten(f, COARSE_MM) for f in self.features if f.loop == 0]
        ring = shapely.Polygon(np.concatenate([p[:-1] for p in outer]))
        return order >= LEAST_TEETH and ring.area < MOST_OF_HULL * ring.convex_hull.area

    def across(self, f: Feature, up: bool) -> float:
        """x of an upright edge or a centre, y of a level one."""
        s = self.shapes[f.label]
        return s.x if up else s.y

    def _in_line(self, lines: Sequence[Line], up: bool) -> list[list[Line]]:
        return in_line([(self.across(f, up), f) for f in lines], self.tolerance)

    def _datum(self, up: bool) -> list[Line]:
        """The edges of the longest straight run of the outer boundary; at the rim where there is a choice."""
        span = float((self.high - self.low)[1 if up else 0])
        k = 0 if up else 1
        best, chosen = 0.0, []
        for row in self.rows[up]:
            outer = [f for f in row if f.loop == 0]
            at = self.across(row[0], up)
            rim = at - self.low[k] < AT_RIM_MM, self.high[k] - at < AT_RIM_MM
            worth = (
                max((length(f) for f in outer), default=0.0)
                + (RIM_WORTH * span if any(rim) else 0)
                + FIRST_WORTH_MM * rim[0]
            )
            if outer and worth > best + 1e-6:
                best, chosen = worth, outer
        return sorted(chosen, key=lambda f: -length(f))

    def _freedom(self) -> Freedom:
        shapes = ideal.squared(self.shapes, [f.label for up in (True, False) for f in self.lines[up]])
        if self.turning:
            shapes = ideal.repeated(shapes, self.turning, self.features)
        for i, axis in enumerate(self.axes):
            straight = ideal.straightened(axis)
            shapes = ideal.mirrored(shapes, straight, self.features)
            shapes[rel.axis_name(i)] = Shape(False, *straight.through_mm, straight.angle_rad)
        shapes[rel.FRAME] = Shape(False, 0.0, 0.0, 0.0)
        if self.turning:
            shapes[rel.CENTRE] = Shape(True, *self.turning.centre_mm, 1.0)
        free = Freedom(shapes, max(float(np.hypot(*(self.high - self.low))) / 2, 1.0))
        free.pin(rel.FRAME, 0)
        if self.turning:
            free.pin(rel.CENTRE, 2)
        rel.join(free, self.features)
        for up in (True, False):
            for f in self.lines[up]:
                rel.parallel(free, rel.FRAME, f.label)
            for row in self.rows[up]:
                for first, other in rel.chain(f.label for f in row):
                    rel.in_one_line(free, first, other)
        for i, axis in enumerate(self.axes):
            rel.parallel(free, rel.FRAME, rel.axis_name(i))
            rel.mirrored(free, rel.axis_name(i), axis, self.features)
        if self.turning:
            rel.repeated(free, self.turning, self.features)
        for n, a in enumerate(self.rounds):
            for b in self.rounds[:n]:
                if math.dist(a.centre, b.centre) < max(2 * self.tolerance, CONCENTRIC_MM):
                    rel.concentric(free, b.label, a.label)
        return free

    def take(self, kind: str, labels: Sequence[str], make: Callable[[Stated], PlannedDimension], over: int = 0) -> bool:
        """Take a size if it says something new; over is how many of the labels span it when all are equal."""
        if self._may_be_lost(kind, labels) and as_good_as_unknown(self.gauge(kind, labels)):
            return False
        names = labels[:over] if over else labels
        if not self.free.left or not self.free.dimension(SIZES[kind], names):
            return False
        self.wanted.append(make(self.gauge(kind, labels)))
        return True

    def _may_be_lost(self, kind: str, labels: Sequence[str]) -> bool:
        """Whether a size may be hardly known: at a crossing of edges, and beside what was not seen."""
        return kind in ("corner", "corners") or bool(self.unseen & set(labels))

    def end(self, f: Feature, up: bool | None = None) -> End:
        """Where an extension line may start for a feature."""
        if f.kind != "line":
            f = as_round(f)
            return End((f.centre,), f.radius + CLEAR_MM if f.kind == "circle" else CLEAR_MM)
        row: Sequence[Line] = [f] if up is None else next((r for r in self.rows[up] if f in r), [f])
        return End(tuple(p for g in row for p in (g.start, g.end)), 1.0)

    def linear(self, kind: str, a: Feature, b: Feature, up: bool | None, labels: Sequence[str] = ()) -> bool:
        """Take a distance between two features, measured level (up), upright (not up) or as it lies (None)."""

        def make(s: Stated) -> PlannedDimension:
            return PlannedDimension("linear", s, direction_rad=direction, ends=(self.end(a, up), self.end(b, up)))

        level_or_upright = 0.0 if up else math.pi / 2
        direction = self.direction(a, b) if up is None else level_or_upright
        return self.take(kind, labels or (a.label, b.label), make)

    def direction(self, a: Feature, b: Feature) -> float:
        """Direction (rad) in which the size between two features is measured."""
        p, q = self.shapes[a.label], self.shapes[b.label]
        if not p.is_round or not q.is_round:
            return (p if not p.is_round else q).s + math.pi / 2
        return math.atan2(q.y - p.y, q.x - p.x)

    def upright_or_none(self, a: Feature, b: Feature) -> bool | None:
        """Whether two features stand side by side (True), one above the other (False), or neither."""
        direction = self.direction(a, b)
        if off_deg(direction, 0) < 1:
            return True
        return False if off_deg(direction, math.pi / 2) < 1 else None

    def is_known(self, f: Round) -> bool:
        """Whether an arc's radius is known well enough to be stated."""
        return f.kind == "circle" or not hardly_known(self.gauge("radius", (f.label,)))

    def slot_ends(self) -> set[str]:
        """Labels of the round ends of slots."""
        return {e.label for s in self.slots for e in s.ends}

    def angle(self, kind: str, labels: tuple[str, ...]) -> bool:
        """Take an angle, if it can be drawn: its vertex lies near the part."""
        first, *others = (self.shapes[x] for x in labels)
        other = others[0] if len(others) == 1 else line_through(*others)
        if not self.is_near(crossing(first, other)):
            return False
        return self.take(kind, labels, lambda s: PlannedDimension("angle", s, 1, labels))

    def is_near(self, at: Point) -> bool:
        """Whether a place lies so near to the part that it has room on a sheet."""
        p = np.asarray(at)
        return bool((p > self.low - VERTEX_NEAR_MM).all() and (p < self.high + VERTEX_NEAR_MM).all())

    def upright(self, angle: float) -> bool:
        """Whether an axis stands upright."""
        return off_deg(angle, math.pi / 2) < 1

    def longest(self, up: bool) -> Feature | None:
        """The longest upright (up) or level edge."""
        return max(self.lines[up], key=length, default=None)

    def datum_label(self, up: bool) -> str | None:
        """Label of the upright (up) or level datum edge, else of the round that serves for it."""
        if self.datum[up]:
            return self.datum[up][0].label
        return self.main.label if self.main is not None else None
