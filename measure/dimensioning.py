"""Which dimensions a drawing of an outline carries: all that are needed, none that follows from the others.

Sizes are proposed in the order in which a draughtsperson thinks of them (bores, slots, overall sizes, widths across a
centre line, positions from the datum edges, fillets, angles) and each is taken only if it removes freedom that is left
(measure.freedom). What no proposal pins down is named, so that the drawing can list it in a table.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from typing import Literal

import numpy as np

from measure import relations as rel
from measure.features import Feature, Point, flatten, length, moved, sweep_rad
from measure.freedom import Freedom
from measure.gauging import SIZES, Gauge, Shape, Stated, acute_deg, crossing, shape_of, shapes_of
from measure.groups import (
    MORE_THAN_HALF,
    Opening,
    by_loop,
    equal_rounds,
    evenly_round,
    in_line,
    located,
    main_direction,
    openings,
)
from measure.symmetry import Axis, Turning, mirror_axes, turning

STRAIGHT_ENOUGH = math.radians(0.3)
"""A part that lies this straight already is drawn as it lies."""


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
class Wanted:
    """A dimension that the drawing is to carry.

    Attributes:
        form: how it is drawn; a slot is a width that is noted on a leader.
        stated: the size with its uncertainty.
        count: of how many equal features it speaks.
        members: features that a leader may point at; for an angle, what lies between its legs.
        direction_rad: linear only, the direction in which it is measured.
        ends: linear only.
        auxiliary: it follows from others and stands in brackets for convenience.
    """

    form: Literal["linear", "slot", "diameter", "radius", "pitch", "angle"]
    stated: Stated
    count: int = 1
    members: tuple[str, ...] = ()
    direction_rad: float = 0.0
    ends: tuple[End, End] | None = None
    auxiliary: bool = False


@dataclass(frozen=True, slots=True)
class Plan:
    """A dimensioning: what to state, and what to draw without words.

    Attributes:
        turn_rad: turn from the features' own frame to the drawing's.
        features: the features, turned.
        wanted: the dimensions.
        datums: labels of the upright and the level datum edge, or of the round that serves for want of one.
        axes: mirror axes that are level or upright.
        turning: how the outer boundary repeats, if it does.
        shared: centres in one line that share a dimension: whether the line is upright, and their labels.
        pitches: centre and labels of holes on a pitch circle.
        loose: labels of features whose place or size no dimension states.
    """

    turn_rad: float
    features: tuple[Feature, ...]
    wanted: tuple[Wanted, ...]
    datums: tuple[str | None, str | None]
    axes: tuple[Axis, ...]
    turning: Turning | None
    shared: tuple[tuple[bool, tuple[str, ...]], ...]
    pitches: tuple[tuple[Point, tuple[str, ...]], ...]
    loose: tuple[str, ...]


def datum_turn(features: Sequence[Feature], tolerance_mm: float = 0.1) -> float:
    """The smallest turn (rad) that brings the part's mirror axis, else its main edges, level or upright."""
    axes = mirror_axes(features, tolerance_mm)
    angles = [a.angle_rad for a in axes] or [main_direction(features, located(features, openings(features)))]
    quarter = math.pi / 2
    turns = [-((a + quarter / 2) % quarter - quarter / 2) for a in angles]
    turn = min(turns, key=abs)
    return 0.0 if abs(turn) < STRAIGHT_ENOUGH else turn


def plan_dimensions(features: Sequence[Feature], gauge: Gauge) -> Plan:
    """Choose the dimensions of a part.

    Args:
        features: all loops, in their own frame.
        gauge: says how large a size is and how sure.
    """
    tolerance = _typical_u95(features, gauge)
    turn = datum_turn(features, max(tolerance, 0.05))
    return _Scheme(tuple(moved(f, turn, (0.0, 0.0)) for f in features), gauge, tolerance, turn).plan()


def _typical_u95(features: Sequence[Feature], gauge: Gauge) -> float:
    """How well places are known on the whole, mm, within reason."""
    lines = sorted((f for f in features if f.kind == "line"), key=lambda f: -length(f))[:6]
    rounds = located(features, openings(features))[:6]
    pairs = [("distance", a, b) for a in lines for b in lines if a is not b and _near_parallel(a, b)]
    pairs += [("offset", c, e) for c in rounds for e in lines[:2]]
    pairs += [("centres", a, b) for a, b in zip(rounds, rounds[1:], strict=False)]
    u = [s.u95 for k, a, b in pairs if (s := gauge(k, (a.label, b.label))).u95 is not None]
    return min(max(float(np.median(u)) if u else 0.05, 0.03), 0.2)


def _near_parallel(a: Feature, b: Feature) -> bool:
    return acute_deg(shape_of(a).s - shape_of(b).s) < 3


@dataclass
class _Scheme:
    """The dimensioning while it is being chosen."""

    features: tuple[Feature, ...]
    gauge: Gauge
    tolerance: float
    turn: float
    wanted: list[Wanted] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.of = {f.label: f for f in self.features}
        self.shapes = shapes_of(self.features)
        self.openings = openings(self.features)
        self.slots = [o for o in self.openings if o.form == "slot"]
        self.rounds = located(self.features, self.slots)
        self.box = np.array([p for f in self.features for p in flatten(f, 0.05)])
        self.low, self.high = self.box.min(0), self.box.max(0)
        fit = max(2 * self.tolerance, 0.06)
        self.axes = [
            a for a in mirror_axes(self.features, fit) if min(_off(a.angle_rad, 0), _off(a.angle_rad, math.pi / 2)) < 1
        ]
        self.turning = turning(self.features, fit)
        self.lines = {True: self._lines(math.pi / 2), False: self._lines(0.0)}
        self.rows = {up: self._in_line(self.lines[up], up) for up in (True, False)}
        self.datum = {up: self._datum(up) for up in (True, False)}
        self.free = self._freedom()
        self.shared: list[tuple[bool, tuple[str, ...]]] = []
        self.pitches: list[tuple[Point, tuple[str, ...]]] = []
        self.main = max(self.rounds, key=lambda f: (abs(sweep_rad(f)) > MORE_THAN_HALF, f.radius or 0), default=None)

    # ------------------------------------------------------------------ what the drawing shows without words
    def _lines(self, angle: float) -> list[Feature]:
        """Edges that are upright or level, within what the photo can tell."""
        ref = max((f for f in self.features if f.kind == "line"), key=length, default=None)
        out = []
        for f in self.features:
            if f.kind != "line":
                continue
            u = self.gauge("angle", (ref.label, f.label)).u95 if ref is not None and ref is not f else 0.0
            if _off(shape_of(f).s, angle) < min(max(0.6, u or 0.0), 3.0):
                out.append(f)
        return out

    def _across(self, f: Feature, up: bool) -> float:
        """x of an upright edge or a centre, y of a level one."""
        s = self.shapes[f.label]
        return s.x if up else s.y

    def _in_line(self, lines: Sequence[Feature], up: bool) -> list[list[Feature]]:
        return in_line([(self._across(f, up), f) for f in lines], self.tolerance)

    def _datum(self, up: bool) -> list[Feature]:
        """The edges of the longest straight run of the outer boundary; at the rim where there is a choice."""
        span = float((self.high - self.low)[1 if up else 0])
        k = 0 if up else 1
        best, chosen = 0.0, []
        for row in self.rows[up]:
            outer = [f for f in row if f.loop == 0]
            at = self._across(row[0], up)
            rim = at - self.low[k] < 0.3, self.high[k] - at < 0.3
            worth = max((length(f) for f in outer), default=0.0) + (0.35 * span if any(rim) else 0) + 0.01 * rim[0]
            if outer and worth > best + 1e-6:
                best, chosen = worth, outer
        return sorted(chosen, key=lambda f: -length(f))

    def _freedom(self) -> Freedom:
        shapes: dict[str, Shape] = {**self.shapes, rel.FRAME: Shape(False, 0.0, 0.0, 0.0)}
        for i, a in enumerate(self.axes):
            shapes[rel.axis_name(i)] = Shape(False, *a.through_mm, a.angle_rad)
        if self.turning:
            shapes[rel.CENTRE] = Shape(True, *self.turning.centre_mm, 1.0)
        free = Freedom(shapes, max(float(np.hypot(*(self.high - self.low))) / 2, 1.0))
        free.pin(rel.FRAME, 0)
        if self.turning:
            free.pin(rel.CENTRE, 2)
        rel.join(free, self.features)
        for row in (self.lines[True], self.lines[False]):
            for f in row:
                rel.parallel(free, rel.FRAME, f.label)
        for up in (True, False):
            for row in self.rows[up]:
                for a, b in rel.chain(f.label for f in row):
                    rel.in_one_line(free, a, b)
        for i, axis in enumerate(self.axes):
            rel.parallel(free, rel.FRAME, rel.axis_name(i))
            rel.mirrored(free, rel.axis_name(i), axis, self.features)
        if self.turning:
            rel.repeated(free, self.turning, self.features)
        for n, a in enumerate(self.rounds):
            for b in self.rounds[:n]:
                if a.centre and b.centre and math.dist(a.centre, b.centre) < max(2 * self.tolerance, 0.06):
                    rel.concentric(free, b.label, a.label)
        return free

    # ------------------------------------------------------------------ taking
    def take(self, kind: str, labels: Sequence[str], make: Callable[[Stated], Wanted], over: int = 0) -> bool:
        """Take a size if it says something new; over is how many of the labels span it when all are equal."""
        names = labels[:over] if over else labels
        if not self.free.left or not self.free.dimension(SIZES[kind], names):
            return False
        self.wanted.append(make(self.gauge(kind, labels)))
        return True

    def end(self, f: Feature, up: bool | None = None) -> End:
        """Where an extension line may start for a feature."""
        if f.kind != "line":
            assert f.centre is not None
            return End((f.centre,), (f.radius or 0) + 3.5 if f.kind == "circle" else 3.5)
        row = [f] if up is None else next((r for r in self.rows[up] if f in r), [f])
        return End(tuple(p for g in row for p in (g.start, g.end) if p is not None), 1.0)

    def linear(self, kind: str, a: Feature, b: Feature, up: bool | None, labels: Sequence[str] = ()) -> bool:
        """Take a distance between two features, measured level (up), upright (not up) or as it lies (None)."""

        def make(s: Stated) -> Wanted:
            return Wanted("linear", s, direction_rad=direction, ends=(self.end(a, up), self.end(b, up)))

        if up is None:
            direction = self._direction(a, b)
        else:
            direction = 0.0 if up else math.pi / 2
        return self.take(kind, labels or (a.label, b.label), make)

    def _direction(self, a: Feature, b: Feature) -> float:
        p, q = self.shapes[a.label], self.shapes[b.label]
        if not p.is_round or not q.is_round:
            return (p if not p.is_round else q).s + math.pi / 2
        return math.atan2(q.y - p.y, q.x - p.x)

    def upright_or_none(self, a: Feature, b: Feature) -> bool | None:
        """Whether two features stand side by side (True), one above the other (False), or neither."""
        direction = self._direction(a, b)
        if _off(direction, 0) < 1:
            return True
        return False if _off(direction, math.pi / 2) < 1 else None

    # ------------------------------------------------------------------ proposals, in order
    def plan(self) -> Plan:
        """Propose all sizes in order and gather what was taken."""
        self._frame()
        self._bores()
        self._flats()
        self._openings()
        self._overall()
        self._patterns()
        for up in (True, False):
            self._mirror_widths(up)
        self._round_ends()
        self._levels()
        self._positions()
        self._edges()
        self._fillets()
        self._oblique()
        self._rest()
        self._auxiliary()
        loose = tuple(x for x in self.free.loose() if not x.startswith("/"))
        up, flat = self.datum[True], self.datum[False]
        name = self.main.label if self.main is not None else None
        datums = (up[0].label if up else name, flat[0].label if flat else name)
        shared, pitches = tuple(self.shared), tuple(self.pitches)
        wanted, axes = tuple(self.wanted), tuple(self.axes)
        return Plan(self.turn, self.features, wanted, datums, axes, self.turning, shared, pitches, loose)

    def _frame(self) -> None:
        """Tie the drawing's horizontal to the part where no edge and no axis does."""
        if self.lines[True] or self.lines[False] or self.axes:
            return
        pairs = [(a, b) for i, a in enumerate(self.rounds) for b in self.rounds[i + 1 :]]
        for a, b in pairs:
            up = self.upright_or_none(a, b)
            if up is not None and a.centre and b.centre and math.dist(a.centre, b.centre) > 0.5:
                rel.level(self.free, a.label, b.label, not up)
                return
        self.free.pin(rel.FRAME, 1)

    def _bores(self) -> None:
        circles = [f for f in self.features if f.kind == "circle"]
        big = [f for f in self.features if f.kind == "arc" and abs(sweep_rad(f)) > MORE_THAN_HALF]
        inside = [f for f in circles + big if f.loop > 0]
        outside = [f for f in circles + big if f.loop == 0]
        for pool in (inside, outside):
            self._equal(pool, "diameter")

    def _equal(self, pool: Sequence[Feature], kind: Literal["diameter", "radius"]) -> None:
        for group in equal_rounds(pool, self.gauge):
            labels = tuple(f.label for f in group)
            for a, b in rel.chain(labels):
                rel.same_radius(self.free, a, b)
            self.take(kind, labels, lambda s, x=labels: Wanted(kind, s, len(x), x), over=1)  # type: ignore[misc]

    def _flats(self) -> None:
        """Flats of D-shaped bores, from the bore's centre."""
        common = {o.loop for o in self.openings}
        for n, loop in by_loop(self.features).items():
            if n == 0 or n in common:
                continue
            big = [f for f in loop if f.kind == "arc" and abs(sweep_rad(f)) > MORE_THAN_HALF]
            for f in loop:
                if f.kind == "line" and big:
                    self.linear("offset", big[0], f, self.upright_or_none(big[0], f))

    def _openings(self) -> None:
        alike: list[tuple[Opening, tuple[float, float], list[Opening]]] = []
        for o in self.openings:
            first, second = self._sides(o)
            size = tuple(self.gauge(k, (a.label, b.label)).value for k, a, b in (first, second))
            for known, known_size, more in alike:
                if known.form == o.form and max(map(abs, np.subtract(size, known_size))) < 2 * self.tolerance:
                    more.append(o)
                    break
            else:
                alike.append((o, (size[0], size[1]), []))
        for o, _, more in alike:
            for (kind, a, b), *others in zip(self._sides(o), *map(self._sides, more), strict=True):
                if self.linear(kind, a, b, self.upright_or_none(a, b)) and kind == "distance" and o.form == "slot":
                    ends = tuple(e.label for each in (o, *more) for e in each.ends)
                    self.wanted[-1] = replace(self.wanted[-1], count=1 + len(more), members=ends)
                for _, c, d in others:
                    f = SIZES[kind]
                    self.free.relate(lambda p, q, r, s, f=f: f(p, q) - f(r, s), [x.label for x in (a, b, c, d)])

    def _sides(self, o: Opening) -> list[tuple[str, Feature, Feature]]:
        if o.form == "slot":
            return [("distance", *o.lines), ("centres", *o.ends)]  # type: ignore[list-item]
        a, b, c, d = o.lines
        pairs = [(a, c), (b, d)] if abs(math.cos(self.shapes[a.label].s)) > 0.7 else [(b, d), (a, c)]
        return [("distance", *p) for p in pairs]

    def _overall(self) -> None:
        for up in (True, False):
            k = 0 if up else 1
            outer = [r for r in ([f for f in row if f.loop == 0] for row in self.rows[up]) if r]
            if len(outer) < 2:
                continue
            first, last = (max(r, key=length) for r in (outer[0], outer[-1]))
            slack = 0.3 + self.tolerance
            if self._across(first, up) - self.low[k] < slack and self.high[k] - self._across(last, up) < slack:
                self.linear("distance", first, last, up)

    def _patterns(self) -> None:
        circles = [f for f in self.features if f.kind == "circle" and f.loop > 0]
        for group in equal_rounds(circles, self.gauge):
            middle = evenly_round(group, self.tolerance)
            if middle is None:
                continue
            hub = [f for f in self.rounds if f.centre and math.dist(f.centre, middle) < 3 * self.tolerance]
            if len(group) < 5 and not hub:
                continue
            self._even(group, hub[0] if hub else None, middle)
        if self.turning:
            self._repeats()

    def _even(self, group: Sequence[Feature], hub: Feature | None, middle: Point) -> None:
        """Equal holes at even steps on a pitch circle."""
        labels = tuple(f.label for f in sorted(group, key=lambda f: _turn_about(middle, f)))
        n = len(labels)
        for i in range(n - 2):
            self.free.relate(
                lambda a, b, c, d=2 * math.sin(math.pi / n): _chord(a, b) - _chord(b, c), labels[i : i + 3]
            )
        if hub is not None:
            for i in range(n - 1):
                self.free.relate(lambda h, a, b: _chord(h, a) - _chord(h, b), [hub.label, *labels[i : i + 2]])
        else:
            self.free.relate(
                lambda a, b, c: (
                    math.hypot(*np.subtract(_round_through(a, b, c), (a.x, a.y))) * 2 * math.sin(math.pi / n)
                    - _chord(a, b)
                ),
                labels[:3],
            )
        self.take("pitch", labels, lambda s: Wanted("pitch", s, n, labels))
        self.pitches.append((middle, labels))

    def _repeats(self) -> None:
        """Tip and root circles of an outline that repeats, or the pitch circle of its lobes."""
        assert self.turning is not None
        hubs = [f for f in self.rounds if f.centre and math.dist(f.centre, self.turning.centre_mm) < 0.3]
        for hub in hubs:
            rel.concentric(self.free, rel.CENTRE, hub.label)
        seen: set[str] = set()
        for i, j in enumerate(self.turning.partner):
            f = self.features[i]
            if j < 0 or f.label in seen or f.kind != "arc":
                continue
            orbit = [f]
            while (k := self.turning.partner[self.features.index(orbit[-1])]) != i:
                orbit.append(self.features[k])
            labels = tuple(g.label for g in orbit)
            seen.update(labels)
            assert f.centre is not None
            if math.dist(f.centre, self.turning.centre_mm) < 0.05 * (f.radius or 0) + self.tolerance:
                rel.concentric(self.free, rel.CENTRE, f.label)
                self.take("diameter", labels, lambda s, x=labels: Wanted("diameter", s, 1, x), over=1)  # type: ignore[misc]
                continue
            turn = "ccw"
            if f.turn == turn and abs(sweep_rad(f)) > math.radians(60):
                self.take("radius", labels, lambda s, x=labels: Wanted("radius", s, len(x), x), over=1)  # type: ignore[misc]
                if self.take("pitch", labels, lambda s, x=labels: Wanted("pitch", s, len(x), x)):  # type: ignore[misc]
                    self.pitches.append((self.turning.centre_mm, labels))
                if hubs:
                    self._turned_against(hubs[0], orbit)

    def _turned_against(self, hub: Feature, orbit: Sequence[Feature]) -> None:
        """How the lobes stand to the flat of a bore or to another straight edge."""
        lines = [*self.lines[True], *self.lines[False]]
        if not lines:
            return
        flat = max(lines, key=length)
        pairs = [(flat.label, hub.label, f.label) for f in orbit]
        pairs.sort(key=lambda x: abs(self.gauge("bearing", x).value - 40))
        self.take("bearing", pairs[0], lambda s: Wanted("angle", s, 1, pairs[0]))

    def _mirror_widths(self, up: bool) -> None:
        """Widths across an upright (up) or level centre line."""
        for axis in self.axes:
            if (_off(axis.angle_rad, math.pi / 2) < 1) != up:
                continue
            pairs = [(self.features[i], self.features[j]) for i, j in enumerate(axis.partner) if j > i]
            pairs.sort(key=lambda p: (p[0].kind == "line", -abs(self._across(p[0], up) - self._across(p[1], up))))
            for a, b in pairs:
                if a in self.lines[up]:
                    self.linear("distance", a, b, up)
                elif a in self.rounds:
                    self.linear("centres", a, b, up)

    def _slot_ends(self) -> set[str]:
        return {e.label for s in self.slots for e in s.ends}

    def _round_ends(self) -> None:
        ends = self._slot_ends()
        half = [f for f in self.rounds if f.kind == "arc" and f.label not in ends]
        self._equal([f for f in half if abs(sweep_rad(f)) <= MORE_THAN_HALF], "radius")

    def _levels(self) -> None:
        """Centres in one line share one dimension."""
        for up in (True, False):
            for row in in_line([(self._across(f, up), f) for f in self.rounds], self.tolerance):
                apart = [f for n, f in enumerate(row) if not any(_same_centre(f, g) for g in row[:n])]
                before = self.free.rank
                for a, b in rel.chain(f.label for f in apart):
                    rel.level(self.free, a, b, up)
                if len(apart) > 1 and (self.free.rank > before or not self.axes):
                    self.shared.append((up, tuple(f.label for f in apart)))

    def _positions(self) -> None:
        """Centres from the datum edges, or from the largest round where there are none."""
        ends = self._slot_ends()
        order = sorted(self.rounds, key=lambda f: (f.kind != "circle", f.label not in ends, self._reach(f)))
        for f in order:
            for up in (True, False):
                datum = self.datum[up]
                if datum:
                    self.linear("offset", f, datum[0], up)
                elif self.main is not None and f is not self.main:
                    self._from_main(f, up)

    def _reach(self, f: Feature) -> float:
        """How far a centre lies from where it is measured from."""
        out = 0.0
        for up in (True, False):
            base = self.datum[up][0] if self.datum[up] else self.main
            out += abs(self._across(f, up) - self._across(base, up)) if base is not None else 0.0
        return out

    def _from_main(self, f: Feature, up: bool) -> None:
        main = self.main
        assert main is not None
        if abs(self._across(f, up) - self._across(main, up)) < 0.05:
            return
        side = self.upright_or_none(main, f)
        if side is not None:
            if side == up:
                self.linear("centres", main, f, up)
            return
        kind, by = self._rule(up)
        if kind:
            labels = (main.label, f.label, *by) if len(by) == 1 else (*by, main.label, f.label)
            self.linear(kind, main, f, up, labels)

    def _rule(self, up: bool) -> tuple[str, tuple[str, ...]]:
        """A kind of size, and what it is parallel or square to, for places measured level (up) or upright."""
        for lines, kind in ((self.lines[not up], "along"), (self.lines[up], "across")):
            if lines:
                return kind, (max(lines, key=length).label,)
        for i, a in enumerate(self.rounds):
            for b in self.rounds[i + 1 :]:
                if a.centre and b.centre and math.dist(a.centre, b.centre) > 2:
                    side = self.upright_or_none(a, b)
                    if side is not None:
                        return "run" if side == up else "rise", (a.label, b.label)
        return "", ()

    def _edges(self) -> None:
        """Level and upright edges from the datum edges."""
        for up in (True, False):
            datum = self.datum[up]
            rows = self.rows[up] if not datum else [r for r in self.rows[up] if datum[0] not in r]
            for row in rows:
                f = max(row, key=lambda f: (f.loop == 0, length(f)))
                if datum:
                    self.linear("distance", f, datum[0], up)
                elif self.main is not None:
                    self.linear("offset", self.main, f, up)

    def _fillets(self) -> None:
        ends = self._slot_ends()
        arcs = [f for f in self.features if f.kind == "arc" and f not in self.rounds and f.label not in ends]
        self._equal(arcs, "radius")

    # ------------------------------------------------------------------ oblique edges and what is left
    def _oblique(self) -> None:
        straight = [*self.lines[True], *self.lines[False]]
        oblique = [f for f in self.features if f.kind == "line" and f not in straight]
        for f in oblique:
            near = [g for g in self._neighbours(f) if g in straight]
            near.sort(key=lambda g: acute_deg(self.shapes[f.label].s - self.shapes[g.label].s))
            refs = [*near, *self.datum[False][:1], *self.datum[True][:1], *straight[:1]]
            refs.sort(key=lambda g: g not in near)
            slanted = bool(near) and 15 < acute_deg(self.shapes[f.label].s - self.shapes[near[0].label].s) < 75
            if not slanted:  # a slight taper is better told by its ends than by an angle
                for g in near:
                    self._corner(f, g)
            for g in refs:
                self.take("angle", (f.label, g.label), lambda s, x=(f.label, g.label): Wanted("angle", s, 1, x))  # type: ignore[misc]
            for g in near:
                self._corner(f, g)
        for i, f in enumerate(oblique):
            for g in oblique[:i]:
                if _near_parallel(f, g):
                    self.linear("distance", g, f, None)
            if not straight:
                for a, b in self._bearings():
                    pair = (f.label, a.label, b.label)
                    self.take("bearing", pair, lambda s, x=pair: Wanted("angle", s, 1, x))  # type: ignore[misc]

    def _bearings(self) -> list[tuple[Feature, Feature]]:
        centres = [f for f in [*self.rounds, *(g for g in self.features if g.kind == "arc")] if f.centre]
        out = []
        for i, a in enumerate(centres):
            for b in centres[i + 1 :]:
                assert a.centre is not None
                assert b.centre is not None
                if math.dist(a.centre, b.centre) > 2:
                    out.append((a, b))
        return out[:12]

    def _neighbours(self, f: Feature) -> list[Feature]:
        """Edges next to this one, over a fillet at most."""
        loop = by_loop(self.features)[f.loop]
        i, n = loop.index(f), len(loop)
        out = []
        for step in (1, -1):
            for reach in (1, 2):
                g = loop[(i + step * reach) % n]
                if g.kind == "line" and g is not f:
                    out.append(g)
                    break
                if g in self.rounds or g.kind == "curve":
                    break
        return out

    def _corner(self, f: Feature, g: Feature) -> None:
        """The theoretical corner of an oblique edge f and a straight one g, from its mirror image or from the datum."""
        at = crossing(self.shapes[f.label], self.shapes[g.label])
        if not all(map(math.isfinite, at)) or max(abs(np.array(at) - (self.low + self.high) / 2)) > 300:
            return
        up = g in self.lines[False]
        here = End((at,), 1.0, (f.label, g.label))
        direction = 0.0 if up else math.pi / 2
        i, j = self.features.index(f), self.features.index(g)
        for axis in self.axes:
            if (_off(axis.angle_rad, math.pi / 2) < 1) == up and axis.partner[i] != i:
                m, n = self.features[axis.partner[i]], self.features[axis.partner[j]]
                there = End((crossing(self.shapes[m.label], self.shapes[n.label]),), 1.0, (m.label, n.label))
                labels = (f.label, g.label, m.label, n.label)
                self.take(
                    "corners",
                    labels,
                    lambda s, t=there: Wanted("linear", s, direction_rad=direction, ends=(here, t)),  # type: ignore[misc]
                )
                return
        datum = self.datum[up]
        if datum and datum[0] is not f:
            other = self.end(datum[0], up)
            self.take(
                "corner",
                (f.label, g.label, datum[0].label),
                lambda s: Wanted("linear", s, direction_rad=direction, ends=(here, other)),
            )

    def _rest(self) -> None:
        """Whatever still pins something down: flats of bores, centres of arcs."""
        if not self.free.left:
            return
        arcs = [f for f in self.features if f.kind == "arc" and f.label not in self._slot_ends()]
        arcs.sort(key=lambda f: -abs(sweep_rad(f)))
        for f in arcs[:24]:
            if f.label not in self.free.loose():
                continue
            for up in (True, False):
                if self.datum[up]:
                    self.linear("offset", f, self.datum[up][0], up)
                elif self.main is not None and f is not self.main:
                    self._from_main(f, up)
        self._turned_parts()

    def _turned_parts(self) -> None:
        """How a flat or a group of holes is turned against the outline."""
        if not self.free.left or self.lines[True] or self.lines[False]:
            return
        loose = self.free.loose()
        for f in (g for g in self.features if g.kind == "line" and g.label in loose):
            for a, b in self._bearings():
                pair = (f.label, a.label, b.label)
                self.take("bearing", pair, lambda s, x=pair: Wanted("angle", s, 1, x))  # type: ignore[misc]

    def _auxiliary(self) -> None:
        """Overall sizes over round ends, in brackets: they follow from the rest."""
        for up in (True, False):
            k = 0 if up else 1
            ends = [self._rim(k, self.low[k]), self._rim(k, self.high[k])]
            if ends[0] is None or ends[1] is None or all(f.kind == "line" for f in ends if f):
                continue
            a, b = ends
            if a is b:
                continue
            kind, labels = self._over(a, b, up)
            if not kind:
                continue
            s = self.gauge(kind, labels)
            points = []
            for f, at in ((a, self.low[k]), (b, self.high[k])):
                if f.kind == "line":
                    points.append(self.end(f, up))
                else:
                    assert f.centre is not None
                    points.append(End(((at, f.centre[1]) if up else (f.centre[0], at),), 1.0))
            size = Stated(s.kind, s.labels, s.value, s.u95)
            direction = 0.0 if up else math.pi / 2
            self.wanted.append(
                Wanted("linear", size, direction_rad=direction, ends=(points[0], points[1]), auxiliary=True)
            )

    def _rim(self, k: int, at: float) -> Feature | None:
        """The outer feature that reaches the part's rim, if it is a round or a straight edge square to it."""
        for f in self.features:
            if f.loop == 0 and np.abs(flatten(f, 0.002)[:, k] - at).min() < 0.02:
                if f.kind == "arc" and f in self.rounds:
                    return f
                if f.kind == "line" and f in self.lines[k == 0]:
                    return f
        return None

    def _over(self, a: Feature, b: Feature, up: bool) -> tuple[str, tuple[str, ...]]:
        if "line" in (a.kind, b.kind):
            return "reach", (a.label, b.label)
        if self.upright_or_none(a, b) == up:
            return "stretch", (a.label, b.label)
        if self.lines[not up]:
            return "stretch", (a.label, b.label, max(self.lines[not up], key=length).label)
        return "", ()


def _off(angle: float, other: float) -> float:
    """Degrees between two undirected lines."""
    return acute_deg(angle - other)


def _chord(a: Shape, b: Shape) -> float:
    return math.hypot(a.x - b.x, a.y - b.y)


def _turn_about(middle: Point, f: Feature) -> float:
    assert f.centre is not None
    return math.atan2(f.centre[1] - middle[1], f.centre[0] - middle[0])


def _same_centre(a: Feature, b: Feature) -> bool:
    return a.centre is not None and b.centre is not None and math.dist(a.centre, b.centre) < 0.2


def _round_through(a: Shape, b: Shape, c: Shape) -> Point:
    """Centre of the circle through three points."""
    bx, by, cx, cy = b.x - a.x, b.y - a.y, c.x - a.x, c.y - a.y
    d = 2 * (bx * cy - by * cx)
    p, q = bx * bx + by * by, cx * cx + cy * cy
    return a.x + (cy * p - by * q) / d, a.y + (bx * q - cx * p) / d
