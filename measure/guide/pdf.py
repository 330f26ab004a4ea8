"""The page as PDF: A4, to hang on a notice board."""

from __future__ import annotations

import io
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from calib.languages import ENGLISH
from measure.guide import words
from measure.guide.pictures import HEIGHT, INK, WIDTH, picture, with_font

MM = 72 / 25.4
PAGE_MM = (210.0, 297.0)
MARGIN_MM, TOP_MM, FOOT_MM = 14.0, 16.0, 14.0
GAP_MM, PICTURE_MM = 6.0, 38.0
BESIDE_MM, NUMBER_MM, UNDER_MM = 3.5, 5.2, 1.2
"""Between picture and words; room for a step's number; between a head and its words."""
SHARES = (0.28, 0.44, 0.28)
NORMAL, BOLD = "Vera", "VeraBd"
ACCENT, TINT = "#0f6b5c", "#eaf3ef"


@dataclass(frozen=True, slots=True)
class Kind:
    """How a paragraph is set: size in points, font, colour, distance of lines in sizes."""

    points: float
    font: str = NORMAL
    colour: str = INK
    leading: float = 1.4


TITLE = Kind(24.5, BOLD, ACCENT, 1.15)
LEAD = Kind(11.0, leading=1.45)
NUMBER = Kind(12.0, BOLD, ACCENT, 1.2)
HEAD = Kind(11.5, BOLD, INK, 1.25)
TEXT = Kind(9.6, leading=1.42)
BOX_HEAD = Kind(10.5, BOLD, ACCENT, 1.25)
BOX = Kind(9.2)


def write_pdf(language: str = ENGLISH) -> bytes:
    """The page as a PDF file, its fonts embedded."""
    from reportlab.pdfgen.canvas import Canvas

    with_font(NORMAL)
    with_font(BOLD)
    out = io.BytesIO()
    size = tuple(v * MM for v in PAGE_MM)
    canvas = Canvas(out, pagesize=size, invariant=1, pageCompression=1, lang=language, initialFontName=NORMAL)
    page = words.page_in(language)
    canvas.setTitle(page.title)
    canvas.setCreator("jawline")
    _page(canvas, page)
    canvas.showPage()
    canvas.save()
    return out.getvalue()


def _page(canvas: Any, page: words.GuidePage) -> None:
    """Head on top, boxes at the foot, the steps evenly between."""
    width = PAGE_MM[0] - 2 * MARGIN_MM
    y = PAGE_MM[1] - TOP_MM
    y = _text(canvas, page.title, MARGIN_MM, y, width, TITLE) - 3.0
    y = _text(canvas, page.lead, MARGIN_MM, y, width, LEAD)
    foot = _boxes(canvas, page.boxes, width)
    rows = [page.steps[k : k + 2] for k in range(0, len(page.steps), 2)]
    column = (width - GAP_MM) / 2
    tall = [max(_height(s, column) for s in row) for row in rows]
    between = (y - foot - sum(tall)) / (len(rows) + 1)
    number = 1
    for row, high in zip(rows, tall, strict=True):
        y -= between
        for side, step in enumerate(row):
            _step(canvas, number, step, MARGIN_MM + side * (column + GAP_MM), y, column)
            number += 1
        y -= high


def _room(column: float) -> float:
    """Width that is left for words beside a picture."""
    return column - PICTURE_MM - BESIDE_MM - NUMBER_MM


def _height(step: words.GuideStep, column: float) -> float:
    room = _room(column)
    return max(PICTURE_MM * HEIGHT / WIDTH, _high(step.head, room, HEAD) + UNDER_MM + _high(step.text, room, TEXT))


def _step(canvas: Any, number: int, step: words.GuideStep, x: float, y: float, column: float) -> None:
    """A picture, and its number and words to the right of it, upper left corner at x, y."""
    _drawn(canvas, step.picture, x, y - PICTURE_MM * HEIGHT / WIDTH)
    at, room = x + PICTURE_MM + BESIDE_MM, _room(column)
    _text(canvas, str(number), at, y, NUMBER_MM, NUMBER)
    end = _text(canvas, step.head, at + NUMBER_MM, y, room, HEAD) - UNDER_MM
    _text(canvas, step.text, at + NUMBER_MM, end, room, TEXT)


def _boxes(canvas: Any, boxes: Sequence[tuple[str, str]], width: float) -> float:
    """The last words, each in a tinted box, side by side at the page's foot; their upper edge."""
    gap, pad = 4.0, 4.5
    room = [(width - (len(boxes) - 1) * gap) * share for share in SHARES]
    inner = [w - 2 * pad for w in room]
    tall = [_high(h, w, BOX_HEAD) + UNDER_MM + _high(t, w, BOX) for (h, t), w in zip(boxes, inner, strict=True)]
    high = max(tall) + 2 * pad
    x = MARGIN_MM
    for (head, text), w in zip(boxes, room, strict=True):
        canvas.setFillColor(_colour(TINT))
        canvas.roundRect(x * MM, FOOT_MM * MM, w * MM, high * MM, 2.2 * MM, stroke=0, fill=1)
        y = _text(canvas, head, x + pad, FOOT_MM + high - pad, w - 2 * pad, BOX_HEAD) - UNDER_MM
        _text(canvas, text, x + pad, y, w - 2 * pad, BOX)
        x += w + gap
    return FOOT_MM + high


def _drawn(canvas: Any, name: str, x: float, y: float) -> None:
    """A picture with its lower left corner at x, y."""
    from reportlab.graphics import renderPDF

    canvas.saveState()
    canvas.translate(x * MM, y * MM)
    canvas.scale(PICTURE_MM * MM / WIDTH, PICTURE_MM * MM / WIDTH)
    renderPDF.draw(picture(name), canvas, 0, 0)
    canvas.restoreState()


def _paragraph(text: str, kind: Kind) -> Any:
    from reportlab.lib.styles import ParagraphStyle
    from reportlab.platypus import Paragraph

    style = ParagraphStyle(
        "page",
        fontName=kind.font,
        fontSize=kind.points,
        leading=kind.leading * kind.points,
        textColor=_colour(kind.colour),
    )
    return Paragraph(text, style)


def _high(text: str, room: float, kind: Kind) -> float:
    """Height of a paragraph, mm."""
    return float(_paragraph(text, kind).wrap(room * MM, PAGE_MM[1] * MM)[1] / MM)


def _text(canvas: Any, text: str, x: float, y: float, room: float, kind: Kind) -> float:
    """A paragraph with its upper left corner at x, y (mm); where it ends."""
    paragraph = _paragraph(text, kind)
    _, high = paragraph.wrap(room * MM, PAGE_MM[1] * MM)
    paragraph.drawOn(canvas, x * MM, y * MM - high)
    return float(y - high / MM)


def _colour(code: str) -> Any:
    from reportlab.lib.colors import HexColor

    return HexColor(code)
