"""The sheet as SVG, its size in millimetres."""

from __future__ import annotations

import itertools
import math
from dataclasses import replace
from typing import Any

from calib.written import printable
from measure.drawing.beneath import Beneath
from measure.sheet.layout.frame import Paper
from measure.sheet.lettering import TINY_MM, drawable, em_mm, fitted, width_mm
from measure.sheet.marks import CircleMark, Fill, Layer, Mark, Path, Pen, Text, bulge_arc
from measure.sheet.sheet import Sheet

FONTS = "'Bitstream Vera Sans', 'DejaVu Sans', Verdana, Arial, sans-serif"


FINE_MM = 0.13
"""Width of the outline over a photo: a wide one hides the edge that it is compared with (ISO 128's finest)."""
CAPTION_MM = 2.0
"""The caption of a photo beneath stands this far over the sheet's frame (chosen)."""


def write_svg(sheet: Sheet, beneath: Beneath | None = None) -> bytes:
    """The sheet as an SVG file. Every text carries its own width, so that it fits whatever font a viewer has.

    Args:
        sheet: the drawing.
        beneath: a photo that lies under it.
    """
    import drawsvg

    d = drawsvg.Drawing(sheet.width_mm, sheet.height_mm, origin=(0, 0), id_prefix="m")
    d.set_render_size(f"{sheet.width_mm:g}mm", f"{sheet.height_mm:g}mm")
    d.append_title(printable(sheet.title) or "Sketch")
    d.append(drawsvg.Rectangle(0, 0, sheet.width_mm, sheet.height_mm, fill="white"))
    if beneath:
        d.append(_photo(beneath, sheet.height_mm))
        paper = Paper(sheet.name, sheet.width_mm, sheet.height_mm)
        x0, _, x1, y1 = paper.frame
        words = fitted(beneath.caption, TINY_MM, (x1 - x0) / 2 - CAPTION_MM)  # up to the centring mark
        d.append(_text(Text((x0, y1 + CAPTION_MM), words, TINY_MM, "NOTES"), sheet.height_mm))
    groups: dict[Layer, Any] = {}
    dimensions = (m for x in sheet.drawn for m in x.marks)
    outline = [replace(o, pen=replace(o.pen, width_mm=FINE_MM)) for o in sheet.outline] if beneath else sheet.outline
    for mark in (*outline, *sheet.marks, *dimensions):
        if mark.layer not in groups:
            groups[mark.layer] = drawsvg.Group(id=mark.layer.lower(), fill="none", stroke="black")
            d.append(groups[mark.layer])
        groups[mark.layer].append(_element(mark, sheet.height_mm))
    text: str = d.as_svg()
    return text.encode()


def _photo(beneath: Beneath, height: float) -> Any:
    import drawsvg

    (x0, y0), (x1, y1) = beneath.low, beneath.high
    size = _r(x1 - x0), _r(y1 - y0)
    return drawsvg.Image(
        _r(x0),
        _r(height - y1),
        *size,
        data=beneath.jpeg,
        mime_type="image/jpeg",
        embed=True,
        preserveAspectRatio="none",
    )


def _element(mark: Mark, height: float) -> Any:
    import drawsvg

    if isinstance(mark, Path):
        return drawsvg.Path(_path_data(mark, height), **_stroke(mark.pen))
    if isinstance(mark, CircleMark):
        x, y = mark.centre
        return drawsvg.Circle(_r(x), _r(height - y), _r(mark.radius), **_stroke(mark.pen))
    if isinstance(mark, Fill):
        flat = [v for x, y in mark.points for v in (_r(x), _r(height - y))]
        return drawsvg.Lines(*flat, close=True, fill="black", stroke="none")
    return _text(mark, height)


def _text(mark: Text, height: float) -> Any:
    import drawsvg

    x, y = _r(mark.at[0]), _r(height - mark.at[1])
    more: dict[str, Any] = {}
    if mark.angle_rad:
        more["transform"] = f"rotate({-math.degrees(mark.angle_rad):.3f} {x} {y})"
    words = drawable(mark.content)
    if len(words) > 1:
        more |= {"textLength": _r(width_mm(words, mark.height_mm)), "lengthAdjust": "spacingAndGlyphs"}
    return drawsvg.Text(
        words,
        _r(em_mm(mark.height_mm)),
        x,
        y,
        text_anchor=mark.anchor,
        font_family=FONTS,
        fill=_grey(mark.grey),
        stroke="none",
        **more,
    )


def _path_data(mark: Path, height: float) -> str:
    v = [*mark.vertices, *(mark.vertices[:1] if mark.closed else ())]
    out = [f"M{_r(v[0][0])},{_r(height - v[0][1])}"]
    for (x, y, b), (x2, y2, _) in itertools.pairwise(v):
        if b == 0:
            out.append(f"L{_r(x2)},{_r(height - y2)}")
            continue
        _, radius, _, sweep = bulge_arc((x, y), (x2, y2), b)
        large, turn = int(abs(sweep) > math.pi), int(sweep < 0)  # y runs down on the screen
        out.append(f"A{_r(radius)},{_r(radius)} 0 {large} {turn} {_r(x2)},{_r(height - y2)}")
    return "".join(out) + ("Z" if mark.closed else "")


def _stroke(pen: Pen) -> dict[str, Any]:
    out: dict[str, Any] = {"stroke_width": pen.width_mm}
    if pen.dashes_mm:
        out["stroke_dasharray"] = ",".join(f"{x:.4g}" for x in pen.pattern_mm)
    if pen.grey:
        out["stroke"] = _grey(pen.grey)
    return out


def _grey(grey: float) -> str:
    level = round(255 * grey)
    return f"#{level:02x}{level:02x}{level:02x}"


def _r(value: float) -> float:
    return round(float(value), 4)
