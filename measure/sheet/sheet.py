"""The sketch: everything that is known of a part becomes one sheet at true size."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Literal

import numpy as np

from calib.arrays import Array
from calib.languages import ENGLISH, all_said_in, said_in
from calib.words import Words, both, counted, joined
from measure.dimensioning.dimensioning import plan_dimensions
from measure.dimensioning.gauging import SIZES, EstimateGauge, Gauge, ListGauge, Stated, hardly_known
from measure.dimensioning.handedness import handedness
from measure.dimensioning.scheme.values import Plan, PlannedDimension
from measure.dimensioning.words import in_words
from measure.geometry.dimensions import Dimension
from measure.geometry.features import Arc, Estimate, Feature, Point, as_round, flatten, is_round, sweep_rad
from measure.geometry.motion import Motion
from measure.geometry.offsetting import scaled
from measure.geometry.outline_path import Vertex, loops
from measure.sheet.layout import frame
from measure.sheet.layout.arrange import PartView, arrange
from measure.sheet.layout.drawn import Drawn
from measure.sheet.lettering import DIAMETER, figures, number
from measure.sheet.marks import DASHED, LONG_DASH_TWO_DOTS, WIDE, CircleMark, Mark, Path, placed

DRAWN_MM, DASHED_MM = 0.005, 0.02
"""How far chords may lie from arcs that are drawn as polylines: where they are the part's line, and where a printer's
dot of 0.04 mm hides it (600 dots an inch)."""
CAUTION = Words(
    "Check the sizes against the part before you print. Not for anything that carries people or heavy loads, nor for "
    "heat, flame, mains voltage, gas or pressure."
)


@dataclass(frozen=True, slots=True)
class Allowance:
    """What a drawing of a part that is to fit leaves for it.

    Attributes:
        before: the features as measured.
        words: the fit and its room, or what trial prints asked for, as a sentence for the notes.
        column: what stands over the differences.
        fit: its name, where the drawing leaves room for one.
    """

    before: tuple[Feature, ...]
    words: str
    column: Literal["Room", "Change"] = "Room"
    fit: str = ""


@dataclass(frozen=True, slots=True)
class Drawing:
    """What a sketch is made from.

    Attributes:
        name: the part's name.
        features: all loops, mm, as seen from the photographed face.
        dimensions: sizes with u95 as the result lists them; they tell the basis, and u95 where there is no estimate.
        estimate: the features with their covariance, if at hand: it gives u95 for any size.
        thickness_mm, thickness_u95_mm: height of the part; None where unknown.
        rim: what is said of a rounded upper rim, in words; empty where nothing is.
        subject: a part, or an opening that a part is to fill.
        reference: what gave the scale, in words.
        date: of the photo or of the sketch, in words.
        photos: how many the outline was taken from.
        readings: how many caliper readings were kept.
        warnings: (code, text) to be printed on the sheet.
        broken: the fracture as it was seen, where the outline has been completed.
        stretches: what was not seen of features that were seen and go on, under their labels.
        thin: lines across thin places, and what is said of each; none where nobody asked.
        decimal_mark: "." or ",".
        language: of all words, by its code.
        allowance: where the features are no longer those that were measured.
        owner: whose the part is, where that is wanted on the sheet.
    """

    name: str
    features: tuple[Feature, ...]
    dimensions: tuple[Dimension, ...] = ()
    estimate: Estimate | None = None
    thickness_mm: float | None = None
    thickness_u95_mm: float | None = None
    rim: str = ""
    subject: Literal["part", "opening"] = "part"
    reference: str = ""
    date: str = ""
    photos: int = 1
    readings: int = 0
    warnings: tuple[tuple[str, str], ...] = ()
    broken: tuple[Feature, ...] = ()
    stretches: tuple[Feature, ...] = ()
    thin: tuple[tuple[Feature, str], ...] = ()
    decimal_mark: str = "."
    language: str = ENGLISH
    allowance: Allowance | None = None
    owner: str = ""


@dataclass(frozen=True, slots=True)
class Sheet:
    """A finished sheet, in millimetres on paper from its lower left corner.

    Attributes:
        name: the paper's size.
        width_mm, height_mm: of the paper.
        title: the part's name.
        features: the features in their own frame.
        turn_rad, shift_mm: from that frame to the paper: turn about the origin, then draw to scale, then shift.
        drawn: the dimensions, their marks on paper.
        marks: everything else but the outline.
        outline: the outline's paths on paper.
        listed: sizes that stand in the table for want of room.
        reduced: how many times larger the part is than it is drawn; 1 at true size.
    """

    name: str
    width_mm: float
    height_mm: float
    title: str
    features: tuple[Feature, ...]
    turn_rad: float
    shift_mm: Point
    drawn: tuple[Drawn, ...]
    marks: tuple[Mark, ...]
    outline: tuple[Path | CircleMark, ...]
    listed: tuple[PlannedDimension, ...]
    reduced: int = 1


REDUCED = (1, 2, 5, 10, 20)
"""The part is drawn at true size, or so many times smaller if no sheet holds it (ISO 5455)."""


def sketch(drawing: Drawing) -> Sheet:
    """Choose the dimensions, lay them out, and set the sheet round them.

    Args:
        drawing: what is known of the part.
    """
    gauge: Gauge
    if drawing.estimate is not None:
        gauge = EstimateGauge(drawing.estimate)
    else:
        stated = [Stated(d.kind, d.features, d.value_mm, d.u95_mm) for d in drawing.dimensions]
        gauge = ListGauge(drawing.features, stated)
    plan = plan_dimensions(drawing.features, gauge)
    square = Motion(plan.turn_rad)
    for reduced in REDUCED:
        shown = plan.at_scale(1 / reduced)
        here = {f.label: f for f in shown.features if f.kind == "curve"}
        elsewhere = scaled([square.of(f) for f in drawing.broken if f.label not in here], 1 / reduced)
        left_open = [here[f.label] for f in drawing.broken if f.label in here]
        broken = (*elsewhere, *left_open)
        unseen = scaled([square.of(f) for f in drawing.stretches], 1 / reduced)
        thin = scaled([square.of(f) for f, _ in drawing.thin], 1 / reduced)
        view = arrange(shown, drawing.decimal_mark, broken, thin, drawing.language)
        rows = _title_rows(drawing, plan, "", reduced)
        notes = all_said_in(drawing.language, _notes(drawing, plan, view))
        header, lines = _table(plan, view, gauge, drawing.decimal_mark)
        if drawing.allowance and not lines:
            header, lines = _allowances(plan, drawing.allowance, drawing.decimal_mark)
        header, lines = all_said_in(drawing.language, [header, lines])
        fits = _smallest(view, rows, notes, header, lines)
        if fits is not None:
            break
    paper, words, tall, (x0, y0, x1, y1) = fits or _laid(frame.PAPER[-1], rows, notes, header, lines)
    shift = np.round(np.array([(x0 + x1) / 2, (y0 + y1) / 2]) - (view.low + view.high) / 2, 1)
    rows = _title_rows(drawing, plan, paper.name, reduced)
    marks: list[Mark] = [*frame.border(paper), *frame.title_block(paper, rows)]
    marks += frame.scale_strip(paper, len(rows), said_in(drawing.language, _face(drawing)), reduced, drawing.language)
    marks += frame.note_block(words, paper, len(rows))
    if lines:
        marks += frame.table(header, lines, paper, y0 - tall)
    at = (float(shift[0]), float(shift[1]))
    marks += [placed(m, Motion(0.0, at)) for m in view.marks]
    marks += [placed(m, Motion(0.0, at)) for m in _fracture(broken)]
    drawn = tuple(_on_paper(d, at) for d in view.drawn)
    lines_drawn = _outline(shown.features, left_open, unseen)
    outline = tuple(o for f in lines_drawn if isinstance(o := placed(f, Motion(0.0, at)), Path | CircleMark))
    return Sheet(
        paper.name, paper.width_mm, paper.height_mm, drawing.name, drawing.features, plan.turn_rad, at, drawn,
        tuple(marks), outline, view.listed, reduced,
    )  # fmt: skip


Laid = tuple[frame.Paper, list[str], float, tuple[float, float, float, float]]
"""A sheet of paper, the lines of its notes, the height of its table, and the room that is left for the view."""


def _smallest(
    view: PartView,
    rows: Sequence[Sequence[frame.Field]],
    notes: Sequence[str],
    header: Sequence[str],
    lines: Sequence[Sequence[str]],
) -> Laid | None:
    """The smallest sheet that holds a view with everything round it; None where none does."""
    wide, high = view.high - view.low
    for format in frame.PAPER:
        laid = _laid(format, rows, notes, header, lines)
        x0, y0, x1, y1 = laid[3]
        if wide <= x1 - x0 and high <= y1 - y0:
            return laid
    return None


def _laid(
    format: tuple[str, float, float],
    rows: Sequence[Sequence[frame.Field]],
    notes: Sequence[str],
    header: Sequence[str],
    lines: Sequence[Sequence[str]],
) -> Laid:
    """A sheet of paper with its notes and its table."""
    paper = frame.Paper(format[0], float(format[1]), float(format[2]))
    words = frame.note_lines(notes, paper)
    tall = frame.table_height(header, lines, paper)
    return paper, words, tall, frame.room(paper, len(rows), len(words), tall)


def _on_paper(d: Drawn, shift: Point) -> Drawn:
    def at(p: Point) -> Point:
        return p[0] + shift[0], p[1] + shift[1]

    marks = tuple(placed(m, Motion(0.0, shift)) for m in d.marks)
    return replace(d, marks=marks, points=tuple(at(p) for p in d.points), text_at=at(d.text_at))


def _outline(
    features: Sequence[Feature], left_open: Sequence[Feature], unseen: Sequence[Feature]
) -> list[Path | CircleMark]:
    """Wide lines for what was seen; narrow ones with two dots for what was completed; none where it stays broken."""
    if left_open or unseen or any(f.origin == "completed" for f in features):
        out: list[Path | CircleMark] = []
        for f in features:
            if f in left_open:
                continue
            seen, rest = _parted(flatten(f, DRAWN_MM), [flatten(s) for s in unseen if s.label == f.label])
            if f.origin == "completed":
                seen, rest = [], [*seen, *rest]
            out += [Path(tuple((float(x), float(y), 0.0) for x, y in p), "OUTLINE", WIDE) for p in seen]
            narrow = LONG_DASH_TWO_DOTS
            out += [Path(tuple((float(x), float(y), 0.0) for x, y in p), "COMPLETED", narrow) for p in rest]
        return out
    shapes: list[Path | CircleMark] = []
    for loop in loops(features):
        if isinstance(loop, Feature):
            shapes.append(CircleMark(loop.centre, loop.radius, "OUTLINE", WIDE))
        else:
            shapes.append(Path(_vertices(loop), "OUTLINE", WIDE, closed=True))
    return shapes


def _parted(line: Array, unseen: Sequence[Array]) -> tuple[list[Array], list[Array]]:
    """A feature's points, parted into what was seen and stretches of it that were not."""
    if not unseen:
        return [line], []
    import shapely
    from shapely.ops import substring

    whole = shapely.LineString(line)
    ends = sorted(tuple(sorted(whole.project(shapely.Point(p)) for p in (s[0], s[-1]))) for s in unseen)
    cuts = [0.0, *(x for pair in ends for x in pair), whole.length]
    pieces = [(i % 2, substring(whole, a, b)) for i, (a, b) in enumerate(pairwise(cuts)) if b - a > DRAWN_MM]
    kept: tuple[list[Array], list[Array]] = ([], [])
    for kind, piece in pieces:
        kept[kind].append(shapely.get_coordinates(piece))
    return kept


def _vertices(loop: tuple[Vertex, ...]) -> tuple[Vertex, ...]:
    return loop


def _fracture(broken: Sequence[Feature]) -> list[Mark]:
    return [
        Path(tuple((float(x), float(y), 0.0) for x, y in flatten(f, DASHED_MM)), "FRACTURE", DASHED) for f in broken
    ]


# ---------------------------------------------------------------- words
def _face(d: Drawing) -> str:
    return Words("the photographed face") if d.subject == "part" else Words("the photographed side")


def _title_rows(d: Drawing, plan: Plan, paper: str, reduced: int) -> list[list[frame.Field]]:
    def f(caption: str, value: str, width_mm: float, big: bool = False) -> frame.Field:
        said, stated = all_said_in(d.language, [caption, value])
        return frame.Field(said, stated, width_mm, big)

    if d.thickness_mm is None:
        thickness: str = Words("not measured")
    else:
        thickness = " ".join(figures(d.thickness_mm, d.thickness_u95_mm, mark=d.decimal_mark)).strip()
    sure = [w for w in plan.wanted if w.stated.u95 is not None and not w.stated.is_angle and not w.auxiliary]
    worst = max(sure, key=lambda w: w.stated.u95 or 0.0, default=None)
    largest: str = Words("unknown")
    if worst is not None:
        spread = figures(worst.stated.value, worst.stated.u95, mark=d.decimal_mark)[1]
        largest = joined(", ", (f"{spread} mm", in_words(worst.stated.kind, worst.stated.labels)))
    name = [f(Words("Name"), d.name or Words("unnamed part"), 116 if not d.owner else 66, True)]
    if d.owner:
        name.append(f(Words("Owner"), d.owner, 50))
    return [
        [*name, f(Words("Kind of drawing"), _kind_of(d), 64)],
        [
            f(Words("Seen from"), _face(d), 50),
            f(Words("Thickness, mm") if d.subject == "part" else Words("Depth, mm"), thickness, 40),
            f(Words("Scale"), f"1:{reduced}", 20),
            f(Words("Sheet"), Words("{paper}, 1 of 1", paper=paper), 30),
            f(Words("Date"), d.date or Words("not given"), 40),
        ],
        [
            f(Words("Scale taken from"), d.reference or Words("not given"), 52),
            f(Words("Basis"), _basis(d), 60),
            f(Words("Least sure length"), largest, 68),
        ],
    ]


def _kind_of(d: Drawing) -> str:
    """What the sheet shows: what was measured, or what is to be made from that."""
    photos = Words("one photo") if d.photos == 1 else Words("{n} photos", n=d.photos)
    if d.allowance is None:
        if d.subject == "part":
            return Words("Sketch of a part, from {photos}", photos=photos)
        return Words("Sketch of an opening, from {photos}", photos=photos)
    if d.allowance.fit:
        return Words("Part for a {fit} fit, from {photos}", fit=Words(d.allowance.fit), photos=photos)
    return Words("Part after trial prints, from {photos}", photos=photos)


def _basis(d: Drawing) -> str:
    photos = Words("photo") if d.photos == 1 else Words("{n} photos", n=d.photos)
    if not d.readings:
        return Words("{photos} alone", photos=photos)
    return counted("{photos} and {n} caliper reading", "{photos} and {n} caliper readings", d.readings, photos=photos)


def _notes(d: Drawing, plan: Plan, view: PartView) -> list[str]:
    sure = any(w.stated.u95 is not None for w in plan.wanted)
    first: str = Words("Dimensions in mm.")
    if sure:
        first = joined(" ", (first, Words("± is u95: the true size lies within it 19 times in 20.")))
    if any(w.auxiliary for w in plan.wanted):
        first = joined(" ", (first, Words("Sizes in brackets follow from the others.")))
    datums = sorted({x for x in plan.datums if x}, key=lambda x: (x[0], len(x), x))
    second: str = Words("Labels as on the labelled photo.")
    if datums and not plan.loose:
        second = joined(" ", (second, Words("Places are measured from {datums}.", datums=both(datums))))
    out = [first, second]
    if plan.turning:
        n = plan.turning.order
        out.append(
            Words("{n} teeth, evenly.", n=n) if plan.toothed else Words("The outline repeats {n} times in a turn.", n=n)
        )
    if plan.loose:
        which = Words("one tooth") if plan.turning else Words("what the dimensions do not")
        names = both(sorted({x for x in plan.datums if x})) or Words("the origin")
        points = np.concatenate([flatten(f, DASHED_MM) for f in plan.features])
        wide, high = (number(float(v), 1, d.decimal_mark) for v in np.ptp(points, axis=0))
        table = Words(
            "The table gives {which}: places from {names}, x to the right, y up. Overall {wide} by {high}.",
            which=which,
            names=names,
            wide=wide,
            high=high,
        )
        out.append(table)
    curves = [f.label for f in d.features if f.kind == "curve"]
    if curves:
        named = ", ".join(curves)
        one = Words("{curves} is a free line such as a fracture: no sizes; its shape is in the DXF file.", curves=named)
        several = Words(
            "{curves} are free lines such as a fracture: no sizes; its shape is in the DXF file.",
            curves=", ".join(curves),
        )
        out.append(one if len(curves) == 1 else several)
    if any(code == "joined" for code, _ in d.warnings):
        out.append(Words("Dashed: the break along which two pieces were put together."))
    if d.stretches or any(f.origin == "completed" for f in d.features):
        out.append(
            Words("Narrow lines with two dots: completed where the part is broken, not seen. Dashed: the fracture.")
        )
    if any(code == "left-open" for code, _ in d.warnings):
        out.append(Words("Dashed within the outline: a break that stays open; it has no sizes."))
    if d.rim:
        out.append(Words("{rim}: the outline is that of the walls.", rim=d.rim))
    if d.thin:
        places = joined("; ", [joined(" ", (f.label, words)) for f, words in d.thin])
        out.append(Words("Thin places, short dashes: {places}.", places=places))
    if not plan.axes and (mirror := handedness(plan.features).warning()):
        out.append(mirror)
    if d.allowance:
        out.append(d.allowance.words)
    out += [Words("Warning: {text}", text=text) for _, text in d.warnings]
    return [*out, Words("Caution: {text}", text=CAUTION)]


# ---------------------------------------------------------------- the table
def _table(plan: Plan, view: PartView, gauge: Gauge, mark: str) -> tuple[list[str], list[list[str]]]:
    """What no dimension states: sizes for which there was no room, and features without one, by place."""
    header: list[str] = [Words("Feature"), "x", "y", Words("Size")]
    rows: list[list[str]] = []
    for w in view.listed:
        value, spread = figures(w.stated.value, w.stated.u95, w.stated.is_angle, mark)
        rows.append([in_words(w.stated.kind, w.stated.labels), "", "", f"{value} {spread}".strip()])
    if not plan.loose:
        return [Words("Between"), Words("Size")], [[r[0], r[3]] for r in rows]
    origin = _origin(plan)
    of = {f.label: f for f in plan.features}
    for label in plan.loose:
        f = of[label]
        if f.kind == "line":
            p, q = np.subtract(f.start, origin), np.subtract(f.end, origin)
            rows.append(
                [
                    label,
                    _pair(p, q, 0, mark),
                    _pair(p, q, 1, mark),
                    Words("{mm:.2f} long", mm=math.dist(f.start, f.end)),
                ]
            )
            continue
        f = as_round(f)
        c = np.subtract(f.centre, origin)
        s = gauge("radius", [label])
        if f.kind == "arc" and hardly_known(s):
            p, q = np.subtract(f.start, origin), np.subtract(f.end, origin)
            rows.append(
                [label, _pair(p, q, 0, mark), _pair(p, q, 1, mark), Words("bulges {mm}", mm=_bulge(f, s, mark))]
            )
            continue
        size = f"R{figures(s.value, s.u95, mark=mark)[0]} {figures(s.value, s.u95, mark=mark)[1]}"
        if f.kind == "circle":
            s = gauge("diameter", [label])
            size = f"{DIAMETER}{figures(s.value, s.u95, mark=mark)[0]} {figures(s.value, s.u95, mark=mark)[1]}"
        rows.append([label, _place(c[0], mark), _place(c[1], mark), size.strip()])
    return header, rows


def _bulge(f: Arc, radius: Stated, mark: str) -> str:
    """How far a shallow arc rises over the straight line between its ends: as sure as its radius, by shares."""
    half = math.dist(f.start, f.end) / 2
    rise = f.radius - math.copysign(math.sqrt(max(f.radius**2 - half**2, 0.0)), math.pi - abs(sweep_rad(f)))
    return " ".join(figures(rise, rise * (radius.u95 or 0.0) / radius.value, mark=mark))


def _allowances(plan: Plan, allowance: Allowance, mark: str) -> tuple[list[str], list[list[str]]]:
    """Each size as measured, what was taken off or put on, and the size as drawn."""
    measured = ListGauge(allowance.before)
    rows = []
    for w in plan.wanted:
        s = w.stated
        if not s.is_angle and s.kind in SIZES:
            nominal, drawn = round(measured(s.kind, s.labels).value, 2), round(s.value, 2)
            by = number(drawn - nominal + 0.0, 2, mark)
            change = by if by.startswith("-") else f"+{by}"
            rows.append([in_words(s.kind, s.labels), number(nominal, 2, mark), change, number(drawn, 2, mark)])
    columns = {"Room": Words("Room"), "Change": Words("Change")}
    return [Words("Size"), Words("Measured"), columns[allowance.column], Words("Drawn")], rows


def _place(value: float, mark: str) -> str:
    return number(round(float(value), 2) + 0.0, 2, mark)


def _pair(p: Array, q: Array, k: int, mark: str) -> str:
    return Words("{a} to {b}", a=_place(p[k], mark), b=_place(q[k], mark))


def _origin(plan: Plan) -> Array:
    """Where places in the table are measured from: the datum edges, or the centre of the datum round."""
    of = {f.label: f for f in plan.features}
    out = np.zeros(2)
    for k, label in enumerate(plan.datums):
        if label is None:
            continue
        f = of[label]
        if is_round(f):
            out[k] = f.centre[k]
        elif f.kind == "line":
            out[k] = (f.start[k] + f.end[k]) / 2
    return out
