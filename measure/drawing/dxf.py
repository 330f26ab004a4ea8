"""The sheet as DXF: the true outline on a layer of its own, real dimensions, and everything that a person reads.

Model space is in millimetres and in the features' own frame; a part that is drawn turned has its sheet turned instead.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import numpy as np

from calib.written import printable
from measure.dimensioning.gauging import Shape, crossing
from measure.dimensioning.scheme.values import PlannedDimension
from measure.drawing.outline_dxf import LAYERS, add_outline, as_bytes, new_document
from measure.geometry.features import Point
from measure.geometry.motion import Motion
from measure.sheet.layout.drawn import GAP_MM, OVERSHOOT_MM, Drawn
from measure.sheet.lettering import FIGURES_MM
from measure.sheet.marks import ARROW_MM, CircleMark, Fill, Mark, Text, magnified, placed
from measure.sheet.sheet import Sheet

STYLE = "LETTERING"
DIMSTYLE = "SKETCH"
LINETYPES = {
    (6.0, 0.75, 0.125, 0.75): ("LONG_DASH_DOT", "Long-dashed dotted"),
    (6.0, 0.75, 0.125, 0.75, 0.125, 0.75): ("LONG_DASH_TWO_DOTS", "Long-dashed double-dotted"),
    (3.0, 0.75): ("DASH", "Dashed"),
    (0.9, 0.6): ("SHORT_DASH", "Dashed, short"),
}
CODES = {"\N{DIAMETER SIGN}": "%%c", "\N{PLUS-MINUS SIGN}": "%%p", "\N{DEGREE SIGN}": "%%d"}


def write_dxf(sheet: Sheet) -> bytes:
    """The whole sheet."""
    doc = new_document(tuple(LAYERS))
    for dashes, (name, words) in LINETYPES.items():
        pattern = [sum(dashes), *(d if k % 2 == 0 else -d for k, d in enumerate(dashes))]
        doc.linetypes.add(name, pattern, description=words)
    doc.styles.new(STYLE, dxfattribs={"font": "arial.ttf", "width": 0.9})
    _dimension_style(doc, sheet.reduced)
    space = doc.modelspace()
    add_outline(space, sheet.features)
    back = Motion(sheet.turn_rad, sheet.shift_mm).back()  # from the paper to the features' own frame
    larger = sheet.reduced
    for mark in sheet.marks:
        _draw(space, magnified(placed(mark, back), larger))
    for path in sheet.outline:
        if path.layer == "COMPLETED":
            _draw(space, magnified(placed(path, back), larger))
    for drawn in sheet.drawn:
        _dimension(doc, space, drawn, back, larger)
    middle = back.point((sheet.width_mm / 2, sheet.height_mm / 2))
    doc.set_modelspace_vport(height=sheet.height_mm * 1.05 * larger, center=(middle[0] * larger, middle[1] * larger))
    return as_bytes(doc)


def _dimension_style(doc: Any, larger: int) -> None:
    doc.dimstyles.new(
        DIMSTYLE,
        dxfattribs={
            "dimtxsty": STYLE,
            "dimtxt": FIGURES_MM,
            "dimasz": ARROW_MM,
            "dimexo": GAP_MM,
            "dimexe": OVERSHOOT_MM,
            "dimgap": 0.6,
            "dimtad": 1,
            "dimtih": 0,
            "dimtoh": 0,
            "dimdec": 2,
            "dimadec": 1,
            "dimdsep": ord("."),
            "dimlunit": 2,
            "dimzin": 0,
            "dimscale": float(larger),
            "dimlfac": 1.0,
            "dimtmove": 1,
        },
    )


# ---------------------------------------------------------------- marks
def _draw(space: Any, mark: Mark) -> None:
    style: dict[str, Any] = {"layer": mark.layer}
    if isinstance(mark, Text):
        _write(space, mark, style)
    elif isinstance(mark, Fill):
        p = mark.points
        space.add_solid([*p[:2], p[3], p[2]] if len(p) == 4 else p, dxfattribs=style)
    else:
        if mark.pen.dashes_mm:
            style |= {"linetype": LINETYPES[mark.pen.dashes_mm][0], "ltscale": mark.pen.stretch}
        style["lineweight"] = round(mark.pen.width_mm * 100)
        if isinstance(mark, CircleMark):
            space.add_circle(mark.centre, mark.radius, dxfattribs=style)
        elif len(mark.vertices) == 2 and mark.vertices[0][2] == 0:
            space.add_line(mark.vertices[0][:2], mark.vertices[1][:2], dxfattribs=style)
        else:
            space.add_lwpolyline(mark.vertices, format="xyb", close=mark.closed, dxfattribs=style)


def _write(space: Any, mark: Text, style: dict[str, Any]) -> None:
    from ezdxf.enums import TextEntityAlignment as Align

    align = {"start": Align.LEFT, "middle": Align.CENTER, "end": Align.RIGHT}[mark.anchor]
    style |= {"style": STYLE, "height": mark.height_mm, "rotation": math.degrees(mark.angle_rad), "width": 0.9}
    space.add_text(coded(mark.content), dxfattribs=style).set_placement(mark.at, align=align)


def coded(words: str) -> str:
    """The words with the format's own codes for the diameter, plus-minus and degree signs."""
    words = printable(words)
    for sign, code in CODES.items():
        words = words.replace(sign, code)
    return words


# ---------------------------------------------------------------- dimensions
def _dimension(doc: Any, space: Any, d: Drawn, back: Motion, larger: int) -> None:
    """A dimension that measures what it states, with the drawing's own lines and words as its picture."""
    style: dict[str, Any] = {
        "dimstyle": DIMSTYLE,
        "text": coded(d.caption.words),
        "dxfattribs": {"layer": "DIMENSIONS"},
    }
    entity = _entity(space, d, back, larger, style).dimension
    block = doc.blocks.new_anonymous_block(type_char="D")
    for mark in d.marks:
        _draw(block, magnified(placed(mark, back), larger))
    entity.dxf.geometry = block.name
    x, y = back.point(d.text_at)
    entity.dxf.text_midpoint = (x * larger, y * larger, 0)
    entity.dxf.actual_measurement = (
        math.radians(d.wanted.stated.value) if d.wanted.form == "angle" else d.wanted.stated.value
    )
    entity.dxf.attachment_point = 5


def _entity(space: Any, d: Drawn, back: Motion, larger: int, style: dict[str, Any]) -> Any:
    w = d.wanted
    points = [(x * larger, y * larger) for x, y in map(back.point, d.points)]
    if w.form == "linear":
        return space.add_linear_dim(
            base=points[2], p1=points[0], p2=points[1], angle=math.degrees(d.angle_rad + back.turn_rad), **style
        )
    if w.form == "slot":
        p, q, angle = _across_slot(w, back)
        return space.add_linear_dim(base=p, p1=p, p2=q, angle=math.degrees(angle), **style)
    if w.form == "angle":
        a, b = _legs(points)
        return space.add_angular_dim_2l(base=points[4], line1=a, line2=b, **style)
    centre, tip = np.array(points[0]), np.array(points[1])
    radius = w.stated.value / (1 if w.form == "radius" else 2)
    at = centre + (tip - centre) / np.hypot(*(tip - centre)) * radius
    add = space.add_radius_dim if w.form == "radius" else space.add_diameter_dim
    return add(center=tuple(centre), mpoint=tuple(at), **style)


def _across_slot(w: PlannedDimension, back: Motion) -> tuple[Point, Point, float]:
    """Two points across a slot, and the direction between them, in the features' frame but for the sheet's turn."""
    assert w.ends is not None
    first, second = (np.mean(e.points, axis=0) / w.scale for e in w.ends)
    c, s = math.cos(back.turn_rad), math.sin(back.turn_rad)
    turn = np.array([[c, -s], [s, c]])
    u = np.array([math.cos(w.direction_rad), math.sin(w.direction_rad)])
    u = u * math.copysign(1.0, float((second - first) @ u))
    p, q = turn @ first, turn @ (first + w.stated.value * u)
    return (float(p[0]), float(p[1])), (float(q[0]), float(q[1])), w.direction_rad + back.turn_rad


def _legs(points: Sequence[Point]) -> tuple[tuple[Point, Point], tuple[Point, Point]]:
    """Both legs of an angle, each from the apex into the sector in which the arc lies, the second counter-clockwise."""
    a, b = (Shape(False, *p, math.atan2(q[1] - p[1], q[0] - p[0])) for p, q in (points[0:2], points[2:4]))
    apex = np.array(crossing(a, b))
    mid = np.array(points[4]) - apex
    ends = []
    for s in (a, b):
        u = np.array([math.cos(s.s), math.sin(s.s)])
        ends.append(apex + u * math.copysign(max(math.hypot(*mid), 1.0), float(u @ mid)))
    first, second = (((float(apex[0]), float(apex[1])), (float(e[0]), float(e[1]))) for e in ends)
    u, v = ends[0] - apex, ends[1] - apex
    return (first, second) if u[0] * v[1] - u[1] * v[0] > 0 else (second, first)
