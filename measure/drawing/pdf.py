"""The sheet as PDF, at true size."""

from __future__ import annotations

import io
import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from calib.written import printable
from measure.geometry.features import Point
from measure.sheet.lettering import NARROWED, drawable, em_mm, width_mm
from measure.sheet.marks import CircleMark, Fill, Mark, Path, Pen, Text, bulge_arc
from measure.sheet.sheet import Sheet

POINTS_PER_MM = 72 / 25.4
FONT = "Vera"


@dataclass(frozen=True, slots=True)
class Page:
    """A page: its size, its marks, and the coloured areas under them (corners, red, green and blue from 0 to 1)."""

    width_mm: float
    height_mm: float
    marks: tuple[Mark, ...]
    tints: tuple[tuple[tuple[Point, ...], tuple[float, float, float]], ...] = ()


def write_pdf(sheet: Sheet) -> bytes:
    """The sheet as a PDF file of one page."""
    marks = (*sheet.outline, *sheet.marks, *(m for d in sheet.drawn for m in d.marks))
    return write_pages(sheet.title or "Sketch", [Page(sheet.width_mm, sheet.height_mm, marks)])


def write_pages(title: str, pages: Sequence[Page]) -> bytes:
    """Pages as a PDF file. Viewers are asked to print it unscaled; its font is embedded."""
    from reportlab.pdfbase import pdfmetrics
    from reportlab.pdfbase.ttfonts import TTFont
    from reportlab.pdfgen.canvas import Canvas

    if FONT not in pdfmetrics.getRegisteredFontNames():
        pdfmetrics.registerFont(TTFont(FONT, "Vera.ttf"))
    out = io.BytesIO()
    canvas = Canvas(out, invariant=1, pageCompression=1)
    canvas.setTitle(printable(title))
    canvas.setViewerPreference("PrintScaling", "None")
    for page in pages:
        canvas.setPageSize((page.width_mm * POINTS_PER_MM, page.height_mm * POINTS_PER_MM))
        canvas.scale(POINTS_PER_MM, POINTS_PER_MM)
        canvas.setLineCap(0)
        canvas.setLineJoin(1)
        for area, colour in page.tints:
            canvas.setFillColorRGB(*colour)
            _fill(canvas, area)
        for mark in page.marks:
            _draw(canvas, mark)
        canvas.showPage()
    canvas.save()
    return out.getvalue()


def _fill(canvas: Any, points: Sequence[Point]) -> None:
    path = canvas.beginPath()
    path.moveTo(*points[0])
    for p in points[1:]:
        path.lineTo(*p)
    path.close()
    canvas.drawPath(path, stroke=0, fill=1)


def _draw(canvas: Any, mark: Mark) -> None:
    if isinstance(mark, Text):
        _write(canvas, mark)
        return
    if isinstance(mark, Fill):
        canvas.setFillGray(0)
        _fill(canvas, mark.points)
        return
    path = canvas.beginPath()
    _pen(canvas, mark.pen)
    if isinstance(mark, CircleMark):
        path.circle(*mark.centre, mark.radius)
    else:
        _trace(path, mark)
    canvas.drawPath(path, stroke=1, fill=0)


def _trace(path: Any, mark: Path) -> None:
    v = [*mark.vertices, *(mark.vertices[:1] if mark.closed else ())]
    path.moveTo(v[0][0], v[0][1])
    for (x, y, b), (x2, y2, _) in itertools.pairwise(v):
        if b == 0:
            if not (mark.closed and (x2, y2) == v[0][:2]):  # closing the path draws the last straight piece
                path.lineTo(x2, y2)
            continue
        (cx, cy), r, start, sweep = bulge_arc((x, y), (x2, y2), b)
        path.arcTo(cx - r, cy - r, cx + r, cy + r, math.degrees(start), math.degrees(sweep))
    if mark.closed:
        path.close()


def _pen(canvas: Any, pen: Pen) -> None:
    canvas.setLineWidth(pen.width_mm)
    canvas.setStrokeGray(pen.grey)
    canvas.setDash(list(pen.pattern_mm))


def _write(canvas: Any, mark: Text) -> None:
    words = drawable(mark.content)
    back = {"start": 0.0, "middle": 0.5, "end": 1.0}[mark.anchor] * width_mm(words, mark.height_mm)
    c, s = math.cos(mark.angle_rad), math.sin(mark.angle_rad)
    text = canvas.beginText()
    text.setTextTransform(c, s, -s, c, mark.at[0] - back * c, mark.at[1] - back * s)
    text.setFont(FONT, em_mm(mark.height_mm))
    text.setHorizScale(100 * NARROWED)
    text.setFillGray(mark.grey)
    text.textOut(words)
    canvas.drawText(text)
