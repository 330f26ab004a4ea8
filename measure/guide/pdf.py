"""The page as PDF: A4, to hang on a notice board."""

from __future__ import annotations

import io
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

from calib.languages import ENGLISH
from measure.guide import words
from measure.guide.pictures import HEIGHT, INK, WIDTH, picture, with_font

MM = 72 / 25.4
PAGE_MM = (210.0, 297.0)
MARGIN_MM, TOP_MM, FOOT_MM = 14.0, 16.0, 14.0
GAP_MM, PICTURE_MM = 6.0, 38.0
BOX_GAP_MM, PAD_MM = 4.0, 4.5
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

    def at(self, share: float) -> Kind:
        """The same, so many times as large."""
        return replace(self, points=share * self.points)


TITLE = Kind(24.5, BOLD, ACCENT, 1.15)
LEAD = Kind(11.0, leading=1.45)
NUMBER = Kind(12.0, BOLD, ACCENT, 1.2)
HEAD = Kind(11.5, BOLD, INK, 1.25)
TEXT = Kind(9.6, leading=1.42)
BOX_HEAD = Kind(10.5, BOLD, ACCENT, 1.25)
BOX = Kind(9.2)
SIZES = (1.0, 0.96, 0.92, 0.88, 0.84, 0.8)
"""By how much words are set smaller where a language needs more of them; the last is still read at arm's length."""
LEAST_BETWEEN_MM = 4.0
"""Between two steps, one below the other (chosen by looking at the page)."""


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
    rows = [page.steps[k : k + 2] for k in range(0, len(page.steps), 2)]
    column = (width - GAP_MM) / 2
    share, tall, between = _fitting(page, rows, y)
    _boxes(canvas, page.boxes, width, share)
    number = 1
    for row, high in zip(rows, tall, strict=True):
        y -= between
        for side, step in enumerate(row):
            _step(canvas, number, step, MARGIN_MM + side * (column + GAP_MM), y, column, share)
            number += 1
        y -= high


def _fitting(
    page: words.GuidePage, rows: Sequence[Sequence[words.GuideStep]], top_mm: float
) -> tuple[float, list[float], float]:
    """How large words are set, how tall each row is then, and what is left between two."""
    width = PAGE_MM[0] - 2 * MARGIN_MM
    for share in SIZES:
        tall = [max(_height(s, (width - GAP_MM) / 2, share) for s in row) for row in rows]
        foot = FOOT_MM + _boxes_high(page.boxes, width, share)
        between = (top_mm - foot - sum(tall)) / (len(rows) + 1)
        if between >= LEAST_BETWEEN_MM:
            break
    return share, tall, between


def _room(column: float) -> float:
    """Width that is left for words beside a picture."""
    return column - PICTURE_MM - BESIDE_MM - NUMBER_MM


def _height(step: words.GuideStep, column: float, share: float) -> float:
    room = _room(column)
    return max(
        PICTURE_MM * HEIGHT / WIDTH,
        _high(step.head, room, HEAD.at(share)) + UNDER_MM + _high(step.text, room, TEXT.at(share)),
    )


def _step(canvas: Any, number: int, step: words.GuideStep, x: float, y: float, column: float, share: float) -> None:
    """A picture, and its number and words to the right of it, upper left corner at x, y."""
    _drawn(canvas, step.picture, x, y - PICTURE_MM * HEIGHT / WIDTH)
    at, room = x + PICTURE_MM + BESIDE_MM, _room(column)
    _text(canvas, str(number), at, y, NUMBER_MM, NUMBER.at(share))
    end = _text(canvas, step.head, at + NUMBER_MM, y, room, HEAD.at(share)) - UNDER_MM
    _text(canvas, step.text, at + NUMBER_MM, end, room, TEXT.at(share))


def _boxes_high(boxes: Sequence[tuple[str, str]], width: float, share: float) -> float:
    """Height of the boxes: that of the fullest."""
    inner = [w - 2 * PAD_MM for w in _rooms(len(boxes), width)]
    texts = zip(boxes, inner, strict=True)
    return (
        max(_high(h, w, BOX_HEAD.at(share)) + UNDER_MM + _high(t, w, BOX.at(share)) for (h, t), w in texts) + 2 * PAD_MM
    )


def _rooms(count: int, width: float) -> list[float]:
    """Widths of the boxes."""
    return [(width - (count - 1) * BOX_GAP_MM) * part for part in SHARES]


def _boxes(canvas: Any, boxes: Sequence[tuple[str, str]], width: float, share: float) -> None:
    """The last words, each in a tinted box, side by side at the page's foot."""
    high = _boxes_high(boxes, width, share)
    x = MARGIN_MM
    for (head, text), w in zip(boxes, _rooms(len(boxes), width), strict=True):
        canvas.setFillColor(_colour(TINT))
        canvas.roundRect(x * MM, FOOT_MM * MM, w * MM, high * MM, 2.2 * MM, stroke=0, fill=1)
        room = w - 2 * PAD_MM
        y = _text(canvas, head, x + PAD_MM, FOOT_MM + high - PAD_MM, room, BOX_HEAD.at(share)) - UNDER_MM
        _text(canvas, text, x + PAD_MM, y, room, BOX.at(share))
        x += w + BOX_GAP_MM


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
